//! Links of which nothing arrives.

use super::{CONTINUITY, Make, count, name, ticks_s};
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::links::{FarEnd, Link};
use crate::model::{Capture, Level, Line};

/// A line in volts stays between its thresholds when it is there for so much of its record: the rest is noise (no source).
const STAYS: f64 = 0.9;

fn stays_between(line: &Line) -> bool {
    line.between.0 as f64 >= STAYS * line.span.length().0.max(1) as f64
}

/// A line other than the one that the far end follows, with the same edges as the far end: then both follow it, and nothing was
/// exchanged.
pub(super) fn joined(capture: &Capture, link: &Link, followed: usize) -> Option<usize> {
    let far = &capture.lines[link.to];
    let is_other = |&line: &usize| line != link.to && line != followed && line != link.from;
    let mut others = (0..capture.lines.len()).filter(is_other);
    others.find(|&line| capture.lines[line].same_as.is_none() && capture.lines[line].moves_as_one_with(far))
}

/// A link of which nothing arrives: where it went instead, and how the far end stands.
pub(super) fn dead(capture: &Capture, link: &Link, make: Make) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    if let FarEnd::Late(delay) = link.far_end {
        let delay = ticks_s(capture, delay);
        return make(
            Severity::Fault,
            format!("{from} arrives at {to} {delay} late, later than the delay allowed."),
            format!(
                "{} sent. What {to} shows is {from}, a median of {delay} later; none of it counts as arrived in time, and pulses that are lost besides show once such a delay is allowed.",
                count(link.sent, "pulse")
            ),
            vec![
                format!("If such a delay is right for this link, allow it: a `max_delay` above {delay} in the setup file."),
                "Otherwise look for a stage between that should not be there, or an edge so slow that it crosses the threshold late.".to_string(),
            ],
        );
    }
    let counts = format!("{} sent, none arrived.", count(link.sent, "pulse"));
    let elsewhere = link.better_match.map(|b| {
        let how = if b.inverted { ", upside down," } else { "" };
        let line = name(capture, b.line);
        (
            format!(" It arrives on {line}{how} instead."),
            format!(
                " {} of {} found on {line}, {} later.",
                b.arrived,
                link.sent,
                ticks_s(capture, b.delay)
            ),
        )
    });
    let (place, figures) = elsewhere.unwrap_or_default();
    let (state, mut steps) = match link.far_end {
        FarEnd::Stuck(Level::Unknown) if stays_between(&capture.lines[link.to]) => (
            format!("{to} stays between its thresholds"),
            vec![
                CONTINUITY.to_string(),
                format!(
                    "No output stands there: the wire is open before {to}, or what should drive it is off or not fitted."
                ),
            ],
        ),
        FarEnd::Stuck(level) => (
            format!("{to} never leaves {}", level.word()),
            vec![
                CONTINUITY.to_string(),
                format!(
                    "With power on, meter {to} at its pin: a level held hard is a short or a driver that fights, a level in between is an open wire."
                ),
            ],
        ),
        FarEnd::Floating => (
            format!("{to} floats"),
            vec![
                CONTINUITY.to_string(),
                format!("See whether the driver of {to} is ever enabled, and whether {to} has its pull-up."),
            ],
        ),
        FarEnd::Follows {
            line,
            inverted: false,
        } if joined(capture, link, line).is_some() => {
            let other = joined(capture, link, line).map_or("?", |other| name(capture, other));
            (
                format!("{to} and {other} move as one, as if joined"),
                vec![
                    format!(
                        "Power off, wait for the supply to discharge, then measure between {to} and {other}: a bridge of solder or a \
                         strand of wire joins them."
                    ),
                    format!(
                        "{other} still follows {}, so the two are not exchanged; see whether the wire from {from} reaches {to} at all.",
                        name(capture, line)
                    ),
                ],
            )
        }
        FarEnd::Follows { line, inverted } => (
            format!(
                "{to} follows {}{} instead",
                name(capture, line),
                if inverted { ", upside down," } else { "" }
            ),
            vec![format!(
                "Compare the pins of {from} and {} at the connector: they look exchanged, or off by one.",
                name(capture, line)
            )],
        ),
        FarEnd::Carries | FarEnd::Unexplained | FarEnd::Late(_) => (
            format!("{to} moves, but no captured line explains how"),
            vec![
                CONTINUITY.to_string(),
                format!("Put a spare probe on the pins beside {to}: the wire may be off by one."),
            ],
        ),
    };
    if let Some(b) = link.better_match {
        steps.insert(
            0,
            format!(
                "Move the wire from {} to {to}, or exchange the two, then capture again.",
                name(capture, b.line)
            ),
        );
    }
    make(
        Severity::Fault,
        format!("Nothing that {from} sends reaches {to}: {state}.{place}"),
        format!("{counts}{figures}"),
        steps,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::links::{LinkOptions, check, findings};
    use crate::model::{Ticks, TimeSpan};

    #[test]
    fn a_far_end_between_its_thresholds_is_told_as_open() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let edges: Vec<Ticks> = (0..20)
            .flat_map(|n| [Ticks(40_000 * n + 5_000), Ticks(40_000 * n + 9_000 + 90 * n)])
            .collect();
        let title = |first: Level, between: i64| {
            let mut far = Line::digital("ARC_IN", first, Vec::new(), span);
            far.between = Ticks(between);
            let sent = Line::digital("CMD_ARC", Level::Low, edges.clone(), span);
            let capture = Capture::in_nanoseconds("lamps.csv", span, vec![sent, far]);
            let link = LinkOptions {
                from: 0,
                to: 1,
                max_delay: None,
                inverted: false,
            };
            let found = findings(&capture, &check(&capture, &[link]));
            found.into_iter().next().map(|f| f.title).unwrap_or_default()
        };
        let open = title(Level::Unknown, 990_000);
        assert!(open.contains("ARC_IN stays between its thresholds"), "{open}");
        let low = title(Level::Low, 0);
        assert!(low.contains("ARC_IN never leaves low"), "{low}");
    }
}
