//! Strikes that sampling did not show: a stray shorter than a sample is seen now and then only.

use super::lags::Pair;
use super::select::Victim;
use crate::analysis::strays::Strays;

/// Share of the strays seen as more than one sample up to which they are taken to be shorter than that: sampling that is
/// not quite even shows one now and then.
const FEW_WIDER: f64 = 0.05;
/// Chance that a stray of half a sample is seen.
const SEEN: f64 = 0.5;
/// A limit of so many samples lets strays of two through.
const LIMIT_SAMPLES: f64 = 2.5;

/// The strike rate if sampling had missed nothing: each stray of width w < Ts is seen with chance w/Ts. Where (nearly) all
/// are seen as one sample their width lies anywhere below, and half a sample is the middle of that. `None` where sampling
/// misses nothing, where none is known, and where the narrow limit itself cuts the wider ones off.
pub fn corrected(strays: &Strays, victim: &Victim, struck: &[Pair], opportunities: u64) -> Option<f64> {
    let sampling = strays.sampling[victim.line];
    if sampling <= 0.0 || struck.is_empty() || opportunities == 0 {
        return None;
    }
    let is_wider = |p: &&Pair| strays.strays[victim.strays[p.stray]].width.0 as f64 >= 1.5 * sampling;
    let wider = struck.iter().filter(is_wider).count() as f64;
    let limit = strays.limits[victim.line].of(victim.level);
    if wider > FEW_WIDER * struck.len() as f64 || limit.is_some_and(|limit| limit < LIMIT_SAMPLES * sampling)
    {
        return None;
    }
    Some((struck.len() as f64 / opportunities as f64 / SEEN).min(1.0))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use crate::analysis::coupling::{CouplingOptions, attribute};
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    /// STEP rises 90 times, and every third rise brings a dip of PEG, of which every `nth` is two samples long and the others
    /// one. A sample is ten ticks.
    fn corrected(nth: usize, sample: f64, limit: f64) -> Option<f64> {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let (mut step, mut peg) = (Vec::new(), Vec::new());
        for n in 0..90usize {
            let at = 10_000 * n as i64 + 5_000 + 70 * (n as i64 % 7);
            step.extend([Ticks(at), Ticks(at + 900)]);
            if n % 3 == 0 {
                let width = if (n / 3) % nth == nth - 1 { 20 } else { 10 };
                peg.extend([Ticks(at + 20), Ticks(at + 20 + width)]);
            }
        }
        let line = |name: &str, first: Level, edges: Vec<Ticks>| Line {
            sample_ticks: sample,
            ..Line::digital(name, first, edges, span)
        };
        let lines = vec![line("STEP", Level::Low, step), line("PEG", Level::High, peg)];
        let capture = Capture::in_nanoseconds("coarse", span, lines);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(1, limit)]),
            ..StrayOptions::default()
        };
        let attribution = attribute(&capture, &find(&capture, &options), &CouplingOptions::default());
        attribution.couplings[0].corrected_rate
    }

    #[test]
    fn missed_strikes_are_estimated_where_strays_are_as_short_as_sampling_shows() {
        let rate = corrected(1_000, 10.0, 60.0).expect("an estimate");
        assert!((rate - 2.0 / 3.0).abs() < 0.02, "{rate}");
        // One in thirty seen as two samples is sampling that is not quite even; one in three are as long as a sample.
        assert!(corrected(30, 10.0, 60.0).is_some());
        assert_eq!(corrected(3, 10.0, 60.0), None);
        // The limit lets no stray of two samples through.
        assert_eq!(corrected(1_000, 10.0, 15.0), None);
    }
}
