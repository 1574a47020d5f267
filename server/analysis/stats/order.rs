//! Values at a place in the order of a sorted list: tenths, middles, tails.

/// The value of `sorted` (ascending) that stands at this share of the way from its first, 0, to its last, 1; between two the
/// nearer, of two as near the later. None where the list is empty. Cost: constant.
pub fn at_share<T: Copy>(sorted: &[T], share: f64) -> Option<T> {
    let last = sorted.len().checked_sub(1)?;
    sorted.get((last as f64 * share).round() as usize).copied()
}

/// The values at several shares, as [`at_share`] has each.
pub fn at_shares<T: Copy, const N: usize>(sorted: &[T], shares: [f64; N]) -> Option<[T; N]> {
    let mut values = [*sorted.first()?; N];
    for (value, share) in values.iter_mut().zip(shares) {
        *value = at_share(sorted, share)?;
    }
    Some(values)
}

/// The middle of `sorted` (ascending), of an even number the later of the two. None where the list is empty. Cost: constant.
pub fn middle<T: Copy>(sorted: &[T]) -> Option<T> {
    sorted.get(sorted.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_a_place_between_the_first_and_the_last() {
        let values: Vec<i64> = (0..=20).collect();
        assert_eq!(
            at_shares(&values, [0.0, 0.1, 0.5, 0.9, 1.0]),
            Some([0, 2, 10, 18, 20])
        );
        assert_eq!(at_share(&[3, 5], 0.49), Some(3), "nearer to the first");
        assert_eq!(at_share(&[3, 5], 0.5), Some(5), "as near to both");
        assert_eq!(at_share::<i64>(&[], 0.5), None);
        assert_eq!(at_shares::<i64, 2>(&[], [0.1, 0.9]), None);
    }

    #[test]
    fn the_middle_stands_at_half() {
        for count in 0..50i64 {
            let values: Vec<i64> = (0..count).collect();
            assert_eq!(middle(&values), at_share(&values, 0.5), "{count}");
        }
    }
}
