//! What kind of table this is, told from its first rows. [`probe`] asks one question after the other; each has its file:
//!
//! | module | question |
//! | --- | --- |
//! | `dialect` | delimiter, decimal mark, remarks; where do the data begin? |
//! | `headings` | what stands above the data: names, units, a sampling rate? |
//! | `heading_row` | which row holds the headings? |
//! | `preamble` | what do rows of values above or below the headings say of the columns? |
//! | `time_column` | which column holds the times, in what unit, how precisely? |
//! | `kinds` | what does each of the other columns hold? |
//! | `pace` | one row a sample, or one row a change? |
//! | `overruled` | does `[read]` of the setup file say otherwise than the table? |

mod dialect;
mod heading_row;
mod headings;
mod kinds;
mod overruled;
mod pace;
mod preamble;
mod time_column;

pub use dialect::is_comment;

use super::clock::Pace;
use super::rows::Rows;
use super::time::{TimeReader, TimeStyle};
use crate::ingest::error::quoted;
use crate::ingest::input::{Input, Source, Wrapping};
use crate::ingest::{Error, ErrorKind, Position, ReadOptions};
use crate::model::ColumnKind;
use crate::model::units::count_of;
use dialect::{decimal_mark, find_delimiter, first_data_row, usual_length};

/// Bytes and rows looked at.
const PROBED_BYTES: u64 = 512 << 10;
const PROBED_ROWS: usize = 6_000;

/// One column of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnPlan {
    /// The heading without its unit, unique.
    pub name: String,
    pub heading: String,
    pub kind: ColumnKind,
    /// A person said what it holds: no cell changes that.
    pub is_declared: bool,
    /// Volts of one unit of the cells.
    pub volts: f64,
    /// Volts of the first rows of an analog column, for its state levels.
    pub sample: Vec<f32>,
}

/// How to read the table.
#[derive(Clone, Debug)]
pub struct TablePlan {
    /// Between fields, and before decimals.
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
    /// How far a written time may be from the true one because it was rounded, in units of the clock.
    pub rounding: f64,
    /// Samples that the text above the table says there are.
    pub stated_rows: Option<u64>,
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
            Pace::Samples(grid) | Pace::Counted(grid) => ("samples", Some(grid.period * unit_s)),
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

/// One of the first rows, cell by cell.
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
    let delimiter = match options.delimiter {
        Some(delimiter) => delimiter,
        None => match find_delimiter(source, name, wrapping, options)? {
            Some(delimiter) => delimiter,
            None => return Err(nothing_parts(source, name, wrapping, options)),
        },
    };
    let own_delimiter = options
        .delimiter
        .and_then(|_| find_delimiter(source, name, wrapping, options).ok().flatten());
    let rows = first_rows(source, name, wrapping, options, delimiter, PROBED_ROWS)?;
    let all: Vec<&Row> = rows
        .iter()
        .filter(|r| !r.comment && !r.cells.is_empty())
        .collect();
    let denied = |rows: &[&Row]| overruled::marks(own_delimiter, usual_length(rows), rows, options);
    // Marks that the rows deny are the likeliest reason why nothing can be read.
    let fail = |row: Option<u64>, text: String| match denied(&all) {
        Some(why) => table_error(name, row, format!("{text}; {why}")),
        None => table_error(name, row, text),
    };
    let (point, open_mark) = match options.decimal {
        Some(mark) => (mark, None),
        None => decimal_mark(&rows, delimiter),
    };
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
    let mut warnings: Vec<String> = open_mark.into_iter().chain(denied(&data)).collect();
    let head = headings::headings(&rows[..first], fields, point, &options.names, &mut warnings);
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
            zero: 0,
        },
        rounding: 1.0,
        stated_rows: head.stated_rows,
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
    plan.warnings
        .extend(numbers_above(&rows[..first], &rows[first], fields, point));
    time_column::find_time(&mut plan, &head, &data, options, &fail)?;
    kinds::columns(&mut plan, &head, &data, options);
    pace::find_pace(&mut plan, &head, &data, options, &fail)?;
    plan.warnings.extend(overruled::stated_sampling(&head, options));
    let said = overruled::columns(&plan, &head, &data, options);
    plan.warnings.extend(said);
    Ok(plan)
}

/// The error where neither comma, semicolon, tab nor | parts the rows.
fn nothing_parts(source: &Source, name: &str, wrapping: Wrapping, options: &ReadOptions) -> Error {
    /// The unit separator of ASCII: no text has it.
    const NO_DELIMITER: u8 = 0x1f;
    let rows = first_rows(source, name, wrapping, options, NO_DELIMITER, 1).unwrap_or_default();
    let found = rows
        .first()
        .and_then(|row| row.cells.first())
        .map_or(&b""[..], Vec::as_slice);
    let text = format!(
        "expected rows that a comma, semicolon, tab or | parts into the same columns, found text that none of them does, \
         beginning with {}: is this a table of samples or changes?",
        quoted(found)
    );
    table_error(name, rows.first().map(|row| row.number), text)
}

/// An error of the table, at a row if it lies in one.
fn table_error(name: &str, row: Option<u64>, text: String) -> Error {
    Error {
        file: name.to_owned(),
        position: row.map(|row| Position {
            byte: 0,
            row: Some(row),
            column: None,
            line: None,
        }),
        kind: ErrorKind::Table(text),
    }
}

/// What to say of rows `above` the `first` one of the data that look like data and are none.
fn numbers_above(above: &[Row], first: &Row, fields: usize, point: u8) -> Option<String> {
    let looks_like_data = |row: &&Row| {
        !row.comment
            && row.cells.len() == fields
            && row
                .cells
                .first()
                .is_some_and(|cell| time_column::is_time_cell(cell, point))
    };
    let count = above.iter().filter(looks_like_data).count();
    let row = above.iter().find(looks_like_data)?;
    let verb_ending = if count == 1 { "s" } else { "" };
    Some(format!(
        "{} above row {} begin{verb_ending} with a number (first: row {}) but hold{verb_ending} what is neither a level nor a \
         number: not read as data",
        count_of(count as u64, "row"),
        first.number,
        row.number,
    ))
}

/// The first rows as cells, and what parts them: what a person is shown of a table that makes no sense yet. `None` where
/// nothing can be had of it.
pub fn cells_of(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    most: usize,
) -> Option<(u8, Vec<Vec<String>>)> {
    let found = || find_delimiter(source, name, wrapping, options).ok().flatten();
    let delimiter = options.delimiter.or_else(found).unwrap_or(b',');
    let rows = first_rows(source, name, wrapping, options, delimiter, most).ok()?;
    let shown = |row: Row| {
        row.cells
            .iter()
            .map(|cell| super::cells::words(cell).into_owned())
            .collect()
    };
    Some((delimiter, rows.into_iter().map(shown).collect()))
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
            comment: is_comment(bytes, delimiter),
            cells,
        });
    }
    Ok(rows)
}
