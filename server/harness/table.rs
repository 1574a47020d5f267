//! CSV rows with their places, as spreadsheets count them: the heading is row 1, blank rows count.

use std::fmt;

/// A mistake in a table: `row` counts from 1, the heading row included; `column` is the heading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    pub file: String,
    pub row: usize,
    /// Empty when the whole row is meant.
    pub column: String,
    /// Found, expected, what to do.
    pub message: String,
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, row {}", self.file, self.row)?;
        if !self.column.is_empty() {
            write!(f, ", column {}", self.column)?;
        }
        write!(f, ": {}", self.message)
    }
}

impl std::error::Error for Mistake {}

/// Most rows of a table: far beyond any hand-wired machine, small enough to check at once.
const MOST_ROWS: usize = 100_000;

/// A table whose headings were recognised.
pub struct Table {
    pub file: String,
    known: &'static [&'static str],
    pub rows: Vec<TableRow>,
}

/// One row: a trimmed cell for each known column, empty where the table lacks that column.
pub struct TableRow {
    /// From 1, the heading row included.
    pub row: usize,
    pub cells: Vec<String>,
}

impl Table {
    /// Reads `text`. `known`: the columns that may be there, the first `required` of which must be.
    /// Separated by comma, semicolon or tab, whichever the heading row has most of.
    pub fn read(
        text: &str,
        file: &str,
        known: &'static [&'static str],
        required: usize,
    ) -> Result<Table, Mistake> {
        let text = text
            .strip_prefix('\u{feff}')
            .unwrap_or(text)
            .replace("\r\n", "\n")
            .replace('\r', "\n");
        let heading = text
            .lines()
            .find(|line| !line.trim().is_empty())
            .unwrap_or_default();
        let count = |separator: &char| heading.matches(*separator).count();
        let separator = [',', ';', '\t']
            .into_iter()
            .rev()
            .max_by_key(count)
            .unwrap_or(',');
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(separator as u8)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mistake = |row: usize, column: &str, message: String| Mistake {
            file: file.to_owned(),
            row,
            column: column.to_owned(),
            message,
        };
        let mut columns: Option<Vec<usize>> = None;
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|error| mistake(rows.len() + 2, "", error.to_string()))?;
            let row = row_at(&text, record.position().map_or(0, |place| place.byte() as usize));
            if record.iter().all(str::is_empty) {
                continue;
            }
            if record.iter().any(|cell| cell.contains('\n')) {
                let message = "a cell runs over several rows: is a quote (\") not closed?";
                return Err(mistake(row, "", message.to_owned()));
            }
            let Some(columns) = &columns else {
                columns = Some(
                    headings(&record, known, required)
                        .map_err(|(column, message)| mistake(row, &column, message))?,
                );
                continue;
            };
            if record.len() > columns.len() {
                let message = format!(
                    "found {} cells, expected {}: is a cell with the separator in it not quoted?",
                    record.len(),
                    columns.len()
                );
                return Err(mistake(row, "", message));
            }
            if rows.len() == MOST_ROWS {
                return Err(mistake(row, "", format!("expected at most {MOST_ROWS} rows")));
            }
            let mut cells = vec![String::new(); known.len()];
            for (cell, &column) in record.iter().zip(columns) {
                cells[column] = cell.to_owned();
            }
            rows.push(TableRow { row, cells });
        }
        if columns.is_none() {
            let message = format!("found nothing, expected a heading row: {}", known.join(","));
            return Err(mistake(1, "", message));
        }
        Ok(Table {
            file: file.to_owned(),
            known,
            rows,
        })
    }

    /// A mistake in a cell of a row.
    pub fn mistake(&self, row: usize, column: usize, message: impl Into<String>) -> Mistake {
        Mistake {
            file: self.file.clone(),
            row,
            column: self.known[column].to_owned(),
            message: message.into(),
        }
    }
}

/// For each column of the table, its position among the known ones.
fn headings(
    record: &csv::StringRecord,
    known: &[&str],
    required: usize,
) -> Result<Vec<usize>, (String, String)> {
    let mut columns = Vec::new();
    for heading in record {
        let word = heading.to_lowercase();
        let word = if word == "color" { "colour" } else { &word };
        let Some(column) = known.iter().position(|known| *known == word) else {
            let message = format!("not a column of this table, expected {}", known.join(", "));
            return Err((format!("\"{heading}\""), message));
        };
        if columns.contains(&column) {
            return Err((word.to_owned(), "there twice".to_owned()));
        }
        columns.push(column);
    }
    match (0..required).find(|column| !columns.contains(column)) {
        Some(column) => Err((
            known[column].to_owned(),
            "missing from the heading row".to_owned(),
        )),
        None => Ok(columns),
    }
}

/// The row that the record at byte `offset` begins in; the csv crate's own count is off after blank lines.
fn row_at(text: &str, offset: usize) -> usize {
    let bytes = text.as_bytes();
    let blank = bytes[offset.min(bytes.len())..]
        .iter()
        .take_while(|b| **b == b'\n')
        .count();
    1 + memchr::memchr_iter(b'\n', &bytes[..offset.min(bytes.len()) + blank]).count()
}

/// `rows` as CSV text, RFC 4180 with line feeds.
pub fn write(headings: &[&str], rows: impl Iterator<Item = Vec<String>>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let mut put = |row: &[String]| writer.write_record(row).expect("writing to memory does not fail");
    put(&headings
        .iter()
        .map(|heading| (*heading).to_owned())
        .collect::<Vec<_>>());
    rows.for_each(|row| put(&row));
    let bytes = writer.into_inner().expect("writing to memory does not fail");
    String::from_utf8(bytes).expect("text in, text out")
}
