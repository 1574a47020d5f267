//! Whether the accused line's edges strike alike with and without another line's switching beside them.
//!
//! What strikes by itself strikes as often whoever else switches. A line without a probe, latched by the accused clock,
//! switches at some of its edges only; a captured line that goes along with it shows at which. [`super::context`] asks
//! this of lines that switch at the same instant; here they may follow the accused for as long as a stray may.

use super::able::OwnEdges;
use super::context::Contrast;
use super::select::Victim;
use super::{Coupling, Edge};
use crate::analysis::stats::fisher::fisher;
use crate::model::Polarity;

/// Chance, all lines and edges allowed for, at or below which company matters.
const CHANCE: f64 = 2e-3;
/// Edges of the accused with company, and without, from which on anything is concluded.
const FEWEST: u64 = 3;

/// The line beside whose edges the row strikes most differently from how it strikes without them, if that is no chance.
/// `lines`: those that are asked about; `before`, `after`: how long before and after the accused edge another belongs to
/// it, in ticks. Cost: for each line, the accused edges × log of its own.
pub fn that_matters(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
    [before, after]: [i64; 2],
) -> Option<Contrast> {
    let times = edges[row.aggressor].of(match row.edge {
        Edge::Fall => Polarity::Fall,
        _ => Polarity::Rise,
    });
    let mut struck: Vec<i64> = row.occurrences.iter().map(|o| o.at).collect();
    struck.sort_unstable();
    let able = victim.opportunities(times);
    let trials: Vec<(i64, bool)> = able
        .iter()
        .flat_map(|range| &times[range.clone()])
        .map(|&time| (time, struck.binary_search(&time).is_ok()))
        .collect();
    let others = lines.iter().filter(|&&line| line != row.aggressor);
    let tried = (3 * others.clone().count()).max(1) as f64;
    let mut best: Option<(f64, Contrast)> = None;
    for &other in others {
        let beside = |time: i64, of: &[i64]| {
            let near = of.get(of.partition_point(|&t| t < time - before));
            near.is_some_and(|&t| t <= time + after)
        };
        let switched = |time: i64| {
            let [rises, falls] = [Polarity::Rise, Polarity::Fall].map(|p| beside(time, edges[other].of(p)));
            [rises, falls, rises || falls]
        };
        let mut counts = [[(0u64, 0u64); 2]; 3];
        for &(time, hit) in &trials {
            for (count, with) in counts.iter_mut().zip(switched(time)) {
                let count = &mut count[usize::from(!with)];
                count.0 += 1;
                count.1 += u64::from(hit);
            }
        }
        for ([with, without], other_edge) in counts.into_iter().zip([Edge::Rise, Edge::Fall, Edge::Both]) {
            if with.0 < FEWEST || without.0 < FEWEST {
                continue;
            }
            let chance = fisher(with.1, with.0, without.1, without.0).two_sided();
            if chance * tried <= CHANCE && best.as_ref().is_none_or(|(least, _)| chance < *least) {
                let contrast = Contrast {
                    line: row.aggressor,
                    edge: row.edge,
                    other,
                    other_edge,
                    with,
                    without,
                };
                best = Some((chance, contrast));
            }
        }
    }
    best.map(|(_, contrast)| contrast)
}
