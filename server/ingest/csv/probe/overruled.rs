//! What to say where `[read]` of the setup file says otherwise than the table does. The setup file has the last word, for a
//! heading may be wrong; but both values are told, since a setup may have been made for another file.

use super::super::bus::bus_range;
use super::super::cells::{Decimal, split_unit, time_unit, volt_unit};
use super::headings::Head;
use super::{Row, TablePlan, time_column};
use crate::ingest::ReadOptions;
use crate::ingest::error::quoted;
use crate::model::units::engineering;
use crate::model::{ColumnKind, TableForm};

/// What every such warning ends with.
fn ending(key: &str) -> String {
    format!("the setup file was followed; take {key} out from under [read] if the file is right")
}

/// `time_unit` beside a heading, or a row of units, that names another: `seconds` is the unit said, `exponent` its power of
/// ten.
pub fn time_unit_of_heading(
    exponent: i32,
    name: &str,
    unit: Option<&str>,
    in_row: Option<&str>,
) -> Option<String> {
    let named = |word: &'_ str| time_unit(word).map(|other| (word.to_owned(), other));
    let found = unit.and_then(named).or_else(|| in_row.and_then(named));
    let said = engineering(10f64.powi(exponent), "s");
    let (place, found) = match found {
        Some((_, same)) if same == exponent => return None,
        Some((word, _)) if unit.and_then(time_unit).is_some() => ("the heading of the time column", word),
        Some((word, _)) => ("the row of units", word),
        None => match time_column::counted_in(name, in_row) {
            Some(time_column::Counted::Long(word)) => ("the heading of the time column", word),
            Some(time_column::Counted::Samples) => ("the heading of the time column", "samples".to_owned()),
            None => return None,
        },
    };
    Some(format!(
        "the setup file says that the times count {said}, {place} says {found}: {}",
        ending("time_unit")
    ))
}

/// `time_unit` beside times that carry their own units, as `1.5 ms` and dates do: the one word of `[read]` that the cells
/// overrule.
pub fn time_unit_of_cells(options: &ReadOptions, cell: &[u8]) -> Option<String> {
    let said = engineering(options.time_unit_s?, "s");
    Some(format!(
        "the setup file says that the times count {said}, the times themselves say their unit, as {} does: the times were \
         followed; time_unit under [read] has no effect here",
        quoted(cell)
    ))
}

/// `sample_period` or `sample_rate` beside a sampling stated above the table.
pub fn stated_sampling(head: &Head, options: &ReadOptions) -> Option<String> {
    /// A stated period is often rounded to a few digits.
    const NEAR: f64 = 0.02;
    let (said_s, (stated_s, spread_s)) = (options.sample_period_s?, head.stated_period?);
    if (said_s - stated_s).abs() <= spread_s.max(NEAR * stated_s) {
        return None;
    }
    Some(format!(
        "the setup file says a sample every {} ({}), the text above the table says every {} ({}): {}",
        engineering(said_s, "s"),
        engineering(1.0 / said_s, "Hz"),
        engineering(stated_s, "s"),
        engineering(1.0 / stated_s, "Hz"),
        ending("sample_period or sample_rate")
    ))
}

/// Columns declared as what their headings deny: the times elsewhere than under the heading for them, levels or a bus under
/// a heading in volts, volts under a heading of bits.
pub fn columns(plan: &TablePlan, head: &Head, data: &[&Row], options: &ReadOptions) -> Vec<String> {
    let mut said = Vec::new();
    let without = ReadOptions::default();
    let declares_time = options.columns.values().any(|kind| *kind == ColumnKind::Time);
    let own = time_column::time_column(plan, head, data, &without);
    let name_of = |column: usize| match head.names.get(column).map(|name| name.trim()) {
        None | Some("") => format!("column {}", column + 1),
        Some(name) => quoted(name.as_bytes()),
    };
    if let (true, Some(taken), Some(own)) = (declares_time, plan.time, own)
        && taken != own
        && time_column::is_headed_time(head, own)
    {
        said.push(format!(
            "the setup file says that the times stand in {}, the headings say in {}: {}",
            name_of(taken),
            name_of(own),
            ending("that column of [read.columns]")
        ));
    }
    for (column, found) in plan
        .columns
        .iter()
        .enumerate()
        .filter(|(_, column)| column.is_declared)
    {
        let (name, unit) = split_unit(&found.heading);
        let in_row = head.units.get(column).and_then(Option::as_deref);
        let in_volts = unit.or(in_row).filter(|unit| volt_unit(unit).is_some());
        let (is_said, heading) = match (found.kind, in_volts) {
            (ColumnKind::Digital, Some(unit)) => ("levels", unit.to_owned()),
            (ColumnKind::Bus { .. }, Some(unit)) => ("a bus", unit.to_owned()),
            (ColumnKind::Analog, None) => match bus_range(name) {
                Some(_) => ("volts", "a bus".to_owned()),
                None => continue,
            },
            _ => continue,
        };
        said.push(format!(
            "the setup file says that {} holds {is_said}, its heading says {heading}: {}",
            name_of(column),
            ending("that column of [read.columns]")
        ));
    }
    said
}

/// `form` beside rows that contradict it: rows that repeat the one before are no changes (`repeats` of `rows`), and rows
/// that are not equally far apart are no samples.
pub fn form(options: &ReadOptions, is_grid_of_samples: bool, repeats: usize, rows: usize) -> Option<String> {
    match options.form? {
        TableForm::Changes if repeats > 0 => Some(format!(
            "the setup file says one row a change, but {repeats} of the first {rows} rows repeat the levels of the row before, \
             as one row a sample does: {}",
            ending("form")
        )),
        TableForm::Samples if !is_grid_of_samples => Some(format!(
            "the setup file says one row a sample, but the first {rows} rows are not equally far apart, as one row a change is: \
             {}",
            ending("form")
        )),
        _ => None,
    }
}

/// A delimiter that parts no row where another does (`own` is the one that the rows show, `fields` how many columns the one
/// said makes), or a decimal mark by which a number of `rows` can't be read while the other mark reads it.
pub fn marks(own: Option<u8>, fields: usize, rows: &[&Row], options: &ReadOptions) -> Option<String> {
    let shown = |mark: u8| match mark {
        b'\t' => "a tab".to_owned(),
        mark => format!("\"{}\"", char::from(mark)),
    };
    if let (Some(said), Some(own)) = (options.delimiter, own)
        && said != own
        && fields < 2
    {
        return Some(format!(
            "the setup file says that {} parts the columns, the rows are parted by {}: {}",
            shown(said),
            shown(own),
            ending("delimiter")
        ));
    }
    let said = options.decimal?;
    let other = if said == b',' { b'.' } else { b',' };
    let cell = rows.iter().flat_map(|row| &row.cells).find(|cell| {
        cell.contains(&other) && Decimal::parse(cell, other).is_some() && Decimal::parse(cell, said).is_none()
    })?;
    Some(format!(
        "the setup file says that {} is the decimal mark, numbers such as {} have {}: {}",
        shown(said),
        quoted(cell),
        shown(other),
        ending("decimal")
    ))
}
