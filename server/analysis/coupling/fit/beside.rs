//! Strays beside an edge of the victim's own, heard as witnesses.
//!
//! Which of two short levels beside an own edge is the stray can't be told, so these strays are left out of the model. Where
//! two suspects fit the others alike, they still say at whose edges strays come: a stray begins where the first of the two
//! levels does, or where the second does. Each suspect strikes them with a probability of its own at those of its edges
//! that come as near to the victim's; a stray at which it did not switch speaks against it.

use super::model::LagWindow;
use super::select::{Suspect, Victim};
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within, gallop};
use crate::analysis::coupling::suspects::places::{Place, Places};
use crate::analysis::coupling::verdict::rival_models::ln_binomial;
use crate::analysis::strays::{Stray, StrayKind, Strays};
use crate::model::Capture;

/// What is known beside one victim's own edges.
pub struct Witnesses {
    /// When each stray may have begun, in ticks, ascending by the first.
    starts: Vec<[i64; 2]>,
    /// The victim's own edges, ascending ticks.
    own: Vec<i64>,
    /// So near to one of them a stray is left out, and how long one lasts, in ticks.
    guard: i64,
    width: i64,
    /// A lag this near to a window fits it: one that is learned from few strikes is none too wide.
    slack: i64,
}

/// Fewer witnesses say nothing.
const FEWEST: usize = 3;
/// Cost, in ln likelihood, of a stray that a suspect does not explain, at most: where the line rings as it switches it costs
/// no more than that does.
const UNEXPLAINED: f64 = 8.0;
/// Edges of the victim's own, with neither suspect's beside them, that show how often it rings; with fewer nothing is heard.
const SHOW_RINGING: usize = 5;

impl Witnesses {
    /// Those of the victim's line, of both levels. Cost: linear in its strays and edges.
    pub fn of(capture: &Capture, strays: &Strays, edges: &OwnEdges, victim: &Victim) -> Witnesses {
        let line = &capture.lines[victim.line];
        let of_line = strays.of_line(victim.line).iter();
        let is_counted =
            |s: &Stray| s.level == victim.level && victim.times.binary_search(&s.start.0).is_ok();
        let places = Places::of(line, strays, victim.line, victim.guard);
        let beside = of_line
            .filter(|s| s.kind != StrayKind::Bounce && places.at(s) == Place::Beside && !is_counted(s));
        Witnesses {
            starts: beside.map(|s| [s.start.0, s.start.0 + s.width.0]).collect(),
            own: edges.either(),
            guard: victim.guard,
            width: victim.width,
            slack: (2.0 * victim.unit).ceil() as i64 + 1,
        }
    }

    /// By how much (ln likelihood) these strays prefer `accused` to `other`; 0 where there are too few. Cost: log of the
    /// edges for each stray, linear in the suspects' edges.
    pub fn prefer(
        &self,
        edges: &[OwnEdges],
        (accused, its): (Suspect, &LagWindow),
        (other, others): (Suspect, &LagWindow),
    ) -> f64 {
        let of = |s: Suspect| edges[s.line].of(s.polarity);
        let fits = [(of(accused), its), (of(other), others)].map(|(times, window)| {
            self.starts
                .iter()
                .map(|s| follows(times, window, self.slack, s))
                .collect::<Vec<bool>>()
        });
        let either = fits[0].iter().zip(&fits[1]).filter(|(a, b)| **a || **b).count();
        if either < FEWEST {
            return 0.0;
        }
        let Some(unexplained) = self.ringing([(of(accused), its), (of(other), others)]) else {
            return 0.0;
        };
        let worth = |fits: &[bool], times: &[i64], window: &LagWindow| {
            let struck = fits.iter().filter(|f| **f).count() as f64;
            let count = (self.opportunities(times, window) as f64).max(struck).max(1.0);
            ln_binomial(struck, count, struck / count) - unexplained * (either as f64 - struck)
        };
        worth(&fits[0], of(accused), its) - worth(&fits[1], of(other), others)
    }

    /// What a stray costs that neither suspect explains, from how often strays come beside own edges where neither switched.
    fn ringing(&self, suspects: [(&[i64], &LagWindow); 2]) -> Option<f64> {
        let is_near = |edge: i64| {
            suspects.iter().any(|(times, window)| {
                let (lo, hi) = window.reach();
                let (from, to) = (edge - hi - self.width - self.guard, edge - lo + self.guard);
                any_within(times, from, to)
            })
        };
        let clear: Vec<i64> = self.own.iter().copied().filter(|&edge| !is_near(edge)).collect();
        let rings = |&&edge: &&i64| {
            let from = self
                .starts
                .partition_point(|s| s[1] < edge - self.guard - self.width);
            let mut near = self.starts[from..]
                .iter()
                .take_while(|s| s[0] <= edge + self.guard);
            near.next().is_some()
        };
        let ringing = clear.iter().filter(rings).count() as f64;
        let rate = (ringing + 0.5) / (clear.len() as f64 + 1.0);
        (clear.len() >= SHOW_RINGING).then(|| UNEXPLAINED.min(-rate.ln()))
    }

    /// How many of `times` would have had their stray beside one of the victim's own edges.
    fn opportunities(&self, times: &[i64], window: &LagWindow) -> usize {
        let lag = window.lo + (window.hi - window.lo) / 2;
        let mut from = 0;
        let near = |&&t: &&i64| {
            let start = t + lag;
            from += gallop(&self.own[from..], |&e| e < start - self.guard);
            self.own
                .get(from)
                .is_some_and(|&e| e <= start + self.width + self.guard)
        };
        times.iter().filter(near).count()
    }
}

/// Whether one of the two starts follows one of `times` after a lag of the window.
fn follows(times: &[i64], window: &LagWindow, slack: i64, starts: &[i64; 2]) -> bool {
    let (lo, hi) = window.reach();
    let (lo, hi) = (lo - slack, hi + slack);
    starts
        .iter()
        .any(|start| any_within(times, start - hi, start - lo))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Polarity;

    /// The victim switches itself 30 ticks after each of 40 rises of line 0, of which line 1 goes along with every second one,
    /// 10 ticks later, and with `alone` more. Strays begin 20 ticks after line 0's, at those that `struck` picks.
    fn prefer(struck: impl Fn(i64) -> bool, more: i64) -> f64 {
        let rises: Vec<i64> = (1..=40).map(|n| 10_000 * n).collect();
        // It switches at other times as well, and does not ring.
        let alone = (0..40).map(|n| 410_000 + 10_000 * n);
        let own: Vec<i64> = rises.iter().map(|t| t + 30).chain(alone).collect();
        let along = (1..=20).map(|n| 20_000 * n + 10);
        let more = (1..=more).map(|n| 20_000 * n - 9_990);
        let mut followed: Vec<i64> = along.chain(more).collect();
        followed.sort_unstable();
        let edges = [rises.clone(), followed].map(|rises| OwnEdges {
            rises,
            falls: Vec::new(),
        });
        let at = (1..=40).filter(|&n| struck(n));
        let witnesses = Witnesses {
            starts: at.map(|n| [10_000 * n + 12, 10_000 * n + 20]).collect(),
            own,
            guard: 25,
            width: 15,
            slack: 0,
        };
        let suspect = |line| Suspect {
            line,
            polarity: Polarity::Rise,
        };
        let windows = [LagWindow::new(18, 22, 1.0), LagWindow::new(8, 12, 1.0)];
        witnesses.prefer(&edges, (suspect(0), &windows[0]), (suspect(1), &windows[1]))
    }

    #[test]
    fn strays_without_the_other_and_its_clean_edges_speak_for_the_accused() {
        // Ten strays, five of them without line 1: ten of 40 against five of 20, likewise, and five that nobody explains beside
        // the edges of a line that rang at none of 40.
        let known = -22.493_405_784_752_333 + 11.246_702_892_376_167 + 5.0 * 82f64.ln();
        let told = prefer(|n| n % 4 == 0 && n % 8 != 0 || n % 8 == 1, 0);
        assert!((told - known).abs() < 1e-9, "{told}");
        // All ten with line 1, which switched half as often: as ten of 20 against ten of 40, by SciPy 1.17.1
        // binom.logpmf(10, 40, .25) − binom.logpmf(10, 20, .5) with the coefficients taken out.
        let known = -22.493_405_784_752_333 + 13.862_943_611_198_908;
        assert!(
            (prefer(|n| n % 4 == 0, 0) - known).abs() < 1e-9,
            "{}",
            prefer(|n| n % 4 == 0, 0)
        );
        // Two strays say nothing.
        assert_eq!(prefer(|n| n == 7 || n == 9, 0), 0.0);
    }
}
