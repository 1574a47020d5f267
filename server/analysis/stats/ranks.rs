//! Statistics of ranks.

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
    use super::rank_correlation;

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
