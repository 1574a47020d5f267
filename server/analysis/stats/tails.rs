//! Tails of the binomial and the Poisson distribution, as probabilities and as natural logarithms.
//!
//! # Formula
//! P(X ≥ k | n, p) = I_p(k, n − k + 1); Poisson tails by their own series from the point probability outwards.
//!
//! # Source
//! Abramowitz and Stegun 26.5.24 and 26.4.21; point probabilities by Loader (2000), see [`super::gamma`].

use super::beta::{ln_point, ln_tails};
use super::gamma::{HALF_LN_2PI, deviance, stirling_error};
use super::ln_1m_exp;

/// ln P(X = k) for X ~ Binomial(n, p); −∞ where impossible.
pub fn ln_binomial_point(k: u64, n: u64, p: f64) -> f64 {
    if k > n || (p <= 0.0 && k > 0) || (p >= 1.0 && k < n) {
        return f64::NEG_INFINITY;
    }
    if p <= 0.0 || p >= 1.0 {
        return 0.0;
    }
    ln_point(k as f64, (n - k) as f64, p, 1.0 - p)
}

/// P(X ≥ k) for X ~ Binomial(n, p). Cost: of the order of √n.
pub fn binomial_upper(k: u64, n: u64, p: f64) -> f64 {
    ln_binomial_upper(k, n, p).exp()
}

/// ln P(X ≥ k) for X ~ Binomial(n, p).
pub fn ln_binomial_upper(k: u64, n: u64, p: f64) -> f64 {
    if k == 0 {
        return 0.0;
    }
    if k > n || p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    ln_tails(k as f64, (n - k + 1) as f64, p, 1.0 - p).lower
}

/// P(X ≤ k) for X ~ Binomial(n, p). Cost: of the order of √n.
pub fn binomial_lower(k: u64, n: u64, p: f64) -> f64 {
    ln_binomial_lower(k, n, p).exp()
}

/// ln P(X ≤ k) for X ~ Binomial(n, p).
pub fn ln_binomial_lower(k: u64, n: u64, p: f64) -> f64 {
    if k >= n {
        return 0.0;
    }
    ln_tails((k + 1) as f64, (n - k) as f64, p, 1.0 - p).upper
}

/// P(X ≥ k) for X ~ Poisson(mean). Cost: of the order of √mean.
pub fn poisson_upper(k: u64, mean: f64) -> f64 {
    ln_poisson_upper(k, mean).exp()
}

/// ln P(X ≥ k) for X ~ Poisson(mean).
pub fn ln_poisson_upper(k: u64, mean: f64) -> f64 {
    if k == 0 {
        return 0.0;
    }
    if mean <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if k as f64 > mean {
        rising(k, mean)
    } else {
        ln_1m_exp(falling(k - 1, mean))
    }
}

/// P(X ≤ k) for X ~ Poisson(mean). Cost: of the order of √mean.
pub fn poisson_lower(k: u64, mean: f64) -> f64 {
    ln_poisson_lower(k, mean).exp()
}

/// ln P(X ≤ k) for X ~ Poisson(mean).
pub fn ln_poisson_lower(k: u64, mean: f64) -> f64 {
    if mean <= 0.0 {
        return 0.0;
    }
    if (k as f64) < mean {
        falling(k, mean)
    } else {
        ln_1m_exp(rising(k + 1, mean))
    }
}

/// ln P(X = k) for X ~ Poisson(mean), mean > 0.
fn ln_poisson_point(k: u64, mean: f64) -> f64 {
    if k == 0 {
        return -mean;
    }
    let x = k as f64;
    -stirling_error(x) - deviance(x, mean) - 0.5 * x.ln() - HALF_LN_2PI
}

/// ln P(X ≥ k), k > mean: the series from k upwards.
fn rising(k: u64, mean: f64) -> f64 {
    let (mut sum, mut term, mut j) = (1.0, 1.0, k as f64);
    loop {
        j += 1.0;
        term *= mean / j;
        sum += term;
        if term < 1e-17 * sum {
            return (ln_poisson_point(k, mean) + f64::ln(sum)).min(0.0);
        }
    }
}

/// ln P(X ≤ k), k < mean: the series from k downwards.
fn falling(k: u64, mean: f64) -> f64 {
    let (mut sum, mut term, mut j) = (1.0, 1.0, k as f64);
    while j > 0.0 && term >= 1e-17 * sum {
        term *= j / mean;
        sum += term;
        j -= 1.0;
    }
    (ln_poisson_point(k, mean) + f64::ln(sum)).min(0.0)
}
