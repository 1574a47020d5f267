//! Short pulses that stand apart from the line's own: below a strobe of one width, or far below all else.
//!
//! A strobe that a part makes has one width, within what its part and sampling scatter. Where that is most of a level, shorter
//! pulses of all widths are not the part's; they may still be cut off by what gates it. Widths alone don't draw a limit there
//! when the longest of the short ones come near the strobe's width. Nor do they where short pulses lie far below all others, but
//! sampling is too coarse to show whether they repeat. Such are a crowd of their own, and who brings them decides.

use super::crowds::Crowd;
use crate::analysis::stats::order::at_shares;
use crate::model::{Capture, Level};
use std::ops::Range;

/// Fewer pulses make no crowd.
pub const FEWEST: usize = 6;
/// The line's own pulses: so many at least, and this share of the level, of widths within this factor and a sample.
const FEWEST_OWN: usize = 20;
const SHARE_OWN: f64 = 0.35;
const ONE_WIDTH: f64 = 1.15;
/// Hardly any are a little shorter, or a little longer by twice as much: fewer than this share of them. Widths that merely scatter go
/// on.
const STILL: f64 = 0.33;
/// Unless some of the short ones are shorter than all others by this factor.
const PARTED: f64 = 1.5;
/// The first of them may be another's, this share.
const TAIL: f64 = 0.15;
/// The short ones scatter: the ninth tenth is so far beyond the first, by this factor and a sample, or by the lesser one and two.
const SCATTER: f64 = 1.4;
const SCATTER_FINE: f64 = 1.2;
/// Own pulses no longer than this, and of so many samples, are looked at.
const LONGEST_S: f64 = 600e-9;
const SAMPLES: f64 = 4.0;

/// Pulses far below the others are no longer than this and than so many samples, and shorter than all others by this factor; there are
/// as many others at least.
const LONGEST_FAR_S: f64 = 200e-9;
const FAR_SAMPLES: f64 = 8.0;
const FAR: f64 = 10.0;

/// The crowd of short pulses of a level that stands apart from the others, if there is one. `sampling`: a sample in ticks. Cost: that
/// of sorting the level's pulses.
pub fn crowd(capture: &Capture, sampling: f64, line: usize, level: Level) -> Option<Crowd> {
    below_a_strobe(capture, sampling, line, level).or_else(|| far_below(capture, sampling, line, level))
}

fn far_below(capture: &Capture, sampling: f64, line: usize, level: Level) -> Option<Crowd> {
    let longest = capture
        .timebase
        .ticks_of(LONGEST_FAR_S)
        .min(FAR_SAMPLES * sampling);
    let of_level = || capture.lines[line].pulses().filter(move |p| p.level == level);
    let mut short: Vec<i64> = Vec::new();
    let (mut all, mut next) = (0u64, i64::MAX);
    for width in of_level().map(|p| p.width().0) {
        all += 1;
        match (width as f64) < longest {
            true => short.push(width),
            false => next = next.min(width),
        }
    }
    short.sort_unstable();
    let last = *short.last()? as f64;
    let is_far = short.len() >= FEWEST && 2 * short.len() as u64 <= all && next as f64 >= FAR * last;
    is_far.then(|| {
        of(
            capture,
            (line, level),
            &short,
            all,
            (last * next as f64).sqrt().min(3.0 * last),
        )
    })
}

/// The crowd of the level's pulses below `limit`, whose ascending widths are `short`.
fn of(capture: &Capture, (line, level): (usize, Level), short: &[i64], all: u64, limit: f64) -> Crowd {
    let starts = |is_short: bool| {
        let of_level = capture.lines[line].pulses().filter(|p| p.level == level);
        let of = of_level.filter(|p| ((p.width().0 as f64) < limit) == is_short);
        of.map(|p| p.start.0).collect()
    };
    Crowd {
        is_apart: true,
        starts: starts(true),
        others: starts(false),
        ..Crowd::of((line, level), short, all, limit)
    }
}

fn below_a_strobe(capture: &Capture, sampling: f64, line: usize, level: Level) -> Option<Crowd> {
    let longest = capture.timebase.ticks_of(LONGEST_S);
    let of_level = || capture.lines[line].pulses().filter(move |p| p.level == level);
    let mut all = 0;
    let mut widths: Vec<i64> = Vec::new();
    for pulse in of_level() {
        all += 1;
        let width = pulse.width().0;
        if width as f64 <= ONE_WIDTH * longest {
            widths.push(width);
        }
    }
    widths.sort_unstable();
    let unit = sampling.max(1.0);
    let mut first = 0;
    while let Some((from, count)) = one_width(&widths[first..], unit) {
        let from = first + from;
        if count >= FEWEST_OWN && count as f64 >= SHARE_OWN * all as f64 && widths[from] as f64 <= longest {
            let least_own = widths[from + (TAIL * count as f64) as usize] as f64;
            let limit = least_own / ONE_WIDTH.sqrt() - 0.5 * sampling;
            let short = &widths[..widths.partition_point(|&w| (w as f64) < limit)];
            let stand_out = ends(&widths, from..from + count, unit) || are_parted(&widths, short.len(), unit);
            if stand_out && scatter(short, sampling) {
                return Some(of(capture, (line, level), short, all, limit));
            }
        }
        first = from + count.max(1);
    }
    None
}

/// Whether a gap parts some of the `short` first of ascending widths from all others, whatever these do.
fn are_parted(widths: &[i64], short: usize, unit: f64) -> bool {
    let parts = |at: usize| widths[at] as f64 >= PARTED * (widths[at - 1] as f64 + unit);
    (FEWEST..=short.min(widths.len().saturating_sub(1))).any(parts)
}

/// Whether the `own` crowd of ascending widths ends on both sides, so that it is one width and no part of a scatter. `unit`: a sample, or a
/// tick.
fn ends(widths: &[i64], own: Range<usize>, unit: f64) -> bool {
    let count = own.len() as f64;
    let (least, most) = (widths[own.start] as f64, widths[own.end - 1] as f64);
    let below = own.start - widths.partition_point(|&w| (w as f64) < least / ONE_WIDTH - unit);
    let above = widths[own.end..].partition_point(|&w| w as f64 <= ONE_WIDTH * ONE_WIDTH * most + unit);
    (below as f64) < STILL * count && (above as f64) < STILL * count
}

/// Whether enough pulses of ascending widths are of several.
fn scatter(short: &[i64], sampling: f64) -> bool {
    if short.len() < FEWEST {
        return false;
    }
    let Some([first, last]) = at_shares(short, [0.1, 0.9]) else {
        return false;
    };
    let (ratio, range) = (last as f64 / first as f64, (last - first) as f64);
    ratio >= SCATTER && range >= sampling || ratio >= SCATTER_FINE && range >= 2.0 * sampling.max(1.0)
}

/// The first crowd of ascending widths that is as one: where it begins and how many. Pulses of fewer samples (`unit`) than show it well
/// enough are passed over. A crowd is the window of widths within [`ONE_WIDTH`] that holds most among those it overlaps.
fn one_width(widths: &[i64], unit: f64) -> Option<(usize, usize)> {
    let held = |from: usize| {
        let last = ONE_WIDTH * widths[from] as f64 + unit;
        widths[from..].partition_point(|&w| w as f64 <= last)
    };
    let first = widths.partition_point(|&w| (w as f64) < SAMPLES * unit);
    let begun = (first..widths.len()).find(|&from| held(from) >= FEWEST_OWN)?;
    let overlapping = begun..begun + held(begun);
    overlapping
        .map(|from| (from, held(from)))
        .max_by_key(|&(from, count)| (count, from))
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{CouplingOptions, Standing};
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    #[test]
    fn a_crowd_that_goes_on_on_either_side_is_no_width_of_its_own() {
        let strobe: Vec<i64> = (20..50).chain((0..200).map(|n| 52 + n / 50)).collect();
        assert!(super::ends(&strobe, 30..230, 1.0));
        // As many of each width, or a hump: what lies beside the middle is as dense as it, or half so.
        let even: Vec<i64> = (0..240).map(|n| 30 + n / 8).collect();
        assert!(!super::ends(&even, 80..136, 1.0));
        let hump: Vec<i64> = (0..240).map(|n| 30 + (n * n % 61 + n * 7 % 61) / 4).collect();
        let mut hump = hump;
        hump.sort_unstable();
        let middle = hump.partition_point(|&w| w < 42)..hump.partition_point(|&w| w <= 48);
        assert!(!super::ends(&hump, middle, 1.0));
        // What lies far below is no part of it.
        let far: Vec<i64> = [40, 50, 60, 60, 60, 70]
            .into_iter()
            .chain((0..60).map(|n| 300 + 4 * n))
            .collect();
        assert!(super::are_parted(&far, 9, 10.0) && !super::are_parted(&far, 5, 10.0));
        assert!(!super::are_parted(&even, 80, 1.0));
        // What a coarse grid leaves of widths from 20 to 60.
        let coarse: Vec<i64> = [(20, 11), (30, 20), (40, 23), (50, 31), (60, 15)]
            .iter()
            .flat_map(|&(width, count)| vec![width; count])
            .collect();
        assert!(!super::ends(&coarse, 54..100, 10.0));
    }

    /// PEG sends 200 strobes of 52 to 55 ticks that nobody's edges bring; 16 ticks after two of three of 60 rises of HOLD it shows a
    /// pulse of `width(n)`.
    fn judged(width: impl Fn(i64) -> i64) -> (usize, Vec<(usize, Standing)>, usize) {
        let span = TimeSpan::new(Ticks(0), Ticks(2_000_000));
        let own = (0..200).map(|n| {
            let at = 3_000 + 9_900 * n + 131 * (n * n % 29);
            [at, at + 52 + n % 4]
        });
        let rise = |n: i64| 1_000 + 31_000 * n + 97 * (n % 7);
        let hold = (0..60).flat_map(|n| [rise(n), rise(n) + 700 + 31 * (n % 5)]);
        let struck = (0..60).filter(|n| n % 3 != 0);
        let mut peg: Vec<[i64; 2]> = struck.map(|n| [rise(n) + 16, rise(n) + 16 + width(n)]).collect();
        peg.extend(own);
        peg.sort_unstable();
        peg.retain({
            let mut free = 0;
            move |p| {
                let is_free = p[0] > free + 200;
                free = if is_free { p[1] } else { free };
                is_free
            }
        });
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("HOLD", hold.collect()),
            line("PEG", peg.into_iter().flatten().collect()),
        ];
        let capture = Capture::in_nanoseconds("below", span, lines);
        let (strays, attribution) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
        let rows = attribution.couplings.iter().map(|c| (c.aggressor, c.standing));
        (strays.of_line(1).len(), rows.collect(), attribution.unsure.len())
    }

    #[test]
    fn scattered_pulses_below_a_strobe_of_one_width_are_strays_where_another_line_brings_them() {
        let (strays, rows, _) = judged(|n| 12 + n * 37 % 34);
        assert!(strays >= 36, "{strays}");
        assert_eq!(rows, [(0, Standing::Clear)]);
    }

    #[test]
    fn of_one_width_they_are_a_second_strobe() {
        let (strays, rows, _) = judged(|n| 30 + n % 3);
        assert_eq!((strays, rows), (0, vec![]));
    }

    #[test]
    fn far_below_all_else_a_few_samples_are_strays_where_another_line_brings_them() {
        // Sampled every 25 ticks. PEG rests high, falls for long 20 times, and for two or three samples with one of six falls of HOLD, in no order.
        let span = TimeSpan::new(Ticks(0), Ticks(4_000_000));
        let fall = |n: i64| 40_000 * n + 25 * (n * n % 31) + 1_000;
        let judged = |own_width: i64| {
            let hold = (0..90).flat_map(|n| [fall(n), fall(n) + 20_000 + 25 * (n % 7)]);
            let mut peg: Vec<i64> = (0..90)
                .filter(|n| n * 37 % 101 < 17)
                .flat_map(|n| [fall(n), fall(n) + 50 + 25 * (n % 4 / 2)])
                .collect();
            let own = (0..20).map(|n| 9_000 + 190_000 * n + 25 * (n * n % 57));
            peg.extend(own.flat_map(|at| [at, at + own_width + 25 * (at % 11)]));
            peg.sort_unstable();
            let line = |name: &str, edges: Vec<i64>| {
                Line::digital(name, Level::High, edges.into_iter().map(Ticks).collect(), span)
            };
            let lines = vec![line("HOLD", hold.collect()), line("PEG", peg)];
            let capture = Capture::in_nanoseconds("far", span, lines);
            let (strays, attribution) =
                judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
            let rows = attribution.couplings.iter().map(|c| (c.aggressor, c.standing));
            (strays.of_line(1).len(), rows.collect::<Vec<_>>())
        };
        assert_eq!(judged(20_000), (16, vec![(0, Standing::Clear)]));
        assert_eq!(judged(150), (0, vec![]), "its own are nearly as short");
    }
}
