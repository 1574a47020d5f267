//! Limits on one measured interval: a pulse's width, a period, an answer or recovery, a delay.

use super::super::edges::{Edges, common_span, is_blind};
use super::super::reach::{self, Reach, Verdict};
use super::super::tally::{Limits, Occasion, Tally};
use super::Part;
use crate::model::{Level, Line, Ticks};

/// Intervals between two edges of one line.
struct Own<'a> {
    lines: [&'a Line; 1],
    place: [usize; 1],
    reach: Reach,
    has_stretches: bool,
}

impl<'a> Own<'a> {
    fn of(part: &'a Part<'a>) -> Own<'a> {
        Own {
            lines: [part.line],
            place: [part.index],
            reach: Reach::between(part.stamp, part.stamp),
            has_stretches: !part.line.stretches.is_empty(),
        }
    }

    /// The interval from one edge to another, unless the line was not seen throughout.
    fn measure(&self, tally: &mut Tally, start: Ticks, end: Ticks) {
        if self.has_stretches && is_blind(&self.lines, start, Ticks(end.0 - 1)) {
            tally.not_judged += 1;
            return;
        }
        let occasion = Occasion {
            start,
            end,
            lines: &self.place,
        };
        tally.measure((end - start).0, self.reach, occasion);
    }
}

/// Widths of the line's pulses of `level` (`None`: of both) against the limits; those cut off by an end of what was
/// recorded are not measured. Cost: linear in the line's edges.
pub(super) fn pulse_width(part: &Part, level: Option<Level>, limits: Limits) -> Tally {
    let mut tally = Tally::new(limits, part.line.sample_ticks);
    let own = Own::of(part);
    for segment in part.line.segments() {
        let mut now = segment.first;
        for pair in part.line.edges[segment.edges].windows(2) {
            now = now.inverted();
            if level.is_some_and(|l| l != now) {
                continue;
            }
            let (start, end) = (pair[0], pair[1]);
            own.measure(&mut tally, start, end);
        }
    }
    tally
}

/// Times from each of `edges` to the next against the limits. Cost: linear in the edges.
pub(super) fn period(part: &Part, edges: &Edges, limits: Limits) -> Tally {
    let mut tally = Tally::new(limits, part.line.sample_ticks);
    let own = Own::of(part);
    let mut last = None;
    for end in edges.iter() {
        if let Some(start) = last.replace(end) {
            own.measure(&mut tally, start, end);
        }
    }
    tally
}

/// The time from each `from` edge to the first `to` edge at or after it. With `must_come`, none at all within the limit
/// is a violation.
pub(super) fn following(
    from: &Part,
    causes: &Edges,
    to: &Part,
    answers: &Edges,
    limits: Limits,
    must_come: bool,
) -> Tally {
    let mut tally = Tally::new(limits, from.line.sample_ticks.max(to.line.sample_ticks));
    let reach = Reach::between(from.stamp, to.stamp);
    let (lines, place) = ([from.line, to.line], [from.index, to.index]);
    let end_of_record = common_span(&lines).end;
    let mut next = 0;
    for start in causes.iter() {
        while answers.get(next).is_some_and(|a| a < start) {
            next += 1;
        }
        let answer = answers.get(next);
        let watched_to = match (answer, limits.at_most) {
            (Some(answer), None) => answer,
            (Some(answer), Some(limit)) => answer.min(Ticks(start.0.saturating_add(limit.ceil() as i64))),
            (None, Some(limit)) if must_come => Ticks(start.0.saturating_add(limit.ceil() as i64)),
            (None, _) => continue,
        };
        if is_blind(&lines, start, watched_to) || start < to.line.span.start {
            tally.not_judged += 1;
            continue;
        }
        match answer {
            Some(end) => {
                let occasion = Occasion {
                    start,
                    end,
                    lines: &place,
                };
                let measured = (end - start).0;
                if !must_come && measured as f64 - reach.below < 0.0 {
                    // The strobe may truly have come before the release: then it is not this limit's.
                    let limit = limits.at_least.unwrap_or(0.0);
                    let verdict = match reach::at_least(measured as f64, reach, limit) {
                        Verdict::Broken => Verdict::CantTell,
                        other => other,
                    };
                    tally.judged(
                        verdict,
                        (measured, reach),
                        measured as f64 - limit,
                        occasion,
                        None,
                    );
                } else {
                    tally.measure(measured, reach, occasion);
                }
            }
            None => {
                let waited = (end_of_record - start).0 as f64;
                // The answer would be known only when the record went on for the limit and its doubt.
                if reach::at_most(waited, reach, limits.at_most.unwrap_or(f64::INFINITY)) == Verdict::Broken {
                    let occasion = Occasion {
                        start,
                        end: end_of_record,
                        lines: &place,
                    };
                    let what = format!("no answer on {} up to the end of the record", to.line.name);
                    tally.count(Verdict::Broken, None, occasion, Some(what));
                } else {
                    tally.not_judged += 1;
                }
            }
        }
    }
    tally
}

/// The time from the last `from` edge to each `to` edge.
pub(super) fn delay(from: &Part, causes: &Edges, to: &Part, effects: &Edges, limits: Limits) -> Tally {
    let mut tally = Tally::new(limits, from.line.sample_ticks.max(to.line.sample_ticks));
    let reach = Reach::between(from.stamp, to.stamp);
    let (lines, place) = ([from.line, to.line], [from.index, to.index]);
    let mut next = 0;
    for end in effects.iter() {
        while causes.get(next).is_some_and(|c| c <= end) {
            next += 1;
        }
        let start = next.checked_sub(1).and_then(|last| causes.get(last));
        match start {
            Some(start) if !is_blind(&lines, start, end) => {
                let occasion = Occasion {
                    start,
                    end,
                    lines: &place,
                };
                tally.measure((end - start).0, reach, occasion);
            }
            _ => tally.not_judged += 1,
        }
    }
    tally
}
