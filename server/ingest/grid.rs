//! The sampling grid behind a list of times.
//!
//! An instrument samples at a period; what it writes are whole multiples of it, rounded to the digits it
//! writes. Given times in whole written units, the longest period p is sought such that every time is t₀ + k·p
//! to within the rounding. Each difference d between two times bounds the period: k·p lies in d ± 1 unit, so p
//! lies in [(d − e)/k, (d + e)/k]; taken from the smallest differences to the largest, the interval narrows
//! until k is certain even for the longest. A period that only seems to fit is caught by the chance of it: each
//! independent difference fits with probability about (2e + 1)/p.

use super::thinned::Thinned;
use crate::model::gcd;

/// A fitted grid, in the units of the times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Distance of neighbouring points of the grid.
    pub period: f64,
    /// The period is a whole number of units, met exactly.
    pub exact: bool,
    /// Periods in the record that it was fitted to: it is known to the rounding of one time over so many.
    pub periods: f64,
    /// How far the times were seen to be rounded, where that is more than their last digit; else 0.
    pub rounding: f64,
}

impl Grid {
    /// A period met exactly.
    pub fn exact(period: f64) -> Grid {
        Grid {
            period,
            exact: true,
            periods: f64::INFINITY,
            rounding: 0.0,
        }
    }
}

/// Fewest differences that may establish a period by themselves.
const FEWEST: usize = 12;
/// Most periods that the smallest difference may be. A record with longer pauses throughout says no rate.
const MOST_MULTIPLES: u32 = 1 << 19;
/// A fit by chance must be less likely than this.
const CHANCE: f64 = 1e-9;

/// The grid of ascending `times` (repeats allowed), rounded to `unit` each. `hint`: a period stated by the
/// file, and how precisely.
pub fn fit(times: &[i64], unit: f64, hint: Option<(f64, f64)>) -> Option<Grid> {
    let mut distinct = times.to_vec();
    distinct.dedup();
    if distinct.len() < 2 {
        return None;
    }
    let origin = distinct[0];
    let mut divisor = 0u64;
    for &time in &distinct {
        divisor = gcd(divisor, time.abs_diff(origin));
    }
    let mut steps: Vec<i64> = distinct
        .windows(2)
        .map(|w| w[1] - w[0])
        .filter(|&d| d > 0)
        .collect();
    steps.sort_unstable();
    let count = steps.len();
    steps.dedup();
    let smallest = *steps.first()?;
    if let Some((period, spread)) = hint {
        let start = (period - spread, period + spread);
        if let Some(grid) = refine(&steps, &distinct, start, unit) {
            // A whole number of units within the stated spread that divides all differences is exact.
            let whole = grid.period.round();
            if whole >= 1.0
                && (whole - period).abs() <= spread + 1e-9 * period
                && divisor.is_multiple_of(whole as u64)
            {
                return Some(Grid::exact(whole));
            }
            return Some(grid);
        }
    }
    if count < FEWEST {
        return None;
    }
    // Chance that all of n differences are multiples of g: g⁻ⁿ. What divides them may be the samples' distance, or the step to
    // which the times of another grid were rounded before zeros were written behind them.
    if divisor as f64 > unit && (divisor as f64).powi(-(count.min(1000) as i32)) < CHANCE {
        return Some(behind(&distinct, divisor).unwrap_or(Grid::exact(divisor as f64)));
    }
    // The smallest difference may be thousands of periods where little happens.
    let span = (distinct[distinct.len() - 1] - origin) as f64;
    for multiple in 1..=MOST_MULTIPLES {
        let (low, high) = (smallest as f64 - unit, smallest as f64 + unit);
        let (low, high) = (low / f64::from(multiple), high / f64::from(multiple));
        // Below four units a period cannot be told from chance.
        if high < 4.0 * unit {
            break;
        }
        if let Some(grid) = refine(&steps, &distinct, (low.max(unit), high), unit) {
            // So many periods that the record can tell apart were tried up to here.
            let tried = f64::from(multiple) * 2.0 * span / (smallest as f64 * unit);
            // A whole number lies within `unit` of a point of the grid with this chance.
            let each = ((2.0 * unit + 1.0) / grid.period).min(1.0).ln();
            if tried.max(1.0).ln() + each * (count as f64) < CHANCE.ln() {
                return Some(grid);
            }
        }
    }
    None
}

/// The grid of a round sampling rate behind ascending `times` that were rounded to `unit` each: 24 MHz written to the
/// nanosecond. [`fit`] counts its way from the smallest difference to the largest, and loses count where nothing lies between
/// them; a rate that is known beforehand counts the longest pause as well. `unit_s`: seconds of 1 in `times`. Whole periods are
/// left to [`fit`].
///
/// Every candidate is refused at the first time that lies off it, so most cost a few times; `None` where no rate fits, or so
/// few times that one would fit by chance.
pub fn of_a_round_rate(times: &[i64], unit: f64, unit_s: f64) -> Option<Grid> {
    /// Rates of instruments have two digits; a few are a round one divided by a power of two.
    const DIGITS: std::ops::Range<u32> = 10..100;
    const DIVIDED: [f64; 4] = [12.5, 31.25, 37.5, 62.5];
    /// From 1 kHz to 10 GHz.
    const DECADES: std::ops::Range<i32> = 2..9;
    /// Below so many roundings a period can't be told from chance.
    const LEAST: f64 = 4.0;
    /// Beyond it the periods can't be counted in a number of 64 bits (IEEE 754) to the rounding.
    const LONGEST: f64 = 1e13;
    let origin = *times.first()?;
    let span = times.last()?.checked_sub(origin).filter(|&span| span > 0)? as f64;
    if span > LONGEST {
        return None;
    }
    let mut mantissas: Vec<f64> = DIGITS.map(f64::from).chain(DIVIDED).collect();
    mantissas.sort_by(f64::total_cmp);
    let tried = (mantissas.len() * DECADES.len()) as f64;
    let distinct = times.windows(2).filter(|pair| pair[0] != pair[1]).count() as f64;
    for decade in DECADES {
        for mantissa in &mantissas {
            let period = 1.0 / (mantissa * 10f64.powi(decade) * unit_s);
            if period < LEAST * unit {
                return None;
            }
            let off_whole = (period - period.round()).abs() * span / period;
            let each = ((unit + 1.0) / period).min(1.0).ln();
            if off_whole < unit || tried.ln() + each * distinct >= CHANCE.ln() {
                continue;
            }
            // Two roundings lie between two times, so what is left of them spans one at most.
            let (mut least, mut most) = (0f64, 0f64);
            let fits = times.iter().all(|time| {
                let elapsed = (time - origin) as f64;
                let off = elapsed - (elapsed / period).round() * period;
                (least, most) = (least.min(off), most.max(off));
                most - least <= 1.001 * unit
            });
            if fits {
                return Some(Grid {
                    period,
                    exact: false,
                    periods: f64::INFINITY,
                    rounding: 0.0,
                });
            }
        }
    }
    None
}

/// The grid of `times`, all of whose differences are multiples of `divisor`, where that is but the step to which they were
/// rounded.
fn behind(times: &[i64], divisor: u64) -> Option<Grid> {
    let step = divisor as i64;
    let steps: Vec<i64> = times.iter().map(|t| (t - times[0]) / step).collect();
    let grid = (step > 1).then(|| fit(&steps, 1.0, None)).flatten()?;
    Some(Grid {
        period: grid.period * divisor as f64,
        rounding: divisor as f64,
        ..grid
    })
}

/// Narrows the interval of the period by all differences; `None` when one contradicts it.
fn refine(steps: &[i64], times: &[i64], start: (f64, f64), unit: f64) -> Option<Grid> {
    let (mut low, mut high) = start;
    let error = unit * 1.001;
    let narrow = |low: &mut f64, high: &mut f64, d: f64| -> Option<()> {
        let fewest = ((d - error) / *high).ceil().max(0.0);
        let most = ((d + error) / *low).floor();
        if fewest > most {
            return None;
        }
        if fewest == most && fewest >= 1.0 {
            *low = low.max((d - error) / fewest);
            *high = high.min((d + error) / fewest);
            if *low > *high {
                return None;
            }
        }
        Some(())
    };
    // What a long difference left open the first time, it may settle the second time.
    const PASSES: usize = 3;
    let origin = times[0];
    for _ in 0..PASSES {
        for d in steps.iter().copied().chain(times.iter().map(|&t| t - origin)) {
            narrow(&mut low, &mut high, d as f64)?;
        }
    }
    // The whole record must be counted in periods without doubt, else nothing was established.
    let span = (times[times.len() - 1] - origin) as f64;
    let doubt = span / low - span / high;
    (doubt < 1.0).then_some(Grid {
        period: (low + high) / 2.0,
        exact: false,
        periods: (span / low).round(),
        rounding: 0.0,
    })
}

/// Times at either end that may be odd.
const ODD_AT_AN_END: usize = 2;

/// The divisor of the differences of all times, but for a few at either end: a record may begin or end at odd times, while
/// one odd time among the others says that the grid is the machine's and not the sampling's.
fn usual_divisor(times: &Thinned) -> Option<u64> {
    let all = times.times();
    if times.divisor > 1 {
        return Some(times.divisor);
    }
    let middle = all.get(ODD_AT_AN_END..all.len().checked_sub(ODD_AT_AN_END)?)?;
    let origin = *middle.first()?;
    let divisor = middle.iter().fold(0u64, |d, &t| gcd(d, t.abs_diff(origin)));
    (divisor > 1).then_some(divisor)
}

/// The sampling period behind the change times of a VCD, in its ticks; `None` when the ticks themselves are
/// the finest step. `tick_s`: only to leave grids alone that no instrument has (a second and more).
pub fn period_of_changes(times: &Thinned, tick_s: f64) -> Option<f64> {
    let all = times.times();
    if all.len() < FEWEST + 1 {
        return None;
    }
    let plausible = |period: f64| period * tick_s < 0.1;
    if let Some(divisor) = usual_divisor(times) {
        let period = divisor as f64;
        let enough = period.powi(-(all.len().min(1000) as i32)) < CHANCE;
        // It may be the step to which the times of a coarser grid were rounded.
        let middle = &all[ODD_AT_AN_END..all.len() - ODD_AT_AN_END];
        let coarser = behind(middle, divisor).map_or(period, |grid| grid.period);
        return (enough && plausible(coarser)).then_some(coarser);
    }
    let grid = fit(&all, 1.0, None)?;
    (grid.period > 2.0 && plausible(grid.period)).then_some(grid.period)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A simple generator, so that the times look random but never change.
    fn steps(n: usize) -> impl Iterator<Item = i64> {
        let mut state = 12345u64;
        (0..n).scan(0i64, move |k, _| {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            *k += 1 + (state >> 33) as i64 % 900;
            Some(*k)
        })
    }

    #[test]
    fn a_grid_is_found_behind_times_that_were_rounded_before_zeros_were_written() {
        // 24 MHz, rounded to 10 of the units written.
        let period = 41_666.666_7;
        let times: Vec<i64> = steps(400)
            .map(|k| (k as f64 * period / 10.0).round() as i64 * 10)
            .collect();
        let grid = fit(&times, 1.0, None).expect("a grid");
        assert!((grid.period - period).abs() < 0.01, "{grid:?}");
        assert_eq!((grid.exact, grid.rounding), (false, 10.0));
        let mut all = Thinned::default();
        times.iter().for_each(|&t| all.push(t));
        let of_changes = period_of_changes(&all, 1e-12).expect("a period");
        assert!((of_changes - period).abs() < 0.01, "{of_changes}");
    }

    #[test]
    fn times_of_all_residues_lie_on_no_grid_of_three() {
        let times: Vec<i64> = steps(2_000).collect();
        assert_eq!(fit(&times, 1.0, None), None);
    }

    #[test]
    fn a_rounded_period_is_found() {
        let period = 1000.0 / 24.0;
        let times: Vec<i64> = steps(3000).map(|k| (k as f64 * period).round() as i64).collect();
        let grid = fit(&times, 1.0, None).unwrap();
        assert!((grid.period - period).abs() < 1e-5, "{grid:?}");
        let few = fit(&times[..40], 1.0, Some((41.667, 0.0005))).unwrap();
        assert!((few.period - period).abs() < 1e-3, "{few:?}");
    }

    #[test]
    fn a_rounded_period_is_found_among_long_pauses() {
        // 24 MHz written to the picosecond, some 10 ms between changes.
        let period = 1e12 / 24e6;
        let mut k = 0;
        let times: Vec<i64> = steps(40)
            .map(|n| {
                k += 15_190 + (n * 7919) % 400_000;
                (k as f64 * period).round() as i64
            })
            .collect();
        let grid = fit(&times, 1.0, None).unwrap();
        assert!((grid.period / period - 1.0).abs() < 1e-9, "{grid:?}");
        assert_eq!(fit(&times[..8], 1.0, None), None, "too few to tell");
    }

    #[test]
    fn a_round_rate_is_found_where_nothing_lies_between_single_samples_and_long_pauses() {
        // 24 MHz rounded to the nanosecond: bounces a sample apart, some 11 ms between them.
        let mut sample = 0i64;
        let times: Vec<i64> = steps(40)
            .flat_map(|n| {
                sample += 270_000 + (n * 7919) % 4_001;
                [sample, sample + 1, sample + 3].map(|k| (k as f64 * 1e9 / 24e6).round() as i64)
            })
            .collect();
        assert_eq!(fit(&times, 1.0, None), None, "it loses count");
        let grid = of_a_round_rate(&times, 1.0, 1e-9).expect("a grid");
        assert!((grid.period - 1e9 / 24e6).abs() < 1e-9, "{grid:?}");
        assert_eq!(of_a_round_rate(&times[..7], 1.0, 1e-9), None, "too few to tell");
        // The same times off by a few nanoseconds lie on no grid.
        let loose: Vec<i64> = times
            .iter()
            .enumerate()
            .map(|(i, t)| t + (i as i64 * 7) % 5)
            .collect();
        assert_eq!(of_a_round_rate(&loose, 1.0, 1e-9), None);
    }

    #[test]
    fn a_whole_period_is_exact() {
        let times: Vec<i64> = steps(100).map(|k| 7 + k * 500).collect();
        assert_eq!(fit(&times, 1.0, None), Some(Grid::exact(500.0)));
    }

    #[test]
    fn times_without_a_grid_have_none() {
        let mut state = 99u64;
        let mut time = 0;
        let times: Vec<i64> = (0..2000)
            .map(|_| {
                state = state
                    .wrapping_mul(6364136223846793005)
                    .wrapping_add(1442695040888963407);
                time += 1 + (state >> 33) as i64 % 100_000;
                time
            })
            .collect();
        assert_eq!(fit(&times, 1.0, None), None);
        for n in [13, 20, 40, 100, 400] {
            for start in (0..1600).step_by(400) {
                let slow: Vec<i64> = times[start..start + n]
                    .iter()
                    .map(|t| {
                        t * 997 + (t.wrapping_mul(t | 1).wrapping_mul(0x5851_f42d_4c95) >> 13).rem_euclid(997)
                    })
                    .collect();
                assert_eq!(fit(&slow, 1.0, None), None, "{slow:?}");
            }
        }
    }
}
