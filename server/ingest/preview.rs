//! The reading sheet: what a file was taken for, before it is read as a whole.

use std::path::Path;

use serde::Serialize;

use super::{Error, ErrorKind, ReadOptions, Sniffed, Source, csv, input, sniff_source};
use crate::model::ColumnKind;

/// What a file was taken for. Everything in it can be said otherwise in [`ReadOptions`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Preview {
    pub file: String,
    /// `vcd` or `csv`.
    pub format: String,
    /// The rest is of tables only: `,`, `;`, `|` or a tab.
    pub delimiter: Option<String>,
    pub decimal: Option<String>,
    /// Editor's number of the first row of data.
    pub first_row: Option<u64>,
    /// Length of one unit of the time column in seconds; `None` for dates and for times that carry their unit.
    pub time_unit_s: Option<f64>,
    /// Where the unit was taken from.
    pub time_unit_from: String,
    /// `samples` (one row a sample) or `changes` (one row a change).
    pub form: Option<String>,
    /// The sampling period behind the times, as far as the first rows tell.
    pub sample_period_s: Option<f64>,
    pub columns: Vec<PreviewColumn>,
    /// The first rows of data, cell by cell.
    pub rows: Vec<Vec<String>>,
    /// What those cells say as they are read: `low`, `high`, `between` (the thresholds), a time, a number.
    pub meanings: Vec<Vec<String>>,
    pub warnings: Vec<String>,
}

/// What one column was taken for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PreviewColumn {
    pub heading: String,
    /// The line's name.
    pub name: String,
    /// `time`, `digital`, `analog`, `bus` or `ignored`.
    pub kind: String,
    /// Lines the column makes.
    pub bits: usize,
    /// Base of a bus column's cells.
    pub base: Option<u32>,
    /// Proposed or declared family of an analog column, with its thresholds in volts.
    pub family: Option<String>,
    pub low_v: Option<f64>,
    pub high_v: Option<f64>,
}

/// Looks at the first rows of the file `path`. Cost: at most some 2 MiB are read, whatever its size.
///
/// # Errors
/// As [`super::read_file`], as far as the first rows tell.
pub fn preview(path: &Path, options: &ReadOptions) -> Result<Preview, Error> {
    let name = input::shown_name(path);
    preview_source(&Source::Path(path.to_owned()), &name, options)
}

/// The same for bytes in memory (the first few MiB of an upload will do).
///
/// # Errors
/// As [`preview`].
pub fn preview_bytes(name: &str, bytes: Vec<u8>, options: &ReadOptions) -> Result<Preview, Error> {
    preview_source(&Source::Bytes(std::sync::Arc::new(bytes)), name, options)
}

/// The first rows of a table that can't be read yet, cell by cell and without any meaning, so that a person can see what
/// there is to say. `None` for what has no rows of cells. Cost: as [`preview`].
pub fn preview_unread(path: &Path, options: &ReadOptions) -> Option<Preview> {
    const ROWS: usize = 12;
    let (name, source) = (input::shown_name(path), Source::Path(path.to_owned()));
    let (wrapping, sniffed) = sniff_source(&source, &name, options, &()).ok()?;
    if matches!(sniffed, Sniffed::Vcd | Sniffed::Empty) {
        return None;
    }
    let (delimiter, rows) = csv::cells_of(&source, &name, wrapping, options, ROWS)?;
    let count = rows.iter().map(Vec::len).max()?;
    let column = |number: usize| PreviewColumn {
        heading: format!("column {number}"),
        name: String::new(),
        kind: String::new(),
        bits: 0,
        base: None,
        family: None,
        low_v: None,
        high_v: None,
    };
    Some(Preview {
        file: name,
        format: "csv".to_owned(),
        delimiter: Some((delimiter as char).to_string()),
        decimal: None,
        first_row: Some(1),
        time_unit_s: None,
        time_unit_from: String::new(),
        form: None,
        sample_period_s: None,
        columns: (1..=count).map(column).collect(),
        meanings: rows.iter().map(|row| vec![String::new(); row.len()]).collect(),
        rows,
        warnings: Vec::new(),
    })
}

fn preview_source(source: &Source, name: &str, options: &ReadOptions) -> Result<Preview, Error> {
    let fail = |kind| Error {
        file: name.to_owned(),
        position: None,
        kind,
    };
    let (wrapping, sniffed) = sniff_source(source, name, options, &())?;
    match sniffed {
        Sniffed::Empty => Err(fail(ErrorKind::Empty)),
        Sniffed::Other(found) => Err(fail(ErrorKind::UnknownFormat(found))),
        Sniffed::OtherKind(told) => Err(fail(ErrorKind::OtherKind(told))),
        Sniffed::Vcd => Ok(Preview {
            file: name.to_owned(),
            format: "vcd".to_owned(),
            delimiter: None,
            decimal: None,
            first_row: None,
            time_unit_s: None,
            time_unit_from: "$timescale".to_owned(),
            form: None,
            sample_period_s: None,
            columns: Vec::new(),
            rows: Vec::new(),
            meanings: Vec::new(),
            warnings: Vec::new(),
        }),
        Sniffed::Table => {
            let plan = csv::probe(source, name, wrapping, options)?;
            let (families, weak) = csv::families(&plan, options);
            let said = |row: &Vec<String>| {
                let cells = row.iter().enumerate();
                cells
                    .map(|(column, cell)| {
                        let family = families.get(column).and_then(Option::as_ref);
                        csv::meaning(&plan, column, family.map(|f| &f.0), cell.as_bytes())
                    })
                    .collect()
            };
            let meanings = plan.shown.iter().map(said).collect();
            let columns = plan
                .columns
                .iter()
                .zip(families)
                .map(|(column, family)| {
                    let (kind, bits, base) = match &column.kind {
                        ColumnKind::Time => ("time", 0, None),
                        ColumnKind::Digital => ("digital", 1, None),
                        ColumnKind::Analog => ("analog", 1, None),
                        ColumnKind::Bus { bits, base } => ("bus", *bits, Some(*base)),
                        ColumnKind::Ignore => ("ignored", 0, None),
                    };
                    PreviewColumn {
                        heading: column.heading.clone(),
                        name: column.name.clone(),
                        kind: kind.to_owned(),
                        bits,
                        base,
                        low_v: family.as_ref().map(|f| f.0.thresholds.low_v),
                        high_v: family.as_ref().map(|f| f.0.thresholds.high_v),
                        family: family.map(|f| f.0.name),
                    }
                })
                .collect();
            let (form, sample_period_s) = plan.form();
            Ok(Preview {
                file: name.to_owned(),
                format: "csv".to_owned(),
                delimiter: Some((plan.delimiter as char).to_string()),
                decimal: Some((plan.point as char).to_string()),
                first_row: Some(plan.first_row),
                time_unit_s: plan.time_unit_s(),
                time_unit_from: plan.unit_from.to_owned(),
                form: Some(form.to_owned()),
                sample_period_s,
                columns,
                rows: plan.shown,
                meanings,
                warnings: plan.warnings.into_iter().chain(weak).collect(),
            })
        }
    }
}
