//! What one rule counted: kept, broken, can't tell; the closest calls; how the margins are spread.

use super::reach::{self, Reach, Verdict};
use crate::model::Ticks;

/// Violations kept with their times, per rule; all are counted.
pub const MOST_LISTED: usize = 10_000;

/// Bins of the margin histogram below and above a margin of 0: one bin is a tenth of the limit.
const BINS_BELOW: usize = 10;
const BINS_ABOVE: usize = 20;

/// Limits in ticks of the capture's timebase; the limits themselves are allowed values.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Limits {
    pub at_least: Option<f64>,
    pub at_most: Option<f64>,
}

/// One occurrence that breaks the rule, or that can't be told from one that does.
#[derive(Clone, Debug, PartialEq)]
pub struct Violation {
    /// First and last moment of the evidence, to show in a diagram.
    pub start: Ticks,
    pub end: Ticks,
    /// When it went wrong, where that is not at the first moment: a line that left its level well after a strobe.
    pub at: Ticks,
    /// Lines concerned, positions in the capture; the one to look at first.
    pub lines: Vec<usize>,
    /// Measured value in ticks, and how far below and above it the true one may be; `None` when nothing came.
    pub measured: Option<(i64, Reach)>,
    /// What was seen, in words, where a number does not say it.
    pub what: Option<String>,
    /// On which side of a strobe it lies, and the limit there, where the rule has one for each.
    pub side: Option<(Side, f64)>,
}

impl Violation {
    /// How far beyond its limit the measured value is, in ticks; `None` where nothing was measured.
    pub fn excess(&self, limits: &Limits) -> Option<f64> {
        let (measured, _) = self.measured?;
        let measured = measured as f64;
        let at_least = self.side.map_or(limits.at_least, |(_, limit)| Some(limit));
        let below = at_least.map_or(0.0, |least| least - measured);
        let above = limits.at_most.map_or(0.0, |most| measured - most);
        Some(below.max(above))
    }
}

/// Where a line was not at its level: before a strobe's edge, as it came, or after it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Before,
    At,
    After,
}

impl Side {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Side::Before => "before",
            Side::At => "at",
            Side::After => "after",
        }
    }
}

/// The counts of one side of a strobe, of a rule that has a limit for each.
#[derive(Clone, Debug, PartialEq)]
pub struct SideTally {
    pub side: Side,
    /// In ticks.
    pub limit: f64,
    pub kept: u64,
    pub broken: u64,
    pub cant_tell: u64,
    /// Smallest and largest distance from the strobe at which the line was not at its level, in ticks; 0 where it was not as the
    /// strobe came.
    pub smallest: Option<i64>,
    pub largest: Option<i64>,
    pub margins: Margins,
}

impl SideTally {
    /// `finest`: as of [`Tally::new`].
    pub fn new(side: Side, limit: f64, finest: f64) -> SideTally {
        let limits = Limits {
            at_least: Some(limit),
            at_most: None,
        };
        SideTally {
            side,
            limit,
            kept: 0,
            broken: 0,
            cant_tell: 0,
            smallest: None,
            largest: None,
            margins: Margins::new(&limits, finest),
        }
    }

    /// Counts one strobe, and the distance of what is nearest to it on this side, if anything is.
    pub fn count(&mut self, verdict: Verdict, distance: Option<i64>) {
        match verdict {
            Verdict::Kept => self.kept += 1,
            Verdict::Broken => self.broken += 1,
            Verdict::CantTell => self.cant_tell += 1,
        }
        if let Some(distance) = distance {
            self.margins.add(distance as f64 - self.limit);
            self.smallest = Some(self.smallest.map_or(distance, |s| s.min(distance)));
            self.largest = Some(self.largest.map_or(distance, |l| l.max(distance)));
        }
    }
}

/// Margins in ticks: positive inside the limit. Bin `i` covers `[start + i·bin, start + (i+1)·bin)`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Margins {
    pub start: f64,
    pub bin: f64,
    pub counts: Vec<u64>,
    pub below: u64,
    pub above: u64,
}

impl Margins {
    /// Bins for limits: a tenth of the (smaller) limit wide, but no finer than a tick or the sampling.
    pub fn new(limits: &Limits, finest: f64) -> Margins {
        let limit = [limits.at_least, limits.at_most].into_iter().flatten();
        let limit = limit.filter(|l| *l > 0.0).fold(f64::INFINITY, f64::min);
        let bin = if limit.is_finite() {
            limit / BINS_BELOW as f64
        } else {
            1.0
        };
        let bin = bin.max(finest).max(1.0);
        Margins {
            start: -(BINS_BELOW as f64) * bin,
            bin,
            counts: vec![0; BINS_BELOW + BINS_ABOVE],
            below: 0,
            above: 0,
        }
    }

    #[inline]
    fn add(&mut self, margin: f64) {
        let above_start = margin - self.start;
        if above_start < 0.0 {
            self.below += 1;
        } else if let Some(count) = self.counts.get_mut((above_start / self.bin) as usize) {
            *count += 1;
        } else {
            self.above += 1;
        }
    }
}

/// The counts of one rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Tally {
    pub limits: Limits,
    /// Within the limits for certain; beyond one for certain; either, as sampling leaves it open.
    pub kept: u64,
    pub broken: u64,
    pub cant_tell: u64,
    /// Occasions that were not judged: a level was unknown or not recorded.
    pub not_judged: u64,
    /// Smallest and largest value measured, in ticks.
    pub smallest: Option<i64>,
    pub largest: Option<i64>,
    pub margins: Margins,
    /// The sides of a strobe one by one, where the rule has a limit for each.
    pub sides: Vec<SideTally>,
    /// The first [`MOST_LISTED`] violations in time order.
    pub violations: Vec<Violation>,
    /// The first occasions that can't be told.
    pub doubtful: Vec<Violation>,
}

/// A place for the evidence of one occasion.
pub struct Occasion<'a> {
    pub start: Ticks,
    pub end: Ticks,
    /// Positions in the capture.
    pub lines: &'a [usize],
}

impl Tally {
    /// `finest`: the sampling period of the coarsest line concerned, in ticks.
    pub fn new(limits: Limits, finest: f64) -> Tally {
        Tally {
            margins: Margins::new(&limits, finest),
            limits,
            kept: 0,
            broken: 0,
            cant_tell: 0,
            not_judged: 0,
            smallest: None,
            largest: None,
            sides: Vec::new(),
            violations: Vec::new(),
            doubtful: Vec::new(),
        }
    }

    /// Occasions that were judged.
    pub fn checked(&self) -> u64 {
        self.kept + self.broken + self.cant_tell
    }

    /// Counts a value of `measured` ticks against the limits.
    #[inline]
    pub fn measure(&mut self, measured: i64, reach: Reach, occasion: Occasion) {
        let value = measured as f64;
        let mut verdict = Verdict::Kept;
        let mut margin = f64::INFINITY;
        if let Some(limit) = self.limits.at_least {
            verdict = reach::at_least(value, reach, limit);
            margin = value - limit;
        }
        if let Some(limit) = self.limits.at_most {
            verdict = verdict.worse(reach::at_most(value, reach, limit));
            margin = margin.min(limit - value);
        }
        self.margins.add(margin);
        self.note(measured);
        self.count(verdict, Some((measured, reach)), occasion, None);
    }

    /// Counts a value that was judged elsewhere, with its margin in ticks.
    pub fn judged(
        &mut self,
        verdict: Verdict,
        (measured, reach): (i64, Reach),
        margin: f64,
        occasion: Occasion,
        what: Option<String>,
    ) {
        self.spread(measured, margin);
        self.count(verdict, Some((measured, reach)), occasion, what);
    }

    /// Notes a value that was measured, and its margin, both in ticks.
    pub fn spread(&mut self, measured: i64, margin: f64) {
        self.margins.add(margin);
        self.note(measured);
    }

    /// Counts an occasion without a measured value.
    pub fn count(
        &mut self,
        verdict: Verdict,
        measured: Option<(i64, Reach)>,
        occasion: Occasion,
        what: Option<String>,
    ) {
        self.list(verdict, || Violation {
            start: occasion.start,
            end: occasion.end,
            at: occasion.start,
            lines: occasion.lines.to_vec(),
            measured,
            what,
            side: None,
        });
    }

    /// Counts an occasion, and lists it where it is not kept, while there is room.
    pub fn list(&mut self, verdict: Verdict, violation: impl FnOnce() -> Violation) {
        let list = match verdict {
            Verdict::Kept => {
                self.kept += 1;
                return;
            }
            Verdict::Broken => {
                self.broken += 1;
                &mut self.violations
            }
            Verdict::CantTell => {
                self.cant_tell += 1;
                &mut self.doubtful
            }
        };
        if list.len() < MOST_LISTED {
            list.push(violation());
        }
    }

    /// Puts the evidence in time order, when several lines were walked one after the other.
    pub fn sort(&mut self) {
        self.violations.sort_by_key(|v| v.start);
        self.doubtful.sort_by_key(|v| v.start);
    }

    #[inline]
    fn note(&mut self, measured: i64) {
        self.smallest = Some(self.smallest.map_or(measured, |s| s.min(measured)));
        self.largest = Some(self.largest.map_or(measured, |l| l.max(measured)));
    }
}
