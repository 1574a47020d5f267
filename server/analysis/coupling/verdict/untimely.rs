//! Strays that begin before the edge they would be put down to, or long after it.
//!
//! A coupled stray comes after its cause. Thresholds let it seem up to some nanoseconds early, and channels of an analyzer
//! that are up to half a sample apart shift it by up to a sample either way; how the edges fall between samples shifts single
//! strays, and not their mean. What comes earlier than that on the mean has another cause: a line without a probe, of whose
//! step the accused edge is a part. What comes long after its edge has another cause as well: an induced stray begins while the edge
//! lasts or as its wave runs along; later come the outputs of parts that the edge sets off, with a probe or without.

use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, first_from};
use crate::analysis::coupling::{Coupling, EARLIEST_LAG_S, Edge};

/// Beyond a sample, strays may seem so early (pulses to 1.5 ns in circuit simulation, and delays of a channel vary).
const EARLY_S: f64 = 4e-9;
/// The same where edges are times at which a part saw them, and not volts that cross a threshold: beyond most of a sample.
const EARLY_PULSES_S: f64 = 3e-9;
const EARLY_SAMPLES: f64 = 0.9;
/// Longest mean lag of what is induced, beyond a sample: 20 ns of an edge and 6 m of ribbon cable at 5 ns a metre (common practice,
/// no source).
const LONGEST_S: f64 = 50e-9;
/// Fewer strays have no mean to speak of, and fewer no majority. Where most come a whole sample early, channels half a sample apart could
/// do that to a coupling without any lag; a hidden line does it oftener, and a doubt is the lesser fault.
const FEWEST: usize = 3;
const FEWEST_MOSTLY: usize = 8;

/// How much later than its stray's start a cause may seem to come on the mean, in ticks. `unit`: a sample, in ticks; `second`: ticks in a
/// second.
pub fn earliest(unit: f64, second: f64) -> f64 {
    (EARLIEST_LAG_S * second).max(unit + EARLY_S * second)
}

/// How much later than its stray's start a cause may seem to come on the mean where sampling doesn't blur it, in ticks. `volts`: whether
/// edges are volts that cross a threshold; `second`: ticks in a second.
pub fn early(volts: bool, second: f64) -> f64 {
    match volts {
        true => EARLIEST_LAG_S * second,
        false => EARLY_PULSES_S * second,
    }
}

/// How long after its cause a stray may come on the mean, in ticks. `unit`: a sample, in ticks; `second`: ticks in a second.
pub fn latest(unit: f64, second: f64) -> f64 {
    LONGEST_S * second + unit
}

/// A line and its edges that strays come before, or long after, on the mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Untimely {
    pub line: usize,
    pub edge: Edge,
    /// Mean lag of the strays in ticks, below 0 where they begin before.
    pub lag: f64,
}

/// Whether the strays at the row's edges come before these or long after them, on the mean; a row that other
/// lines fit as well isn't late by itself. `volts`: whether the victim was
/// captured as volts; `misplaced`: how far edges of another capture may lie beside, in ticks; `second`: ticks in a second. Cost: strays × log of the edges.
pub fn find(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    (volts, misplaced): (bool, f64),
    second: f64,
) -> Option<Untimely> {
    let times = rows::edges_of(edges, row);
    let lags = || row.occurrences.iter().map(|o| o.lag);
    let (least, most) = (lags().min()?, lags().max()?);
    let untimely = |lag: f64| Untimely {
        line: row.aggressor,
        edge: row.edge,
        lag,
    };
    let mean = lags().sum::<i64>() as f64 / row.occurrences.len() as f64;
    if mean > latest(victim.unit, second) && row.inseparable_from.is_empty() {
        return Some(untimely(mean));
    }
    // Those that are too early to be counted are of the same kind.
    let unit = victim.unit.ceil() as i64;
    let (lo, hi) = (least - 2 * unit, most + unit);
    let lag = |&stray: &i64| {
        let next = first_from(times, stray - hi)?;
        (next <= stray - lo).then_some((stray - next) as f64)
    };
    let near: Vec<f64> = victim.times.iter().filter_map(lag).collect();
    let mean = near.iter().sum::<f64>() / near.len().max(1) as f64;
    let is_early = match volts {
        true => mean < -(earliest(victim.unit, second) + misplaced),
        false => mean < -(EARLY_PULSES_S * second + EARLY_SAMPLES * victim.unit),
    };
    if near.len() >= FEWEST && is_early {
        return Some(untimely(mean));
    }
    // Where most come a sample and more before the edge, and it is long enough.
    let before = near.iter().filter(|&&lag| lag <= -victim.unit).count();
    let is_mostly = 2 * before > near.len() && mean < -EARLY_PULSES_S * second;
    (!volts && near.len() >= FEWEST_MOSTLY && is_mostly).then(|| untimely(mean))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Occurrence;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::model::Polarity;

    /// Strays `lag(n)` ticks of 10 ns after the n-th rise; those from −2 on are counted.
    fn untimely(lag: impl Fn(i64) -> i64) -> Option<f64> {
        let rises: Vec<i64> = (1..40).map(|n| 1_000 * n).collect();
        let times: Vec<i64> = (0..).zip(&rises).map(|(n, t)| t + lag(n)).collect();
        let counted = (0..).zip(&rises).filter(|(n, _)| lag(*n) >= -2);
        let occurrences = counted.map(|(n, &at)| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray: n as usize,
            lag: lag(n),
        });
        let row = fixtures::row([1, 0], Edge::Rise, 0, occurrences.collect(), 39);
        let rest = Rest {
            start: 0,
            end: 100_000,
        };
        let edges = [OwnEdges {
            rises,
            falls: Vec::new(),
        }];
        find(
            &edges,
            &fixtures::victim(1, times, vec![rest]),
            &row,
            (false, 0.0),
            1e8,
        )
        .map(|u| u.lag)
    }

    #[test]
    fn what_comes_more_than_a_sample_early_on_the_mean_has_another_cause() {
        let comes_before = |lag: fn(i64) -> i64| untimely(lag).is_some_and(|lag| lag < 0.0);
        assert!(comes_before(|_| -1), "each a sample early");
        assert!(!comes_before(|n| -(n % 2)));
        assert!(comes_before(|_| -2));
        assert!(comes_before(|n| -1 - n % 2));
        assert!(
            comes_before(|n| -2 - n % 2),
            "half of them too early to be counted"
        );
    }

    #[test]
    fn what_comes_later_than_an_edge_and_its_wave_has_another_cause() {
        assert_eq!(untimely(|n| 5 + n % 3), None, "50 ns and a sample");
        assert_eq!(untimely(|_| 7), Some(7.0));
    }
}
