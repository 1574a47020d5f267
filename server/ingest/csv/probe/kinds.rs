//! What each column holds: levels, a packed bus, volts, or nothing that matters.

use super::super::bus::{bus_range, packed};
use super::super::cells::{Decimal, is_missing, is_sample_word, level_of, split_unit, volt_unit};
use super::headings::{Head, position_of};
use super::time_column::time_value;
use super::{ColumnPlan, Row, TablePlan};
use crate::ingest::ReadOptions;
use crate::model::ColumnKind;

/// Settles what the columns hold, and says what was guessed, left out or renamed.
pub fn columns(plan: &mut TablePlan, head: &Head, data: &[&Row], options: &ReadOptions) {
    let mut guessed_volts: Vec<String> = Vec::new();
    let mut columns: Vec<ColumnPlan> = (0..plan.fields)
        .map(|column| column_plan(column, plan, head, data, options, &mut guessed_volts))
        .collect();
    if !guessed_volts.is_empty() {
        plan.warnings.push(format!(
            "taken for volts by their numbers: {}; say otherwise under [read] in the setup file",
            crate::ingest::names::some_of(&guessed_volts)
        ));
    }
    let ignored: Vec<String> = columns
        .iter()
        .enumerate()
        .filter(|(i, c)| {
            c.kind == ColumnKind::Ignore
                && data
                    .iter()
                    .any(|r| r.cells.get(*i).is_some_and(|x| !x.is_empty()))
        })
        .map(|(_, c)| c.name.clone())
        .collect();
    if !ignored.is_empty() {
        plan.warnings.push(format!(
            "columns that hold neither levels nor volts were left out: {}",
            crate::ingest::names::some_of(&ignored)
        ));
    }
    let missing = columns
        .iter()
        .any(|c| c.heading.is_empty() && c.kind != ColumnKind::Ignore && c.kind != ColumnKind::Time);
    if missing && !head.missing {
        plan.warnings
            .push("some columns have no heading: they were numbered".to_owned());
    }
    let repeated = crate::ingest::names::make_unique(
        columns
            .iter_mut()
            .filter(|c| !matches!(c.kind, ColumnKind::Time | ColumnKind::Ignore))
            .map(|c| &mut c.name),
    );
    if !repeated.is_empty() {
        plan.warnings.push(format!(
            "several columns are headed {}; the later ones were numbered",
            crate::ingest::names::some_of(&repeated)
        ));
    }
    plan.columns = columns;
}

/// What one column holds; its name goes to `guessed_volts` where only its numbers say that they are volts.
fn column_plan(
    column: usize,
    plan: &TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    guessed_volts: &mut Vec<String>,
) -> ColumnPlan {
    let heading = head.names.get(column).cloned().unwrap_or_default();
    let (name, unit) = split_unit(&heading);
    let mut name = name.trim().to_owned();
    let unit = unit
        .map(str::to_owned)
        .or_else(|| head.units.get(column).cloned().flatten());
    let declared = options
        .columns
        .iter()
        .find(|(key, _)| position_of(key, head, plan.fields) == Some(column))
        .map(|(_, kind)| *kind);
    let range = bus_range(&name);
    let cells = || data.iter().filter_map(|r| r.cells.get(column)).map(Vec::as_slice);
    let kind = if plan.time == Some(column) {
        ColumnKind::Time
    } else if let Some(kind) = declared {
        kind
    } else if is_beside_the_point(&name, cells(), plan.point) {
        ColumnKind::Ignore
    } else {
        guess(cells(), plan.point, range, unit.as_deref(), guessed_volts, &name)
    };
    if let (ColumnKind::Bus { .. }, Some(_)) = (&kind, range)
        && let Some(at) = name.rfind('[')
    {
        name.truncate(at);
    }
    if name.is_empty() && kind != ColumnKind::Time {
        name = format!("column {}", column + 1);
        guessed_volts
            .iter_mut()
            .filter(|n| n.is_empty())
            .for_each(|n| n.clone_from(&name));
        // A trailing delimiter makes an empty last column: it is none.
        if cells().all(<[u8]>::is_empty) {
            return ColumnPlan {
                name,
                heading,
                kind: ColumnKind::Ignore,
                is_declared: false,
                volts: 1.0,
                sample: Vec::new(),
            };
        }
    }
    let volts = unit.as_deref().and_then(volt_unit).map_or(1.0, |e| 10f64.powi(e));
    let sample = if kind == ColumnKind::Analog {
        cells()
            .filter_map(|c| Decimal::parse(c, plan.point))
            .map(|d| (d.to_f64() * volts) as f32)
            .collect()
    } else {
        Vec::new()
    };
    ColumnPlan {
        name,
        heading,
        kind,
        is_declared: declared.is_some(),
        volts,
        sample,
    }
}

/// Row numbers beside the times, and remarks that stand in a few rows beside the data.
fn is_beside_the_point<'a>(name: &str, cells: impl Iterator<Item = &'a [u8]>, point: u8) -> bool {
    let cells: Vec<&[u8]> = cells.collect();
    let filled = cells.iter().filter(|c| !c.is_empty()).count();
    if is_sample_word(name) && !name.is_empty() {
        let numbers: Vec<f64> = cells.iter().filter_map(|c| time_value(c, point)).collect();
        let step = numbers.get(1).map(|n| n - numbers[0]);
        return filled > 2
            && numbers.len() == filled
            && numbers
                .windows(2)
                .all(|w| Some(w[1] - w[0]) == step && w[1] > w[0]);
    }
    let (scraps, preamble) = (filled * 20 < cells.len(), cells.len() > 100);
    let header = name.eq_ignore_ascii_case("start") || name.eq_ignore_ascii_case("increment");
    name.is_empty() && scraps && preamble || header && filled == 0
}

/// Told from the cells of the first rows, the unit, and the bits that the heading names.
fn guess<'a>(
    cells: impl Iterator<Item = &'a [u8]>,
    point: u8,
    range: Option<(i64, i64)>,
    unit: Option<&str>,
    guessed_volts: &mut Vec<String>,
    name: &str,
) -> ColumnKind {
    let (mut levels, mut numbers, mut with_base, mut all, mut filled) =
        (0usize, 0usize, 0usize, 0usize, 0usize);
    let (mut hex, mut letters, mut binary, mut whole, mut bare) = (0usize, 0usize, 0usize, 0usize, 0usize);
    let mut base = 16;
    let mut longest = 0;
    for cell in cells {
        all += 1;
        if is_missing(cell) {
            continue;
        }
        filled += 1;
        let level = level_of(cell, point).is_some();
        levels += usize::from(level);
        bare += usize::from(matches!(cell, b"0" | b"1"));
        numbers += usize::from(Decimal::parse(cell, point).is_some());
        whole += usize::from(cell.iter().all(u8::is_ascii_digit));
        if let Some((_, b)) = packed(cell) {
            with_base += 1;
            base = b;
        }
        let digits = cell.len();
        longest = longest.max(digits);
        hex += usize::from(
            cell.iter()
                .all(|b| b.is_ascii_hexdigit() || matches!(b, b'x' | b'X' | b'z' | b'Z')),
        );
        letters += usize::from(cell.iter().any(|b| matches!(b, b'a'..=b'f' | b'A'..=b'F')));
        binary += usize::from(
            cell.iter()
                .all(|b| matches!(b, b'0' | b'1' | b'x' | b'X' | b'z' | b'Z')),
        );
    }
    if filled == 0 {
        return if all == 0 || name.is_empty() {
            ColumnKind::Ignore
        } else {
            ColumnKind::Digital
        };
    }
    // In a short table a single cell is more than that.
    let mostly = |n: usize| n * 100 >= filled * 95 || n + 1 == filled && filled > 3;
    if let Some((msb, lsb)) = range {
        let bits = msb.abs_diff(lsb) as usize + 1;
        if with_base * 2 > filled {
            return ColumnKind::Bus { bits, base };
        }
        if mostly(binary) && longest == bits && bits > 1 {
            return ColumnKind::Bus { bits, base: 2 };
        }
        if letters > 0 && mostly(hex) || longest == bits.div_ceil(4) && mostly(hex) {
            return ColumnKind::Bus { bits, base: 16 };
        }
        if mostly(whole) {
            return ColumnKind::Bus { bits, base: 10 };
        }
    }
    // Nobody's volts are 0 and 1 without a fraction; should others follow, the column is read anew as volts.
    if mostly(levels) && (unit.and_then(volt_unit).is_none() || bare == filled) {
        return ColumnKind::Digital;
    }
    if with_base * 2 > filled {
        let bits = match base {
            16 => (longest.saturating_sub(2) * 4).clamp(1, 128),
            2 => longest.saturating_sub(2).clamp(1, 128),
            _ => (longest.saturating_sub(2) * 3).clamp(1, 128),
        };
        return ColumnKind::Bus { bits, base };
    }
    if mostly(numbers) {
        if unit.and_then(volt_unit).is_none() {
            guessed_volts.push(name.to_owned());
        }
        return ColumnKind::Analog;
    }
    ColumnKind::Ignore
}
