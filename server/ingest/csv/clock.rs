//! The times of a table's rows → ticks.

use super::super::grid::{self, Grid};
use crate::model::Timebase;

/// How rows and time go together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pace {
    /// One row a sample; a missing sample is a gap.
    Samples(Grid),
    /// One row a sample, of which only the order is known: times are rounded to more than the sampling period.
    Counted(Grid),
    /// One row a change, at whole multiples of a sampling period.
    Snapped(Grid),
    /// One row a change, at any time.
    Free,
}

impl Pace {
    /// Whether rows may share a time although they are samples: times taken as written, or rounded to about a sample.
    pub fn is_coarse(self, rounding: f64) -> bool {
        match self {
            Pace::Free => true,
            Pace::Samples(grid) => rounding > 0.5 * grid.period,
            Pace::Counted(_) | Pace::Snapped(_) => false,
        }
    }
}

/// Where a row lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// At this tick.
    At(i64),
    /// At the second tick, after nothing was recorded from the first on.
    Gap(i64, i64),
    /// The times do not keep the pace (the table must be read anew without it).
    OffPace,
    /// Earlier than the row before.
    Backwards,
    /// So long after the first row that its tick finds no room.
    TooFar,
}

/// Ticks that a row may lie after the first one, and written units. An eighth of what 63 bits hold, so that whoever takes the
/// difference of two ticks, adds some to one or shows a longer stretch needs no more room.
pub const FURTHEST: i64 = 1 << 60;

/// A written time lies this many roundings from its sample at most: its own rounding, that of the first time, and what the fitted
/// period is off by (no source for how the three add up).
const NEAR: f64 = 2.5;

/// How long after `origin` a row at `time` comes; `None` beyond [`FURTHEST`].
fn elapsed_since(origin: i64, time: i64) -> Option<i64> {
    time.checked_sub(origin).filter(|elapsed| *elapsed <= FURTHEST)
}

/// Turns written times (whole units of `10^unit` s) into ticks.
#[derive(Clone, Debug)]
pub struct Clock {
    pace: Pace,
    /// What one written unit is.
    unit: Timebase,
    /// Rounding of the written times, in units.
    rounding: f64,
    /// Ticks per sample.
    sub: i64,
    origin: Option<i64>,
    last: i64,
    index: i64,
    period: f64,
    inverse: f64,
    /// Next sample number at which the period is fitted anew.
    refit_at: i64,
    /// Sample number of the latest time that the period was fitted to.
    fitted_to: f64,
    /// Largest distance of a written time from the grid, in units.
    pub residual: f64,
    /// Gaps between rows, and the samples missing in them.
    pub gaps: u64,
    pub missing: u64,
    points: Vec<(i64, i64)>,
    stride: i64,
    next_point: i64,
}

const POINTS: usize = 4096;

impl Clock {
    /// `sub`: ticks per sample (1 for levels; more where edges lie between samples).
    pub fn new(pace: Pace, unit: Timebase, rounding: f64, sub: i64) -> Clock {
        let (period, fitted_to) = match pace {
            Pace::Samples(grid) | Pace::Counted(grid) | Pace::Snapped(grid) => {
                (grid.period, grid.periods.max(1.0))
            }
            Pace::Free => (1.0, 1.0),
        };
        Clock {
            pace,
            unit,
            rounding,
            sub,
            origin: None,
            last: 0,
            index: 0,
            period,
            inverse: 1.0 / period,
            refit_at: (fitted_to as i64).max(64),
            fitted_to,
            residual: 0.0,
            gaps: 0,
            missing: 0,
            points: Vec::new(),
            stride: 1,
            next_point: 0,
        }
    }

    /// The next row, at written time `time`.
    pub fn step(&mut self, time: i64) -> Step {
        let Some(origin) = self.origin else {
            self.origin = Some(time);
            self.last = time;
            if matches!(self.pace, Pace::Free) {
                return Step::At(time);
            }
            self.note(0, time);
            return Step::At(0);
        };
        if time < self.last {
            return Step::Backwards;
        }
        let before = self.last;
        self.last = time;
        let Some(elapsed) = elapsed_since(origin, time) else {
            return Step::TooFar;
        };
        let elapsed = elapsed as f64;
        match self.pace {
            Pace::Free => Step::At(time),
            Pace::Counted(_) => {
                let Some(tick) = self.tick(self.index + 1) else {
                    return Step::TooFar;
                };
                self.index += 1;
                self.note(self.index, time);
                Step::At(tick)
            }
            Pace::Snapped(grid) => {
                // Elapsed time is never negative here, so cutting off is rounding down.
                let index = (elapsed * self.inverse + 0.5) as i64;
                let residual = (elapsed - index as f64 * self.period).abs();
                let near = if grid.exact { 0.0 } else { NEAR * self.rounding };
                if residual > near && (grid.exact || residual > self.near_ahead(index)) {
                    return Step::OffPace;
                }
                if index == self.index && time != before {
                    return Step::OffPace;
                }
                let Some(tick) = self.tick(index) else {
                    return Step::TooFar;
                };
                self.index = index;
                self.note(index, time);
                Step::At(tick)
            }
            Pace::Samples(_) => {
                let expected = self.index + 1;
                let residual = elapsed - expected as f64 * self.period;
                let near = (0.5 * self.period).max(1.01 * self.rounding);
                let Some(next) = self.tick(expected) else {
                    return Step::TooFar;
                };
                if residual.abs() <= near {
                    self.index = expected;
                    self.note(expected, time);
                    return Step::At(next);
                }
                let index = (elapsed * self.inverse).round() as i64;
                if residual < 0.0 || index <= expected {
                    return Step::OffPace;
                }
                let Some(tick) = self.tick(index) else {
                    return Step::TooFar;
                };
                self.gaps += 1;
                self.missing += (index - expected) as u64;
                self.index = index;
                self.note(index, time);
                Step::Gap(next, tick)
            }
        }
    }

    /// The tick of a sample; `None` beyond [`FURTHEST`].
    fn tick(&self, index: i64) -> Option<i64> {
        index.checked_mul(self.sub).filter(|tick| *tick <= FURTHEST)
    }

    /// Many rows at once, one a change: written times become ticks. False where a row does not come after the one before
    /// it or is off the pace: then nothing can be said of the times.
    pub fn steps(&mut self, times: &mut [i64]) -> bool {
        let near = match self.pace {
            Pace::Snapped(grid) if !grid.exact => NEAR * self.rounding,
            _ => 0.0,
        };
        let mut at = 0;
        while at < times.len() {
            let before = match (self.pace, self.origin) {
                (_, None) => i64::MIN,
                (Pace::Free, _) => self.last,
                (_, Some(origin)) => {
                    at += self.plain_steps(&mut times[at..], origin, near);
                    self.index * self.sub
                }
            };
            let Some(time) = times.get_mut(at) else { break };
            match self.step(*time) {
                Step::At(tick) if tick > before => *time = tick,
                _ => return false,
            }
            at += 1;
        }
        true
    }

    /// The rows up to the first one at which more is to be done than to find its sample: how many.
    fn plain_steps(&mut self, times: &mut [i64], origin: i64, near: f64) -> usize {
        let stop = if self.exact() {
            self.next_point
        } else {
            self.next_point.min(self.refit_at)
        };
        let (period, inverse, sub) = (self.period, self.inverse, self.sub);
        let (mut index, mut last, mut furthest) = (self.index, self.last, self.residual);
        let mut done = 0;
        for time in times {
            let Some(elapsed) = elapsed_since(origin, *time) else {
                break;
            };
            let elapsed = elapsed as f64;
            let next = (elapsed * inverse + 0.5) as i64;
            let residual = (elapsed - next as f64 * period).abs();
            if (next <= index) | (*time < last) | (next >= stop) | (residual > near) {
                break;
            }
            furthest = furthest.max(residual);
            (index, last) = (next, *time);
            *time = next * sub;
            done += 1;
        }
        (self.index, self.last, self.residual) = (index, last, furthest);
        done
    }

    /// How near a time must be to a sample beyond those that the period was fitted to: it is as good as one rounding over
    /// the record so far, and may drift as much again.
    #[cold]
    fn near_ahead(&self, index: i64) -> f64 {
        let ahead = (index as f64 / self.fitted_to - 1.0).max(0.0);
        let near = NEAR * self.rounding;
        near.max((near + ahead * self.rounding).min(0.25 * self.period))
    }

    /// Passes over `rows` rows that were found to keep the pace.
    pub fn pass(&mut self, rows: i64) {
        self.index += rows;
    }

    /// Notes that the latest row was written as `time`.
    pub fn arrived(&mut self, time: i64) {
        self.last = time;
        self.note(self.index, time);
    }

    fn note(&mut self, index: i64, time: i64) {
        if index >= self.next_point {
            if self.points.len() == POINTS {
                self.stride = self.stride.saturating_mul(2);
                let stride = self.stride;
                let mut n = 0;
                self.points.retain(|_| {
                    n += 1;
                    n % 2 == 1
                });
                self.next_point = self.points.last().map_or(0, |p| p.0).saturating_add(stride);
            }
            if index >= self.next_point {
                self.points.push((index, time));
                self.next_point = index.saturating_add(self.stride);
            }
        }
        if index >= self.refit_at && !self.exact() {
            self.refit_at = index + index / 8;
            self.fitted_to = index as f64;
            let origin = self.origin.unwrap_or(time);
            let period = (time - origin) as f64 / index as f64;
            self.period = period;
            self.inverse = 1.0 / period;
        }
        let origin = self.origin.unwrap_or(time);
        let residual = ((time - origin) as f64 - index as f64 * self.period).abs();
        self.residual = self.residual.max(residual);
    }

    fn exact(&self) -> bool {
        matches!(self.pace, Pace::Samples(g) | Pace::Counted(g) | Pace::Snapped(g) if g.exact)
    }

    /// The tick nearest to a written time.
    pub fn nearest(&self, time: i64) -> i64 {
        match (self.pace, self.origin) {
            (Pace::Free, _) | (_, None) => time,
            (_, Some(origin)) => {
                let elapsed = time.saturating_sub(origin) as f64;
                let tick = (elapsed * self.inverse * self.sub as f64).round() as i64;
                tick.clamp(-FURTHEST, FURTHEST)
            }
        }
    }

    /// The written time of the latest row.
    pub fn last(&self) -> i64 {
        self.last
    }

    /// What to say where the written times were snapped to a grid that they don't meet to the digit.
    pub fn residual_text(&self) -> Option<String> {
        let (Pace::Samples(_) | Pace::Snapped(_)) = self.pace else {
            return None;
        };
        let beyond = self.residual > NEAR * self.rounding.max(1e-9);
        // A period that is a whole number of the written units, throughout the record, needs no words.
        let period = self.fitted(self.origin.unwrap_or(0)).1;
        let drifts = (period - period.round()).abs() * self.index as f64 > 0.5;
        (beyond || !self.exact() && drifts).then(|| {
            use crate::model::units::engineering;
            let period_s = self
                .unit
                .length_s(if self.exact() { self.period } else { period });
            let off = if beyond {
                format!(
                    "the furthest lay {} off",
                    engineering(self.unit.length_s(self.residual), "s")
                )
            } else {
                let rounding = engineering(self.unit.length_s(self.rounding), "s");
                format!("all lay on it as far as they are written (to {rounding})")
            };
            format!(
                "times were snapped to a fitted grid of {} ({}): {off}",
                engineering(period_s, "s"),
                engineering(1.0 / period_s, "Hz"),
            )
        })
    }

    /// The timebase of the ticks handed out, and the sampling period in ticks (0 without one).
    pub fn timebase(&self) -> (Timebase, f64) {
        let origin = self.origin.unwrap_or(0);
        let unit = self.unit;
        if matches!(self.pace, Pace::Free) {
            return (unit, 0.0);
        }
        let sub = self.sub as f64;
        let (origin, period) = if self.exact() {
            (origin as f64, self.period)
        } else {
            self.fitted(origin)
        };
        let timebase = Timebase {
            origin_s: unit.seconds_of(origin),
            numerator_s: unit.numerator_s * period,
            denominator: unit.denominator * sub,
        };
        (timebase, sub)
    }

    /// Least squares through the noted points: origin and period in units.
    fn fitted(&self, origin: i64) -> (f64, f64) {
        let n = self.points.len() as f64;
        if self.points.len() < 3 {
            return (origin as f64, self.period);
        }
        let mean_k = self.points.iter().map(|p| p.0 as f64).sum::<f64>() / n;
        let mean_t = self.points.iter().map(|p| (p.1 - origin) as f64).sum::<f64>() / n;
        let (mut kk, mut kt) = (0.0, 0.0);
        for &(k, t) in &self.points {
            let dk = k as f64 - mean_k;
            kk += dk * dk;
            kt += dk * ((t - origin) as f64 - mean_t);
        }
        if kk <= 0.0 {
            return (origin as f64, self.period);
        }
        let period = kt / kk;
        (origin as f64 + mean_t - period * mean_k, period)
    }
}

/// The pace of a table from its first rows' times (in written units, one a row). `quiet`: some rows repeat the
/// row before, as only a sample table does. `hint`: a stated period and how precisely; `unit_s`: seconds of a written unit.
pub fn pace_of(times: &[i64], rounding: f64, quiet: bool, hint: Option<(f64, f64)>, unit_s: f64) -> Pace {
    let mut steps: Vec<i64> = times.windows(2).map(|w| w[1].saturating_sub(w[0])).collect();
    if times.len() < 3 || times.windows(2).any(|w| w[1] < w[0]) {
        return Pace::Free;
    }
    // Nothing is fitted to times that no record can hold: the pass says so of the row.
    if elapsed_since(times[0], times[times.len() - 1]).is_none() {
        return Pace::Free;
    }
    if quiet {
        let count = steps.len();
        let (_, &mut middle, _) = steps.select_nth_unstable(count / 2);
        let near = (0.25 * middle as f64).max(1.01 * rounding);
        let alike = steps
            .iter()
            .filter(|&&d| (d - middle).abs() as f64 <= near)
            .count();
        if alike * 10 >= count * 9 {
            let whole = (middle as f64, 1.01 * rounding);
            let fitted = (middle as f64 >= 4.0 * rounding)
                .then(|| grid::fit(times, rounding, Some(whole)))
                .flatten();
            let mean = || {
                let (sum, n) = steps
                    .iter()
                    .filter(|&&d| (d - middle).abs() as f64 <= near)
                    .fold((0.0, 0.0), |(s, n), &d| (s + d as f64, n + 1.0));
                Grid {
                    period: sum / n,
                    exact: false,
                    periods: n,
                    rounding: 0.0,
                }
            };
            let grid = fitted.unwrap_or_else(mean);
            // A finer grid behind uneven steps is no row a sample.
            if grid.period > 0.0 && (grid.period - middle as f64).abs() <= near {
                return Pace::Samples(grid);
            }
        }
    }
    match grid::fit(times, rounding, hint).or_else(|| grid::of_a_round_rate(times, rounding, unit_s)) {
        Some(grid) => Pace::Snapped(grid),
        None => Pace::Free,
    }
}
