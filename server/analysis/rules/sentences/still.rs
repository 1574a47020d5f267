//! Sentences on lines that never move, and on lines that always equal another.

use crate::analysis::findings::{Finding, Severity};
use crate::analysis::findings::{list, span, span_s};
use crate::analysis::rules::{Bridged, Silenced, Stuck};
use crate::model::Capture;

/// Lines that never moved which the sentence names, and of which the level is told.
const MOST_RESTED: usize = 4;
const MOST_LEVELS: usize = 16;

/// A warning for a line among neighbours that move, a note where it may not have been reached; nothing on a line without
/// neighbours (a switch, a ready line: it may rest for good reason).
pub fn stuck(capture: &Capture, stuck: &Stuck) -> Option<Finding> {
    let name = &capture.lines[stuck.line].name;
    let busiest = stuck.neighbours.first()?;
    let edges = capture.lines[*busiest].edges.len();
    let neighbours: Vec<&str> = stuck
        .neighbours
        .iter()
        .map(|&i| capture.lines[i].name.as_str())
        .collect();
    let severity = if stuck.at_the_end {
        Severity::Note
    } else {
        Severity::Warning
    };
    let unless = if stuck.at_the_end {
        " It is at the top end of its group: its turn may not have come within this capture."
    } else {
        ""
    };
    let level = stuck.level.word();
    Some(Finding {
        severity,
        topic: "stuck",
        lines: std::iter::once(name.clone())
            .chain(neighbours.iter().map(|n| (*n).to_owned()))
            .collect(),
        title: format!("{name} never moves while its neighbours do: it stays {level}"),
        detail: format!(
            "No edge in the whole capture; {} moves {edges} times, and {} of its neighbours move.{unless}",
            neighbours[0],
            neighbours.len()
        ),
        try_next: vec![
            format!(
                "Probe {name} at its driver's pin: moving there, the joint, wire or clip between is open."
            ),
            format!(
                "Still {level} there: power off, discharge the supply, and look for a short to a rail or a neighbour."
            ),
        ],
    })
}

/// The note of the lines without neighbours that never moved, and that no finding among `told` speaks of as such: a switch or a ready
/// line may rest for good reason, so they are asked about. `None` where there are none.
pub fn rested(capture: &Capture, stuck: &[Stuck], told: &[Finding]) -> Option<Finding> {
    let is_told = |name: &String| {
        told.iter()
            .any(|f| f.topic == "link" && f.lines.get(1) == Some(name))
    };
    let alone = stuck.iter().filter(|s| s.neighbours.is_empty());
    let still: Vec<&Stuck> = alone.filter(|s| !is_told(&capture.lines[s.line].name)).collect();
    let names: Vec<String> = still.iter().map(|s| capture.lines[s.line].name.clone()).collect();
    let [first, ..] = names.as_slice() else {
        return None;
    };
    let told = match names.len().saturating_sub(MOST_RESTED) {
        0 => list(&names),
        more => format!("{} and {more} more", names[..MOST_RESTED].join(", ")),
    };
    let (were, they) = match names.len() {
        1 => ("was", "it"),
        _ => ("were", "they"),
    };
    let levels: Vec<String> = still
        .iter()
        .take(MOST_LEVELS)
        .map(|s| format!("{} stays {}", capture.lines[s.line].name, s.level.word()))
        .collect();
    let length = capture.seconds(capture.span.end) - capture.seconds(capture.span.start);
    Some(Finding {
        severity: Severity::Note,
        topic: "stuck",
        title: format!(
            "{told} never moved in {}: {were} {they} meant to?",
            span_s(length)
        ),
        detail: format!(
            "{}, without one edge in the whole capture, while other lines moved.",
            levels.join("; ")
        ),
        try_next: vec![
            format!("If {they} should rest while the machine does this, nothing."),
            format!(
                "Else see that the clip on {first} holds, and probe {first} at its driver's pin: moving there, the joint or wire between is \
                 open; still there, power off, discharge the supply, and look for a short to a rail."
            ),
        ],
        lines: names,
    })
}

/// The warning of a line that fell silent while another, which had moved only with it, went on; a note where the machine
/// may do something else from then on.
pub fn silenced(capture: &Capture, silenced: &Silenced) -> Finding {
    let [name, other] = [silenced.line, silenced.follower].map(|line| &capture.lines[line].name);
    let since = span_s(capture.seconds(silenced.since));
    let (followed, of) = silenced.followed;
    let (severity, meant) = match silenced.may_be_meant {
        true => (
            Severity::Note,
            " The machine may do something else from then on: another line turned just then, or the rhythm changed.",
        ),
        false => (Severity::Warning, ""),
    };
    Finding {
        severity,
        topic: "stuck",
        lines: vec![name.clone(), other.clone()],
        title: format!("{name} falls silent at {since}, while {other}, which moved only with it, goes on"),
        detail: format!(
            "It has no edge from then on to the end of its record. Until then {followed} of {of} edges of {other} came in the {} after \
             one of its edges; since then {} have come without one.{meant}",
            span(&capture.timebase, silenced.within as f64),
            silenced.without
        ),
        try_next: vec![
            format!(
                "If the machine goes on to other work at {since}, nothing. Else look whether {name}'s clip still holds, and capture again: what is said of {name} from then on would rest on a line that was not seen."
            ),
            format!(
                "If it holds: probe {name} at its driver's pin; moving there, the joint or wire between is open."
            ),
        ],
    }
}

/// The finding of two lines that agree edge by edge: a warning within one group, else a note.
pub fn bridged(capture: &Capture, bridged: &Bridged) -> Finding {
    let (a, b) = (
        &capture.lines[bridged.lines.0].name,
        &capture.lines[bridged.lines.1].name,
    );
    let severity = if bridged.same_group {
        Severity::Warning
    } else {
        Severity::Note
    };
    Finding {
        severity,
        topic: "stuck",
        lines: vec![a.clone(), b.clone()],
        title: format!("{a} and {b} are the same at every edge"),
        detail: format!("All {} edges agree: one signal under two names, or two lines with a bridge between.", bridged.edges),
        try_next: vec![
            format!(
                "If it is one signal, declare the link between {a} and {b}, on the page Source and far end or in the setup file: then \
                 every missing pulse is listed."
            ),
            "If they should be two: power off, wait for the supply to discharge, then measure between the two pins; they should \
             not be joined."
                .to_owned(),
        ],
    }
}
