//! What stands above the data: headings, a row of units, remarks that state the sampling rate.

use super::super::bus::{bus_range, split_base};
use super::super::cells::{Decimal, is_sample_word, split_unit, time_unit, volt_unit, words};
use super::{Row, heading_row, preamble};
use crate::model::units::count_of;

/// What remarks begin with.
const REMARKS: [char; 4] = ['#', '%', '/', ';'];

/// How the warning begins that tells of a table without headings.
pub const NO_HEADINGS: &str = "the columns have no headings";

/// The headings and what stands above and below them.
pub struct Head {
    pub names: Vec<String>,
    pub units: Vec<Option<String>>,
    /// Length of a sample in seconds and how precisely, from the preamble.
    pub stated_period: Option<(f64, f64)>,
    /// Samples of a line that the preamble says there are.
    pub stated_rows: Option<u64>,
    pub missing: bool,
}

/// Names and units of the columns, and a sampling period stated above the data. `given`: headings that a person gave to a
/// table that has none.
pub fn headings(
    above: &[Row],
    fields: usize,
    point: u8,
    given: &[String],
    warnings: &mut Vec<String>,
) -> Head {
    let mut rest: Vec<&Row> = above
        .iter()
        .filter(|r| !r.cells.is_empty() && !r.comment)
        .collect();
    let mut head = Head {
        names: Vec::new(),
        units: Vec::new(),
        stated_period: None,
        stated_rows: None,
        missing: false,
    };
    let units_of = |row: &Row| -> Vec<Option<String>> {
        let units = row
            .cells
            .iter()
            .map(|c| text(c).trim_matches(['(', ')', '[', ']']).to_owned());
        units.map(|unit| Some(unit).filter(|u| !u.is_empty())).collect()
    };
    if let Some(row) = rest.pop_if(|row| is_unit_row(row, point)) {
        head.units = units_of(row);
    }
    // A remark that states the sampling is no heading; the units below it are all the headings there are.
    rest.retain(|row| stated_period(row, point).is_none());
    let is_remark = |row: &Row| row.cells.len() == 2 && Decimal::parse(&row.cells[1], point).is_some();
    let are_units_all = head.units.iter().flatten().count() == fields;
    let mut below = Vec::new();
    let names = match heading_row::find(&rest, fields, point) {
        None if are_units_all && rest.last().is_none_or(|row| is_remark(row)) => {
            Some(head.units.iter().flatten().cloned().collect())
        }
        Some(at) => {
            below = rest.split_off(at + 1);
            let row = rest.pop().expect("it was there");
            if let Some(units) = below.iter().position(|row| is_unit_row(row, point))
                && head.units.is_empty()
            {
                head.units = units_of(below.remove(units));
            }
            Some(row.cells.iter().map(|cell| text(cell)).collect::<Vec<_>>())
        }
        _ => {
            // Some writers make a remark of the headings.
            above
                .iter()
                .rev()
                .find(|r| r.comment && r.cells.len() == fields)
                .map(|r| {
                    let mut names: Vec<String> = r.cells.iter().map(|cell| text(cell)).collect();
                    names[0] = names[0].trim_start_matches(REMARKS).trim().to_owned();
                    names
                })
        }
    };
    let named = names.is_none() && !given.is_empty();
    let names = names.or_else(|| (given.len() == fields).then(|| given.to_vec()));
    head.missing = names.is_none();
    head.names = names.unwrap_or_default();
    number_channels(&mut head.names);
    preamble::read(&mut head, &rest, &below, fields, point, warnings);
    for row in above.iter().filter(|r| !r.cells.is_empty()) {
        if head.stated_period.is_none() {
            head.stated_period = stated_period(row, point);
        }
    }
    if head.stated_period.is_none() {
        head.stated_period = increment_below(above, point);
    }
    match head.missing {
        true if named => warnings.push(format!(
            "{NO_HEADINGS} and were numbered: names under [read] in the setup file has {}, the table has {}; \
             give one for each column, that of the times too",
            count_of(given.len() as u64, "name"),
            count_of(fields as u64, "column")
        )),
        true => warnings.push(format!(
            "{NO_HEADINGS}: they were numbered; give them names with names = [\"Time\", \"…\"] under [read] in \
             the setup file, one for each column"
        )),
        false => {}
    }
    head
}

/// The words of a cell.
pub fn text(cell: &[u8]) -> String {
    words(cell).trim().replace("\"\"", "\"")
}

/// Whether all that a row says is units: `second,Volt,Volt`; numbers may stand beside them.
pub fn is_unit_row(row: &Row, point: u8) -> bool {
    let is_number = |cell: &str| Decimal::parse(cell.as_bytes(), point).is_some();
    let cells: Vec<String> = row.cells.iter().map(|cell| text(cell)).collect();
    cells.len() >= 2
        && cells.iter().all(|cell| {
            let cell = cell.trim_matches(['(', ')', '[', ']']);
            let known = time_unit(cell).is_some() || volt_unit(cell).is_some() || is_sample_word(cell);
            cell.is_empty() || known || cell == "logic" || is_number(cell)
        })
        && cells.iter().any(|cell| !cell.is_empty() && !is_number(cell))
}

/// Channels that are headed by their bare numbers get a word, so that their names are no numbers: `1` is `channel 1`.
fn number_channels(names: &mut [String]) {
    let Some((_, channels)) = names.split_first_mut() else {
        return;
    };
    let is_number = |name: &String| !name.is_empty() && name.bytes().all(|b| b.is_ascii_digit());
    if channels.iter().any(is_number) && channels.iter().all(|name| name.is_empty() || is_number(name)) {
        for name in channels.iter_mut().filter(|name| is_number(name)) {
            *name = format!("channel {name}");
        }
    }
}

/// A heading `Increment` with the seconds of a sample below it.
fn increment_below(above: &[Row], point: u8) -> Option<(f64, f64)> {
    above.windows(2).find_map(|pair| {
        let column = pair[0].cells.iter().position(|c| {
            let text = String::from_utf8_lossy(c).trim().to_lowercase();
            matches!(text.as_str(), "increment" | "x increment" | "xincrement")
        })?;
        let number = Decimal::parse(pair[1].cells.get(column)?, point)?;
        let seconds = number.to_f64();
        PERIODS_S
            .contains(&seconds)
            .then_some((seconds, 0.5 * 10f64.powi(number.exponent)))
    })
}

/// `Sample period;41,667 ns`, `Sample rate: 24 MHz`: seconds of a sample, and half of its last digit.
fn stated_period(row: &Row, point: u8) -> Option<(f64, f64)> {
    let joined: Vec<String> = row
        .cells
        .iter()
        .map(|c| words(c).trim().trim_start_matches(REMARKS).trim().to_owned())
        .collect();
    let (key, value) = match joined.as_slice() {
        [key, value, ..] if !value.is_empty() && !key.contains(':') => (key.clone(), value.clone()),
        [one, rest @ ..] => {
            let (key, value) = one.split_once([':', '='])?;
            let decimals = rest
                .first()
                .filter(|r| !r.is_empty())
                .map(|r| format!(",{r}"))
                .unwrap_or_default();
            (key.to_owned(), format!("{}{decimals}", value.trim()))
        }
        _ => return None,
    };
    let key_text = key.to_lowercase();
    // The unit may stand in the key: "Sample rate (Hz)".
    let (_, unit_in_key) = split_unit(key.trim());
    let period = ["period", "interval", "increment", "step"]
        .iter()
        .any(|w| key_text.contains(w));
    let rate = ["rate", "frequency"].iter().any(|w| key_text.contains(w));
    if !(key_text.contains("sampl") || key_text.contains("increment") || key_text == "rate")
        || !(period || rate)
    {
        return None;
    }
    let at = value
        .find(|c: char| c.is_alphabetic() && c != 'e' && c != 'E')
        .unwrap_or(value.len());
    let (number, unit) = (value[..at].trim(), value[at..].trim());
    let unit = if unit.is_empty() {
        unit_in_key.unwrap_or("")
    } else {
        unit
    };
    let decimal = Decimal::parse(number.as_bytes(), point)
        .or_else(|| Decimal::parse(number.as_bytes(), b'.'))
        .or_else(|| Decimal::parse(number.as_bytes(), b','))?;
    let (amount, half_digit) = (decimal.to_f64(), 0.5 * 10f64.powi(decimal.exponent));
    if amount <= 0.0 {
        return None;
    }
    let relative = half_digit / amount;
    let seconds = if period && !rate {
        let exponent = if unit.is_empty() { 0 } else { time_unit(unit)? };
        amount * 10f64.powi(exponent)
    } else {
        let factor = match unit.trim_end_matches("/s") {
            "" | "Hz" | "hz" | "Sa" | "S" => 1.0,
            "kHz" | "khz" | "kSa" | "kS" => 1e3,
            "MHz" | "mhz" | "MSa" | "MS" => 1e6,
            "GHz" | "ghz" | "GSa" | "GS" => 1e9,
            _ => return None,
        };
        1.0 / (amount * factor)
    };
    PERIODS_S
        .contains(&seconds)
        .then_some((seconds, seconds * relative))
}

/// What a stated period may be: from a femtosecond, finer than any instrument, to a dozen days.
const PERIODS_S: std::ops::RangeInclusive<f64> = 0.999e-15..=1.001e6;

/// The column that a key of the options means: a heading, a line's name, the name of a bus, or a number from 1.
pub fn position_of(key: &str, head: &Head, fields: usize) -> Option<usize> {
    let by_name = head
        .names
        .iter()
        .position(|h| h.trim() == key || split_unit(h).0 == key);
    let of_bus = || {
        head.names.iter().position(|heading| {
            let name = split_base(split_unit(heading).0).0;
            let is_bus =
                bus_range(name).is_some() && name.rfind('[').is_some_and(|at| name[..at].trim_end() == key);
            name == key || is_bus
        })
    };
    by_name.or_else(of_bus).or_else(|| {
        key.parse::<usize>()
            .ok()
            .filter(|n| (1..=fields).contains(n))
            .map(|n| n - 1)
    })
}
