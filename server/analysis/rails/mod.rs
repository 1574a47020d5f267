//! Supply rails: how far they stray from nominal, when they dip, and whose switching the dips go with.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `excursions` | stretches outside the tolerance, whole in spite of noise |
//! | `cause` | the line whose edges the dips follow |
//! | `depth` | what a rail does at each edge of that line |
//! | `assumed` | supplies that nobody declared |
//! | `beside` | strays that come while a supply is outside its limits |
//! | `beside_rules` | rules that are broken then |
//! | `sentences` | findings |

pub mod assumed;
pub mod beside;
pub mod beside_rules;
mod cause;
mod depth;
mod excursions;
mod sentences;

use super::volts::Volts;
use crate::model::{Capture, Polarity, Ticks};
use crate::rule::Rail;

use cause::cause;
use excursions::excursions;

pub use depth::{AtEdges, at_edges};
pub use sentences::{about_zero, findings, proposed};

/// What helps against dips, in the middle of a sentence.
const AGAINST_DIPS: &str =
    "a decoupling capacitor at the part, a reservoir beside what switches, thicker supply and ground wires";

/// A stretch outside the tolerance.
#[derive(Clone, Debug, PartialEq)]
pub struct Excursion {
    pub start: Ticks,
    pub end: Ticks,
    /// The value furthest from nominal.
    pub extreme_v: f64,
    /// Towards zero (a dip) or away from it.
    pub is_dip: bool,
}

/// The line whose edges the dips follow.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// Position in the capture.
    pub line: usize,
    pub polarity: Polarity,
    /// Dips that begin within `within` after such an edge, of all dips.
    pub dips: u64,
    pub of: u64,
    /// Longest time from the edge to the dip, in ticks, that the record supports best.
    pub within: f64,
    /// As many by chance, from the share of time the windows cover.
    pub expected: f64,
    /// All lines, polarities and windows that were tried are allowed for.
    pub p_value: f64,
    /// Lines whose edges fit the same dips as well.
    pub inseparable: Vec<usize>,
}

/// What a rail did. Volts throughout.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RailResult {
    pub missing: Option<String>,
    /// Samples of the trace; missing ones are not counted.
    pub samples: u64,
    pub mean_v: f64,
    pub smallest_v: f64,
    pub largest_v: f64,
    /// Root mean square of the distance from the mean.
    pub ripple_rms_v: f64,
    /// Share of the samples outside the tolerance.
    pub outside: f64,
    pub excursions: Vec<Excursion>,
    pub cause: Option<Cause>,
    /// Supply end minus this end, both towards nominal's sign: mean and largest.
    pub drop_v: Option<(f64, f64)>,
    /// Readings outside the tolerance: positions in the rail's list.
    pub readings_outside: Vec<usize>,
}

/// Whether the line called `name` is one of the rails or the supply end of one, or is called like a supply.
pub fn is_supply(rails: &[Rail], name: &str) -> bool {
    let is_end = |r: &Rail| r.line == name || r.supply_end.as_deref() == Some(name);
    rails.iter().any(is_end) || assumed::is_called_supply(name)
}

/// Checks all rails. Cost: linear in samples and edges, per rail.
pub fn check(capture: &Capture, rails: &[Rail]) -> Vec<RailResult> {
    let supplies: Vec<&str> = rails
        .iter()
        .flat_map(|r| std::iter::once(r.line.as_str()).chain(r.supply_end.as_deref()))
        .collect();
    rails
        .iter()
        .map(|rail| check_one(capture, rail, &supplies))
        .collect()
}

/// `supplies`: names of lines that are supplies, so no suspects.
fn check_one(capture: &Capture, rail: &Rail, supplies: &[&str]) -> RailResult {
    let (low, high) = rail.allowed_v();
    let outside = |r: &usize| !(low..=high).contains(&rail.readings[*r].volts);
    let mut result = RailResult {
        readings_outside: (0..rail.readings.len()).filter(outside).collect(),
        ..RailResult::default()
    };
    let Some(volts) = Volts::named(capture, &rail.line).filter(|v| !v.is_empty()) else {
        result.missing = Some(rail.line.clone());
        return result;
    };
    let n = volts.volts.len() as f64;
    result.samples = volts.volts.len() as u64;
    result.mean_v = volts.volts.iter().sum::<f64>() / n;
    result.smallest_v = volts.volts.iter().copied().fold(f64::INFINITY, f64::min);
    result.largest_v = volts.volts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let squares: f64 = volts.volts.iter().map(|v| (v - result.mean_v).powi(2)).sum();
    result.ripple_rms_v = (squares / n).sqrt();
    result.outside = volts.volts.iter().filter(|v| !(low..=high).contains(*v)).count() as f64 / n;
    result.excursions = excursions(rail, &volts);
    result.cause = cause(capture, &volts, &result.excursions, supplies);
    if let Some(supply) = &rail.supply_end {
        match Volts::named(capture, supply).filter(|v| !v.is_empty()) {
            Some(supply) => result.drop_v = drop(&supply, &volts, rail.nominal_v.signum()),
            None => result.missing = Some(supply.clone()),
        }
    }
    result
}

/// Mean and largest of supply minus board, at the board's moments.
fn drop(supply: &Volts, board: &Volts, sign: f64) -> Option<(f64, f64)> {
    let pairs = board.times.iter().zip(&board.volts);
    let drops: Vec<f64> = pairs
        .filter_map(|(&t, v)| Some((supply.at(t)? - v) * sign))
        .collect();
    let largest = drops.iter().copied().reduce(f64::max)?;
    Some((drops.iter().sum::<f64>() / drops.len() as f64, largest))
}
