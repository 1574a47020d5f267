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

#[cfg(test)]
mod tests {
    use super::super::able::Rest;
    use super::super::lags::LagHistogram;
    use super::super::{Estimate, Occurrence, Standing};
    use super::*;
    use crate::model::Level;

    /// A clock rises every 2,000 ticks; another line follows every second of these 70 ticks later. `strikes(n)`: whether
    /// the nth rise strikes.
    fn contrast(strikes: impl Fn(i64) -> bool) -> Option<Contrast> {
        let of = |rises: Vec<i64>| OwnEdges {
            rises,
            falls: Vec::new(),
        };
        let edges = [
            of((1..401).map(|n| 2_000 * n).collect()),
            of((1..201).map(|n| 4_000 * n + 70).collect()),
        ];
        let struck: Vec<i64> = (1..401).filter(|&n| strikes(n)).map(|n| 2_000 * n).collect();
        let end = 900_000;
        let victim = Victim {
            line: 2,
            level: Level::High,
            strays: (0..struck.len()).collect(),
            times: struck.iter().map(|t| t + 30).collect(),
            rests: vec![Rest { start: 0, end }],
            time: end as f64,
            unit: 1.0,
            guard: 0,
        };
        let unknown = Estimate {
            estimate: 0.0,
            low: 0.0,
            high: 0.0,
        };
        let occurrences = struck.iter().enumerate().map(|(stray, &at)| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray,
            lag: 30,
        });
        let row = Coupling {
            victim: 2,
            aggressor: 0,
            edge: Edge::Rise,
            levels: vec![Level::High],
            strays: struck.len() as u64,
            opportunities: 400,
            expected_by_chance: 0.0,
            p_value: 0.0,
            q_value: 0.0,
            strike_rate: unknown,
            corrected_rate: None,
            lag: unknown,
            standing: Standing::Clear,
            inseparable_from: Vec::new(),
            copies: Vec::new(),
            victim_strays: struck.len() as u64,
            histogram: LagHistogram::of(&[], 0, 10, 1.0),
            occurrences: occurrences.collect(),
            ruled_out: Vec::new(),
            follows_pulse: 0.0,
        };
        that_matters(&edges, &victim, &row, &[0, 1], [40, 120])
    }

    #[test]
    fn a_clock_that_strikes_only_where_another_line_follows_has_company() {
        let found = contrast(|n| n % 4 == 0).expect("company");
        assert_eq!(
            (found.other, found.with, found.without),
            (1, (200, 100), (200, 0))
        );
        assert_eq!(
            contrast(|n| n % 3 == 0),
            None,
            "it strikes alike with and without"
        );
    }
}
