//! Statistics of ranks.

use super::normal::{normal_quantile, normal_upper};
use std::cmp::Ordering;

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
    let (above, spread) = rank_sum(a, b)?;
    Some(normal_upper((-above - 0.5) / spread))
}

/// By how much Mann and Whitney's U of `a` lies above its mean, and its standard deviation, equal values allowed for. None where either
/// is empty or all values are one.
fn rank_sum<T: PartialOrd + Copy>(a: &[T], b: &[T]) -> Option<(f64, f64)> {
    let (n, m) = (a.len() as f64, b.len() as f64);
    let ranks = ranks(&[a, b].concat());
    let u = ranks[..a.len()].iter().sum::<f64>() - n * (n + 1.0) / 2.0;
    let mut sorted = ranks;
    sorted.sort_by(f64::total_cmp);
    let alike = sorted.chunk_by(|x, y| x == y).map(|alike| alike.len() as f64);
    let ties: f64 = alike.map(|t| t * t * t - t).sum();
    let both = n + m;
    let variance = n * m / 12.0 * (both + 1.0 - ties / (both * (both - 1.0)));
    (variance > 0.0).then(|| (u - n * m / 2.0, variance.sqrt()))
}

/// Fewest values on a side from which the normal distribution is near enough to that of the ranks: SciPy takes it from there too.
const FEWEST_RANKED: usize = 9;

/// Two-sided chance that two samples of one distribution differ in their ranks as much as these. `None` with fewer than nine values
/// on a side, or where all are alike. Values must be numbers. Cost: n log n.
///
/// # Formula
/// Mann–Whitney U against the normal distribution, with the corrections for ties and for continuity.
///
/// # Source
/// Mann and Whitney 1947, *On a test of whether one of two random variables is stochastically larger than the other*.
pub fn mann_whitney(a: &[f64], b: &[f64]) -> Option<f64> {
    if a.len().min(b.len()) < FEWEST_RANKED {
        return None;
    }
    let (above, spread) = rank_sum(a, b)?;
    let far = (above.abs() - 0.5).max(0.0);
    Some((2.0 * normal_upper(far / spread)).min(1.0))
}

/// By how much `b` lies above `a`, from and to, with `confidence`. `None` with fewer than nine values on a side.
/// Cost: the product of the two lengths, sorted.
///
/// # Formula
/// All differences in order, cut off at both ends where the normal distribution of U does.
///
/// # Source
/// Hodges and Lehmann 1963, *Estimates of location based on rank tests*; the inverse of [`mann_whitney`] but for ties.
pub fn shift_interval(a: &[f64], b: &[f64], confidence: f64) -> Option<(f64, f64)> {
    if a.len().min(b.len()) < FEWEST_RANKED {
        return None;
    }
    let mut differences: Vec<f64> = a.iter().flat_map(|x| b.iter().map(move |y| y - x)).collect();
    differences.sort_by(f64::total_cmp);
    let (n1, n2) = (a.len() as f64, b.len() as f64);
    let reach = normal_quantile(0.5 + confidence / 2.0) * (n1 * n2 * (n1 + n2 + 1.0) / 12.0).sqrt();
    let cut = (n1 * n2 / 2.0 - reach - 0.5).floor().max(0.0) as usize;
    Some((differences[cut], differences[differences.len() - 1 - cut]))
}

/// Ranks from 1, of equal values their mean.
fn ranks<T: PartialOrd>(values: &[T]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].partial_cmp(&values[b]).unwrap_or(Ordering::Equal));
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
    use super::{mann_whitney, rank_correlation, rank_sum_lower, shift_interval};

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

    #[test]
    fn the_rank_test_is_scipy_s() {
        // scipy.stats.mannwhitneyu(a, b, method="asymptotic"), SciPy 1.17.1.
        let a = [4.31, 4.02, 3.47, 3.9, 4.1, 4.4, 3.6, 4.02, 3.8, 4.2, 3.7];
        let b = [4.5, 4.02, 4.6, 4.3, 4.41, 4.7, 3.9, 4.2, 4.66, 4.55];
        assert!((mann_whitney(&a, &b).unwrap() / RANKED - 1.0).abs() < 1e-9);
        assert!((mann_whitney(&b, &a).unwrap() / RANKED - 1.0).abs() < 1e-9);
        assert_eq!(mann_whitney(&a[..8], &b), None);
        assert_eq!(mann_whitney(&[1.0; 9], &[1.0; 9]), None);
    }

    /// Outside the interval the rank test tells the shifted sample from the other, inside it does not.
    #[test]
    fn the_interval_of_the_shift_is_the_rank_test_turned_round() {
        let a: Vec<f64> = (0..40).map(|n| f64::from(n * n % 97) * 0.013).collect();
        let b: Vec<f64> = (0..25)
            .map(|n| 0.2 + f64::from(n * n * n % 89) * 0.0171)
            .collect();
        let (low, high) = shift_interval(&a, &b, 0.95).unwrap();
        assert!(low < high);
        let p = |shift: f64| {
            let moved: Vec<f64> = a.iter().map(|x| x + shift).collect();
            mann_whitney(&moved, &b).unwrap()
        };
        for (inside, outside) in [(low + 0.01, low - 0.01), (high - 0.01, high + 0.01)] {
            assert!(
                p(inside) > 0.05 && p(outside) < 0.05,
                "{low} {high}: {} {}",
                p(inside),
                p(outside)
            );
        }
        assert_eq!(shift_interval(&a[..5], &b, 0.95), None);
    }

    const RANKED: f64 = 0.006599908635445337;
    const TIES: f64 = 0.1415796863640157;
}
