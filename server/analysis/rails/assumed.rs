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
/// A line that is ever further than this from nominal is a signal (no source).
const FAR: f64 = 0.4;
/// Tolerance taken for 5 V: 4.75 V to 5.25 V, the commercial range in makers' tables of commercial TTL (from memory).
const TOLERANCE_5V: f64 = 0.05;
/// Tolerance taken for the others (common practice, no source).
const TOLERANCE: f64 = 0.1;

/// Rails for the lines in volts that look like supplies and are not among `declared`. Cost: linear in samples, and one
/// selection of the median.
pub fn assumed(capture: &Capture, declared: &[Rail]) -> Vec<Rail> {
    let is_declared = |name: &str| {
        declared
            .iter()
            .any(|r| r.line == name || r.supply_end.as_deref() == Some(name))
    };
    let lines = traces(capture).filter(|(name, ..)| is_called_supply(name) && !is_declared(name));
    lines.filter_map(|(name, trace, _)| rail(name, trace)).collect()
}

/// Rails for the lines in volts that are called something else, never switch and stay near a usual potential: what may be a
/// supply that nobody declared. `known`: declared and assumed rails. One at the potential of 3.3 V that is read by thresholds
/// of another family is left out: a TTL output rests near there. Cost: as [`assumed`].
pub fn proposed(capture: &Capture, known: &[Rail]) -> Vec<Rail> {
    let is_known = |name: &str| {
        known
            .iter()
            .any(|r| r.line == name || r.supply_end.as_deref() == Some(name))
    };
    let still = traces(capture).filter(|(name, _, edges)| *edges == 0 && !is_known(name));
    still
        .filter_map(|(name, trace, _)| {
            let rail = rail(name, trace)?;
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

fn rail(name: &str, trace: &Trace) -> Option<Rail> {
    let nominal_v = nominal(&Volts::of(trace).volts)?;
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
fn is_called_supply(name: &str) -> bool {
    let last = name.rsplit(['/', '.']).next().unwrap_or(name);
    let upper = last.trim_start_matches(['+', '-']).to_ascii_uppercase();
    if ["VCC", "VDD", "VEE", "VBB"].iter().any(|p| upper.starts_with(p)) {
        return true;
    }
    let digits = upper.chars().take_while(char::is_ascii_digit).count();
    let rest = upper[digits..].trim_start();
    digits > 0 && rest.starts_with('V') && !rest[1..].starts_with(|c: char| c.is_ascii_alphabetic())
}

/// The usual potential that the samples rest at, if they all stay in its neighbourhood.
fn nominal(volts: &[f64]) -> Option<f64> {
    let mut sorted = volts.to_vec();
    let middle = sorted.len().checked_sub(1)? / 2;
    let (_, &mut median, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
    let nominal = NOMINAL
        .into_iter()
        .map(|n| n.copysign(median))
        .find(|n| (median - n).abs() <= NEAR * n.abs())?;
    let stays = volts.iter().all(|v| (v - nominal).abs() <= FAR * nominal.abs());
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
        assert_eq!(nominal(&[5.02, 4.98, 4.55, 5.0, 5.1]), Some(5.0));
        assert_eq!(nominal(&[-12.1, -11.9, -12.0]), Some(-12.0));
        // A signal that swings, a line that rests at no supply's potential, nothing at all.
        assert_eq!(nominal(&[5.0, 5.0, 5.0, 0.2]), None);
        assert_eq!(nominal(&[4.2, 4.2]), None);
        assert_eq!(nominal(&[]), None);
    }
}
