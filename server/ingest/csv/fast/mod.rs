//! The fast path for plain tables: times in the first column, then single-character levels or plain decimal
//! volts; quotes around whole cells, no blanks, no odd rows. Anything else, and the general path reads the table instead.
//!
//! Workers check every byte of every row: the time is read and compared with the pace, cells are compared with
//! the row before (whose cells were checked) and looked at singly where they differ. What they hand over is the
//! rows that differ, and the rows where the pace breaks.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `block` | the rows of one block, as a worker reads them |
//! | `levels` | rows of levels only |
//! | `quotes` | quotes around cells |
//! | `numbers` | their times and decimals |
//! | `merge` | what the blocks said, in order → the builders |

mod block;
mod levels;
mod merge;
mod numbers;
mod quotes;

use std::io;
use std::path::Path;

use super::clock::{Clock, Pace};
use super::probe::TablePlan;
use super::table::{Sink, Table};
use super::time::TimeStyle;
use crate::ingest::blocks;
use block::parse;
use merge::Merge;

/// What workers need to know.
#[derive(Clone, Debug)]
struct Shape {
    delimiter: u8,
    point: u8,
    /// Columns after the time.
    cells: Vec<Cell>,
    only_levels: bool,
    /// Rows at a fixed period: `Some(period, near)` in written units.
    pace: Option<(f64, f64)>,
    unit: i32,
    exponent: i32,
    volts: Vec<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Cell {
    Level,
    Volts,
}

/// A row that says something new.
#[derive(Clone, Copy, Debug)]
struct Entry {
    row: u32,
    time: i64,
    levels: u64,
    /// The pace breaks here (or the block begins).
    anchor: bool,
}

/// What a block holds.
#[derive(Debug, Default)]
struct Parsed {
    rows: u32,
    /// At a fixed pace.
    entries: Vec<Entry>,
    /// Without one: times and levels, row by row.
    times: Vec<i64>,
    levels: Vec<u64>,
    last_time: i64,
    /// By analog column.
    volts: Vec<Vec<f32>>,
    bytes: u64,
    unfit: bool,
}

/// How the fast path ended.
pub enum Ended {
    /// All rows were read.
    Whole {
        start: i64,
        end: i64,
    },
    /// The table is not for the fast path, or does not keep its pace: read it the general way.
    Unfit,
    Cancelled,
}

const MOST_LEVELS: usize = 64;

fn shape(plan: &TablePlan, sinks: &[Sink]) -> Option<Shape> {
    let TimeStyle::Number { exponent } = plan.reader.style else {
        return None;
    };
    if plan.reader.zero != 0
        || plan.time != Some(0)
        || plan.sample_s.is_some()
        || plan.point == plan.delimiter
    {
        return None;
    }
    let mut cells = Vec::new();
    let mut volts = Vec::new();
    for (sink, column) in sinks[1..].iter().zip(&plan.columns[1..]) {
        cells.push(match sink {
            Sink::Level(_) => Cell::Level,
            Sink::Volts(_) => {
                volts.push(column.volts);
                Cell::Volts
            }
            Sink::Bus { .. } | Sink::Nothing => return None,
        });
    }
    let levels = cells.iter().filter(|c| **c == Cell::Level).count();
    if levels > MOST_LEVELS || cells.is_empty() {
        return None;
    }
    let pace = match plan.pace {
        // Times written as coarsely as the samples come can't pace a block: where samples were dropped is then
        // a matter of the whole table, which the general path sees.
        Pace::Samples(grid) if 0.25 * grid.period < 1.01 * plan.rounding => return None,
        Pace::Samples(grid) => {
            // Half a period within the general path; closer here, so that the drift within a block is safe.
            Some((grid.period, 0.25 * grid.period))
        }
        Pace::Counted(_) => return None,
        Pace::Snapped(_) | Pace::Free => None,
    };
    // Uneven volts are rare, and long blocks of very short periods drift: the general path has them.
    if !volts.is_empty() && pace.is_none() {
        return None;
    }
    Some(Shape {
        delimiter: plan.delimiter,
        point: plan.point,
        only_levels: volts.is_empty(),
        cells,
        pace,
        unit: plan.reader.unit,
        exponent,
        volts,
    })
}

/// Reads the rows from byte `from` on into `table`.
pub fn read(
    path: &Path,
    from: u64,
    plan: &TablePlan,
    table: &mut Table,
    clock: &mut Clock,
    sub: i64,
    told: &mut dyn FnMut(u64) -> bool,
) -> io::Result<Ended> {
    let Some(shape) = shape(plan, &table.sinks) else {
        return Ok(Ended::Unfit);
    };
    let mut merge = Merge {
        lines: table
            .sinks
            .iter()
            .filter_map(|s| if let Sink::Level(l) = s { Some(*l) } else { None })
            .collect(),
        sub,
        levels: 0,
        start: None,
        end: 0,
        unfit: false,
        cancelled: false,
    };
    blocks::for_each::<_, _, io::Error>(
        path,
        from,
        Vec::new,
        |room, block| match block {
            Some(block) => parse(&shape, &block, room),
            None => Parsed {
                unfit: true,
                ..Parsed::default()
            },
        },
        |parsed| {
            if !told(parsed.bytes) {
                merge.cancelled = true;
                return Ok(false);
            }
            if shape.pace.is_some() {
                merge.take(parsed, table, clock)
            } else {
                merge.take_changes(parsed, table, clock)
            }
        },
    )?;
    Ok(match merge.start {
        _ if merge.cancelled => Ended::Cancelled,
        Some(start) if !merge.unfit => Ended::Whole {
            start,
            end: merge.end,
        },
        _ => Ended::Unfit,
    })
}
