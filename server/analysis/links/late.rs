//! What arrives later than the link allows: the whole signal, or some of its pulses.

use super::fit::Fit;
use super::train::Train;
use super::{EndPulse, LatePulse, Link};
use crate::model::Line;

/// So many times the allowed delay a signal is still looked for (no source).
const LATEST: i64 = 20;

/// A signal that comes later than allowed.
pub struct LateFit {
    /// Median delay in ticks.
    pub delay: f64,
    /// Edges that arrived at that delay.
    pub matched: usize,
}

/// A late signal may lose pulses as well: then (nearly) all edges of the far end are the sender's, and at least so many of the
/// sender's are there.
const FAR_EXPLAINED: f64 = 0.95;
const SENT_THERE: f64 = 0.5;

/// The far end as the sender's, up to [`LATEST`] times later than allowed; `None` where that explains less than nine edges of ten
/// at both ends together and less than nearly all at the far end, or no single delay does.
pub fn late_fit(sent: &Train, far: &Train, range: (i64, i64), quantum: f64) -> Option<LateFit> {
    let fit = Fit::of(sent, far, (range.0, range.1.saturating_mul(LATEST)), quantum);
    let delay = fit.windows.rise.center;
    // A window as wide as the allowed delay, or as the delay itself, would match anything.
    let wide = fit.windows.rise.tolerance.max(fit.windows.fall.tolerance) * 4.0;
    let tight = wide < delay.max(range.1 as f64 - range.0 as f64);
    let is_late = delay.max(fit.windows.fall.center) > range.1 as f64;
    let is_lossy = fit.precision(far) >= FAR_EXPLAINED && fit.recall(sent) >= SENT_THERE;
    let explains = fit.quality(sent, far) > 0.9 || is_lossy;
    (fit.is_link() && tight && is_late && explains).then(|| LateFit {
        delay,
        matched: fit.matched(),
    })
}

/// Whether the far end begins at the level that a link the right way up would have: the sender's, or the opposite where it is
/// meant to be upside down. Not where an edge may have been on its way when the recording began.
pub fn begins_upright(from: &Line, to: &Line, inverted: bool, longest: i64) -> bool {
    let to_first = if inverted { to.first.inverted() } else { to.first };
    let is_settled = to
        .edges
        .first()
        .is_none_or(|edge| edge.0 > to.span.start.0.saturating_add(longest));
    from.first == to_first && from.span.start == to.span.start && is_settled
}

/// Fewest pulses, and least share of the missing ones, that must turn up late to be taken for late: a pulse that was lost and
/// another that nobody sent may look like one now and then (no source).
const FEWEST_LATE: usize = 3;
const SHARE_LATE: f64 = 0.8;

/// Takes pulses out of the link's extra ones that are its missing ones, come later than `longest` ticks: as wide, in order,
/// each before the next missing one, where that holds for nearly all that are missing. `quantum`: ticks of a sample.
/// Cost: linear in both.
pub fn take_late(link: &mut Link, longest: i64, quantum: f64) {
    let width = |pulse: &EndPulse| (pulse.end - pulse.start).0 as f64;
    let is_alike = |sent: &EndPulse, far: &EndPulse| {
        (width(sent) - width(far)).abs() <= (2.0 * quantum).max(0.25 * width(sent))
    };
    let slack = 2 * quantum.ceil() as i64;
    let (mut late, mut next) = (Vec::new(), 0);
    for (at, sent) in link.missing.iter().enumerate() {
        let earliest = sent.start.0.saturating_add(longest).saturating_sub(slack);
        let ends = link
            .missing
            .get(at + 1)
            .map_or(i64::MAX, |after| after.start.0.saturating_add(longest));
        let latest = sent
            .start
            .0
            .saturating_add(longest.saturating_mul(LATEST))
            .min(ends);
        next += link.extra[next..].partition_point(|far| far.start.0 < earliest);
        let near = link.extra[next..].iter().take_while(|far| far.start.0 <= latest);
        if let Some(off) = near.into_iter().position(|far| is_alike(sent, far)) {
            let arrived = link.extra[next + off];
            late.push(LatePulse { sent: *sent, arrived });
            next += off + 1;
        }
    }
    if late.len() < FEWEST_LATE || (late.len() as f64) < SHARE_LATE * link.missing.len() as f64 {
        return;
    }
    link.extra.retain(|far| {
        late.binary_search_by_key(&far.start, |l| l.arrived.start)
            .is_err()
    });
    link.late = late;
}
