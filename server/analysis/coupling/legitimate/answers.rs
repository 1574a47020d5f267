//! Short pulses that are a line's job: each edge of another line is answered by one.
//!
//! An acknowledge of some tens of nanoseconds on a line that has long pulses as well looks narrow by its widths. A coupled
//! stray is left out now and then, and is seldom longer than a flip-flop needs; an answer comes every time and is as long
//! as what reads it requires. So where (nearly) every opportunity is answered, by pulses that are (nearly) all of that
//! level's short ones and long enough to be of use, they are taken for driven, and that is said. The person's
//! `narrow_below` has the last word either way.

use super::USEFUL_S;
use super::let_through;
use super::own;
use super::turns;
use crate::analysis::coupling::{Attribution, Coupling, Edge, LONGEST_LAG_S};
use crate::analysis::stats::order::{at_share, at_shares};
use crate::analysis::strays::{LimitOrigin, Stray, StrayKind, StrayOptions, Strays};
use crate::model::{Capture, Level};

/// Short pulses of one level that answer another line's edges.
#[derive(Clone, Debug, PartialEq)]
pub struct Answers {
    pub line: usize,
    pub level: Level,
    /// What they answer.
    pub to: usize,
    pub edge: Edge,
    pub answered: u64,
    pub opportunities: u64,
    /// Least, middle and greatest width, in ticks.
    pub widths: [i64; 3],
    /// Middle lag, in ticks.
    pub lag: f64,
    /// The limit below which they were taken for narrow, in ticks.
    pub limit: f64,
    pub how: How,
}

/// How they answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum How {
    /// Each edge is answered.
    EveryTime,
    /// Each edge is answered while these lines are at these levels, and hardly any otherwise ([`super::let_through`]).
    While { levels: Vec<(usize, Level)> },
    /// Each cycle has one pulse, short or long: so many long ones ([`super::turns`]).
    InTurn { long: u64 },
}

impl Answers {
    /// Whether they are of that line and level.
    pub fn is_of(&self, line: usize, level: Level) -> bool {
        (self.line, self.level) == (line, level)
    }
}

/// Share of the opportunities that are answered, and how many there are at least.
const EVERY: f64 = 0.95;
const FEWEST: u64 = 12;
/// Share of the level's short pulses that answer.
const ALL: f64 = 0.9;
/// Share of the answers that are long enough to be read ([`USEFUL_S`]).
const LONG_ENOUGH: f64 = 0.95;
/// The ninth tenth of the widths is no longer than this many times the first.
const REPEATS: f64 = 1.8;
/// A pulse that ends with the other line's pulse is what a bridge makes as well: no answer by itself.
const FOLLOWS: f64 = 0.7;

/// Whether any line has short pulses that might be answers: the widths alone say so. Cost: linear in strays.
pub fn are_possible(capture: &Capture, strays: &Strays) -> bool {
    (0..capture.lines.len()).any(|line| {
        [Level::Low, Level::High].into_iter().any(|level| {
            let widths = widths(narrow(strays, line, level));
            strays.limits[line].origin == LimitOrigin::Inferred && are_of_use(capture, &widths)
        })
    })
}

/// The short pulses that answer, at most one row a line and level. Cost: linear in the strays of lines with couplings.
pub(in crate::analysis::coupling) fn of(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
) -> Vec<Answers> {
    let mut answers: Vec<Answers> = Vec::new();
    for row in &attribution.couplings {
        let known = |a: &Answers| a.line == row.victim && row.levels.contains(&a.level);
        if !answers.iter().any(known) {
            answers.extend(answers_of(capture, strays, row));
        }
    }
    answers.extend(let_through::of(capture, strays, &answers));
    // What begins as the long ones do after the same edges is told more exactly.
    let own = own::of(capture, strays, attribution);
    let is_told = |line: usize, level: Level| {
        answers.iter().any(|a| a.is_of(line, level)) || own.iter().any(|o| (o.line, o.level) == (line, level))
    };
    let turns = turns::of(capture, strays, attribution, is_told);
    answers.extend(turns);
    answers
}

/// Whether the limit of that level is inferred, so that what lies below it may be the line's job.
pub(super) fn is_open(strays: &Strays, line: usize, level: Level) -> bool {
    let limits = &strays.limits[line];
    limits.origin == LimitOrigin::Inferred && limits.of(level).is_some()
}

fn answers_of(capture: &Capture, strays: &Strays, row: &Coupling) -> Option<Answers> {
    let limits = &strays.limits[row.victim];
    let [level] = row.levels.as_slice() else {
        return None;
    };
    let judged = row.opportunities.min(row.victim_strays);
    let answered = followed(capture, strays, row, *level).min(judged);
    let every = answered as f64 >= EVERY * row.opportunities as f64 && row.strays >= FEWEST;
    let all = row.strays as f64 >= ALL * row.victim_strays as f64;
    if limits.origin != LimitOrigin::Inferred || !every || !all || row.follows_pulse >= FOLLOWS {
        return None;
    }
    let widths = widths(narrow(strays, row.victim, *level));
    let range = at_shares(&widths, [0.0, 0.5, 1.0])?;
    are_of_use(capture, &widths).then(|| Answers {
        line: row.victim,
        level: *level,
        to: row.aggressor,
        edge: row.edge,
        answered,
        opportunities: row.opportunities,
        widths: range,
        lag: row.lag.estimate,
        limit: limits.of(*level).unwrap_or(0.0),
        how: How::EveryTime,
    })
}

/// Short pulses of `level` that begin after an edge of the row's aggressor and no later than a lag may be: the row itself
/// leaves those out whose lag lies apart from the others'.
fn followed(capture: &Capture, strays: &Strays, row: &Coupling, level: Level) -> u64 {
    let longest = capture.timebase.ticks_of(LONGEST_LAG_S) + 2.0 * strays.sampling[row.victim];
    let edges = &capture.lines[row.aggressor].edges;
    let follows = |s: &&Stray| {
        let before = edges.partition_point(|&e| e <= s.start);
        let last = before.checked_sub(1).map(|at| edges[at]);
        last.is_some_and(|e| (s.start.0 - e.0) as f64 <= longest)
    };
    narrow(strays, row.victim, level).filter(follows).count() as u64
}

/// The short pulses of one level of a line, in the order of their starts.
pub(super) fn narrow(strays: &Strays, line: usize, level: Level) -> impl Iterator<Item = &Stray> {
    let of_line = strays.of_line(line).iter();
    of_line.filter(move |s| s.kind == StrayKind::Pulse && s.level == level)
}

/// Ascending, in ticks.
pub(super) fn widths<'a>(narrow: impl Iterator<Item = &'a Stray>) -> Vec<i64> {
    let mut widths: Vec<i64> = narrow.map(|s| s.width.0).collect();
    widths.sort_unstable();
    widths
}

/// Whether pulses of these widths (ascending) are long enough for a job, and alike enough to be one.
fn are_of_use(capture: &Capture, widths: &[i64]) -> bool {
    if (widths.len() as u64) < FEWEST {
        return false;
    }
    let shortest = capture.timebase.ticks_of(USEFUL_S);
    let long = widths.len() - widths.partition_point(|&w| (w as f64) < shortest);
    let are_alike =
        || at_shares(widths, [0.1, 0.9]).is_some_and(|[first, last]| last as f64 <= REPEATS * first as f64);
    long as f64 >= LONG_ENOUGH * widths.len() as f64 && are_alike()
}

/// Whether most pulses of these widths (ascending) are long enough for a job, and hardly any is shorter by more than a sample.
pub(super) fn may_be_read(capture: &Capture, sampling: f64, widths: &[i64]) -> bool {
    let shortest = capture.timebase.ticks_of(USEFUL_S);
    let is_read = |share: f64, least: f64| at_share(widths, share).is_some_and(|w| w as f64 >= least);
    is_read(0.5, shortest) && is_read(1.0 - LONG_ENOUGH, shortest - sampling)
}

/// Takes the pulses of the answers' level out, but those that the person or another analysis called strays.
pub(in crate::analysis::coupling) fn leave_out(
    strays: &mut Strays,
    answers: &Answers,
    options: &StrayOptions,
) {
    let limit = &mut strays.limits[answers.line];
    match answers.level {
        Level::Low => limit.low = None,
        _ => limit.high = None,
    }
    if limit.low.is_none() && limit.high.is_none() {
        limit.origin = LimitOrigin::None;
    }
    let marked = |s: &Stray| {
        let mut of_line = options.marks.iter().filter(|m| m.line == s.line && m.stray);
        of_line.any(|m| m.start == s.start)
    };
    strays.strays.retain(|s| {
        let is_answer = s.line == answers.line && s.level == answers.level && s.kind == StrayKind::Pulse;
        !is_answer || marked(s)
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{CouplingOptions, fixtures};
    use crate::analysis::strays::Mark;
    use crate::model::{Line, Ticks, TimeSpan};

    /// REQ rises 60 times; ACK answers all but those of `left_out` after about 30 ticks (ns) by a pulse of about `width`,
    /// and has long pulses of its own.
    fn handshake(left_out: usize, width: i64) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(2_000_000));
        let (mut request, mut answer) = (Vec::new(), Vec::new());
        for n in 0..60i64 {
            let at = 30_000 * n + 97 * (n % 7) + 5_000;
            request.extend([at, at + 700 + 31 * (n % 5)]);
            if n as usize >= left_out {
                let start = at + 28 + n % 5;
                answer.extend([start, start + width + 3 * (n % 8)]);
            }
            if n % 3 == 0 {
                answer.extend([at + 9_000, at + 12_000 + 111 * n]);
            }
        }
        answer.sort_unstable();
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("handshake", span, vec![line("REQ", request), line("ACK", answer)])
    }

    fn judged(capture: &Capture, options: &StrayOptions) -> (Strays, Attribution) {
        judge(capture, options, &CouplingOptions::default())
    }

    #[test]
    fn pulses_that_answer_every_edge_are_no_strays() {
        let (strays, attribution) = judged(&handshake(0, 50), &StrayOptions::default());
        assert_eq!(strays.of_line(1).len(), 0);
        assert!(attribution.couplings.is_empty());
        let [answers] = attribution.answers.as_slice() else {
            panic!("{:?}", attribution.answers)
        };
        assert_eq!((answers.to, answers.edge, answers.answered), (0, Edge::Rise, 60));
    }

    #[test]
    fn pulses_that_are_left_out_or_too_short_are_strays() {
        for (left_out, width) in [(15, 50), (0, 14)] {
            let (strays, attribution) = judged(&handshake(left_out, width), &StrayOptions::default());
            assert_eq!(strays.of_line(1).len(), 60 - left_out, "{width}");
            assert!(attribution.answers.is_empty());
            assert_eq!(attribution.couplings.len(), 1);
        }
    }

    #[test]
    fn what_the_person_declares_or_marks_stays() {
        let capture = handshake(0, 50);
        let declared = StrayOptions {
            narrow_below: [(1, 100.0)].into(),
            ..StrayOptions::default()
        };
        assert_eq!(judged(&capture, &declared).0.of_line(1).len(), 60);
        let marked = StrayOptions {
            marks: vec![Mark {
                line: 1,
                start: Ticks(5_028),
                stray: true,
            }],
            ..StrayOptions::default()
        };
        assert_eq!(judged(&capture, &marked).0.of_line(1).len(), 1);
    }

    /// The same in volts, with edges of 8 ns; the answers get to `peak` V, the line's own pulses to 3.5 V.
    fn in_volts(mut capture: Capture, peak: f32) -> Capture {
        let mut volts = vec![0.1; 500_000];
        for pulse in capture.lines[1].pulses().filter(|p| p.level == Level::High) {
            let top = if pulse.width().0 < 100 { peak } else { 3.5 };
            let (first, last) = (pulse.start.0 / 4, pulse.end.0 / 4);
            volts[first as usize..=last as usize].fill(top);
            volts[first as usize - 1] = 0.1 + 0.5 * (top - 0.1);
        }
        let line = capture.lines.remove(1);
        capture.lines.push(fixtures::with_volts(line, 4, volts));
        capture
    }

    #[test]
    fn pulses_that_never_reach_the_line_s_own_high_are_no_job() {
        let whole = in_volts(handshake(0, 50), 3.4);
        assert_eq!(judged(&whole, &StrayOptions::default()).1.answers.len(), 1);
        let (strays, attribution) = judged(&in_volts(handshake(0, 50), 2.2), &StrayOptions::default());
        assert!(attribution.answers.is_empty());
        assert_eq!(strays.of_line(1).len(), 60);
    }
}
