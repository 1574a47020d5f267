//! What kind of table this is, told from its first rows: delimiter, decimal mark, preamble, headings, units, the
//! time column, what each column holds.

use std::collections::HashMap;

use super::super::error::quoted;
use super::super::input::{Input, Source, Wrapping};
use super::super::options::{ColumnKind, TableForm};
use super::super::{Error, ErrorKind, ReadOptions};
use super::cells::{
    Decimal, is_missing, is_sample_word, is_time_word, level_of, split_unit, time_unit, volt_unit,
};
use super::clock::{Pace, pace_of};
use super::rows::Rows;
use super::time::{TimeReader, TimeStyle, clock, suffixed};

/// Bytes and rows looked at.
const PROBED_BYTES: u64 = 512 << 10;
const PROBED_ROWS: usize = 6_000;
/// Rows that tell the delimiter.
const DELIMITED_ROWS: usize = 300;

/// One column of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnPlan {
    /// The heading without its unit, unique.
    pub name: String,
    pub heading: String,
    pub kind: ColumnKind,
    /// Volts of one unit of the cells.
    pub volts: f64,
    /// Volts of the first rows of an analog column, for its state levels.
    pub sample: Vec<f32>,
}

/// How to read the table.
#[derive(Clone, Debug)]
pub struct TablePlan {
    pub delimiter: u8,
    pub point: u8,
    /// Editor's number of the first data row.
    pub first_row: u64,
    /// Where it begins.
    pub first_byte: u64,
    /// Fields of a whole row.
    pub fields: usize,
    /// Position of the time column; `None`: rows are samples of a given period.
    pub time: Option<usize>,
    pub reader: TimeReader,
    pub rounding: f64,
    /// Length of a sample where times are sample numbers, in seconds.
    pub sample_s: Option<f64>,
    pub pace: Pace,
    pub columns: Vec<ColumnPlan>,
    pub warnings: Vec<String>,
    /// The first rows as text, for the reading sheet.
    pub shown: Vec<Vec<String>>,
    /// What the unit of time was taken from.
    pub unit_from: &'static str,
}

impl TablePlan {
    /// `samples` or `changes`, and the sampling period in seconds.
    pub fn form(&self) -> (&'static str, Option<f64>) {
        let unit_s = self.sample_s.unwrap_or_else(|| 10f64.powi(self.reader.unit));
        match self.pace {
            Pace::Samples(grid) => ("samples", Some(grid.period * unit_s)),
            Pace::Snapped(grid) => ("changes", Some(grid.period * unit_s)),
            Pace::Free => ("changes", None),
        }
    }

    /// Length of one unit of the time column; `None` for dates and suffixed times.
    pub fn time_unit_s(&self) -> Option<f64> {
        match self.reader.style {
            TimeStyle::Number { exponent } => Some(self.sample_s.unwrap_or(10f64.powi(exponent))),
            TimeStyle::Suffixed | TimeStyle::Clock => None,
        }
    }
}

struct Row {
    number: u64,
    byte: u64,
    cells: Vec<Vec<u8>>,
    comment: bool,
}

/// Looks at the first rows.
pub fn probe(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
) -> Result<TablePlan, Error> {
    let fail = |row: Option<u64>, text: String| Error {
        file: name.to_owned(),
        position: row.map(|row| super::super::Position {
            byte: 0,
            row: Some(row),
            column: None,
        }),
        kind: ErrorKind::Table(text),
    };
    let delimiter = match options.delimiter {
        Some(delimiter) => delimiter,
        None => find_delimiter(source, name, wrapping, options)?.ok_or_else(|| {
            fail(
                None,
                "expected columns parted by comma, semicolon, tab or |, found none: is this a table of samples or \
                 changes?"
                    .to_owned(),
            )
        })?,
    };
    let rows = first_rows(source, name, wrapping, options, delimiter, PROBED_ROWS)?;
    let point = options.decimal.unwrap_or_else(|| decimal_mark(&rows, delimiter));
    let first = first_data_row(&rows, point).ok_or_else(|| {
        fail(
            rows.first().map(|r| r.number),
            "expected rows of a time and levels or volts, found none: export the capture as a table with a time \
             column"
                .to_owned(),
        )
    })?;
    let data: Vec<&Row> = rows[first..]
        .iter()
        .filter(|r| !r.comment && !r.cells.is_empty())
        .collect();
    let fields = usual_length(&data);
    let mut warnings = Vec::new();
    let head = headings(&rows[..first], fields, point, &mut warnings);
    let mut plan = TablePlan {
        delimiter,
        point,
        first_row: rows[first].number,
        first_byte: rows[first].byte,
        fields,
        time: None,
        reader: TimeReader {
            style: TimeStyle::Number { exponent: 0 },
            point,
            unit: 0,
            first_day: None,
        },
        rounding: 1.0,
        sample_s: None,
        pace: Pace::Free,
        columns: Vec::new(),
        warnings,
        shown: data
            .iter()
            .take(12)
            .map(|r| {
                r.cells
                    .iter()
                    .map(|c| String::from_utf8_lossy(c).into_owned())
                    .collect()
            })
            .collect(),
        unit_from: "the heading",
    };
    find_time(&mut plan, &head, &data, options, &fail)?;
    columns(&mut plan, &head, &data, options);
    find_pace(&mut plan, &head, &data, options, &fail)?;
    Ok(plan)
}

/// The headings and what stands above and below them.
struct Head {
    names: Vec<String>,
    units: Vec<Option<String>>,
    /// Length of a sample in seconds and how precisely, from the preamble.
    stated_period: Option<(f64, f64)>,
    missing: bool,
}

fn first_rows(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    delimiter: u8,
    most: usize,
) -> Result<Vec<Row>, Error> {
    let input = Input::open(source, name, wrapping, &options.limits, &())?;
    let mut reader = Rows::new(input, name, delimiter);
    let mut rows = Vec::new();
    let mut cells_held = 0usize;
    while rows.len() < most && reader.offset() < PROBED_BYTES && cells_held < 4_000_000 {
        match reader.advance(options.limits.columns) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) if rows.is_empty() => return Err(error),
            // The main pass will tell it with its place.
            Err(_) => break,
        }
        let bytes = reader.bytes();
        let cells: Vec<Vec<u8>> = reader
            .fields
            .iter()
            .map(|f| bytes[f.start..f.end].to_vec())
            .collect();
        cells_held += cells.len();
        rows.push(Row {
            number: reader.row,
            byte: reader.offset(),
            comment: is_comment(bytes),
            cells,
        });
    }
    Ok(rows)
}

/// Whether a row is a remark: begins with `#`, `%` or `//`.
pub fn is_comment(row: &[u8]) -> bool {
    let row = row.trim_ascii_start();
    row.starts_with(b"#") || row.starts_with(b"%") || row.starts_with(b"//")
}

fn find_delimiter(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
) -> Result<Option<u8>, Error> {
    // Later ones only where the earlier ones do not part the rows: a comma may be a decimal mark.
    let mut best = None;
    for delimiter in [b'\t', b';', b'|', b','] {
        let rows = match first_rows(source, name, wrapping, options, delimiter, DELIMITED_ROWS) {
            Ok(rows) => rows,
            Err(error) => {
                if delimiter == b',' && best.is_none() {
                    return Err(error);
                }
                continue;
            }
        };
        let lengths: Vec<usize> = rows
            .iter()
            .filter(|r| !r.comment && !r.cells.is_empty())
            .map(|r| r.cells.len())
            .collect();
        // The preamble is short: the second half of what was seen is data.
        let tail = &lengths[lengths.len() / 2..];
        let mut counts: HashMap<usize, usize> = HashMap::new();
        tail.iter().for_each(|&n| *counts.entry(n).or_default() += 1);
        let Some((&fields, &count)) = counts.iter().max_by_key(|&(&n, &c)| (c, n)) else {
            continue;
        };
        if fields < 2 || count * 2 < tail.len() {
            continue;
        }
        if best.is_none_or(|(_, share)| count as f64 / tail.len() as f64 > share + 0.2) {
            best = Some((delimiter, count as f64 / tail.len() as f64));
        }
    }
    Ok(best.map(|(delimiter, _)| delimiter))
}

/// Comma where cells such as `0,125` stand.
fn decimal_mark(rows: &[Row], delimiter: u8) -> u8 {
    let mut commas = 0usize;
    let mut points = 0usize;
    for cell in rows.iter().rev().take(400).flat_map(|r| r.cells.iter().take(8)) {
        if cell.contains(&b',') && Decimal::parse(cell, b',').is_some() {
            commas += 1;
        }
        if cell.contains(&b'.') && Decimal::parse(cell, b'.').is_some() {
            points += 1;
        }
    }
    let has_commas = || rows.iter().any(|r| r.cells.iter().any(|c| c.contains(&b',')));
    if commas > points || (points == 0 && delimiter == b';' && has_commas()) {
        b','
    } else {
        b'.'
    }
}

fn is_value(cell: &[u8], point: u8) -> bool {
    level_of(cell, point).is_some() || Decimal::parse(cell, point).is_some() || packed(cell).is_some()
}

fn is_time_cell(cell: &[u8], point: u8) -> bool {
    Decimal::parse(cell, point).is_some() || suffixed(cell, point).is_some() || clock(cell, point).is_some()
}

/// The first row from which on rows look like data.
fn first_data_row(rows: &[Row], point: u8) -> Option<usize> {
    let looks = |row: &Row| {
        !row.comment && row.cells.len() >= 2 && {
            let good = row
                .cells
                .iter()
                .filter(|c| is_value(c, point) || is_time_cell(c, point))
                .count();
            let filled = row.cells.iter().filter(|c| !c.is_empty()).count();
            good * 10 >= row.cells.len() * 6
                && filled >= 1
                && row.cells.iter().any(|c| !c.is_empty() && is_time_cell(c, point))
        }
    };
    let candidates: Vec<usize> = (0..rows.len())
        .filter(|&i| !rows[i].comment && !rows[i].cells.is_empty())
        .collect();
    (0..candidates.len())
        .find(|&at| {
            let next: Vec<&Row> = candidates[at..].iter().take(4).map(|&i| &rows[i]).collect();
            looks(next[0]) && next.iter().filter(|r| looks(r)).count() * 4 >= next.len() * 3
        })
        .map(|at| candidates[at])
}

fn usual_length(data: &[&Row]) -> usize {
    let mut counts: HashMap<usize, usize> = HashMap::new();
    data.iter()
        .for_each(|r| *counts.entry(r.cells.len()).or_default() += 1);
    counts
        .into_iter()
        .max_by_key(|&(n, c)| (c, n))
        .map_or(0, |(n, _)| n)
}

fn headings(above: &[Row], fields: usize, point: u8, warnings: &mut Vec<String>) -> Head {
    let text = |cell: &Vec<u8>| String::from_utf8_lossy(cell).trim().to_owned();
    let mut rest: Vec<&Row> = above
        .iter()
        .filter(|r| !r.cells.is_empty() && !r.comment)
        .collect();
    let mut head = Head {
        names: Vec::new(),
        units: Vec::new(),
        stated_period: None,
        missing: false,
    };
    let is_unit_row = |row: &Row| {
        row.cells.len() >= 2
            && row.cells.iter().any(|c| !c.is_empty())
            && row.cells.iter().all(|c| {
                let cell = text(c);
                let cell = cell.trim_matches(['(', ')', '[', ']']);
                let known = time_unit(cell).is_some() || volt_unit(cell).is_some() || is_sample_word(cell);
                cell.is_empty()
                    || known
                    || cell == "logic"
                    || Decimal::parse(cell.as_bytes(), point).is_some()
            })
            && row
                .cells
                .iter()
                .any(|c| !c.is_empty() && Decimal::parse(c, point).is_none())
    };
    if rest.last().is_some_and(|row| is_unit_row(row)) {
        let row = rest.pop().expect("it was there");
        head.units = row
            .cells
            .iter()
            .map(|c| Some(text(c).trim_matches(['(', ')', '[', ']']).to_owned()).filter(|u| !u.is_empty()))
            .collect();
    }
    let wide =
        |row: &Row| row.cells.len() >= fields.saturating_sub(1).max(2) || row.cells.len() * 2 > fields + 1;
    let names = match rest.last() {
        Some(row) if wide(row) => {
            let row = rest.pop().expect("it was there");
            Some(row.cells.iter().map(text).collect::<Vec<_>>())
        }
        _ => {
            // Some writers make a remark of the headings.
            above
                .iter()
                .rev()
                .find(|r| r.comment && r.cells.len() == fields)
                .map(|r| {
                    let mut names: Vec<String> = r.cells.iter().map(text).collect();
                    names[0] = names[0].trim_start_matches(['#', '%', '/']).trim().to_owned();
                    names
                })
        }
    };
    head.missing = names.is_none();
    head.names = names.unwrap_or_default();
    for row in above.iter().filter(|r| !r.cells.is_empty()) {
        if head.stated_period.is_none() {
            head.stated_period = stated_period(row, point);
        }
    }
    if head.stated_period.is_none() {
        head.stated_period = increment_below(above, point);
    }
    if head.missing {
        warnings.push("the columns have no headings: they were numbered".to_owned());
    }
    head
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
        (seconds > 0.0).then_some((seconds, 0.5 * 10f64.powi(number.exponent)))
    })
}

/// `Sample period;41,667 ns`, `Sample rate: 24 MHz`: seconds of a sample, and half of its last digit.
fn stated_period(row: &Row, point: u8) -> Option<(f64, f64)> {
    let joined: Vec<String> = row
        .cells
        .iter()
        .map(|c| {
            String::from_utf8_lossy(c)
                .trim()
                .trim_start_matches(['#', '%', '/'])
                .trim()
                .to_owned()
        })
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
    let (plain, unit_in_key) = split_unit(key.trim());
    let _ = plain;
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
    Some((seconds, seconds * relative))
}

fn find_time(
    plan: &mut TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let point = plan.point;
    let heading = |column: usize| head.names.get(column).map(String::as_str).unwrap_or("");
    let declared = options
        .columns
        .iter()
        .find(|(_, kind)| **kind == ColumnKind::Time)
        .and_then(|(key, _)| position_of(key, head, plan.fields));
    let all_times = |column: usize| {
        let cells = data.iter().filter_map(|r| r.cells.get(column));
        let (mut good, mut all) = (0usize, 0usize);
        for cell in cells {
            all += 1;
            good += usize::from(is_time_cell(cell, point));
        }
        all > 0 && good * 10 >= all * 7
    };
    let named = (0..plan.fields).find(|&c| is_time_word(split_unit(heading(c)).0) && all_times(c));
    let numbered = || {
        (0..plan.fields)
            .find(|&c| !heading(c).is_empty() && is_sample_word(split_unit(heading(c)).0) && all_times(c))
    };
    let rising = || {
        (0..plan.fields.min(2)).find(|&c| {
            let mut numbers = data
                .iter()
                .filter_map(|r| r.cells.get(c))
                .filter_map(|cell| time_value(cell, point));
            let Some(mut last) = numbers.next() else {
                return false;
            };
            let (mut rises, mut falls) = (0usize, 0usize);
            for number in numbers {
                rises += usize::from(number > last);
                falls += usize::from(number < last);
                last = number;
            }
            (rises > 1 || rises == 1 && data.len() == 2 || data.len() == 1)
                && falls * 50 <= rises
                && all_times(c)
        })
    };
    // Further right only what counts nothing else: rises in every row, with a fraction or a unit.
    let further = || {
        (2..plan.fields).find(|&c| {
            let cells = || data.iter().filter_map(|r| r.cells.get(c)).map(Vec::as_slice);
            let plain = |cell: &[u8]| cell.iter().all(u8::is_ascii_digit);
            let numbers: Vec<f64> = cells().filter_map(|cell| time_value(cell, point)).collect();
            numbers.len() > 2
                && numbers.len() == data.len()
                && numbers.windows(2).all(|w| w[0] < w[1])
                && !cells().all(plain)
        })
    };
    let column = declared
        .or(named)
        .or_else(numbered)
        .or_else(rising)
        .or_else(further);
    let Some(column) = column else {
        if options.sample_period_s.is_some() {
            plan.time = None;
            return Ok(());
        }
        return Err(fail(
            Some(plan.first_row),
            "expected a column of times, found none: export one, or, where every row is one sample, give \
             [read] sample_rate = \"…\" or sample_period = \"…\" in the setup file"
                .to_owned(),
        ));
    };
    plan.time = Some(column);
    let (name, unit) = split_unit(heading(column));
    let cells: Vec<&[u8]> = data
        .iter()
        .filter_map(|r| r.cells.get(column))
        .map(Vec::as_slice)
        .filter(|c| is_time_cell(c, point))
        .collect();
    if cells.iter().all(|c| clock(c, point).is_some()) {
        plan.reader.style = TimeStyle::Clock;
        plan.unit_from = "the cells";
        plan.reader.first_day = cells
            .first()
            .and_then(|c| clock(c, point))
            .and_then(|(day, _)| day);
        if plan.reader.first_day.is_some() {
            plan.warnings
                .push("times are dates: seconds count from midnight of the first one".to_owned());
        }
    } else if cells.iter().all(|c| suffixed(c, point).is_some()) {
        plan.reader.style = TimeStyle::Suffixed;
        plan.unit_from = "the cells";
    } else {
        let in_row = head.units.get(column).and_then(Option::as_deref);
        let exponent = if let Some(seconds) = options.time_unit_s {
            let exponent = seconds.log10().round();
            if (10f64.powf(exponent) / seconds - 1.0).abs() > 1e-9 {
                let text =
                    format!("the time unit of {seconds} s is no power of ten: give s, ms, us, ns, ps or fs");
                return Err(fail(None, text));
            }
            plan.unit_from = "the setup file";
            exponent as i32
        } else if let Some(exponent) = unit.and_then(time_unit) {
            exponent
        } else if let Some(exponent) = in_row.and_then(time_unit) {
            plan.unit_from = "the row of units";
            exponent
        } else if (is_sample_word(name) && !name.is_empty() && !is_time_word(name))
            || in_row.is_some_and(is_sample_word)
        {
            return sample_numbers(plan, head, options, fail);
        } else {
            plan.warnings.push(format!(
                "the time column {} names no unit: seconds were taken; say otherwise with time_unit = \"ms\" (say) \
                 under [read] in the setup file",
                if name.is_empty() { format!("(column {})", column + 1) } else { quoted(name.as_bytes()) }
            ));
            plan.unit_from = "nothing: seconds were assumed";
            0
        };
        plan.reader.style = TimeStyle::Number { exponent };
    }
    let (unit, rounding) = precision(&cells, &plan.reader);
    plan.reader.unit = unit;
    plan.rounding = rounding;
    Ok(())
}

/// The power of ten in which the times are whole numbers, and how coarsely they are written, in that unit.
fn precision(cells: &[&[u8]], reader: &TimeReader) -> (i32, f64) {
    /// Programs that drop zeros at the end write at least so many digits before they round.
    const LEAST_DIGITS: i32 = 6;
    /// No clock runs for 30 million years: what is larger is no time.
    const LARGEST_S: f64 = 1e15;
    let (mut finest, mut coarsest) = (i32::MAX, i32::MIN);
    // Significant digits as written, fewest and most, and the place of the leading one at its highest.
    let (mut fewest, mut most, mut highest) = (i32::MAX, 0, i32::MIN);
    let mut largest = 0f64;
    for cell in cells {
        if let Some((number, exponent)) = reader.number(cell) {
            let seconds = (number.to_f64() * 10f64.powi(exponent)).abs();
            if seconds.is_nan() || seconds > LARGEST_S {
                continue;
            }
            let digit = number.exponent + exponent;
            finest = finest.min(digit);
            if number.mantissa != 0 {
                let digits = number.mantissa.unsigned_abs().ilog10() as i32 + 1;
                coarsest = coarsest.max(digit);
                (fewest, most) = (fewest.min(digits), most.max(digits));
                highest = highest.max(digit + digits - 1);
            }
            largest = largest.max(seconds);
        }
    }
    if finest == i32::MAX {
        finest = -9;
    }
    // Where zeros at the end are dropped, the last digit written is not the last one known.
    if coarsest > finest && fewest != most {
        coarsest = coarsest.min((highest - most.max(LEAST_DIGITS) + 1).max(finest));
    }
    // A femtosecond is finer than any instrument; and the whole must fit 63 bits with room for a longer record.
    let mut unit = finest.clamp(-15, 0);
    while largest * 10f64.powi(-unit) > 1e15 {
        unit += 1;
    }
    (unit, 10f64.powi((coarsest.max(unit) - unit).max(0)))
}

/// Times counted in samples: the rate must be known.
fn sample_numbers(
    plan: &mut TablePlan,
    head: &Head,
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let period = options.sample_period_s.or(head.stated_period.map(|p| p.0));
    let Some(period) = period else {
        return Err(fail(
            Some(plan.first_row),
            "the time column counts samples, and nothing says how long a sample is: give [read] sample_rate = \"…\" \
             (such as \"24 MHz\") or sample_period = \"…\" in the setup file"
                .to_owned(),
        ));
    };
    plan.unit_from = "the sampling period";
    plan.reader.style = TimeStyle::Number { exponent: 0 };
    plan.reader.unit = 0;
    plan.rounding = 0.0;
    plan.sample_s = Some(period);
    Ok(())
}

fn time_value(cell: &[u8], point: u8) -> Option<f64> {
    if let Some(number) = Decimal::parse(cell, point) {
        return Some(number.to_f64());
    }
    if let Some((number, unit)) = suffixed(cell, point) {
        return Some(number.to_f64() * 10f64.powi(unit));
    }
    clock(cell, point).map(|(day, seconds)| day.unwrap_or(0) as f64 * 86_400.0 + seconds.to_f64())
}

/// The column that a key of the options means: a heading, a line's name, or a number from 1.
fn position_of(key: &str, head: &Head, fields: usize) -> Option<usize> {
    let by_name = head
        .names
        .iter()
        .position(|h| h.trim() == key || split_unit(h).0 == key);
    by_name.or_else(|| {
        key.parse::<usize>()
            .ok()
            .filter(|n| (1..=fields).contains(n))
            .map(|n| n - 1)
    })
}

/// Value and base of a packed cell that says its base: `0x1F`, `$1F`, `0b101`, `1Fh`.
pub fn packed(cell: &[u8]) -> Option<(u128, u32)> {
    let text = std::str::from_utf8(cell).ok()?;
    let lower = text.to_ascii_lowercase();
    for (start, base) in [("0x", 16), ("$", 16), ("0b", 2), ("0o", 8)] {
        if let Some(digits) = lower.strip_prefix(start)
            && !digits.starts_with(['+', '-'])
        {
            return u128::from_str_radix(digits, base).ok().map(|v| (v, base));
        }
    }
    let digits = lower
        .strip_suffix('h')
        .filter(|d| !d.is_empty() && !d.starts_with(['+', '-']))?;
    u128::from_str_radix(digits, 16).ok().map(|v| (v, 16))
}

fn columns(plan: &mut TablePlan, head: &Head, data: &[&Row], options: &ReadOptions) {
    let mut columns = Vec::new();
    let mut guessed_volts: Vec<String> = Vec::new();
    for column in 0..plan.fields {
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
            .map(|(_, kind)| kind.clone());
        let range = bus_range(&name);
        let cells = || data.iter().filter_map(|r| r.cells.get(column)).map(Vec::as_slice);
        let kind = if plan.time == Some(column) {
            ColumnKind::Time
        } else if let Some(kind) = declared {
            kind
        } else if is_beside_the_point(&name, cells(), plan.point) {
            ColumnKind::Ignore
        } else {
            guess(
                cells(),
                plan.point,
                range,
                unit.as_deref(),
                &mut guessed_volts,
                &name,
            )
        };
        if let (ColumnKind::Bus { .. }, Some((msb, lsb))) = (&kind, range)
            && let Some(at) = name.rfind('[')
        {
            name.truncate(at);
            let _ = (msb, lsb);
        }
        if name.is_empty() && kind != ColumnKind::Time {
            name = format!("column {}", column + 1);
            guessed_volts
                .iter_mut()
                .filter(|n| n.is_empty())
                .for_each(|n| n.clone_from(&name));
            // A trailing delimiter makes an empty last column: it is none.
            if cells().all(<[u8]>::is_empty) {
                columns.push(ColumnPlan {
                    name,
                    heading,
                    kind: ColumnKind::Ignore,
                    volts: 1.0,
                    sample: Vec::new(),
                });
                continue;
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
        columns.push(ColumnPlan {
            name,
            heading,
            kind,
            volts,
            sample,
        });
    }
    if !guessed_volts.is_empty() {
        plan.warnings.push(format!(
            "taken for volts by their numbers: {}; say otherwise under [read] in the setup file",
            super::super::names::some_of(&guessed_volts)
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
            super::super::names::some_of(&ignored)
        ));
    }
    let missing = columns
        .iter()
        .any(|c| c.heading.is_empty() && c.kind != ColumnKind::Ignore && c.kind != ColumnKind::Time);
    if missing && !head.missing {
        plan.warnings
            .push("some columns have no heading: they were numbered".to_owned());
    }
    let repeated = super::super::names::make_unique(
        columns
            .iter_mut()
            .filter(|c| !matches!(c.kind, ColumnKind::Time | ColumnKind::Ignore))
            .map(|c| &mut c.name),
    );
    if !repeated.is_empty() {
        plan.warnings.push(format!(
            "several columns are headed {}; the later ones were numbered",
            super::super::names::some_of(&repeated)
        ));
    }
    plan.columns = columns;
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

/// `NAME[7:0]`: most and least significant bit.
pub fn bus_range(name: &str) -> Option<(i64, i64)> {
    let inner = name.trim().strip_suffix(']')?;
    let (msb, lsb) = inner[inner.rfind('[')? + 1..].split_once(':')?;
    let index = |t: &str| t.trim().parse::<i64>().ok().filter(|n| (0..1024).contains(n));
    Some((index(msb)?, index(lsb)?))
}

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
    let (mut hex, mut letters, mut binary, mut whole) = (0usize, 0usize, 0usize, 0usize);
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
    let mostly = |n: usize| n * 100 >= filled * 95;
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
    if mostly(levels) && unit.and_then(volt_unit).is_none() {
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

fn find_pace(
    plan: &mut TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let grid = super::super::grid::Grid::exact;
    let Some(column) = plan.time else {
        plan.sample_s = options.sample_period_s;
        plan.pace = Pace::Samples(grid(1.0));
        return Ok(());
    };
    let mut times = Vec::with_capacity(data.len());
    let mut quiet = plan.columns.iter().any(|c| c.kind == ColumnKind::Analog);
    let mut last: Option<&Row> = None;
    let mut repeats = 0usize;
    let mut end_repeats = false;
    for row in data {
        let Some(cell) = row.cells.get(column) else {
            continue;
        };
        let Some(time) = plan.reader.read(cell) else {
            continue;
        };
        times.push(time);
        end_repeats = last.is_some_and(|last| {
            let same = |c: usize| c == column || last.cells[c] == row.cells[c];
            last.cells.len() == row.cells.len() && (0..row.cells.len()).all(same)
        });
        repeats += usize::from(end_repeats);
        last = Some(row);
    }
    // A change list may end with a repeated row that marks its end, which need not lie on the grid.
    if repeats == 1 && end_repeats && times.len() > 3 {
        times.pop();
    } else {
        quiet |= repeats > 0;
    }
    if times.is_empty() {
        return Err(fail(
            Some(plan.first_row),
            "expected numbers in the time column, found none that fit: are the times larger than 292 years?"
                .to_owned(),
        ));
    }
    match options.form {
        Some(TableForm::Samples) => quiet = true,
        Some(TableForm::Changes) => quiet = false,
        None => {}
    }
    if plan.sample_s.is_some() {
        plan.pace = if quiet {
            Pace::Samples(grid(1.0))
        } else {
            Pace::Snapped(grid(1.0))
        };
        return Ok(());
    }
    let unit_s = 10f64.powi(plan.reader.unit);
    let hint = match options.sample_period_s {
        Some(period) => Some((period / unit_s, period / unit_s * 1e-6 + 1e-9)),
        None => head
            .stated_period
            .map(|(p, e)| (p / unit_s, e / unit_s + p / unit_s * 1e-6)),
    };
    plan.pace = pace_of(&times, plan.rounding, quiet, hint);
    Ok(())
}
