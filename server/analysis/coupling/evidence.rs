//! What a suspect shows against a victim: its edges before the strays, and how many edges could have struck.

use super::able::{OwnEdges, gallop};
use super::lags::{self, Pair};
use super::model::{LagWindow, Term};
use super::select::{Reach, Suspect, Victim};

/// What a suspect shows against a victim.
#[derive(Clone, Debug)]
pub struct Evidence {
    pub suspect: Suspect,
    /// How many of the suspect's edges came while the victim was able.
    pub count: usize,
    pub pairs: Vec<Pair>,
    beside: Beside,
    /// Density of lags that fall outside every window, per tick.
    stragglers: f64,
}

/// Share of a line's strikes whose lag falls anywhere: a stray that meets an edge of the victim's own, or two that run
/// into one, are late or early. Without it a few such strays accuse whoever happens to switch then.
const STRAGGLING: f64 = 0.02;

impl Evidence {
    /// `count`: opportunities, as [`super::sweep`] counts them for all suspects at once.
    pub fn gather(
        victim: &Victim,
        suspect: Suspect,
        edges: &OwnEdges,
        reach: &Reach,
        count: u64,
    ) -> Evidence {
        let times = edges.of(suspect.polarity);
        let pairs = match count {
            0 => Vec::new(),
            _ => lags::pairs(&victim.times, times, &victim.able(), reach.lo, reach.hi),
        };
        let beside = match count {
            0 => Beside::default(),
            _ => Beside::of(victim, times, reach),
        };
        Evidence {
            suspect,
            count: count as usize,
            beside,
            pairs,
            stragglers: STRAGGLING / (reach.hi - reach.lo + 1) as f64,
        }
    }

    /// Edges after which a stray in `window` would have been counted: those whose stray would have come beside an edge of
    /// the victim's own are not among them, as such strays are left out. Cost: log of the edges there.
    pub fn opportunities(&self, window: &LagWindow) -> f64 {
        let left_out = self.beside.left_out(window.lo + (window.hi - window.lo) / 2);
        (self.count as f64 - left_out as f64).max(1.0)
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

/// A suspect's edges beside those of the victim's own, in ticks, each list ascending.
#[derive(Clone, Debug, Default)]
struct Beside {
    /// From an edge to the end of the rest that it lies in, less what a stray takes and its guard.
    until_end: Vec<i64>,
    /// From the start of its rest to an edge, less the guard.
    since_start: Vec<i64>,
}

impl Beside {
    /// The edges whose strays may come too near, whatever the lag inside `reach`. Cost: linear in rests, log of the edges
    /// between, a sort of those near.
    fn of(victim: &Victim, times: &[i64], reach: &Reach) -> Beside {
        let mut beside = Beside::default();
        let slack = victim.able().slack;
        let mut from = 0;
        for rest in &victim.rests {
            from += gallop(&times[from..], |&t| t <= rest.start + slack);
            let to = from + gallop(&times[from..], |&t| t < rest.end - slack);
            let own = &times[from..to];
            from = to;
            let near_end = own.partition_point(|&t| rest.end - t - victim.width - victim.guard >= reach.hi);
            let until_end = own[near_end..].iter();
            beside
                .until_end
                .extend(until_end.map(|t| rest.end - t - victim.width - victim.guard));
            let near_start = own.partition_point(|&t| t - rest.start - victim.guard < -reach.lo);
            // What is left out for the next edge is not left out twice.
            let since_start = own[..near_start.min(near_end)].iter();
            beside
                .since_start
                .extend(since_start.map(|t| t - rest.start - victim.guard));
        }
        beside.until_end.sort_unstable();
        beside.since_start.sort_unstable();
        beside
    }

    /// How many edges would have their stray left out, if it came `lag` after them.
    fn left_out(&self, lag: i64) -> usize {
        let at_end = self.until_end.partition_point(|&t| t < lag);
        at_end + self.since_start.partition_point(|&t| t < -lag)
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixtures;
    use super::*;
    use crate::analysis::coupling::able::Rest;
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
        let evidence = Evidence::gather(&victim, suspect, &edges, &reach, rises.len() as u64);
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
