//! Which line is clipped where in one capture, when that differs from the sheet: a CSV of `line,place`.

use std::collections::BTreeMap;

use super::Harness;
use super::table::{self, Mistake, Table};

/// Places by line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Clips(BTreeMap<String, String>);

const COLUMNS: [&str; 2] = ["line", "place"];

impl Clips {
    /// Reads clips; each place must be a pin of `harness`.
    ///
    /// # Errors
    /// The mistakes found, in the order of rows.
    pub fn parse(text: &str, file: &str, harness: &Harness) -> Result<Clips, Vec<Mistake>> {
        let table = Table::read(text, file, &COLUMNS, COLUMNS.len()).map_err(|mistake| vec![mistake])?;
        let mut clips = Clips::default();
        let mut mistakes = Vec::new();
        for row in &table.rows {
            let [line, place] = [&row.cells[0], &row.cells[1]];
            if line.is_empty() {
                mistakes.push(table.mistake(row.row, 0, "empty, expected the line"));
            } else if harness.pin_at(place).is_none() {
                let message = format!(
                    "found \"{place}\", expected a pin of the harness sheet such as \"sequencer J2-12\""
                );
                mistakes.push(table.mistake(row.row, 1, message));
            } else if clips.0.insert(line.clone(), place.clone()).is_some() {
                mistakes.push(table.mistake(
                    row.row,
                    0,
                    format!("{line} is there twice: a line has one clip"),
                ));
            }
        }
        if mistakes.is_empty() {
            Ok(clips)
        } else {
            Err(mistakes)
        }
    }

    /// Where the clip of `line` is.
    pub fn place(&self, line: &str) -> Option<&str> {
        self.0.get(line).map(String::as_str)
    }

    /// The lines that are said to be clipped somewhere.
    pub fn lines(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// The clips as CSV.
    pub fn to_csv(&self) -> String {
        table::write(
            &COLUMNS,
            self.0
                .iter()
                .map(|(line, place)| vec![line.clone(), place.clone()]),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clip_overrides_the_sheet() {
        let sheet = "board,connector,pin,signal\nsequencer,J2,11,STEP\ntower,J1,3,STEP\n";
        let harness = Harness::parse(sheet, "h.csv").unwrap();
        let text = "line,place\nCH0,tower J1-3\n";
        let clips = Clips::parse(text, "clips.csv", &harness).unwrap();
        assert_eq!(clips.to_csv(), text);
        assert_eq!(harness.place("CH0", &clips).as_deref(), Some("tower J1-3"));
        let mistakes = Clips::parse("line,place\nCH0,tower J9-3\n", "clips.csv", &harness).unwrap_err();
        assert!(
            mistakes[0]
                .to_string()
                .starts_with("clips.csv, row 2, column place: found \"tower J9-3\"")
        );
    }
}
