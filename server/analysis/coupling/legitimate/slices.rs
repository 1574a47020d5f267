//! Slices of a level that were taken for strays, in exchange for the strays that cut them off.
//!
//! Of two short pulses beside an edge of the line's own widths can't tell which is the stray. Once it is known who strikes, the
//! lag can: where the second of them starts as that line's strikes do, and the first does not, the first is the slice.

use crate::analysis::coupling::Attribution;
use crate::analysis::strays::{LimitOrigin, Stray, Strays};
use crate::model::{Capture, Ticks};

/// Puts the stray in the place of the slice where a cause says so. Cost: log of the edges for each stray with a cause.
pub(in crate::analysis::coupling) fn exchange(
    capture: &Capture,
    strays: &mut Strays,
    attribution: &Attribution,
) {
    for at in 0..strays.strays.len() {
        let Some(cause) = attribution.causes.get(at).copied().flatten() else {
            continue;
        };
        let (stray, next) = (strays.strays[at], strays.strays.get(at + 1));
        let aggressor = &capture.lines[attribution.couplings[cause.coupling].aggressor];
        let strikes_at = |start: Ticks| aggressor.edges.binary_search(&Ticks(start.0 - cause.lag)).is_ok();
        let end = Ticks(stray.start.0 + stray.width.0);
        if strikes_at(stray.start) || !strikes_at(end) {
            continue;
        }
        let Some(other) = after(capture, &stray) else {
            continue;
        };
        let limits = &strays.limits[stray.line];
        let is_narrow = limits.origin != LimitOrigin::None
            && limits.of(other.level).is_some_and(|l| (other.width.0 as f64) < l);
        // Two successive pulses are not both strays.
        let is_free = next.is_none_or(|n| n.line != stray.line || n.start.0 > other.start.0 + other.width.0);
        if is_narrow && is_free {
            strays.strays[at] = other;
        }
    }
}

/// The pulse that starts where the stray ends.
fn after(capture: &Capture, stray: &Stray) -> Option<Stray> {
    let (edge, edges) = (stray.edge? + 1, &capture.lines[stray.line].edges);
    Some(Stray {
        edge: Some(edge),
        start: *edges.get(edge)?,
        width: *edges.get(edge + 1)? - *edges.get(edge)?,
        level: stray.level.inverted(),
        ..*stray
    })
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    #[test]
    fn what_starts_as_the_strikes_do_is_the_stray_and_not_the_slice_before_it() {
        let span = TimeSpan::new(Ticks(0), Ticks(450_000));
        let step = |k: i64| 10_000 * (k + 1);
        // 12 dips of CLEAR_N follow STEP, 12 spikes of its own low pulses follow nobody; 4 more dips leave 24 ticks of high.
        let mut clear: Vec<[i64; 2]> = (0..12)
            .map(|k| [step(k) + 14 + k % 3, step(k) + 44 + k % 3 + 6 * (k % 4)])
            .collect();
        for k in 13..17 {
            clear.push([step(k) - 400, step(k) - 10]);
            clear.push([step(k) + 14, step(k) + 44]);
        }
        for k in 20..32 {
            let spike = step(k) + 3_000 + 97 * (k * k % 29);
            clear.push([step(k) + 1_000, spike]);
            clear.push([spike + 20 + k % 5, step(k) + 7_500]);
        }
        let line = |name: &str, pulses: Vec<[i64; 2]>| {
            let edges = pulses.into_iter().flatten().map(Ticks).collect();
            Line::digital(name, Level::High, edges, span)
        };
        let steps = (0..20).map(|k| [step(k), step(k) + 3_000]).collect();
        let capture =
            Capture::in_nanoseconds("slices", span, vec![line("CLEAR_N", clear), line("STEP", steps)]);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let (strays, attribution) = judge(&capture, &options, &CouplingOptions::default());
        let put_down: Vec<(Level, i64, i64)> = strays
            .strays
            .iter()
            .zip(&attribution.causes)
            .filter_map(|(s, cause)| Some((s.level, s.width.0, s.start.0 - (*cause)?.lag)))
            .collect();
        let width = |k: i64| if k < 12 { 30 + 6 * (k % 4) } else { 30 };
        let expected: Vec<(Level, i64, i64)> = (0..12)
            .chain(13..17)
            .map(|k| (Level::Low, width(k), step(k)))
            .collect();
        assert_eq!(put_down, expected);
    }
}
