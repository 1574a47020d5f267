//! Strays before a line's own edge, where that edge answers another line's.
//!
//! Of two short levels beside an edge of the line's own either may be the stray, and a line rings as it switches. But an
//! acknowledge follows its request after a time that its other edges show. Where the last of the three edges keeps that time
//! and the first comes well before it, the stray came first, and no ringing comes before the edge that rings.

use crate::analysis::coupling::EARLIEST_LAG_S;
use crate::analysis::coupling::suspects::able::{OwnEdges, gallop, last_to};
use crate::analysis::coupling::suspects::victims;
use crate::analysis::parallel::on_all_cores;
use crate::analysis::stats::order::{at_shares, middle};
use crate::analysis::stats::variance::{pitman_morgan, variance};
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// A line whose own edges out of one level answer another line's.
#[derive(Clone, Debug, PartialEq)]
pub struct Answering {
    pub line: usize,
    /// The level that its answers leave; strays before them are of the other.
    pub from: Level,
    /// Whose edges it answers.
    pub to: (usize, Polarity),
    /// How long after them, in ticks, both ends closed.
    pub after: [i64; 2],
    /// How much earlier than what is asked a stray may seem, in ticks.
    pub earliest: i64,
    /// The middle width of the strays before answers, in ticks: what is as short beside an own edge may be one.
    pub guard: i64,
    /// Their least and largest width, in ticks, where all have one: the answering part may put them out as its inputs race.
    pub one_width: Option<[i64; 2]>,
}

/// An answer comes no later than this.
const LATEST_S: f64 = 1e-6;
/// Edges that are answered once, with nothing before the answer, that show the time: so many at least.
const FEWEST_CLEAN: usize = 12;
/// Share of the line's own edges that come between a question and the end of it (the others end strays after the other edge), and
/// of the other line's edges that are answered.
const ANSWER: f64 = 0.5;
const ANSWERED: f64 = 0.8;
/// Share of the distances, at either end, that is looked past.
const TAIL: f64 = 0.02;
/// Rest between a stray and the answer, at most, in widths that an own edge's neighbourhood has.
const REST: i64 = 3;
/// Strays before an answer, at least.
const FEWEST: usize = 6;
/// With so large a share of the questions a pulse before the answer is what the logic does.
const EVERY: f64 = 0.95;
/// Pulses of a race last as long as two paths of gates differ: they have one width, to this share.
const ONE_WIDTH: f64 = 0.08;
/// Strays keep time with the question when their rests before the answer vary so many times as much as their lags, in variance
/// beyond what sampling makes, and chance would make them do so no oftener than this.
const STEADIER: f64 = 4.0;
const BY_CHANCE: f64 = 0.01;

impl Answering {
    /// The edge that is answered at `own`, if it is.
    fn asked(&self, edges: &[OwnEdges], own: i64) -> Option<i64> {
        let times = edges[self.to.0].of(self.to.1);
        let asked = last_to(times, own - self.after[0])?;
        (own - asked <= self.after[1]).then_some(asked)
    }

    /// Whether an own edge at `own` is an answer.
    pub fn is_answer(&self, edges: &[OwnEdges], own: i64) -> bool {
        self.asked(edges, own).is_some()
    }

    /// Whether these strays keep their distance to what is asked better than to the answer: a pulse that the answering board puts out
    /// before its answer goes with that. `unit`: a sample, in ticks.
    fn keeps_time_with_the_question(&self, edges: &[OwnEdges], before: &[&Triple], unit: f64) -> bool {
        let asked = |t: &&Triple| self.asked(edges, t.at[2]).map(|asked| (t.at[0] - asked) as f64);
        let pairs = before
            .iter()
            .filter_map(|t| Some((asked(t)?, (t.at[2] - t.at[0]) as f64)));
        let (lags, rests): (Vec<f64>, Vec<f64>) = pairs.unzip();
        // Of two edges that are known to a sample each.
        let sampled = unit * unit / 6.0;
        let [of_lags, of_rests] = [&lags, &rests].map(|times| variance(times) - sampled);
        of_rests > (STEADIER * of_lags).max(sampled) && pitman_morgan(&rests, &lags) <= BY_CHANCE
    }

    /// Whether the pulse from `start` comes before the answer at `own` and is none itself.
    pub fn is_before(&self, edges: &[OwnEdges], start: i64, own: i64) -> bool {
        let asked = self.asked(edges, own);
        asked.is_some_and(|asked| start >= asked - self.earliest) && !self.is_answer(edges, start)
    }
}

fn sorted(values: impl Iterator<Item = i64>) -> Vec<i64> {
    let mut values: Vec<i64> = values.collect();
    values.sort_unstable();
    values
}

/// Whether pulses of these widths, ascending, may be a gate's as its inputs race: of one width, as far as samples tell.
fn is_race(widths: &[i64], unit: f64) -> bool {
    at_shares(widths, [0.1, 0.5, 0.9])
        .is_some_and(|[first, middle, last]| (last - first) as f64 <= ONE_WIDTH * middle as f64 + unit)
}

/// Of the ascending distances of edges that come alone, those of answers: a stray that lasts until the answer leaves its own first
/// edge alone, at the time of `strays` (ascending as well). `unit`: a sample.
fn answers<'a>(alone: &'a [i64], strays: &[i64], unit: i64) -> &'a [i64] {
    let [least, most] = at_shares(strays, [0.1, 0.9]).unwrap_or_default();
    let margin = most - least + unit;
    let first = alone.partition_point(|&a| a <= most + margin);
    let are_before = alone.first().is_some_and(|&a| a >= least - margin);
    match are_before && first <= alone.len() / 2 {
        true => &alone[first..],
        false => alone,
    }
}

/// Three successive edges of a line: a short pulse and a short rest before its own edge.
#[derive(Clone, Copy)]
struct Triple {
    /// Position of the stray among all, and of the first edge on the line.
    stray: usize,
    first: usize,
    at: [i64; 3],
}

/// The lines with strays before their answers. `edges`: own edges of all lines. Cost: linear in the strays; for lines with
/// enough of them beside own edges, those edges and the others' for each other line, few where it is soon clear. All cores.
pub fn find(capture: &Capture, strays: &Strays, edges: &[OwnEdges]) -> Vec<Answering> {
    let lines: Vec<usize> = (0..capture.lines.len())
        .filter(|&line| capture.lines[line].same_as.is_none())
        .collect();
    let of_line = |&line: &usize| answering_of(capture, strays, edges, line);
    on_all_cores(&lines, of_line).into_iter().flatten().collect()
}

/// Strays before answers of one kind, and what shows whether the question brings them.
struct Before {
    answering: Answering,
    /// How long after the question they begin, of the middle one, in ticks.
    lag: i64,
    keeps_time: bool,
    /// Those of the level that are not before answers are fewer.
    are_most: bool,
}

impl Before {
    /// Whether the others come as long after the other edge of the same line: a race of the answering part would have to run alike in
    /// both, whereas a neighbour that rises and falls does strike at one lag. `near`: in ticks.
    fn is_like(&self, other: &Before, near: i64) -> bool {
        let (one, two) = (self.answering.to, other.answering.to);
        one.0 == two.0 && one.1 != two.1 && (self.lag - other.lag).abs() <= near
    }
}

/// Strays before the answers of a line to both edges of another line come this near to one lag, and a sample.
const ONE_LAG_S: f64 = 5e-9;

/// What the line's own edges answer, where strays come before them.
fn answering_of(capture: &Capture, strays: &Strays, edges: &[OwnEdges], line: usize) -> Vec<Answering> {
    let unit = strays.sampling[line].max(1.0);
    let near = (capture.timebase.ticks_of(ONE_LAG_S) + unit).ceil() as i64;
    let both = [Level::Low, Level::High].map(|from| before_answers(capture, strays, edges, line, from));
    let told = |at: usize| {
        let one = both[at].as_ref()?;
        let other = both[1 - at].as_ref().filter(|other| one.is_like(other, near));
        let keeps_time = one.keeps_time || other.is_some_and(|other| other.keeps_time);
        let one_width = one.answering.one_width.filter(|_| other.is_none());
        (keeps_time && (one_width.is_none() || one.are_most)).then_some(Answering {
            one_width,
            ..one.answering.clone()
        })
    };
    [0, 1].into_iter().filter_map(told).collect()
}

/// The strays before the line's own edges out of `from`, where those are answers.
fn before_answers(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    line: usize,
    from: Level,
) -> Option<Before> {
    let triples = triples(capture, strays, line, from);
    if triples.len() < FEWEST {
        return None;
    }
    let answering = answered(capture, strays, edges, &triples, (line, from))?;
    let before: Vec<&Triple> = triples
        .iter()
        .filter(|t| answering.is_before(edges, t.at[0], t.at[2]))
        .collect();
    let widths = sorted(before.iter().map(|t| t.at[1] - t.at[0]));
    let asked = |t: &&Triple| Some(t.at[0] - answering.asked(edges, t.at[2])?);
    let lags = sorted(before.iter().filter_map(asked));
    let unit = strays.sampling[line].max(1.0);
    let (width, lag) = (middle(&widths)?, middle(&lags)?);
    // What comes far enough before its answer is asked the same as any stray.
    let guard = victims::guard_of(strays, line);
    let apart = before.iter().filter(|t| t.at[2] - t.at[1] >= guard).count();
    let is_race = apart < FEWEST && is_race(&widths, unit);
    let is_possible = before.len() >= FEWEST
        && !is_set_off(capture, strays, &triples)
        && before.len() as f64 <= EVERY * edges[answering.to.0].of(answering.to.1).len() as f64;
    is_possible.then(|| Before {
        lag,
        keeps_time: answering.keeps_time_with_the_question(edges, &before, unit),
        are_most: are_most(strays, &triples, &before, (line, from)),
        answering: Answering {
            guard: width,
            one_width: is_race.then(|| [widths[0], widths[widths.len() - 1]]),
            ..answering
        },
    })
}

/// Whether strays before answers are more than the others that go the same way: a doubt is told of all.
fn are_most(strays: &Strays, triples: &[Triple], before: &[&Triple], (line, from): (usize, Level)) -> bool {
    let first = strays.strays.partition_point(|s| s.line < line);
    let of_level = strays.of_line(line).iter().enumerate();
    let pulses = of_level.filter(|(_, s)| s.level != from && s.kind == StrayKind::Pulse);
    let apart = pulses.filter(|(at, _)| triples.iter().all(|t| t.stray != first + at));
    before.len() > apart.count()
}

/// A line that strays of another one set off does so within this.
const SET_OFF_S: f64 = 60e-9;

/// Whether most of these begin with an edge of another line's stray: that line was struck, and this one does as it is told.
fn is_set_off(capture: &Capture, strays: &Strays, triples: &[Triple]) -> bool {
    let reach = capture.timebase.ticks_of(SET_OFF_S).ceil() as i64;
    let own = triples.first().map(|t| strays.strays[t.stray].line);
    let others = strays.strays.iter().filter(|s| Some(s.line) != own);
    let mut edges: Vec<i64> = others.flat_map(|s| [s.start.0, s.start.0 + s.width.0]).collect();
    edges.sort_unstable();
    let begins = |t: &&Triple| {
        let near = edges.get(edges.partition_point(|&e| e < t.at[0] - reach));
        near.is_some_and(|&e| e < t.at[0])
    };
    2 * triples.iter().filter(begins).count() > triples.len()
}

/// Short pulses of the other level soon before an own edge of the line out of `from`.
fn triples(capture: &Capture, strays: &Strays, line: usize, from: Level) -> Vec<Triple> {
    let record = &capture.lines[line];
    let (guard, limits) = (victims::guard_of(strays, line), &strays.limits[line]);
    let first = strays.strays.partition_point(|s| s.line < line);
    let of_line = strays.of_line(line).iter().enumerate();
    let pulses = of_line.filter(|(_, s)| s.kind == StrayKind::Pulse);
    let triple = |(at, s): (usize, &crate::analysis::strays::Stray)| {
        // The stray, or the slice that was taken for it.
        let begins = match s.level == from {
            true => s.edge?.checked_sub(1)?,
            false => s.edge?,
        };
        let edge = |n: usize| record.edges.get(begins + n).map(|t| t.0);
        let triple = Triple {
            stray: first + at,
            first: begins,
            at: [edge(0)?, edge(1)?, edge(2)?],
        };
        let rested = begins.checked_sub(1).map(|e| record.edges[e].0);
        // Neither the rest before nor the line's own pulse is short.
        let is_long = |level: Level, width: i64| limits.of(level).is_none_or(|l| width as f64 >= l);
        let is_alone = rested.is_none_or(|t| is_long(from, triple.at[0] - t))
            && edge(3).is_none_or(|t| is_long(from.inverted(), t - triple.at[2]));
        // What is taken for the slice is short; a stray may come well before the answer.
        let longest_rest = if s.level == from { guard } else { REST * guard };
        let is_beside = triple.at[2] - triple.at[1] < longest_rest && triple.at[1] - triple.at[0] <= guard;
        (is_alone && is_beside).then_some(triple)
    };
    pulses.filter_map(triple).collect()
}

/// Whose edge the line's own edges out of `from` answer, and when.
fn answered(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    triples: &[Triple],
    (line, from): (usize, Level),
) -> Option<Answering> {
    let out_of: Vec<i64> = edges_out_of(&capture.lines[line], from);
    let own = edges[line].of(match from {
        Level::High => Polarity::Fall,
        _ => Polarity::Rise,
    });
    let latest = capture.timebase.ticks_of(LATEST_S) as i64;
    let unit = strays.sampling[line].max(1.0).ceil() as i64;
    let earliest = capture.timebase.ticks_of(EARLIEST_LAG_S).ceil() as i64 + unit;
    let others = (0..capture.lines.len()).filter(|&o| o != line && capture.lines[o].same_as.is_none());
    let asked = others.flat_map(|o| [(o, Polarity::Rise), (o, Polarity::Fall)]);
    let answering = asked.filter_map(|to| {
        let times = edges[to.0].of(to.1);
        // As many questions as answers, or as answers and strays before them.
        if times.len() > out_of.len() || times.len() < FEWEST_CLEAN {
            return None;
        }
        let most_missing = times.len() - (ANSWERED * times.len() as f64).ceil() as usize;
        let mut alone: Vec<i64> = Vec::new();
        let (mut missing, mut counted) = (0, 0);
        let [rises, falls] = [&edges[to.0].rises, &edges[to.0].falls];
        let mut reached = [0; 3];
        for &asked in times {
            let next = [(0, rises), (1, falls)].map(|(at, times)| {
                reached[at] += gallop(&times[reached[at]..], |&t| t <= asked);
                times.get(reached[at]).copied().unwrap_or(i64::MAX)
            });
            let until = next[0].min(next[1]).min(asked + latest);
            reached[2] += gallop(&out_of[reached[2]..], |&t| t < asked);
            let of = &out_of[reached[2]..];
            let of = &of[..gallop(of, |&t| t < until)];
            counted += of.len();
            match of {
                [] => missing += 1,
                [answer] => alone.push(answer - asked),
                _ => {}
            }
            if missing > most_missing {
                return None;
            }
        }
        let is_all = counted as f64 >= ANSWER * own.len() as f64;
        alone.sort_unstable();
        let lags = triples
            .iter()
            .filter_map(|t| Some(t.at[0] - last_to(times, t.at[0] + earliest)?));
        let alone = answers(&alone, &sorted(lags), unit);
        if alone.len() < FEWEST_CLEAN || !is_all {
            return None;
        }
        let [least, most] = at_shares(alone, [TAIL, 1.0 - TAIL])?;
        Some(Answering {
            line,
            from,
            to,
            after: [least - unit, most + unit],
            earliest,
            guard: 0,
            one_width: None,
        })
    });
    // Of several that are answered, the one that keeps the time best.
    answering.min_by_key(|a| a.after[1] - a.after[0])
}

/// The edges at which the line leaves `from`, strays and all, in ticks.
fn edges_out_of(record: &Line, from: Level) -> Vec<i64> {
    let of_segment = record.segments().into_iter().flat_map(|segment| {
        let skip = usize::from(segment.first != from);
        segment.edges.skip(skip).step_by(2)
    });
    of_segment.map(|edge| record.edges[edge].0).collect()
}

/// Whether a line has short levels enough beside its own edges. Cost: linear in strays.
pub fn are_possible(capture: &Capture, strays: &Strays) -> bool {
    (0..capture.lines.len()).any(|line| {
        let mut levels = [Level::Low, Level::High].into_iter();
        levels.any(|from| triples(capture, strays, line, from).len() >= FEWEST)
    })
}

/// Puts the stray before an answer in the place of the rest after it, where that was taken for one. Cost:
/// as [`find`].
pub fn exchange(capture: &Capture, strays: &mut Strays) {
    if !are_possible(capture, strays) {
        return;
    }
    let edges = crate::analysis::coupling::suspects::able::own_edges(capture, strays);
    for answering in find(capture, strays, &edges) {
        let record = &capture.lines[answering.line];
        for triple in triples(capture, strays, answering.line, answering.from) {
            let stray = &mut strays.strays[triple.stray];
            let is_slice = stray.level == answering.from;
            if is_slice && answering.is_before(&edges, triple.at[0], triple.at[2]) {
                stray.edge = Some(triple.first);
                stray.start = record.edges[triple.first];
                stray.width = record.edges[triple.first + 1] - stray.start;
                stray.level = answering.from.inverted();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{CouplingOptions, Edge, Standing};
    use crate::analysis::strays::{StrayOptions, Strays};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    const ROUNDS: i64 = 160;

    /// REQ rises and falls; ACK answers both 90 to 130 ticks later. `more`: edges of ACK besides, by round and the two moments of
    /// its answers.
    fn judged(more: impl Fn(i64, [i64; 2]) -> Vec<i64>) -> (Strays, Vec<(usize, Edge, u64)>) {
        let span = TimeSpan::new(Ticks(0), Ticks(20_000 * (ROUNDS + 1)));
        let (mut request, mut acknowledge) = (Vec::new(), Vec::new());
        for n in 1..ROUNDS {
            let at = 20_000 * n + 389 * (n % 13);
            let up = at + 90 + n * 7 % 41;
            let done = up + 150 + n * 11 % 90;
            let down = done + 90 + n * 13 % 41;
            request.extend([at, done]);
            acknowledge.extend([up, down]);
            acknowledge.extend(more(n, [up, down]));
        }
        acknowledge.sort_unstable();
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("REQ", request), line("ACK", acknowledge)];
        let capture = Capture::in_nanoseconds("handshake", span, lines);
        let (strays, attribution) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
        let clear = attribution
            .couplings
            .iter()
            .filter(|c| c.standing == Standing::Clear);
        let rows = clear.map(|c| (c.aggressor, c.edge, c.strays)).collect();
        (strays, rows)
    }

    /// One of three rounds is struck, in no order.
    fn is_struck(n: i64) -> bool {
        n * 37 % 101 < 34
    }

    #[test]
    fn a_pulse_before_the_answer_is_the_request_s_and_not_the_rest_after_it() {
        let (strays, rows) = judged(|n, [up, _]| {
            let asked = up - 90 - n * 7 % 41;
            match is_struck(n) {
                true => vec![asked + 6 + n % 2, asked + 32 + n * 5 % 13],
                false => Vec::new(),
            }
        });
        let struck = (1..ROUNDS).filter(|&n| is_struck(n)).count() as u64;
        assert_eq!(rows, [(0, Edge::Rise, struck)]);
        assert!(strays.strays.iter().all(|s| s.level == Level::High));
        assert_eq!(strays.strays.len() as u64, struck);
    }

    #[test]
    fn short_pulses_that_scatter_are_no_race() {
        let (strays, rows) = judged(|n, [up, _]| {
            let asked = up - 90 - n * 7 % 41;
            match is_struck(n) {
                true => vec![asked + 6 + n % 2, asked + 14 + n * 5 % 13],
                false => Vec::new(),
            }
        });
        let struck = (1..ROUNDS).filter(|&n| is_struck(n)).count();
        assert_eq!(
            rows.iter().map(|r| (r.0, r.1)).collect::<Vec<_>>(),
            [(0, Edge::Rise)]
        );
        assert_eq!(strays.strays.len(), struck);
    }

    #[test]
    fn pulses_that_last_until_the_answer_are_none() {
        let alone = [20, 23, 24, 69, 72, 80, 84, 86, 88, 90, 104, 147, 200];
        assert_eq!(super::answers(&alone, &[18, 21, 22, 23, 25], 1), &alone[3..]);
        // Strays that begin among the answers, or where hardly any answer is left: slices of ringing answers.
        assert_eq!(super::answers(&alone, &[72, 80, 86], 1), &alone);
        assert_eq!(super::answers(&alone, &[20, 24, 69, 84, 90], 1), &alone);
    }

    #[test]
    fn a_line_that_rings_after_its_answers_accuses_nobody() {
        let (_, rows) = judged(|n, answers| {
            let ring = |at: i64| [at + 30 + n % 5, at + 56 + n * 5 % 13];
            match is_struck(n) {
                true => answers.into_iter().flat_map(ring).collect(),
                false => Vec::new(),
            }
        });
        assert_eq!(rows, []);
    }

    #[test]
    fn a_pulse_that_keeps_time_with_the_answer_is_the_answering_board_s() {
        let (_, rows) = judged(|n, [up, _]| match is_struck(n) {
            true => vec![up - 62 - n % 2, up - 30 + n * 5 % 13],
            false => Vec::new(),
        });
        assert_eq!(rows, []);
    }

    #[test]
    fn pulses_of_one_width_after_both_edges_at_one_lag_are_a_neighbour_s() {
        let (_, rows) = judged(|n, [up, down]| {
            let asked = [up - 90 - n * 7 % 41, down - 90 - n * 13 % 41];
            match is_struck(n) {
                true => asked
                    .into_iter()
                    .flat_map(|at| [at + 6 + n % 2, at + 46 + n % 2])
                    .collect(),
                false => Vec::new(),
            }
        });
        let struck = 2 * (1..ROUNDS).filter(|&n| is_struck(n)).count() as u64;
        assert_eq!(rows, [(0, Edge::Both, struck)]);
    }

    #[test]
    fn pulses_of_one_width_may_be_a_race() {
        let (_, rows) = judged(|n, [up, _]| {
            let asked = up - 90 - n * 7 % 41;
            match is_struck(n) {
                true => vec![asked + 6 + n % 2, asked + 46 + n % 2],
                false => Vec::new(),
            }
        });
        assert_eq!(rows, []);
    }
}
