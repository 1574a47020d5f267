//! Pulses that notes are about → rows of the report.

use crate::analysis::coupling::Attribution;
use crate::analysis::findings::pulses::{self, Doubt, DoubtedPulse};
use crate::analysis::strays::Strays;
use crate::model::Capture;
use crate::report::doubts::{DoubtMoment, DoubtRow};
use crate::report::inspect::Finding;

/// Pulses listed of one doubt: far more than anybody steps through, and a strobe may have millions.
const MOST_LISTED: usize = 2_000;

/// A row for each doubt that one of the `findings` tells of.
pub fn rows(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    findings: &[Finding],
) -> Vec<DoubtRow> {
    let row = |doubt: Doubt| {
        let told = findings
            .iter()
            .find(|f| f.topic == "stray" && f.title == doubt.title)?;
        Some(DoubtRow {
            finding: told.id.clone(),
            line: capture.lines[doubt.line].name.clone(),
            level: doubt.level.word().to_owned(),
            held: doubt.held.word().to_owned(),
            follows: doubt.follows.map(|(to, _)| capture.lines[to].name.clone()),
            edge: doubt.follows.map(|(_, edge)| edge.word().to_owned()),
            pulses: doubt.pulses.len() as u64,
            moments: doubt
                .pulses
                .iter()
                .take(MOST_LISTED)
                .map(|p| moment(capture, p))
                .collect(),
        })
    };
    let all = pulses::of(capture, strays, attribution);
    all.into_iter().filter_map(row).collect()
}

fn moment(capture: &Capture, of: &DoubtedPulse) -> DoubtMoment {
    let length_s = |ticks: i64| capture.timebase.length_s(ticks as f64);
    DoubtMoment {
        start_s: capture.seconds(of.pulse.start),
        width_s: length_s(of.pulse.width().0),
        lag_s: of.lag.map(length_s),
    }
}
