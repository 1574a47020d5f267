//! How many clean opportunities it takes to rule out a strike rate, or to settle that it fell; how many more at the rates of now.

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

/// Share of the rate before that may be left of a trouble that is called gone. A tenth: common practice, no source.
pub const LEFT: f64 = 0.1;

/// What so many opportunities in a row show after a change, all of them clean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CleanNeeded {
    /// That it strikes less often than before: Fisher's two-sided test at the level asked for. `None` where no number does.
    pub fewer: Option<u64>,
    /// And that at most [`LEFT`] of the rate before is left, with the confidence 1 − level; never fewer than `fewer`.
    pub gone: Option<u64>,
}

/// How many clean opportunities after a change settle that it helped, and that it is gone, where `a` of `n1` were struck
/// before. What a finding promises and what a comparison asks for is this one number.
///
/// # Source
/// Fisher 1935; Hanley and Lippman-Hand 1983 (see [`clean_opportunities`]).
pub fn clean_needed([a, n1]: [u64; 2], alpha: f64, limit: u64) -> CleanNeeded {
    let fewer = clean_to_settle(a, n1, 0, alpha, limit);
    let rate = a as f64 / n1.max(1) as f64;
    let gone = clean_opportunities(rate * LEFT, 1.0 - alpha);
    CleanNeeded {
        fewer,
        gone: gone.zip(fewer).map(|(gone, fewer)| gone.max(fewer)),
    }
}

/// Number of opportunities after, more than `n2`, from which on `is_told` holds if strikes go on at the rate of now, `b` in `n2`;
/// to a few of a hundred. `is_told` takes strikes and opportunities after. `None` where `n2` is 0, or more than `limit` would be
/// needed.
pub fn longer_after([b, n2]: [u64; 2], limit: u64, is_told: &dyn Fn(u64, u64) -> bool) -> Option<u64> {
    if n2 == 0 {
        return None;
    }
    let rate = b as f64 / n2 as f64;
    let longer = std::iter::successors(Some(n2), |&n| n.checked_add(n.div_ceil(32)));
    let mut longer = longer.skip(1).take_while(|&n| n <= limit);
    longer.find(|&n| is_told((rate * n as f64).round() as u64, n))
}

/// How many times what is counted now on both sides makes `is_told` hold at the rates of now, to a few of a hundred; at most
/// `limit`. `is_told` takes strikes and opportunities before, then after.
pub fn longer_on_both(
    [before, after]: [[u64; 2]; 2],
    limit: f64,
    is_told: &dyn Fn([u64; 2], [u64; 2]) -> bool,
) -> Option<f64> {
    let times = |[k, n]: [u64; 2], by: f64| [k, n].map(|count| (count as f64 * by).round() as u64);
    let longer = std::iter::successors(Some(1.0), |by| Some(by * 33.0 / 32.0));
    let mut longer = longer.skip(1).take_while(|by| *by <= limit);
    longer.find(|&by| is_told(times(before, by), times(after, by)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 − 0.05^(1/n) is the rule-of-three bound (Hanley and Lippman-Hand 1983): at n it lies at a tenth of the rate before, at
    /// n − 1 above it. The count of Fisher's test: scipy.stats.fisher_exact of SciPy 1.17.1.
    #[test]
    fn what_a_finding_promises_is_what_a_comparison_asks_for() {
        let needed = clean_needed([149, 800], 0.05, 1 << 40);
        assert_eq!(
            needed,
            CleanNeeded {
                fewer: Some(19),
                gone: Some(160)
            }
        );
        let bound = |n: u64| 1.0 - 0.05f64.powf(1.0 / n as f64);
        assert!(bound(160) <= 0.018625 && bound(159) > 0.018625);
        let few = clean_needed([3, 20], 0.05, 1 << 40);
        assert_eq!((few.fewer, few.gone), (Some(33), Some(199)));
        assert_eq!(clean_needed([0, 20], 0.05, 1 << 40).gone, None);
    }
}
