//! Strays that another line's strays bring: a line that reads a struck line, or is struck by it, passes its strays on.
//!
//! Whoever strikes the first seems to strike the second, a little later. That it doesn't shows where the second line's strays come
//! at one time behind strays of the first, and the second line's other edges at that time behind the first line's own.

use super::Coupling;
use super::able::OwnEdges;
use super::copies::crowd;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Polarity};

/// Share of a row's strays that come behind strays of the other line.
const BEHIND: f64 = 0.9;
/// Other edges of the victim behind own edges of the line, at least, and the chance of as many at or below which that is none.
const FEWEST: usize = 5;
const CHANCE: f64 = 1e-6;

/// Lines whose strays come at one time before the row's, and at whose own edges the victim switches after that time as well.
/// `latest`: longest such time, `steady`: how near times must be to be one, `unit`: what edges are known to, in ticks.
/// Cost: strays and edges of the victim × log of the others, for each line with strays.
pub fn lines(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    row: &Coupling,
    [latest, steady]: [i64; 2],
    unit: f64,
) -> Vec<usize> {
    let Some(level) = row.occurrences.first().map(|o| strays.strays[o.stray].level) else {
        return Vec::new();
    };
    let Some(leading) = Polarity::towards(level) else {
        return Vec::new();
    };
    let mut own: Vec<i64> = row
        .occurrences
        .iter()
        .map(|o| strays.strays[o.stray].start.0)
        .collect();
    own.sort_unstable();
    // Where else the victim takes that level, strays of others included.
    let victim = &capture.lines[row.victim];
    let of_victim = victim.edges.iter().enumerate();
    let elsewhere: Vec<i64> = of_victim
        .filter(|(at, edge)| victim.polarity(*at) == leading && own.binary_search(&edge.0).is_err())
        .map(|(_, edge)| edge.0)
        .collect();
    let span = (victim.span.end.0 - victim.span.start.0).max(1) as f64;
    let passes_on = |&line: &usize| {
        let of_line = strays.of_line(line);
        [false, true].into_iter().any(|at_end| {
            let moments = |stray: &Stray| stray.start.0 + if at_end { stray.width.0 } else { 0 };
            [Polarity::Rise, Polarity::Fall].into_iter().any(|polarity| {
                // The strays' edges of that polarity.
                let mut theirs: Vec<i64> = of_line
                    .iter()
                    .filter(|s| s.edge.is_some())
                    .filter(|s| {
                        let towards = Polarity::towards(s.level);
                        towards.is_some_and(|towards| (towards == polarity) != at_end)
                    })
                    .map(moments)
                    .collect();
                theirs.sort_unstable();
                let Some((least, most)) = window(&own, &theirs, latest, steady) else {
                    return false;
                };
                if (least + most) as f64 <= unit {
                    return false;
                }
                let source = edges[line].of(polarity);
                let behind = elsewhere
                    .iter()
                    .filter(|&&at| is_behind(source, at, least, most))
                    .count();
                let covered = (source.len() as f64 * (most - least + 1) as f64 / span).min(1.0);
                behind >= FEWEST && binomial_upper(behind as u64, elsewhere.len() as u64, covered) <= CHANCE
            })
        })
    };
    (0..capture.lines.len())
        .filter(|&line| line != row.victim && line != row.aggressor && !strays.of_line(line).is_empty())
        .filter(passes_on)
        .collect()
}

/// The distances, close together, at which (nearly) all of `own` come behind the last of `theirs`, widened to a sample or so; none
/// where they don't.
fn window(own: &[i64], theirs: &[i64], latest: i64, steady: i64) -> Option<(i64, i64)> {
    let mut lags: Vec<i64> = own
        .iter()
        .filter_map(|&at| {
            let before = theirs.partition_point(|&t| t <= at).checked_sub(1)?;
            Some(at - theirs[before]).filter(|&lag| lag <= latest)
        })
        .collect();
    lags.sort_unstable();
    let crowd = crowd(&lags, 2 * steady);
    let is_most = crowd.len() as f64 >= BEHIND * own.len() as f64;
    (is_most && !crowd.is_empty()).then(|| {
        let (least, most) = (lags[crowd.start], lags[crowd.end - 1]);
        let slack = (steady - (most - least) / 2).max(0);
        ((least - slack).max(0), most + slack)
    })
}

/// Whether one of `source` lies in the window before `at`.
fn is_behind(source: &[i64], at: i64, least: i64, most: i64) -> bool {
    let next = source.get(source.partition_point(|&t| t < at - most));
    next.is_some_and(|&t| t <= at - least)
}
