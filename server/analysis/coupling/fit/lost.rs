//! Lines whose pulses fall between samples.
//!
//! A pulse that is hardly longer than a sample is recorded or not as the samples happen to lie, and a stray of a sample's length
//! likewise. So an edge that "was not there" at some strikes, or was there without a stray, may only not have been seen: it
//! clears nobody who switches with the accused at the others.

use super::copies::crowd;
use super::select::Victim;
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::suspects::able::OwnEdges;
use crate::analysis::strays::Strays;

/// A pulse up to so many samples long may be lost, and the share of a line's pulses that are so short.
const SHORT: f64 = 1.6;
const SHARE: f64 = 0.1;
/// The share of the accused's strikes at which the other's edge was seen.
const WITH: f64 = 0.7;
/// Strikes, at least.
const FEWEST: usize = 5;

/// Whether sampling loses own pulses of the line. `sample`: how finely its edges are known, in ticks. Cost: linear in its edges.
fn loses_pulses(own: &OwnEdges, sample: f64) -> bool {
    let widths = own.either();
    let widths = widths.windows(2).map(|w| (w[1] - w[0]) as f64);
    let short = widths.filter(|&width| width <= SHORT * sample).count();
    // A pulse and the rest after it take two edges.
    short > 0 && 2.0 * short as f64 >= SHARE * (own.rises.len() + own.falls.len()) as f64
}

/// The lines that switch at one distance from most strikes of the row, where the counts that clear them hang on pulses that sampling
/// loses. `lines`: those that are asked about; `reach`: how far apart such edges may be, in ticks. Cost: linear in the pulses of the
/// accused, and of lines that go along; strikes × log of the edges for each line.
pub fn with_lost_pulses(
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
    reach: i64,
) -> Vec<usize> {
    let strikes: Vec<i64> = row.occurrences.iter().map(|o| o.at).collect();
    if strikes.len() < FEWEST {
        return Vec::new();
    }
    let unit = victim.unit.ceil() as i64;
    let goes_along = |times: &[i64]| {
        let mut distances: Vec<i64> = strikes
            .iter()
            .flat_map(|&at| {
                let near = &times[times.partition_point(|&t| t < at - reach)..];
                near.iter()
                    .take_while(move |&&t| t <= at + reach)
                    .map(move |t| t - at)
            })
            .collect();
        distances.sort_unstable();
        let least = WITH * strikes.len() as f64;
        distances.len() as f64 >= least && crowd(&distances, unit).len() as f64 >= least
    };
    let loses = |line: usize| loses_pulses(&edges[line], strays.sampling[line]);
    let accused_loses = loses(row.aggressor);
    let others = lines.iter().copied().filter(|&line| line != row.aggressor);
    others
        .filter(|&line| goes_along(&edges[line].rises) || goes_along(&edges[line].falls))
        .filter(|&line| accused_loses || loses(line))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::{Edge, Occurrence};
    use crate::model::Polarity;

    /// Whom line 0's rises, of pulses `widths[0]` ticks long, can't be told from: line 1 rises a sample later at those of its
    /// strikes that `with` tells, for `widths[1]`. Samples are 50 ticks apart.
    fn with_them(widths: [i64; 2], with: fn(i64) -> bool) -> Vec<usize> {
        let at = |n: i64| 5_000 * n;
        let edges = [
            OwnEdges {
                rises: (1..60).map(at).collect(),
                falls: (1..60).map(|n| at(n) + widths[0]).collect(),
            },
            OwnEdges {
                rises: (1..60).filter(|n| with(*n)).map(|n| at(n) + 50).collect(),
                falls: (1..60)
                    .filter(|n| with(*n))
                    .map(|n| at(n) + 50 + widths[1])
                    .collect(),
            },
        ];
        let occurrences = (1..60).filter(|n| n % 3 == 0).enumerate();
        let occurrences = occurrences.map(|(stray, n)| Occurrence {
            at: at(n),
            polarity: Polarity::Rise,
            stray,
            lag: 0,
        });
        let row = fixtures::row([2, 0], Edge::Rise, 0, occurrences.collect(), 59);
        let victim = Victim {
            unit: 50.0,
            ..fixtures::victim(2, Vec::new(), Vec::new())
        };
        let strays = Strays {
            sampling: vec![50.0; 3],
            ..Strays::default()
        };
        with_lost_pulses(&strays, &edges, &victim, &row, &[0, 1], 90)
    }

    #[test]
    fn who_goes_along_is_not_cleared_by_pulses_that_sampling_loses() {
        let mostly = |n| n % 12 != 0;
        assert_eq!(with_them([1_000, 50], mostly), [1], "one of its own was lost");
        assert_eq!(
            with_them([50, 1_000], mostly),
            [1],
            "one of the accused's was lost"
        );
        assert_eq!(with_them([1_000, 1_000], mostly), [0; 0], "neither loses any");
        assert_eq!(
            with_them([1_000, 50], |n| n % 6 != 0),
            [0; 0],
            "it is missing half the time"
        );
    }
}
