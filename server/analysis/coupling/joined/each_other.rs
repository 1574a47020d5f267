//! Two hand controls that set each other off: each shows a short pulse some time after the other is worked.
//!
//! Keys, limit switches and relay contacts stay where they are for milliseconds, and what reads them is slow (a filter, a pull-up of
//! kilohms), so a dip that the one brings on the other comes later and lasts longer than what an edge induces on a TTL line, and widths
//! alone give no ground to call it stray. That it goes both ways does: each control's short pulses come one time after the
//! other's edges. Then what the two share is thought of first, whatever else switches with either of them.

use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, any_within, last_to};
use crate::analysis::coupling::{Attribution, EARLIEST_LAG_S, Standing};
use crate::analysis::stats::order::middle;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{LimitOrigin, NarrowLimit, StrayKind, StrayOptions, Strays};
use crate::model::{Capture, Level, Polarity};

/// A control that is worked by hand, or a contact, stays as long as this (common practice, no source), so often at least.
const SLOW_S: f64 = 500e-6;
const FEWEST: usize = 6;
/// Its dips are no longer than this, and all other pulses of their level longer by this factor.
const LONGEST_DIP_S: f64 = 20e-6;
const APART: f64 = 3.0;
/// More edges than a hand makes: not looked at.
const MOST_EDGES: usize = 20_000;
/// Dips come no later than this after what brings them, and within this of each other, besides what sampling does: the filters of
/// hand controls (common practice, no source).
const LATEST_S: f64 = 10e-6;
const STEADY_S: f64 = 2e-6;
/// Share of the dips that come so.
const MOST: f64 = 0.8;
/// What comes with more of the other's edges than this may be meant to, and shows no limit.
const OFTEN: f64 = 0.9;
/// Share of a control's long pulses, at most, that begin so near behind the other's edges as dips may: a hand works each at a time of
/// its own, and what follows another line as a matter of course is no control (no source).
const OWN: f64 = 0.2;
/// Chance, lags tried allowed for, at or below which so many come so.
const CHANCE: f64 = 1e-6;

/// How one of the two goes with the other.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    pub victim: usize,
    pub other: usize,
    /// Level of the short pulses, and the other's edges that they come after.
    pub level: Level,
    pub edge: Polarity,
    /// Short pulses that come so, of all of the victim's, and how many such edges there are.
    pub dips: u64,
    pub of: u64,
    pub edges: u64,
    /// Least, middle and greatest lag of these, in ticks.
    pub lags: [i64; 3],
    /// Least and greatest width of all of them, in ticks.
    pub widths: [i64; 2],
}

/// Two lines whose short pulses come after each other's edges.
#[derive(Clone, Debug, PartialEq)]
pub struct EachOther {
    pub ways: [Way; 2],
    /// A third line whose edges come before as many of both.
    pub also: Option<usize>,
}

/// A line that may be a hand control, without its short pulses of one level.
struct Control {
    line: usize,
    level: Level,
    /// Start and width of the short pulses, ascending, in ticks.
    dips: Vec<(i64, i64)>,
    own: OwnEdges,
    /// The limit that takes the short pulses in, where none is known yet.
    limit: Option<f64>,
}

/// Limits for hand controls whose short pulses come after each other's edges, where their widths alone gave none. Lines for which the
/// person or another capture gave one are left alone. Cost: for lines of few edges their widths' sort, and the pairs of those that are
/// left.
pub fn limits(capture: &Capture, strays: &Strays, options: &StrayOptions) -> Vec<(usize, NarrowLimit)> {
    let is_open = |line: usize| {
        strays.limits[line].origin == LimitOrigin::None
            && !options.narrow_below.contains_key(&line)
            && !options.taken_over.contains_key(&line)
    };
    let controls = controls(capture, strays, is_open);
    if controls.iter().all(|control| control.limit.is_none()) {
        return Vec::new();
    }
    let mut found = Vec::new();
    for [a, b] in pairs(&controls) {
        let ways = both_ways(capture, strays, [a, b]);
        let now_and_then = |way: &Way| way.dips as f64 <= OFTEN * way.edges as f64;
        found.extend(
            ways.filter(|ways| ways.iter().all(now_and_then))
                .map(|ways| (ways, [a, b])),
        );
    }
    let of_pairs = each_in_one(found).into_iter().flat_map(|(_, pair)| pair);
    let limits = of_pairs.filter_map(|control| {
        let limit = control.limit?;
        let (low, high) = match control.level {
            Level::Low => (Some(limit), None),
            _ => (None, Some(limit)),
        };
        let origin = LimitOrigin::Inferred;
        Some((control.line, NarrowLimit { low, high, origin }))
    });
    limits.collect()
}

/// The pairs of which no line is in a better one: what follows one of two controls seems to be set off by the other as well. The
/// better are those in which more of the dips come so, and then those in which the edges come earlier.
fn each_in_one(mut found: Vec<([Way; 2], [&Control; 2])>) -> Vec<([Way; 2], [&Control; 2])> {
    let share = |ways: &[Way; 2]| {
        let shares = ways.each_ref().map(|way| way.dips as f64 / way.of as f64);
        shares[0].min(shares[1])
    };
    let lag = |ways: &[Way; 2]| ways[0].lags[1] + ways[1].lags[1];
    found.sort_by(|a, b| {
        share(&b.0)
            .total_cmp(&share(&a.0))
            .then(lag(&b.0).cmp(&lag(&a.0)))
    });
    let mut kept: Vec<([Way; 2], [&Control; 2])> = Vec::new();
    for (ways, pair) in found {
        let is_in = |line: usize| kept.iter().any(|(_, kept)| kept.iter().any(|c| c.line == line));
        if !pair.iter().any(|control| is_in(control.line)) {
            kept.push((ways, pair));
        }
    }
    kept
}

/// Pairs of hand controls that set each other off, where nobody is sure to strike either of them. Cost: as of [`limits`].
pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<EachOther> {
    let rows = || attribution.couplings.iter();
    let is_struck = |line: usize| rows().any(|row| row.victim == line && row.standing == Standing::Clear);
    // Strays of its other level are told elsewhere, and so are two contacts that bounce.
    let is_plain = |c: &Control| {
        let mut of_line = strays.of_line(c.line).iter();
        of_line.all(|s| s.kind == StrayKind::Bounce || s.level == c.level) && !is_struck(c.line)
    };
    let bounces = |line: usize| strays.bursts.iter().any(|burst| burst.line == line);
    let goes_with = |a: usize, b: usize| rows().any(|row| (row.victim, row.aggressor) == (a, b));
    let controls = controls(capture, strays, |_| false);
    let found = pairs(&controls).filter_map(|[a, b]| {
        let are_told =
            bounces(a.line) && bounces(b.line) && goes_with(a.line, b.line) && goes_with(b.line, a.line);
        if !is_plain(a) || !is_plain(b) || are_told {
            return None;
        }
        Some((both_ways(capture, strays, [a, b])?, [a, b]))
    });
    let found = each_in_one(found.collect()).into_iter();
    let told = found.map(|(ways, pair)| EachOther {
        also: also(capture, strays, &ways, pair),
        ways,
    });
    told.collect()
}

fn pairs(controls: &[Control]) -> impl Iterator<Item = [&Control; 2]> {
    let firsts = controls.iter().enumerate();
    firsts.flat_map(|(at, a)| {
        let others = controls[at + 1..].iter().filter(|b| b.line != a.line);
        others.map(move |b| [a, b])
    })
}

/// The lines that may be hand controls and show short pulses: strays, or where `is_open` those far below all others.
fn controls(capture: &Capture, strays: &Strays, is_open: impl Fn(usize) -> bool) -> Vec<Control> {
    let slow = capture.timebase.ticks_of(SLOW_S) as i64;
    let longest = capture.timebase.ticks_of(LONGEST_DIP_S);
    let is_looked_at = |&line: &usize| {
        let line = &capture.lines[line];
        line.same_as.is_none() && line.trace.is_none() && line.edges.len() <= MOST_EDGES
    };
    let of_level = |line: usize, level: Level| -> Option<Control> {
        let pulses = || capture.lines[line].pulses().filter(move |p| p.level == level);
        if pulses().filter(|p| p.width().0 >= slow).count() < FEWEST {
            return None;
        }
        let limit = match strays.limits[line].of(level) {
            None if is_open(line) => {
                let mut widths: Vec<i64> = pulses().map(|p| p.width().0).collect();
                widths.sort_unstable();
                Some(limit_of(&widths, longest)?)
            }
            _ => None,
        };
        // Start, width and first edge.
        let dips: Vec<(i64, i64, usize)> = match limit {
            Some(limit) => pulses()
                .filter(|p| (p.width().0 as f64) < limit)
                .map(|p| (p.start.0, p.width().0, p.edge))
                .collect(),
            None => {
                let of_line = strays.of_line(line).iter();
                let of_level = of_line.filter(|s| s.kind == StrayKind::Pulse && s.level == level);
                of_level
                    .filter_map(|s| Some((s.start.0, s.width.0, s.edge?)))
                    .collect()
            }
        };
        if dips.len() < FEWEST || dips.iter().any(|dip| dip.1 as f64 > longest) {
            return None;
        }
        let mut own = OwnEdges::default();
        let record = &capture.lines[line];
        let mut skip = dips.iter().flat_map(|dip| [dip.2, dip.2 + 1]).peekable();
        for (edge, time) in record.edges.iter().enumerate() {
            if skip.next_if_eq(&edge).is_some() {
                continue;
            }
            match record.polarity(edge) {
                Polarity::Rise => own.rises.push(time.0),
                Polarity::Fall => own.falls.push(time.0),
            }
        }
        Some(Control {
            line,
            level,
            dips: dips.into_iter().map(|(start, width, _)| (start, width)).collect(),
            own,
            limit,
        })
    };
    let lines = (0..capture.lines.len()).filter(is_looked_at);
    lines
        .flat_map(|line| [Level::Low, Level::High].map(|level| of_level(line, level)))
        .flatten()
        .collect()
}

/// The limit below the widest gap, as a ratio, that parts short widths (ascending) from the others, in ticks.
fn limit_of(widths: &[i64], longest: f64) -> Option<f64> {
    let gaps = widths.windows(2).enumerate().filter_map(|(at, pair)| {
        let (last, next) = (pair[0].max(1) as f64, pair[1] as f64);
        let parts = at + 1 >= FEWEST && last <= longest && next >= APART * last;
        parts.then_some((last, next))
    });
    let (last, next) = gaps.max_by(|a, b| (a.1 / a.0).total_cmp(&(b.1 / b.0)))?;
    Some((last * next).sqrt().min(APART * last).max(last + 0.5))
}

/// How each of the two goes with the other, if both do.
fn both_ways(capture: &Capture, strays: &Strays, [a, b]: [&Control; 2]) -> Option<[Way; 2]> {
    Some([way(capture, strays, a, b)?, way(capture, strays, b, a)?])
}

fn way(capture: &Capture, strays: &Strays, victim: &Control, other: &Control) -> Option<Way> {
    if !is_worked_by_itself(capture, strays, victim, other) {
        return None;
    }
    let of = victim.dips.len() as u64;
    let ways = [Polarity::Fall, Polarity::Rise].map(|edge| {
        let times = other.own.of(edge);
        let lags = steady_lags(capture, strays, victim, other.line, times);
        let ([least, .., most] | [least @ most]) = lags.as_slice() else {
            return None;
        };
        let (span, windows) = (
            capture.span.end.0 - capture.span.start.0,
            1.0 + LATEST_S / STEADY_S,
        );
        let covered = able::covered(times, std::slice::from_ref(&(0..times.len())), *least, *most);
        let chance = binomial_upper(lags.len() as u64, of, (covered / span.max(1) as f64).min(1.0));
        let shows = lags.len() >= FEWEST && lags.len() as f64 >= MOST * of as f64;
        let widths = || victim.dips.iter().map(|dip| dip.1);
        (shows && chance * windows <= CHANCE).then_some(Way {
            victim: victim.line,
            other: other.line,
            level: victim.level,
            edge,
            dips: lags.len() as u64,
            of,
            edges: times.len() as u64,
            lags: [*least, middle(&lags)?, *most],
            widths: [widths().min()?, widths().max()?],
        })
    });
    ways.into_iter().flatten().max_by_key(|way| way.dips)
}

/// Whether the victim's long pulses begin at times of their own, and not as the other switches.
fn is_worked_by_itself(capture: &Capture, strays: &Strays, victim: &Control, other: &Control) -> bool {
    let (early, latest) = reach(capture, strays, victim, other.line);
    let begins = match victim.level {
        Level::Low => Polarity::Fall,
        _ => Polarity::Rise,
    };
    let long = victim.own.of(begins);
    let follows = |start: i64| {
        let near = |edge| any_within(other.own.of(edge), start - latest, start + early);
        near(Polarity::Fall) || near(Polarity::Rise)
    };
    let following = long.iter().filter(|&&start| follows(start)).count();
    following as f64 <= OWN * long.len() as f64
}

/// How long before what brings it and how long behind it a dip may begin, in ticks.
fn reach(capture: &Capture, strays: &Strays, victim: &Control, other: usize) -> (i64, i64) {
    let sampling = strays.sampling[victim.line].max(strays.sampling[other]);
    let ticks = |seconds: f64| (capture.timebase.ticks_of(seconds) + sampling).ceil() as i64;
    (ticks(EARLIEST_LAG_S), ticks(LATEST_S))
}

/// The lags (ascending) of the dips after the last of `times`, another line's edges, before them, as far as they are one.
fn steady_lags(
    capture: &Capture,
    strays: &Strays,
    victim: &Control,
    other: usize,
    times: &[i64],
) -> Vec<i64> {
    let ticks = |seconds: f64| capture.timebase.ticks_of(seconds);
    let sampling = strays.sampling[victim.line].max(strays.sampling[other]);
    let (early, latest) = reach(capture, strays, victim, other);
    let lag = |dip: &(i64, i64)| {
        let lag = dip.0 - last_to(times, dip.0 + early)?;
        (lag <= latest).then_some(lag)
    };
    let mut lags: Vec<i64> = victim.dips.iter().filter_map(lag).collect();
    lags.sort_unstable();
    let steady = crowd(&lags, (ticks(STEADY_S) + 2.0 * sampling).ceil() as i64);
    lags[steady].to_vec()
}

/// A third line whose edges come before as many dips of both.
fn also(capture: &Capture, strays: &Strays, ways: &[Way; 2], pair: [&Control; 2]) -> Option<usize> {
    let comes_before = |line: usize| {
        let times: Vec<i64> = capture.lines[line].edges.iter().map(|t| t.0).collect();
        ways.iter().zip(pair).all(|(way, control)| {
            steady_lags(capture, strays, control, line, &times).len() as u64 >= way.dips
        })
    };
    let others = (0..capture.lines.len()).filter(|&line| !pair.iter().any(|control| control.line == line));
    let mut few = others.filter(|&line| capture.lines[line].edges.len() <= MOST_EDGES);
    few.find(|&line| comes_before(line))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::demo::random::Random;
    use crate::model::{Line, Ticks, TimeSpan};

    const NS_A_SAMPLE: i64 = 50;

    /// PLAY_N and STOP_N are pressed in turn, 75 times each, for about 1.2 ms; of presses of the first that `plays` picks, and of the
    /// other that `stops` picks, each brings a dip of about 1.2 µs on the other, `lag` ns later. RUN follows 2 µs after a press, and
    /// after a dip 2.4 µs. Sampled every 50 ns; seed 9.
    fn panel(lag: f64, plays: impl Fn(&mut Random) -> bool, stops: impl Fn(&mut Random) -> bool) -> Capture {
        let mut random = Random::new(9);
        let mut edges: [Vec<f64>; 3] = Default::default();
        let mut at = 2e6;
        let mut is_running = false;
        for n in 0..150usize {
            at += 6e6 + random.uniform(-0.6e6, 0.6e6);
            let (pressed, other) = (n % 2, 1 - n % 2);
            edges[pressed].extend([at, at + 1.2e6 + random.uniform(-0.3e6, 0.3e6)]);
            if is_running != (pressed == 0) {
                edges[2].push(at + 2e3);
                is_running = !is_running;
            }
            let dips = match pressed {
                0 => plays(&mut random),
                _ => stops(&mut random),
            };
            if dips {
                let start = at + lag + random.uniform(-60.0, 60.0);
                edges[other].extend([start, start + 1.2e3 + random.uniform(-200.0, 200.0)]);
                edges[2].push(start + 2.4e3);
                is_running = !is_running;
            }
        }
        let span = TimeSpan::new(Ticks(0), Ticks(at as i64 + 5_000_000));
        let line = |name: &str, first: Level, mut edges: Vec<f64>| {
            edges.sort_by(f64::total_cmp);
            let sampled = edges
                .iter()
                .map(|at| Ticks((at / NS_A_SAMPLE as f64).ceil() as i64 * NS_A_SAMPLE));
            Line::digital(name, first, sampled.collect(), span)
        };
        let [play, stop, run] = edges;
        let lines = vec![
            line("PLAY_N", Level::High, play),
            line("STOP_N", Level::High, stop),
            line("RUN", Level::Low, run),
        ];
        Capture::in_nanoseconds("panel", span, lines)
    }

    fn told(capture: &Capture, narrow_below: &[usize]) -> (Vec<usize>, Vec<EachOther>, usize) {
        let options = StrayOptions {
            narrow_below: narrow_below.iter().map(|&line| (line, 5_000.0)).collect(),
            ..StrayOptions::default()
        };
        let (strays, attribution) = judge(capture, &options, &CouplingOptions::default());
        let counts = (0..2).map(|line| strays.of_line(line).len()).collect();
        let rows = attribution.couplings.iter();
        let accused = rows.filter(|row| row.standing == Standing::Clear).count();
        (counts, attribution.each_other, accused)
    }

    fn at_times(random: &mut Random) -> bool {
        random.chance(0.35)
    }

    #[test]
    fn controls_that_set_each_other_off_are_told_as_a_pair() {
        for (lag, narrow_below) in [
            (200.0, &[][..]),
            (200.0, &[0, 1]),
            (3_000.0, &[]),
            (3_000.0, &[0, 1]),
        ] {
            let (counts, found, accused) = told(&panel(lag, at_times, at_times), narrow_below);
            assert!(counts.iter().all(|&n| (15..40).contains(&n)), "{lag}: {counts:?}");
            assert_eq!(accused, 0, "{lag}");
            let [EachOther { ways, also: None }] = found.as_slice() else {
                panic!("{lag}: {found:?}");
            };
            for (way, count) in ways.iter().zip(counts) {
                assert_eq!((way.edge, way.level, way.edges), (Polarity::Fall, Level::Low, 75));
                assert_eq!((way.dips, way.of), (count as u64, count as u64));
                assert!((way.lags[1] as f64 - lag).abs() < 60.0, "{:?}", way.lags);
            }
        }
    }

    #[test]
    fn what_goes_one_way_or_comes_every_time_gives_no_limit() {
        let (counts, found, _) = told(&panel(200.0, at_times, |_| false), &[]);
        assert_eq!((counts, found), (vec![0, 0], vec![]), "one way");
        let (counts, found, _) = told(&panel(200.0, |_| true, |_| true), &[]);
        assert_eq!((counts, found), (vec![0, 0], vec![]), "every time");
    }

    /// SEND goes low 75 times for 1.2 ms, REPEAT as long, `late` ns behind it; of their rises some bring a dip of 1.2 µs on the
    /// other, 200 ns later. Sampled every 50 ns; seed 4.
    fn repeated(late: f64) -> Capture {
        let mut random = Random::new(4);
        let mut edges: [Vec<Ticks>; 2] = Default::default();
        let mut at = 2e6;
        for _ in 0..75 {
            at += 16e6 + random.uniform(-0.6e6, 0.6e6);
            for (line, from) in [(0, at), (1, at + late)] {
                let low = [from, from + 1.2e6];
                let start = from + 1.2e6 + 200.0 + random.uniform(-60.0, 60.0);
                let dip = [start, start + 1.2e3];
                let sampled = |at: f64| Ticks((at / NS_A_SAMPLE as f64).ceil() as i64 * NS_A_SAMPLE);
                edges[line].extend(low.map(sampled));
                if random.chance(0.35) {
                    edges[1 - line].extend(dip.map(sampled));
                }
            }
        }
        let span = TimeSpan::new(Ticks(0), Ticks(at as i64 + 20_000_000));
        let mut names = ["SEND", "REPEAT"].into_iter();
        let lines = edges.map(|mut edges| {
            edges.sort_unstable();
            Line::digital(names.next().unwrap_or_default(), Level::High, edges, span)
        });
        Capture::in_nanoseconds("repeated", span, lines.to_vec())
    }

    #[test]
    fn a_line_that_switches_as_the_other_does_is_no_control() {
        assert_eq!(told(&repeated(7e6), &[]).1.len(), 1, "each by itself");
        assert_eq!(told(&repeated(4e3), &[]).1, [], "REPEAT behind SEND");
    }

    #[test]
    fn dips_at_times_of_their_own_are_nobody_s() {
        let mut capture = panel(200.0, at_times, at_times);
        // STOP_N is the same, a third of a millisecond late.
        let late = capture.lines[1].edges.iter().map(|t| Ticks(t.0 + 333_000));
        capture.lines[1] = Line::digital("STOP_N", Level::High, late.collect(), capture.span);
        assert_eq!(told(&capture, &[]).1, []);
        assert_eq!(told(&capture, &[0, 1]).1, []);
    }
}
