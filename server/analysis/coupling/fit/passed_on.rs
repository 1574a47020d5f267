//! Strays that another line's strays bring: a line that reads a struck line, or is struck by it, passes its strays on.
//!
//! Whoever strikes the first seems to strike the second, a little later. That it doesn't shows where the second line's strays come
//! at one time behind strays of the first, and the second line's other edges at that time behind the first line's own.

use super::copies::crowd;
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within, last_to};
use crate::analysis::coupling::suspects::reacting::distance;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Polarity};

/// Share of a row's strays that come behind strays of the other line, on either ground.
const BEHIND: f64 = 0.9;
/// Other edges of the victim behind own edges of the line, at least, and the chance of as many at or below which that is none.
const FEWEST: usize = 5;
const CHANCE: f64 = 1e-6;

/// Lines that may pass on what strikes them to the victim of `row`, on either ground: what they show the victim shows a set time
/// later ([`that_are_followed`]), or they clock it. Ascending; arguments and cost as there.
pub fn lines(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    row: &Coupling,
    distances: [i64; 2],
    unit: f64,
) -> Vec<usize> {
    let mut lines = that_clock(capture, strays, row, distances);
    lines.extend(that_are_followed(capture, strays, edges, row, distances, unit));
    lines.sort_unstable();
    lines.dedup();
    lines
}

/// The other lines with strays, which one who is neither the victim nor the accused may pass on.
fn others_with_strays(capture: &Capture, strays: &Strays, row: &Coupling) -> impl Iterator<Item = usize> {
    let (victim, accused) = (row.victim, row.aggressor);
    let others = (0..capture.lines.len()).filter(move |&line| line != victim && line != accused);
    others.filter(|&line| !strays.of_line(line).is_empty())
}

/// Lines whose strays come at one time before the row's, and at whose own edges the victim switches after that time as well.
/// `latest`: longest such time, `steady`: how near times must be to be one, `unit`: what edges are known to, in ticks.
/// Cost: strays and edges of the victim × log of the others, for each line with strays.
pub fn that_are_followed(
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
    others_with_strays(capture, strays, row)
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

/// Lines that clock the victim of `row` and show strays just before its own: these pass on what struck the other line.
fn that_clock(capture: &Capture, strays: &Strays, row: &Coupling, [latest, steady]: [i64; 2]) -> Vec<usize> {
    let victim = &capture.lines[row.victim];
    // A stray beside an edge of its line's own may be the level before it or after it: it begins before the victim's ends.
    // What both show at one moment neither passes on.
    let is_behind = |of: &[Stray], own: &Stray| {
        let near = &of[of.partition_point(|s| s.start.0 < own.start.0 - latest)..];
        let mut near = near.iter().take_while(|s| s.start.0 < own.start.0 + own.width.0);
        near.any(|s| (s.start.0 - own.start.0).abs() > steady / 2)
    };
    let own: Vec<&Stray> = row.occurrences.iter().map(|o| &strays.strays[o.stray]).collect();
    let passes_on = |&line: &usize| {
        let of = strays.of_line(line);
        let behind = own.iter().filter(|own| is_behind(of, own)).count();
        behind as f64 >= BEHIND * own.len() as f64
            && distance(&[victim.ticks()], &capture.lines[line], latest, steady).is_some()
    };
    others_with_strays(capture, strays, row)
        .filter(passes_on)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::{Edge, Occurrence, Standing};
    use crate::analysis::strays::StrayKind;
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

    /// What is said of a counter that COUNT's rises clock `delay` ticks later, where COUNT's own rise and a stray that begins
    /// `after` it make the counter switch twice.
    fn passing_on(delay: i64, after: i64) -> Vec<usize> {
        let span = TimeSpan::new(Ticks(0), Ticks(500_000));
        let (mut count, mut tally) = (Vec::new(), Vec::new());
        for n in 1..20i64 {
            let at = 20_000 * n;
            count.extend([at, at + after, at + after + 12, at + 4_000]);
            tally.extend([at + delay, at + after + 12 + delay]);
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("STEP", Vec::new()),
            line("COUNT", count),
            line("TALLY", tally),
        ];
        let capture = Capture::in_nanoseconds("passing on", span, lines);
        let stray = |line: usize, level: Level, start: i64, width: i64| Stray {
            line,
            edge: None,
            start: Ticks(start),
            width: Ticks(width),
            level,
            kind: StrayKind::Pulse,
        };
        let at = || (1..20i64).map(|n| 20_000 * n);
        let of_count = at().map(|t| stray(1, Level::Low, t + after, 12));
        let of_tally = at().map(|t| stray(2, Level::High, t + delay, after + 12));
        let strays = Strays {
            strays: of_count.chain(of_tally).collect(),
            ..Strays::default()
        };
        let occurrences = (0..19).map(|n| Occurrence {
            at: 20_000 * (n as i64 + 1) - 10,
            polarity: Polarity::Rise,
            stray: 19 + n,
            lag: delay + 10,
        });
        let row = fixtures::row([2, 0], Edge::Rise, delay + 10, occurrences.collect(), 19);
        that_clock(&capture, &strays, &row, [122, 6])
    }

    #[test]
    fn a_line_whose_strays_begin_before_the_victim_s_end_passes_them_on() {
        assert_eq!(passing_on(15, 8), [1], "a stray before the victim's");
        assert_eq!(passing_on(15, 24), [1], "a stray in the victim's");
        assert!(passing_on(15, 15).is_empty(), "both at one moment");
    }
}
