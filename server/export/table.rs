//! A table of columns, and its CSV and JSON forms.

use std::io::{self, Write};

/// Columns of equal length under their headings.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    pub columns: Vec<(&'static str, Cells)>,
}

/// The cells of one column; `None` is unknown, and stays so in every form.
#[derive(Clone, Debug, PartialEq)]
pub enum Cells {
    Text(Vec<Option<String>>),
    Real(Vec<Option<f64>>),
    Count(Vec<Option<i64>>),
}

impl Cells {
    /// Number of cells.
    pub fn len(&self) -> usize {
        match self {
            Cells::Text(cells) => cells.len(),
            Cells::Real(cells) => cells.len(),
            Cells::Count(cells) => cells.len(),
        }
    }

    /// Puts the cells of another column of the same kind under these; those of another kind would shift all that
    /// follow, and become unknown.
    fn append(&mut self, other: Cells) {
        match (self, other) {
            (Cells::Text(own), Cells::Text(other)) => own.extend(other),
            (Cells::Real(own), Cells::Real(other)) => own.extend(other),
            (Cells::Count(own), Cells::Count(other)) => own.extend(other),
            (Cells::Text(own), other) => own.extend((0..other.len()).map(|_| None)),
            (Cells::Real(own), other) => own.extend((0..other.len()).map(|_| None)),
            (Cells::Count(own), other) => own.extend((0..other.len()).map(|_| None)),
        }
    }

    /// Whether there is no cell.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl Table {
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |(_, cells)| cells.len())
    }

    /// Adds a column that tells of which run the rows are: `run`, its number among those of its condition from 1, and
    /// `run_captures`, the files it was read from.
    pub fn of_run(mut self, number: usize, files: &str) -> Table {
        let rows = self.rows();
        let numbers = vec![i64::try_from(number).ok(); rows];
        self.columns.push(("run", Cells::Count(numbers)));
        let files = vec![Some(files.to_owned()); rows];
        self.columns.push(("run_captures", Cells::Text(files)));
        self
    }

    /// Puts the rows of a table with the same columns under these.
    pub fn append(&mut self, other: Table) {
        for ((_, own), (_, cells)) in self.columns.iter_mut().zip(other.columns) {
            own.append(cells);
        }
    }

    /// CSV (RFC 4180) with a heading row; unknown is an empty cell.
    pub fn write_csv(&self, out: impl Write) -> io::Result<()> {
        let mut out = csv::Writer::from_writer(out);
        out.write_record(self.columns.iter().map(|(heading, _)| heading))?;
        for row in 0..self.rows() {
            for (_, cells) in &self.columns {
                match cells {
                    Cells::Text(cells) => out.write_field(cells[row].as_deref().unwrap_or_default())?,
                    Cells::Real(cells) => out.write_field(real_text(cells[row]))?,
                    Cells::Count(cells) => {
                        out.write_field(cells[row].map(|n| n.to_string()).unwrap_or_default())?
                    }
                }
            }
            out.write_record(None::<&[u8]>)?;
        }
        out.flush()
    }

    /// JSON: a list of objects, one a row; unknown is null.
    pub fn write_json(&self, mut out: impl Write) -> io::Result<()> {
        out.write_all(b"[")?;
        for row in 0..self.rows() {
            out.write_all(if row == 0 { b"\n" } else { b",\n" })?;
            let mut object = serde_json::Map::new();
            for (heading, cells) in &self.columns {
                let value = match cells {
                    Cells::Text(cells) => cells[row].clone().into(),
                    Cells::Real(cells) => cells[row].into(),
                    Cells::Count(cells) => cells[row].into(),
                };
                object.insert((*heading).to_owned(), value);
            }
            serde_json::to_writer(&mut out, &object)?;
        }
        out.write_all(b"\n]\n")?;
        out.flush()
    }
}

/// The shortest text that reads back as the same number.
fn real_text(value: Option<f64>) -> String {
    match value {
        Some(value) if value != 0.0 && (value.abs() < 1e-5 || value.abs() >= 1e16) => format!("{value:e}"),
        Some(value) => value.to_string(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_of_several_runs_are_told_apart() {
        let strays = |line: &str| Table {
            columns: vec![("line", Cells::Text(vec![Some(line.to_owned())]))],
        };
        let mut table = strays("CLEAR_N").of_run(1, "mid.vcd");
        table.append(strays("HAMMER").of_run(2, "late.vcd"));
        let mut out = Vec::new();
        table.write_csv(&mut out).unwrap();
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "line,run,run_captures\nCLEAR_N,1,mid.vcd\nHAMMER,2,late.vcd\n"
        );
    }

    #[test]
    fn unknown_stays_unknown() {
        let table = Table {
            columns: vec![
                ("line", Cells::Text(vec![Some("A,\"1\"".to_owned()), None])),
                ("lag_s", Cells::Real(vec![Some(1.2e-8), None])),
                ("strays", Cells::Count(vec![None, Some(3)])),
            ],
        };
        let mut out = Vec::new();
        table.write_csv(&mut out).unwrap();
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "line,lag_s,strays\n\"A,\"\"1\"\"\",1.2e-8,\n,,3\n"
        );
        let mut out = Vec::new();
        table.write_json(&mut out).unwrap();
        let rows: serde_json::Value = serde_json::from_slice(&out).unwrap();
        assert_eq!(
            rows,
            serde_json::json!([{"line": "A,\"1\"", "lag_s": 1.2e-8, "strays": null},
                               {"line": null, "lag_s": null, "strays": 3}])
        );
    }
}
