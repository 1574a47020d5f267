//! Captures of a few lines, and what came of one rule on them.

use edgewitness::analysis::rules::{RuleResult, check_rules};
use edgewitness::model::{Bus, Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};
use edgewitness::setup::Setup;

/// A capture of 1 ns ticks, 10 µs long. `lines`: name, first level (0 or 1), edges.
pub fn capture(lines: &[(&str, u8, &[i64])]) -> Capture {
    capture_of(10_000, lines)
}

/// The same, `length` ns long.
pub fn capture_of(length: i64, lines: &[(&str, u8, &[i64])]) -> Capture {
    let span = TimeSpan::new(Ticks(0), Ticks(length));
    let lines = lines.iter().map(|(name, first, edges)| {
        let first = if *first == 1 { Level::High } else { Level::Low };
        Line::digital(*name, first, edges.iter().map(|&t| Ticks(t)).collect(), span)
    });
    Capture {
        file: "bench.vcd".to_owned(),
        format: Format::Vcd,
        timebase: Timebase::decimal(-9),
        span,
        resolution_ticks: 1.0,
        lines: lines.collect(),
        buses: Vec::<Bus>::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    }
}

/// The same, seen by an instrument that samples every `period` ticks: each edge is stamped by the first sample that shows it.
pub fn sampled(mut capture: Capture, period: i64) -> Capture {
    for line in &mut capture.lines {
        let stamps = line
            .edges
            .iter()
            .map(|t| Ticks((t.0 + period - 1).div_euclid(period) * period));
        line.edges = stamps.collect::<Vec<_>>().into();
        line.sample_ticks = period as f64;
    }
    capture
}

pub fn check(capture: &Capture, setup: &str) -> RuleResult {
    let setup = Setup::parse(setup, "setup.toml").unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(setup.rules.len(), 1);
    check_rules(capture, &setup.rules).remove(0)
}

/// Kept, broken, can't tell.
pub fn counts(result: &RuleResult) -> (u64, u64, u64) {
    assert_eq!(result.missing, Vec::<String>::new());
    (result.tally.kept, result.tally.broken, result.tally.cant_tell)
}

pub const KEPT: (u64, u64, u64) = (1, 0, 0);
pub const BROKEN: (u64, u64, u64) = (0, 1, 0);
pub const CANT_TELL: (u64, u64, u64) = (0, 0, 1);
