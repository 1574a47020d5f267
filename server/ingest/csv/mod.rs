//! Tables: one row a sample or one row a change; levels, packed buses, volts.

mod bus;
mod cells;
mod clock;
mod fast;
mod probe;
mod rows;
mod time;

pub use probe::probe;

use std::sync::Arc;

use super::analog::{self, AnalogBuilder};
use super::build::{LineBuilder, Value};
use super::columns::SpillFolder;
use super::error::quoted;
use super::input::{Input, Source, Wrapping};
use super::options::{ColumnKind, FamilyChoice};
use super::{Error, ErrorKind, Progress, ReadOptions};
use crate::model::{
    Bus, Capture, Format, Line, Source as LineSource, Ticks, TimeSpan, Timebase, Trace, Warning,
};
use bus::{bus_range, packed};
use cells::{Decimal, is_missing, level_of};
use clock::{Clock, Pace, Step};
use probe::TablePlan;

const CUT_SHORT: &str = "the gzip file was cut off: everything up to there was read";

/// Ticks of a sample where edges lie between samples.
const SUB_TICKS: i64 = 1000;

/// Why a table must be read anew.
enum Again {
    /// The rows do not keep the pace that the first ones had.
    Pace,
    /// A column of levels holds volts.
    Analog(usize),
}

enum Outcome {
    Done(Box<Capture>),
    Again(Again),
}

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

/// Where the cells of a column go.
enum Sink {
    Nothing,
    Level(usize),
    Bus { first: usize, bits: usize, base: u32 },
    Volts(usize),
}

/// Things met on the way that a warning counts.
#[derive(Default)]
struct Counts {
    bad_times: (u64, u64),
    ragged: (u64, u64),
    missing: (u64, u64),
    strange: (u64, u64),
    too_wide: (u64, u64),
}

fn note(count: &mut (u64, u64), row: u64) {
    if count.0 == 0 {
        count.1 = row;
    }
    count.0 += 1;
}

struct Table<'p> {
    plan: &'p TablePlan,
    sinks: Vec<Sink>,
    lines: Vec<LineBuilder>,
    volts: Vec<AnalogBuilder>,
    counts: Counts,
}

fn pass(
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
    let mut rows = rows::Rows::new(input, name, plan.delimiter);
    let mut now: Option<i64> = None;
    let mut start = 0;
    let mut row_count = 0i64;
    let mut dropped_traces = false;
    let mut off_pace = None;
    while rows.advance(limits.columns)? {
        if rows.row < plan.first_row || rows.fields.is_empty() || probe::is_comment(rows.bytes()) {
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
                let text = |f: &rows::Field| quoted(&rows.bytes()[f.start..f.end]);
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

fn table<'p>(
    plan: &'p TablePlan,
    families: &[Option<(FamilyChoice, bool)>],
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
        return Err(table_error(
            "expected columns of levels or volts beside the times, found none",
        ));
    }
    let uniform = matches!(plan.pace, Pace::Samples(_));
    let room = (options.limits.buffered_edges / total).clamp(64, 1 << 16);
    let mut table = Table {
        plan,
        sinks: Vec::new(),
        lines: Vec::new(),
        volts: Vec::new(),
        counts: Counts::default(),
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
    fn row(&mut self, rows: &rows::Rows, tick: i64) -> std::io::Result<Option<Again>> {
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
                        None if Decimal::parse(cell, point).is_some() => {
                            return Ok(Some(Again::Analog(column)));
                        }
                        None => {
                            note(&mut self.counts.strange, rows.row);
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
                        note(&mut self.counts.strange, rows.row);
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
                    let volts = match Decimal::parse(cell, point) {
                        Some(number) => number.to_f64() * self.plan.columns[column].volts,
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
    fn check_limits(&mut self, rows: &rows::Rows, options: &ReadOptions) -> Result<bool, Error> {
        self.check_counts(rows.name(), options)
            .map_err(|e| rows.error(None, e.kind))?;
        let steps: usize = self.volts.iter().map(AnalogBuilder::steps_held).sum();
        if steps > options.limits.real_changes {
            self.volts.iter_mut().for_each(AnalogBuilder::drop_steps);
            return Ok(true);
        }
        Ok(false)
    }

    fn check_counts(&self, name: &str, options: &ReadOptions) -> Result<(), Error> {
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

/// Ones of a packed cell, and which places are unknown and floating.
fn bus_value(cell: &[u8], base: u32) -> Option<(u128, (u128, u128))> {
    if let Some((value, _)) =
        packed(cell).filter(|_| cell.len() > 2 && !cell[1].is_ascii_digit() || cell[0] == b'$')
    {
        return Some((value, (0, 0)));
    }
    let text = std::str::from_utf8(cell)
        .ok()?
        .trim_start_matches("0x")
        .trim_start_matches("0b");
    if base == 10 {
        return text.parse::<u128>().ok().map(|v| (v, (0, 0)));
    }
    let (mut ones, mut unknown, mut floating) = (0u128, 0u128, 0u128);
    let width = base.ilog2();
    for c in text.chars() {
        if c == '_' {
            continue;
        }
        let mask = (1u128 << width) - 1;
        ones <<= width;
        unknown <<= width;
        floating <<= width;
        match c {
            'x' | 'X' => unknown |= mask,
            'z' | 'Z' => floating |= mask,
            c => ones |= u128::from(c.to_digit(base)?),
        }
    }
    Some((ones, (unknown, floating)))
}

fn tell_counts(counts: &Counts, clock: &Clock, warnings: &mut Vec<String>) {
    let mut tell = |count: (u64, u64), what: &str, done: &str| {
        if count.0 > 0 {
            let what = if count.0 == 1 {
                what.to_owned()
            } else {
                plural(what)
            };
            warnings.push(format!("{} {what} (first in row {}): {done}", count.0, count.1));
        }
    };
    tell(counts.bad_times, "row without a readable time", "passed over");
    tell(
        counts.ragged,
        "row with too few or too many cells",
        "lacking cells are unknown, surplus ones were passed over",
    );
    tell(counts.missing, "missing cell", "the line is unknown there");
    tell(
        counts.strange,
        "cell that is neither a level nor a number of its column",
        "the line is unknown there",
    );
    tell(
        counts.too_wide,
        "bus value wider than its bus",
        "the upper bits were cut",
    );
    if clock.gaps > 0 {
        warnings.push(format!(
            "{} gap{} in the samples, {} samples in all: shown as not recorded, no edge was made up across",
            clock.gaps,
            if clock.gaps == 1 { "" } else { "s" },
            clock.missing
        ));
    }
    if let Some(text) = clock.residual_text() {
        warnings.push(text);
    }
}

/// `row without …` → `rows without …`.
fn plural(what: &str) -> String {
    let nouns = ["row", "cell", "value"];
    let mut done = false;
    let words = what.split(' ').map(|word| {
        if !done && nouns.contains(&word) {
            done = true;
            return format!("{word}s");
        }
        word.to_owned()
    });
    words.collect::<Vec<_>>().join(" ")
}

#[allow(clippy::too_many_arguments)]
fn assemble(
    name: &str,
    plan: &TablePlan,
    table: Table,
    families: &[Option<(FamilyChoice, bool)>],
    clock: &Clock,
    start: i64,
    end: i64,
    sub: i64,
    warnings: Vec<String>,
) -> std::io::Result<Capture> {
    let (timebase, sample_ticks) = clock.timebase();
    let span = TimeSpan::new(Ticks(start), Ticks(end));
    let mut capture = Capture {
        file: name.to_owned(),
        format: Format::Csv,
        timebase,
        span,
        resolution_ticks: if sample_ticks > 0.0 {
            sample_ticks
        } else {
            plan.rounding.max(1.0)
        },
        lines: Vec::new(),
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: warnings.into_iter().map(|text| Warning { text }).collect(),
    };
    let mut builders = table.lines.into_iter();
    let mut analogs = table.volts.into_iter();
    let mut proposed: Vec<String> = Vec::new();
    for ((column, sink), family) in plan.columns.iter().zip(&table.sinks).zip(families) {
        match sink {
            Sink::Nothing => {}
            Sink::Level(_) => {
                let built = builders.next().expect("one builder a line").finish(end)?;
                capture
                    .lines
                    .push(line(column.name.clone(), built, span, sample_ticks));
            }
            Sink::Bus { bits, .. } => {
                let range =
                    bus_range(&column.heading).or_else(|| bus_range(cells::split_unit(&column.heading).0));
                let (msb, lsb) = range.unwrap_or((*bits as i64 - 1, 0));
                let first = capture.lines.len();
                for place in (0..*bits as i64).rev() {
                    let index = if msb >= lsb { lsb + place } else { lsb - place };
                    let built = builders.next().expect("one builder a line").finish(end)?;
                    let name = format!("{}[{index}]", column.name);
                    capture.lines.push(line(name, built, span, sample_ticks));
                }
                capture.buses.push(Bus {
                    name: column.name.clone(),
                    bits: (first..capture.lines.len()).collect(),
                });
            }
            Sink::Volts(_) => {
                let (family, declared) = family.clone().expect("an analog column has a family");
                let done = analogs
                    .next()
                    .expect("one builder a line")
                    .finish(start, sub, end)?;
                if !declared {
                    proposed.push(format!("{} {}", column.name, family.name));
                }
                capture.lines.push(Line {
                    source: LineSource::Analog,
                    interpolated: true,
                    runts: done.runts,
                    between: done.between,
                    trace: done.samples.map(|samples| Trace {
                        thresholds: family.thresholds,
                        family: family.name,
                        declared,
                        samples,
                    }),
                    ..line(column.name.clone(), done.built, span, sample_ticks)
                });
            }
        }
    }
    if !proposed.is_empty() {
        capture.warn(format!(
            "thresholds proposed from the lines' own levels: {}; say otherwise with family = \"…\" in the setup file",
            super::names::some_of(&proposed)
        ));
    }
    Ok(capture)
}

fn line(name: String, built: super::build::Built, span: TimeSpan, sample_ticks: f64) -> Line {
    Line {
        name,
        capture: 0,
        source: LineSource::Digital,
        first: built.first,
        edges: built.edges,
        flips: built.flips,
        stretches: built.stretches,
        span,
        sample_ticks,
        interpolated: false,
        trace: None,
        same_as: None,
        runts: Vec::new(),
        between: Ticks::ZERO,
        tally: Some(built.tally),
    }
}
