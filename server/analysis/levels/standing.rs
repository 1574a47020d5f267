//! Where a line stands: its two levels, and the stretches that it spends between its thresholds.

use crate::analysis::volts::Volts;
use crate::analysis::waveform::{States, states};
use crate::model::{Line, Thresholds};

/// A level stands when the line stays within this part of the swing of it …
const BAND: f64 = 0.1;
/// … for so much of a stretch: the rest is its edges. What charges or discharges passes through the band sooner.
const FLAT: f64 = 0.7;
/// A stretch between the thresholds is flat when it stays this near its median, in volts: noise and steps of an eight-bit
/// instrument fit in, a ramp from threshold to threshold doesn't (no source).
const FLAT_V: f64 = 0.15;
/// What lasts less is no level: crosstalk along a cable is flat as well, for twice its delay (10 m there and back are 100 ns).
const SHORTEST_S: f64 = 200e-9;
/// Samples that show whether something is flat.
const FEWEST_SAMPLES: f64 = 3.0;
/// A flat stretch this long is a level whatever the line's own pulses are: what is induced dies within it (no source).
const PLATEAU_S: f64 = 1e-6;
/// A shorter one is a level when it lasts this part of the line's usual pulse (no source).
const OF_USUAL_PULSE: f64 = 0.5;
/// A line in volts that is always this near one value does not move.
const STILL_V: f64 = 0.25;

/// One of the two levels of a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    pub volts: f64,
    /// Share of the record in stretches that stand there.
    pub share: f64,
    pub stretches: usize,
    /// Median length of these, in ticks.
    pub usual: f64,
}

/// How a line lies between and about its thresholds.
#[derive(Clone, Debug, PartialEq)]
pub struct Levels {
    pub low: Standing,
    pub high: Standing,
    pub median_v: f64,
    pub mean_v: f64,
    pub least_v: f64,
    pub most_v: f64,
    /// Share of the record between the thresholds.
    pub between: f64,
    /// Shares at or below the lower and at or above the upper, in stretches that are long enough for a level: noise makes none.
    pub stays_below: f64,
    pub stays_above: f64,
    /// Share of the record near the median.
    pub at_rest: f64,
    /// Of the record, in ticks.
    pub length: f64,
}

/// The shortest stretch that is a level, in ticks.
pub fn shortest(ticks_of: &dyn Fn(f64) -> f64, step: f64) -> f64 {
    ticks_of(SHORTEST_S).max(FEWEST_SAMPLES * step)
}

/// The shortest stretch between the thresholds that is a level, in ticks.
pub fn shortest_plateau(line: &Line, ticks_of: &dyn Fn(f64) -> f64, step: f64) -> f64 {
    let mut widths: Vec<f64> = line.pulses().map(|p| p.width().0 as f64).collect();
    let least = shortest(ticks_of, step);
    let usual = match widths.is_empty() {
        true => f64::INFINITY,
        false => OF_USUAL_PULSE * median(&mut widths),
    };
    usual.clamp(least, ticks_of(PLATEAU_S).max(least))
}

/// The middle of `values`, NaN where there are none. Cost: linear.
pub fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    match values.is_empty() {
        true => f64::NAN,
        false => *values.select_nth_unstable_by(middle, f64::total_cmp).1,
    }
}

/// How long each sample holds, in ticks: up to the next one.
fn holds(times: &[f64]) -> impl Iterator<Item = f64> + '_ {
    let last = match times {
        [.., before, last] => last - before,
        _ => 1.0,
    };
    times.windows(2).map(|pair| pair[1] - pair[0]).chain([last])
}

impl Levels {
    /// Of `samples`; `None` where there are fewer than two. `shortest`: of a stretch that is a level.
    pub fn of(samples: &Volts, thresholds: Thresholds, shortest: f64) -> Option<Levels> {
        let volts = &samples.volts;
        if volts.len() < 2 {
            return None;
        }
        let median_v = median(&mut volts.clone());
        let States { low_v, high_v } = states(volts).unwrap_or(States {
            low_v: median_v,
            high_v: median_v,
        });
        let (mut between, mut at_rest, mut sum, mut length) = (0.0, 0.0, 0.0, 0.0);
        for (&v, hold) in volts.iter().zip(holds(&samples.times)) {
            length += hold;
            sum += v * hold;
            let is_between = thresholds.low_v < v && v < thresholds.high_v;
            let counts = |it: bool| if it { hold } else { 0.0 };
            between += counts(is_between);
            at_rest += counts((v - median_v).abs() <= STILL_V);
        }
        let middle = (low_v + high_v) / 2.0;
        let band = BAND * (high_v - low_v);
        // The fullest bin is one of the steps of an instrument; its neighbours belong to the level as well.
        let about = |state_v: f64| {
            let near = volts.iter().copied().filter(|v| (v - state_v).abs() <= band);
            median(&mut near.collect::<Vec<f64>>())
        };
        let (low_v, high_v) = (about(low_v), about(high_v));
        let stays = |is_it: &dyn Fn(f64) -> bool| {
            let long = runs(samples, is_it)
                .map(|run| run.length)
                .filter(|l| *l >= shortest);
            long.sum::<f64>() / length
        };
        let stand = |level_v: f64, is_high: bool| {
            let runs = runs(samples, |v| (v > middle) == is_high);
            let mut lengths: Vec<f64> = runs
                .filter(|run| run.length >= shortest)
                .filter(|run| run.time_near(samples, level_v, band) >= FLAT * run.length)
                .map(|run| run.length)
                .collect();
            Standing {
                volts: level_v,
                share: lengths.iter().sum::<f64>() / length,
                stretches: lengths.len(),
                usual: median(&mut lengths),
            }
        };
        let ends = volts
            .iter()
            .fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        Some(Levels {
            low: stand(low_v, false),
            high: stand(high_v, true),
            median_v,
            mean_v: sum / length,
            least_v: ends.0,
            most_v: ends.1,
            between: between / length,
            stays_below: stays(&|v| v <= thresholds.low_v),
            stays_above: stays(&|v| v >= thresholds.high_v),
            at_rest: at_rest / length,
            length,
        })
    }

    /// Whether it is ever far from its median.
    pub fn moves(&self) -> bool {
        self.most_v - self.median_v > STILL_V || self.median_v - self.least_v > STILL_V
    }
}

/// Samples `from` up to `to`, `to` not among them.
struct Run {
    from: usize,
    to: usize,
    length: f64,
}

impl Run {
    fn time_near(&self, samples: &Volts, level_v: f64, band: f64) -> f64 {
        let of_run = self.from..self.to;
        let volts = &samples.volts[of_run.clone()];
        // The last sample of a run holds up to the first beyond it.
        let times = &samples.times[self.from..(self.to + 1).min(samples.times.len())];
        let near = volts
            .iter()
            .zip(holds(times))
            .filter(|(v, _)| (*v - level_v).abs() <= band);
        near.map(|(_, hold)| hold).sum()
    }
}

/// Stretches of samples that `is_it` holds for.
fn runs<'a>(samples: &'a Volts, is_it: impl Fn(f64) -> bool + 'a) -> impl Iterator<Item = Run> + 'a {
    let Volts { times, volts } = samples;
    let mut at = 0;
    std::iter::from_fn(move || {
        at += volts[at..].iter().position(|v| is_it(*v))?;
        let from = at;
        at += volts[at..].iter().take_while(|v| is_it(**v)).count();
        let end = times.get(at).or(times.last())?;
        Some(Run {
            from,
            to: at,
            length: end - times[from],
        })
    })
}

/// A flat stretch between the thresholds, in ticks: start closed, end open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plateau {
    pub start: f64,
    pub end: f64,
    pub volts: f64,
}

/// The stretches of at least `shortest` in which the line stands between its thresholds. Cost: linear.
pub fn plateaus(samples: &Volts, thresholds: Thresholds, shortest: f64) -> Vec<Plateau> {
    let is_between = move |v: f64| thresholds.low_v < v && v < thresholds.high_v;
    let long = runs(samples, is_between).filter(|run| run.length >= shortest);
    long.filter_map(|run| {
        let volts = median(&mut samples.volts[run.from..run.to].to_vec());
        let is_flat = run.time_near(samples, volts, FLAT_V) >= FLAT * run.length;
        let start = samples.times[run.from];
        let end = start + run.length;
        is_flat.then_some(Plateau { start, end, volts })
    })
    .collect()
}

/// Samples between the thresholds in runs of at least `shortest` of them. Cost: one pass, no copy.
pub fn long_between(volts: &[f32], thresholds: Thresholds, shortest: f64) -> usize {
    let (low, high) = (thresholds.low_v as f32, thresholds.high_v as f32);
    let (mut long, mut run) = (0, 0usize);
    let mut end = |run: usize| long += if run as f64 >= shortest { run } else { 0 };
    for &v in volts {
        if low < v && v < high {
            run += 1;
        } else if run > 0 {
            end(std::mem::take(&mut run));
        }
    }
    end(run);
    long
}

/// Share of a record of `length` ticks.
pub fn share(plateaus: &[Plateau], length: f64) -> f64 {
    plateaus.iter().map(|p| p.end - p.start).sum::<f64>() / length
}
