//! How many opportunities it takes: exact power of a drop, and clean opportunities.

use super::fisher::fisher;
use super::tails::{binomial_lower, binomial_point};

/// Smallest number of clean opportunities in a row that rules out the strike rate `rate` (or worse) with
/// `confidence`: the smallest n with (1 − rate)^n ≤ 1 − confidence. `None` for a rate of 0.
///
/// # Source
/// Inverse of the rule of three: Hanley and Lippman-Hand (1983), JAMA 249:1743.
pub fn clean_opportunities(rate: f64, confidence: f64) -> Option<u64> {
    if rate <= 0.0 {
        return None;
    }
    if rate >= 1.0 {
        return Some(1);
    }
    let n = (1.0 - confidence).ln() / (-rate).ln_1p();
    // A whole number that rounding pushed a hair up stays whole.
    Some((n - 1e-9).ceil().max(1.0) as u64)
}

/// Exact power: the probability that Fisher's one-sided test sees, at level `alpha`, the drop from `rate_before`
/// in `n_before` opportunities to `rate_after` in `n_after`.
///
/// Outcomes before that lie further than 12 standard deviations off are left out (below 1e-30 together).
/// Cost: of the order of the spread of both counts, each times one test.
pub fn power_of_drop(rate_before: f64, n_before: u64, rate_after: f64, n_after: u64, alpha: f64) -> f64 {
    let mean = rate_before * n_before as f64;
    let reach = 12.0 * (mean * (1.0 - rate_before)).sqrt() + 40.0;
    let first = (mean - reach).max(0.0) as u64;
    let last = ((mean + reach) as u64).min(n_before);
    let rejects = |a: u64, b: u64| fisher(a, n_before, b, n_after).greater() <= alpha;
    let mut power = 0.0;
    // Strays after below `bound` are few enough; the bound rises with the strays before.
    let mut bound = 0;
    for a in first..=last {
        if a == first {
            let (mut fits, mut fails) = (0, n_after + 1);
            while fits < fails {
                let middle = fits + (fails - fits) / 2;
                if rejects(a, middle) {
                    fits = middle + 1
                } else {
                    fails = middle
                }
            }
            bound = fits;
        } else {
            while bound <= n_after && rejects(a, bound) {
                bound += 1;
            }
        }
        if bound > 0 {
            power +=
                binomial_point(a, n_before, rate_before) * binomial_lower(bound - 1, n_after, rate_after);
        }
    }
    power.min(1.0)
}

/// Smallest number of opportunities after (at least `b`, of which `b` were struck and the others clean) at
/// which Fisher's two-sided test against `a` of `n1` before shows fewer at level `alpha`. `None` if nothing
/// struck before or more than `limit` would be needed.
pub fn clean_to_settle(a: u64, n1: u64, b: u64, alpha: f64, limit: u64) -> Option<u64> {
    if a == 0 || n1 == 0 {
        return None;
    }
    let settled =
        |n2: u64| b as f64 * (n1 as f64) < a as f64 * n2 as f64 && fisher(a, n1, b, n2).two_sided() < alpha;
    let mut fails = b;
    let mut fits = (b + 1).max(8);
    while !settled(fits) {
        fails = fits;
        fits = fits.checked_mul(2)?;
        if fits > limit {
            return None;
        }
    }
    while fits - fails > 1 {
        let middle = fails + (fits - fails) / 2;
        if settled(middle) {
            fits = middle
        } else {
            fails = middle
        }
    }
    // The two-sided p steps up a little where the far tail joins: walk back to the first that holds.
    while fits > b + 1 && settled(fits - 1) {
        fits -= 1;
    }
    Some(fits)
}

/// Smallest number of opportunities after at which a drop to `rate_after` is seen with probability `power`
/// (Fisher one-sided at `alpha`), given `n_before`. `None` where more than `limit` would be needed.
pub fn opportunities_for_power(
    rate_before: f64,
    n_before: u64,
    rate_after: f64,
    alpha: f64,
    power: f64,
    limit: u64,
) -> Option<u64> {
    let enough = |n: u64| power_of_drop(rate_before, n_before, rate_after, n, alpha) >= power;
    let (mut fails, mut fits) = (0, 8);
    while !enough(fits) {
        fails = fits;
        fits *= 2;
        if fits > limit {
            return None;
        }
    }
    while fits - fails > 1 {
        let middle = fails + (fits - fails) / 2;
        if enough(middle) {
            fits = middle
        } else {
            fails = middle
        }
    }
    Some(fits)
}
