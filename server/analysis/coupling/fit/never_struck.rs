//! Opportunities that never strike because the victim is about to switch itself, or has just switched.
//!
//! How near to its own edges a victim shows no strays is learned: sorted by their distance to the victim's next own
//! edge, the nearest opportunities are left out when none of them struck and that is no chance. Of N opportunities
//! k struck; in random order the nearest m are all clean with chance C(N − m, k) / C(N, k), the hypergeometric
//! distribution's first term (Feller, *An Introduction to Probability Theory*, volume 1, section II.6). The same before
//! the victim's edges and after them.

use std::ops::Range;

use crate::analysis::coupling::suspects::able::Rest;

/// Chance at or below which clean opportunities are put down to the victim's own switching.
const CHANCE: f64 = 1e-4;
/// A line is not switching for longer than this many times what a stray takes, lag included.
const REACH: i64 = 8;

/// When a stray of the middle kind begins after its edge, and how long it lasts, in ticks.
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    pub lag: i64,
    pub width: i64,
}

/// Of the opportunities (ranges of indices of `times`, each inside one of `rests`) those at which the victim could show
/// a stray: ascending indices. `struck`: indices that struck, ascending. Cost: a sort of the opportunities.
pub fn able(
    times: &[i64],
    opportunities: &[Range<usize>],
    rests: &[Rest],
    struck: &[usize],
    shape: Shape,
) -> Vec<usize> {
    let all: Vec<usize> = opportunities.iter().cloned().flatten().collect();
    let rest_of = |edge: usize| {
        let at = rests.partition_point(|r| r.end <= times[edge]);
        rests.get(at)
    };
    let until_next =
        |edge: usize| rest_of(edge).map_or(i64::MAX, |r| r.end - times[edge] - shape.lag - shape.width);
    let since_last = |edge: usize| rest_of(edge).map_or(i64::MAX, |r| times[edge] + shape.lag - r.start);
    let next = clean_within(&all, struck, until_next, shape);
    let last = clean_within(&all, struck, since_last, shape);
    let is_able = |&edge: &usize| until_next(edge) > next && since_last(edge) > last;
    all.iter().copied().filter(is_able).collect()
}

/// The distance up to which no opportunity struck, where that is no chance; else −1.
fn clean_within(all: &[usize], struck: &[usize], distance: impl Fn(usize) -> i64, shape: Shape) -> i64 {
    let is_struck = |edge: usize| struck.binary_search(&edge).is_ok();
    let hits = all.iter().filter(|&&e| is_struck(e)).count();
    let nearest_hit = all.iter().filter(|&&e| is_struck(e)).map(|&e| distance(e)).min();
    let reach = REACH * (shape.lag.max(0) + shape.width);
    let limit = nearest_hit.unwrap_or(0).saturating_sub(1).min(reach);
    let clean = all.iter().filter(|&&e| distance(e) <= limit).count();
    if all_clean_by_chance(all.len(), hits, clean) <= CHANCE {
        limit
    } else {
        -1
    }
}

/// Chance that given `clean` of `of` opportunities hold none of the `hits`.
fn all_clean_by_chance(of: usize, hits: usize, clean: usize) -> f64 {
    let ln: f64 = (0..hits)
        .map(|k| ((of - clean) as f64 - k as f64).max(0.0) / (of - k) as f64)
        .map(f64::ln)
        .sum();
    ln.exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chance_of_clean_ones_is_the_hypergeometric_distribution_s() {
        // SciPy 1.17.1: hypergeom.pmf(0, 114, 53, 30), hypergeom.pmf(0, 20, 5, 4).
        for (of, hits, clean, known) in [
            (114, 53, 30, 8.043_127_379_293_778e-11),
            (20, 5, 4, 0.281_733_746_130_030_95),
        ] {
            let chance = all_clean_by_chance(of, hits, clean);
            assert!((chance / known - 1.0).abs() < 1e-10, "{chance}");
        }
        assert_eq!(all_clean_by_chance(10, 8, 5), 0.0);
        assert_eq!(all_clean_by_chance(10, 0, 5), 1.0);
    }

    /// 84 edges at which the victim rests long, then 30 at which it switches 134 ticks after the edge.
    fn edges() -> (Vec<i64>, Vec<Rest>) {
        let times: Vec<i64> = (1..=114).map(|n| 10_000 * n).collect();
        let end = |n: i64| {
            if n > 84 {
                10_000 * n + 134
            } else {
                10_000 * n + 6_000
            }
        };
        let rests = (1..=114)
            .map(|n| Rest {
                start: 10_000 * n - 3_000,
                end: end(n),
            })
            .collect();
        (times, rests)
    }

    #[test]
    fn edges_before_the_victim_s_own_are_left_out_where_none_strikes() {
        let (times, rests) = edges();
        let shape = Shape { lag: 39, width: 20 };
        let all = std::slice::from_ref(&(0..114));
        let struck: Vec<usize> = (0..84).filter(|n| n % 8 < 5).collect();
        assert_eq!(
            able(&times, all, &rests, &struck, shape),
            (0..84).collect::<Vec<_>>()
        );
        // Seldom struck: 30 clean ones may be chance.
        let few: Vec<usize> = (0..84).step_by(20).collect();
        assert_eq!(able(&times, all, &rests, &few, shape).len(), 114);
        // Struck there as elsewhere: nothing is left out.
        let everywhere: Vec<usize> = (0..114).step_by(2).collect();
        assert_eq!(able(&times, all, &rests, &everywhere, shape).len(), 114);
    }
}
