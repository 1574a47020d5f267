//! Intervals for rates and medians. All ends are closed.

use super::beta::beta_quantile;
use super::tails::binomial_lower;

/// The level of every interval and bound that is told: 95 %, the custom of the field, and what the pages name beside them.
pub const CONFIDENCE: f64 = 0.95;

/// Exact two-sided equal-tail interval of a rate, `k` of `n`. (0, 1) when `n` is 0.
///
/// # Source
/// Clopper and Pearson (1934), Biometrika 26:404.
pub fn clopper_pearson(k: u64, n: u64, confidence: f64) -> (f64, f64) {
    let each = 0.5 * (1.0 + confidence);
    (
        clopper_pearson_lower(k, n, each),
        clopper_pearson_upper(k, n, each),
    )
}

/// Exact one-sided upper bound of a rate, `k` of `n`. For k = 0 it is 1 − (1 − confidence)^(1/n): the exact form
/// of the rule of three, 3/n (Hanley and Lippman-Hand 1983, JAMA 249:1743).
pub fn clopper_pearson_upper(k: u64, n: u64, confidence: f64) -> f64 {
    if k >= n {
        return 1.0;
    }
    if k == 0 {
        return -((1.0 - confidence).ln() / n as f64).exp_m1();
    }
    beta_quantile(
        (k + 1) as f64,
        (n - k) as f64,
        confidence.ln(),
        (1.0 - confidence).ln(),
    )
    .0
}

/// Exact one-sided lower bound of a rate, `k` of `n`.
fn clopper_pearson_lower(k: u64, n: u64, confidence: f64) -> f64 {
    if k == 0 {
        return 0.0;
    }
    if k >= n {
        return ((1.0 - confidence).ln() / n as f64).exp();
    }
    beta_quantile(
        k as f64,
        (n - k + 1) as f64,
        (1.0 - confidence).ln(),
        confidence.ln(),
    )
    .0
}

/// Positions (from 0, both inclusive) of the order statistics that enclose the median of `n` values with at
/// least `confidence`; `None` when `n` is too small (n < 6 for 95 %).
///
/// # Source
/// Conover (1999), Practical Nonparametric Statistics, ch. 3: each end leaves out at most (1 − confidence)/2 of
/// Binomial(n, ½).
pub fn median_interval(n: usize, confidence: f64) -> Option<(usize, usize)> {
    let each = 0.5 * (1.0 - confidence);
    let n = n as u64;
    if binomial_lower(0, n, 0.5) > each || n == 0 {
        return None;
    }
    // Largest k with P(X ≤ k) ≤ each: the interval is the (k+1)th smallest to the (k+1)th largest.
    let (mut fits, mut fails) = (0, n / 2 + 1);
    while fails - fits > 1 {
        let middle = fits + (fails - fits) / 2;
        if binomial_lower(middle, n, 0.5) <= each {
            fits = middle
        } else {
            fails = middle
        }
    }
    Some((fits as usize, (n - 1 - fits) as usize))
}

/// Median of ascending values with its 95 % interval by order statistics; the smallest and largest value where
/// there are too few for one. `None` for no values.
pub fn median_of_sorted(values: &[f64]) -> Option<(f64, f64, f64)> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let median = 0.5 * (values[(n - 1) / 2] + values[n / 2]);
    let (low, high) = median_interval(n, CONFIDENCE).unwrap_or((0, n - 1));
    Some((median, values[low], values[high]))
}
