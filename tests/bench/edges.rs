//! Edges for the benchmarks, from a fixed seed: 32 lines of one second in nanoseconds.

use edgewitness::demo::random::Random;
use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};

pub const LINES: usize = 32;
const SECOND: i64 = 1_000_000_000;

/// `total` edges in all, by line, ascending: clocks, lines without a clock, lines that follow another
/// by tens to hundreds of nanoseconds. The busiest has some 250 times the edges of the laziest.
pub fn lines(total: usize) -> Vec<Vec<i64>> {
    let mut random = Random::new(11);
    let weight = |k: usize| 0.004f64.powf(k as f64 / (LINES - 1) as f64);
    let whole: f64 = (0..LINES).map(weight).sum();
    let mut lines: Vec<Vec<i64>> = Vec::new();
    for k in 0..LINES {
        let count = (total as f64 * weight(k) / whole) as usize;
        let mut even = |from: f64, to: f64| random.uniform(from, to) as i64;
        let mut times: Vec<i64> = match k % 4 {
            0 | 2 => (0..count)
                .map(|n| n as i64 * SECOND / count as i64 + even(-15.0, 16.0))
                .collect(),
            3 if k > 3 => {
                let source = &lines[k - 3];
                let follows = |n: usize| source[n * source.len() / count.max(1)];
                let lag = 20 + 12 * k as i64;
                (0..count)
                    .map(|n| match n % 4 {
                        3 => even(0.0, SECOND as f64),
                        _ => follows(n) + lag + even(-8.0, 9.0),
                    })
                    .collect()
            }
            _ => (0..count).map(|_| even(0.0, SECOND as f64)).collect(),
        };
        times.sort_unstable();
        times.dedup();
        lines.push(times);
    }
    lines
}

/// The same as a capture: `LINE_00` to `LINE_31`, all low at first.
#[allow(dead_code)]
pub fn capture(total: usize) -> Capture {
    let span = TimeSpan::new(Ticks(-100), Ticks(SECOND + 1_000));
    let line = |(k, times): (usize, Vec<i64>)| {
        let edges = times.into_iter().map(Ticks).collect();
        Line::digital(format!("LINE_{k:02}"), Level::Low, edges, span)
    };
    Capture {
        file: "bench.vcd".to_owned(),
        format: Format::Vcd,
        timebase: Timebase::decimal(-9),
        span,
        resolution_ticks: 1.0,
        lines: lines(total).into_iter().enumerate().map(line).collect(),
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    }
}
