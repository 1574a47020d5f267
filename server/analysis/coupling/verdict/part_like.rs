//! Strays that a part would make, whoever's step they are of.
//!
//! What is induced depends on amplitudes, so some edges bring none and widths differ. What a part puts out comes each time and
//! repeats in width. So strays that come every time, or have one width to the nanosecond, accuse nobody. Two lines that touch share
//! whole pulses, every one: those are left to [`super::super::legitimate::whole_pulses`]; whole pulses upside down are an inverting gate's. Volts show what no part would read, so there every edge
//! may leave its mark.

use super::races::Sign;
use super::trials::{Trial, trials};
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::OwnEdges;
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::Strays;
use crate::model::Level;

/// Share of the opportunities that a part strikes; what is induced mostly strikes no oftener than `OFTEN`, and the chance at or below
/// which a rate is above that.
const EVERY: f64 = 0.95;
const OFTEN: f64 = 0.8;
const CHANCE: f64 = 0.05;

/// Widths known to this, and to this share of themselves, show whether they repeat; those of a monostable or a gate keep within
/// [`ONE_WIDTH`] (common practice, no source). Where they are coarser, one width shows as two numbers of samples, of so many at least.
const FINE_S: f64 = 2e-9;
const FINE_SHARE: f64 = 0.1;
const SAMPLES: f64 = 5.0;
const ONE_WIDTH: f64 = 0.15;
/// Fewer may be alike by chance.
const FEWEST_ALIKE: usize = 10;
/// Strays that last as long as the accused's own pulses are as alike as those.
const FOLLOWS: f64 = 0.7;

/// What shows of a row by itself that a part may make its strays. `second`: ticks in a second. Cost: the row's edges and strikes.
pub fn sign(
    edges: &[OwnEdges],
    strays: &Strays,
    victim: &Victim,
    row: &Coupling,
    second: f64,
) -> Option<Sign> {
    if row.follows_pulse >= FOLLOWS {
        let against = match victim.level {
            Level::High => Edge::Fall,
            _ => Edge::Rise,
        };
        return (row.edge == against).then_some(Sign::Inverted { strikes: row.strays });
    }
    strikes_every_time(edges, victim, row).or_else(|| is_of_one_width(strays, victim, row, second))
}

/// Whether the row's edges bring a stray (nearly) every time, and oftener than what is induced does.
pub fn strikes_every_time(edges: &[OwnEdges], victim: &Victim, row: &Coupling) -> Option<Sign> {
    let trials: Vec<Trial> = trials(edges, victim, row);
    let of = trials.len() as u64;
    let strikes = trials.iter().filter(|trial| trial.hit).count() as u64;
    let is_every =
        of > 0 && strikes as f64 >= EVERY * of as f64 && binomial_upper(strikes, of, OFTEN) <= CHANCE;
    is_every.then_some(Sign::EveryTime { strikes, of })
}

fn is_of_one_width(strays: &Strays, victim: &Victim, row: &Coupling, second: f64) -> Option<Sign> {
    if row.occurrences.len() < FEWEST_ALIKE {
        return None;
    }
    let widths = || row.occurrences.iter().map(|o| strays.strays[o.stray].width.0);
    let (least, most) = (widths().min()?, widths().max()?);
    let is_fine = victim.unit <= 1.001 * FINE_S * second && victim.unit <= FINE_SHARE * least as f64;
    let is_one = match is_fine {
        true => (most as f64) < (1.0 + ONE_WIDTH) * (least as f64 + victim.unit),
        false => least as f64 >= SAMPLES * victim.unit && (most - least) as f64 <= 1.05 * victim.unit,
    };
    is_one.then_some(Sign::OneWidth { least, most })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Occurrence;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::model::Polarity;

    /// What is found of a line struck at every third of 60 edges (all of them: `every`), with strays of `width(n)` ticks of 1 ns.
    fn found(every: bool, width: impl Fn(i64) -> i64, row: impl Fn(&mut Coupling)) -> Option<Sign> {
        found_at(1.0, every, width, row)
    }

    /// The same, sampled every so many ticks.
    fn found_at(
        unit: f64,
        every: bool,
        width: impl Fn(i64) -> i64,
        row: impl Fn(&mut Coupling),
    ) -> Option<Sign> {
        let rises: Vec<i64> = (1..=60).map(|n| 10_000 * n + 37 * (n % 5)).collect();
        let struck: Vec<i64> = rises.iter().copied().step_by(if every { 1 } else { 3 }).collect();
        let occurrences = struck.iter().enumerate().map(|(stray, &at)| Occurrence {
            stray,
            at,
            polarity: Polarity::Rise,
            lag: 9,
        });
        let rest = Rest {
            start: 0,
            end: 700_000,
        };
        let mut victim = fixtures::victim(0, struck.iter().map(|at| at + 9).collect(), vec![rest]);
        victim.unit = unit;
        let mut accused = fixtures::row([0, 1], Edge::Rise, 9, occurrences.collect(), 60);
        row(&mut accused);
        let line = |rises: Vec<i64>| OwnEdges {
            rises,
            falls: Vec::new(),
        };
        let edges = [line(Vec::new()), line(rises)];
        sign(&edges, &fixtures::strays(&victim, width), &victim, &accused, 1e9)
    }

    #[test]
    fn strays_of_one_width_are_a_part_s() {
        assert_eq!(
            found(false, |n| 40 + n % 4, |_| ()),
            Some(Sign::OneWidth { least: 40, most: 43 })
        );
        assert_eq!(found(false, |n| 40 + n % 12, |_| ()), None, "40 ns to 51 ns");
        let whole = |row: &mut Coupling| row.follows_pulse = 0.9;
        assert_eq!(
            found(false, |_| 40, whole),
            None,
            "the accused's pulses are as alike"
        );
    }

    #[test]
    fn widths_that_a_sample_blurs_by_more_than_a_tenth_need_two_numbers_of_samples() {
        let sampled = |least: i64, numbers: i64| found_at(2.0, false, |n| least + 2 * (n % numbers), |_| ());
        assert_eq!(sampled(12, 3), None, "12 ns to 16 ns");
        let one = Some(Sign::OneWidth { least: 12, most: 14 });
        assert_eq!(sampled(12, 2), one);
        assert!(sampled(40, 3).is_some(), "40 ns to 44 ns");
    }

    #[test]
    fn whole_pulses_upside_down_are_an_inverting_gate_s() {
        let whole = |edge: Edge| {
            let told = move |row: &mut Coupling| (row.follows_pulse, row.edge) = (0.9, edge);
            found(false, |n| 20 + 7 * (n % 5), told)
        };
        assert_eq!(whole(Edge::Fall), Some(Sign::Inverted { strikes: 20 }));
        assert_eq!(whole(Edge::Rise), None, "two that touch");
    }

    #[test]
    fn strays_at_every_edge_are_a_part_s_but_for_whole_pulses() {
        let scattered = |n: i64| 20 + 7 * (n % 5);
        assert_eq!(found(false, scattered, |_| ()), None);
        assert_eq!(
            found(true, scattered, |_| ()),
            Some(Sign::EveryTime { strikes: 60, of: 60 })
        );
        assert_eq!(found(true, scattered, |row| row.follows_pulse = 0.9), None);
    }
}
