//! Runs of successive narrow pulses: which of them are the strays.
//!
//! Beside an edge of the line's own a stray leaves only a slice of the level that it cuts, and the slice may be as narrow as
//! the stray. Counted as one, it makes the line's strays look as if they went both ways. Where the strays that stand by
//! themselves show which level is struck, that level's pulses are the strays of a run as well.

use super::NarrowLimit;
use crate::model::{Level, Pulse};

/// Strays that stand by themselves show the struck level from so many on, where those of the other level are fewer by this
/// factor.
const FEWEST_ALONE: usize = 3;
const RATHER: usize = 10;
/// A stray of that level is no longer than the longest of these, within this factor: what is longer is the rest between two others.
const LONGER: f64 = 1.5;

/// What the strays are like that stand by themselves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Usual {
    pub level: Level,
    /// Width of the longest, in ticks.
    pub longest: i64,
}

impl Usual {
    /// Whether the pulse may be such a stray.
    fn is_like(&self, pulse: &Pulse) -> bool {
        pulse.level == self.level && pulse.width().0 as f64 <= LONGER * self.longest as f64
    }
}

/// What the line's strays are like where no other narrow pulse is next to them; none where too few tell. Cost: linear.
pub(super) fn usual<'a>(runs: impl Iterator<Item = &'a [Pulse]>) -> Option<Usual> {
    let [mut low, mut high] = [Level::Low, Level::High].map(|level| (0, Usual { level, longest: 0 }));
    for run in runs {
        let [alone] = run else { continue };
        let (count, of_level) = match alone.level {
            Level::Low => &mut low,
            Level::High => &mut high,
            _ => continue,
        };
        *count += 1;
        of_level.longest = of_level.longest.max(alone.width().0);
    }
    let is_usual = |these: usize, those: usize| these >= FEWEST_ALONE && these >= RATHER * those;
    match () {
        () if is_usual(low.0, high.0) => Some(low.1),
        () if is_usual(high.0, low.0) => Some(high.1),
        () => None,
    }
}

/// Which pulses of a run are the strays, by position: every second one, so that what is left is one level (odd run) or one
/// edge of the line's own (even run). Of an even run those that are like the `usual` ones, else those with the least width in all; of an
/// odd run the outer ones, or the inner ones where these are like the usual ones and what is left is no narrow pulse itself.
pub(super) fn strays(
    run: &[Pulse],
    limit: &NarrowLimit,
    usual: Option<Usual>,
) -> impl Iterator<Item = usize> + use<> {
    let width_from = |first: usize| -> i64 { run.iter().skip(first).step_by(2).map(|p| p.width().0).sum() };
    let is_usual = |first: usize| {
        let mut those = run.iter().skip(first).step_by(2);
        run.len() > first && usual.is_some_and(|usual| those.all(|p| usual.is_like(p)))
    };
    let is_inner = match run.len().is_multiple_of(2) {
        true if is_usual(0) || is_usual(1) => is_usual(1),
        true => width_from(1) < width_from(0),
        false => {
            let whole = (width_from(0) + width_from(1)) as f64;
            is_usual(1) && limit.of(run[0].level).is_none_or(|least| whole >= least)
        }
    };
    (usize::from(is_inner)..run.len()).step_by(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::LimitOrigin;
    use crate::model::Ticks;

    /// Successive pulses, so wide, the first of them at this level.
    fn run(first: Level, widths: &[i64]) -> Vec<Pulse> {
        let (mut start, mut level, mut pulses) = (0, first, Vec::new());
        for (edge, width) in widths.iter().enumerate() {
            pulses.push(Pulse {
                edge,
                start: Ticks(start),
                end: Ticks(start + width),
                level,
            });
            (start, level) = (start + width, level.inverted());
        }
        pulses
    }

    fn chosen(widths: &[i64], usual: Option<Level>) -> Vec<usize> {
        let usual = usual.map(|level| Usual { level, longest: 36 });
        let limit = NarrowLimit {
            low: Some(60.0),
            high: Some(60.0),
            origin: LimitOrigin::Setup,
        };
        strays(&run(Level::High, widths), &limit, usual).collect()
    }

    #[test]
    fn of_two_successive_narrow_pulses_the_narrower_is_the_stray() {
        assert_eq!(chosen(&[50, 20], None), [1]);
        assert_eq!(chosen(&[20, 50], None), [0]);
    }

    #[test]
    fn of_two_successive_narrow_pulses_that_of_the_struck_level_is_the_stray() {
        assert_eq!(chosen(&[20, 50], Some(Level::Low)), [1]);
        assert_eq!(chosen(&[50, 20], Some(Level::High)), [0]);
    }

    #[test]
    fn of_three_successive_narrow_pulses_the_outer_two_are_strays() {
        assert_eq!(chosen(&[20, 10, 30], None), [0, 2]);
        // 59 ticks in all are no pulse of the line's own.
        assert_eq!(chosen(&[20, 9, 30], Some(Level::Low)), [0, 2]);
    }

    #[test]
    fn a_stray_of_the_struck_level_in_a_pulse_of_the_line_s_own_leaves_two_slices() {
        assert_eq!(chosen(&[40, 20, 40], Some(Level::Low)), [1]);
        assert_eq!(chosen(&[40, 20, 40], Some(Level::High)), [0, 2]);
    }

    #[test]
    fn a_rest_between_two_strays_is_longer_than_those_that_stand_alone() {
        // The middle one is of the usual level, and longer than one and a half of the longest of these, of 36 ticks.
        assert_eq!(chosen(&[20, 55, 20], Some(Level::Low)), [0, 2]);
        assert_eq!(chosen(&[20, 54, 20], Some(Level::Low)), [1]);
        // Two of them, one behind the other, beside an own edge.
        assert_eq!(chosen(&[20, 55], Some(Level::Low)), [0]);
    }

    #[test]
    fn strays_that_stand_alone_tell_the_struck_level() {
        let (low, high) = (run(Level::Low, &[20]), run(Level::High, &[20]));
        let pair = run(Level::High, &[20, 30]);
        let usual = |lows: usize, highs: usize| {
            let alone = std::iter::repeat_n(&low, lows).chain(std::iter::repeat_n(&high, highs));
            super::usual(alone.chain([&pair; 9]).map(Vec::as_slice))
        };
        let of_20 = |level| Some(Usual { level, longest: 20 });
        assert_eq!(usual(3, 0), of_20(Level::Low));
        assert_eq!(usual(1, 10), of_20(Level::High));
        assert_eq!((usual(2, 0), usual(9, 1)), (None, None));
    }
}
