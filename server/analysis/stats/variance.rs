//! Which of two paired series varies more.

use super::beta::ln_tails;

/// Mean square of the deviations from the mean, over n − 1; 0 for fewer than two values.
pub fn variance(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    if n < 2.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1.0)
}

/// One-sided probability that `x` would vary so much more than `y` by chance, were both to vary alike; pairs may be correlated. 1
/// for fewer than three pairs, or where nothing varies.
///
/// Pitman, *A Note on Normal Correlation*, Biometrika 31 (1939), and Morgan in the same volume: x and y vary alike when x + y and
/// x − y are uncorrelated, and the square of that correlation follows a beta distribution with 1/2 and (n − 2)/2.
pub fn pitman_morgan(x: &[f64], y: &[f64]) -> f64 {
    let pairs = || x.iter().zip(y);
    let n = x.len().min(y.len()) as f64;
    let sums: Vec<f64> = pairs().map(|(x, y)| x + y).collect();
    let differences: Vec<f64> = pairs().map(|(x, y)| x - y).collect();
    let spread = variance(&sums) * variance(&differences);
    if n < 3.0 || spread <= 0.0 {
        return 1.0;
    }
    // The covariance of sum and difference.
    let covariance = variance(x) - variance(y);
    let square = (covariance * covariance / spread).min(1.0);
    let either_side = ln_tails(0.5, (n - 2.0) / 2.0, square, 1.0 - square).upper.exp();
    match covariance > 0.0 {
        true => either_side / 2.0,
        false => 1.0 - either_side / 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_test_is_scipy_s_of_sums_and_differences() {
        // SciPy 1.17.1: stats.pearsonr(x + y, x - y, alternative='greater').pvalue; NumPy 2: x.var(ddof=1).
        let x = [
            144.0, 168.0, 168.0, 168.0, 152.0, 176.0, 144.0, 152.0, 152.0, 160.0, 168.0,
        ];
        let y = [16.0, 8.0, 8.0, 8.0, 8.0, 8.0, 16.0, 16.0, 16.0, 16.0, 8.0];
        assert!((pitman_morgan(&x, &y) / 0.000_240_548_393_282_872_92 - 1.0).abs() < 1e-10);
        assert!((pitman_morgan(&y, &x) - 0.999_759_451_606_717_1).abs() < 1e-12);
        let x = [10.1, 12.3, 9.7, 11.2, 10.9, 13.0, 8.8];
        let y = [5.2, 4.1, 6.3, 5.5, 5.9, 4.6, 6.6];
        assert!((pitman_morgan(&x, &y) / 0.034_559_124_103_732_06 - 1.0).abs() < 1e-10);
        assert!((variance(&x) - 2.156_190_476_190_476_4).abs() < 1e-12);
    }

    #[test]
    fn what_does_not_vary_tells_nothing() {
        assert_eq!(pitman_morgan(&[3.0; 8], &[5.0; 8]), 1.0);
        assert_eq!(pitman_morgan(&[3.0, 4.0], &[5.0, 5.0]), 1.0);
        // Varies against what does not: the correlation is one.
        assert_eq!(pitman_morgan(&[3.0, 4.0, 6.0, 9.0], &[5.0; 4]), 0.0);
    }
}
