//! Tables: one row a sample or one row a change; levels, packed buses, volts.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `probe` | the first rows → the plan: how the table is written, what its columns hold |
//! | `rows`, `cells`, `bus`, `time` | rows with their places; what a cell, a packed one, a time cell says |
//! | `clock` | the times of the rows → ticks, gaps |
//! | `pass` | one pass over the rows by the plan |
//! | `fast` | the same for plain tables, by all cores |
//! | `table`, `counts` | where the cells go; what was odd on the way |
//! | `assemble` | the capture |

mod assemble;
mod bus;
mod cells;
mod clock;
mod counts;
mod fast;
mod pass;
mod probe;
mod rows;
mod table;
mod time;

pub use probe::probe;

use super::analog;
use super::error::quoted;
use super::input::{Source, Wrapping};
use super::options::{ColumnKind, FamilyChoice};
use super::{Error, Progress, ReadOptions};
use crate::model::Capture;
use clock::Pace;
use pass::{Outcome, pass};
use probe::TablePlan;
use table::Again;

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
                plan.warnings.push(
                    "the times of the rows keep no uniform rate: they were taken as written".to_owned(),
                );
            }
            Outcome::Again(Again::Analog(column)) => {
                plan.columns[column].kind = ColumnKind::Analog;
                plan.warnings.push(format!(
                    "taken for volts by its numbers: {}",
                    quoted(plan.columns[column].name.as_bytes())
                ));
            }
        }
    }
}

/// Declared or proposed thresholds by column, and whether declared; `None` for columns without volts.
pub fn families(plan: &TablePlan, options: &ReadOptions) -> Vec<Option<(FamilyChoice, bool)>> {
    plan.columns
        .iter()
        .map(|column| {
            if column.kind != ColumnKind::Analog {
                return None;
            }
            let declared = options.families.get(&column.name).or(options.family.as_ref());
            Some(match declared {
                Some(family) => (family.clone(), true),
                None => (analog::propose(&column.sample), false),
            })
        })
        .collect()
}
