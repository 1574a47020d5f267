//! How many clean opportunities it takes to rule out a strike rate, or to settle that it fell.

use super::fisher::fisher;

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

/// Number of opportunities after, more than `n2`, at which Fisher's two-sided test tells a rate of `b` in `n2` from `a` in
/// `n1` before at level `alpha`, if strikes go on at that rate; to a few of a hundred. `None` where `n2` is 0, or more than
/// `limit` would be needed.
pub fn to_settle_at_this_rate([a, n1]: [u64; 2], [b, n2]: [u64; 2], alpha: f64, limit: u64) -> Option<u64> {
    let rate = b as f64 / n2 as f64;
    let is_told = |n: &u64| fisher(a, n1, (rate * *n as f64).round() as u64, *n).two_sided() < alpha;
    let longer = std::iter::successors(Some(n2), |&n| n.checked_add(n.div_ceil(32)));
    let mut longer = longer.skip(1).take_while(|&n| n <= limit);
    if n1 == 0 || n2 == 0 {
        None
    } else {
        longer.find(is_told)
    }
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
