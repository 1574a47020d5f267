//! One pass over the rows of a table by its plan: the fast path where it fits, else row by row.

use std::io;
use std::sync::Arc;

use super::assemble::assemble;
use super::cells::Decimal;
use super::cells::{is_missing, volts_of};
use super::clock::{Clock, FURTHEST, Pace, Step};
use super::coarse::CoarseTimes;
use super::counts::{note, tell_counts};
use super::probe::{TablePlan, is_comment};
use super::rows::{Field, Rows};
use super::table::{Again, Table, table};
use super::{families, fast};
use crate::ingest::build::Value;
use crate::ingest::columns::SpillFolder;
use crate::ingest::error::quoted;
use crate::ingest::input::{Input, Source, Wrapping};
use crate::ingest::{Error, ErrorKind, Progress, ReadOptions};
use crate::model::units::engineering;
use crate::model::{Capture, Ticks, TimeSpan, Timebase};
use crate::model::{ColumnKind, Family};

const CUT_SHORT: &str = "the gzip file was cut off: everything up to there was read";

/// Ticks of a sample where edges lie between samples.
const SUB_TICKS: i64 = 1000;

/// How a pass ended.
pub enum Outcome {
    Done(Box<Capture>),
    Again(Again),
}

/// Reads the rows once.
pub fn pass(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    progress: &dyn Progress,
    plan: &TablePlan,
) -> Result<Outcome, Error> {
    let any_volts = plan.columns.iter().any(|c| c.kind == ColumnKind::Analog);
    let uniform = matches!(plan.pace, Pace::Samples(_) | Pace::Counted(_));
    let (families, weak) = families(plan, options);
    let pass = Pass {
        source,
        name,
        wrapping,
        options,
        progress,
        plan,
        folder: Arc::new(SpillFolder::new()),
        families,
        weak,
        sub: if any_volts && uniform { SUB_TICKS } else { 1 },
        unit: match plan.sample_s {
            Some(seconds) => Timebase::fitted(0.0, seconds),
            None => Timebase::decimal(plan.reader.unit),
        },
    };
    match pass.by_blocks()? {
        Some(outcome) => Ok(outcome),
        None => pass.row_by_row(),
    }
}

const LAST_ROW_CUT: &str = "the file ends within a row: it was cut off there, and that row was left out";
const DROPPED_TRACES: &str = "some analog samples were not kept (a gap too long, or too many uneven samples)";

/// What a pass reads, by which plan, and in which ticks.
struct Pass<'p> {
    source: &'p Source,
    name: &'p str,
    wrapping: Wrapping,
    options: &'p ReadOptions,
    progress: &'p dyn Progress,
    plan: &'p TablePlan,
    folder: Arc<SpillFolder>,
    families: Vec<Option<(Family, bool)>>,
    /// What there is to tell of weak levels.
    weak: Vec<String>,
    /// Ticks of a sample.
    sub: i64,
    /// Of the written times.
    unit: Timebase,
}

impl<'p> Pass<'p> {
    fn table(&self) -> Result<Table<'p>, Error> {
        table(self.plan, &self.families, &self.folder, self.options, self.name)
    }

    fn clock(&self) -> Clock {
        Clock::new(self.plan.pace, self.unit, self.plan.rounding, self.sub)
    }

    fn error(&self, kind: ErrorKind) -> Error {
        Error {
            file: self.name.to_owned(),
            position: None,
            kind,
        }
    }

    fn spill(&self, error: io::Error) -> Error {
        self.error(ErrorKind::Spill(error))
    }

    /// The fast path; `None` where the table is not for it.
    fn by_blocks(&self) -> Result<Option<Outcome>, Error> {
        let Source::Path(path) = self.source else {
            return Ok(None);
        };
        if self.options.plain || self.wrapping.gzip || self.wrapping.utf16.is_some() {
            return Ok(None);
        }
        let (mut table, mut clock) = (self.table()?, self.clock());
        let total = std::fs::metadata(path).map(|m| m.len()).ok();
        let mut done = self.plan.first_byte;
        let mut told = |bytes| {
            done += bytes;
            self.progress.bytes(done, total);
            !self.progress.cancelled()
        };
        let ended = fast::read(
            path,
            self.plan.first_byte,
            self.plan,
            &mut table,
            &mut clock,
            self.sub,
            &mut told,
        );
        match ended.map_err(|e| self.spill(e))? {
            fast::Ended::Whole { start, end } => {
                let mut warnings = self.plan.warnings.clone();
                if self.wrapping.cut_short {
                    warnings.push(CUT_SHORT.to_owned());
                }
                let name = |column: usize| self.plan.columns[column].name.as_str();
                tell_counts(&table.counts, &clock, name, &mut warnings);
                table.check_counts(self.name, self.options)?;
                self.done(table, &clock, start, end, warnings).map(Some)
            }
            fast::Ended::Cancelled => Err(self.error(ErrorKind::Cancelled)),
            fast::Ended::Unfit => Ok(None),
        }
    }

    /// The general path.
    fn row_by_row(&self) -> Result<Outcome, Error> {
        let plan = self.plan;
        let limits = &self.options.limits;
        let (mut table, mut clock) = (self.table()?, self.clock());
        let input = Input::open(self.source, self.name, self.wrapping, limits, self.progress)?;
        let mut rows = Rows::new(input, self.name, plan.delimiter);
        let mut now: Option<i64> = None;
        let mut start = 0;
        let mut row_count = 0i64;
        let mut dropped_traces = false;
        let mut off_pace = None;
        let mut is_last_cut = false;
        let mut coarse = plan.pace.is_coarse(plan.rounding).then(CoarseTimes::default);
        while rows.advance(limits.columns)? {
            if rows.row < plan.first_row || rows.fields.is_empty() || is_comment(rows.bytes(), plan.delimiter)
            {
                continue;
            }
            if row_count > 0 && rows.is_unended() && self.is_cut(&rows) {
                is_last_cut = true;
                break;
            }
            let written = self.written(&rows, row_count);
            row_count += 1;
            if off_pace.is_some() {
                return Ok(Outcome::Again(Again::Pace));
            }
            let Some(written) = written else {
                self.refuse_other_mark(&rows)?;
                note(&mut table.counts.bad_times, rows.row);
                continue;
            };
            if let Some(coarse) = &mut coarse {
                let others = rows.fields.iter().enumerate();
                let others = others.filter(|(column, _)| Some(*column) != plan.time);
                let cells = others.map(|(_, f)| &rows.bytes()[f.start..f.end]);
                coarse.row(rows.row, written, cells);
            }
            let tick = match clock.step(written) {
                Step::At(tick) => tick,
                Step::Gap(from, to) => {
                    let dropped = self.gap(&mut table, &clock, from, to);
                    dropped_traces |= dropped.map_err(|e| self.spill(e))?;
                    to
                }
                // The last row may mark an end that lies off the grid.
                Step::OffPace if plan.pace != Pace::Free => {
                    off_pace = Some(written);
                    continue;
                }
                // What is taken as written has no pace to be off: read again, it would be so again.
                Step::OffPace | Step::TooFar => return Err(self.too_far(&rows)),
                Step::Backwards => {
                    let error = self.backwards(&rows, &clock);
                    // A row that ends within its time is what was left of the last one when the file was cut off.
                    let is_short = rows.fields.len() < plan.fields;
                    if is_short && !rows.advance(limits.columns)? {
                        is_last_cut = true;
                        break;
                    }
                    return Err(error);
                }
            };
            if now.is_none() {
                start = tick;
                table.lines.iter_mut().for_each(|l| l.begin(tick));
                table.volts.iter_mut().for_each(|v| v.begin(tick));
            }
            now = Some(tick);
            if let Some(again) = table.row(&rows, tick).map_err(|e| self.spill(e))? {
                return Ok(Outcome::Again(again));
            }
            const CHECKED_EVERY: i64 = 1024;
            if row_count % CHECKED_EVERY == 0 {
                dropped_traces |= table.check_limits(&rows, self.options)?;
            }
        }
        let Some(end) = now else {
            return Err(rows.error(
                None,
                ErrorKind::Table("expected rows with a time, found none that could be read".to_owned()),
            ));
        };
        let in_words = |units: f64| engineering(self.unit.length_s(units), "s");
        let stated = self.options.sample_period_s.map(|s| s / self.unit.length_s(1.0));
        if let Some((grid, told)) = coarse.as_ref().and_then(|c| c.counted(stated, &in_words)) {
            return Ok(Outcome::Again(Again::Counted(grid, told)));
        }
        let end = off_pace.map_or(end, |written| clock.nearest(written).max(end));
        dropped_traces |= table.check_limits(&rows, self.options)?;
        let mut warnings = plan.warnings.clone();
        if rows.cut_short() {
            warnings.push(CUT_SHORT.to_owned());
        }
        if is_last_cut {
            warnings.push(LAST_ROW_CUT.to_owned());
        }
        warnings.extend(coarse.and_then(|coarse| coarse.told(&in_words(plan.rounding))));
        if dropped_traces {
            warnings.push(DROPPED_TRACES.to_owned());
        }
        let name = |column: usize| plan.columns[column].name.as_str();
        tell_counts(&table.counts, &clock, name, &mut warnings);
        self.done(table, &clock, start, end, warnings)
    }

    /// Whether the last row, behind which no line ends, is what was left of one: cells are lacking, or the last one is empty
    /// or ends within a number.
    fn is_cut(&self, rows: &Rows) -> bool {
        let plan = self.plan;
        if rows.fields.len() < plan.fields {
            return true;
        }
        let Some((column, field)) = plan.columns.last().zip(rows.fields.get(plan.fields - 1)) else {
            return false;
        };
        let cell = &rows.bytes()[field.start..field.end];
        match column.kind {
            ColumnKind::Analog => {
                cell.is_empty() || !is_missing(cell) && volts_of(cell, plan.point, column.volts).is_none()
            }
            ColumnKind::Digital | ColumnKind::Bus { .. } => cell.is_empty(),
            ColumnKind::Time | ColumnKind::Ignore => false,
        }
    }

    /// The time of the row, which is the `count`-th that is read, in the units of the file; `None` where its cell holds none.
    fn written(&self, rows: &Rows, count: i64) -> Option<i64> {
        let Some(column) = self.plan.time else {
            return Some(count);
        };
        let field = rows.fields.get(column)?;
        self.plan.reader.read(&rows.bytes()[field.start..field.end])
    }

    /// A time that only the other decimal mark makes a number of says that all were read wrongly: `1.234.000`. One that is
    /// too far from nought to be counted in the file's units is told as such.
    fn refuse_other_mark(&self, rows: &Rows) -> Result<(), Error> {
        let field = self.plan.time.and_then(|column| rows.fields.get(column));
        let Some(cell) = field.map(|f| &rows.bytes()[f.start..f.end]) else {
            return Ok(());
        };
        /// Times are counted in 64 bits: powers of ten that they hold. What no program's number holds is a broken cell, and
        /// passed over as one.
        const MOST_DIGITS: f64 = 18.9;
        const NO_NUMBER: f64 = f64::MAX_10_EXP as f64;
        if let Some((number, exponent)) = self.plan.reader.number(cell) {
            let digits = (number.mantissa.unsigned_abs() as f64).log10() + f64::from(number.exponent);
            if digits + f64::from(exponent) > NO_NUMBER {
                return Ok(());
            }
            if digits + f64::from(exponent - self.plan.reader.unit) > MOST_DIGITS {
                let text = format!(
                    "the time {} is too large to be counted together with the others: is this the column of times? Say time = \
                     \"NAME\" of another, or take the row out",
                    quoted(cell)
                );
                return Err(rows.error(self.plan.time, ErrorKind::Table(text)));
            }
        }
        let other = if self.plan.point == b'.' { b',' } else { b'.' };
        if Decimal::parse(cell, other).is_none() {
            return Ok(());
        }
        let (taken, other) = (char::from(self.plan.point), char::from(other));
        let text = format!(
            "the time {} is no number with \"{taken}\" for its decimal mark, as the rows above were read, but it is one with \
             \"{other}\": say decimal = \"{other}\" under [read] in the setup file",
            quoted(cell)
        );
        Err(rows.error(self.plan.time, ErrorKind::Table(text)))
    }

    /// Nothing was recorded between two ticks; true when samples were given up for it.
    fn gap(&self, table: &mut Table, clock: &Clock, from: i64, to: i64) -> io::Result<bool> {
        let missing = ((to - from) / self.sub) as u64;
        let mut dropped = false;
        for line in &mut table.lines {
            line.set(from, Value::Unrecorded)?;
        }
        for volts in &mut table.volts {
            if clock.missing > table.gap_samples {
                volts.drop_samples();
                dropped = true;
            }
            volts.gap(from, missing)?;
        }
        Ok(dropped)
    }

    /// The present row's time lies before that of the row above.
    fn backwards(&self, rows: &Rows, clock: &Clock) -> Error {
        let column = self.plan.time;
        let text = |f: &Field| quoted(&rows.bytes()[f.start..f.end]);
        let found = column
            .and_then(|c| rows.fields.get(c))
            .map_or_else(String::new, text);
        let last = self.unit.seconds(Ticks(clock.last()));
        let before = format!("a later one in the row before ({last} s)");
        rows.error(column, ErrorKind::Backwards { found, before })
    }

    /// The present row comes so long after the first one that no tick is left for it.
    fn too_far(&self, rows: &Rows) -> Error {
        const YEAR_S: f64 = 365.25 * 86_400.0;
        let cell = self.plan.time.and_then(|column| rows.fields.get(column));
        let found = cell.map_or_else(
            || format!("row {}", rows.row),
            |f| quoted(&rows.bytes()[f.start..f.end]),
        );
        let reach_s = self.unit.length_s(FURTHEST as f64 / self.sub as f64);
        let reach = match reach_s / YEAR_S {
            years if years >= 1e4 => format!("{years:.0e} years"),
            years if years >= 1.0 => format!("{years:.0} years"),
            _ => engineering(reach_s, "s"),
        };
        let text = format!(
            "expected times within {reach} of the first, found {found}: correct the time in this row, or leave the row out"
        );
        rows.error(self.plan.time, ErrorKind::Table(text))
    }

    /// What to say where the text above the table says that there are more samples than were found.
    fn fewer_rows(&self, start: i64, end: i64) -> Option<String> {
        let (Pace::Samples(_) | Pace::Counted(_)) = self.plan.pace else {
            return None;
        };
        let stated = self.plan.stated_rows?;
        let found = (end - start).checked_div(self.sub)? as u64 + 1;
        (found < stated).then(|| {
            format!(
                "the text above the table says {stated} samples, found {found}: if the file was cut off, export it again"
            )
        })
    }

    fn done(
        &self,
        table: Table,
        clock: &Clock,
        start: i64,
        end: i64,
        mut warnings: Vec<String>,
    ) -> Result<Outcome, Error> {
        warnings.extend_from_slice(&self.weak);
        warnings.extend(self.fewer_rows(start, end));
        let span = TimeSpan::new(Ticks(start), Ticks(end));
        assemble(self.name, table, &self.families, clock, span, self.sub, warnings)
            .map(|c| Outcome::Done(Box::new(c)))
            .map_err(|e| self.spill(e))
    }
}

#[cfg(test)]
mod tests {
    use crate::ingest::{ReadOptions, read_bytes};

    #[test]
    fn a_time_beyond_all_counting_is_told_as_such() {
        let table = b"Time,A,B\n0,0,1\n1e30,1,1\n2e30,0,1\n".to_vec();
        let told = read_bytes("far.csv", table, &ReadOptions::default()).unwrap_err();
        let told = told.to_string();
        assert!(
            told.contains("row 3, column 1") && told.contains("too large to be counted"),
            "{told}"
        );
        assert!(!told.contains("decimal mark"), "{told}");
    }
}
