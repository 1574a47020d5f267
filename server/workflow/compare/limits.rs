//! Narrow limits that hold in all runs: where the fix worked the widths after it give none, yet the same definition must hold
//! on both sides.
//!
//! What the findings of a run do not call strays is not compared as such: where they ask about a level's short pulses, or take
//! them for what the line sends over a declared link, the level has no limit in any run, unless another run shows which line
//! makes them.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use super::left_out::Levelled;
use crate::analysis::coupling::{Attribution, CouplingOptions, Standing, attribute, judge};
use crate::analysis::links::Link;
use crate::analysis::strays::{self, LimitOrigin, NarrowLimit, StrayOptions, Strays};
use crate::model::{Capture, Level};
use crate::setup::Setup;
use crate::workflow::inspect::stray_options;

/// Narrow limits by line name that some capture's widths gave ground for, in seconds by level (low, high).
#[derive(Default)]
pub(super) struct SharedLimits {
    limits: BTreeMap<String, (Option<f64>, Option<f64>)>,
    /// For each run, in order: names of the lines of whose short pulses it is asked whether they are strays, or which are taken
    /// for what the line sends; ascending.
    pub asked: Vec<Vec<String>>,
}

/// What the findings of a run make of its short pulses.
struct Judged<'c> {
    capture: Cow<'c, Capture>,
    strays: Strays,
    /// `None` where the widths alone decide.
    attribution: Option<Attribution>,
}

impl SharedLimits {
    /// `setups` and `links`: of each run, the links as they were checked in it. Cost: a search for strays in each run, and that of
    /// [`judge::judge`] where the widths alone don't decide; that of [`attribute`] in each where anything is asked in one.
    pub fn of(levelled: &[Levelled], setups: &[Setup], links: &[Vec<Link>]) -> SharedLimits {
        let of_setups = levelled.iter().zip(setups.iter().zip(links));
        let mut judged: Vec<Judged> = of_setups
            .map(|(run, (setup, links))| Judged::of(run.judged(), setup, links))
            .collect();
        let mut shared = SharedLimits::default();
        for run in &judged {
            shared.take(run);
        }
        let mut asked: Vec<Vec<(String, Level)>> = judged.iter().map(Judged::asked).collect();
        if asked.iter().any(|of_run| !of_run.is_empty()) {
            // Where some run shows who makes them, they are told by that.
            let struck: Vec<(String, Level)> = judged.iter_mut().flat_map(Judged::struck).collect();
            for of_run in &mut asked {
                of_run.retain(|one| !struck.contains(one));
            }
        }
        for (name, level) in asked.iter().flatten() {
            if let Some(limits) = shared.limits.get_mut(name) {
                match level {
                    Level::Low => limits.0 = None,
                    _ => limits.1 = None,
                }
            }
        }
        let names = |of_run: Vec<(String, Level)>| -> BTreeSet<String> {
            of_run.into_iter().map(|(name, _)| name).collect()
        };
        let asked = asked.into_iter().map(names);
        shared.asked = asked.map(|names| names.into_iter().collect()).collect();
        shared
    }

    /// Takes over the limits of a run, where they are wider than those of the runs before.
    fn take(&mut self, run: &Judged) {
        for (line, limit) in run.capture.lines.iter().zip(&run.strays.limits) {
            if limit.origin != LimitOrigin::Inferred {
                continue;
            }
            let seconds = |ticks: Option<f64>| ticks.map(|t| run.capture.timebase.length_s(t));
            let wider = |a: Option<f64>, b: Option<f64>| match (a, b) {
                (Some(a), Some(b)) => Some(a.max(b)),
                (a, b) => a.or(b),
            };
            let entry = self.limits.entry(line.name.clone()).or_default();
            *entry = (
                wider(entry.0, seconds(limit.low)),
                wider(entry.1, seconds(limit.high)),
            );
        }
    }

    /// Puts the limits into the options of a run.
    pub fn put_in(&self, capture: &Capture, options: &mut StrayOptions) {
        for (index, line) in capture.lines.iter().enumerate() {
            // Without one the widths are not asked again: they may show short pulses that were found to be the line's job.
            let (low, high) = self.limits.get(&line.name).copied().unwrap_or_default();
            let ticks = |seconds: Option<f64>| seconds.map(|s| capture.timebase.ticks_of(s));
            let limit = NarrowLimit {
                low: ticks(low),
                high: ticks(high),
                origin: match (low, high) {
                    (None, None) => LimitOrigin::None,
                    _ => LimitOrigin::Inferred,
                },
            };
            options.taken_over.insert(index, limit);
        }
    }
}

impl<'c> Judged<'c> {
    /// By the options that the findings of the run go by.
    fn of(capture: Cow<'c, Capture>, setup: &Setup, links: &[Link]) -> Judged<'c> {
        let options = stray_options(&capture, setup, links);
        let (mut strays, mut attribution) = (strays::find(&capture, &options), None);
        if judge::may_differ(&capture, &strays, &options) {
            let judged = judge::judge(&capture, &options, &CouplingOptions::default());
            (strays, attribution) = (judged.0, Some(judged.1));
        }
        Judged {
            capture,
            strays,
            attribution,
        }
    }

    /// The levels of lines that have no limit, for it is asked whether their short pulses are strays, or a link carries them.
    fn asked(&self) -> Vec<(String, Level)> {
        let unsure = self.attribution.iter().flat_map(|a| &a.unsure);
        let crowds = unsure.map(|unsure| &unsure.crowd);
        let open = crowds.filter(|crowd| self.strays.limits[crowd.line].of(crowd.level).is_none());
        open.map(|crowd| (self.name(crowd.line), crowd.level)).collect()
    }

    /// The levels of lines whose strays are put down to another line.
    fn struck(&mut self) -> Vec<(String, Level)> {
        let attribution = self
            .attribution
            .take()
            .unwrap_or_else(|| attribute(&self.capture, &self.strays, &CouplingOptions::default()));
        let rows = attribution.couplings.iter();
        rows.filter(|row| row.standing == Standing::Clear)
            .flat_map(|row| row.levels.iter().map(|&level| (self.name(row.victim), level)))
            .collect()
    }

    fn name(&self, line: usize) -> String {
        self.capture.lines[line].name.clone()
    }
}
