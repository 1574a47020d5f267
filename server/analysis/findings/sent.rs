//! One note a line whose short pulses a declared link carries: they are what it sends.

use super::coupling::name;
use super::words::{count_of, span};
use super::{Finding, Severity};
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::legitimate::majority::Sent;
use crate::model::Capture;

/// A note for each of [`Attribution::sent`].
pub fn of(capture: &Capture, attribution: &Attribution) -> Vec<Finding> {
    attribution
        .sent
        .iter()
        .map(|sent| finding(capture, sent))
        .collect()
}

/// Short pulses that are most of their level and arrive.
pub(super) fn finding(capture: &Capture, sent: &Sent) -> Finding {
    let (line, to) = (name(capture, sent.line), name(capture, sent.to));
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let level = sent.level.word();
    let [least, most] = sent.widths.map(|w| time(w as f64));
    let arrive = match sent.arrived == sent.judged {
        true => "all of them".to_owned(),
        false => format!("{} of {}", sent.arrived, sent.judged),
    };
    Finding {
        severity: Severity::Note,
        topic: "stray",
        title: format!("{line}: its short {level} pulses arrive at {to}, and are taken for what it sends"),
        detail: format!(
            "{} of {} last {least} to {most}, apart from the longer ones; {arrive} arrive, and no captured line's edges bring them. \
             Strays are seldom most of what a line shows.",
            sent.pulses,
            count_of(sent.of, &format!("{level} pulse")),
        ),
        try_next: vec![format!(
            "If nothing drives {line} with such pulses they are strays, and {to} receives them: say narrow_below = \"{}\" for {line} \
             in the setup, and they are counted as such.",
            time(sent.limit)
        )],
        lines: vec![line, to],
    }
}
