//! Short pulses on a slow line: a key, a switch or an enable, which stands for milliseconds whichever level it has.
//!
//! What is induced into a contact's line may last longer than on a fast one, since nothing but a weak pull-up holds it; and nothing that a
//! contact does itself is nearly as short. So where a line bounces, a crowd that ends a thousand times below all other pulses of its
//! level is of strays, though they last a microsecond or two. Other slow lines are driven by parts that may do a short job as well: of
//! these the crowd is asked about ([`crowds`](crate::analysis::coupling::legitimate::crowds)).
//!
//! Tried and dropped: to take such crowds for strays on every slow line. Of machines in health with a select, a grant or a handshake
//! that is now short, now held for long, most were accused.

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

/// Share of the longer pulses between a contact's bursts that are whole rests: a stray near a burst leaves a piece of one.
const WHOLE: f64 = 0.9;
/// Such a piece is longer than any stray by this factor at least (common practice, no source).
const PARTED: f64 = 3.0;

/// As [`far_below`], of the pulses between the bursts of a contact, by ascending `widths`: a few of the others may be pieces of rests.
pub fn far_below_most(widths: &[f64], ns: f64) -> Option<f64> {
    let short = widths.partition_point(|&w| w <= LONGEST_NS * ns);
    let longest = *widths[..short].last()?;
    let others = &widths[short..];
    let whole = others.len() - others.partition_point(|&w| w < FAR_LONGER * longest);
    let is_parted = others.first().is_some_and(|&next| next >= PARTED * longest);
    (short >= FEWEST_FAR && is_parted && whole as f64 >= WHOLE * others.len() as f64).then_some(longest)
}

#[cfg(test)]
mod tests {
    use super::{far_below, far_below_most};

    #[test]
    fn pulses_far_below_all_others_of_a_slow_line_are_told_from_a_fast_one_s() {
        let line = |short: &[f64], next: f64| far_below(short.iter().copied().chain([next, 3.0 * next]), 1.0);
        let dips = [300.0, 400.0, 700.0, 800.0, 900.0];
        assert_eq!(line(&dips, 80e6), Some(900.0));
        assert_eq!(line(&dips, 100e3), None, "others of 100 µs");
        assert_eq!(line(&dips[1..], 80e6), None, "four are too few");
        assert_eq!(line(&[300.0, 400.0, 700.0, 800.0, 3_000.0], 80e6), None);
    }

    #[test]
    fn pieces_of_a_contact_s_rests_do_not_hide_its_strays() {
        let between = |pieces: &[f64]| {
            let mut widths = vec![100.0, 120.0, 170.0, 210.0, 290.0];
            widths.extend(pieces);
            widths.extend((0..20).map(|n| 1e6 + 1e5 * n as f64));
            far_below_most(&widths, 1.0)
        };
        assert_eq!(between(&[]), Some(290.0));
        assert_eq!(between(&[30e3, 50e3]), Some(290.0));
        assert_eq!(between(&[30e3, 50e3, 70e3]), None, "three of 23");
        assert_eq!(between(&[2_050.0]), Some(290.0));
        assert_eq!(between(&[800.0, 2_050.0]), None, "no gap above 800 ns");
    }
}
