//! From the fitted model to the rows that a person reads: counts, chance, intervals, what was ruled out.

use super::evidence::Evidence;
use super::lags::{LagHistogram, Pair};
use super::missed;
use super::model::LagWindow;
use super::never_struck;
use super::select::{Explanation, Victim};
use crate::analysis::coupling::in_volts::moved;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, first_from};
use crate::analysis::coupling::{CopyOf, Coupling, Edge, Estimate, Occurrence, RuledOut, Standing};
use crate::analysis::stats::intervals::{CONFIDENCE, clopper_pearson, median_of_sorted};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::Strays;
use crate::model::Polarity;

/// Suspects are listed as ruled out when at least this share of the accused's strays follows them as well.
const TEMPTING: f64 = 0.2;
const RULED_OUT_LISTED: usize = 8;

/// The edges of a row's aggressor that strike, ascending ticks; of a row of either edge the rises.
pub fn edges_of<'a>(edges: &'a [OwnEdges], row: &Coupling) -> &'a [i64] {
    edges[row.aggressor].of(match row.edge {
        Edge::Fall => Polarity::Fall,
        _ => Polarity::Rise,
    })
}

/// Starts of the victim's strays that none of its `rows` explains, ascending ticks. Cost: strays × log of them.
pub fn unexplained<'a>(victim: &'a Victim, rows: &[Coupling]) -> impl Iterator<Item = i64> + use<'a> {
    let mut explained: Vec<usize> = rows
        .iter()
        .flat_map(|r| &r.occurrences)
        .map(|o| o.stray)
        .collect();
    explained.sort_unstable();
    let of = victim.times.iter().zip(&victim.strays);
    of.filter(move |(_, stray)| explained.binary_search(stray).is_err())
        .map(|(&time, _)| time)
}

/// The row of `explanation.chosen[at]`.
pub fn coupling(
    strays: &Strays,
    victim: &Victim,
    edges: &[OwnEdges],
    evidence: &[Evidence],
    explanation: &Explanation,
    at: usize,
    rivals: &[(usize, LagWindow, f64)],
) -> Coupling {
    let chosen = &explanation.chosen[at];
    let accused = &evidence[chosen.evidence];
    let times = edges[accused.suspect.line].of(accused.suspect.polarity);
    let struck = strikes(victim, accused, explanation, at);
    let hits = struck.len() as u64;
    let opportunities = able_to_show(strays, victim, times, accused, explanation, at, &struck).max(hits);
    let (lo, hi) = chosen.window.reach();
    let covered = able::covered(
        times,
        &victim.opportunities(times),
        lo,
        hi + victim.unit.round() as i64 - 1,
    );
    let share = (covered / victim.time).min(1.0);
    let expected = victim.times.len() as f64 * share;
    let chance = (expected / opportunities.max(1) as f64).min(1.0);
    let (low, high) = clopper_pearson(hits, opportunities, CONFIDENCE);
    let mut lags: Vec<f64> = struck.iter().map(|p| p.lag as f64).collect();
    lags.sort_unstable_by(f64::total_cmp);
    let occurrences: Vec<Occurrence> = struck
        .iter()
        .map(|p| Occurrence {
            at: times[p.edge],
            polarity: accused.suspect.polarity,
            stray: victim.strays[p.stray],
            lag: p.lag,
        })
        .collect();
    let whole: Vec<i64> = accused.pairs.iter().map(|p| p.lag).collect();
    let span = 2 * (hi - lo);
    Coupling {
        victim: victim.line,
        aggressor: accused.suspect.line,
        edge: accused.suspect.polarity.into(),
        levels: vec![victim.level],
        strays: hits,
        opportunities,
        expected_by_chance: expected,
        p_value: binomial_upper(hits, opportunities, chance),
        q_value: 1.0,
        strike_rate: Estimate {
            estimate: hits as f64 / opportunities.max(1) as f64,
            low,
            high,
        },
        corrected_rate: missed::corrected(strays, victim, &struck, opportunities),
        lag: median(&lags),
        standing: if rivals.is_empty() {
            Standing::Clear
        } else {
            Standing::Inseparable
        },
        inseparable_from: lines_of(rivals, evidence),
        copies: Vec::new(),
        passed_on: Vec::new(),
        victim_strays: victim.times.len() as u64,
        histogram: LagHistogram::of(&whole, lo.min(0), hi.max(lo.min(0) + span), victim.unit),
        step: None,
        moved: None,
        follows_pulse: follows_pulse(strays, victim, accused, edges, &struck),
        occurrences,
        ruled_out: ruled_out(victim, edges, evidence, explanation, at, rivals),
    }
}

fn lines_of(rivals: &[(usize, LagWindow, f64)], evidence: &[Evidence]) -> Vec<usize> {
    let mut lines: Vec<usize> = rivals.iter().map(|r| evidence[r.0].suspect.line).collect();
    lines.sort_unstable();
    lines.dedup();
    lines
}

/// The middle of these lags, ascending, with its interval.
pub fn median(sorted: &[f64]) -> Estimate {
    match median_of_sorted(sorted) {
        Some((estimate, low, high)) => Estimate { estimate, low, high },
        None => {
            let middle = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
            Estimate {
                estimate: middle,
                low: sorted.first().copied().unwrap_or(0.0),
                high: sorted.last().copied().unwrap_or(0.0),
            }
        }
    }
}

/// A median of lags is known no better than the two edges are: `half` is half a sampling period of each, in ticks.
pub fn no_finer_than(row: &mut Coupling, half: f64) {
    row.lag.low = row.lag.low.min(row.lag.estimate - half);
    row.lag.high = row.lag.high.max(row.lag.estimate + half);
}

/// The strays that belong to term `at` more than to any other, each with the edge whose lag fits best.
fn strikes(victim: &Victim, accused: &Evidence, explanation: &Explanation, at: usize) -> Vec<Pair> {
    let window = &explanation.chosen[at].window;
    let mut struck: Vec<Pair> = Vec::new();
    for stray in 0..victim.times.len() {
        let shares = explanation.model.shares(stray);
        let mine = shares[at + 1];
        if mine <= 0.0 || shares.iter().any(|&s| s > mine) {
            continue;
        }
        let best = accused
            .pairs
            .iter()
            .skip(accused.pairs.partition_point(|p| p.stray < stray))
            .take_while(|p| p.stray == stray)
            .filter(|p| window.contains(p.lag))
            .max_by(|a, b| window.density(a.lag).total_cmp(&window.density(b.lag)));
        struck.extend(best);
    }
    struck
}

/// Opportunities at which a stray would have shown: none of somebody else's began inside the lag window, and the
/// victim did not itself switch so near that a stray could not be told (those strays are left out as well).
fn able_to_show(
    strays: &Strays,
    victim: &Victim,
    times: &[i64],
    accused: &Evidence,
    explanation: &Explanation,
    at: usize,
    struck: &[Pair],
) -> u64 {
    let window = &explanation.chosen[at].window;
    let mut used: Vec<usize> = accused
        .pairs
        .iter()
        .filter(|p| window.contains(p.lag))
        .filter(|p| {
            let shares = explanation.model.shares(p.stray);
            shares
                .iter()
                .enumerate()
                .any(|(j, &s)| j > 0 && j != at + 1 && s > shares[at + 1])
        })
        .map(|p| p.edge)
        .collect();
    used.sort_unstable();
    used.dedup();
    let middle = |mut values: Vec<i64>| {
        values.sort_unstable();
        values.get(values.len() / 2).copied().unwrap_or(0)
    };
    let lag = middle(struck.iter().map(|p| p.lag).collect());
    let width = middle(
        struck
            .iter()
            .map(|p| strays.strays[victim.strays[p.stray]].width.0)
            .collect(),
    );
    let guarded = able::opportunities(
        times,
        &victim.rests,
        lag - victim.guard,
        lag + width + victim.guard,
    );
    let mut hit: Vec<usize> = struck.iter().map(|p| p.edge).collect();
    hit.sort_unstable();
    hit.dedup();
    let able = never_struck::able(
        times,
        &guarded,
        &victim.rests,
        &hit,
        never_struck::Shape { lag, width },
    );
    let used = used.iter().filter(|&e| able.binary_search(e).is_ok()).count();
    let beside = struck
        .iter()
        .filter(|p| able.binary_search(&p.edge).is_err())
        .count();
    (able.len() - used + beside) as u64
}

/// Share of the strikes that ended as the aggressor switched back, where its pulse is no narrower than
/// the lag window: a bridge or short makes the victim follow the whole pulse.
fn follows_pulse(
    strays: &Strays,
    victim: &Victim,
    accused: &Evidence,
    edges: &[OwnEdges],
    struck: &[Pair],
) -> f64 {
    let own = &edges[accused.suspect.line];
    let back = match accused.suspect.polarity {
        Polarity::Rise => &own.falls,
        Polarity::Fall => &own.rises,
    };
    let near = 4.0 * victim.unit;
    let times = own.of(accused.suspect.polarity);
    let follows = struck
        .iter()
        .filter(|p| {
            let edge = times[p.edge];
            let stray = &strays.strays[victim.strays[p.stray]];
            first_from(back, edge + 1).is_some_and(|n| {
                ((n - edge - stray.width.0) as f64).abs() <= near.max(0.1 * stray.width.0 as f64)
            })
        })
        .count();
    follows as f64 / struck.len().max(1) as f64
}

fn ruled_out(
    victim: &Victim,
    edges: &[OwnEdges],
    evidence: &[Evidence],
    explanation: &Explanation,
    at: usize,
    rivals: &[(usize, LagWindow, f64)],
) -> Vec<RuledOut> {
    let chosen = &explanation.chosen[at];
    let accused = &evidence[chosen.evidence];
    let (lo, hi) = chosen.window.reach();
    let mut hit = vec![false; victim.times.len()];
    accused
        .pairs
        .iter()
        .filter(|p| chosen.window.contains(p.lag))
        .for_each(|p| hit[p.stray] = true);
    // Another line may switch a little before the accused: its lag is longer by that.
    let late = hi + (hi - lo);
    let accused_times = edges[accused.suspect.line].of(accused.suspect.polarity);
    let of_accused = hit.iter().filter(|h| **h).count() as f64;
    let mut rows: Vec<RuledOut> = Vec::new();
    for (index, other) in evidence.iter().enumerate() {
        let is_chosen = explanation.chosen.iter().any(|c| c.evidence == index);
        if is_chosen || rivals.iter().any(|r| r.0 == index) || other.suspect.line == accused.suspect.line {
            continue;
        }
        let mut follows = vec![false; victim.times.len()];
        other
            .pairs
            .iter()
            .filter(|p| p.lag >= lo.min(0) && p.lag <= late)
            .for_each(|p| follows[p.stray] = true);
        let strays = follows.iter().filter(|f| **f).count() as u64;
        let both = follows.iter().zip(&hit).filter(|(f, h)| **f && **h).count();
        if (both as f64) < (TEMPTING * of_accused).max(2.0) {
            continue;
        }
        let times = edges[other.suspect.line].of(other.suspect.polarity);
        let width = hi - lo.min(0);
        let alone = alone(times, &victim.opportunities(times), accused_times, width);
        rows.push(RuledOut {
            line: other.suspect.line,
            edge: Edge::from(other.suspect.polarity),
            strays,
            strays_alone: strays - both as u64,
            opportunities: other.count as u64,
            opportunities_alone: alone,
        });
    }
    rows.sort_by(|a, b| {
        b.strays
            .cmp(&a.strays)
            .then(a.opportunities.cmp(&b.opportunities))
    });
    rows.truncate(RULED_OUT_LISTED);
    rows
}

/// Opportunities of `times` at which no edge of `accused` came within `near` ticks.
fn alone(times: &[i64], opportunities: &[std::ops::Range<usize>], accused: &[i64], near: i64) -> u64 {
    let mut from = 0;
    let mut alone = 0;
    for range in opportunities {
        for &t in &times[range.clone()] {
            from += able::gallop(&accused[from..], |&a| a < t - near);
            if accused.get(from).is_none_or(|&a| a > t + near) {
                alone += 1;
            }
        }
    }
    alone
}

/// A line with fewer edges of its own than would have shown a strike with this chance is not cleared by them.
const CLEARED_AT: f64 = 0.05;

/// Share of the strikes that may come without such a line: strays by themselves, and edges that sampling hid.
const WITHOUT: f64 = 0.03;

/// Lines that switched at every strike, and too seldom without the accused to be cleared by that, can't be told from
/// it: how tightly the strays follow either is no more than a hint.
pub fn doubt_constant_company(row: &mut Coupling, keeps_its_lag: impl Fn(&Coupling, &RuledOut) -> bool) {
    let miss = (1.0 - row.strike_rate.estimate).max(0.0);
    let is_twin = |out: &RuledOut| {
        let both = out.strays - out.strays_alone;
        both as f64 >= (1.0 - WITHOUT) * row.strays as f64
            && out.strays_alone == 0
            && miss.powf(out.opportunities_alone as f64) > CLEARED_AT
    };
    let twins: Vec<usize> = row
        .ruled_out
        .iter()
        .filter(|o| is_twin(o) && !keeps_its_lag(row, o))
        .map(|o| o.line)
        .collect();
    join_suspects(row, &twins);
}

/// The lines fit as well as the accused: neither is accused, and none of them is ruled out.
pub fn join_suspects(row: &mut Coupling, lines: &[usize]) {
    let others = lines
        .iter()
        .filter(|&&line| line != row.aggressor && line != row.victim);
    row.inseparable_from.extend(others);
    row.inseparable_from.sort_unstable();
    row.inseparable_from.dedup();
    if !row.inseparable_from.is_empty() && row.standing == Standing::Clear {
        row.standing = Standing::Inseparable;
    }
    let joined = &row.inseparable_from;
    row.ruled_out.retain(|out| !joined.contains(&out.line));
}

/// Joins rise and fall rows of the same pair into one `both` row where both stand alike.
///
/// What tells the accused from another line at one level tells it at both: then the joined row is clear.
pub fn joined(mut rows: Vec<Coupling>) -> Vec<Coupling> {
    let key = |row: &Coupling| (row.victim, row.aggressor, row.edge);
    let clear = rows.iter().filter(|row| row.standing == Standing::Clear);
    let clear: Vec<_> = clear.map(key).collect();
    for row in &mut rows {
        if row.standing == Standing::Inseparable && clear.contains(&key(row)) {
            row.standing = Standing::Clear;
            row.inseparable_from.clear();
            row.copies.clear();
        }
    }
    let mut out: Vec<Coupling> = Vec::new();
    for row in rows {
        let same = out
            .iter_mut()
            .find(|o| o.victim == row.victim && o.aggressor == row.aggressor && o.standing == row.standing);
        match same {
            Some(first) => merge(first, row),
            None => out.push(row),
        }
    }
    out.sort_by_key(|row| std::cmp::Reverse(row.strays));
    out
}

fn merge(first: &mut Coupling, second: Coupling) {
    let same_level = first.levels == second.levels;
    first.edge = if first.edge == second.edge {
        first.edge
    } else {
        Edge::Both
    };
    first.strays += second.strays;
    first.opportunities += second.opportunities;
    first.expected_by_chance += second.expected_by_chance;
    first.p_value = first.p_value.min(second.p_value);
    first.q_value = first.q_value.min(second.q_value);
    let (low, high) = clopper_pearson(first.strays, first.opportunities, CONFIDENCE);
    first.strike_rate = Estimate {
        estimate: first.strays as f64 / first.opportunities.max(1) as f64,
        low,
        high,
    };
    first.corrected_rate = None;
    first.moved = moved::joined(first.moved, second.moved);
    if !same_level {
        first.victim_strays += second.victim_strays;
        first.levels.extend(
            second
                .levels
                .iter()
                .filter(|l| !first.levels.contains(l))
                .copied()
                .collect::<Vec<_>>(),
        );
    }
    let share = |a: &Coupling| a.follows_pulse * a.occurrences.len() as f64;
    let follows = share(first) + share(&second);
    first.occurrences.extend(second.occurrences);
    first.occurrences.sort_by_key(|o| o.at);
    first.follows_pulse = follows / first.occurrences.len().max(1) as f64;
    let mut lags: Vec<f64> = first.occurrences.iter().map(|o| o.lag as f64).collect();
    lags.sort_unstable_by(f64::total_cmp);
    first.lag = median(&lags);
    let known = |c: &CopyOf| first.copies.iter().any(|k| k.line == c.line);
    let more: Vec<CopyOf> = second.copies.into_iter().filter(|c| !known(c)).collect();
    first.copies.extend(more);
    first.inseparable_from.extend(second.inseparable_from);
    first.inseparable_from.sort_unstable();
    first.inseparable_from.dedup();
    let bin = first.histogram.bin.max(second.histogram.bin);
    let whole: Vec<i64> = first.occurrences.iter().map(|o| o.lag).collect();
    let (lo, hi) = (lags[0] as i64, lags[lags.len() - 1] as i64);
    first.histogram = LagHistogram::of(&whole, lo.min(0), hi.max(lo.min(0) + 2 * (hi - lo)), bin);
    for row in second.ruled_out {
        match first
            .ruled_out
            .iter_mut()
            .find(|r| r.line == row.line && r.edge == row.edge)
        {
            Some(r) => {
                r.strays += row.strays;
                r.strays_alone += row.strays_alone;
                r.opportunities += row.opportunities;
                r.opportunities_alone += row.opportunities_alone;
            }
            None => first.ruled_out.push(row),
        }
    }
}
