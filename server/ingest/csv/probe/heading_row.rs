//! Which row above the data holds the headings. Rows of values or of words may stand above it and below it: thresholds, probes,
//! sides of the machine, colours of the wires.

use super::super::cells::{Decimal, is_sample_word, is_time_word, split_unit, time_unit, volts_in};
use super::headings::text;
use super::time_column::is_time_cell;
use super::{Row, preamble};

/// How surely a row holds the headings; of rows of the same rank, the last one does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    /// No row of words, such as one of channels by their numbers: holds them only right above the data.
    Last,
    /// Begins with a word for the samples in a table of one line, where `Sample,oak board` does too.
    Sample,
    /// Words in nearly all cells.
    Words,
    /// Begins with `seconds`, which may as well be the unit of a heading above it; or channels by their numbers behind a
    /// word for the samples.
    Unit,
    /// Begins with a word for the samples, or for the times with channels by their numbers behind it.
    Samples,
    /// Begins with a word for the times.
    Times,
    /// Names the times and their unit.
    TimesWithUnit,
}

/// The place in `rest`, the rows above the data that are no remarks, of the one that holds the headings of `fields` columns.
pub fn find(rest: &[&Row], fields: usize, point: u8) -> Option<usize> {
    let ranked = rest.iter().enumerate().filter_map(|(at, row)| {
        let rank = rank(row, fields, point)?;
        let is_last = at + 1 == rest.len();
        // In a table of one line, `Model,scope` looks as much like headings as `tick,BELL` does.
        let needs_last = rank == Rank::Last || rank == Rank::Words && fields < 3;
        (is_last || !needs_last).then_some((rank, at))
    });
    ranked.max().map(|(_, at)| at)
}

/// How surely that row holds the headings; `None` where it holds none.
fn rank(row: &Row, fields: usize, point: u8) -> Option<Rank> {
    let cells: Vec<String> = row.cells.iter().map(|cell| text(cell)).collect();
    let is_wide = cells.len() >= fields.saturating_sub(1).max(2) || cells.len() * 2 > fields + 1;
    if !is_wide || preamble::is_of_values(row, point) {
        return None;
    }
    let is_word = |cell: &&Vec<u8>| {
        !cell.is_empty()
            && Decimal::parse(cell, point).is_none()
            && volts_in(cell, point).is_none()
            && !is_time_cell(cell, point)
            && !is_time_of_day(cell)
    };
    let words = row.cells.iter().filter(is_word).count();
    // The times may have no word, and of four columns, one.
    let has_corner = row.cells.first().is_some_and(Vec::is_empty);
    let is_of_words = words + usize::from(has_corner) >= fields - fields / 4;
    let is_digits = |cell: &String| !cell.is_empty() && cell.bytes().all(|byte| byte.is_ascii_digit());
    let is_of_channels = cells.len() + 1 >= fields && words == 1 && cells[1..].iter().all(is_digits);
    let (name, unit) = split_unit(&cells[0]);
    let heads_samples = !name.is_empty() && is_sample_word(name) || name.to_lowercase().contains("axis");
    let is_unit = time_unit(&cells[0]).is_some();
    // Behind a plain word for the times cells may be empty, or read as values do: `Time (us),5V,,`.
    let heads_times = is_time_word(name) && !is_unit && !is_of_record(name);
    let has_time_unit = unit.and_then(time_unit).is_some();
    let is_enough = is_of_words || heads_times && (has_time_unit || words > 1 && words * 2 >= fields);
    let is_time_with_unit = |cell: &String| {
        let (name, unit) = split_unit(cell);
        is_time_word(name) && unit.and_then(time_unit).is_some()
    };
    Some(if is_of_channels {
        match (is_time_word(name), heads_samples) {
            (true, _) => Rank::Samples,
            (false, true) => Rank::Unit,
            (false, false) => Rank::Last,
        }
    } else if !is_enough {
        Rank::Last
    } else if heads_times && !has_time_unit {
        Rank::Times
    } else if cells.iter().any(is_time_with_unit) {
        Rank::TimesWithUnit
    } else if heads_samples {
        if fields < 3 { Rank::Sample } else { Rank::Samples }
    } else if is_unit {
        Rank::Unit
    } else if preamble::units_in(row).is_some() {
        Rank::Last
    } else {
        Rank::Words
    })
}

/// Whether a word for the times may as well say when or where the record was made: `Date`, `Trigger time`, `Time zone`.
fn is_of_record(name: &str) -> bool {
    let lower = name.trim().to_lowercase();
    let is_elapsed = lower.starts_with("elapsed");
    lower.starts_with("date")
        || lower.starts_with("start")
        || lower.starts_with("time ") && lower != "time stamp"
        || lower.ends_with(" time") && !is_elapsed
}

/// `12:30 PM`, `9:05 h`: no line is named so.
fn is_time_of_day(cell: &[u8]) -> bool {
    cell.first().is_some_and(u8::is_ascii_digit) && cell.contains(&b':')
}
