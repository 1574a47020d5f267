//! Supplies that nobody declared: lines in volts that are called like a supply and rest near a usual potential.
//!
//! Both grounds must hold. What is found so is said to be assumed, and the setup file can say otherwise.

use crate::analysis::volts::Volts;
use crate::model::{Capture, Trace};
use crate::rule::Rail;

/// Potentials of supplies in volts, without sign (common practice, no source).
const NOMINAL: [f64; 8] = [1.8, 2.5, 3.3, 5.0, 9.0, 12.0, 15.0, 24.0];
/// A supply's median lies this near to nominal, as a fraction of it (no source: a supply further off is too far to guess).
const NEAR: f64 = 0.1;
/// A line that is ever further than this from nominal is a signal (no source), unless it is called like a supply …
const FAR: f64 = 0.4;
/// … and is so for no more than this share of the time: dips are short (no source) …
const FAR_SHARE: f64 = 0.05;
/// … and never further than this: a signal of that name goes all the way to 0 V (no source).
const DEEPEST: f64 = 0.75;
/// A supply is nowhere near 0 V, in volts: one that rests so is off, or its channel passes no direct voltage.
const ABOUT_ZERO_V: f64 = 0.3;
/// Tolerance taken for 5 V: 4.75 V to 5.25 V, the commercial range in makers' tables of commercial TTL (from memory).
const TOLERANCE_5V: f64 = 0.05;
/// Tolerance taken for the others (common practice, no source).
const TOLERANCE: f64 = 0.1;

/// Whether a line is one of the rails, or the supply's end of one.
fn is_among(rails: &[Rail], name: &str) -> bool {
    rails
        .iter()
        .any(|r| r.line == name || r.supply_end.as_deref() == Some(name))
}

/// Rails for the lines in volts that look like supplies and are not among `declared`. Cost: linear in samples, and one
/// selection of the median.
pub fn assumed(capture: &Capture, declared: &[Rail]) -> Vec<Rail> {
    let lines = traces(capture).filter(|(name, ..)| is_called_supply(name) && !is_among(declared, name));
    lines
        .filter_map(|(name, trace, _)| rail(name, trace, true))
        .collect()
}

/// Rails for the lines in volts that are called something else, never switch and stay near a usual potential: what may be a
/// supply that nobody declared. `known`: declared and assumed rails. One at the potential of 3.3 V that is read by thresholds
/// of another family is left out: a TTL output rests near there. Cost: as [`assumed`].
pub fn proposed(capture: &Capture, known: &[Rail]) -> Vec<Rail> {
    let still = traces(capture).filter(|(name, _, edges)| *edges == 0 && !is_among(known, name));
    still
        .filter_map(|(name, trace, _)| {
            let rail = rail(name, trace, false)?;
            let is_ttl_high = (TTL_HIGH.0..=TTL_HIGH.1).contains(&rail.nominal_v) && trace.family == TTL;
            (!is_ttl_high).then_some(rail)
        })
        .collect()
}

/// The name in the setup of the family whose outputs rest at a potential that is also a supply's …
const TTL: &str = "ttl-5v";
/// … in this range: at least 2.4 V, typically 3.4 V (makers' tables of commercial TTL, from memory).
const TTL_HIGH: (f64, f64) = (2.4, 4.0);

/// All that was recorded in volts: name, samples, edges.
fn traces(capture: &Capture) -> impl Iterator<Item = (&str, &Trace, usize)> {
    let lines = capture
        .lines
        .iter()
        .filter_map(|line| Some((line.name.as_str(), line.trace.as_ref()?, line.edges.len())));
    let others = capture
        .not_logic
        .iter()
        .filter_map(|n| Some((n.name.as_str(), n.trace.as_ref()?, 0)));
    lines.chain(others)
}

/// `is_called`: like a supply.
fn rail(name: &str, trace: &Trace, is_called: bool) -> Option<Rail> {
    let nominal_v = nominal(&Volts::of(trace).volts, is_called)?;
    Some(Rail {
        line: name.to_owned(),
        nominal_v,
        tolerance: if nominal_v.abs() == 5.0 {
            TOLERANCE_5V
        } else {
            TOLERANCE
        },
        supply_end: None,
        max_drop_v: None,
        readings: Vec::new(),
        setup_line: None,
    })
}

/// Whether a line's name is a supply's: VCC, VDD, VEE or VBB with or without more, or volts such as `+5V`, `-12 V`, `3V3`.
pub(super) fn is_called_supply(name: &str) -> bool {
    let last = name.rsplit(['/', '.']).next().unwrap_or(name);
    let upper = last.trim_start_matches(['+', '-']).to_ascii_uppercase();
    if ["VCC", "VDD", "VEE", "VBB"].iter().any(|p| upper.starts_with(p)) {
        return true;
    }
    let digits = upper.chars().take_while(char::is_ascii_digit).count();
    let rest = upper[digits..].trim_start();
    digits > 0 && rest.starts_with('V') && !rest[1..].starts_with(|c: char| c.is_ascii_alphabetic())
}

/// A line that is called like a supply and rests near 0 V. Volts.
#[derive(Clone, Debug, PartialEq)]
pub struct AboutZero {
    pub line: String,
    pub rest_v: f64,
    pub smallest_v: f64,
    pub largest_v: f64,
}

/// The lines in volts that are called like a supply, are not among `declared` and rest near 0 V. Cost: as [`assumed`].
pub fn about_zero(capture: &Capture, declared: &[Rail]) -> Vec<AboutZero> {
    let lines = traces(capture).filter(|(name, ..)| is_called_supply(name) && !is_among(declared, name));
    lines
        .filter_map(|(name, trace, _)| {
            let mut volts = Volts::of(trace).volts;
            let middle = volts.len().checked_sub(1)? / 2;
            let (_, &mut rest_v, _) = volts.select_nth_unstable_by(middle, f64::total_cmp);
            (rest_v.abs() <= ABOUT_ZERO_V).then(|| AboutZero {
                line: name.to_owned(),
                rest_v,
                smallest_v: volts.iter().copied().fold(f64::INFINITY, f64::min),
                largest_v: volts.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            })
        })
        .collect()
}

/// The usual potential that the samples rest at, if they all stay in its neighbourhood: of a line that is called like a supply
/// nearly all.
fn nominal(volts: &[f64], is_called: bool) -> Option<f64> {
    let mut sorted = volts.to_vec();
    let middle = sorted.len().checked_sub(1)? / 2;
    let (_, &mut median, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
    let nominal = NOMINAL
        .into_iter()
        .map(|n| n.copysign(median))
        .find(|n| (median - n).abs() <= NEAR * n.abs())?;
    let beyond = |reach: f64| {
        let far = volts
            .iter()
            .filter(|v| (*v - nominal).abs() > reach * nominal.abs());
        far.count() as f64 / volts.len() as f64
    };
    let stays = match is_called {
        true => beyond(FAR) <= FAR_SHARE && beyond(DEEPEST) == 0.0,
        false => beyond(FAR) == 0.0,
    };
    stays.then_some(nominal)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_supplies_are_told_from_signals() {
        for name in [
            "VCC",
            "vcc_tower",
            "+5V",
            "-12 V",
            "3V3",
            "5V tower",
            "tower/VEE",
            "+5V_A",
        ] {
            assert!(is_called_supply(name), "{name}");
        }
        for name in ["STEP", "V", "VOUT", "CH1", "5", "5VALVES", "NOTE[5]", ""] {
            assert!(!is_called_supply(name), "{name}");
        }
    }

    #[test]
    fn a_supply_rests_near_a_usual_potential() {
        assert_eq!(nominal(&[5.02, 4.98, 4.55, 5.0, 5.1], false), Some(5.0));
        assert_eq!(nominal(&[-12.1, -11.9, -12.0], false), Some(-12.0));
        // A signal that swings, a line that rests at no supply's potential, nothing at all.
        assert_eq!(nominal(&[5.0, 5.0, 5.0, 0.2], true), None);
        assert_eq!(nominal(&[4.2, 4.2], true), None);
        assert_eq!(nominal(&[], true), None);
    }

    #[test]
    fn a_deep_dip_makes_no_signal_of_what_is_called_a_supply() {
        let with_dips = |share: usize, to: f64| -> Vec<f64> {
            let dip = |n: usize| if n.is_multiple_of(share) { to } else { 5.0 };
            (0..1_000).map(dip).collect()
        };
        assert_eq!(nominal(&with_dips(40, 2.6), true), Some(5.0));
        // Nobody calls it one, it is there too often, or it goes as far as a signal.
        assert_eq!(nominal(&with_dips(40, 2.6), false), None);
        assert_eq!(nominal(&with_dips(10, 2.6), true), None);
        assert_eq!(nominal(&with_dips(40, 0.3), true), None);
    }

    /// A trace at `rest`, with a dip of 1.9 V every 40 samples.
    fn dipping(name: &str, rest: f64) -> Capture {
        use crate::model::{Level, Line, Thresholds, Ticks, TimeSpan, TraceSamples};
        let span = TimeSpan::new(Ticks(0), Ticks(10_000));
        let volts: Vec<f64> = (0..1_000)
            .map(|n| if n % 40 == 7 { rest - 1.9 } else { rest })
            .collect();
        let mut line = Line::digital(name, Level::Low, Vec::new(), span);
        line.trace = Some(Trace {
            thresholds: Thresholds {
                low_v: 0.8,
                high_v: 2.0,
            },
            family: TTL.to_owned(),
            declared: false,
            samples: TraceSamples::Steps {
                times: std::sync::Arc::new((0..1_000).map(|n| 10 * n).collect()),
                values: std::sync::Arc::new(volts),
            },
        });
        Capture::in_nanoseconds("dips.csv", span, vec![line])
    }

    #[test]
    fn a_supply_that_rests_about_zero_is_told() {
        let found = about_zero(&dipping("VCC", 0.02), &[]);
        assert_eq!(
            (found.len(), found[0].rest_v, found[0].smallest_v),
            (1, 0.02, 0.02 - 1.9)
        );
        assert_eq!(about_zero(&dipping("SLUICE", 0.02), &[]), []);
        assert_eq!(about_zero(&dipping("VCC", 5.02), &[]), []);
    }
}
