//! Statistics of ranks.

use super::normal::normal_upper;

/// Spearman's rank correlation of pairs, from −1 to 1; equal values share the mean of their ranks. None where either has
/// one value only, or there are no pairs. Cost: n log n.
///
/// # Formula
/// Pearson's correlation of the ranks.
///
/// # Source
/// Spearman 1904, *The proof and measurement of association between two things*.
pub fn rank_correlation(pairs: &[(i64, i64)]) -> Option<f64> {
    let (a, b): (Vec<i64>, Vec<i64>) = pairs.iter().copied().unzip();
    let (a, b) = (ranks(&a), ranks(&b));
    let mean = (pairs.len() as f64 + 1.0) / 2.0;
    let product =
        |x: &[f64], y: &[f64]| -> f64 { x.iter().zip(y).map(|(x, y)| (x - mean) * (y - mean)).sum() };
    let spread = (product(&a, &a) * product(&b, &b)).sqrt();
    (spread > 0.0).then(|| product(&a, &b) / spread)
}

/// How likely values as low as `a` are, drawn by chance from those of both lists: one-sided p of the rank sum, by the normal
/// distribution with its correction for continuity and for equal values. None where either is empty or all values are one.
/// Above the exact p where the lists hardly overlap, so on the safe side. Cost: n log n.
///
/// # Formula
/// z = (U − nm/2 + ½) / √(nm/12 · (n + m + 1 − Σ(t³ − t)/((n + m)(n + m − 1)))), U the rank sum of `a` less n(n + 1)/2, t the
/// number of values that are equal.
///
/// # Source
/// Mann and Whitney 1947, *On a test of whether one of two random variables is stochastically larger than the other*.
pub fn rank_sum_lower(a: &[i64], b: &[i64]) -> Option<f64> {
    let (n, m) = (a.len() as f64, b.len() as f64);
    let mut all = [a, b].concat();
    let sum: f64 = ranks(&all)[..a.len()].iter().sum();
    let u = sum - n * (n + 1.0) / 2.0;
    all.sort_unstable();
    let alike = all.chunk_by(|x, y| x == y).map(|alike| alike.len() as f64);
    let ties: f64 = alike.map(|t| t * t * t - t).sum();
    let both = n + m;
    let variance = n * m / 12.0 * (both + 1.0 - ties / (both * (both - 1.0)));
    let is_told = !a.is_empty() && !b.is_empty() && variance > 0.0;
    is_told.then(|| normal_upper((n * m / 2.0 - u - 0.5) / variance.sqrt()))
}

/// Ranks from 1, of equal values their mean.
fn ranks(values: &[i64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by_key(|&at| values[at]);
    let mut ranks = vec![0.0; values.len()];
    let mut from = 0;
    while from < order.len() {
        let alike = order[from..]
            .iter()
            .take_while(|&&at| values[at] == values[order[from]]);
        let to = from + alike.count();
        for &at in &order[from..to] {
            ranks[at] = (from + to + 1) as f64 / 2.0;
        }
        from = to;
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::{rank_correlation, rank_sum_lower};

    #[test]
    fn rank_sums_are_scipy_s() {
        // scipy.stats.mannwhitneyu(alternative="less", method="asymptotic"), SciPy 1.17.1.
        let near = |found: Option<f64>, expected: f64| (found.unwrap() / expected - 1.0).abs() < 1e-9;
        let ties = rank_sum_lower(&[3, 1, 4, 1, 5], &[9, 2, 6, 5, 3, 5, 8, 9, 7]);
        assert!(near(ties, 0.018_637_012_369_078_984), "{ties:?}");
        let (low, high): (Vec<i64>, Vec<i64>) = (0..36).partition(|n| *n < 8);
        let apart = rank_sum_lower(&low, &high);
        assert!(near(apart, 1.104_314_847_891_086_9e-5), "{apart:?}");
        assert_eq!(rank_sum_lower(&[], &[1]), None);
        assert_eq!(rank_sum_lower(&[2, 2], &[2]), None);
    }

    #[test]
    fn rank_correlations_are_scipy_s() {
        // scipy.stats.spearmanr, SciPy 1.17.1.
        let of = |a: &[i64], b: &[i64]| {
            let pairs: Vec<(i64, i64)> = a.iter().copied().zip(b.iter().copied()).collect();
            rank_correlation(&pairs)
        };
        let ties = of(
            &[3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8],
            &[2, 7, 1, 8, 2, 8, 1, 8, 2, 8, 4, 5],
        );
        assert!((ties.unwrap() - TIES).abs() < 1e-12, "{ties:?}");
        assert!((of(&[10, 20, 30, 40, 50], &[1, 2, 3, 5, 4]).unwrap() - 0.9).abs() < 1e-12);
        assert_eq!(of(&[1, 1, 1], &[1, 2, 3]), None);
        assert_eq!(of(&[], &[]), None);
    }

    const TIES: f64 = 0.1415796863640157;
}
