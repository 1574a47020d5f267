//! Tables: one row a sample or one row a change; levels, packed buses, volts.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `probe` | the first rows → the plan: how the table is written, what its columns hold |
//! | `rows`, `cells`, `bus`, `time` | rows with their places; what a cell, a packed one, a time cell says |
//! | `clock`, `coarse` | the times of the rows → ticks, gaps; rows whose times are too coarse to part them |
//! | `pass` | one pass over the rows by the plan |
//! | `fast` | the same for plain tables, by all cores |
//! | `table`, `counts` | where the cells go; what was odd on the way |
//! | `assemble` | the capture |

mod assemble;
mod bus;
mod cells;
mod clock;
mod coarse;
mod counts;
mod fast;
mod pass;
mod probe;
mod rows;
mod table;
mod time;

pub use probe::{cells_of, probe};

use super::analog;
use super::build::Value;
use super::error::quoted;
use super::input::{Source, Wrapping};
use super::{Error, Progress, ReadOptions};
use crate::model::Capture;
use crate::model::units::engineering;
use crate::model::{ColumnKind, Family};
use clock::Pace;
use pass::{Outcome, pass};
use probe::{ColumnPlan, TablePlan};
use table::Again;

const OFF_PACE: &str = "the times of the rows keep no uniform rate: they were taken as written";

/// Reads a table.
pub fn read(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let mut plan = probe(source, name, wrapping, options)?;
    // Each round settles one thing for good, so this ends.
    loop {
        match pass(source, name, wrapping, options, progress, &plan)? {
            Outcome::Done(capture) => return Ok(*capture),
            Outcome::Again(Again::Pace) => {
                plan.pace = Pace::Free;
                plan.warnings.push(OFF_PACE.to_owned());
            }
            Outcome::Again(Again::Counted(grid, told)) => {
                plan.pace = Pace::Counted(grid);
                plan.warnings.retain(|said| said != OFF_PACE);
                plan.warnings.push(told);
            }
            Outcome::Again(Again::Analog(column, row, cell)) => {
                plan.columns[column].kind = ColumnKind::Analog;
                let heading = plan.columns[column].heading.trim();
                let key = match heading {
                    "" => (column + 1).to_string(),
                    heading => quoted(heading.as_bytes()),
                };
                plan.warnings.push(format!(
                    "{} was taken for volts because row {row} holds {cell}, which is a number and no level; if that cell is a \
                     slip, say {key} = \"digital\" under [read.columns] in the setup file: the line is then unknown there, and \
                     its other cells are levels",
                    quoted(plan.columns[column].name.as_bytes())
                ));
            }
        }
    }
}

/// What a cell of the table says, read by the plan: a time, a level, a number; empty where the column is not read.
pub fn meaning(plan: &TablePlan, column: usize, family: Option<&Family>, cell: &[u8]) -> String {
    let unknown = || "unknown".to_owned();
    let Some(of) = plan.columns.get(column) else {
        return String::new();
    };
    match of.kind {
        ColumnKind::Ignore => String::new(),
        ColumnKind::Time => {
            let unit_s = plan.sample_s.unwrap_or_else(|| 10f64.powi(plan.reader.unit));
            let time = plan.reader.read(cell);
            time.map_or_else(
                || "no time".to_owned(),
                |time| engineering(time as f64 * unit_s, "s"),
            )
        }
        ColumnKind::Digital => match cells::level_of(cell, plan.point) {
            Some(Value::Low) => "low".to_owned(),
            Some(Value::High) => "high".to_owned(),
            Some(Value::Floating) => "floating".to_owned(),
            _ => unknown(),
        },
        ColumnKind::Analog => {
            let volts = cells::volts_of(cell, plan.point, of.volts);
            let (Some(volts), Some(family)) = (volts, family) else {
                return unknown();
            };
            let level = match family.thresholds {
                t if volts >= t.high_v => "high",
                t if volts <= t.low_v => "low",
                _ => "between",
            };
            level.to_owned()
        }
        ColumnKind::Bus { base, .. } => match bus::bus_value(cell, base) {
            Some((value, (0, 0))) => format!("= {value}"),
            _ => unknown(),
        },
    }
}

/// Declared or proposed thresholds by column, and whether declared; `None` for columns without volts. And what there is
/// to tell of weak levels.
pub fn families(plan: &TablePlan, options: &ReadOptions) -> (Vec<Option<(Family, bool)>>, Vec<String>) {
    let declared = |column: &ColumnPlan| {
        options
            .families
            .get(&column.name)
            .or(options.family.as_ref())
            .cloned()
    };
    let is_analog = |column: &&ColumnPlan| column.kind == ColumnKind::Analog;
    let open = plan
        .columns
        .iter()
        .filter(is_analog)
        .filter(|column| declared(column).is_none());
    let samples: Vec<&[f32]> = open.map(|column| &column.sample[..]).collect();
    let mut proposals = analog::propose(&samples).into_iter();
    let mut told = Vec::new();
    let families = plan.columns.iter().map(|column| {
        if !is_analog(&column) {
            return None;
        }
        if let Some(family) = declared(column) {
            return Some((family, true));
        }
        let analog::Proposal { family, weak_v } = proposals.next()?;
        if let Some(weak_v) = weak_v {
            told.push(format!(
                "{} only gets to {}, which is weak beside the other lines: it was taken for {} as they are; say \
                 otherwise with family = \"…\" for that line in the setup file",
                quoted(column.name.as_bytes()),
                engineering(weak_v, "V"),
                family.name
            ));
        }
        Some((family, false))
    });
    let families = families.collect();
    (families, told)
}
