//! What a logic analyzer makes of the wires: levels at its own sampling instants, and nothing between them.

use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};

use super::physics::Strike;
use super::wiring::{Machine, Wire};

/// Sampling every `period` ns from `phase` ns on; an edge is told at the first sample that shows it.
#[derive(Clone, Copy, Debug)]
pub struct Instrument {
    pub period: f64,
    pub phase: f64,
}

impl Instrument {
    /// The first sample at or after `time`.
    fn sample(&self, time: f64) -> i64 {
        ((time - self.phase) / self.period).ceil() as i64
    }
}

/// A strike as the instrument shows it: a pulse of the line's record.
#[derive(Clone, Debug)]
pub struct Shown {
    pub line: usize,
    pub start: i64,
    pub end: i64,
    pub high: bool,
    pub causes: Vec<(usize, bool)>,
    /// An edge beside it is nearer than [`NEAR_NS`].
    pub marginal: bool,
}

/// Edges nearer than this to a stray make a second short pulse beside it.
const NEAR_NS: f64 = 100.0;

/// What came out of one recording.
pub struct Recording {
    pub capture: Capture,
    /// Strikes that show as pulses of their own; the others fell between two samples or into an edge of the
    /// victim's own.
    pub shown: Vec<Shown>,
}

/// Records the lines `clipped` of the machine (positions in the capture follow that order).
pub fn record(
    machine: &Machine,
    strikes: Vec<Strike>,
    clipped: &[usize],
    instrument: &Instrument,
) -> Recording {
    let end = machine.end + machine.period;
    let span = TimeSpan::new(Ticks(0), Ticks(instrument.sample(end)));
    let mut by_victim: Vec<Vec<Strike>> = vec![Vec::new(); machine.wires.len()];
    for strike in strikes {
        by_victim[strike.victim].push(strike);
    }
    let position = |wire: usize| clipped.iter().position(|&c| c == wire);
    let (mut lines, mut shown) = (Vec::new(), Vec::new());
    for (line, &wire) in clipped.iter().enumerate() {
        let strikes = merged(std::mem::take(&mut by_victim[wire]));
        let actual = pulled(&machine.wires[wire], &strikes);
        let edges = sampled(&actual, instrument, span.end.0);
        let first = machine.wires[wire].first;
        for strike in strikes {
            let (start, end) = (instrument.sample(strike.start), instrument.sample(strike.end));
            if is_own_pulse(&edges, first, start, end, strike.high) {
                let causes = strike.causes.iter();
                let causes = causes
                    .map(|c| (position(c.0).unwrap_or(usize::MAX), c.1))
                    .collect();
                shown.push(Shown {
                    line,
                    start,
                    end,
                    high: strike.high,
                    causes,
                    marginal: has_neighbour(&edges, start, end, (NEAR_NS / instrument.period).ceil() as i64),
                });
            }
        }
        let level = if first { Level::High } else { Level::Low };
        let mut record = Line::digital(
            machine.wires[wire].name.clone(),
            level,
            edges.into_iter().map(Ticks).collect(),
            span,
        );
        record.sample_ticks = if instrument.period > 1.0 { 1.0 } else { 0.0 };
        lines.push(record);
    }
    let capture = Capture {
        file: "simulated".to_owned(),
        format: Format::Csv,
        timebase: Timebase::fitted(0.0, instrument.period * 1e-9),
        span,
        resolution_ticks: 1.0,
        lines,
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    };
    Recording { capture, shown }
}

/// Strikes towards one level that overlap are one.
pub fn merged(mut strikes: Vec<Strike>) -> Vec<Strike> {
    strikes.sort_by(|a, b| a.start.total_cmp(&b.start));
    let mut kept: Vec<Strike> = Vec::new();
    for strike in strikes {
        match kept.last_mut() {
            Some(last) if last.high == strike.high && strike.start <= last.end => {
                last.end = last.end.max(strike.end);
                last.causes.extend(strike.causes);
            }
            _ => kept.push(strike),
        }
    }
    kept
}

/// Edges of the wire with its strikes: while a strike lasts its level wins over the driver's.
pub fn pulled(wire: &Wire, strikes: &[Strike]) -> Vec<(f64, bool)> {
    let mut moments: Vec<f64> = wire.edges.clone();
    moments.extend(strikes.iter().flat_map(|s| [s.start, s.end]));
    moments.sort_unstable_by(f64::total_cmp);
    let mut edges = Vec::with_capacity(moments.len());
    let mut level = wire.first;
    let mut from = 0;
    for time in moments {
        while from < strikes.len() && strikes[from].end <= time && strikes[from].start <= time {
            from += 1;
        }
        let pull = strikes[from..]
            .iter()
            .take_while(|s| s.start <= time)
            .find(|s| time < s.end);
        let now = pull.map_or_else(|| wire.level_at(time), |s| s.high);
        if now != level {
            edges.push((time, now));
            level = now;
        }
    }
    edges
}

fn sampled(edges: &[(f64, bool)], instrument: &Instrument, end: i64) -> Vec<i64> {
    let mut kept: Vec<i64> = Vec::with_capacity(edges.len());
    for &(time, _) in edges {
        let at = instrument.sample(time).max(1);
        if at >= end {
            break;
        }
        // Two edges between the same samples leave no trace.
        if kept.last() == Some(&at) {
            kept.pop();
        } else {
            kept.push(at);
        }
    }
    kept
}

fn is_own_pulse(edges: &[i64], first: bool, start: i64, end: i64, high: bool) -> bool {
    let at = edges.partition_point(|&e| e < start);
    start < end
        && edges.get(at) == Some(&start)
        && edges.get(at + 1) == Some(&end)
        && (first ^ at.is_multiple_of(2)) == high
}

fn has_neighbour(edges: &[i64], start: i64, end: i64, near: i64) -> bool {
    let from = edges.partition_point(|&e| e < start - near);
    let to = edges.partition_point(|&e| e <= end + near);
    to - from > 2
}

/// Chance that sampling every `period` shows a pulse whose width is even between `least` and `most`: the mean of
/// min(1, w / period).
pub fn chance_shown(least: f64, most: f64, period: f64) -> f64 {
    if most <= period {
        return 0.5 * (least + most) / period;
    }
    if least >= period || most <= least {
        return (least / period).min(1.0);
    }
    let below = 0.5 * (period * period - least * least) / period;
    (below + most - period) / (most - least)
}
