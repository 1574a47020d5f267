//! Strays of a line's other level, after the other edges of what strikes it.
//!
//! Where rises of a line lift its victim its falls mostly dip it, or the other way round. A few short pulses of the other level
//! may have no limit that their widths alone would give: they are few, or their widths happen to lie near each other; or a second
//! line's strays are shorter, and the limit lies between theirs and these. Where
//! they are as short as the strays that are known and follow the convicted line at the lag of its strikes, and the level's
//! long pulses do not, they are strays of the same cause.

use crate::analysis::coupling::{Attribution, Coupling, Edge, Standing};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{LimitOrigin, NarrowLimit, StrayOptions, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// Strikes that convict a line, and short pulses of the other level at least.
const CONVICT: u64 = 6;
const FEWEST: usize = 3;
/// Where so many strikes last as long as the aggressor's pulse, its other edge ends them.
const FOLLOWS_PULSE: f64 = 0.5;
/// Share of the other level's short pulses that must follow, and of its long ones that must not.
const MOST: f64 = 0.6;
const OWN: f64 = 0.2;
/// Chance that so many follow must be below this.
const CHANCE: f64 = 1e-4;
/// They are no longer than the known strays, by this ratio and a sample.
const LONGER: f64 = 1.25;
/// The level's other pulses are longer by this ratio at least, but for strangers that are fewer than this share of those that follow:
/// short ones that don't, and longer ones by less than the ratio. About as many of the line's own as lie that near above a limit lie
/// as near below it, so no more than these are taken for strays.
const PARTED: f64 = 1.3;
const STRANGERS: f64 = 0.02;

/// The lines that show such strays, each with the limits of both levels. Cost: linear in the pulses of accused lines with a
/// limit on one level, times the log of the aggressor's edges.
pub(in crate::analysis::coupling) fn limits(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    options: &StrayOptions,
) -> Vec<(usize, NarrowLimit)> {
    let rows = attribution.couplings.iter().filter(|row| {
        row.standing == Standing::Clear
            && row.strays >= CONVICT
            && row.follows_pulse < FOLLOWS_PULSE
            && is_open(strays, options, row.victim)
    });
    let of_row = |row: &Coupling| {
        let mut levels = row.levels.iter();
        levels.find_map(|&level| Some((row.victim, with_other(capture, strays, row, level)?)))
    };
    let mut found: Vec<(usize, NarrowLimit)> = rows.filter_map(of_row).collect();
    found.sort_by_key(|f| f.0);
    found.dedup_by_key(|f| f.0);
    found
}

/// Whether the line's widths give a limit. Bounds that a person or another capture set have the last word.
pub(in crate::analysis::coupling) fn is_open(strays: &Strays, options: &StrayOptions, line: usize) -> bool {
    let limit = &strays.limits[line];
    limit.origin == LimitOrigin::Inferred
        && limit.widest().is_some()
        && !options.taken_over.contains_key(&line)
        && !strays.bursts.iter().any(|b| b.line == line)
}

/// The victim's limits with one for the level that is not `level`, if the row's other edges bring strays there; where another line's
/// shorter strays gave it one, with a greater one, if they bring longer strays.
fn with_other(capture: &Capture, strays: &Strays, row: &Coupling, level: Level) -> Option<NarrowLimit> {
    let known = strays.limits[row.victim].of(level)?;
    let of_level = || {
        let strikes = row.occurrences.iter();
        strikes.filter(|o| strays.strays[o.stray].level == level)
    };
    let unit = strays.sampling[row.victim]
        .max(strays.sampling[row.aggressor])
        .max(1.0);
    let longest = of_level().map(|o| strays.strays[o.stray].width.0).max()? as f64;
    let most = (LONGER * longest + unit).min(known);
    let slack = unit.ceil() as i64;
    let lags = (
        of_level().map(|o| o.lag).min()? - slack,
        of_level().map(|o| o.lag).max()? + slack,
    );
    let aggressor = &capture.lines[row.aggressor];
    let other = level.inverted();
    let (mut short, mut long) = (Vec::new(), (0usize, 0usize));
    let mut longer: Vec<f64> = Vec::new();
    let told = strays.limits[row.victim].of(other).unwrap_or(0.0);
    let pulses = capture.lines[row.victim].pulses();
    for pulse in pulses.filter(|p| p.level == other && p.width().0 as f64 >= told) {
        let width = pulse.width().0 as f64;
        let follows = follows(aggressor, row.edge, pulse.start.0, lags);
        if width <= most {
            short.push((width, follows));
        } else {
            longer.push(width);
            long.1 += 1;
            long.0 += usize::from(follows);
        }
    }
    let followers = short.iter().filter(|(_, follows)| *follows).count();
    let (longest, next) = parted(&short, &longer, unit)?;
    let edges = aggressor.edges.len() as f64 * if row.edge == Edge::Both { 1.0 } else { 0.5 };
    let whole = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
    let chance = (edges * (lags.1 - lags.0 + 1) as f64 / whole).min(1.0);
    let is_struck = followers >= FEWEST
        && followers as f64 >= MOST * short.len() as f64
        && long.0 as f64 <= OWN * long.1 as f64
        && binomial_upper(followers as u64, short.len() as u64, chance) <= CHANCE;
    let limit = Some((longest * next).sqrt().min(1.5 * longest).max(longest + 0.5));
    let limits = strays.limits[row.victim];
    is_struck.then_some(match other {
        Level::Low => NarrowLimit { low: limit, ..limits },
        _ => NarrowLimit {
            high: limit,
            ..limits
        },
    })
}

/// The longest of the strays and the shortest of the other pulses, if these are parted. `short`: widths, and whether they follow; `longer`:
/// widths of the pulses that are too long for strays; `unit`: how finely widths are known, in ticks.
fn parted(short: &[(f64, bool)], longer: &[f64], unit: f64) -> Option<(f64, f64)> {
    let longest = |of: &mut dyn Iterator<Item = f64>| of.fold(0.0, f64::max);
    let shortest = |of: &mut dyn Iterator<Item = f64>| of.fold(f64::INFINITY, f64::min);
    let bound = |longest: f64| PARTED * longest + unit;
    let all = longest(&mut short.iter().map(|s| s.0));
    let next = shortest(&mut longer.iter().copied());
    if next >= bound(all) {
        return Some((all, next));
    }
    let of_followers = longest(&mut short.iter().filter(|s| s.1).map(|s| s.0));
    let others = || {
        short
            .iter()
            .filter(|s| !s.1)
            .map(|s| s.0)
            .chain(longer.iter().copied())
    };
    let strangers = others().filter(|&width| width < bound(of_followers)).count() as f64;
    let followers = short.iter().filter(|s| s.1).count() as f64;
    let above = shortest(&mut others().filter(|&width| width > of_followers));
    (strangers <= STRANGERS * followers).then_some((of_followers, above))
}

/// Whether a pulse that starts at `start` follows an edge that is none of `edge` after one of the `lags`.
fn follows(aggressor: &Line, edge: Edge, start: i64, (lo, hi): (i64, i64)) -> bool {
    let from = aggressor.edges.partition_point(|e| e.0 < start - hi);
    let near = aggressor.edges[from..].iter().take_while(|e| e.0 <= start - lo);
    near.enumerate()
        .any(|(at, _)| match (edge, aggressor.polarity(from + at)) {
            (Edge::Both, _) => true,
            (Edge::Rise, polarity) => polarity == Polarity::Fall,
            (Edge::Fall, polarity) => polarity == Polarity::Rise,
        })
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{CouplingOptions, Edge, attribute};
    use crate::analysis::strays::{self, StrayOptions};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    /// CALL's rises lift PEG while it is low, every second time, by pulses of all widths from 30 to 60 ticks; its falls dip
    /// it `lag` ticks later while it is high, four times, by pulses of one width. PEG has long pulses of its own.
    fn capture(lag: i64) -> Capture {
        let end = 4_000_000;
        let (mut call, mut peg) = (Vec::new(), Vec::new());
        for n in 0..40i64 {
            let at = 100_000 * n + 1_371 * (n * n % 23);
            let (rise, fall) = (at + 10_000, at + 60_000);
            call.extend([rise, fall]);
            if n % 2 == 0 {
                peg.extend([rise + 20, rise + 50 + n * 37 % 31]);
            }
            peg.extend([at + 40_000, at + 70_000 + 997 * (n % 5)]);
            if n % 10 == 3 {
                peg.extend([fall + lag, fall + lag + 45]);
            }
        }
        peg.sort_unstable();
        let span = TimeSpan::new(Ticks(0), Ticks(end));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("mirrored", span, vec![line("CALL", call), line("PEG", peg)])
    }

    /// The edge that CALL is said to strike by, and the strays found.
    fn judged(lag: i64) -> (Vec<Edge>, usize) {
        let (strays, attribution) = judge(
            &capture(lag),
            &StrayOptions::default(),
            &CouplingOptions::default(),
        );
        (
            attribution.couplings.iter().map(|c| c.edge).collect(),
            strays.strays.len(),
        )
    }

    #[test]
    fn few_pulses_of_the_other_level_that_follow_the_other_edge_are_strays_too() {
        assert_eq!(judged(20), (vec![Edge::Both], 24));
        // At another lag they are not known to be.
        assert_eq!(judged(90), (vec![Edge::Rise], 20));
    }

    #[test]
    fn single_strangers_among_many_that_follow_part_them_no_less() {
        // 119 strays of 36 to 72 ticks follow; one pulse of the line's own is hardly longer.
        let follow = |count: i64| (0..count).map(|n| ((36 + n * 5 % 37) as f64, true));
        let of = |count: i64| -> Vec<(f64, bool)> { follow(count).collect() };
        assert_eq!(super::parted(&of(119), &[96.0, 500.0], 4.0), Some((72.0, 96.0)));
        let mut with = of(119);
        with.push((80.0, false));
        assert_eq!(
            super::parted(&with, &[500.0], 4.0),
            Some((80.0, 500.0)),
            "parted as they are"
        );
        assert_eq!(super::parted(&with, &[96.0, 500.0], 4.0), Some((72.0, 80.0)));
        assert_eq!(super::parted(&with, &[90.0, 96.0], 4.0), None, "three of 119");
        assert_eq!(super::parted(&of(30), &[96.0, 500.0], 4.0), None, "one of thirty");
    }

    #[test]
    fn a_limit_that_another_line_s_shorter_strays_gave_is_raised() {
        let low = |lag: i64| {
            let (capture, options) = (capture(lag), StrayOptions::default());
            let mut strays = strays::find(&capture, &options);
            strays.limits[1].low = Some(20.0);
            let attribution = attribute(&capture, &strays, &CouplingOptions::default());
            let limits = super::limits(&capture, &strays, &attribution, &options);
            limits.first().and_then(|(_, limit)| limit.low)
        };
        assert!(low(20).is_some_and(|limit| limit > 45.0));
        assert_eq!(low(90), None);
    }
}
