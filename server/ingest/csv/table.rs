//! The builders that the cells of a table go to, column by column, and what a row does to them.

use std::sync::Arc;

use super::bus::bus_value;
use super::cells::{Decimal, is_missing, level_of, volts_of};
use super::clock::Pace;
use super::counts::{Counts, note};
use super::probe::TablePlan;
use super::rows::Rows;
use crate::ingest::analog::AnalogBuilder;
use crate::ingest::build::{LineBuilder, Value};
use crate::ingest::columns::SpillFolder;
use crate::ingest::error::quoted;
use crate::ingest::grid::Grid;
use crate::ingest::{Error, ErrorKind, ReadOptions};
use crate::model::{ColumnKind, Family};

/// Why a table must be read anew.
pub enum Again {
    /// The rows do not keep the pace that the first ones had.
    Pace,
    /// The rows are samples whose times are rounded to more than the sampling period, and what to say.
    Counted(Grid, String),
    /// A column of levels holds volts: its position, the row that shows it, and the cell there.
    Analog(usize, u64, String),
}

/// Where the cells of a column go.
pub enum Sink {
    Nothing,
    Level(usize),
    Bus { first: usize, bits: usize, base: u32 },
    Volts(usize),
}

/// One builder for each line and trace, and which column feeds which.
pub struct Table<'p> {
    pub plan: &'p TablePlan,
    pub sinks: Vec<Sink>,
    pub lines: Vec<LineBuilder>,
    pub volts: Vec<AnalogBuilder>,
    pub counts: Counts,
    /// Samples that gaps may lack in all before the volts are given up.
    pub gap_samples: u64,
}

/// What to say of a table without any line: which column is none, by one of its first cells.
fn no_lines(plan: &TablePlan) -> String {
    const EXPECTED: &str = "expected columns of levels (0, 1, x or z) or volts beside the times, found";
    let is_odd = |cell: &&String| {
        let cell = cell.trim().as_bytes();
        !cell.is_empty() && level_of(cell, plan.point).is_none() && Decimal::parse(cell, plan.point).is_none()
    };
    let columns = plan.columns.iter().enumerate();
    let mut left_out = columns.filter(|(_, column)| column.kind == ColumnKind::Ignore && !column.is_declared);
    let found = left_out.find_map(|(at, column)| {
        let mut cells = plan.shown.iter().filter_map(|row| row.get(at));
        Some((at, column, cells.find(is_odd)?))
    });
    match found {
        Some((at, column, cell)) => format!(
            "{EXPECTED} none: column {} ({}) has cells such as {}; export levels, or say under [read.columns] in the setup \
             file what it holds",
            at + 1,
            quoted(column.name.as_bytes()),
            quoted(cell.as_bytes())
        ),
        None => format!("{EXPECTED} none: export the lines beside the times"),
    }
}

/// Builders for every column of the plan.
pub fn table<'p>(
    plan: &'p TablePlan,
    families: &[Option<(Family, bool)>],
    folder: &Arc<SpillFolder>,
    options: &ReadOptions,
    name: &str,
) -> Result<Table<'p>, Error> {
    let bits_of = |kind: &ColumnKind| match kind {
        ColumnKind::Digital | ColumnKind::Analog => 1,
        ColumnKind::Bus { bits, .. } => *bits,
        ColumnKind::Time | ColumnKind::Ignore => 0,
    };
    let total: usize = plan.columns.iter().map(|c| bits_of(&c.kind)).sum();
    let table_error = |text: &str| Error {
        file: name.to_owned(),
        position: None,
        kind: ErrorKind::Table(text.to_owned()),
    };
    if total > options.limits.lines {
        return Err(Error {
            file: name.to_owned(),
            position: None,
            kind: ErrorKind::Limit {
                what: "the number of lines".to_owned(),
                limit: options.limits.lines.to_string(),
                advice: "export fewer channels",
            },
        });
    }
    if total == 0 {
        return Err(table_error(&no_lines(plan)));
    }
    let uniform = matches!(plan.pace, Pace::Samples(_) | Pace::Counted(_));
    let room = (options.limits.buffered_edges / total).clamp(64, 1 << 16);
    let mut table = Table {
        plan,
        sinks: Vec::new(),
        lines: Vec::new(),
        volts: Vec::new(),
        counts: Counts::default(),
        gap_samples: options.limits.gap_samples,
    };
    let mut number = 0;
    for (column, family) in plan.columns.iter().zip(families) {
        let mut builder = || {
            number += 1;
            LineBuilder::new(folder, format!("edges-{}.i64", number - 1), room)
        };
        let sink = match &column.kind {
            ColumnKind::Time | ColumnKind::Ignore => Sink::Nothing,
            ColumnKind::Digital => {
                table.lines.push(builder());
                Sink::Level(table.lines.len() - 1)
            }
            ColumnKind::Bus { bits, base } => {
                let first = table.lines.len();
                table.lines.extend((0..*bits).map(|_| builder()));
                Sink::Bus {
                    first,
                    bits: *bits,
                    base: *base,
                }
            }
            ColumnKind::Analog => {
                let thresholds = family
                    .as_ref()
                    .expect("an analog column has a family")
                    .0
                    .thresholds;
                let line = builder();
                let place = table.volts.len();
                table
                    .volts
                    .push(AnalogBuilder::new(line, thresholds, uniform, folder, place, room));
                Sink::Volts(place)
            }
        };
        table.sinks.push(sink);
    }
    Ok(table)
}

impl Table<'_> {
    /// Hands the cells of a row to their builders; a column that needs another reading ends it.
    pub fn row(&mut self, rows: &Rows, tick: i64) -> std::io::Result<Option<Again>> {
        let bytes = rows.bytes();
        let point = self.plan.point;
        if rows.fields.len() != self.plan.fields {
            // A trailing delimiter more or less says nothing.
            let extra = rows.fields.get(self.plan.fields..).unwrap_or_default();
            if rows.fields.len() < self.plan.fields || extra.iter().any(|f| f.end > f.start) {
                note(&mut self.counts.ragged, rows.row);
            }
        }
        for (column, sink) in self.sinks.iter().enumerate() {
            let field = rows.fields.get(column);
            let cell = field.map_or(&b""[..], |f| &bytes[f.start..f.end]);
            match *sink {
                Sink::Nothing => {}
                Sink::Level(line) => {
                    let value = match level_of(cell, point) {
                        Some(value) => {
                            if value == Value::Unknown && is_missing(cell) {
                                note(&mut self.counts.missing, rows.row);
                            }
                            value
                        }
                        None if volts_of(cell, point, 1.0).is_some()
                            && !self.plan.columns[column].is_declared =>
                        {
                            return Ok(Some(Again::Analog(column, rows.row, quoted(cell))));
                        }
                        None => {
                            self.counts.note_strange(rows.row, column, || quoted(cell));
                            Value::Unknown
                        }
                    };
                    self.lines[line].set(tick, value)?;
                }
                Sink::Bus { first, bits, base } => {
                    if is_missing(cell) {
                        note(&mut self.counts.missing, rows.row);
                        for bit in 0..bits {
                            self.lines[first + bit].set(tick, Value::Unknown)?;
                        }
                        continue;
                    }
                    let parsed = bus_value(cell, base);
                    if parsed.is_none() {
                        self.counts.note_strange(rows.row, column, || quoted(cell));
                    }
                    if let Some((ones, _)) = parsed
                        && bits < 128
                        && ones >> bits != 0
                    {
                        note(&mut self.counts.too_wide, rows.row);
                    }
                    for bit in 0..bits {
                        let place = bits - 1 - bit;
                        let value = match parsed {
                            None => Value::Unknown,
                            Some((_, strange)) if place < 128 && (strange.0 >> place) & 1 == 1 => {
                                Value::Unknown
                            }
                            Some((_, strange)) if place < 128 && (strange.1 >> place) & 1 == 1 => {
                                Value::Floating
                            }
                            Some((ones, _)) if place < 128 && (ones >> place) & 1 == 1 => Value::High,
                            Some(_) => Value::Low,
                        };
                        self.lines[first + bit].set(tick, value)?;
                    }
                }
                Sink::Volts(place) => {
                    let volts = match volts_of(cell, point, self.plan.columns[column].volts) {
                        Some(volts) => volts,
                        None => {
                            let count = if is_missing(cell) {
                                &mut self.counts.missing
                            } else {
                                &mut self.counts.strange
                            };
                            note(count, rows.row);
                            f64::NAN
                        }
                    };
                    self.volts[place].push(tick, volts)?;
                }
            }
        }
        Ok(None)
    }

    /// Bounds of what lies in memory; true when samples were given up.
    pub fn check_limits(&mut self, rows: &Rows, options: &ReadOptions) -> Result<bool, Error> {
        self.check_counts(rows.name(), options)
            .map_err(|e| rows.error(None, e.kind))?;
        let steps: usize = self.volts.iter().map(AnalogBuilder::steps_held).sum();
        if steps > options.limits.real_changes {
            self.volts.iter_mut().for_each(AnalogBuilder::drop_steps);
            return Ok(true);
        }
        Ok(false)
    }

    /// Stops a table that makes more stretches or runts than the limits allow.
    ///
    /// # Errors
    /// [`ErrorKind::Limit`], with what to do.
    pub fn check_counts(&self, name: &str, options: &ReadOptions) -> Result<(), Error> {
        let limits = &options.limits;
        let stretches: usize = self.lines.iter().map(LineBuilder::stretch_count).sum::<usize>()
            + self.volts.iter().map(AnalogBuilder::stretch_count).sum::<usize>();
        let runts: usize = self.volts.iter().map(|v| v.runts.len()).sum();
        let over = |what: &str, limit: usize, advice| Error {
            file: name.to_owned(),
            position: None,
            kind: ErrorKind::Limit {
                what: what.to_owned(),
                limit: limit.to_string(),
                advice,
            },
        };
        if stretches > limits.stretches {
            let what = "the number of stretches without a known level (missing cells, x, z)";
            return Err(over(
                what,
                limits.stretches,
                "export a shorter part of the capture",
            ));
        }
        if runts > limits.runts {
            return Err(over(
                "the number of runts",
                limits.runts,
                "give the line's family or its thresholds",
            ));
        }
        Ok(())
    }
}
