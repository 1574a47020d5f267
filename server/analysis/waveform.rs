//! Pulse measures of an analog line by IEEE Std 181-2011 (section numbers not checked).
//!
//! State levels: mode of the histogram's lower and upper half. Reference levels: 10, 50 and 90 % between them.
//! Reference level instants: linear between the two samples that straddle the level.

use super::volts::Volts;
use crate::model::{Polarity, Thresholds};

/// Bins of the histogram over the whole range.
const BINS: usize = 256;
/// Aberrations are looked for within this many transition durations before and after a transition (the standard's usual regions;
/// from memory).
const ABERRATION_REGION: f64 = 3.0;

/// Volts of the two states.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct States {
    pub low_v: f64,
    pub high_v: f64,
}

/// One passage from state to state; instants and durations in ticks (fractions).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transition {
    pub polarity: Polarity,
    pub at_10: f64,
    pub at_50: f64,
    pub at_90: f64,
    /// Beyond the state it goes to, and beyond the one it leaves, as fractions of the amplitude.
    pub overshoot: f64,
    pub pre_shoot: f64,
}

impl Transition {
    /// From the first to the last of the 10 % and 90 % instants.
    pub fn duration(&self) -> f64 {
        (self.at_90 - self.at_10).abs()
    }
}

/// What one analog line looks like.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    pub states: States,
    pub transitions: Vec<Transition>,
    /// Excursions that passed the 50 % level and went back without reaching the other state.
    pub runts: u64,
}

impl Waveform {
    /// Measures `samples`; `None` without two states. Cost: linear.
    pub fn of(samples: &Volts) -> Option<Waveform> {
        let states = states(&samples.volts)?;
        let (transitions, runts) = transitions(samples, states);
        Some(Waveform {
            states,
            transitions,
            runts,
        })
    }

    /// Volts left between the states and the family's thresholds: low (VIL − low state) and high (high state − VIH).
    pub fn noise_margins(&self, thresholds: Thresholds) -> (f64, f64) {
        (
            thresholds.low_v - self.states.low_v,
            self.states.high_v - thresholds.high_v,
        )
    }
}

/// State levels from the histogram of the samples: the fullest bin of each half, and the median of the samples in it.
pub fn states(volts: &[f64]) -> Option<States> {
    let low = volts.iter().copied().fold(f64::INFINITY, f64::min);
    let high = volts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let range = high - low;
    if !(range > 0.0 && range.is_finite()) {
        return None;
    }
    let bin = |v: f64| (((v - low) / range * BINS as f64) as usize).min(BINS - 1);
    let mut counts = [0usize; BINS];
    for &v in volts {
        counts[bin(v)] += 1;
    }
    // Of equally full bins the outer one.
    let lower = (0..BINS / 2).rev().max_by_key(|&b| counts[b])?;
    let upper = (BINS / 2..BINS).max_by_key(|&b| counts[b])?;
    let median = |wanted: usize| {
        let mut inside: Vec<f64> = volts.iter().copied().filter(|&v| bin(v) == wanted).collect();
        let middle = inside.len() / 2;
        let (_, median, _) = inside.select_nth_unstable_by(middle, f64::total_cmp);
        *median
    };
    Some(States {
        low_v: median(lower),
        high_v: median(upper),
    })
}

/// All passages between the states, and the number of runts.
pub fn transitions(samples: &Volts, states: States) -> (Vec<Transition>, u64) {
    let amplitude = states.high_v - states.low_v;
    let share = |v: f64| (v - states.low_v) / amplitude;
    let mut found: Vec<Transition> = Vec::new();
    let (mut runts, mut was_past_half) = (0, false);
    // In which state the line was last: beyond 10 % from below, or 90 % from above.
    let mut is_high: Option<bool> = None;
    let (mut leave, mut half) = (0.0, 0.0);
    let mut last: Option<(f64, f64)> = None;
    for (&time, &volts) in samples.times.iter().zip(&samples.volts) {
        let now = share(volts);
        let Some((then, before)) = last.replace((time, now)) else {
            is_high = match now {
                n if n <= 0.1 => Some(false),
                n if n >= 0.9 => Some(true),
                _ => None,
            };
            continue;
        };
        let instant = |level: f64| then + (level - before) / (now - before) * (time - then);
        let Some(state) = is_high else {
            if now <= 0.1 || now >= 0.9 {
                is_high = Some(now >= 0.9);
            }
            continue;
        };
        // Seen from the state it is in, every passage rises from 0 to 1.
        let (a, b) = if state {
            (1.0 - before, 1.0 - now)
        } else {
            (before, now)
        };
        let level = |l: f64| if state { 1.0 - l } else { l };
        if a <= 0.1 && b > 0.1 {
            leave = instant(level(0.1));
        }
        if a < 0.5 && b >= 0.5 {
            half = instant(level(0.5));
            was_past_half = true;
        }
        if b >= 0.9 {
            let arrive = instant(level(0.9));
            let (polarity, at_10, at_90) = if state {
                (Polarity::Fall, arrive, leave)
            } else {
                (Polarity::Rise, leave, arrive)
            };
            found.push(Transition {
                polarity,
                at_10,
                at_50: half,
                at_90,
                overshoot: 0.0,
                pre_shoot: 0.0,
            });
            is_high = Some(!state);
            was_past_half = false;
        } else if b <= 0.1 {
            runts += u64::from(was_past_half);
            was_past_half = false;
        }
    }
    aberrations(samples, &mut found, share);
    (found, runts)
}

/// Fills in overshoot and pre-shoot, each within its region and not beyond the neighbouring transition.
fn aberrations(samples: &Volts, transitions: &mut [Transition], share: impl Fn(f64) -> f64) {
    let ends = |t: &Transition| (t.at_10.min(t.at_90), t.at_10.max(t.at_90));
    for i in 0..transitions.len() {
        let this = transitions[i];
        let (start, end) = ends(&this);
        let region = ABERRATION_REGION * this.duration();
        let before = i
            .checked_sub(1)
            .map_or(f64::NEG_INFINITY, |p| ends(&transitions[p]).1);
        let after = transitions.get(i + 1).map_or(f64::INFINITY, |n| ends(n).0);
        let largest = |from: f64, to: f64, beyond: &dyn Fn(f64) -> f64| {
            let first = samples.times.partition_point(|&t| t < from);
            let past = samples.times.partition_point(|&t| t <= to);
            let inside = samples.volts.get(first..past).unwrap_or(&[]);
            inside.iter().map(|&v| beyond(share(v))).fold(0.0, f64::max)
        };
        let (above, below) = (|s: f64| s - 1.0, |s: f64| -s);
        let (goes_to, leaves): (&dyn Fn(f64) -> f64, &dyn Fn(f64) -> f64) = match this.polarity {
            Polarity::Rise => (&above, &below),
            Polarity::Fall => (&below, &above),
        };
        transitions[i].overshoot = largest(end, (end + region).min(after), goes_to);
        transitions[i].pre_shoot = largest((start - region).max(before), start, leaves);
    }
}
