//! Limits on what a line does around another's edge: setup, hold, staying at a level.

use super::super::edges::{Edges, is_blind, pulses_at};
use super::super::reach::{self, Reach, Verdict};
use super::super::tally::{Limits, Occasion, Tally};
use super::Part;
use crate::model::{Level, Ticks};

/// The last change of `data` before each strobe must be at least the limit earlier.
pub(super) fn setup(data: &Part, strobe: &Part, strobes: &Edges, tally: &mut Tally) {
    let limit = tally.limits.at_least.unwrap_or(0.0);
    let reach = Reach::between(data.stamp, strobe.stamp);
    let (lines, place) = ([data.line, strobe.line], [data.index, strobe.index]);
    let changes = &data.line.edges;
    // Changes at or before the strobe.
    let mut done = 0;
    for time in strobes.iter() {
        while changes.get(done).is_some_and(|&c| c <= time) {
            done += 1;
        }
        let window = Ticks(time.0.saturating_sub(limit.ceil() as i64));
        if is_blind(&lines, window, time) {
            tally.not_judged += 1;
            continue;
        }
        // A change stamped a little after the strobe may truly have come before it.
        let mut last = done;
        while reach.above > 0.0
            && changes
                .get(last)
                .is_some_and(|c| ((*c - time).0 as f64) < reach.above)
        {
            last += 1;
        }
        let mut verdict = Verdict::Kept;
        let mut shown = None;
        for &change in changes[..last].iter().rev() {
            let measured = (time - change).0;
            let value = measured as f64;
            if value - reach.below >= limit || (measured == 0 && reach == Reach::default()) {
                shown = shown.or((measured > 0).then_some((change, measured)));
                if value - reach.below >= limit {
                    break;
                }
                continue;
            }
            let one = on_this_side(value, reach, limit);
            if one != Verdict::Kept && verdict.worse(one) != verdict {
                verdict = one;
                shown = Some((change, measured));
            }
        }
        count(tally, verdict, shown, (time, reach, limit), &place);
    }
}

/// The first change of `data` at or after each strobe must be at least the limit later.
pub(super) fn hold(data: &Part, strobe: &Part, strobes: &Edges, tally: &mut Tally) {
    let limit = tally.limits.at_least.unwrap_or(0.0);
    let reach = Reach::between(strobe.stamp, data.stamp);
    let (lines, place) = ([data.line, strobe.line], [data.index, strobe.index]);
    let changes = &data.line.edges;
    // Changes that were surely before the strobe.
    let mut done = 0;
    for time in strobes.iter() {
        let surely_before = |c: Ticks| {
            let value = (c - time).0 as f64;
            if reach.above > 0.0 {
                value + reach.above <= 0.0
            } else {
                value < 0.0
            }
        };
        while changes.get(done).is_some_and(|&c| surely_before(c)) {
            done += 1;
        }
        let window = Ticks(time.0.saturating_add(limit.ceil() as i64));
        if is_blind(&lines, time, window) || window > data.line.span.end {
            tally.not_judged += 1;
            continue;
        }
        let mut verdict = Verdict::Kept;
        let mut shown = None;
        for &change in &changes[done..] {
            let measured = (change - time).0;
            let value = measured as f64;
            if value - reach.below >= limit {
                shown = shown.or(Some((change, measured)));
                break;
            }
            let one = on_this_side(value, reach, limit);
            if one != Verdict::Kept && verdict.worse(one) != verdict {
                verdict = one;
                shown = Some((change, measured));
            }
        }
        count(tally, verdict, shown, (time, reach, limit), &place);
    }
}

/// The line must be at `level` from `before` before to `after` after each strobe.
pub(super) fn stay(
    part: &Part,
    level: Level,
    strobe: &Part,
    strobes: &Edges,
    (before, after): (f64, f64),
    limits: Limits,
) -> Tally {
    let mut tally = Tally::new(limits, strobe.line.sample_ticks.max(part.line.sample_ticks));
    let (lines, place) = ([part.line, strobe.line], [part.index, strobe.index]);
    let off: Vec<(Ticks, Ticks)> = pulses_at(part.line, level.inverted()).collect();
    let (line, at) = (part.stamp, strobe.stamp);
    let doubt = line.early + line.late + at.early + at.late;
    let reach = Reach::between(line, at);
    let mut first = 0;
    for time in strobes.iter() {
        let t = time.0 as f64;
        let window = ((t - before).floor() as i64, (t + after).ceil() as i64);
        let span = part.line.span;
        let recorded = span.start.0 <= window.0 && window.1 <= span.end.0;
        if part.line.first == Level::Unknown
            || is_blind(&lines, Ticks(window.0), Ticks(window.1))
            || !recorded
        {
            tally.not_judged += 1;
            continue;
        }
        // An excursion surely over before the window of this strobe matters to no later one either.
        while off
            .get(first)
            .is_some_and(|(_, end)| end.0 as f64 + line.late + at.early <= t - before)
        {
            first += 1;
        }
        // The distance of the nearest excursion, and the margin it leaves.
        let near = |&(start, end): &(Ticks, Ticks)| {
            if start > time {
                ((start - time).0, (start - time).0 as f64 - after)
            } else if end <= time {
                ((time - end).0, (time - end).0 as f64 - before)
            } else {
                (0, -before.max(after))
            }
        };
        let mut nearest = first.checked_sub(1).map(|last| near(&off[last]));
        let mut verdict = Verdict::Kept;
        let mut shown: Option<(Ticks, Ticks)> = None;
        for excursion in &off[first..] {
            let (start, end) = (excursion.0.0 as f64, excursion.1.0 as f64);
            let this = near(excursion);
            if nearest.is_none_or(|n| this.1 < n.1) {
                nearest = Some(this);
            }
            if start - line.early >= t + at.late + after {
                break;
            }
            // The latest start against the earliest end of the window, and the other way round.
            let starts_surely = surely_less(start + line.late, t - at.early + after, doubt);
            let ends_surely = surely_less(t + at.late - before, end - line.early, doubt);
            let one = if starts_surely && ends_surely {
                Verdict::Broken
            } else if end + line.late > t - at.early - before {
                Verdict::CantTell
            } else {
                Verdict::Kept
            };
            if one != Verdict::Kept && verdict.worse(one) != verdict {
                verdict = one;
                shown = Some(*excursion);
            }
        }
        let Some(nearest) = shown.as_ref().map(near).or(nearest) else {
            tally.kept += 1;
            continue;
        };
        let (start, end) = shown.unwrap_or((time, time));
        let what = shown.map(|_| {
            let (name, word) = (&part.line.name, level.inverted().word());
            match (start > time, end <= time) {
                (true, _) => format!("{name} went {word} soon after the edge"),
                (_, true) => format!("{name} was {word} shortly before the edge"),
                _ => format!("{name} was {word} at the edge"),
            }
        });
        let occasion = Occasion {
            start: start.min(time),
            end: end.max(time),
            lines: &place,
        };
        tally.judged(verdict, (nearest.0, reach), nearest.1, occasion, what);
    }
    tally
}

/// Whether a < b for all true values, given the closest they can be; where there is any doubt, the ends are open.
fn surely_less(a: f64, b: f64, doubt: f64) -> bool {
    if doubt > 0.0 { a <= b } else { a < b }
}

/// A change `value` from the strobe, on the side that counts if it is surely there.
fn on_this_side(value: f64, reach: Reach, limit: f64) -> Verdict {
    let is_sure = value - reach.below >= 0.0;
    match reach::at_least(value, reach, limit) {
        Verdict::Broken if !is_sure => Verdict::CantTell,
        other => other,
    }
}

/// Counts what came of one strobe, at `time`; `shown`: the change that decided it and its distance, none where nothing
/// changed near.
fn count(
    tally: &mut Tally,
    verdict: Verdict,
    shown: Option<(Ticks, i64)>,
    (time, reach, limit): (Ticks, Reach, f64),
    place: &[usize],
) {
    let Some((change, measured)) = shown else {
        tally.kept += 1;
        return;
    };
    let occasion = Occasion {
        start: change.min(time),
        end: change.max(time),
        lines: place,
    };
    tally.judged(
        verdict,
        (measured, reach),
        measured as f64 - limit,
        occasion,
        None,
    );
}
