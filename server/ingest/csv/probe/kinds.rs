//! What each column holds: levels, a packed bus, volts, or nothing that matters.

use super::super::bus::{bus_range, bus_value, digits_in, may_be_packed, packed, split_base};
use super::super::cells::{is_missing, is_sample_word, level_of, split_unit, volt_unit, volts_in, volts_of};
use super::headings::{Head, NO_HEADINGS, position_of};
use super::time_column::time_value;
use super::{ColumnPlan, Row, TablePlan};
use crate::ingest::ReadOptions;
use crate::ingest::error::quoted;
use crate::model::ColumnKind;

/// Names of columns of which only the cells said what they hold.
#[derive(Default)]
struct Told {
    volts: Vec<String>,
    binary: Vec<String>,
}

/// Settles what the columns hold, and says what was guessed, left out or renamed.
pub fn columns(plan: &mut TablePlan, head: &Head, data: &[&Row], options: &ReadOptions) {
    let mut told = Told::default();
    let mut columns: Vec<ColumnPlan> = (0..plan.fields)
        .map(|column| column_plan(column, plan, head, data, options, &mut told))
        .collect();
    if !told.volts.is_empty() {
        plan.warnings.push(format!(
            "taken for volts by their numbers: {}; say otherwise under [read] in the setup file",
            crate::ingest::names::some_of(&told.volts)
        ));
    }
    if let Some(first) = told.binary.first() {
        plan.warnings.push(format!(
            "taken for buses in binary, since all cells have as many digits, 0 and 1 only, and some begin with 0: {}; say \
             otherwise with {} = \"analog\" (say) under [read.columns] in the setup file",
            crate::ingest::names::some_of(&told.binary),
            quoted(first.as_bytes())
        ));
    }
    let filled = |column: usize| {
        data.iter()
            .filter_map(move |r| r.cells.get(column))
            .filter(|cell| !cell.is_empty())
    };
    let ignored: Vec<usize> = (0..columns.len())
        .filter(|&i| columns[i].kind == ColumnKind::Ignore && filled(i).next().is_some())
        .collect();
    if !ignored.is_empty() {
        let names: Vec<String> = ignored.iter().map(|&i| columns[i].name.clone()).collect();
        let mut said = format!(
            "columns that hold neither levels nor volts were left out: {}",
            crate::ingest::names::some_of(&names)
        );
        let undeclared = || ignored.iter().filter(|&&i| !columns[i].is_declared);
        if let Some(&i) = undeclared().find(|&&i| filled(i).all(|cell| may_be_packed(cell))) {
            let digits = filled(i).map(Vec::len).max().unwrap_or(1);
            said.push_str(&format!(
                "; where the cells are hexadecimal, as they may be in {}, say {} = \"bus {} hex\" (its bits and its base) under \
                 [read.columns] in the setup file",
                quoted(columns[i].name.as_bytes()),
                quoted(columns[i].name.as_bytes()),
                4 * digits
            ));
        } else if undeclared().next().is_some() {
            said.push_str("; say what they hold under [read.columns] in the setup file");
        }
        plan.warnings.push(said);
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
    let is_named = |(at, column): (usize, &ColumnPlan)| {
        matches!(column.kind, ColumnKind::Time | ColumnKind::Ignore)
            || new_name(at, plan, head, options).is_some()
    };
    if head.missing && columns.iter().enumerate().all(is_named) {
        plan.warnings.retain(|told| !told.starts_with(NO_HEADINGS));
    }
    plan.columns = columns;
}

/// What one column holds; its name goes to `told` where only its cells say what they are.
fn column_plan(
    column: usize,
    plan: &TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    told: &mut Told,
) -> ColumnPlan {
    let heading = head.names.get(column).cloned().unwrap_or_default();
    let (name, unit) = split_unit(&heading);
    let (bare, base) = split_base(name);
    let mut name = name.trim().to_owned();
    let unit = unit
        .map(str::to_owned)
        .or_else(|| head.units.get(column).cloned().flatten());
    let declared = options
        .columns
        .iter()
        .find(|(key, _)| position_of(key, head, plan.fields) == Some(column))
        .map(|(_, kind)| *kind);
    let range = bus_range(bare);
    let cells = || data.iter().filter_map(|r| r.cells.get(column)).map(Vec::as_slice);
    let kind = if plan.time == Some(column) {
        ColumnKind::Time
    } else if let Some(kind) = declared {
        kind
    } else if is_beside_the_point(&name, cells(), plan.point, column == 0) {
        ColumnKind::Ignore
    } else {
        let stated = base.and_then(|base| in_base(cells(), base, range));
        stated.unwrap_or_else(|| guess(cells(), plan.point, range, unit.as_deref(), told, &name))
    };
    if let ColumnKind::Bus { .. } = kind {
        name.truncate(bare.len());
        if range.is_some()
            && let Some(at) = name.rfind('[')
        {
            name.truncate(at);
        }
    }
    if name.is_empty() && kind != ColumnKind::Time {
        name = format!("column {}", column + 1);
        let guessed = told.volts.iter_mut().chain(&mut told.binary);
        guessed.filter(|n| n.is_empty()).for_each(|n| n.clone_from(&name));
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
    if let Some(said) = new_name(column, plan, head, options) {
        name.clone_from(said);
    }
    let volts = unit.as_deref().and_then(volt_unit).map_or(1.0, |e| 10f64.powi(e));
    let sample = if kind == ColumnKind::Analog {
        cells()
            .filter_map(|c| volts_of(c, plan.point, volts))
            .map(|volts| volts as f32)
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

/// How whole numbers of a column go from row to row.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Counts {
    /// 0, 1, 2 and so on, or 1, 2, 3.
    EveryRow,
    /// Upward: numbers of samples of which only some have a row.
    Up,
    No,
}

/// Rows that a first column without a heading that says so must count before it is taken for their numbers.
const FEWEST_COUNTED: usize = 8;

/// Row numbers beside the times, and remarks that stand in a few rows beside the data.
fn is_beside_the_point<'a>(
    name: &str,
    cells: impl Iterator<Item = &'a [u8]>,
    point: u8,
    is_first: bool,
) -> bool {
    let cells: Vec<&[u8]> = cells.collect();
    let filled = cells.iter().filter(|c| !c.is_empty()).count();
    let counts = || {
        let mut filled = cells.iter().filter(|cell| !cell.is_empty());
        let numbers: Vec<f64> = filled.clone().filter_map(|c| time_value(c, point)).collect();
        let is_whole = filled.all(|cell| cell.iter().all(u8::is_ascii_digit));
        let steps = || numbers.windows(2).map(|w| w[1] - w[0]);
        if !is_whole || numbers.len() < 3 || !steps().all(|step| step > 0.0) {
            return Counts::No;
        }
        match numbers[0] <= 1.0 && steps().all(|step| step == 1.0) {
            true => Counts::EveryRow,
            false => Counts::Up,
        }
    };
    if is_sample_word(name) && !name.is_empty() {
        return counts() != Counts::No;
    }
    // Whatever stands above it: nobody's volts count the rows of a table, nor do levels.
    if is_first && filled >= FEWEST_COUNTED && counts() == Counts::EveryRow {
        return true;
    }
    let (scraps, preamble) = (filled * 20 < cells.len(), cells.len() > 100);
    let header = name.eq_ignore_ascii_case("start") || name.eq_ignore_ascii_case("increment");
    name.is_empty() && scraps && preamble || header && filled == 0
}

/// Another name that a person gave the line of a column.
fn new_name<'o>(
    column: usize,
    plan: &TablePlan,
    head: &Head,
    options: &'o ReadOptions,
) -> Option<&'o String> {
    let mut said = options.rename.iter();
    said.find(|(key, _)| position_of(key, head, plan.fields) == Some(column))
        .map(|(_, name)| name)
}

/// A bus whose heading says the base of its cells: as wide as the heading says, else as its cells are; `None` where they
/// are no numbers of that base.
fn in_base<'a>(
    cells: impl Iterator<Item = &'a [u8]>,
    base: u32,
    range: Option<(i64, i64)>,
) -> Option<ColumnKind> {
    const WIDEST: usize = 128;
    let cells: Vec<&[u8]> = cells.filter(|cell| !is_missing(cell)).collect();
    let values = cells
        .iter()
        .filter_map(|cell| Some((cell, bus_value(cell, base)?.0)));
    let (mut digits, mut largest, mut good) = (0, 0u128, 0usize);
    for (cell, value) in values {
        // A hexadecimal cell may begin with 0b by chance.
        let by_chance = base == 16 && matches!(cell, [b'0', b'b' | b'B', ..]);
        let own = if by_chance { cell.len() } else { digits_in(cell) };
        (digits, largest) = (digits.max(own), largest.max(value));
        good += 1;
    }
    if good == 0 || good * 100 < cells.len() * 95 {
        return None;
    }
    let by_cells = match base {
        10 => (u128::BITS - largest.leading_zeros()) as usize,
        base => digits * base.ilog2() as usize,
    };
    let bits = range.map_or(by_cells, |(msb, lsb)| msb.abs_diff(lsb) as usize + 1);
    Some(ColumnKind::Bus {
        bits: bits.clamp(1, WIDEST),
        base,
    })
}

/// Told from the cells of the first rows, the unit, and the bits that the heading names.
fn guess<'a>(
    cells: impl Iterator<Item = &'a [u8]>,
    point: u8,
    range: Option<(i64, i64)>,
    unit: Option<&str>,
    told: &mut Told,
    name: &str,
) -> ColumnKind {
    let (mut levels, mut numbers, mut with_base, mut all, mut filled) =
        (0usize, 0usize, 0usize, 0usize, 0usize);
    let (mut hex, mut letters, mut binary, mut whole, mut bare) = (0usize, 0usize, 0usize, 0usize, 0usize);
    let mut base = 16;
    let mut with_unit = 0usize;
    let (mut longest, mut shortest, mut led_by_0, mut most_digits) = (0, usize::MAX, 0usize, 0);
    for cell in cells {
        all += 1;
        if is_missing(cell) {
            continue;
        }
        filled += 1;
        let level = level_of(cell, point).is_some();
        levels += usize::from(level);
        bare += usize::from(matches!(cell, b"0" | b"1"));
        numbers += usize::from(volts_of(cell, point, 1.0).is_some());
        with_unit += usize::from(volts_in(cell, point).is_some());
        whole += usize::from(cell.iter().all(u8::is_ascii_digit));
        if let Some((_, b)) = packed(cell) {
            with_base += 1;
            base = b;
            most_digits = most_digits.max(digits_in(cell));
        }
        let digits = cell.len();
        (longest, shortest) = (longest.max(digits), shortest.min(digits));
        led_by_0 += usize::from(cell.starts_with(b"0"));
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
    // Bits of one word, as many in each cell: no number begins with 0 so.
    let is_unitless = unit.and_then(volt_unit).is_none();
    if range.is_none()
        && is_unitless
        && binary == filled
        && longest > 1
        && longest == shortest
        && led_by_0 > 0
    {
        told.binary.push(name.to_owned());
        return ColumnKind::Bus {
            bits: longest.min(128),
            base: 2,
        };
    }
    // Nobody's volts are 0 and 1 without a fraction; should others follow, the column is read anew as volts.
    if mostly(levels) && (unit.and_then(volt_unit).is_none() || bare == filled) {
        return ColumnKind::Digital;
    }
    if with_base * 2 > filled {
        let digit_bits = if base == 10 { 3 } else { base.ilog2() as usize };
        let bits = (most_digits * digit_bits).clamp(1, 128);
        return ColumnKind::Bus { bits, base };
    }
    if mostly(numbers) {
        if is_unitless && with_unit < filled {
            told.volts.push(name.to_owned());
        }
        return ColumnKind::Analog;
    }
    ColumnKind::Ignore
}
