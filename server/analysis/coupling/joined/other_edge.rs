//! The other edge of a line that is convicted by one, where its strays come beside the victim's own edges.
//!
//! Lines that one clock steps switch together, and then a line's rises may come where its victim rests and its falls where the
//! victim switches itself. Strays there accuse nobody, as a line rings when it switches. But who is convicted by one edge is
//! the likelier cause of what follows its other edge after the same lag, if more does than rings beside the victim's other
//! own edges.

use crate::analysis::coupling::fit::lags::LagHistogram;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within, first_from, nearest};
use crate::analysis::coupling::suspects::victims;
use crate::analysis::coupling::{Coupling, Edge, Estimate, Occurrence, Standing};
use crate::analysis::stats::intervals::{CONFIDENCE, clopper_pearson};
use crate::analysis::stats::order::middle;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{NarrowLimit, Stray, StrayKind, Strays};
use crate::model::{Capture, Level, Line, Polarity, Ticks};

/// Strikes of the one edge that convict a line, and of the other that are told.
const CONVICTED: u64 = 6;
const FEWEST: usize = 4;
/// So many strays beside such own edges as a share of the strikes, at other lags, and the line rings there.
const ASTRAY: f64 = 0.15;
/// Share of strikes that end with the line's pulse from which on they are taken for its whole pulses.
const FOLLOWS: f64 = 0.5;
/// Own edges of the victim beside which the line did not switch, that show how often it rings.
const SHOW_RINGING: usize = 5;
/// Chance at or below which strays beside own edges are not put down to ringing.
const CHANCE: f64 = 1e-4;

/// What one row's other edge would strike.
struct Asked<'a> {
    row: &'a Coupling,
    edge: Polarity,
    /// Level of its strays.
    level: Level,
    /// Lags of the row's strikes and a sample to either side, in ticks.
    lags: (i64, i64),
}

/// Rows for other edges of the lines that `found` accuses clearly. `edges`: own edges of all lines. Cost: for each row the
/// victim's strays and own edges × log of the aggressor's edges.
pub(in crate::analysis::coupling) fn rows(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    found: &[Coupling],
) -> Vec<Coupling> {
    let mut more: Vec<Coupling> = Vec::new();
    let convicted = found
        .iter()
        .filter(|row| row.standing == Standing::Clear && row.strays >= CONVICTED)
        // What follows whole pulses ends with the other edge.
        .filter(|row| row.follows_pulse < FOLLOWS);
    for row in convicted {
        let edge = match row.edge {
            Edge::Rise => Polarity::Fall,
            Edge::Fall => Polarity::Rise,
            _ => continue,
        };
        let same = |other: &Coupling| {
            (other.victim, other.aggressor, other.edge) == (row.victim, row.aggressor, edge.into())
        };
        if found.iter().chain(&more).any(same) {
            continue;
        }
        let lags = row.occurrences.iter().map(|o| o.lag);
        let unit = strays.sampling[row.victim].max(1.0).floor() as i64;
        let (Some(least), Some(most)) = (lags.clone().min(), lags.max()) else {
            continue;
        };
        let known: Vec<&Coupling> = found.iter().filter(|c| c.victim == row.victim).collect();
        let asked = |level: Level| Asked {
            row,
            edge,
            level,
            lags: (least - unit, most + unit),
        };
        let levels = row.levels.iter().flat_map(|l| [l.inverted(), *l]);
        let told = levels.filter_map(|level| asked(level).told(capture, strays, edges, &known));
        more.extend(told.max_by_key(|row| row.strays));
    }
    more
}

impl Asked<'_> {
    fn told(
        &self,
        capture: &Capture,
        strays: &Strays,
        edges: &[OwnEdges],
        known: &[&Coupling],
    ) -> Option<Coupling> {
        let row = self.row;
        let record = &capture.lines[row.victim];
        let times = edges[row.aggressor].of(self.edge);
        let first = strays.strays.partition_point(|s| s.line < row.victim);
        let explained = |at: usize| known.iter().any(|c| c.occurrences.iter().any(|o| o.stray == at));
        let pulses = strays.of_line(row.victim).iter().enumerate();
        let pulses = pulses.filter(|(_, s)| s.kind == StrayKind::Pulse);
        let mut occurrences: Vec<Occurrence> = pulses
            .clone()
            .filter(|(at, _)| !explained(first + at))
            .filter_map(|(at, stray)| {
                let start = self.start_of(stray, record, &strays.limits[row.victim])?;
                let edge = self.strikes(times, start)?;
                Some(Occurrence {
                    at: edge,
                    polarity: self.edge,
                    stray: first + at,
                    lag: start - edge,
                })
            })
            .collect();
        occurrences.dedup_by_key(|o| o.at);
        if occurrences.len() < FEWEST {
            return None;
        }
        let mut lags: Vec<f64> = occurrences.iter().map(|o| o.lag as f64).collect();
        lags.sort_unstable_by(f64::total_cmp);
        let struck = occurrences.len() as u64;
        let (ringing, beside) = self.ringing(strays, edges, &occurrences)?;
        // Every own edge with one of the line's near may have rung, whether a strike would show there or not.
        let p_value = binomial_upper(struck, beside.max(struck), ringing);
        if p_value > CHANCE {
            return None;
        }
        let opportunities = self.able(record, strays, edges, &occurrences).max(struck);
        let (low, high) = clopper_pearson(struck, opportunities, CONFIDENCE);
        let whole: Vec<i64> = occurrences.iter().map(|o| o.lag).collect();
        let (lo, hi) = self.lags;
        Some(Coupling {
            edge: self.edge.into(),
            levels: vec![self.level],
            strays: struck,
            opportunities,
            expected_by_chance: ringing * beside as f64,
            p_value,
            q_value: row.q_value.max(p_value),
            strike_rate: Estimate {
                estimate: struck as f64 / opportunities as f64,
                low,
                high,
            },
            corrected_rate: None,
            lag: rows::median(&lags),
            inseparable_from: Vec::new(),
            copies: Vec::new(),
            passed_on: Vec::new(),
            victim_strays: pulses.filter(|(_, s)| s.level == self.level).count() as u64,
            histogram: LagHistogram::of(
                &whole,
                lo.min(0),
                hi.max(lo.min(0) + 2 * (hi - lo)),
                row.histogram.bin,
            ),
            occurrences,
            ruled_out: Vec::new(),
            follows_pulse: 0.0,
            step: None,
            moved: None,
            ..row.clone()
        })
    }

    /// How often the victim rings at own edges of the kind that these strikes lie beside, where the line does not switch, and how many
    /// of these edges have one of the line's near; none where too few show it, or where what rings there comes at other lags too.
    fn ringing(&self, strays: &Strays, edges: &[OwnEdges], occurrences: &[Occurrence]) -> Option<(f64, u64)> {
        let victim = self.row.victim;
        let guard = victims::guard_of(strays, victim);
        let (times, all) = (
            edges[self.row.aggressor].of(self.edge),
            edges[self.row.aggressor].either(),
        );
        let reach = (self.lags.1.max(0) + 2 * guard, 2 * guard - self.lags.0.min(0));
        let is_near = |own: i64, of: &[i64]| any_within(of, own - reach.0, own + reach.1);
        let first = strays.strays.partition_point(|s| s.line < victim);
        let of_line = strays.of_line(victim);
        // Positions of the pulses about an edge among all strays.
        let beside = |edge: i64| {
            let from = of_line.partition_point(|s| s.start.0 < edge - 2 * guard);
            let near = of_line.iter().enumerate().skip(from);
            let near = near.take_while(move |(_, s)| s.start.0 <= edge + guard);
            near.filter(|(_, s)| s.kind == StrayKind::Pulse)
                .map(|(at, _)| first + at)
        };
        // A line may ring as it rises and not as it falls.
        let beside_rise = |o: &&Occurrence| {
            let start = o.at + o.lag;
            nearest(&edges[victim].rises, start) < nearest(&edges[victim].falls, start)
        };
        let rising = occurrences.iter().filter(beside_rise).count();
        let polarity = match 2 * rising >= occurrences.len() {
            true => Polarity::Rise,
            false => Polarity::Fall,
        };
        let like = || edges[victim].of(polarity).iter().copied();
        let near: Vec<i64> = like().filter(|&edge| is_near(edge, times)).collect();
        let clear: Vec<i64> = like().filter(|&edge| !is_near(edge, &all)).collect();
        // A strike may have been taken for the slice before it.
        let astray = near.iter().filter(|&&edge| {
            let mut pulses = beside(edge).peekable();
            pulses.peek().is_some() && pulses.all(|at| occurrences.iter().all(|o| o.stray != at))
        });
        if clear.len() < SHOW_RINGING || astray.count() as f64 > ASTRAY * occurrences.len() as f64 {
            return None;
        }
        let rang = clear
            .iter()
            .filter(|&&edge| beside(edge).next().is_some())
            .count() as f64;
        Some(((rang + 1.0) / (clear.len() as f64 + 2.0), near.len() as u64))
    }

    /// Edges at which the victim rests at the other level where a strike would begin, and goes on resting while it lasts.
    fn able(&self, record: &Line, strays: &Strays, edges: &[OwnEdges], occurrences: &[Occurrence]) -> u64 {
        let mut lags: Vec<i64> = occurrences.iter().map(|o| o.lag).collect();
        lags.sort_unstable();
        let (lag, width) = (lags[lags.len() / 2], row_width(strays, occurrences));
        let own = edges[self.row.victim].either();
        let is_able = |&&t: &&i64| {
            let from = own.partition_point(|&e| e < t + lag);
            let rests = own.get(from).is_none_or(|&e| e >= t + lag + width);
            rests && record.level_at(Ticks(t + lag - 1)) != self.level
        };
        let times = edges[self.row.aggressor].of(self.edge);
        times.iter().filter(is_able).count() as u64
    }

    /// Where a stray of the asked level begins: itself, or the short pulse behind the slice that was taken for it.
    fn start_of(&self, stray: &Stray, record: &Line, limits: &NarrowLimit) -> Option<i64> {
        if stray.level == self.level {
            return Some(stray.start.0);
        }
        let edge = |after: usize| record.edges.get(stray.edge? + after).map(|t| t.0);
        let (start, end) = (edge(1)?, edge(2)?);
        let is_narrow = limits.of(self.level).is_some_and(|l| ((end - start) as f64) < l);
        is_narrow.then_some(start)
    }

    /// The edge of `times` that a stray from `start` follows.
    fn strikes(&self, times: &[i64], start: i64) -> Option<i64> {
        first_from(times, start - self.lags.1).filter(|&next| next <= start - self.lags.0)
    }
}

/// Middle width of these strays, in ticks.
fn row_width(strays: &Strays, occurrences: &[Occurrence]) -> i64 {
    let mut widths: Vec<i64> = occurrences
        .iter()
        .map(|o| strays.strays[o.stray].width.0)
        .collect();
    widths.sort_unstable();
    middle(&widths).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{CouplingOptions, Edge};
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    /// LIFT's rises strike PEG, 12 ticks after one of three, in no order, where it rests at low. Its falls come `own` ticks before PEG rises by
    /// itself: at every second of them `struck` says that PEG is at the other level for 20 ticks from 12 after the fall on. PEG rises
    /// without LIFT as often, and rings then where `rings` says.
    fn told(own: i64, struck: fn(i64) -> bool, rings: fn(i64) -> bool) -> Vec<(usize, Edge)> {
        let (mut lift, mut peg) = (Vec::new(), Vec::new());
        for n in 0..160i64 {
            let at = 40_000 * n + 5_000 + 97 * (n % 9);
            let (fall, alone) = (at + 9_000 + 53 * (n % 7), at + 25_000);
            lift.extend([at, fall]);
            if n * 37 % 101 < 34 {
                peg.extend([at + 12, at + 30 + n % 7]);
            }
            if n % 2 == 0 && struck(n) {
                peg.extend([fall + 12, fall + 31]);
            }
            if n % 2 == 0 {
                peg.extend([fall + own, fall + 5_000]);
            }
            if rings(n) {
                peg.extend([alone - 28, alone - 9]);
            }
            peg.extend([alone, alone + 6_000]);
        }
        let span = TimeSpan::new(Ticks(0), Ticks(40_000 * 161));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        peg.sort_unstable();
        let lines = vec![line("LIFT", lift), line("PEG", peg)];
        let capture = Capture::in_nanoseconds("other edge", span, lines);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(1, 60.0)]),
            ..StrayOptions::default()
        };
        let (_, attribution) = judge(&capture, &options, &CouplingOptions::default());
        attribution
            .couplings
            .iter()
            .map(|c| (c.aggressor, c.edge))
            .collect()
    }

    #[test]
    fn strays_beside_own_edges_are_put_down_to_the_other_edge_of_who_is_convicted() {
        assert_eq!(told(40, |n| n * 41 % 103 < 52, |_| false), [(0, Edge::Both)]);
        assert_eq!(told(40, |_| false, |_| false), [(0, Edge::Rise)]);
    }

    #[test]
    fn a_line_that_rings_as_often_elsewhere_convicts_no_other_edge() {
        assert_eq!(told(40, |n| n * 41 % 103 < 52, |n| n % 2 == 0), [(0, Edge::Rise)]);
    }

    #[test]
    fn a_dip_behind_the_slice_that_was_taken_for_the_stray_is_the_other_edge_s() {
        assert_eq!(told(2, |n| n * 41 % 103 < 52, |_| false), [(0, Edge::Both)]);
    }
}
