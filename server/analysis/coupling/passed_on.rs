//! Strays that another line's strays bring: a line that reads a struck line, or is struck by it, passes its strays on.
//!
//! Whoever strikes the first seems to strike the second, a little later. That it doesn't shows where the second line's strays come
//! at one time behind strays of the first, and the second line's other edges at that time behind the first line's own.

use super::Coupling;
use super::able::{OwnEdges, any_within, last_to};
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
                    .filter(|&&at| any_within(source, at - most, at - least))
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
            let lag = at - last_to(theirs, at)?;
            (lag <= latest).then_some(lag)
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

#[cfg(test)]
mod tests {
    use super::super::{Standing, fixtures};
    use crate::demo::random::Random;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// EYE strikes PEG; LAMP repeats PEG `delay` later, or has work of its own, and FLOAT strikes it. Who is clear of striking LAMP.
    fn accused(repeats: bool) -> Vec<usize> {
        let end = 16_100_000;
        let mut random = Random::new(11);
        let (mut eye, mut float, mut peg, mut lamp) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for n in 1..400i64 {
            let at = 40_000 * n + (random.unit() * 5_000.0) as i64;
            let pulse = |of: &mut Vec<i64>, at: i64, width: i64| of.extend([at, at + width]);
            pulse(&mut eye, at, 5_000);
            let width = 20 + (random.unit() * 30.0) as i64;
            let lag = 9 + (random.unit() * 3.0) as i64;
            if random.chance(0.5) {
                pulse(&mut peg, at + lag, width);
                if repeats {
                    pulse(&mut lamp, at + lag + 13, width);
                }
            }
            if !repeats && random.chance(0.5) {
                pulse(&mut lamp, at + lag + 13, width);
            }
            let own = at + 12_000;
            pulse(&mut peg, own, 4_000);
            let late = if repeats {
                13
            } else {
                300 + (random.unit() * 3_000.0) as i64
            };
            pulse(&mut lamp, own + late, 4_000);
            let at = at + 25_000;
            pulse(&mut float, at, 6_000);
            if random.chance(0.5) {
                pulse(&mut lamp, at + 8 + (random.unit() * 3.0) as i64, width);
            }
        }
        let span = TimeSpan::new(Ticks(0), Ticks(end));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("EYE", eye),
            line("FLOAT", float),
            line("PEG", peg),
            line("LAMP", lamp),
        ];
        let (_, told) = fixtures::attributed(lines, end, &[(2, 60.0), (3, 60.0)]);
        let by_eye = told
            .couplings
            .iter()
            .find(|row| row.victim == 3 && row.aggressor == 0);
        assert_eq!(by_eye.is_some_and(|row| row.passed_on == [2]), repeats);
        let of_lamp = told
            .couplings
            .iter()
            .filter(|row| row.victim == 3 && row.standing == Standing::Clear);
        let mut lines: Vec<usize> = of_lamp.map(|row| row.aggressor).collect();
        lines.sort_unstable();
        lines
    }

    #[test]
    fn what_strikes_a_line_is_not_accused_of_the_copies_further_on() {
        assert_eq!(accused(true), [1], "FLOAT strikes the copy itself");
        assert_eq!(accused(false), [0, 1], "both are struck, each by itself");
    }
}
