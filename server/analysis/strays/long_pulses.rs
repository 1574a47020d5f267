//! What speaks for long pulses being the line's own, though they are shorter than the others of their level: they last
//! longer than what is induced and are alike, or they come in trains.

use super::widths::MOST;
use crate::analysis::stats::order::at_shares;
use crate::model::{Level, Pulse};

/// The capacitive kick into a weak pull-up of some kilohms lasts about 200 ns (Paul, Introduction to EMC, ch. 9:
/// 4.7 kΩ and 60 pF give 198 ns at half its peak).
const LONG_NS: f64 = 200.0;
const LONG_COUNT: usize = 8;

/// How far the tenth and the ninth tenth of ascending widths are apart, as a share of the former.
pub fn share_spread(crowd: &[f64]) -> f64 {
    let spread = at_shares(crowd, [0.1, 0.9]).map(|[first, last]| (last - first) / first.max(1e-9));
    spread.unwrap_or(0.0)
}

/// Ascending widths of which the ninth tenth is hardly beyond the first are one; a level that mostly consists of long pulses need
/// not be so strict (common practice, no source).
const ONE_WIDTH: f64 = 0.15;
const ALIKE: f64 = 0.5;
/// Fewer may be alike by chance.
const FEWEST_ALIKE: usize = 24;

/// Whether pulses of ascending widths, this share of their level, are long and alike: a line's job, if one of several.
pub fn are_long_and_alike(widths: &[f64], share: f64, ns: f64) -> bool {
    let most = match share > MOST {
        true => ALIKE,
        false if widths.len() < FEWEST_ALIKE => return false,
        false => ONE_WIDTH,
    };
    are_long(widths, ns) && share_spread(widths) < most
}

/// Pulses of a train lie no farther apart than so many times their limit; share of the pulses that do so in a line that
/// sends trains.
const TRAIN_GAP: f64 = 1.5;
const IN_TRAINS: f64 = 0.5;

/// Whether most of the pulses of `level` below `limit` (ticks) have another beside them: a line that switches to and fro in
/// bursts makes such pulses, and what a neighbour induces comes now and then. Cost: linear in the pulses.
pub fn come_in_trains(pulses: impl Iterator<Item = Pulse>, level: Level, limit: f64) -> bool {
    let (mut narrow, mut beside) = (0usize, 0usize);
    // Whether the last pulse of the level was narrow, and was counted; and the width of the gap since.
    let mut last: Option<bool> = None;
    let mut gap = f64::INFINITY;
    for pulse in pulses {
        let width = pulse.width().0 as f64;
        if pulse.level != level {
            gap = width;
            continue;
        }
        let is_narrow = width < limit;
        let joins = is_narrow && gap <= TRAIN_GAP * limit && last.is_some();
        if is_narrow {
            narrow += 1;
            beside += usize::from(joins);
            // The one before is of the train as well.
            beside += usize::from(joins && last == Some(false));
        }
        last = is_narrow.then_some(joins);
    }
    beside as f64 > IN_TRAINS * narrow as f64
}

/// Whether pulses of ascending widths last longer than what a kick into a weak pull-up makes.
pub fn are_long(widths: &[f64], ns: f64) -> bool {
    widths.get(widths.len() / 2).is_some_and(|&w| w > LONG_NS * ns)
}

/// A few long pulses are strays all the same if the others of their level last longer by this factor, and they scatter by this one
/// (common practice, no source).
pub(super) const FAR_LONGER: f64 = 1_000.0;
const SCATTERED: f64 = 1.5;
/// Fewer than this accuse nobody.
pub(super) const FEWEST_FAR: usize = 5;

/// Whether pulses from the `shortest` to the `longest` scatter beyond what sampling does, on a level whose other pulses last
/// `next` and more, a thousand times as long.
pub fn are_scattered_far_below((shortest, longest): (f64, f64), next: f64, sampling: f64) -> bool {
    longest >= SCATTERED * shortest + 2.0 * sampling && next >= FAR_LONGER * longest
}

/// Whether pulses this long are too few to be called strays: an induced pulse seldom lasts so long, so it takes a
/// crowd to say so (a bridge makes one), or widths that scatter on a line that otherwise moves far more slowly.
pub fn are_long_and_few(widths: &[f64], count: usize, sampling: f64, ns: f64) -> bool {
    let ends = (widths[0], widths[count - 1]);
    let are_odd = count >= FEWEST_FAR
        && widths
            .get(count)
            .is_some_and(|&next| are_scattered_far_below(ends, next, sampling));
    are_long(&widths[..count], ns) && count < LONG_COUNT && !are_odd
}

#[cfg(test)]
mod tests {
    use super::are_long_and_few;

    #[test]
    fn a_few_long_pulses_are_strays_only_where_they_scatter_on_a_far_slower_line() {
        let few = |narrow: &[f64], next: f64| {
            let widths: Vec<f64> = narrow.iter().copied().chain([next, 2.0 * next]).collect();
            are_long_and_few(&widths, narrow.len(), 100.0, 1.0)
        };
        let scattered = [200.0, 300.0, 300.0, 500.0, 500.0, 600.0];
        assert!(!few(&scattered, 12e6));
        assert!(few(&scattered, 90e3), "others of 90 µs are not far longer");
        assert!(few(&scattered[2..], 12e6), "four are too few");
        assert!(
            few(&[300.0, 300.0, 400.0, 400.0, 400.0, 400.0], 12e6),
            "one width, as far as sampling tells"
        );
    }
}
