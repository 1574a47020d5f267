//! Short pulses on a slow line: a key, a switch or an enable, which stands for milliseconds whichever level it has.
//!
//! What is induced into such a line may last longer than on a fast one, since nothing but a weak pull-up holds it; and nothing that it
//! does itself is nearly as short. So a crowd that ends a thousand times below all other pulses of its level may be as long as a
//! microsecond or two.

use super::long_pulses::{FAR_LONGER, FEWEST_FAR};

/// Longest pulses that are looked at: what a contact makes as it bounces lasts longer for the most part, and a logic family's longest
/// kick into a pull-up is over (common practice, no source).
const LONGEST_NS: f64 = 2_000.0;

/// Ticks up to which pulses of these widths (ticks, in any order) lie a thousand times below all others of their level, where enough do.
/// `ns`: ticks in a nanosecond. Cost: linear.
pub fn far_below(widths: impl Iterator<Item = f64>, ns: f64) -> Option<f64> {
    let (mut short, mut longest, mut next) = (0, 0.0f64, f64::INFINITY);
    for width in widths {
        match width <= LONGEST_NS * ns {
            true => (short, longest) = (short + 1, longest.max(width)),
            false => next = next.min(width),
        }
    }
    (short >= FEWEST_FAR && next.is_finite() && next >= FAR_LONGER * longest).then_some(longest)
}

#[cfg(test)]
mod tests {
    use super::far_below;

    #[test]
    fn pulses_far_below_all_others_of_a_slow_line_are_told_from_a_fast_one_s() {
        let line = |short: &[f64], next: f64| far_below(short.iter().copied().chain([next, 3.0 * next]), 1.0);
        let dips = [300.0, 400.0, 700.0, 800.0, 900.0];
        assert_eq!(line(&dips, 80e6), Some(900.0));
        assert_eq!(line(&dips, 100e3), None, "others of 100 µs");
        assert_eq!(line(&dips[1..], 80e6), None, "four are too few");
        assert_eq!(line(&[300.0, 400.0, 700.0, 800.0, 3_000.0], 80e6), None);
    }
}
