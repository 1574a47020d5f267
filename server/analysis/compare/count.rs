//! Counting one coupling in one capture, by a definition that holds on both sides.

use std::collections::BTreeSet;

use super::Counts;
use crate::analysis::coupling::suspects::able;
use crate::analysis::coupling::{Attribution, Edge};
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::{Capture, Level, Polarity};

/// One capture of a condition and what was found in it.
pub struct Side<'a> {
    pub capture: &'a Capture,
    pub strays: &'a Strays,
    pub attribution: &'a Attribution,
}

/// The coupling to count. Lags are in seconds, both ends closed.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    pub victim: String,
    pub aggressor: String,
    /// Which edges raise strays of which level: a coupling by capacitance lifts with the rise and dips with the
    /// fall, so an edge is an opportunity at one of the victim's rest levels only.
    pub strikes: Vec<(Polarity, Level)>,
    pub lag_low_s: f64,
    pub lag_high_s: f64,
}

impl Pair {
    /// The edges that strike.
    pub fn edge(&self) -> Edge {
        let has = |polarity| self.strikes.iter().any(|s| s.0 == polarity);
        match (has(Polarity::Rise), has(Polarity::Fall)) {
            (true, false) => Edge::Rise,
            (false, true) => Edge::Fall,
            _ => Edge::Both,
        }
    }
}

/// Strikes and opportunities of `pair` in one capture; none where a line was not captured. Strays within the lag
/// window that no other coupling explains are counted over all opportunities, the same way under either
/// condition and whether or not the capture's own attribution names the coupling. An edge after which a person judged a pulse
/// to be the line's own is no opportunity. Cost: linear in the two lines'
/// edges.
pub fn count(side: &Side, pair: &Pair) -> Counts {
    count_each(side, pair, &mut |_| {})
}

/// [`count`], and every stray that is counted is handed to `each` (its position in [`Strays::strays`]).
pub fn count_each(side: &Side, pair: &Pair, each: &mut dyn FnMut(usize)) -> Counts {
    let of = |name: &str| side.capture.line_index(name);
    let (Some(victim), Some(aggressor)) = (of(&pair.victim), of(&pair.aggressor)) else {
        return Counts::default();
    };
    let mut counts = Counts::default();
    for &(polarity, level) in &pair.strikes {
        counts += count_one(side, (victim, aggressor), (polarity, level), pair, each);
    }
    counts
}

fn count_one(
    side: &Side,
    (victim, aggressor): (usize, usize),
    (polarity, level): (Polarity, Level),
    pair: &Pair,
    each: &mut dyn FnMut(usize),
) -> Counts {
    let capture = side.capture;
    let unit = side
        .strays
        .sampling
        .get(victim)
        .copied()
        .unwrap_or(0.0)
        .max(1.0)
        .ceil() as i64;
    let ticks = |s: f64| capture.timebase.ticks_of(s);
    let low = ticks(pair.lag_low_s).floor() as i64 - unit;
    let high = ticks(pair.lag_high_s).ceil() as i64 + unit;
    let edges = able::own_edges_of(capture, side.strays, aggressor);
    let edges = edges.of(polarity);
    let rests = able::rests(capture, side.strays, victim, level.inverted());
    let open = able::opportunities(edges, &rests, -unit, unit);
    let mut struck = 0;
    let first = side.strays.strays.partition_point(|s| s.line < victim);
    for (i, stray) in side.strays.of_line(victim).iter().enumerate() {
        if stray.kind == StrayKind::Bounce || stray.level != level {
            continue;
        }
        let cause = side.attribution.causes.get(first + i).copied().flatten();
        let by_another = cause.is_some_and(|c| side.attribution.couplings[c.coupling].aggressor != aggressor);
        let from = edges.partition_point(|&e| e < stray.start.0 - high);
        let follows = edges.get(from).is_some_and(|&e| e <= stray.start.0 - low);
        if follows && !by_another {
            struck += 1;
            each(first + i);
        }
    }
    let judged = judged_own(capture, victim, level, edges, (low, high));
    let is_open = |edge: &&usize| !open.iter().any(|range| range.contains(edge));
    let opportunities: usize = open.iter().map(ExactSizeIterator::len).sum();
    let taken = judged.len() - judged.iter().filter(is_open).count();
    Counts {
        strays: struck,
        opportunities: ((opportunities - taken) as u64).max(struck),
    }
}

/// The edges (positions in `edges`, each once) at whose lags (`low` to `high`, ticks) a pulse of that level begins which a
/// person judged to be the line's own: whether a stray would have come there besides can't be seen.
fn judged_own(
    capture: &Capture,
    victim: usize,
    level: Level,
    edges: &[i64],
    (low, high): (i64, i64),
) -> BTreeSet<usize> {
    let line = &capture.lines[victim];
    let own = line.judged.iter().filter(|judged| !judged.stray);
    let of_level = own.filter(|judged| {
        let at = line.edges.binary_search(&judged.start);
        at.is_ok_and(|edge| line.level_after(edge) == level)
    });
    let at_lags = of_level.flat_map(|judged| {
        let from = edges.partition_point(|&e| e < judged.start.0 - high);
        let to = edges.partition_point(|&e| e <= judged.start.0 - low);
        from..to
    });
    at_lags.collect()
}
