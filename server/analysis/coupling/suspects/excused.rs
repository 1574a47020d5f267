//! Strays that follow the accused where the victim itself was switching.
//!
//! Lines that one clock latches switch together. An edge of the accused that comes while the victim switches is no
//! opportunity, for mostly its stray runs into the victim's own edge; yet where the lag is long the stray may come clear of
//! it. Such a stray has no opportunity that could have brought it, and whoever switches a little later would be accused of
//! it. It is left out of the model; once it is known who strikes it is put down to the same edges ([`super::super::joined::causes`]).

use super::able::{OwnEdges, any_within};
use crate::analysis::coupling::fit::evidence::Evidence;
use crate::analysis::coupling::fit::select::{Explanation, Victim};

/// Fewer are not worth another model.
const FEWEST: usize = 3;
/// The accused explains at least as many strays as are left out, so many times over.
const TIMES: usize = 1;

/// The victim without the strays that follow the most telling suspect at edges that were no opportunities; none where there
/// are few. Cost: log of the edges for each stray.
pub fn without(
    victim: &Victim,
    edges: &[OwnEdges],
    evidence: &[Evidence],
    explanation: &Explanation,
) -> Option<Victim> {
    let first = explanation
        .chosen
        .iter()
        .max_by(|a, b| a.gain.total_cmp(&b.gain))?;
    let accused = &evidence[first.evidence];
    let times = edges[accused.suspect.line].of(accused.suspect.polarity);
    let mut is_brought = vec![false; victim.times.len()];
    for pair in accused.pairs.iter().filter(|p| first.window.contains(p.lag)) {
        is_brought[pair.stray] = true;
    }
    let (lo, hi) = first.window.reach();
    let follows = |stray: i64| any_within(times, stray - hi, stray - lo);
    let is_kept: Vec<bool> = victim
        .times
        .iter()
        .zip(&is_brought)
        .map(|(&stray, &brought)| brought || !follows(stray))
        .collect();
    let left_out = is_kept.iter().filter(|kept| !**kept).count();
    let brought = is_brought.iter().filter(|b| **b).count();
    if left_out < FEWEST || brought < TIMES * left_out {
        return None;
    }
    Some(victim.only(|at| is_kept[at]))
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::Edge;
    use crate::analysis::coupling::fixtures;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// HOLD's rises lift PEG 46 ticks later, every second time. PEG falls with HOLD's rise each third time, where LAMP rises
    /// 20 ticks later.
    #[test]
    fn strays_clear_of_the_edge_that_hid_their_cause_accuse_nobody_else() {
        let (mut hold, mut lamp, mut peg) = (Vec::new(), Vec::new(), Vec::new());
        for n in 1..300i64 {
            let at = 10_000 * n + 89 * (n % 7);
            hold.extend([at, at + 3_000]);
            if n % 3 == 0 {
                peg.extend([at - 2_500, at]);
                lamp.extend([at + 20, at + 5_000]);
            }
            if n * 7_919 % 100 < 50 {
                peg.extend([at + 46, at + 76 + n % 9]);
            }
        }
        let span = TimeSpan::new(Ticks(0), Ticks(3_100_000));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("HOLD", hold), line("LAMP", lamp), line("PEG", peg)];
        let (_, attribution) = fixtures::attributed(lines, 3_100_000, &[(2, 60.0)]);
        let rows = attribution.couplings.iter();
        let accused: Vec<_> = rows.map(|c| (c.aggressor, c.edge)).collect();
        assert_eq!(accused, [(0, Edge::Rise)]);
        // They are put down to HOLD all the same.
        assert!(attribution.causes.iter().all(|cause| cause.is_some()));
    }
}
