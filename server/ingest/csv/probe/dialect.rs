//! How the table is written: delimiter, decimal mark, remarks, and the row where the data begin.

use std::collections::HashMap;

use super::super::bus::{may_be_packed, packed};
use super::super::cells::{Decimal, level_of};
use super::time_column::is_time_cell;
use super::{Row, first_rows};
use crate::ingest::error::quoted;
use crate::ingest::input::{Source, Wrapping};
use crate::ingest::{Error, ReadOptions};

/// Rows that tell the delimiter.
const DELIMITED_ROWS: usize = 300;

/// What parts the rows into the same number of fields; `None` where nothing does.
pub fn find_delimiter(
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
        // The preamble is short: the second half of what was seen is data. Of a few rows all must tell.
        const FEW_ROWS: usize = 12;
        let skipped = if lengths.len() < FEW_ROWS {
            0
        } else {
            lengths.len() / 2
        };
        let tail = &lengths[skipped..];
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

/// The decimal mark: a comma where cells such as `0,125` stand, and not where commas part thousands; and what to say where
/// the cells leave it open.
pub fn decimal_mark(rows: &[Row], delimiter: u8) -> (u8, Option<String>) {
    let (mut commas, mut points, mut thousands) = (0usize, 0usize, 0usize);
    let mut either: Option<String> = None;
    for cell in rows.iter().rev().take(400).flat_map(|r| r.cells.iter().take(8)) {
        let has = |mark: u8| cell.contains(&mark);
        let reads = |mark: u8| has(mark) && Decimal::parse(cell, mark).is_some();
        match (reads(b','), has(b',') && Decimal::parse(cell, b'.').is_some()) {
            (false, true) => thousands += 1,
            // Nobody writes nought thousand.
            (true, true) if !cell.starts_with(b"0,") => {
                either.get_or_insert_with(|| quoted(cell));
                commas += usize::from(delimiter != b',');
            }
            // Settled.
            (true, _) => {
                commas += 1;
                either = Some(String::new());
            }
            (false, false) => {}
        }
        points += usize::from(!has(b',') && reads(b'.'));
    }
    let has_commas = || rows.iter().any(|r| r.cells.iter().any(|c| c.contains(&b',')));
    let is_comma = thousands == 0
        && (commas > points || (points == 0 && delimiter == b';' && either.is_none() && has_commas()));
    let mark = if is_comma { b',' } else { b'.' };
    // Cells that only one way of reading fits have settled it.
    let open = either.filter(|cell| !cell.is_empty() && thousands == 0 && points == 0);
    let told = open.map(|cell| {
        let (taken, other) = match mark {
            b',' => ("the decimal mark", "."),
            _ => ("a mark between thousands", ","),
        };
        format!(
            "a number such as {cell} can be read in two ways: its comma was taken for {taken}; say otherwise with decimal = \
             \"{other}\" under [read] in the setup file"
        )
    });
    (mark, told)
}

/// Whether a row is a remark: begins with `#`, `%` or `//`.
pub fn is_comment(row: &[u8]) -> bool {
    let row = row.trim_ascii_start();
    row.starts_with(b"#") || row.starts_with(b"%") || row.starts_with(b"//")
}

fn is_value(cell: &[u8], point: u8) -> bool {
    level_of(cell, point).is_some()
        || Decimal::parse(cell, point).is_some()
        || packed(cell).is_some()
        || may_be_packed(cell)
}

/// The first row from which on rows look like data.
pub fn first_data_row(rows: &[Row], point: u8) -> Option<usize> {
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

/// Fields of most rows.
pub fn usual_length(data: &[&Row]) -> usize {
    let mut counts: HashMap<usize, usize> = HashMap::new();
    data.iter()
        .for_each(|r| *counts.entry(r.cells.len()).or_default() += 1);
    counts
        .into_iter()
        .max_by_key(|&(n, c)| (c, n))
        .map_or(0, |(n, _)| n)
}
