//! How far a victim moves after each edge of an accused line: alike after all of them, or not at all where it is not struck.
//!
//! What an edge induces through a fixed coupling is as high each time, but for noise, where the edge falls between samples and how
//! steep it is. Some of it stays below the threshold and is no stray, and in volts it is there all the same. So where the
//! victim stays still after the edges that bring no stray, and moves far after the others, with nothing between, the accused
//! goes along with what strikes. Where the movements form one crowd of which the highest cross the threshold, it strikes.
//!
//! What it rests on: no stray falls between samples; the victim is held alike (it rests at one voltage, and strikes don't come
//! in runs, as where a driver lets go of it); and no captured line that switches the other way pulls it back at the edges that
//! bring none. Several that strike together add up, but each by itself still moves the victim by its own share.

use super::samples::Samples;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within};
use crate::analysis::coupling::verdict::trials::{Trial, comes_in_runs, trials};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::order::{at_shares, middle};
use crate::model::{Capture, Level, Polarity};

/// The victim's rest is looked at for so long, and so long before a stray could begin: a stray leaves its rest before it crosses the
/// threshold. The edges of TTL-era parts take 5 to 20 ns (from memory of their data books).
const SETTLED_S: f64 = 30e-9;
const REST_S: f64 = 60e-9;
/// Samples more of it.
const REST_SAMPLES: i64 = 3;
/// Fewer edges on a side show nothing.
const FEWEST: usize = 5;
/// Tails that are left aside: an edge or two may meet something else.
const TAIL: f64 = 0.1;
/// Beside the lower strikes the victim stays still where it moves by no more than this share, as the highest of a dozen noisy samples
/// does; it moves alike where it moves by more than the other. One line's edges differ in steepness by less than that.
const STILL: f64 = 0.35;
const ALIKE: f64 = 0.6;
/// Share of the other edges that must be so; and of all edges after which it may move by what lies between.
const MOST: f64 = 0.9;
const BETWEEN: f64 = 0.05;
/// The victim is held alike where its rests differ by no more than this share of a strike.
const HELD: f64 = 0.15;
/// A line pulls back where it switches the other way beside so many of the edges that bring none, and so few of the others.
const PULLS_BACK: [f64; 2] = [0.5, 0.2];

/// What the victim does after the accused's edges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moved {
    /// Edges that strike, and the least and greatest volts of (nearly) all of their movements.
    pub strikes: u64,
    pub by_strikes_v: [f64; 2],
    /// The same of those that bring no stray.
    pub others: u64,
    pub by_others_v: [f64; 2],
    /// None where it is neither.
    pub shows: Option<Shows>,
}

/// What that shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    /// It stays still after the edges that bring no stray.
    StaysStill,
    /// It moves after all edges, most after those that strike.
    MovesAlike,
}

/// Movements in volts and rests before them.
#[derive(Debug, Default)]
struct Movements {
    by: Vec<f64>,
    rests: Vec<f64>,
}

/// What the victim's volts show of a row, if they were captured and there is enough to look at. `lines`: those looked at. Cost: the row's edges × samples
/// near one, and × log of the edges of each line.
pub fn of(
    capture: &Capture,
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
) -> Option<Moved> {
    let samples = Samples::of(&capture.lines[victim.line])?;
    if samples.step().is_some_and(|step| victim.width < step) {
        return None;
    }
    let trials = undisturbed(edges, victim, row)?;
    let second = capture.timebase.ticks_of(1.0);
    let [mut strikes, mut others] = [true, false].map(|hit| {
        let of = trials
            .iter()
            .filter(|trial| trial.hit == hit)
            .map(|trial| trial.time);
        movements(&samples, victim, row, of, second)
    });
    if strikes.by.len() < FEWEST || others.by.len() < FEWEST {
        return None;
    }
    let by = |of: &mut Movements| {
        of.by.sort_unstable_by(f64::total_cmp);
        of.rests.sort_unstable_by(f64::total_cmp);
        at_shares(&of.by, [TAIL, 1.0 - TAIL])
    };
    let (by_strikes_v, by_others_v) = (by(&mut strikes)?, by(&mut others)?);
    let low = by_strikes_v[0];
    let share = |of: &[f64], is: &dyn Fn(f64) -> bool| {
        of.iter().filter(|&&by| is(by)).count() as f64 / of.len() as f64
    };
    let is_still = |by: f64| by <= STILL * low;
    let is_between = |by: f64| by > STILL * low && by < ALIKE * low;
    let all: Vec<f64> = strikes.by.iter().chain(&others.by).copied().collect();
    let held = middle(&strikes.rests)? - middle(&others.rests)?;
    let is_held_alike = held.abs() <= HELD * low && !comes_in_runs(edges, victim, row);
    let shows = if low <= 0.0 {
        None
    } else if share(&others.by, &|by| by >= ALIKE * low) >= MOST {
        Some(Shows::MovesAlike)
    } else if share(&others.by, &is_still) >= MOST
        && share(&all, &is_between) <= BETWEEN
        && is_held_alike
        && !lines
            .iter()
            .any(|&line| pulls_back(edges, row, &trials, line, second))
    {
        Some(Shows::StaysStill)
    } else {
        None
    };
    Some(Moved {
        strikes: strikes.by.len() as u64,
        by_strikes_v,
        others: others.by.len() as u64,
        by_others_v,
        shows,
    })
}

/// The row's edges that could have struck, but those that bring no stray of the row's and meet another.
fn undisturbed(edges: &[OwnEdges], victim: &Victim, row: &Coupling) -> Option<Vec<Trial>> {
    let (least, most) = lags(row)?;
    let meets = |time: i64| {
        any_within(
            &victim.times,
            time + least - victim.width,
            time + most + victim.width,
        )
    };
    let mut trials = trials(edges, victim, row);
    trials.retain(|trial| trial.hit || !meets(trial.time));
    Some(trials)
}

/// Least and greatest lag of the row's strikes, in ticks.
fn lags(row: &Coupling) -> Option<(i64, i64)> {
    let lags = || row.occurrences.iter().map(|o| o.lag);
    lags().min().zip(lags().max())
}

/// How far the victim moves towards the strays' level after each of `times`, from the rest before, where it has been at rest.
fn movements(
    samples: &Samples,
    victim: &Victim,
    row: &Coupling,
    times: impl Iterator<Item = i64>,
    second: f64,
) -> Movements {
    let mut found = Movements::default();
    let Some((least, most)) = lags(row) else {
        return found;
    };
    let step = samples.step().unwrap_or(0);
    let settled = least.min(0) - (SETTLED_S * second) as i64 - step;
    let rests = settled - (REST_S * second) as i64 - REST_SAMPLES * step;
    let mut volts = Vec::new();
    for time in times {
        let rest = victim
            .rests
            .get(victim.rests.partition_point(|rest| rest.end <= time));
        if rest.is_none_or(|rest| rest.start >= time + rests) {
            continue;
        }
        samples.within(time + rests, time + settled, &mut volts);
        volts.sort_unstable_by(f64::total_cmp);
        let Some(rest) = middle(&volts) else { continue };
        samples.within(time + least - step, time + most + victim.width + step, &mut volts);
        let by = volts.iter().map(|v| match victim.level {
            Level::High => v - rest,
            _ => rest - v,
        });
        if let Some(by) = by.reduce(f64::max) {
            found.by.push(by);
            found.rests.push(rest);
        }
    }
    found
}

/// Whether `line` switches the other way beside the edges that bring no stray, and hardly beside those that strike.
fn pulls_back(edges: &[OwnEdges], row: &Coupling, trials: &[Trial], line: usize, second: f64) -> bool {
    if line == row.aggressor {
        return false;
    }
    let against = edges[line].of(match row.edge {
        Edge::Fall => Polarity::Rise,
        _ => Polarity::Fall,
    });
    let near = (SETTLED_S * second) as i64;
    let share = |hit: bool| {
        let of = || trials.iter().filter(move |trial| trial.hit == hit);
        let with = of().filter(|trial| any_within(against, trial.time - near, trial.time + near));
        with.count() as f64 / of().count().max(1) as f64
    };
    share(false) >= PULLS_BACK[0] && share(true) <= PULLS_BACK[1]
}

/// What two rows of one line show together: where both were looked at, what both show.
pub(in crate::analysis::coupling) fn joined(first: Option<Moved>, second: Option<Moved>) -> Option<Moved> {
    let (Some(first), Some(second)) = (first, second) else {
        return first.or(second);
    };
    let both = |a: [f64; 2], b: [f64; 2]| [a[0].min(b[0]), a[1].max(b[1])];
    Some(Moved {
        strikes: first.strikes + second.strikes,
        by_strikes_v: both(first.by_strikes_v, second.by_strikes_v),
        others: first.others + second.others,
        by_others_v: both(first.by_others_v, second.by_others_v),
        shows: first.shows.filter(|_| first.shows == second.shows),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::{Standing, fixtures};
    use crate::model::{Line, Ticks, TimeSpan};

    /// What is shown of STEP, which rises 400 times and strikes at every third; PEG moves by `by(n)` volts after the n-th.
    fn shown(edges: [OwnEdges; 2], by: impl Fn(i64) -> f32) -> Option<Shows> {
        let struck = fixtures::rises(|n| n % 3 == 0);
        let (victim, row) = fixtures::accused(&struck);
        let span = TimeSpan::new(Ticks(0), Ticks(fixtures::END));
        let line = |name: &str| Line::digital(name, Level::Low, Vec::new(), span);
        let volts = (0..fixtures::END / 4).map(|at| {
            let (n, late) = (4 * at / 2_000, 4 * at % 2_000);
            // Noise of one step of a scope.
            let noise = 0.03 * (at * 7_919 % 3) as f32;
            noise + if (30..50).contains(&late) { by(n) } else { 0.0 }
        });
        let peg = fixtures::with_volts(line("PEG"), 4, volts.collect());
        let lines = vec![line("STEP"), line("GATE"), peg];
        let capture = Capture::in_nanoseconds("moved", span, lines);
        let [step, gate] = edges;
        let edges = [step, gate, OwnEdges::default()];
        of(&capture, &edges, &victim, &row, &[0, 1]).and_then(|moved| moved.shows)
    }

    fn step_and(gate: Vec<i64>) -> [OwnEdges; 2] {
        [
            fixtures::own(fixtures::rises(|_| true), Vec::new()),
            fixtures::own(Vec::new(), gate),
        ]
    }

    #[test]
    fn a_line_after_whose_other_edges_the_victim_stays_still_goes_along() {
        let strikes = |n: i64| if n % 3 == 0 { 1.1 } else { 0.0 };
        assert_eq!(shown(step_and(Vec::new()), strikes), Some(Shows::StaysStill));
        let by_half = |n: i64| if n % 3 == 0 { 1.1 } else { 0.55 };
        assert_eq!(shown(step_and(Vec::new()), by_half), None, "another adds to it");
        let pulls_back = fixtures::rises(|n| n % 3 != 0);
        assert_eq!(shown(step_and(pulls_back), strikes), None);
    }

    #[test]
    fn a_line_strikes_where_the_highest_of_one_crowd_cross_the_threshold() {
        let one_crowd = |n: i64| {
            if n % 3 == 0 {
                0.85
            } else {
                0.65 + 0.01 * (n % 7) as f32
            }
        };
        assert_eq!(shown(step_and(Vec::new()), one_crowd), Some(Shows::MovesAlike));
    }

    #[test]
    fn two_rows_show_together_what_both_show() {
        let of = |by: f64, shows: Option<Shows>| Moved {
            strikes: 20,
            by_strikes_v: [by, by + 0.1],
            others: 30,
            by_others_v: [0.7, 0.8],
            shows,
        };
        let alike = of(0.9, Some(Shows::MovesAlike));
        assert_eq!(
            joined(Some(alike), None),
            Some(alike),
            "too few others to look at"
        );
        let both = joined(Some(alike), Some(of(1.2, Some(Shows::MovesAlike)))).expect("both");
        assert_eq!((both.strikes, both.others), (40, 60));
        assert_eq!(both.by_strikes_v, [0.9, 1.3]);
        assert_eq!(both.shows, Some(Shows::MovesAlike));
        let differ = joined(Some(alike), Some(of(1.2, None))).expect("both");
        assert_eq!(differ.shows, None);
    }

    /// How the row stands that accuses STEP of PEG's pulses, one after every third of its rises in no order, where PEG moves by `else_v`
    /// after the others.
    fn standing(else_v: f32) -> Vec<Standing> {
        let struck = |n: i64| n * 7_919 % 100 < 33;
        let (mut step, mut peg) = (Vec::new(), Vec::new());
        let mut volts = vec![0.1; (fixtures::END / 4) as usize];
        for n in 1..400 {
            let at = 2_000 * n + 31 * (n % 17);
            step.extend([at, at + 700]);
            if struck(n) {
                peg.extend([at + 18 + n % 3, at + 44 + n % 7]);
            }
            let first = (at / 4 + 3) as usize;
            let top = if struck(n) { 2.4 } else { 0.1 + else_v };
            volts[first..first + 9].fill(top);
        }
        let span = TimeSpan::new(Ticks(0), Ticks(fixtures::END));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let peg = fixtures::with_volts(line("PEG", peg), 4, volts);
        let (_, told) = fixtures::attributed(vec![line("STEP", step), peg], fixtures::END, &[(1, 60.0)]);
        told.couplings.iter().map(|row| row.standing).collect()
    }

    #[test]
    fn who_leaves_the_victim_still_loses_its_standing() {
        assert_eq!(standing(0.0), [Standing::Companion]);
        assert_eq!(standing(1.8), [Standing::Clear]);
    }
}
