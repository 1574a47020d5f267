//! What a suspect shows against a victim: its edges before the strays, and how many edges could have struck.

use super::lags::{self, Pair};
use super::model::{LagWindow, Term};
use super::select::{Reach, Suspect, Victim};
use crate::analysis::coupling::suspects::able::OwnEdges;
use crate::analysis::coupling::suspects::left_out::LeftOut;

/// What a suspect shows against a victim.
#[derive(Clone, Debug)]
pub struct Evidence {
    pub suspect: Suspect,
    /// How many of the suspect's edges came while the victim was able.
    pub count: usize,
    pub pairs: Vec<Pair>,
    left_out: LeftOut,
    /// Density of lags that fall outside every window, per tick.
    stragglers: f64,
}

/// Share of a line's strikes whose lag falls anywhere: a stray that meets an edge of the victim's own, or two that run
/// into one, are late or early. Without it a few such strays accuse whoever happens to switch then.
const STRAGGLING: f64 = 0.02;

impl Evidence {
    /// `count`: opportunities, as [`super::super::suspects::sweep`] counts them for all suspects at once; `left_out`: those that strays beside
    /// the victim's own edges take away.
    pub fn gather(
        victim: &Victim,
        suspect: Suspect,
        edges: &OwnEdges,
        reach: &Reach,
        count: u64,
        left_out: &LeftOut,
    ) -> Evidence {
        let times = edges.of(suspect.polarity);
        let pairs = match count {
            0 => Vec::new(),
            _ => lags::pairs(&victim.times, times, &victim.able(), reach.lo, reach.hi),
        };
        Evidence {
            suspect,
            count: count as usize,
            left_out: left_out.clone(),
            pairs,
            stragglers: STRAGGLING / ((reach.hi - reach.lo) as f64 + victim.unit),
        }
    }

    /// Edges after which a stray in `window` would have been counted: those whose stray would have come beside an edge of
    /// the victim's own are not among them, as such strays are left out. Cost: log of the edges there.
    pub fn opportunities(&self, window: &LagWindow) -> f64 {
        let left_out = self.left_out.at(window.lo + (window.hi - window.lo) / 2);
        (self.count as f64 - left_out as f64).max(1.0)
    }

    /// Mean lag, in ticks, of the strays in `window`; its middle where there are none. Cost: linear in pairs.
    pub fn mean_lag(&self, window: &LagWindow) -> f64 {
        let lags = self
            .pairs
            .iter()
            .map(|pair| pair.lag)
            .filter(|&lag| window.contains(lag));
        let (count, sum) = lags.fold((0u32, 0), |(count, sum), lag| (count + 1, sum + lag));
        match count {
            0 => window.middle(),
            _ => sum as f64 / f64::from(count),
        }
    }

    /// The suspect as a term of the model: the density of each stray's lags under `window`, and a first guess of its strike
    /// probability. `strays`: how many the victim has. Cost: linear in pairs.
    pub(super) fn term(&self, window: &LagWindow, strays: usize) -> Term {
        let mut density = lags::densities(&self.pairs, window, strays);
        let hits = density.iter().filter(|d| **d > 0.0).count() as f64;
        for pair in &self.pairs {
            density[pair.stray] += self.stragglers;
        }
        let count = self.opportunities(window).max(hits + 1.0);
        Term {
            count,
            p: (hits / count).clamp(1e-6, 0.99),
            density,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::able::Rest;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::left_out;
    use crate::model::Polarity;

    /// The line rests from 0 to 10,000 and from 20,000 to 30,000; it is struck for 20 ticks, and nothing within 50 ticks of its
    /// own edges counts.
    fn opportunities(rises: &[i64], lag: i64) -> f64 {
        let rest = |start: i64| Rest {
            start,
            end: start + 10_000,
        };
        let victim = Victim {
            guard: 50,
            ..fixtures::victim(1, Vec::new(), vec![rest(0), rest(20_000)])
        };
        let edges = OwnEdges {
            rises: rises.to_vec(),
            falls: Vec::new(),
        };
        let suspect = Suspect {
            line: 0,
            polarity: Polarity::Rise,
        };
        let reach = Reach {
            lo: -8,
            hi: 120,
            narrowest: 5.0,
        };
        let left_out = left_out::of_all(&[rises], &[(&victim, reach)])
            .remove(0)
            .remove(0);
        let evidence = Evidence::gather(&victim, suspect, &edges, &reach, rises.len() as u64, &left_out);
        evidence.opportunities(&LagWindow::new(lag - 2, lag + 2, 1.0))
    }

    #[test]
    fn edges_whose_stray_would_come_beside_the_victim_s_own_are_no_opportunities() {
        // Far from its edges; 101 and 99 before the end of a rest, where lag, stray and guard take 100.
        let rises = [5_000, 9_899, 9_901, 25_000];
        assert_eq!(opportunities(&rises, 30), 3.0);
        // As strays that come at once would be: 71 before.
        assert_eq!(opportunities(&[5_000, 9_929, 9_931, 25_000], 0), 3.0);
        // 30 and 10 after the start of a rest: the stray comes 60 after it, and 40.
        assert_eq!(opportunities(&[5_000, 20_030, 20_010, 25_000], 30), 3.0);
        // A guard does not reach back from a stray that comes later.
        assert_eq!(opportunities(&[5_000, 20_010, 25_000], 60), 3.0);
    }
}
