//! Lines that switch about as fast as they are sampled: their short pulses come in rows, and say nothing.
//!
//! A clock whose period is one to three samples shows as pulses of one and two samples, high and low in turn; where it
//! rests now and then, or beats with the sampling, long pulses stand beside these and they look narrow. A stray stands by
//! itself, between two stretches of its line's own.

use super::NarrowLimit;
use crate::model::Pulse;

/// Pulses of up to so many samples may be a clock's.
const SAMPLES: f64 = 3.0;
/// Share of the narrow pulses that stand between two short ones.
const IN_ROWS: f64 = 0.5;
/// With fewer narrow pulses in rows than this nothing is concluded.
const FEWEST: usize = 6;

/// Whether (most of) the pulses below `limit` stand in rows of pulses of a few samples. `sampling`: period in ticks, 0
/// where edges are exact. Cost: linear in pulses.
pub fn is(pulses: impl Iterator<Item = Pulse>, limit: &NarrowLimit, sampling: f64) -> bool {
    if sampling <= 0.0 {
        return false;
    }
    let is_short = |p: &Pulse| p.width().0 as f64 <= (SAMPLES + 0.5) * sampling;
    let is_narrow = |p: &Pulse| {
        let width = p.width().0 as f64;
        is_short(p) && limit.of(p.level).is_some_and(|l| width < l)
    };
    let follows = |a: &Pulse, b: &Pulse| a.end == b.start;
    let (mut narrow, mut in_rows) = (0, 0);
    let mut last: [Option<Pulse>; 2] = [None, None];
    for pulse in pulses {
        narrow += usize::from(
            limit
                .of(pulse.level)
                .is_some_and(|l| (pulse.width().0 as f64) < l),
        );
        if let [Some(before), Some(middle)] = &last {
            let is_row = follows(before, middle) && follows(middle, &pulse);
            in_rows += usize::from(is_row && is_narrow(middle) && is_short(before) && is_short(&pulse));
        }
        last = [last[1].take(), Some(pulse)];
    }
    in_rows >= FEWEST && in_rows as f64 >= IN_ROWS * narrow as f64
}

#[cfg(test)]
mod tests {
    use super::super::{LimitOrigin, StrayOptions, find};
    use crate::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};

    /// One line of 20-tick samples with these pulses, in samples, low first.
    fn origin(widths: &[i64]) -> (LimitOrigin, usize) {
        let mut at = 0;
        let mut edges = Vec::new();
        for width in widths {
            at += 20 * width;
            edges.push(Ticks(at));
        }
        let span = TimeSpan::new(Ticks(0), Ticks(at + 1_000));
        let mut line = Line::digital("STEP", Level::Low, edges, span);
        line.sample_ticks = 20.0;
        let capture = Capture {
            file: "slow".to_owned(),
            format: Format::Csv,
            timebase: Timebase::decimal(-9),
            span,
            resolution_ticks: 20.0,
            lines: vec![line],
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        };
        let strays = find(&capture, &StrayOptions::default());
        (strays.limits[0].origin, strays.strays.len())
    }

    /// A clock of `period` samples that runs for 40 periods and rests for 300 samples, ten times.
    fn bursts(period: f64) -> Vec<i64> {
        let mut widths = Vec::new();
        for burst in 0..10 {
            widths.push(300 + 7 * burst);
            let edge = |n: i64| (n as f64 * period / 2.0 + 0.3).ceil() as i64;
            let own = (0..81).map(|n| edge(n + 1) - edge(n)).filter(|w| *w > 0);
            widths.extend(own);
            if widths.len() % 2 == 1 {
                continue;
            }
            widths.pop();
        }
        widths
    }

    #[test]
    fn a_clock_of_a_few_samples_shows_no_strays() {
        for period in [2.1, 2.4, 2.9] {
            assert_eq!(origin(&bursts(period)), (LimitOrigin::None, 0), "{period}");
        }
    }

    #[test]
    fn strays_of_a_sample_that_stand_by_themselves_are_found() {
        let widths: Vec<i64> = (0..60)
            .flat_map(|n| [90 + 13 * (n % 11), if n % 3 == 0 { 1 + n % 2 } else { 60 + n }])
            .collect();
        let (origin, strays) = origin(&widths);
        assert_eq!((origin, strays), (LimitOrigin::Inferred, 20));
    }
}
