//! How the table is written: delimiter, decimal mark, remarks, and the row where the data begin.

use std::collections::HashMap;

use super::super::bus::{may_be_packed, packed};
use super::super::cells::{
    Decimal, is_missing, is_time_word, level_of, number_of, split_unit, volts_in, words,
};
use super::headings::is_unit_row;
use super::time_column::{is_time_cell, time_value};
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
    for delimiter in *b"\t;|," {
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
/// the cells leave it open, as `12,000` does.
pub fn decimal_mark(rows: &[Row], delimiter: u8) -> (u8, Option<String>) {
    let (mut commas, mut points) = (0usize, 0usize);
    // The first cell that either mark fits, by what stands in it.
    let (mut open_comma, mut open_point): (Option<String>, Option<String>) = (None, None);
    for cell in rows.iter().rev().take(400).flat_map(|r| r.cells.iter().take(8)) {
        // A unit behind the number, as in `3,719 V`, says nothing of its mark.
        let cell = number_of(cell);
        let has = |mark: u8| cell.contains(&mark);
        if !has(b',') && !has(b'.') {
            continue;
        }
        let reads = |mark: u8| Decimal::parse(cell, mark).is_some();
        match (reads(b','), reads(b'.')) {
            (true, false) => commas += 1,
            (false, true) => points += 1,
            (true, true) => {
                let open = if has(b',') {
                    &mut open_comma
                } else {
                    &mut open_point
                };
                open.get_or_insert_with(|| quoted(cell));
            }
            (false, false) => {}
        }
    }
    let has_commas = || rows.iter().any(|r| r.cells.iter().any(|c| c.contains(&b',')));
    let mark = match commas.cmp(&points) {
        std::cmp::Ordering::Greater => b',',
        std::cmp::Ordering::Less => b'.',
        // Where commas part the cells, one within a cell is rather English; else it is rather not.
        _ if open_comma.is_some() && delimiter != b',' => b',',
        _ if open_comma.is_none() && open_point.is_none() && delimiter == b';' && has_commas() => b',',
        _ => b'.',
    };
    let is_settled = commas + points > 0;
    // A point is the usual mark; only in tables of those who write commas is it worth a word.
    let open = open_comma.or(open_point.filter(|_| delimiter == b';'));
    let told = open.filter(|_| !is_settled).map(|cell| {
        let (inside, other) = if cell.contains(',') { (b',', "comma") } else { (b'.', "point") };
        let taken = if inside == mark { "the decimal mark" } else { "a mark between thousands" };
        let instead = if mark == b'.' { ',' } else { '.' };
        format!(
            "a number such as {cell} can be read in two ways: its {other} was taken for {taken}; say otherwise with decimal = \
             \"{instead}\" under [read] in the setup file"
        )
    });
    (mark, told)
}

/// Whether a row is a remark: begins with `#`, `%` or `//`, or with `;` where no semicolon parts the cells.
pub fn is_comment(row: &[u8], delimiter: u8) -> bool {
    let row = row.trim_ascii_start();
    row.starts_with(b"#")
        || row.starts_with(b"%")
        || row.starts_with(b"//")
        || delimiter != b';' && row.starts_with(b";")
}

fn is_value(cell: &[u8], point: u8) -> bool {
    level_of(cell, point).is_some()
        || Decimal::parse(cell, point).is_some()
        || volts_in(cell, point).is_some()
        || packed(cell).is_some()
        || may_be_packed(cell)
}

/// The column that tells rows of the table from what stands above it, told by the second half of the rows: the first one
/// that holds numbers or times there and rises, else the first one that holds them. A row with words there is no data.
fn telling_column(rows: &[Row], candidates: &[usize], point: u8) -> Option<usize> {
    /// Of the filled cells, in hundredths: the others may be broken.
    const MOSTLY: usize = 80;
    let tail: Vec<&Row> = candidates[candidates.len() / 2..]
        .iter()
        .map(|&i| &rows[i])
        .collect();
    let fields = usual_length(&tail);
    let times_of = |column: usize| -> Option<Vec<f64>> {
        let cells = tail.iter().filter_map(|row| row.cells.get(column));
        let filled: Vec<&Vec<u8>> = cells.filter(|cell| !cell.is_empty()).collect();
        let times: Vec<f64> = filled.iter().filter_map(|cell| time_value(cell, point)).collect();
        (!times.is_empty() && filled.len() * 2 > tail.len() && times.len() * 100 >= filled.len() * MOSTLY)
            .then_some(times)
    };
    let mut first = None;
    for column in 0..fields {
        let Some(times) = times_of(column) else { continue };
        first.get_or_insert(column);
        if times.len() > 1
            && times.windows(2).all(|pair| pair[0] <= pair[1])
            && times[0] < times[times.len() - 1]
        {
            return Some(column);
        }
    }
    first
}

/// The first row from which on rows look like data: what stands above the last row of words is none of them, whatever
/// numbers it holds.
pub fn first_data_row(rows: &[Row], point: u8) -> Option<usize> {
    let candidates: Vec<usize> = (0..rows.len())
        .filter(|&i| !rows[i].comment && !rows[i].cells.is_empty())
        .collect();
    let telling = telling_column(rows, &candidates, point);
    let is_word = |cell: &Vec<u8>| {
        !cell.is_empty() && !is_missing(cell) && !is_value(cell, point) && !is_time_cell(cell, point)
    };
    let has_word = |row: &Row| {
        telling
            .and_then(|column| row.cells.get(column))
            .is_some_and(is_word)
    };
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
    // Channels that are headed by their numbers look like levels: `x-axis,1,2`, `Time,0,1`.
    let names_time = |cell: &Vec<u8>| !is_value(cell, point) && is_time_word(split_unit(&words(cell)).0);
    let is_heading = |row: &Row| row.cells.first().is_some_and(names_time);
    (0..candidates.len())
        .find(|&at| {
            let next: Vec<&Row> = candidates[at..].iter().take(4).map(|&i| &rows[i]).collect();
            looks(next[0])
                && !has_word(next[0])
                && !next.iter().any(|row| is_heading(row))
                && !next.iter().any(|row| is_unit_row(row, point) && !looks(row))
                && next.iter().filter(|r| looks(r)).count() * 4 >= next.len() * 3
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
