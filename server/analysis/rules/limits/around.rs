//! Limits on how near a line changes to another's edge: setup and hold.

use super::super::edges::{Edges, is_blind};
use super::super::reach::{self, Reach, Verdict};
use super::super::tally::{Occasion, Tally};
use super::Part;
use crate::model::Ticks;

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
