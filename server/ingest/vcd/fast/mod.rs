//! The fast path for the changes of a VCD: one command a line, times, scalars, vectors and reals only. A line of
//! any other make, and the general path takes over from there.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `block` | the lines of one block, one by one |
//! | `plain` | runs of times and scalars, which are nearly all lines of most files |

mod block;
mod plain;

use std::io;
use std::path::Path;

use super::changes::Reader;
use crate::ingest::blocks;
use crate::ingest::build::Value;
use crate::ingest::runs::Run;
use crate::ingest::thinned::{ThinnedPart, ThinnedView};
use block::{State, parse};

/// How far the fast path came.
pub enum Ended {
    /// Everything before this byte was read.
    At(u64),
    Cancelled,
}

/// What a block holds.
#[derive(Default)]
struct Parsed {
    /// Changes before the block's first time: lines with levels, and reals.
    head: Vec<(usize, u8)>,
    head_reals: Vec<(usize, f64)>,
    /// First time of the block, the latest two, and whether something changed at the latest.
    first: Option<i64>,
    before: i64,
    now: i64,
    changed: bool,
    runs: Vec<Run>,
    reals: Vec<(i64, usize, f64)>,
    /// Times before the latest at which something changed.
    times: ThinnedPart,
    /// x and z among the changes.
    strange: usize,
    /// Where the block begins.
    offset: u64,
    /// Where a line of another make begins.
    stopped: Option<u64>,
    bytes: u64,
}

/// A block that could not be had in whole lines.
const NO_LINES: u64 = u64::MAX;

/// Reads changes from byte `from` (the start of a line) on.
pub fn read(
    path: &Path,
    from: u64,
    reader: &mut Reader,
    told: &mut dyn FnMut(u64) -> bool,
) -> io::Result<Ended> {
    let size = std::fs::metadata(path)?.len();
    let mut ended = Ended::At(size);
    // The workers look codes up while the lines grow.
    let codes = std::mem::take(&mut reader.plan.codes);
    let (lines, vectors) = (reader.plan.builders.len(), reader.plan.slots);
    let view = ThinnedView::default();
    reader.times.show(&view);
    let result = blocks::for_each::<_, _, io::Error>(
        path,
        from,
        || State::new(lines, vectors),
        |state, block| match block {
            Some(block) => parse(&codes, &view, state, block),
            None => Parsed {
                stopped: Some(NO_LINES),
                ..Parsed::default()
            },
        },
        |parsed| {
            let early = parsed.first.is_some_and(|first| first <= reader.now);
            let crowded = reader.plan.stretches + parsed.strange > reader.limits.stretches;
            if parsed.stopped == Some(NO_LINES) || early || crowded {
                // The general path will tell what is wrong, with its place.
                ended = Ended::At(if parsed.stopped == Some(NO_LINES) {
                    reader.came_to
                } else {
                    parsed.offset
                });
                return Ok(false);
            }
            apply(reader, &parsed)?;
            reader.times.show(&view);
            reader.came_to = parsed.stopped.unwrap_or(parsed.offset + parsed.bytes);
            if !told(reader.came_to) {
                ended = Ended::Cancelled;
                return Ok(false);
            }
            if let Some(at) = parsed.stopped {
                ended = Ended::At(at);
                return Ok(false);
            }
            Ok(true)
        },
    );
    reader.plan.codes = codes;
    reader.values.iter_mut().for_each(Vec::clear);
    result.map(|()| ended)
}

fn apply(reader: &mut Reader, parsed: &Parsed) -> io::Result<()> {
    const VALUES: [Value; 4] = [Value::Low, Value::High, Value::Unknown, Value::Floating];
    reader.plan.stretches += parsed.strange;
    for &(line, level) in &parsed.head {
        reader.changed = true;
        reader.plan.builders[line].set(reader.now, VALUES[usize::from(level & 3)])?;
    }
    for &(place, value) in &parsed.head_reals {
        reader.other(place, Some(value));
    }
    let Some(first) = parsed.first else {
        return Ok(());
    };
    reader.go_to(first);
    for run in &parsed.runs {
        reader.plan.builders[run.line].append(run)?;
    }
    for &(time, place, value) in &parsed.reals {
        reader.other_at(time, place, Some(value));
    }
    reader.times.append(&parsed.times);
    if parsed.now > first {
        reader.before = parsed.before;
        reader.now = parsed.now;
    }
    reader.changed = parsed.changed;
    Ok(())
}
