//! The normal distribution's tail and quantile.
//!
//! # Source
//! Series and continued fraction of the complementary error function: Abramowitz and Stegun 7.1.6, 7.1.14.

use super::gamma::HALF_LN_2PI;
use super::ln_1m_exp;

/// P(Z ≥ z) for a standard normal Z.
pub fn normal_upper(z: f64) -> f64 {
    ln_normal_upper(z).exp()
}

/// ln P(Z ≥ z) for a standard normal Z.
fn ln_normal_upper(z: f64) -> f64 {
    if z < 0.0 {
        return ln_1m_exp(ln_normal_upper(-z));
    }
    if z < 2.5 {
        // ½ − φ(z)·(z + z³/3 + z⁵/15 + …): at worst two digits are lost.
        let (mut sum, mut term, mut k) = (z, z, 1.0);
        while term > 1e-17 * sum {
            k += 2.0;
            term *= z * z / k;
            sum += term;
        }
        return (0.5 - (-0.5 * z * z - HALF_LN_2PI).exp() * sum).ln();
    }
    // φ(z) / (z + 1/(z + 2/(z + 3/(z + …)))), from a depth that suffices at z = 2.5.
    let mut tail = z;
    for k in (1..=150).rev() {
        tail = z + k as f64 / tail;
    }
    -0.5 * z * z - HALF_LN_2PI - tail.ln()
}

/// z with P(Z ≤ z) = p, for 0 < p < 1.
pub fn normal_quantile(p: f64) -> f64 {
    if p > 0.5 {
        upper_quantile((1.0 - p).ln())
    } else {
        -upper_quantile(p.ln())
    }
}

/// z ≥ 0 with ln P(Z ≥ z) = `ln_p`, for `ln_p` ≤ ln ½. Newton's method on the logarithm, which is concave.
fn upper_quantile(ln_p: f64) -> f64 {
    let mut z = (-2.0 * (ln_p + std::f64::consts::LN_2)).max(0.0).sqrt();
    for _ in 0..100 {
        let tail = ln_normal_upper(z);
        let hazard = (-0.5 * z * z - HALF_LN_2PI - tail).exp();
        let step = (tail - ln_p) / hazard;
        z += step;
        if step.abs() <= 1e-15 * (1.0 + z.abs()) {
            break;
        }
    }
    z
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tails_and_quantiles_agree_with_mpmath() {
        // mpmath 1.4.1, ln(erfc(z/√2)/2), 25 digits.
        let cases = [
            (0.0, -std::f64::consts::LN_2),
            (0.5, -1.1759117615936185),
            (1.0, -1.8410216450092635),
            (2.4999, -5.081366007354048),
            (2.5, -5.0816482772786905),
            (5.0, -15.064998393988726),
            (37.0, -689.0305855768906),
            (-3.0, -0.001350809964748202),
        ];
        for (z, want) in cases {
            let got = ln_normal_upper(z);
            assert!(
                (got - want).abs() < 1e-12 * want.abs().max(1e-3),
                "{z}: {got:e} for {want:e}"
            );
        }
        // The usual tables: 97.5 % and 5 % points.
        assert!((normal_quantile(0.975) - 1.959963984540054).abs() < 1e-13);
        assert!((normal_quantile(0.05) + 1.6448536269514722).abs() < 1e-13);
        assert!((normal_quantile(1e-300) + 37.0471).abs() < 1e-4);
    }
}
