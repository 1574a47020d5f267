//! Exact statistics on counts: tails, intervals, tests, how many it takes. Dependency-free, bounded in time.
//!
//! Every tail is worked from its small end and comes also as a natural logarithm (`ln_…`), so that nothing is
//! lost where the probability underflows. Point probabilities use Loader's saddle-point form, which keeps full
//! precision for counts up to 10⁸ where log-gamma differences lose seven digits.
//!
//! Tested range: p from 1 down to 1e-300 (and further in logs), counts up to 10⁸, ten digits or better; see the
//! tests of each file and `tests/data/statistics.json`, made by `tests/data/statistics.py`.
//!
//! A crate was tried and dropped for these: its two-sided Fisher went wrong below 1e-11, its binomial tail from
//! a million trials on, and its beta quantile did not return for ten million.

#![allow(clippy::excessive_precision)] // Constants stand as published.
mod beta;
pub mod fisher;
mod gamma;
pub mod intervals;
pub mod multiple;
pub mod normal;
pub mod order;
pub mod power;
pub mod ranks;
pub mod ratio;
mod root;
pub mod runs;
pub mod tails;
pub mod variance;

#[cfg(test)]
mod golden;

/// ln(1 − e^x) for x ≤ 0, without cancellation.
pub(crate) fn ln_1m_exp(x: f64) -> f64 {
    if x > -std::f64::consts::LN_2 {
        (-x.exp_m1()).ln()
    } else {
        (-x.exp()).ln_1p()
    }
}
