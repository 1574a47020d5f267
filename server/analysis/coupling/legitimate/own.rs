//! Short pulses that begin as the line's long ones do: at one lag after the same edges of another line.
//!
//! A register clocked by a captured line, or a monostable with two widths, has short pulses and long ones, and both begin with
//! an edge of what drives it. A coupling strikes whatever the line's own logic does. So where most of a level's long pulses
//! begin in the very lags of its short ones, after the same edges, the short ones are the line's job as well, and that is
//! said, if they are long enough for one or have one width: a clock may strike the register that it clocks, at a time of its own
//! and now and then. A register cuts no pulse short ([`register`]), unless two edges of its clock follow closely. The person's
//! `narrow_below` has the last word.

use super::USEFUL_S;
use std::collections::BTreeSet;

use super::register;
use crate::analysis::coupling::verdict::one_lag::rank_sum;
use crate::analysis::coupling::{Attribution, Coupling, EARLIEST_LAG_S, Edge, LONGEST_LAG_S, Occurrence};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::order::{at_shares, middle};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{LimitOrigin, StrayKind, Strays};
use crate::model::{Capture, Level, Polarity};

/// Short pulses of one level that begin as its long ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Own {
    pub line: usize,
    pub level: Level,
    /// After whose edges they begin.
    pub to: usize,
    pub edge: Edge,
    /// Short pulses that do.
    pub short: u64,
    /// Long pulses that do, of all of that level.
    pub long: u64,
    pub of_long: u64,
    /// Least and greatest lag of the short ones, in ticks.
    pub lags: (i64, i64),
    /// The limit below which they were taken for narrow, in ticks.
    pub limit: f64,
}

/// Where so large a share of the edges that begin no long pulse begin a short one, each edge begins one or the other, and the
/// short ones are a job however short: a register that clears itself, a monostable.
const EVERY: f64 = 0.95;
/// Share of the short pulses that are as long as an edge and the next of its kind are apart.
const TOGGLED: f64 = 0.8;
/// These have one width, to this share: common practice, no source.
const AGREE: f64 = 0.25;
/// Those of a monostable are closer to one.
const ONE_WIDTH: f64 = 0.1;
/// Sampling finer than this share of a width shows that it is one: then this share of the edges is enough.
const FINE: f64 = 0.2;
const MOSTLY: f64 = 0.8;
/// Chance at or below which lags of short and of long pulses are two.
const DIFFER: f64 = 1e-3;
/// Pulses long enough for a job may come by two paths of one part, which differ by no more than this, and a sample (from memory of
/// TTL data books).
pub(super) const SHIFT_S: f64 = 3e-9;
/// Share of the long pulses that must begin so.
const MOST: f64 = 0.5;
/// Fewer long pulses show nothing.
pub(super) const FEWEST: u64 = 5;
/// Chance that so many do must be below this.
const CHANCE: f64 = 1e-4;
/// Share of the short pulses that begin with edges of one polarity, with which hardly any long one begins: these are none of
/// the line's job.
const BESIDES: f64 = 0.2;
/// Share of the other long pulses that begin while a stray would last, where strays run into them, and the chance below which
/// these are brought oftener or more seldom than strays.
const RUN_INTO: f64 = 0.8;
const RUNS_CHANCE: f64 = 0.01;
/// Lags this far out on either side of the short pulses' are left aside.
const TAIL: f64 = 0.05;
/// The short pulses of accused couplings that are the victims' own. Cost: linear in the pulses of lines with couplings, times
/// the log of the aggressors' edges.
pub(in crate::analysis::coupling) fn of(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
) -> Vec<Own> {
    let rows = attribution.couplings.iter();
    // Where one of its levels is struck, the row is a coupling.
    let of_row = |row: &Coupling| -> Vec<Own> {
        let levels = row.levels.iter();
        let brought = brought_by(strays, attribution, [row.victim, row.aggressor]);
        let own: Option<Vec<Own>> = levels
            .map(|&level| own_of(capture, strays, row, level, &brought))
            .collect();
        own.unwrap_or_default()
    };
    rows.flat_map(of_row).collect()
}

/// When `other` shows strays that are put down to `line`'s edges, in ticks: what an edge brings comes after it within a sample, and
/// begins nothing of `line`'s own. Cost: linear in the strays of `other`.
fn brought_by(strays: &Strays, attribution: &Attribution, [line, other]: [usize; 2]) -> BTreeSet<i64> {
    let from = strays.strays.partition_point(|s| s.line < other);
    let of_line = strays.of_line(other).iter().enumerate();
    let brought = of_line.filter(|(at, _)| {
        let cause = attribution.causes.get(from + at).copied().flatten();
        cause.is_some_and(|cause| attribution.couplings[cause.coupling].aggressor == line)
    });
    brought.map(|(_, stray)| stray.start.0).collect()
}

/// `brought`: as of [`brought_by`], for the row's two lines.
fn own_of(
    capture: &Capture,
    strays: &Strays,
    row: &Coupling,
    level: Level,
    brought: &BTreeSet<i64>,
) -> Option<Own> {
    let limits = &strays.limits[row.victim];
    let of_level = || {
        row.occurrences
            .iter()
            .filter(|o| strays.strays[o.stray].level == level)
    };
    let limit = limits
        .of(level)
        .filter(|_| limits.origin == LimitOrigin::Inferred)?;
    let mut lags: Vec<i64> = of_level().map(|o| o.lag).collect();
    lags.sort_unstable();
    let [least, most] = at_shares(&lags, [TAIL, 1.0 - TAIL])?;
    // What comes before the edge is not begun by it: more likely it is that line which reacts.
    if (most as f64) < -EARLIEST_LAG_S * capture.timebase.ticks_of(1.0) {
        return None;
    }
    let mut widths: Vec<i64> = of_level().map(|o| strays.strays[o.stray].width.0).collect();
    widths.sort_unstable();
    let every = row.strays as f64 >= EVERY * row.opportunities as f64;
    let is_short = !are_of_use(capture, strays.sampling[row.victim], &widths);
    let sampling = strays.sampling[row.victim];
    let is_seen = middle(&widths).is_some_and(|w| sampling <= FINE * w as f64);
    let mostly = row.strays as f64 >= MOSTLY * row.opportunities as f64;
    let slack = strays.sampling[row.victim]
        .max(strays.sampling[row.aggressor])
        .ceil() as i64;
    let aggressor = &capture.lines[row.aggressor];
    let strikes = |edge: usize| {
        let is_of_kind = row.edge == Edge::Both || row.edge == aggressor.polarity(edge).into();
        is_of_kind && !brought.contains(&aggressor.edges[edge].0)
    };
    // The polarity of the edge that a pulse begins with, and its lag.
    let begins_with = |start: i64| -> Option<(Polarity, f64)> {
        let from = aggressor.edges.partition_point(|e| e.0 < start - most - slack);
        let mut near = aggressor.edges[from..]
            .iter()
            .take_while(|e| e.0 <= start - least + slack)
            .enumerate();
        near.find_map(|(i, e)| {
            strikes(from + i).then(|| (aggressor.polarity(from + i), (start - e.0) as f64))
        })
    };
    let steady = slack + (most - least).max(capture.timebase.ticks_of(SHIFT_S) as i64);
    let is_toggled = are_toggled(capture, strays, row, level, steady);
    let is_repeated = (every || mostly && is_seen) && agree(&widths, sampling, AGREE);
    if is_short && !is_repeated && !is_toggled {
        return None;
    }
    let widest = widths.last().copied().unwrap_or(0);
    // Whether a pulse begins after such an edge and before a stray at that edge would have ended.
    let begins_later = |start: i64| {
        let from = aggressor.edges.partition_point(|e| e.0 < start - most - widest);
        let near = aggressor.edges[from..]
            .iter()
            .take_while(|e| e.0 < start - most - slack);
        let mut near = near.enumerate();
        near.any(|(i, _)| strikes(from + i))
    };
    let (mut rises, mut falls, mut of_long, mut later) = (0, 0, 0, 0);
    let mut lags_of_long: Vec<f64> = Vec::new();
    for pulse in capture.lines[row.victim].pulses() {
        if pulse.level == level && pulse.width().0 as f64 >= limit {
            of_long += 1;
            let begins = begins_with(pulse.start.0);
            match begins {
                Some((Polarity::Rise, _)) => rises += 1,
                Some((Polarity::Fall, _)) => falls += 1,
                None => later += u64::from(begins_later(pulse.start.0)),
            }
            lags_of_long.extend(begins.map(|(_, lag)| lag));
        }
    }
    let long = rises + falls;
    // What drives the line by one of its edges and strikes it by both is no less its aggressor.
    let strikes_besides = [(Polarity::Rise, rises), (Polarity::Fall, falls)]
        .into_iter()
        .any(|(polarity, long_so)| {
            let short = of_level().filter(|o| o.polarity == polarity).count() as f64;
            short >= BESIDES * lags.len() as f64 && (long_so as f64) < BESIDES * 0.5 * long as f64
        });
    // One driver puts out both after one time; what strikes the register that it clocks comes at a time of its own.
    let lags_of_short: Vec<f64> = lags.iter().map(|&lag| lag as f64).collect();
    let apart = (mean(&lags_of_short) - mean(&lags_of_long)).abs();
    let is_shift = is_short || apart > capture.timebase.ticks_of(SHIFT_S) + sampling;
    if !lags_of_long.is_empty() && is_shift && rank_sum(&lags_of_short, &lags_of_long) <= DIFFER {
        return None;
    }
    let striking = (0..aggressor.edges.len()).filter(|&edge| strikes(edge)).count() as f64;
    let window = (most - least + 2 * slack + 1) as f64;
    let whole = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
    let chance = (striking * window / whole).min(1.0);
    if runs_into(row, long, of_long, later) {
        return None;
    }
    let is_own = of_long >= FEWEST
        && long as f64 > MOST * of_long as f64
        && binomial_upper(long, of_long, chance) < CHANCE
        && !strikes_besides
        && (agree(&widths, sampling, ONE_WIDTH)
            || !register::is_cut_short(capture, strays, row, level, limit));
    is_own.then_some(Own {
        line: row.victim,
        level,
        to: row.aggressor,
        edge: row.edge,
        short: lags.len() as u64,
        long,
        of_long,
        lags: (least, most),
        limit,
    })
}

/// Whether strays run into the line's own pulses: as many of these begin at the strays' time as edges bring a stray, and (nearly)
/// all others soon after it, at a time of their own. `long`, `later`, `of_long`: pulses that begin as the short ones do, those that
/// begin after, and all.
fn runs_into(row: &Coupling, long: u64, of_long: u64, later: u64) -> bool {
    let others = of_long - long;
    let alike = fisher(long, of_long, row.strays, row.opportunities.max(row.strays)).two_sided();
    others >= FEWEST && later as f64 >= RUN_INTO * others as f64 && alike > RUNS_CHANCE
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

/// Whether the row's strikes at `level` are as long as an edge of its line and the next of that kind are apart, within `steady` ticks:
/// what toggles at each of two edges that follow closely does as it is told, however short that is.
fn are_toggled(capture: &Capture, strays: &Strays, row: &Coupling, level: Level, steady: i64) -> bool {
    let aggressor = &capture.lines[row.aggressor];
    let latest = capture.timebase.ticks_of(LONGEST_LAG_S).ceil() as i64;
    let of_level = row.occurrences.iter();
    let of_level: Vec<&Occurrence> = of_level
        .filter(|o| strays.strays[o.stray].level == level)
        .collect();
    let is_toggled = |o: &&&Occurrence| {
        let (start, width) = (o.at + o.lag, strays.strays[o.stray].width.0);
        let from = aggressor.edges.partition_point(|e| e.0 < start - latest);
        let near = (from..aggressor.edges.len()).take_while(|&e| aggressor.edges[e].0 <= start);
        let mut of_kind = near.filter(|&e| aggressor.polarity(e) == o.polarity);
        of_kind.any(|e| {
            let next = aggressor.edges.get(e + 2);
            next.is_some_and(|next| (next.0 - aggressor.edges[e].0 - width).abs() <= steady)
        })
    };
    of_level.iter().filter(is_toggled).count() as f64 >= TOGGLED * of_level.len() as f64
}

/// Whether widths, ascending, are one, to this share and a sample, but for a tenth on either side: what drives a line makes pulses of
/// one width.
fn agree(widths: &[i64], sampling: f64, share: f64) -> bool {
    at_shares(widths, [0.1, 0.5, 0.9])
        .is_some_and(|[first, middle, last]| (last - first) as f64 <= share * middle as f64 + sampling)
}

/// Whether three of four strikes (widths ascending) last long enough to be read, whatever sampling hides.
pub(super) fn are_of_use(capture: &Capture, sampling: f64, widths: &[i64]) -> bool {
    let least = capture.timebase.ticks_of(USEFUL_S) + sampling;
    widths.get(widths.len() / 4).is_some_and(|&w| w as f64 >= least)
}

/// Whether any line has short pulses that might be its own: the widths alone say so. Cost: linear in strays.
pub(in crate::analysis::coupling) fn are_possible(capture: &Capture, strays: &Strays) -> bool {
    let levels = |line: usize| [Level::Low, Level::High].map(|level| (line, level));
    let mut all = (0..capture.lines.len()).flat_map(levels);
    all.any(|(line, level)| {
        let of_level = strays
            .of_line(line)
            .iter()
            .filter(|s| s.kind == StrayKind::Pulse && s.level == level);
        strays.limits[line].origin == LimitOrigin::Inferred && of_level.count() > 0
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Line, Ticks, TimeSpan};

    /// REQ rises 90 times; GRANT begins about 28 ns after every one of them and is short every third time, `short(n)` long;
    /// the long ones begin `late` after the short ones' time.
    fn capture(short: impl Fn(i64) -> i64, late: i64) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(3_000_000));
        let (mut request, mut grant) = (Vec::new(), Vec::new());
        for n in 0..90i64 {
            let at = 30_000 * n + 97 * (n % 7) + 5_000;
            request.extend([at, at + 700 + 31 * (n % 5)]);
            let start = at + 28 + n % 5;
            grant.extend(match n % 3 {
                0 => [start, start + short(n)],
                _ => [start + late, start + late + 4_000 + 97 * n],
            });
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("granted", span, vec![line("REQ", request), line("GRANT", grant)])
    }

    fn judged(capture: &Capture) -> (usize, usize, Vec<(u64, u64, u64)>) {
        let (strays, attribution) = judge(capture, &StrayOptions::default(), &CouplingOptions::default());
        let own = attribution.own.iter().map(|o| (o.short, o.long, o.of_long));
        (
            strays.of_line(1).len(),
            attribution.couplings.len(),
            own.collect(),
        )
    }

    /// REQ's rises begin GRANT's long pulses, and both of its edges strike GRANT.
    #[test]
    fn what_begins_with_an_edge_that_drives_nothing_is_struck() {
        let mut capture = capture(|n| 40 + n * 7 % 70, 0);
        let request: Vec<i64> = capture.lines[0].edges.iter().map(|t| t.0).collect();
        let mut grant: Vec<i64> = Vec::new();
        for (n, pair) in request.chunks(2).enumerate() {
            let n = n as i64;
            let (rise, fall) = (pair[0] + 28 + n % 5, pair[1] + 28 + n % 5);
            match n % 3 {
                0 => grant.extend([rise, rise + 40 + n * 7 % 70]),
                1 => grant.extend([fall, fall + 40 + n * 7 % 70]),
                _ => grant.extend([rise, rise + 4_000 + 97 * n]),
            }
        }
        let span = capture.span;
        let edges = grant.into_iter().map(Ticks).collect();
        capture.lines[1] = Line::digital("GRANT", Level::Low, edges, span);
        assert_eq!(judged(&capture), (60, 1, vec![]));
    }

    #[test]
    fn short_pulses_that_begin_as_the_long_ones_do_are_the_line_s_job() {
        let useful = |n: i64| 40 + n * 7 % 70;
        assert_eq!(judged(&capture(useful, 0)), (0, 0, vec![(30, 60, 60)]));
        // The long ones come at another time: the short ones are struck.
        assert_eq!(judged(&capture(useful, 9_000)), (30, 1, vec![]));
        // However short, where every edge begins one or the other.
        assert_eq!(
            judged(&capture(|n| 24 + n * 7 % 4, 0)),
            (0, 0, vec![(30, 60, 60)])
        );
        // A driver makes one width: those that scatter are struck.
        assert_eq!(judged(&capture(|n| 10 + n * 7 % 20, 0)), (30, 1, vec![]));
    }

    #[test]
    fn a_strike_comes_at_a_time_of_its_own() {
        // STEP clocks LATCH, which answers after 23 to 31 ticks, or is struck after 20 to 28 at every third step.
        let judged_at = |strike: i64| {
            let span = TimeSpan::new(Ticks(0), Ticks(9_100_000));
            let (mut step, mut latch) = (Vec::new(), Vec::new());
            for n in 0..300i64 {
                let at = 30_000 * n + 97 * (n % 7) + 5_000;
                step.extend([at, at + 700 + 31 * (n % 5)]);
                let lag = n / 3 * 5 % 9;
                latch.extend(match n % 3 {
                    0 => [at + strike + lag, at + strike + lag + 24 + n * 7 % 4],
                    _ => [at + 23 + lag, at + 4_000 + 37 * n],
                });
            }
            let line = |name: &str, edges: Vec<i64>| {
                Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
            };
            let lines = vec![line("STEP", step), line("LATCH", latch)];
            judged(&Capture::in_nanoseconds("clocked", span, lines))
        };
        assert_eq!(judged_at(20), (100, 1, vec![]));
        assert_eq!(judged_at(23), (0, 0, vec![(100, 200, 200)]));
    }

    #[test]
    fn a_clock_strikes_what_it_clocks() {
        let mut capture = capture(|n| 10 + n * 7 % 20, 0);
        // Now and then it doesn't.
        let quiet: Vec<i64> = capture.lines[1]
            .edges
            .chunks(2)
            .map(|p| p[1].0 - p[0].0)
            .collect();
        let pairs = capture.lines[1].edges.chunks(2).zip(quiet).enumerate();
        let kept = pairs.filter(|(n, (_, width))| *width > 100 || n % 2 == 0);
        let edges: Vec<Ticks> = kept.flat_map(|(_, (pair, _))| pair.to_vec()).collect();
        capture.lines[1] = Line::digital("GRANT", Level::Low, edges, capture.span);
        assert_eq!(judged(&capture), (15, 1, vec![]));
    }

    /// STEP clocks LATCH, which answers 60 ticks later, and strikes it at three of five rises: the strays run into its own rises.
    /// `every`: whether each of LATCH's own rises comes at the strays' time.
    fn clocked_and_struck(every: bool) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(9_100_000));
        let (mut step, mut latch) = (Vec::new(), Vec::new());
        for n in 0..300i64 {
            let at = 30_000 * n + 97 * (n % 7) + 5_000;
            step.extend([at, at + 700 + 31 * (n % 5)]);
            let (strikes, start) = (n * 7 % 10 < 6, at + 8 + n / 3 % 3);
            match (n % 3, strikes) {
                (0, true) => latch.extend([start, at + 4_000 + 37 * n]),
                (0, false) => {
                    latch.extend([if every { start } else { at + 60 + n % 4 }, at + 4_000 + 37 * n])
                }
                (_, true) => latch.extend([start, start + 56 + n * 7 % 23]),
                _ => {}
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("clocked", span, vec![line("STEP", step), line("LATCH", latch)])
    }

    #[test]
    fn strays_that_run_into_the_line_s_own_rises_are_none_of_its_job() {
        assert_eq!(judged(&clocked_and_struck(false)), (120, 1, vec![]));
        assert_eq!(judged(&clocked_and_struck(true)), (0, 0, vec![(120, 100, 100)]));
    }

    /// STEP clocks LATCH, which follows 30 ticks later and holds for a few steps; at one of seven rises at which it rests low it shows
    /// a pulse of `short(n)` at that same time. `ends`: whether such a pulse ends with a second rise of STEP.
    fn register(short: impl Fn(i64) -> i64, ends: bool) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(9_100_000));
        let (mut step, mut latch) = (Vec::new(), Vec::new());
        let mut is_high = false;
        for n in 0..600i64 {
            let at = 15_000 * n + 97 * (n % 7) + 5_000;
            step.extend([at, at + 700 + 31 * (n % 5)]);
            let answer = at + 30 + n % 4;
            let switches = n * 11 % 17 < 5;
            if switches {
                latch.push(answer);
                is_high = !is_high;
            } else if !is_high && n % 7 == 0 {
                let width = short(n);
                latch.extend([answer, answer + width]);
                if ends {
                    let last = step.len() - 1;
                    step.splice(last..last, [at + width - 5 - n % 4, at + width]);
                }
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("register", span, vec![line("STEP", step), line("LATCH", latch)])
    }

    #[test]
    fn a_register_cuts_no_pulse_short_unless_its_clock_does() {
        let scattered = |n: i64| 40 + n * 7 % 37;
        let (struck, rows, own) = judged(&register(scattered, false));
        assert!(
            struck > 20 && rows == 1 && own.is_empty(),
            "{struck} {rows} {own:?}"
        );
        // Between two rises that follow closely.
        let cut = judged(&register(scattered, true));
        assert_eq!((cut.1, cut.2.len()), (0, 1), "{cut:?}");
        // However short.
        let brief = |n: i64| 18 + n * 7 % 17;
        let cut = judged(&register(brief, true));
        assert_eq!((cut.1, cut.2.len()), (0, 1), "{cut:?}");
        let (_, rows, own) = judged(&register(brief, false));
        assert_eq!((rows, own.len()), (1, 0));
    }
}
