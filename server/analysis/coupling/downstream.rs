//! Edges that the victim brings about: they follow its edges, strays included, and tell nothing of who caused these.
//!
//! A one-shot that a stray fires, a flag that a dip of the clear line resets, a counter bit: each switches some time after
//! every stray, and seen among the instants it goes with the strays better than any cause could. [`super::reacting`] knows lines
//! all of whose edges do so; of a flag those of one polarity do, and what sets it is another's. What shows it is that (nearly)
//! all edges of that polarity keep one distance behind edges of the victim, its own as well as those of its strays.

use super::able::{OwnEdges, gallop};
use super::copies::crowd;
use super::instants::key;
use super::select::{Suspect, Victim};
use super::{Edge, suspects_of};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Polarity};

/// Share of the edges that follow the victim's: some pulses of that sampling may hide.
const FOLLOWS: f64 = 0.9;
/// Strays that the edges follow, at least, and other edges of the victim's.
const FEWEST: usize = 3;
const FEWEST_OWN: usize = 3;
/// What comes so long after the victim's edge is not looked for: a one-shot's or a counter chain's delay is shorter.
const LATEST_S: f64 = 400e-9;
/// The victim's edges may have so large a share of the time within the distances kept; where it is larger all follows them.
const COVERED: f64 = 0.3;

/// Lines and polarities whose edges the victim brings about. `steady`: how near distances must be to be one; `possible`: so long
/// after a stray's start an edge may still seem to have caused it; `second`: ticks in a second; all in ticks.
/// Cost: strays × lines × log of the edges, and linear in the edges of those that follow strays.
pub fn of(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    [steady, possible]: [i64; 2],
    second: f64,
) -> Vec<Suspect> {
    if victim.times.len() < FEWEST {
        return Vec::new();
    }
    let record = &capture.lines[victim.line];
    let Some(leading) = Polarity::towards(victim.level) else {
        return Vec::new();
    };
    let of_victim = [Polarity::Rise, Polarity::Fall].map(|polarity| -> Vec<i64> {
        let edges = record.edges.iter().enumerate();
        edges
            .filter(|(at, _)| record.polarity(*at) == polarity)
            .map(|(_, edge)| edge.0)
            .collect()
    });
    let ends: Vec<i64> = victim
        .strays
        .iter()
        .map(|&stray| strays.strays[stray].start.0 + strays.strays[stray].width.0)
        .collect();
    let span = (record.span.end.0 - record.span.start.0).max(1) as f64;
    let latest = (LATEST_S * second) as i64;
    let is_downstream = |suspect: &Suspect| {
        let times = edges[suspect.line].of(suspect.polarity);
        [leading, leading.opposite()].into_iter().any(|polarity| {
            let of_strays = if polarity == leading { &victim.times } else { &ends };
            let followed = &of_victim[usize::from(polarity == Polarity::Fall)];
            let Some(window) = window(times, of_strays, latest, steady) else {
                return false;
            };
            let is_dense = followed.len() as f64 * (window.1 - window.0 + 1) as f64 > COVERED * span;
            !is_dense
                && follows(
                    times,
                    followed,
                    of_strays,
                    &victim.times,
                    window,
                    possible,
                    victim.unit,
                )
        })
    };
    suspects_of(capture, victim.line).filter(is_downstream).collect()
}

/// The distances, close together, at which edges first follow (ascending) moments of strays, widened by `steady`; none where too few
/// do.
fn window(times: &[i64], of_strays: &[i64], latest: i64, steady: i64) -> Option<(i64, i64)> {
    let mut lags: Vec<i64> = of_strays
        .iter()
        .filter_map(|&at| {
            let next = times.get(times.partition_point(|&t| t < at))?;
            Some(next - at).filter(|&lag| lag <= latest)
        })
        .collect();
    lags.sort_unstable();
    let crowd = crowd(&lags, 2 * steady);
    (crowd.len() >= FEWEST).then(|| ((lags[crowd.start] - steady).max(0), lags[crowd.end - 1] + steady))
}

/// Whether (nearly) all of `times` lie in the window behind the victim's edges (`followed`), as those behind strays do, too late to
/// be their cause; or so late that they are plainly behind, with own edges of the victim followed alike.
fn follows(
    times: &[i64],
    followed: &[i64],
    of_strays: &[i64],
    starts: &[i64],
    (least, most): (i64, i64),
    possible: i64,
    unit: f64,
) -> bool {
    let most_missing = ((1.0 - FOLLOWS) * times.len() as f64) as usize;
    let (mut missing, mut from) = (0, 0);
    let (mut own, mut behind, mut late) = (0, 0, 0);
    let mut lags: Vec<i64> = Vec::new();
    for &time in times {
        from += gallop(&followed[from..], |&edge| edge < time - most);
        match followed.get(from).filter(|&&edge| edge <= time - least) {
            None => missing += 1,
            Some(&edge) => {
                lags.push(time - edge);
                match of_strays.binary_search(&edge) {
                    Ok(stray) => {
                        behind += 1;
                        late += usize::from(time - starts[stray] > possible);
                    }
                    Err(_) => own += 1,
                }
            }
        }
        if missing > most_missing {
            return false;
        }
    }
    if behind < FEWEST || lags.is_empty() {
        return false;
    }
    let middle = lags.len() / 2;
    let (_, usual, _) = lags.select_nth_unstable(middle);
    late == behind || own >= FEWEST_OWN && *usual as f64 > unit
}

/// The edges of all lines without those.
pub fn without(edges: &[OwnEdges], downstream: &[Suspect]) -> Vec<OwnEdges> {
    let mut edges = edges.to_vec();
    for suspect in downstream {
        match suspect.polarity {
            Polarity::Rise => edges[suspect.line].rises.clear(),
            Polarity::Fall => edges[suspect.line].falls.clear(),
        }
    }
    edges
}

/// Their keys among what lines do at an instant.
pub fn keys(downstream: &[Suspect]) -> impl Iterator<Item = usize> + '_ {
    downstream.iter().map(|suspect| {
        let edge = match suspect.polarity {
            Polarity::Rise => Edge::Rise,
            Polarity::Fall => Edge::Fall,
        };
        key(suspect.line, edge)
    })
}
