//! The least-squares line with its standard errors.

/// y = intercept + slope·(x − middle); standard errors are of ordinary least squares, widened where neighbouring
/// residuals go together (edges locked to a sampling clock beat with it).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineFit {
    /// Mean of x.
    pub middle: f64,
    /// y at the middle, and its standard error.
    pub intercept: f64,
    pub intercept_se: f64,
    /// Change of y for each unit of x, and its standard error.
    pub slope: f64,
    pub slope_se: f64,
    /// √(RSS / (n − 2)).
    pub residual: f64,
    /// Factor by which the standard errors were widened.
    pub widened: f64,
}

impl LineFit {
    /// y at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * (x - self.middle)
    }

    /// Standard error of y at `x`.
    pub fn se_at(&self, x: f64) -> f64 {
        self.intercept_se.hypot(self.slope_se * (x - self.middle))
    }
}

/// Fits a line through `x`, `y` (n each, n ≥ 3, x ascending). Slope 0 where all x are equal.
///
/// # Formula
/// se(slope) = s/√Sxx, se(mean) = s/√n, s² = RSS/(n − 2). If the residuals' autocorrelations at lags 1, 2, …
/// stand out (above 3/√n, up to the first that does not), both are widened by √(1 + 2·Σρ).
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4; widening: effective sample size of a
/// stationary series, Bartlett (1946).
pub fn fit_line(x: &[f64], y: &[f64]) -> LineFit {
    let n = x.len() as f64;
    let (mx, my) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let (mut sxx, mut sxy) = (0.0, 0.0);
    for (x, y) in x.iter().zip(y) {
        sxx += (x - mx) * (x - mx);
        sxy += (x - mx) * (y - my);
    }
    let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
    let left: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - my - slope * (x - mx)).collect();
    let rss: f64 = left.iter().map(|r| r * r).sum();
    let residual = (rss / (n - 2.0).max(1.0)).sqrt();
    let widened = widening(&left, rss);
    LineFit {
        middle: mx,
        intercept: my,
        intercept_se: widened * residual / n.sqrt(),
        slope,
        slope_se: if sxx > 0.0 {
            widened * residual / sxx.sqrt()
        } else {
            f64::INFINITY
        },
        residual,
        widened,
    }
}

fn widening(left: &[f64], rss: f64) -> f64 {
    let n = left.len();
    if rss <= 0.0 || n < 20 {
        return 1.0;
    }
    let limit = 3.0 / (n as f64).sqrt();
    let mut sum = 0.0;
    for lag in 1..(n / 10).min(500) {
        let product: f64 = left[lag..].iter().zip(left).map(|(a, b)| a * b).sum();
        let correlation = product / rss;
        if correlation < limit {
            break;
        }
        sum += correlation;
    }
    (1.0 + 2.0 * sum).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_reference_lines() {
        // Values of numpy/mpmath normal equations at 50 digits; standard errors as in the NIST e-Handbook 4.1.4.
        let fit = fit_line(&[0.0, 1.0, 2.0, 3.0, 4.0], &[0.1, 1.1, 2.0, 3.1, 4.1]);
        assert!((fit.slope - 1.0).abs() < 1e-15 && (fit.at(0.0) - 0.08).abs() < 1e-15);
        assert!((fit.slope_se - 0.016_329_931_618_554_52).abs() < 1e-15);
        assert!((fit.se_at(0.0) - 0.04).abs() < 1e-15);
        assert!((fit.residual - 0.051_639_777_949_432_225).abs() < 1e-15);
        let x = [0.0, 100.0, 200.0, 350.0, 500.0];
        let y = [5.0, 105.003, 205.007, 355.011, 505.015];
        let fit = fit_line(&x, &y);
        assert!((fit.slope - 1.000_030_189_873_417_6).abs() < 1e-14);
        assert!((fit.slope_se / 1.294_506_241_066_873e-6 - 1.0).abs() < 1e-7);
        assert!((fit.se_at(0.0) / 3.762_985_138_020_126e-4 - 1.0).abs() < 1e-7);
    }

    #[test]
    fn quantised_edges_have_the_theoretical_error() {
        // Bennett (1948): sd of one edge T/√12, of a difference of two T/√6; 1000 edges over 1 s at 10 ns:
        // drift 4.467665…e-10, offset in the middle 1.29099…e-10 s (evenly spread edges, unlocked phase).
        let n = 1000;
        let (ta, tb) = (1e-8, 1e-8 * (1.0 + 1.234_567e-5));
        let phase = |i: u64, k: u64| {
            (i.wrapping_mul(k).wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 11) as f64 / (1u64 << 53) as f64
        };
        let (mut x, mut y) = (Vec::new(), Vec::new());
        for i in 0..n {
            let t = i as f64 / (n - 1) as f64;
            x.push(t);
            y.push(ta * (phase(i, 3) - 0.5) - tb * (phase(i, 7) - 0.5));
        }
        let fit = fit_line(&x, &y);
        assert!(
            (fit.residual / 4.082_482_904_638_63e-9 - 1.0).abs() < 0.08,
            "{fit:?}"
        );
        assert!((fit.slope_se / (4.467_665_8e-10 * fit.widened) - 1.0).abs() < 0.08);
        assert!((fit.intercept_se / (1.290_994_4e-10 * fit.widened) - 1.0).abs() < 0.08);
    }
}
