//! How high strays get, beside what a part would make of so short a pulse.
//!
//! An output that switches goes the whole way to its other level, or as far as its own slopes take it before it turns back, and is back as
//! soon. What is induced through some picofarads goes as far as it goes, as steeply as another line's edge, and lasts as long as it
//! lasts. So a pulse that stopped well short of the line's other level, and lasted longer than the line's own slopes make it, or
//! came and went faster than they can, was made by no gate and answers nobody.
//!
//! What it rests on: the line shows both of its levels and edges of its own, through the same probe; strays are seen by several
//! samples, so that their height is known.

use super::samples::Samples;
use crate::analysis::stats::order::middle;
use crate::analysis::strays::{Stray, StrayKind};
use crate::analysis::waveform::{States, states};
use crate::model::{Capture, Level, Line};

/// Of a trace no more than so many samples, evenly taken, tell the line's two levels.
const LOOKED_AT: usize = 1 << 16;
/// Of the line's own edges no more than so many, evenly taken, tell how long one takes; fewer than the other number tell nothing.
const EDGES_LOOKED_AT: usize = 64;
const FEWEST_EDGES: usize = 3;
/// A stray shorter than so many samples may have been higher between them.
const SEEN: f64 = 3.0;
/// The slowest edge that is looked for: an open collector's pull-up of some kilohms lifts some 100 pF in 2.2 times their product.
const SLOWEST_S: f64 = 500e-9;
/// An edge from 10 % to 90 % takes so many time constants, as of one resistance and one capacitance.
const CONSTANTS: f64 = 2.2;
/// What gets this far reaches the other level, as far as overshoot and droop tell.
const WHOLE: f64 = 0.85;
/// A gate's pulse of that height is no longer, and no shorter, than what the line's own time constants make of it, within this factor: few
/// lines have just one.
const NEAR: f64 = 1.4;
/// Share of the strays that are seen well enough and of partial height, and how many at least, for all to be of that kind.
const MOST: f64 = 0.8;
const FEWEST: usize = 3;

/// A line's own levels in volts, and how long its own rise and its own fall take, in ticks.
#[derive(Clone, Copy, Debug)]
struct Swing {
    states: States,
    rise: f64,
    fall: f64,
}

/// Whether these strays (nearly) all are runts, in volts: they reach no threshold of the other level.
pub fn are_runts<'a>(strays: impl Iterator<Item = &'a Stray>) -> bool {
    let (all, runts) = strays.fold((0u64, 0u64), |(all, runts), stray| {
        (all + 1, runts + u64::from(stray.kind == StrayKind::Runt))
    });
    runts > 0 && runts as f64 >= MOST * all as f64
}

/// Whether these pulses of a line, towards `level`, (nearly) all stop well short of its other level though they last long enough to get
/// there and back: no part makes such. Never where the line was not captured as volts. Cost: the strays, and a look at some thousands of
/// samples.
pub fn are_partial<'a>(
    capture: &Capture,
    line: usize,
    level: Level,
    strays: impl Iterator<Item = &'a Stray>,
) -> bool {
    let record = &capture.lines[line];
    let Some(samples) = Samples::of(record) else {
        return false;
    };
    let Some(swing) = swing(record, &samples, capture.timebase.ticks_of(SLOWEST_S)) else {
        return false;
    };
    let (mut all, mut seen, mut partial) = (0, 0, 0);
    let mut volts = Vec::new();
    for stray in strays.filter(|s| s.level == level) {
        all += 1;
        let width = stray.width.0 as f64;
        if width < SEEN * samples.step().unwrap_or(0) as f64 {
            continue;
        }
        samples.within(stray.start.0, stray.start.0 + stray.width.0, &mut volts);
        let Some(height) = volts.iter().map(|&v| swing.share(level, v)).reduce(f64::max) else {
            continue;
        };
        seen += 1;
        let leaves = swing.share(level, threshold(record, level));
        let length = swing.length(level, leaves, height);
        let is_partial = height < WHOLE && (width > NEAR * length || NEAR * width < length);
        partial += usize::from(is_partial);
    }
    seen >= FEWEST && 2 * seen >= all && partial as f64 >= MOST * seen as f64
}

/// The volts at which a pulse towards `level` begins to count.
fn threshold(line: &Line, level: Level) -> f64 {
    let thresholds = line.trace.as_ref().map(|trace| trace.thresholds);
    thresholds.map_or(f64::NAN, |t| match level {
        Level::High => t.low_v,
        _ => t.high_v,
    })
}

impl Swing {
    /// How long a pulse lasts, in ticks, that the line's own driver begins and ends and that gets to `height`, from where it `leaves` to
    /// where it is back there; both as shares of the way.
    fn length(&self, level: Level, leaves: f64, height: f64) -> f64 {
        let (there, back) = match level {
            Level::High => (self.rise, self.fall),
            _ => (self.fall, self.rise),
        };
        let (up, down) = ((1.0 - leaves) / (1.0 - height), height / leaves);
        (there * up.max(1.0).ln() + back * down.max(1.0).ln()) / CONSTANTS
    }

    /// How far volts are on the way to `level` from the other one: 0 to 1.
    fn share(&self, level: Level, volts: f64) -> f64 {
        let up = (volts - self.states.low_v) / (self.states.high_v - self.states.low_v);
        match level {
            Level::High => up,
            _ => 1.0 - up,
        }
    }
}

/// The line's levels and the middle durations of its own edges, 10 % to 90 %, if these take no longer than `slowest` ticks; edges nearer
/// to another are not looked at.
fn swing(line: &Line, samples: &Samples, slowest: f64) -> Option<Swing> {
    let states = states(&samples.some(LOOKED_AT))?;
    let thresholds = line.trace.as_ref()?.thresholds;
    if states.low_v > thresholds.low_v || states.high_v < thresholds.high_v {
        return None;
    }
    let edges = line.ticks();
    let is_apart = |&at: &usize| {
        let before = at.checked_sub(1).map(|b| edges[at] - edges[b]);
        let after = edges.get(at + 1).map(|next| next - edges[at]);
        [before, after].into_iter().flatten().all(|d| d as f64 >= slowest)
    };
    let lone: Vec<usize> = (0..edges.len()).filter(is_apart).collect();
    let chosen = lone.iter().step_by((lone.len() / EDGES_LOOKED_AT).max(1));
    let reach = slowest as i64 + 2 * samples.step().unwrap_or(0);
    let swing = Swing {
        states,
        rise: 0.0,
        fall: 0.0,
    };
    let mut durations = [Vec::new(), Vec::new()];
    for &at in chosen {
        let level = line.level_after(at);
        let share = |volts: f64| swing.share(level, volts);
        let of = &mut durations[usize::from(level == Level::High)];
        of.extend(samples.transition(edges[at], reach, share));
    }
    let [fall, rise] = durations.map(|mut of| {
        of.sort_unstable_by(f64::total_cmp);
        middle(&of).filter(|_| of.len() >= FEWEST_EDGES)
    });
    Some(Swing {
        states,
        rise: rise?,
        fall: fall?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Ticks, TimeSpan};

    /// A line that is high for 2,000 of each 10,000 ns, with edges of 40 ns; in between come pulses of this length that go as steeply to
    /// `peak` V, or as those of a line with edges of `edge` ns. Sampled every 4 ns.
    fn is_partial(peak: f32, length: i64, edge: f32) -> bool {
        let pulse = |t: i64, from: i64, until: i64, top: f32, edge: f32| {
            let [up, down] = [t - from, until - t].map(|late| 3.4 / edge * late as f32);
            up.min(down).clamp(0.0, top)
        };
        let volts: Vec<f32> = (0..50_000)
            .map(|n| {
                let t = 4 * n % 10_000;
                0.1 + pulse(t, 3_000, 5_000, 3.4, 40.0) + pulse(t, 8_000, 8_000 + length, peak - 0.1, edge)
            })
            .collect();
        let span = TimeSpan::new(Ticks(0), Ticks(200_000));
        let own = (0..20).flat_map(|n| [10_000 * n + 3_022, 10_000 * n + 4_992]);
        let line = Line::digital("CLEAR_N", Level::Low, own.map(Ticks).collect(), span);
        let mut line = fixtures::with_volts(line, 4, volts);
        line.runts = (0..20)
            .map(|n| crate::model::Runt {
                start: Ticks(10_000 * n + 8_000 + (edge / 5.0) as i64),
                width: Ticks(length - (edge / 2.5) as i64),
                level: Level::High,
                peak_v: f64::from(peak),
            })
            .collect();
        let capture = Capture::in_nanoseconds("heights", span, vec![line]);
        let strays = find(&capture, &StrayOptions::default());
        assert_eq!(strays.strays.len(), 20);
        are_partial(&capture, 0, Level::High, strays.strays.iter())
    }

    #[test]
    fn pulses_that_stop_short_of_the_other_level_are_no_part_s() {
        assert!(is_partial(1.4, 120, 40.0));
        assert!(!is_partial(3.3, 120, 40.0), "the whole way");
        assert!(!is_partial(1.4, 31, 40.0), "no time to get further");
        assert!(is_partial(2.4, 18, 4.0), "faster than its own edges");
    }
}
