//! What shows that a line is toggled: it runs as a divider's output or as a bit of a counter does.

use super::one_lag::{is_one, middle};
use crate::analysis::coupling::suspects::able::{OwnEdges, nearest};

/// A divider's output has intervals that differ by no more than this factor, but for one in ten.
const EVEN: f64 = 1.5;
const EVEN_COUNT: usize = 20;
/// Its levels last alike, to this share: a clock's duty is seldom so near to one half.
const HALVES: f64 = 0.005;

/// Whether a line runs as evenly as a divider's output.
pub fn is_divided(own: &OwnEdges, unit: f64) -> bool {
    let either = own.either();
    let mut between: Vec<f64> = either.windows(2).map(|w| (w[1] - w[0]) as f64).collect();
    if between.len() < EVEN_COUNT {
        return false;
    }
    // First to second edge, second to third …: one level and the other in turn.
    let of = |from: usize| {
        between
            .iter()
            .skip(from)
            .step_by(2)
            .copied()
            .collect::<Vec<f64>>()
    };
    let (one, other) = (of(0), of(1));
    let near = (middle(&one) - middle(&other)).abs() <= HALVES * middle(&one);
    let same_both = near || is_one(&one, &other, unit);
    between.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| between[(between.len() as f64 * share) as usize];
    same_both && at(0.95) <= EVEN * at(0.05)
}

/// A counter's next bit has as many edges as the line has of one kind, to this share.
const AS_MANY: f64 = 0.15;
/// Share of the next bit's edges that come with one kind of the line's edges.
const TOGGLES: f64 = 0.97;

/// Whether `other` is toggled by one kind of the line's edges, as a counter's next bit is: then the line is one of its bits, and
/// toggled itself. `latest`: in ticks.
pub fn is_next_bit(edges: &[OwnEdges], line: usize, other: usize, latest: i64) -> bool {
    let (own, next) = (&edges[line], edges[other].either());
    let toggles = |times: &[i64]| {
        let is_near = |&&t: &&i64| nearest(times, t) <= latest;
        let as_many = (next.len() as f64 / times.len().max(1) as f64 - 1.0).abs() <= AS_MANY;
        as_many && next.iter().filter(is_near).count() as f64 >= TOGGLES * next.len() as f64
    };
    line != other
        && next.len() >= EVEN_COUNT
        && (toggles(&own.rises) || toggles(&own.falls))
        && last_alike(own)
}

/// A bit's levels last alike in the middle, to this share; a clock that toggles the first of a counter's has a duty of its own.
const ALIKE: f64 = 0.1;

/// Whether a line's levels last equally long, in the middle.
fn last_alike(own: &OwnEdges) -> bool {
    let either = own.either();
    let lasts = |from: usize| {
        let of_level = either.windows(2).skip(from).step_by(2);
        of_level.map(|w| (w[1] - w[0]) as f64).collect::<Vec<f64>>()
    };
    let [one, other] = [0, 1].map(|from| middle(&lasts(from)));
    (one - other).abs() <= ALIKE * one.max(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_counter_s_clock_is_no_bit_of_it() {
        let rises: Vec<i64> = (1..200).map(|n| 5_000 * n + n * n % 17 * 100).collect();
        let clock = |high: fn(i64) -> i64| OwnEdges {
            falls: (1..).zip(&rises).map(|(n, t)| t + high(n)).collect(),
            rises: rises.clone(),
        };
        let first = OwnEdges {
            rises: rises.iter().step_by(2).map(|t| t + 20).collect(),
            falls: rises.iter().skip(1).step_by(2).map(|t| t + 20).collect(),
        };
        let is_bit = |high| is_next_bit(&[clock(high), first.clone()], 0, 1, 120);
        assert!(!is_bit(|_| 1_000));
        assert!(
            is_bit(|n| 2_450 + n % 90),
            "high for half of the time, as a bit is"
        );
    }
}
