//! Pulses that never arrive: any of them, or only narrow ones.

use super::{Make, count, counts, delay_text, first, name, ticks_s};
use crate::analysis::findings::{Finding, Severity, count_of};
use crate::analysis::links::{ByWidth, Link, active_level, by_width};
use crate::model::Capture;
use crate::model::units::p_is;

/// Pulses that never arrive.
pub(super) fn lossy(capture: &Capture, link: &Link, make: Make) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let lost = link.missing.len();
    let also = match link.extra.len() {
        0 => String::new(),
        1 => ", and 1 pulse arrives there that nobody sent".to_owned(),
        n => format!(", and {n} pulses arrive there that nobody sent"),
    };
    let rest = active_level(&capture.lines[link.from]).inverted();
    let joined = match link.missing.iter().filter(|p| p.level == rest).count() {
        0 => String::new(),
        n if n == lost => ": they run into the pulse before".to_owned(),
        n => format!(": {n} of them run into the pulse before"),
    };
    let narrow = by_width(link);
    let only = match &narrow {
        Some(narrow) if joined.is_empty() && narrow.wider_lost == 0 => format!(
            ": only pulses up to {} get lost",
            ticks_s(capture, narrow.up_to as f64)
        ),
        Some(narrow) if joined.is_empty() => format!(
            ": nearly only pulses up to {} get lost",
            ticks_s(capture, narrow.up_to as f64)
        ),
        _ => joined,
    };
    let (widths, try_next) = match &narrow {
        Some(narrow) => (by_widths(capture, narrow), next_for_narrow(capture, link, narrow)),
        None => (String::new(), next_for_any(to)),
    };
    make(
        Severity::Fault,
        format!(
            "{lost} of {} from {from} never {} {to}{only}{also}.",
            count(link.sent, "pulse"),
            if lost == 1 { "reaches" } else { "reach" }
        ),
        format!(
            "{}{widths}{}{}",
            counts(link),
            first(capture, &link.missing),
            delay_text(capture, link)
        ),
        try_next,
    )
}

/// The losses of narrow pulses against those of wider ones, with a space before it.
fn by_widths(capture: &Capture, narrow: &ByWidth) -> String {
    let wider = match narrow.wider_lost {
        0 => format!("none of {} wider", narrow.wider),
        lost => format!("{lost} of {} wider", narrow.wider),
    };
    format!(
        " Up to {} wide {} of {} {} lost; {wider} (exact test, {}). A loose contact would lose wide ones as well.",
        ticks_s(capture, narrow.up_to as f64),
        narrow.lost,
        count_of(narrow.of, "pulse"),
        if narrow.lost == 1 { "gets" } else { "get" },
        p_is(narrow.p_value)
    )
}

/// What to try where width decides.
fn next_for_narrow(capture: &Capture, link: &Link, narrow: &ByWidth) -> Vec<String> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let width = ticks_s(capture, narrow.up_to as f64);
    let far = &capture.lines[link.to];
    let slips = !far.interpolated && (narrow.up_to as f64) < far.sample_ticks;
    let sampling = slips.then(|| {
        format!(
            "Sample {to} faster first: at one sample every {} a pulse of {width} can slip between two of them, though it arrives.",
            ticks_s(capture, far.sample_ticks)
        )
    });
    let always = [
        format!(
            "Scope {to} at the receiver's own pin, with the probe's ground beside it and on the machine's 0 V only: how wide, and how \
             high, does a pulse of {width} arrive there?"
        ),
        format!(
            "Low and sloping there: look for what slows {from}'s edges, a series resistor that is too large, a missing or a doubled \
             termination, a capacitor or too many inputs on the line, a weak driver."
        ),
        format!(
            "Whole there: the receiver is too slow for it, or has a capacitor at its input. Hold the shortest pulse that its data sheet \
             allows against {width}; a faster part, or wider pulses from {from}, mend it."
        ),
    ];
    sampling.into_iter().chain(always).collect()
}

/// What to try where it doesn't.
fn next_for_any(to: &str) -> Vec<String> {
    vec![
        format!(
            "Capture both ends again while you press on the connector of {to} with something that insulates: losses that come and go with it are a contact."
        ),
        format!(
            "Compare the widths of the missing pulses with the others, and look at {to} with a scope: an edge that is too slow or a level that is too low loses the short ones."
        ),
    ]
}
