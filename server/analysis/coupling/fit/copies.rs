//! Lines that copy the accused: a buffer's output, an inverter's, the other end of the same wire.
//!
//! A line whose edges keep one distance to the accused line's edges goes with the same strays at another lag. How tightly
//! the strays follow either is no evidence (sampling and jitter decide that); what tells the two apart is only
//! - edges at which one switched and the other did not, with or without strays, or
//! - a lag that no coupling has: a stray that comes before the edge, or too long after it.

use super::select::{Reach, Victim};
use crate::analysis::coupling::suspects::able::{OwnEdges, gallop};
use crate::analysis::coupling::{Coupling, Edge, Occurrence};
use crate::model::Polarity;

/// A line that can't be told from the accused, because it switched with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CopyOf {
    pub line: usize,
    /// Whether it rises where the accused falls.
    pub inverted: bool,
    /// How long after the accused it switches, in ticks; negative: before.
    pub delay: i64,
}

/// Distances that differ by no more than this, and two samples, are one: output delays of one chip vary by so much
/// (5 ns and less within a package, from memory of TTL data books).
const STEADY_S: f64 = 4e-9;
/// A line that switches longer before the accused than this is no copy: several gates or some ten metres of cable lie
/// between, and a coupled stray follows within nanoseconds of its cause.
const LONGEST_S: f64 = 60e-9;
/// Share of the strikes that may come without the copy: strays by themselves, and edges that sampling hid.
const WITHOUT: f64 = 0.03;
/// Edges of the copy alone that would have shown a strike with this chance clear it when none did.
const CLEARED_AT: f64 = 0.05;

/// What distances are looked at, in ticks.
#[derive(Clone, Copy, Debug)]
pub struct Distances {
    /// How near distances must be to be one.
    pub steady: i64,
    /// How long before the accused a copy may switch.
    longest: i64,
    /// What output delays of one chip vary by.
    chip: f64,
}

impl Distances {
    /// `second`: ticks in a second.
    pub fn new(victim: &Victim, second: f64) -> Distances {
        Distances {
            steady: (2.0 * victim.unit + STEADY_S * second).ceil() as i64,
            longest: (victim.unit + LONGEST_S * second).ceil() as i64,
            chip: STEADY_S * second,
        }
    }
}

/// What was found of the accused: a line, its edges that strike (ascending ticks; `polarity` is none for either), its
/// strikes by time, and the share of its opportunities that struck.
pub struct Accused<'a> {
    pub line: usize,
    pub polarity: Option<Polarity>,
    pub times: &'a [i64],
    pub strikes: Vec<Occurrence>,
    pub rate: f64,
}

impl<'a> Accused<'a> {
    /// The accused of one row.
    pub fn of(row: &Coupling, edges: &'a [OwnEdges]) -> Accused<'a> {
        let polarity = match row.edge {
            Edge::Fall => Polarity::Fall,
            _ => Polarity::Rise,
        };
        Accused {
            line: row.aggressor,
            polarity: Some(polarity),
            times: edges[row.aggressor].of(polarity),
            strikes: row.occurrences.clone(),
            rate: row.strike_rate.estimate,
        }
    }

    /// The line whose rises and falls were found to strike in two rows; `times`: both.
    pub fn by_either(rows: &[Coupling], times: &'a [i64]) -> Option<Accused<'a>> {
        let first = rows.first()?;
        let mut strikes: Vec<Occurrence> = rows.iter().flat_map(|r| r.occurrences.clone()).collect();
        strikes.sort_by_key(|o| o.at);
        let opportunities: u64 = rows.iter().map(|r| r.opportunities).sum();
        Some(Accused {
            line: first.aggressor,
            polarity: None,
            times,
            rate: strikes.len() as f64 / opportunities.max(1) as f64,
            strikes,
        })
    }
}

/// Lines that copy the accused, which no count and no lag tells from it. Cost: strikes × log of edges for each suspect, and all edges of those that keep the distance.
pub fn of(
    edges: &[OwnEdges],
    victim: &Victim,
    accused: &Accused,
    reach: &Reach,
    suspects: impl Iterator<Item = (usize, Polarity)>,
    distances: &Distances,
) -> Vec<CopyOf> {
    let mut copies: Vec<CopyOf> = Vec::new();
    for (line, polarity) in suspects.filter(|s| s.0 != accused.line && s.0 != victim.line) {
        let times = edges[line].of(polarity);
        let Some(delay) = distance(times, &accused.strikes, reach, distances) else {
            continue;
        };
        if is_cleared(times, accused, victim, delay, distances.steady)
            || follows_the_accused(times, accused, victim, (delay, 2 * distances.steady), distances)
        {
            continue;
        }
        let copy = CopyOf {
            line,
            inverted: accused.polarity.is_some_and(|own| own != polarity),
            delay,
        };
        match copies.iter_mut().find(|c| c.line == line) {
            Some(known) if known.delay.abs() > delay.abs() => *known = copy,
            Some(_) => {}
            None => copies.push(copy),
        }
    }
    copies
}

/// The distance from the accused's edges that `times` keep at (nearly) every strike, at a lag that a coupling may have.
fn distance(times: &[i64], strikes: &[Occurrence], reach: &Reach, looked_at: &Distances) -> Option<i64> {
    let allowed = (WITHOUT * strikes.len() as f64) as usize;
    let mut missing = 0;
    let mut from = 0;
    let mut distances: Vec<i64> = Vec::new();
    for strike in strikes {
        let stray = strike.at + strike.lag;
        from += gallop(&times[from..], |&t| t < stray - reach.hi);
        let near = times[from..].iter().take_while(|&&t| t <= stray - reach.lo);
        let before = distances.len();
        distances.extend(near.map(|&t| t - strike.at));
        if distances.len() == before {
            missing += 1;
            if missing > allowed {
                return None;
            }
        }
    }
    distances.sort_unstable();
    let best = crowd(&distances, 2 * looked_at.steady);
    let middle = *distances[best.clone()].get(best.len() / 2)?;
    let is_steady = best.len() + allowed >= strikes.len();
    (is_steady && middle >= -looked_at.longest).then_some(middle)
}

/// Where the most of `sorted` lie within `width` of each other. Cost: linear.
pub fn crowd(sorted: &[i64], width: i64) -> std::ops::Range<usize> {
    let (mut best, mut end) = (0..0, 0);
    for start in 0..sorted.len() {
        while end < sorted.len() && sorted[end] - sorted[start] <= width {
            end += 1;
        }
        if end - start > best.len() {
            best = start..end;
        }
    }
    best
}

/// Whether `times` has so many opportunities without the accused, all of them clean, that it is not to blame.
fn is_cleared(times: &[i64], accused: &Accused, victim: &Victim, delay: i64, steady: i64) -> bool {
    let miss = (1.0 - accused.rate).clamp(1e-9, 1.0 - 1e-9);
    let enough = (CLEARED_AT.ln() / miss.ln()).ceil().max(1.0) as usize;
    let (mut from, mut alone) = (0, 0);
    for range in victim.opportunities(times) {
        for &t in &times[range] {
            let at = t - delay;
            from += gallop(&accused.times[from..], |&a| a < at - steady);
            if accused.times.get(from).is_none_or(|&a| a > at + steady) {
                alone += 1;
                if alone >= enough {
                    return true;
                }
            }
        }
    }
    false
}

/// Strikes at least that show whose lag the strays keep, and how many standard errors apart the two answers must be.
const FEWEST_PAIRS: usize = 12;
const ERRORS: f64 = 4.0;

/// Whether the strays keep their lag to the accused where the distance to `times` varies: what a copy strikes comes later where
/// the copy does. `delay`: the middle distance and how far others may lie from it. Distances that vary no more than output delays
/// of one chip say nothing.
///
/// Lags to the accused are regressed on the distances: slope 0 speaks for the accused, 1 for the copy. Both share the
/// accused edge's rounding to a sample, of variance unit²/12, which draws either answer towards the middle (errors in
/// variables; Fuller, *Measurement Error Models*, section 1.1).
pub fn follows_the_accused(
    times: &[i64],
    accused: &Accused,
    victim: &Victim,
    (delay, reach): (i64, i64),
    looked_at: &Distances,
) -> bool {
    let pairs = accused.strikes.iter().filter_map(|strike| {
        let from = times.partition_point(|&t| t < strike.at + delay - reach);
        let near = times[from..]
            .iter()
            .take_while(|&&t| t <= strike.at + delay + reach);
        let distance = near.map(|&t| t - strike.at).min_by_key(|d| (d - delay).abs())?;
        Some((distance as f64, strike.lag as f64))
    });
    let pairs: Vec<(f64, f64)> = pairs.collect();
    if pairs.len() < FEWEST_PAIRS {
        return false;
    }
    let n = pairs.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let spread = pairs.iter().map(|p| (p.0 - x).powi(2)).sum::<f64>();
    let rounding = victim.unit.powi(2) / 12.0;
    // Both edges are rounded.
    let varies = spread / n - 2.0 * rounding;
    if varies <= f64::max(2.0 * rounding, looked_at.chip.powi(2)) {
        return false;
    }
    let slope = pairs.iter().map(|p| (p.0 - x) * (p.1 - y)).sum::<f64>() / spread;
    let left = pairs
        .iter()
        .map(|p| (p.1 - y - slope * (p.0 - x)).powi(2))
        .sum::<f64>();
    let error = (left / (n - 2.0) / spread).sqrt();
    // That of a copy whose rounding is all that draws it down.
    let of_copy = 1.0 - rounding * n / spread;
    slope + ERRORS * error < of_copy && slope < 0.5
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::able::Rest;
    use crate::analysis::coupling::fixtures;

    const REACH: Reach = Reach {
        lo: -8,
        hi: 122,
        narrowest: 5.0,
    };

    fn victim() -> Victim {
        fixtures::victim(
            9,
            Vec::new(),
            vec![Rest {
                start: -1_000,
                end: 1_000_000,
            }],
        )
    }

    /// Line 0 strikes at every second of its rises, 30 ticks after; line 1 falls `delay` ticks after each, and at `more`.
    fn copies(delay: i64, missing: usize, more: &[i64]) -> Vec<CopyOf> {
        let times: Vec<i64> = (1..100).map(|n| 2_000 * n).collect();
        let mut copied: Vec<i64> = times.iter().skip(missing).map(|t| t + delay).collect();
        copied.extend(more);
        copied.sort_unstable();
        let lines = [
            OwnEdges {
                rises: times.clone(),
                falls: Vec::new(),
            },
            OwnEdges {
                rises: Vec::new(),
                falls: copied,
            },
        ];
        let strikes = times.iter().step_by(2).map(|&at| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray: 0,
            lag: 30,
        });
        let accused = Accused {
            line: 0,
            polarity: Some(Polarity::Rise),
            times: &lines[0].rises,
            strikes: strikes.collect(),
            rate: 0.5,
        };
        let suspects = [(0, Polarity::Rise), (1, Polarity::Rise), (1, Polarity::Fall)];
        let victim = victim();
        let distances = Distances::new(&victim, 1e9);
        of(
            &lines,
            &victim,
            &accused,
            &REACH,
            suspects.into_iter(),
            &distances,
        )
    }

    #[test]
    fn a_copy_at_a_possible_lag_is_one() {
        let copy = |delay| {
            vec![CopyOf {
                line: 1,
                inverted: true,
                delay,
            }]
        };
        assert_eq!(copies(20, 0, &[]), copy(20));
        assert_eq!(copies(-40, 0, &[]), copy(-40));
    }

    #[test]
    fn lags_that_no_coupling_has_and_edges_of_one_alone_tell_them_apart() {
        // The stray would come 10 ticks before the copy's edge, or 90 + 30 after one that is several gates away.
        assert_eq!(copies(40, 0, &[]), []);
        assert_eq!(copies(-90, 0, &[]), []);
        // Two strikes of 50 without it are more than strays by themselves.
        assert_eq!(copies(20, 3, &[]), []);
        // Five clean edges of its own have a chance of 1/32.
        assert_eq!(copies(20, 0, &[1_000, 3_000, 5_000, 7_000, 9_000]), []);
        assert_eq!(copies(20, 0, &[1_000, 3_000]).len(), 1);
    }

    #[test]
    fn strays_that_keep_their_lag_while_the_distance_varies_are_the_accused_s() {
        // Eight ticks to either side of the middle.
        let distance = |n: i64| 10 + 16 * (n * 7 % 11 % 2);
        let mut looked_at = Distances::new(&victim(), 1e9);
        let times: Vec<i64> = (1..100).map(|n| 2_000 * n).collect();
        let others: Vec<i64> = (1..100).map(|n| 2_000 * n + distance(n)).collect();
        // The strays come 40 after the accused's edges, or 30 after the other line's.
        let follows = |of_accused: bool, looked_at: &Distances| {
            let strikes = (1..100).step_by(2).map(|n| Occurrence {
                at: 2_000 * n,
                polarity: Polarity::Rise,
                stray: 0,
                lag: if of_accused { 40 } else { 30 + distance(n) } + n % 3,
            });
            let accused = Accused {
                line: 0,
                polarity: Some(Polarity::Rise),
                times: &times,
                strikes: strikes.collect(),
                rate: 0.5,
            };
            follows_the_accused(&others, &accused, &victim(), (18, 20), looked_at)
        };
        assert!(follows(true, &looked_at));
        assert!(!follows(false, &looked_at));
        // Where chips vary by as much nothing is told.
        looked_at.chip = 8.5;
        assert!(!follows(true, &looked_at));
    }
}
