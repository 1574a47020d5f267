//! One pass over the rows of a table by its plan: the fast path where it fits, else row by row.

use std::sync::Arc;

use super::assemble::assemble;
use super::clock::{Clock, Pace, Step};
use super::counts::{note, tell_counts};
use super::probe::{TablePlan, is_comment};
use super::rows::{Field, Rows};
use super::table::{Again, table};
use super::{families, fast};
use crate::ingest::build::Value;
use crate::ingest::columns::SpillFolder;
use crate::ingest::error::quoted;
use crate::ingest::input::{Input, Source, Wrapping};
use crate::ingest::{Error, ErrorKind, Progress, ReadOptions};
use crate::model::{Capture, Ticks, Timebase};

const CUT_SHORT: &str = "the gzip file was cut off: everything up to there was read";

/// Ticks of a sample where edges lie between samples.
const SUB_TICKS: i64 = 1000;

pub enum Outcome {
    Done(Box<Capture>),
    Again(Again),
}

pub fn pass(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    progress: &dyn Progress,
    plan: &TablePlan,
) -> Result<Outcome, Error> {
    let spill = |error| Error {
        file: name.to_owned(),
        position: None,
        kind: ErrorKind::Spill(error),
    };
    let limits = &options.limits;
    let folder = Arc::new(SpillFolder::new());
    let families = families(plan, options);
    let mut table = table(plan, &families, &folder, options, name)?;
    let any_volts = !table.volts.is_empty();
    let uniform = matches!(plan.pace, Pace::Samples(_));
    let sub = if any_volts && uniform { SUB_TICKS } else { 1 };
    let unit = match plan.sample_s {
        Some(seconds) => Timebase::fitted(0.0, seconds),
        None => Timebase::decimal(plan.reader.unit),
    };
    let mut clock = Clock::new(plan.pace, unit, plan.rounding, sub);
    if let Source::Path(path) = source
        && !options.plain
        && !wrapping.gzip
        && wrapping.utf16.is_none()
    {
        let total = std::fs::metadata(path).map(|m| m.len()).ok();
        let mut done = plan.first_byte;
        let mut told = |bytes| {
            done += bytes;
            progress.bytes(done, total);
            !progress.cancelled()
        };
        let ended = fast::read(
            path,
            plan.first_byte,
            plan,
            &mut table,
            &mut clock,
            sub,
            &mut told,
        );
        match ended.map_err(spill)? {
            fast::Ended::Whole { start, end } => {
                let mut warnings = plan.warnings.clone();
                if wrapping.cut_short {
                    warnings.push(CUT_SHORT.to_owned());
                }
                tell_counts(&table.counts, &clock, &mut warnings);
                table.check_counts(name, options)?;
                return assemble(name, plan, table, &families, &clock, start, end, sub, warnings)
                    .map(|c| Outcome::Done(Box::new(c)))
                    .map_err(spill);
            }
            fast::Ended::Cancelled => {
                return Err(Error {
                    file: name.to_owned(),
                    position: None,
                    kind: ErrorKind::Cancelled,
                });
            }
            fast::Ended::Unfit => {
                table = self::table(plan, &families, &folder, options, name)?;
                clock = Clock::new(plan.pace, unit, plan.rounding, sub);
            }
        }
    }
    let input = Input::open(source, name, wrapping, limits, progress)?;
    let mut rows = Rows::new(input, name, plan.delimiter);
    let mut now: Option<i64> = None;
    let mut start = 0;
    let mut row_count = 0i64;
    let mut dropped_traces = false;
    let mut off_pace = None;
    while rows.advance(limits.columns)? {
        if rows.row < plan.first_row || rows.fields.is_empty() || is_comment(rows.bytes()) {
            continue;
        }
        let written = match plan.time {
            None => Some(row_count),
            Some(column) => rows
                .fields
                .get(column)
                .and_then(|f| plan.reader.read(&rows.bytes()[f.start..f.end])),
        };
        row_count += 1;
        if off_pace.is_some() {
            return Ok(Outcome::Again(Again::Pace));
        }
        let Some(written) = written else {
            note(&mut table.counts.bad_times, rows.row);
            continue;
        };
        let tick = match clock.step(written) {
            Step::At(tick) => tick,
            Step::Gap(from, to) => {
                let missing = ((to - from) / sub) as u64;
                for line in &mut table.lines {
                    line.set(from, Value::Unrecorded).map_err(spill)?;
                }
                for volts in &mut table.volts {
                    if clock.missing > limits.gap_samples {
                        volts.drop_samples();
                        dropped_traces = true;
                    }
                    volts.gap(from, missing).map_err(spill)?;
                }
                to
            }
            // The last row may mark an end that lies off the grid.
            Step::OffPace if off_pace.is_none() => {
                off_pace = Some(written);
                continue;
            }
            Step::OffPace => return Ok(Outcome::Again(Again::Pace)),
            Step::Backwards => {
                let column = plan.time;
                let text = |f: &Field| quoted(&rows.bytes()[f.start..f.end]);
                let found = column
                    .and_then(|c| rows.fields.get(c))
                    .map_or_else(String::new, text);
                let before = format!(
                    "a later one in the row before ({})",
                    seconds_text(&unit, clock.last())
                );
                return Err(rows.error(column, ErrorKind::Backwards { found, before }));
            }
        };
        if now.is_none() {
            start = tick;
            table.lines.iter_mut().for_each(|l| l.begin(tick));
            table.volts.iter_mut().for_each(|v| v.begin(tick));
        }
        now = Some(tick);
        if let Some(again) = table.row(&rows, tick).map_err(spill)? {
            return Ok(Outcome::Again(again));
        }
        const CHECKED_EVERY: i64 = 1024;
        if row_count % CHECKED_EVERY == 0 {
            dropped_traces |= table.check_limits(&rows, options)?;
        }
    }
    let Some(end) = now else {
        return Err(rows.error(
            None,
            ErrorKind::Table("expected rows with a time, found none that could be read".to_owned()),
        ));
    };
    let end = off_pace.map_or(end, |written| clock.nearest(written).max(end));
    dropped_traces |= table.check_limits(&rows, options)?;
    let mut warnings = plan.warnings.clone();
    if rows.cut_short() {
        warnings.push(CUT_SHORT.to_owned());
    }
    if dropped_traces {
        warnings.push(
            "some analog samples were not kept (a gap too long, or too many uneven samples)".to_owned(),
        );
    }
    tell_counts(&table.counts, &clock, &mut warnings);
    assemble(name, plan, table, &families, &clock, start, end, sub, warnings)
        .map(|c| Outcome::Done(Box::new(c)))
        .map_err(spill)
}

fn seconds_text(unit: &Timebase, time: i64) -> String {
    format!("{} s", unit.seconds(Ticks(time)))
}
