//! What is the line's own is taken out of the strays, and with it a limit that hardly any other pulse lies below.

use std::collections::BTreeSet;

use super::own::Own;
use crate::analysis::coupling::{Attribution, Coupling, Edge};
use crate::analysis::strays::{LimitOrigin, StrayKind, StrayOptions, Strays};
use crate::model::{Capture, Level};

/// With a smaller share of a level's strays left, these are of the same kind.
const FEW_LEFT: f64 = 0.2;

/// Takes the pulses of `own` out, and all of their level where hardly any other is left; but none that the person or another
/// analysis called a stray. What begins so after a stray of the other line is the line's own as well: it does as it is told.
pub(in crate::analysis::coupling) fn leave_out(
    capture: &Capture,
    strays: &mut Strays,
    own: &Own,
    attribution: &Attribution,
    options: &StrayOptions,
) {
    let is_row =
        |c: &&Coupling| c.victim == own.line && c.aggressor == own.to && c.levels.contains(&own.level);
    let rows = attribution.couplings.iter().filter(is_row);
    let starts: BTreeSet<i64> = rows.flat_map(|c| &c.occurrences).map(|o| o.at + o.lag).collect();
    let aggressor = &capture.lines[own.to];
    let slack = strays.sampling[own.line].max(strays.sampling[own.to]).ceil() as i64;
    let (least, most) = own.lags;
    let begins_so = |start: i64| {
        let from = aggressor.edges.partition_point(|e| e.0 < start - most - slack);
        let near = aggressor.edges[from..]
            .iter()
            .take_while(|e| e.0 <= start - least + slack);
        let mut polarities = near.enumerate().map(|(n, _)| aggressor.polarity(from + n));
        starts.contains(&start)
            || polarities.any(|polarity| own.edge == Edge::Both || own.edge == polarity.into())
    };
    let marked = |line: usize, start: i64| {
        options
            .marks
            .iter()
            .any(|m| m.line == line && m.stray && m.start.0 == start)
    };
    let is_of = |line: usize, level: Level, kind: StrayKind| {
        line == own.line && level == own.level && kind == StrayKind::Pulse
    };
    let of_level = strays.strays.iter().filter(|s| is_of(s.line, s.level, s.kind));
    let (all, kept) = of_level.fold((0u64, 0u64), |(all, kept), s| {
        (all + 1, kept + u64::from(!begins_so(s.start.0)))
    });
    let leaves_few = (kept as f64) < FEW_LEFT * all as f64;
    strays.strays.retain(|s| {
        !is_of(s.line, s.level, s.kind) || marked(s.line, s.start.0) || !leaves_few && !begins_so(s.start.0)
    });
    if leaves_few {
        let limits = &mut strays.limits[own.line];
        match own.level {
            Level::Low => limits.low = None,
            _ => limits.high = None,
        }
        if limits.low.is_none() && limits.high.is_none() {
            limits.origin = LimitOrigin::None;
        }
    }
}
