//! Victims and rows as the tests of this folder need them.

use crate::analysis::coupling::fit::lags::LagHistogram;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, Rest};
use crate::analysis::coupling::{
    Attribution, Coupling, CouplingOptions, Edge, Estimate, Occurrence, Standing, attribute,
};
use crate::analysis::strays::{Stray, StrayKind, StrayOptions, Strays, find};
use crate::model::{
    Capture, Level, Line, Polarity, Source, Thresholds, Ticks, TimeSpan, Trace, TraceSamples,
};

/// A line struck high at `times`, strays of 20 ticks numbered in that order; edges are known to the tick.
pub fn victim(line: usize, times: Vec<i64>, rests: Vec<Rest>) -> Victim {
    Victim {
        line,
        level: Level::High,
        strays: (0..times.len()).collect(),
        times,
        time: able::length(&rests),
        rests,
        unit: 1.0,
        guard: 0,
        width: 20,
    }
}

/// A row that accuses `aggressor` of these strikes, which come after `lag` ticks; of 100 strays of the victim.
pub fn row(
    [victim, aggressor]: [usize; 2],
    edge: Edge,
    lag: i64,
    occurrences: Vec<Occurrence>,
    opportunities: u64,
) -> Coupling {
    let about = |estimate: f64| Estimate {
        estimate,
        low: 0.8 * estimate,
        high: 1.2 * estimate,
    };
    let strays = occurrences.len() as u64;
    Coupling {
        victim,
        aggressor,
        edge,
        levels: vec![Level::High],
        strays,
        opportunities,
        expected_by_chance: 0.0,
        p_value: 0.0,
        q_value: 0.0,
        strike_rate: about(strays as f64 / opportunities as f64),
        corrected_rate: None,
        lag: about(lag as f64),
        standing: Standing::Clear,
        inseparable_from: Vec::new(),
        copies: Vec::new(),
        passed_on: Vec::new(),
        victim_strays: 100,
        histogram: LagHistogram::of(&[], 0, 10, 1.0),
        occurrences,
        ruled_out: Vec::new(),
        follows_pulse: 0.0,
        step: None,
        moved: None,
    }
}

/// The strays of a victim, the n-th so many ticks wide.
pub fn strays(victim: &Victim, width: impl Fn(i64) -> i64) -> Strays {
    let of = (0..).zip(&victim.times).map(|(n, &start)| Stray {
        line: victim.line,
        edge: Some(2 * n as usize),
        start: Ticks(start),
        width: Ticks(width(n)),
        level: victim.level,
        kind: StrayKind::Pulse,
    });
    Strays {
        strays: of.collect(),
        ..Strays::default()
    }
}

/// How long the record of [`accused`] lasts.
pub const END: i64 = 900_000;

/// Line 2, struck 30 ticks after each of `struck`, and the row that accuses line 0's rises of it.
pub fn accused(struck: &[i64]) -> (Victim, Coupling) {
    let rest = Rest { start: 0, end: END };
    let victim = victim(2, struck.iter().map(|t| t + 30).collect(), vec![rest]);
    let occurrences = struck.iter().enumerate().map(|(stray, &at)| Occurrence {
        at,
        polarity: Polarity::Rise,
        stray,
        lag: 30,
    });
    let row = row([2, 0], Edge::Rise, 30, occurrences.collect(), 400);
    (victim, row)
}

/// A line's own edges, in ticks.
pub fn own(rises: Vec<i64>, falls: Vec<i64>) -> OwnEdges {
    OwnEdges { rises, falls }
}

/// Rises of a clock, one every 2,000 ticks, of those that `which` keeps.
pub fn rises(which: impl Fn(i64) -> bool) -> Vec<i64> {
    (1..401).filter(|&n| which(n)).map(|n| 2_000 * n).collect()
}

/// The strays of lines that are recorded in nanoseconds until `end`, and who is thought to cause them; `narrow`: lines with the
/// widths below which their pulses are stray.
pub fn attributed(lines: Vec<Line>, end: i64, narrow: &[(usize, f64)]) -> (Strays, Attribution) {
    let span = TimeSpan::new(Ticks(0), Ticks(end));
    let capture = Capture::in_nanoseconds("attributed", span, lines);
    let options = StrayOptions {
        narrow_below: narrow.iter().copied().collect(),
        ..StrayOptions::default()
    };
    let strays = find(&capture, &options);
    let told = attribute(&capture, &strays, &CouplingOptions::default());
    (strays, told)
}

/// The line with samples of these volts, one every `step` ticks from 0 on, under the thresholds of TTL.
pub fn with_volts(line: Line, step: i64, volts: Vec<f32>) -> Line {
    let samples = TraceSamples::Uniform {
        start: 0,
        step,
        volts: std::sync::Arc::new(volts),
        pyramid: std::sync::Arc::default(),
    };
    Line {
        source: Source::Analog,
        interpolated: true,
        trace: Some(Trace {
            thresholds: Thresholds {
                low_v: 0.8,
                high_v: 2.0,
            },
            family: "ttl-5v".to_owned(),
            declared: true,
            samples,
        }),
        ..line
    }
}
