//! Stretches of a rail outside its tolerance, each whole in spite of noise at the bound.

use super::Excursion;
use crate::analysis::volts::Volts;
use crate::model::Ticks;
use crate::rule::Rail;

/// A stretch outside ends when the rail is back inside by at least this share of the tolerance (no source).
const BACK_INSIDE: f64 = 0.1;
/// … and by so many standard deviations of the rail's noise from sample to sample: noise alone passes the bound and the way
/// back within one crossing about once in 10⁹ samples (the normal distribution beyond 6 σ).
const NOISE: f64 = 6.0;
/// … but by no more than this share of the way from the bound to where the rail rests: a rail that rests near its bound
/// would never be back (no source).
const WAY_TO_REST: f64 = 0.9;

/// The stretches outside, in time. One begins with the first sample outside a bound and ends with the first sample inside
/// that is followed by a return well inside: a dip that noise pushes over its bound now and then is one dip, and the time it
/// takes to get well inside does not count. Cost: linear in samples, and two selections of a median.
pub(super) fn excursions(rail: &Rail, volts: &Volts) -> Vec<Excursion> {
    let (low, high) = rail.allowed_v();
    let rest = resting(volts, low, high);
    let (back_low, back_high) = (back(rest - low, rail, volts), back(high - rest, rail, volts));
    let mut found: Vec<Excursion> = Vec::new();
    // The open one's side, and whether the sample before lay outside.
    let mut open: Option<(bool, bool)> = None;
    for (&time, &value) in volts.times.iter().zip(&volts.volts) {
        let time = Ticks(time as i64);
        let beyond = match (value < low, value > high) {
            (true, _) => Some(false),
            (_, true) => Some(true),
            _ => None,
        };
        if let Some((above, was_out)) = open {
            let current = found.last_mut().expect("an excursion is open");
            if was_out {
                current.end = time;
            }
            let is_back = if above {
                value <= high - back_high
            } else {
                value >= low + back_low
            };
            if beyond == Some(above) {
                if (value - rail.nominal_v).abs() > (current.extreme_v - rail.nominal_v).abs() {
                    current.extreme_v = value;
                }
                open = Some((above, true));
            } else {
                open = (!is_back).then_some((above, false));
            }
        }
        if let (None, Some(above)) = (open, beyond) {
            open = Some((above, true));
            found.push(Excursion {
                start: time,
                end: time,
                extreme_v: value,
                is_dip: above == (rail.nominal_v < 0.0),
            });
        }
    }
    found
}

/// Where the rail rests: amid the samples inside its bounds, unless those are few, as of a rail that rests outside.
fn resting(volts: &Volts, low: f64, high: f64) -> f64 {
    /// Least share of samples inside (no source).
    const INSIDE: f64 = 0.2;
    let inside: Vec<f64> = volts
        .volts
        .iter()
        .copied()
        .filter(|v| (low..=high).contains(v))
        .collect();
    if (inside.len() as f64) < INSIDE * volts.volts.len() as f64 {
        return median(volts.volts.clone());
    }
    median(inside)
}

/// How far inside a bound the rail must come to be back. `room`: from the bound to where it rests.
fn back(room: f64, rail: &Rail, volts: &Volts) -> f64 {
    let least = rail.nominal_v.abs() * rail.tolerance * BACK_INSIDE;
    let reach = least.max(NOISE * noise(volts));
    if room > 0.0 {
        reach.min(WAY_TO_REST * room)
    } else {
        // It rests outside: it is back when it is inside at all.
        least
    }
}

/// Standard deviation of the noise, from the median size of the steps between samples: dips and slow ripple hardly show in
/// it. A step is the difference of two noises (√2 σ), and the median of |normal| is 0.6745 σ. Where most steps are none (a
/// converter coarser than its noise), the mean size of the steps of one unit at most is taken: √(4/π) σ.
fn noise(volts: &Volts) -> f64 {
    let steps: Vec<f64> = volts.volts.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let middle = median(steps.clone());
    if middle > 0.0 {
        return middle / (0.6745 * std::f64::consts::SQRT_2);
    }
    let unit = steps
        .iter()
        .copied()
        .filter(|s| *s > 0.0)
        .fold(f64::INFINITY, f64::min);
    let small = steps.iter().filter(|s| **s <= 1.5 * unit);
    let mean = small.sum::<f64>() / steps.len().max(1) as f64;
    mean * (std::f64::consts::PI / 4.0).sqrt()
}

/// Median of finite values; 0 for none.
fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dice::Dice;

    fn rail(nominal_v: f64) -> Rail {
        Rail {
            line: "VCC_TOWER".to_owned(),
            nominal_v,
            tolerance: 0.05,
            supply_end: None,
            max_drop_v: None,
            readings: Vec::new(),
            setup_line: Some(1),
        }
    }

    fn volts(values: Vec<f64>) -> Volts {
        Volts {
            times: (0..values.len()).map(|i| i as f64).collect(),
            volts: values,
        }
    }

    /// Near normal with mean 0 and variance 1: twelve even numbers (common practice).
    fn normal(dice: &mut Dice) -> f64 {
        (0..12).map(|_| dice.unit()).sum::<f64>() - 6.0
    }

    /// Five slow dips from 4.95 V to 4.65 V and back, 400 samples from bound to bound, under noise of 10 mV to 40 mV, seen by a
    /// fine converter and by one of 20 mV: five dips, as long as planted.
    #[test]
    fn noise_at_the_bound_cuts_no_dip() {
        for (sigma, unit) in [
            (0.0, 0.0),
            (0.01, 0.0),
            (0.025, 0.0),
            (0.025, 0.02),
            (0.005, 0.02),
            (0.03, 0.0),
        ] {
            let mut dice = Dice(0x1234_5678_9ABC_DEF1);
            let values: Vec<f64> = (0..20_000)
                .map(|i| {
                    let at = (i % 4000) as f64 - 2000.0;
                    let clean = 4.95 - 0.3 * (1.0 - at.abs() / 600.0).max(0.0);
                    let value = clean + sigma * normal(&mut dice);
                    if unit > 0.0 {
                        (value / unit).round() * unit
                    } else {
                        value
                    }
                })
                .collect();
            let found = excursions(&rail(5.0), &volts(values));
            assert_eq!(found.len(), 5, "{sigma} {unit}: {found:?}");
            // The bound is passed 200 samples before and after the lowest; noise passes it earlier, by 5 σ over 0.5 mV a sample.
            let slack = ((5.0 * sigma + unit) / 0.0005) as i64 + 1;
            for (k, dip) in found.iter().enumerate() {
                let length = (dip.end - dip.start).0;
                assert!(
                    dip.is_dip && (length - 400).abs() <= 2 * slack,
                    "{sigma} {unit}: {dip:?}"
                );
                assert!(
                    (dip.start.0 - (4000 * k as i64 + 1800)).abs() <= slack,
                    "{sigma} {unit}: {dip:?}"
                );
                assert!(
                    (dip.extreme_v - 4.65).abs() <= 5.0 * sigma + unit,
                    "{sigma} {unit}: {dip:?}"
                );
            }
        }
    }

    /// One sag that takes more than half of the record, under noise of 20 mV: one excursion.
    #[test]
    fn noise_cuts_no_sag_that_outlasts_the_rest() {
        let mut dice = Dice(0x1234_5678_9ABC_DEF1);
        let values: Vec<f64> = (0..20_000)
            .map(|i| {
                let share = i as f64 / 20_000.0;
                let sag = 0.6 * (1.0 - ((share - 0.5) / 0.45).powi(2)).max(0.0);
                5.0 - sag + 0.02 * normal(&mut dice)
            })
            .collect();
        let outside = values.iter().filter(|v| **v < 4.75).count();
        assert!(outside > 10_000, "{outside}");
        assert_eq!(excursions(&rail(5.0), &volts(values)).len(), 1);
        // A rail that rests outside is one excursion too.
        let low: Vec<f64> = (0..20_000).map(|_| 4.7 + 0.02 * normal(&mut dice)).collect();
        assert_eq!(excursions(&rail(5.0), &volts(low)).len(), 1);
    }

    #[test]
    fn the_way_back_inside_is_not_counted_and_the_other_side_is_another() {
        // Out for two samples, then just inside for three before it is well inside; then straight from below to above.
        let values = vec![
            5.0, 5.0, 4.7, 4.74, 4.76, 4.76, 4.77, 5.0, 5.0, 4.7, 5.3, 5.0, 5.0,
        ];
        let found = excursions(&rail(5.0), &volts(values.clone()));
        let told: Vec<(i64, i64, bool)> = found.iter().map(|e| (e.start.0, e.end.0, e.is_dip)).collect();
        assert_eq!(told, [(2, 4, true), (9, 10, true), (10, 11, false)]);
        // A negative rail dips towards zero, which is upwards.
        let found = excursions(&rail(-5.0), &volts(values.iter().map(|v| -v).collect()));
        let told: Vec<(i64, i64, bool)> = found.iter().map(|e| (e.start.0, e.end.0, e.is_dip)).collect();
        assert_eq!(told, [(2, 4, true), (9, 10, true), (10, 11, false)]);
    }
}
