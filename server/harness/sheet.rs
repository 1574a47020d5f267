//! The sheet itself: CSV in, with every mistake named by row and column, and out.

use std::collections::HashMap;

use super::neighbours::pins_beside;
use super::table::{self, Mistake, Table};
use super::{Harness, Pin};

const COLUMNS: [&str; 7] = [
    "board",
    "connector",
    "pin",
    "signal",
    "colour",
    "neighbours",
    "line",
];
const REQUIRED: usize = 4;
/// Position of the column `pin` among the sheet's.
pub(super) const PIN: usize = 2;
/// Position of the column `neighbours` among the sheet's.
pub(super) const NEIGHBOURS: usize = 5;
const LINE: usize = 6;

/// Most mistakes that are listed at once.
const MOST_MISTAKES: usize = 20;

impl Harness {
    /// Reads a sheet; `file` is its name, for messages. Cost: linear in pins.
    ///
    /// # Errors
    /// The mistakes found, in the order of rows, at most 20.
    pub fn parse(text: &str, file: &str) -> Result<Harness, Vec<Mistake>> {
        let table = Table::read(text, file, &COLUMNS, REQUIRED).map_err(|mistake| vec![mistake])?;
        let mut mistakes = Vec::new();
        let mut seen: HashMap<(String, String, String), usize> = HashMap::new();
        let mut lines: HashMap<String, usize> = HashMap::new();
        let mut pins = Vec::with_capacity(table.rows.len());
        for row in &table.rows {
            for (column, name) in COLUMNS.iter().enumerate().take(PIN + 1) {
                if row.cells[column].is_empty() {
                    let message = format!("empty, expected the {name}");
                    mistakes.push(table.mistake(row.row, column, message));
                }
            }
            let mut cells = row.cells.iter().cloned();
            let mut next = || cells.next().unwrap_or_default();
            let pin = Pin {
                board: next(),
                connector: next(),
                pin: next(),
                signal: next(),
                colour: next(),
                neighbours: next(),
                line: next(),
            };
            let key = (pin.board.clone(), pin.connector.clone(), pin.pin.clone());
            if let Some(first) = seen.insert(key, row.row) {
                let message = format!("{} stands in row {first} already", pin.place());
                mistakes.push(table.mistake(row.row, PIN, message));
            }
            if !pin.line.is_empty()
                && let Some(first) = lines.insert(pin.line.clone(), row.row)
            {
                let message = format!(
                    "the clip of {} is in row {first} already: a line has one clip",
                    pin.line
                );
                mistakes.push(table.mistake(row.row, LINE, message));
            }
            pins.push(pin);
        }
        let beside = pins_beside(&pins, &table, &mut mistakes);
        if mistakes.is_empty() {
            Ok(Harness { pins, beside })
        } else {
            mistakes.sort_by_key(|mistake| mistake.row);
            mistakes.truncate(MOST_MISTAKES);
            Err(mistakes)
        }
    }

    /// The sheet as CSV; reading it gives the same harness.
    pub fn to_csv(&self) -> String {
        let row = |pin: &Pin| {
            let cells = [
                &pin.board,
                &pin.connector,
                &pin.pin,
                &pin.signal,
                &pin.colour,
                &pin.neighbours,
                &pin.line,
            ];
            cells.map(String::clone).to_vec()
        };
        table::write(&COLUMNS, self.pins.iter().map(row))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harness::Clips;

    const SHEET: &str = "board,connector,pin,signal,colour,neighbours,line\n\
                         sequencer,J2,11,STEP,yellow,ribbon,\n\
                         sequencer,J2,12,CLEAR_N,orange,,\n\
                         sequencer,J2,13,\"LAMP, TEST\",red,,CH7\n";

    #[test]
    fn a_sheet_goes_in_and_out() {
        let harness = Harness::parse(SHEET, "harness.csv").unwrap();
        assert_eq!(harness.to_csv(), SHEET);
        let clips = Clips::default();
        assert_eq!(
            harness.place("CLEAR_N", &clips).as_deref(),
            Some("sequencer J2-12, orange")
        );
        assert_eq!(
            harness.place("evening/CLEAR_N", &clips).as_deref(),
            Some("sequencer J2-12, orange")
        );
        assert_eq!(
            harness.place("CH7", &clips).as_deref(),
            Some("sequencer J2-13, red")
        );
        assert_eq!(harness.place("LAMP, TEST", &clips), None);
        assert_eq!(harness.place("nothing", &clips), None);
        let semicolons = "\u{feff}Signal;Pin;Connector;Board\r\nSTEP;1;J1;panel\r\n";
        let harness = Harness::parse(semicolons, "h.csv").unwrap();
        assert_eq!(harness.place("STEP", &clips).as_deref(), Some("panel J1-1"));
    }

    #[test]
    fn mistakes_are_named_by_row_and_column() {
        let told = |text: &str| {
            let mistakes = Harness::parse(text, "h.csv").unwrap_err();
            mistakes.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        let head = "board,connector,pin,signal,neighbours,line";
        assert_eq!(
            told(""),
            [
                "h.csv, row 1: found nothing, expected a heading row: board,connector,pin,signal,colour,neighbours,line"
            ]
        );
        assert!(told("board,pin,signal\n")[0].starts_with("h.csv, row 1, column connector: missing"));
        assert!(told("board,wire\n")[0].starts_with("h.csv, row 1, column \"wire\": not a column"));
        assert!(told("board,pin,pin\n")[0].starts_with("h.csv, row 1, column pin: there twice"));
        let several = format!("{head}\r\n\r\nA,J1,1,X,,\r\n\r\nA,J1,1,Y,,\r\nA,,2,Y,,\r\n");
        assert_eq!(
            told(&several),
            [
                "h.csv, row 5, column pin: A J1-1 stands in row 3 already",
                "h.csv, row 6, column connector: empty, expected the connector"
            ]
        );
        assert!(told(&format!("{head}\nA,J1,1,X,,,Z\n"))[0].starts_with("h.csv, row 2: found 7 cells"));
        assert!(told(&format!("{head}\nA,J1,1,X,,L\nA,J1,2,Y,,L\n"))[0].contains("row 3, column line"));
        assert!(told(&format!("{head}\nA,J1,1,X,9,\n"))[0].contains("row 2, column neighbours: found \"9\""));
        assert!(told(&format!("{head}\nA,J1,1,\"X,,\nA,J1,2,Y,,\n"))[0].contains("row 2: a cell runs over"));
        assert!(told(&format!("{head}\nA,J1,top,X,ribbon,\n"))[0].contains("row 2, column pin: \"top\""));
    }
}
