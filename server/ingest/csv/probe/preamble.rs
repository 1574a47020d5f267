//! What rows of values above or below the headings say of the columns: a word, then one value for all or one for each channel.
//! Units of the columns and the number of samples are taken up; what else stands there is told and changes nothing, since nobody says
//! whether the cells were multiplied by it already.

use super::super::cells::{Decimal, is_sample_word, is_time_word, split_unit, time_unit, volt_unit};
use super::Row;
use super::headings::{Head, text};
use crate::ingest::error::quoted;

/// Whether a row is a word with values behind it: `Probe,10,10`. Channels that are headed by their numbers are headings:
/// small whole numbers, each another one, behind a word for the times or none.
pub fn is_of_values(row: &Row, point: u8) -> bool {
    /// No instrument has more channels that are headed by bare numbers. No source.
    const MOST_CHANNELS: f64 = 256.0;
    let Some((word, values)) = row.cells.split_first() else {
        return false;
    };
    let numbers: Vec<f64> = values
        .iter()
        .filter(|cell| !cell.is_empty())
        .filter_map(|cell| Decimal::parse(cell, point).map(Decimal::to_f64))
        .collect();
    let filled = values.iter().filter(|cell| !cell.is_empty()).count();
    if word.is_empty() || filled == 0 || numbers.len() < filled {
        return false;
    }
    let word = text(word);
    let name = split_unit(&word).0;
    let is_channel = |number: &f64| number.fract() == 0.0 && (0.0..=MOST_CHANNELS).contains(number);
    let is_all_digits = |cell: &Vec<u8>| cell.iter().all(u8::is_ascii_digit);
    let are_channels = numbers.iter().all(is_channel)
        && values.iter().all(is_all_digits)
        && numbers.windows(2).all(|pair| pair[0] != pair[1]);
    let heads_times = is_time_word(name) || is_sample_word(name) || word.to_lowercase().contains("axis");
    !(are_channels && (heads_times || numbers.len() > 1))
}

/// Takes up what the rows `above` and `below` the headings say of units and of the number of samples, and tells of what was
/// not used: values above them, all that stands below them.
pub fn read(
    head: &mut Head,
    above: &[&Row],
    below: &[&Row],
    fields: usize,
    point: u8,
    warnings: &mut Vec<String>,
) {
    let not_above = unused(head, above, false, fields, point);
    let not_below = unused(head, below, true, fields, point);
    let (what, place) = match (not_above.is_empty(), not_below.is_empty()) {
        (true, true) => return,
        (false, true) => ("values", "above"),
        (true, false) => ("rows", "below"),
        (false, false) => ("values and rows", "above and below"),
    };
    warnings.push(format!(
        "{what} {place} the headings were not used, the cells were taken as they are written: {}",
        shown(&[not_above, not_below].concat())
    ));
}

/// Takes up what `rows` say, and gives the rest of them in words: of those below the headings all, else those of values.
fn unused(head: &mut Head, rows: &[&Row], is_below: bool, fields: usize, point: u8) -> Vec<String> {
    let mut unused: Vec<String> = Vec::new();
    for row in rows {
        let Some((word, values)) = row.cells.split_first() else {
            continue;
        };
        let word = text(word);
        let key = word.to_lowercase();
        let values: Vec<String> = values
            .iter()
            .map(|cell| text(cell))
            .filter(|cell| !cell.is_empty())
            .collect();
        if key.contains("unit") && take_units(head, &key, &values, fields) {
            continue;
        }
        let alike = values
            .first()
            .filter(|first| values.iter().all(|value| value == *first));
        let count = alike.and_then(|value| value.parse::<u64>().ok());
        if let Some(count) = count.filter(|_| counts_samples(&key)) {
            head.stated_rows = Some(count);
            continue;
        }
        let is_unit_taken = is_below && take_time_unit(head, row);
        // A lone value may be of the program or the day; one a channel is about the cells.
        if is_below || is_of_values(row, point) {
            let told = alike.map_or_else(|| values.join(", "), String::clone);
            let word = quoted(word.as_bytes());
            unused.push(match (is_unit_taken || key.is_empty(), told.is_empty()) {
                (true, _) => told,
                (false, true) => word,
                (false, false) => format!("{word} {told}"),
            });
        }
    }
    unused
}

/// The unit of the times out of a row below the headings that says no other units: `us,left,right`. False where its first cell
/// says none.
fn take_time_unit(head: &mut Head, row: &Row) -> bool {
    let unit = row.cells.first().map(|cell| text(cell)).unwrap_or_default();
    let unit = unit.trim_matches(['(', ')', '[', ']']);
    let is_of_times = head
        .names
        .first()
        .is_some_and(|name| is_time_word(split_unit(name).0));
    if !is_of_times || time_unit(unit).is_none() {
        return false;
    }
    head.units.resize(head.units.len().max(1), None);
    head.units[0].get_or_insert(unit.to_owned());
    true
}

/// The units that stand behind the word of a row such as `Unit,V,V`; `None` where it is none.
pub fn units_in(row: &Row) -> Option<Vec<String>> {
    let (word, values) = row.cells.split_first()?;
    let values: Vec<String> = values.iter().map(|cell| text(cell)).collect();
    let is_unit = |value: &String| time_unit(value).is_some() || volt_unit(value).is_some();
    (text(word).to_lowercase().contains("unit") && values.iter().all(is_unit)).then_some(values)
}

/// The first few.
fn shown(told: &[String]) -> String {
    const SHOWN: usize = 5;
    match told.len().saturating_sub(SHOWN) {
        0 => told.join("; "),
        more => format!("{}; and {more} more", told[..SHOWN].join("; ")),
    }
}

/// `Record Length`, `Samples`, `Number of points`: how many rows there are.
fn counts_samples(key: &str) -> bool {
    let key = key.trim_end_matches([':', '=', ' ']);
    matches!(
        key,
        "record length"
            | "samples"
            | "points"
            | "number of samples"
            | "number of points"
            | "no. of samples"
            | "no. of points"
    )
}

/// Units of the columns out of a row such as `Vertical Units,V,mV`, one for each channel or one for all, or
/// `Horizontal Units,s`. False where it says none. A unit that stands nearer to the table is left as it is.
fn take_units(head: &mut Head, key: &str, values: &[String], fields: usize) -> bool {
    let Some(first) = values.first() else {
        return false;
    };
    let is_of_times = values.iter().all(|value| value == first) && time_unit(first).is_some();
    let is_of_volts = values.iter().all(|value| volt_unit(value).is_some());
    let is_one_each = values.len() + 1 == fields;
    let is_one_for_all = values.iter().all(|value| value == first);
    let times_first = head
        .names
        .first()
        .is_none_or(|name| is_time_word(split_unit(name).0));
    if !times_first || !(is_of_times || is_of_volts && (is_one_each || is_one_for_all)) {
        return false;
    }
    head.units.resize(fields.max(head.units.len()), None);
    if is_of_times {
        let is_of_horizontal = ["horizontal", "time", "x "].iter().any(|word| key.contains(word));
        if is_of_horizontal {
            head.units[0].get_or_insert(first.clone());
        }
        return is_of_horizontal;
    }
    for column in 1..fields {
        let value = if is_one_each { &values[column - 1] } else { first };
        head.units[column].get_or_insert(value.clone());
    }
    true
}
