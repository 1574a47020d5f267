//! The regularised incomplete beta function I_x(a, b), its complement and its inverse, in logs.
//!
//! # Source
//! Continued fraction: Abramowitz and Stegun 26.5.8 (DLMF 8.17.22), evaluated by Lentz's method as in Thompson
//! and Barnett (1986). Prefactor: Loader (2000), see [`super::gamma`].

use super::gamma::{HALF_LN_2PI, deviance, stirling_error};
use super::ln_1m_exp;
use super::root::rising_root;

/// Both tails of the beta distribution as natural logarithms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LnTails {
    /// ln I_x(a, b)
    pub lower: f64,
    /// ln (1 − I_x(a, b))
    pub upper: f64,
}

/// Both tails for a, b > 0; `y` is 1 − x, given apart so that neither end loses digits.
pub fn ln_tails(a: f64, b: f64, x: f64, y: f64) -> LnTails {
    if x <= 0.0 {
        return LnTails {
            lower: f64::NEG_INFINITY,
            upper: 0.0,
        };
    }
    if y <= 0.0 {
        return LnTails {
            lower: 0.0,
            upper: f64::NEG_INFINITY,
        };
    }
    let n = a + b;
    // x^a·y^b·Γ(a+b) / (Γ(a)·Γ(b)) times 1/a or 1/b.
    let ln_power = ln_point(a, b, x, y) + (a * (b / n)).ln();
    if x * (n + 2.0) < a + 1.0 {
        let lower = (ln_power - a.ln() + fraction(a, b, x).ln()).min(0.0);
        LnTails {
            lower,
            upper: ln_1m_exp(lower),
        }
    } else {
        let upper = (ln_power - b.ln() + fraction(b, a, y).ln()).min(0.0);
        LnTails {
            lower: ln_1m_exp(upper),
            upper,
        }
    }
}

/// x with I_x(a, b) = p, and 1 − x. `ln_p` and `ln_q` are the logarithms of p and 1 − p, given apart so that
/// neither end loses digits.
///
/// Newton's method on the logarithm of the smaller tail over the log odds of x, where it is concave, kept
/// inside a shrinking bracket; at most 200 steps.
pub fn beta_quantile(a: f64, b: f64, ln_p: f64, ln_q: f64) -> (f64, f64) {
    if ln_p == f64::NEG_INFINITY {
        return (0.0, 1.0);
    }
    if ln_q == f64::NEG_INFINITY {
        return (1.0, 0.0);
    }
    let t = rising_root((a / b).ln(), (-740.0, 740.0), |t| {
        let (x, y) = odds(t);
        let tails = ln_tails(a, b, x, y);
        // d I/dt = x·y·density
        let ln_slope = ln_point(a, b, x, y) + (a * (b / (a + b))).ln();
        if ln_p < ln_q {
            (tails.lower - ln_p, (ln_slope - tails.lower).exp())
        } else {
            (ln_q - tails.upper, (ln_slope - tails.upper).exp())
        }
    });
    odds(t)
}

/// Probability and its complement from log odds.
fn odds(t: f64) -> (f64, f64) {
    (1.0 / (1.0 + (-t).exp()), 1.0 / (1.0 + t.exp()))
}

/// ln of Γ(a+b+1)/(Γ(a+1)·Γ(b+1))·x^a·y^b for real a, b ≥ 0: the binomial point probability.
pub(super) fn ln_point(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    if a == 0.0 {
        return n * ln_complement(y, x);
    }
    if b == 0.0 {
        return n * ln_complement(x, y);
    }
    stirling_error(n) - stirling_error(a) - stirling_error(b) - deviance(a, n * x) - deviance(b, n * y)
        + 0.5 * (n / a / b).ln()
        - HALF_LN_2PI
}

/// ln x, from 1 − x where x is near 1.
fn ln_complement(x: f64, y: f64) -> f64 {
    if y < 0.5 { (-y).ln_1p() } else { x.ln() }
}

/// The continued fraction of A&S 26.5.8, for x below the mean.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |v: f64| if v.abs() < TINY { TINY } else { v };
    let n = a + b;
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - n * x / (a + 1.0));
    let mut h = d;
    // Near the mean it needs about √n rounds; five times that many was never reached in the tested range.
    let limit = 1000 + (5.0 * n.sqrt()) as u64;
    for i in 1..=limit {
        let m = i as f64;
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (n + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        let step = d * c;
        h *= step;
        if (step - 1.0).abs() < 2e-16 {
            return h;
        }
    }
    // Not an answer: the caller's figure becomes NaN rather than a wrong number.
    f64::NAN
}
