//! Levels over time → the columns of a line.
//!
//! A builder is told levels in order of time. Of several levels at one time the last one counts: a pulse of no
//! width is no measured pulse. An edge is a change between known levels; through unknown or floating it is
//! placed where the new known level was recorded; the leap out of a stretch that was not recorded is a flip.

use std::io;
use std::sync::Arc;

use super::columns::{Growing, SpillFolder, column};
use super::runs::Run;
use crate::model::{Column, Level, Stretch, StretchKind, Tally, TallyRun, Ticks, TimeSpan};

/// A level, or that nothing was recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Value {
    Low,
    High,
    Unknown,
    Floating,
    Unrecorded,
}

impl Value {
    fn is_known(self) -> bool {
        matches!(self, Value::Low | Value::High)
    }
}

/// Grows one line.
#[derive(Debug)]
pub struct LineBuilder {
    edges: Growing<Ticks>,
    flips: Vec<Ticks>,
    stretches: Vec<Stretch>,
    first: Option<bool>,
    high: bool,
    value: Value,
    /// Since when `value` holds, while it is not known.
    since: i64,
    /// Where the latest unrecorded stretch ended, when no level was known since.
    leapt: Option<i64>,
    pending: Option<(i64, Value)>,
    tally: Option<TallyRun>,
    tallied: usize,
    start: i64,
}

/// A finished line's columns.
#[derive(Debug)]
pub struct Built {
    pub first: Level,
    pub edges: Column,
    pub flips: Vec<Ticks>,
    pub stretches: Vec<Stretch>,
    pub tally: Tally,
}

impl LineBuilder {
    /// `name`: of the column's file, should it need one; `room`: edges kept in memory.
    pub fn new(folder: &Arc<SpillFolder>, name: String, room: usize) -> LineBuilder {
        LineBuilder {
            edges: Growing::new(folder, name, room),
            flips: Vec::new(),
            stretches: Vec::new(),
            first: None,
            high: false,
            value: Value::Unknown,
            since: i64::MIN,
            leapt: None,
            pending: None,
            tally: None,
            tallied: 0,
            start: i64::MIN,
        }
    }

    /// The level before the record begins. Told before [`LineBuilder::begin`].
    pub fn before(&mut self, value: Value) {
        if value.is_known() && self.first.is_none() {
            self.first = Some(value == Value::High);
            self.high = value == Value::High;
        }
        self.value = value;
    }

    /// The record begins.
    pub fn begin(&mut self, start: i64) {
        self.start = start;
        self.since = start;
    }

    /// The level from `time` on; times never fall.
    #[inline]
    pub fn set(&mut self, time: i64, value: Value) -> io::Result<()> {
        if let Some((at, held)) = self.pending
            && at != time
        {
            self.commit(at, held)?;
        }
        self.pending = Some((time, value));
        Ok(())
    }

    /// Takes what was told at the latest time for final.
    pub fn settle_pending(&mut self) -> io::Result<()> {
        match self.pending.take() {
            Some((at, held)) => self.commit(at, held),
            None => Ok(()),
        }
    }

    /// The other known level from `time` on. Only while a level is known and nothing is pending.
    #[inline]
    pub fn toggle(&mut self, time: i64) -> io::Result<()> {
        debug_assert!(self.value.is_known() && self.pending.is_none());
        self.edge(time)
    }

    /// Takes what a block says of this line.
    pub fn append(&mut self, run: &Run) -> io::Result<()> {
        const VALUES: [Value; 4] = [Value::Low, Value::High, Value::Unknown, Value::Floating];
        let value = |level: u8| VALUES[usize::from(level & 3)];
        self.set(run.first.0, value(run.first.1))?;
        if let Some((&latest, rest)) = run.edges.split_last() {
            // The first level is known: edges follow it.
            self.settle_pending()?;
            self.high ^= rest.len() % 2 == 1;
            self.value = if self.high { Value::High } else { Value::Low };
            self.extend(rest)?;
            self.pending = Some((latest.0, if self.high { Value::Low } else { Value::High }));
        }
        for &(time, level) in &run.changes {
            self.set(time, value(level))?;
        }
        Ok(())
    }

    /// Forgets what was told at `time`, the latest.
    pub fn forget(&mut self, time: i64) {
        self.pending = self.pending.filter(|&(at, _)| at != time);
    }

    /// Stretches without a known level so far.
    pub fn stretch_count(&self) -> usize {
        self.stretches.len()
    }

    #[inline]
    fn commit(&mut self, time: i64, value: Value) -> io::Result<()> {
        if value == self.value {
            return Ok(());
        }
        if self.value.is_known() && value.is_known() {
            return self.edge(time);
        }
        self.commit_slowly(time, value)
    }

    #[inline]
    fn edge(&mut self, time: i64) -> io::Result<()> {
        self.high = !self.high;
        self.value = if self.high { Value::High } else { Value::Low };
        self.edges.push(Ticks(time));
        if self.edges.is_full() {
            self.settle();
            self.edges.flush()?;
            self.tallied = 0;
        }
        Ok(())
    }

    /// Many edges at once, which lead to the present level.
    fn extend(&mut self, edges: &[Ticks]) -> io::Result<()> {
        self.settle();
        if let Some(run) = &mut self.tally {
            run.edges(edges);
        }
        if self.edges.extend(edges)? || self.edges.is_full() {
            self.edges.flush()?;
        }
        self.tallied = self.edges.latest().len();
        Ok(())
    }

    #[cold]
    fn commit_slowly(&mut self, time: i64, value: Value) -> io::Result<()> {
        let left = self.value;
        if left.is_known() {
            self.since = time;
            self.value = value;
            return Ok(());
        }
        let high = value == Value::High;
        if left == Value::Unrecorded {
            self.leapt = Some(time);
        }
        let leapt = if value.is_known() { self.leapt.take() } else { None };
        let flipped = leapt.is_some() && self.first.is_some() && high != self.high;
        if time > self.since {
            self.stretch(time, left, flipped);
        }
        self.since = time;
        self.value = value;
        if !value.is_known() {
            return Ok(());
        }
        if self.first.is_none() {
            self.first = Some(high);
            self.high = high;
            // What came before belongs to the stretch; the tally starts afresh with a known level.
        } else if let (true, Some(at)) = (flipped, leapt) {
            self.flips.push(Ticks(at));
            self.high = high;
        } else if high != self.high {
            self.value = left;
            self.high = !high;
            return self.edge(time);
        }
        Ok(())
    }

    fn stretch(&mut self, end: i64, value: Value, flipped: bool) {
        let kind = match value {
            Value::Floating => StretchKind::Floating,
            Value::Unrecorded => StretchKind::Unrecorded,
            _ => StretchKind::Unknown,
        };
        let (start, end) = (Ticks(self.since), Ticks(end));
        self.settle();
        if let Some(run) = &mut self.tally {
            run.stretch(start, end, kind, flipped);
        }
        self.stretches.push(Stretch {
            span: TimeSpan::new(start, end),
            kind,
        });
    }

    /// Counts the edges that came since the last time.
    fn settle(&mut self) {
        if self.tally.is_none() {
            let Some(first) = self.first else { return };
            let first = if first { Level::High } else { Level::Low };
            let mut run = TallyRun::new(first, Ticks(self.start));
            for s in &self.stretches {
                run.stretch(s.span.start, s.span.end, s.kind, false);
            }
            self.tally = Some(run);
        }
        let run = self.tally.as_mut().expect("just made");
        run.edges(&self.edges.latest()[self.tallied..]);
        self.tallied = self.edges.latest().len();
    }

    /// The line's columns, recorded up to `end`.
    pub fn finish(mut self, end: i64) -> io::Result<Built> {
        if let Some((at, held)) = self.pending.take() {
            self.commit(at, held)?;
        }
        if !self.value.is_known() && end > self.since {
            self.stretch(end, self.value, false);
        }
        self.settle();
        let tally = match self.tally {
            Some(run) => run.finish(Ticks(end)),
            None => {
                let mut tally = Tally::default();
                for s in &self.stretches {
                    match s.kind {
                        StretchKind::Unknown => tally.unknown += s.span.length(),
                        StretchKind::Floating => tally.floating += s.span.length(),
                        StretchKind::Unrecorded => tally.unrecorded += s.span.length(),
                    }
                }
                tally
            }
        };
        Ok(Built {
            first: match self.first {
                None => Level::Unknown,
                Some(true) => Level::High,
                Some(false) => Level::Low,
            },
            edges: column(self.edges)?,
            flips: self.flips,
            stretches: self.stretches,
            tally,
        })
    }
}
