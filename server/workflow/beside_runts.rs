//! Full-depth pulses on a line in volts that are of one kind with its runts.
//!
//! What strikes a line pulls it past both thresholds now and then, and past one of them the other times. The runts are told for
//! what they are by their depth; of the few that are deep enough their width alone would have to tell, and few widths give no
//! limit. The runts beside them do: no part means to put out half a level.

use crate::analysis::strays::{self, LimitOrigin, NarrowLimit, StrayOptions};
use crate::model::{Capture, Level, Line};
use crate::setup::Setup;

/// Runts towards a level from which on they say something of its pulses: fewer may be a slow edge (no source).
const FEWEST: usize = 3;
/// A pulse that got through both thresholds lasts up to so many times as long as the widest runt: it was the stronger one
/// (no source).
const WIDER: f64 = 2.0;
/// The line's own pulses of the level are so many times longer again, each of them (no source).
const APART: f64 = 2.0;

/// A line's level at which pulses shorter than a limit are of one kind with its runts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BesideRunts {
    pub line: usize,
    pub level: Level,
    /// In ticks.
    pub limit: f64,
}

/// The limits that runts give, on lines of which the setup says none: where they are at least as many as the pulses that fall
/// short of the limit, and every other pulse of that level is far longer. Cost: linear in the edges of lines with runts.
pub fn limits(capture: &Capture, setup: &Setup) -> Vec<BesideRunts> {
    let lines = capture.lines.iter().enumerate();
    let without_limit = lines.filter(|(_, line)| {
        let own = |name: &str| setup.narrow_below_s(name).is_some();
        line.runts.len() >= FEWEST
            && !own(&line.name)
            && !line.name.split_once('/').is_some_and(|(_, name)| own(name))
    });
    without_limit
        .flat_map(|(at, line)| {
            let limit = move |level: Level| {
                let limit = limit(line, level)?;
                let line = at;
                Some(BesideRunts { line, level, limit })
            };
            [Level::Low, Level::High].into_iter().filter_map(limit)
        })
        .collect()
}

fn limit(line: &Line, level: Level) -> Option<f64> {
    let is_own = |start| {
        let mut judged = line.judged.iter();
        judged.any(|judged| judged.start == start && !judged.stray)
    };
    let runts = line
        .runts
        .iter()
        .filter(|runt| runt.level == level && !is_own(runt.start));
    let widths: Vec<i64> = runts.map(|runt| runt.width.0).collect();
    // The ends of a pulse are known to a sample.
    let widest = *widths.iter().max()? as f64 + line.sample_ticks;
    let limit = WIDER * widest;
    let (mut short, mut shortest_own) = (0, f64::INFINITY);
    for pulse in line.pulses().filter(|pulse| pulse.level == level) {
        let width = pulse.width().0 as f64;
        match width < limit {
            true => short += 1,
            false => shortest_own = shortest_own.min(width),
        }
    }
    let is_apart = shortest_own.is_finite() && shortest_own >= APART * limit;
    (widths.len() >= FEWEST && short <= widths.len() && is_apart).then_some(limit)
}

/// Puts these limits among `options`, where the line's own widths give none for the level. Cost: where there is any, that of
/// finding the strays.
pub fn take_over(capture: &Capture, setup: &Setup, options: &mut StrayOptions) {
    let limits = limits(capture, setup);
    if limits.is_empty() {
        return;
    }
    let found = strays::find(capture, options);
    for BesideRunts { line, level, limit } in limits {
        let own = found.limits[line];
        if own.of(level).is_some() || found.bursts.iter().any(|burst| burst.line == line) {
            continue;
        }
        let held = options.taken_over.entry(line).or_insert(NarrowLimit {
            origin: LimitOrigin::Inferred,
            ..own
        });
        match level {
            Level::Low => held.low = Some(limit),
            _ => held.high = Some(limit),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::StrayKind;
    use crate::model::{Runt, Ticks, TimeSpan};

    /// CLEAR_N rests high, is low by itself for 2 µs and more, and shows runts of 30 ns and dips through both thresholds.
    fn clear(runts: i64, dips: i64, dip: i64) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let own = (0..10).flat_map(|n| [100_000 * n + 50_000, 100_000 * n + 52_000 + 100 * n]);
        let dips = (0..dips).flat_map(|n| [20_000 * n + 5_000, 20_000 * n + 5_000 + dip]);
        let mut edges: Vec<Ticks> = own.chain(dips).map(Ticks).collect();
        edges.sort_unstable();
        let mut line = Line::digital("CLEAR_N", Level::High, edges, span);
        let runt = |n: i64| Runt {
            start: Ticks(30_000 * n + 7_000),
            width: Ticks(20 + n % 11),
            level: Level::Low,
            peak_v: 1.4,
        };
        line.runts = (0..runts).map(runt).collect();
        Capture::in_nanoseconds("volts.csv", span, vec![line])
    }

    #[test]
    fn a_few_dips_beside_runts_are_of_their_kind() {
        let count = |runts, dips, dip| {
            let (capture, mut options) = (clear(runts, dips, dip), StrayOptions::default());
            take_over(&capture, &Setup::default(), &mut options);
            let found = strays::find(&capture, &options).strays;
            found
                .iter()
                .filter(|stray| stray.kind == StrayKind::Pulse)
                .count()
        };
        assert_eq!(count(12, 2, 45), 2);
        // Nothing to go by: too few runts, as many strobes of its own, or pulses of all widths.
        assert_eq!(count(2, 2, 45), 0);
        assert_eq!(count(4, 5, 45), 0);
        assert_eq!(count(12, 2, 90), 0);
        // What a person says of the line goes before.
        let said = Setup::parse("[line.CLEAR_N]\nnarrow_below = \"10 ns\"\n", "s").unwrap();
        assert_eq!(limits(&clear(12, 2, 45), &said), []);
    }
}
