//! Fisher's exact test on two rates.
//!
//! # Source
//! Fisher (1935), The Design of Experiments. Two-sided: the sum of all tables no likelier than the one seen,
//! ties told within a relative 1e-7 (common practice, no source).

use super::ln_1m_exp;
use super::tails::ln_binomial_point;

/// Probabilities of a table at least as extreme, given its margins, as natural logarithms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fisher {
    /// The first rate is as low or lower.
    pub ln_less: f64,
    /// The first rate is as high or higher.
    pub ln_greater: f64,
    /// A table no likelier than the one seen.
    pub ln_two_sided: f64,
}

impl Fisher {
    /// One-sided p: the first rate is as high or higher. 0 below about 1e-308.
    pub fn greater(&self) -> f64 {
        self.ln_greater.exp()
    }
    /// Two-sided p. 0 below about 1e-308.
    pub fn two_sided(&self) -> f64 {
        self.ln_two_sided.exp()
    }
}

/// Compares `a` of `n1` with `b` of `n2`. Counts above their totals are taken as the totals.
/// Cost: of the order of the hypergeometric law's spread, at most √(a + b).
pub fn fisher(a: u64, n1: u64, b: u64, n2: u64) -> Fisher {
    let law = Hypergeometric::new(a.min(n1), n1, b.min(n2), n2);
    let x = a.min(n1);
    let ln_less = law.ln_at_most(x);
    let ln_greater = law.ln_at_least(x);
    Fisher {
        ln_less,
        ln_greater,
        ln_two_sided: law.ln_two_sided(x),
    }
}

/// How many of `k` strays fall among the first `n1` opportunities when they fall blindly among `n1 + n2`.
struct Hypergeometric {
    n1: u64,
    n2: u64,
    k: u64,
    low: u64,
    high: u64,
    mode: u64,
}

impl Hypergeometric {
    fn new(a: u64, n1: u64, b: u64, n2: u64) -> Hypergeometric {
        let k = a + b;
        let (low, high) = (k.saturating_sub(n2), k.min(n1));
        let mode = ((k as u128 + 1) * (n1 as u128 + 1) / (n1 as u128 + n2 as u128 + 2)) as u64;
        Hypergeometric {
            n1,
            n2,
            k,
            low,
            high,
            mode: mode.clamp(low, high),
        }
    }

    fn ln_point(&self, x: u64) -> f64 {
        if self.low == self.high {
            return 0.0;
        }
        let p = self.k as f64 / (self.n1 as f64 + self.n2 as f64);
        ln_binomial_point(x, self.n1, p) + ln_binomial_point(self.k - x, self.n2, p)
            - ln_binomial_point(self.k, self.n1 + self.n2, p)
    }

    /// Sum of the points from `x` away from the mode, upwards.
    fn ln_upwards(&self, x: u64) -> f64 {
        let (mut sum, mut term, mut at) = (1.0, 1.0, x);
        while at < self.high {
            let clean = (self.n2 + at + 1 - self.k) as f64;
            term *= (self.n1 - at) as f64 / (at + 1) as f64 * ((self.k - at) as f64 / clean);
            sum += term;
            at += 1;
            if term < 1e-17 * sum {
                break;
            }
        }
        (self.ln_point(x) + f64::ln(sum)).min(0.0)
    }

    /// Sum of the points from `x` away from the mode, downwards.
    fn ln_downwards(&self, x: u64) -> f64 {
        let (mut sum, mut term, mut at) = (1.0, 1.0, x);
        while at > self.low {
            let clean = (self.n2 + at - self.k) as f64;
            term *= at as f64 / (self.n1 - at + 1) as f64 * (clean / (self.k - at + 1) as f64);
            sum += term;
            at -= 1;
            if term < 1e-17 * sum {
                break;
            }
        }
        (self.ln_point(x) + f64::ln(sum)).min(0.0)
    }

    fn ln_at_least(&self, x: u64) -> f64 {
        if x <= self.low {
            0.0
        } else if x > self.mode {
            self.ln_upwards(x)
        } else {
            ln_1m_exp(self.ln_downwards(x - 1))
        }
    }

    fn ln_at_most(&self, x: u64) -> f64 {
        if x >= self.high {
            0.0
        } else if x < self.mode {
            self.ln_downwards(x)
        } else {
            ln_1m_exp(self.ln_upwards(x + 1))
        }
    }

    fn ln_two_sided(&self, x: u64) -> f64 {
        let limit = self.ln_point(x) + 1e-7;
        // The largest x' below the mode, and the smallest above it, that are no likelier than x.
        let below = (self.low <= self.mode && self.ln_point(self.low) <= limit).then(|| {
            let (mut fits, mut fails) = (self.low, self.mode + 1);
            while fails - fits > 1 {
                let middle = fits + (fails - fits) / 2;
                if self.ln_point(middle) <= limit {
                    fits = middle
                } else {
                    fails = middle
                }
            }
            fits
        });
        let above = (self.ln_point(self.high) <= limit).then(|| {
            let (mut fits, mut fails) = (self.high as i64, self.mode as i64 - 1);
            while fits - fails > 1 {
                let middle = fits - (fits - fails) / 2;
                if self.ln_point(middle as u64) <= limit {
                    fits = middle
                } else {
                    fails = middle
                }
            }
            fits as u64
        });
        match (below, above) {
            (Some(b), Some(a)) if a <= b + 1 => 0.0,
            (Some(b), Some(a)) => {
                let (lower, upper) = (self.ln_downwards(b), self.ln_upwards(a));
                let (small, big) = if lower < upper {
                    (lower, upper)
                } else {
                    (upper, lower)
                };
                (big + (small - big).exp().ln_1p()).min(0.0)
            }
            (Some(b), None) => self.ln_at_most(b),
            (None, Some(a)) => self.ln_at_least(a),
            (None, None) => 0.0,
        }
    }
}
