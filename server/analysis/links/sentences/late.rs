//! Links of which some pulses come too late.

use super::{Make, count, delay_text, name, ticks_s};
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::links::Link;
use crate::model::Capture;
use crate::model::units::moment;

/// Some pulses of a live link come too late.
pub(super) fn some_late(capture: &Capture, link: &Link, make: Make) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let lags = || {
        link.late
            .iter()
            .map(|l| (l.arrived.start - l.sent.start).0 as f64)
    };
    let (least, most) = (lags().fold(f64::INFINITY, f64::min), lags().fold(0.0, f64::max));
    let also = match (link.missing.len() - link.late.len(), link.extra.len()) {
        (0, 0) => String::new(),
        (lost, 0) => format!(" {lost} more never arrive."),
        (0, extra) => format!(" {} there were never sent.", count(extra, "pulse")),
        (lost, extra) => format!(
            " {lost} more never arrive, and {} there were never sent.",
            count(extra, "pulse")
        ),
    };
    let first = moment(capture.seconds(link.late[0].sent.start));
    let (least, most) = (ticks_s(capture, least), ticks_s(capture, most));
    let take = if least == most {
        least
    } else {
        format!("{least} to {most}")
    };
    make(
        Severity::Fault,
        format!(
            "{} of {} from {from} reach {to} later than the delay allowed.",
            link.late.len(),
            count(link.sent, "pulse")
        ),
        format!(
            "{} sent, {} arrived in time. The late ones take {take}; the first is sent at {first}.{also}{}",
            count(link.sent, "pulse"),
            link.arrived,
            delay_text(capture, link)
        ),
        vec![
            format!("Look at {to} with a scope: an edge that is slow now and then crosses the threshold late."),
            "See what else switches before the late ones: a driver that has to wait for its enable, or a line that pulls against it."
                .to_string(),
            "If such a delay is right for this link, raise `max_delay` in the setup file.".to_string(),
        ],
    )
}
