//! What speaks against edges that seem to be brought about by the victim ([`super::downstream`]): they, or those beside them, strike
//! it, or another line brings them all.

use super::able::{any_within, last_to};
use super::downstream::ANSWERS;
use super::reacting::FEWEST;
use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::stats::tails::binomial_upper;

/// Strays that edges with no edge of the victim's before them must bring to be more than its doing, and the chance of as many at or
/// below which that is none.
const FEWEST_STRIKES: usize = 4;
const STRIKES_CHANCE: f64 = 1e-4;

/// Whether strays come within `longest` ticks after these edges, oftener than chance has it: what the victim does not bring about
/// may strike it.
pub(super) fn strike(free: &[i64], strays: &[i64], longest: i64, span: f64) -> bool {
    let is_after = |&&at: &&i64| any_within(free, at - longest, at - 1);
    let after = strays.iter().filter(is_after).count();
    let covered = (free.len() as f64 * (longest + 1) as f64 / span).min(1.0);
    after >= FEWEST_STRIKES && binomial_upper(after as u64, strays.len() as u64, covered) <= STRIKES_CHANCE
}

/// Those of `times` (ascending) that are not `kept`.
pub(super) fn without_all(times: &[i64], kept: &[i64]) -> Vec<i64> {
    let out = times.iter().filter(|time| kept.binary_search(time).is_err());
    out.copied().collect()
}

/// Those of `times` that are not `kept` and come soonest after strays.
pub(super) fn answers_to_strays(times: &[i64], kept: &[i64], strays: &[i64], latest: i64) -> Vec<i64> {
    let is_after = |&&time: &&i64| any_within(strays, time - latest, time);
    without_all(times, kept)
        .into_iter()
        .filter(|time| is_after(&time))
        .collect()
}

/// Share of the edges that are kept which another line brings at the distance at which it would bring the answers.
const EXPLAINED: f64 = 0.1;

/// Whether the edges of another line bring what seems to be answers to strays, as they bring edges that come without one.
pub(super) fn explains(cause: &[i64], answers: &[i64], kept: &[i64], latest: i64, steady: i64) -> bool {
    let last = |at: i64| {
        let lag = at - last_to(cause, at)?;
        (lag <= latest).then_some(lag)
    };
    let mut lags: Vec<i64> = answers.iter().filter_map(|&at| last(at)).collect();
    lags.sort_unstable();
    let crowd = crowd(&lags, 2 * steady);
    if crowd.is_empty() || (crowd.len() as f64) < ANSWERS * answers.len() as f64 {
        return false;
    }
    let (least, most) = (lags[crowd.start] - steady, lags[crowd.end - 1] + steady);
    let alike = kept
        .iter()
        .filter(|&&at| last(at).is_some_and(|lag| (least..=most).contains(&lag)));
    alike.count() as f64 >= (EXPLAINED * kept.len() as f64).max(FEWEST as f64)
}
