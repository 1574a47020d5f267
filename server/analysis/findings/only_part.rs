//! Sentences on what shows that an accused line is only a part of what strikes, or none.

use super::coupling::{edges_of, name, names, switching};
use super::words::{list, span};
use crate::analysis::coupling::verdict::never_alone::{Kind, Shows};
use crate::analysis::coupling::verdict::parts::Ground;
use crate::analysis::coupling::verdict::untimely::Untimely;
use crate::analysis::coupling::{Contrast, Edge};
use crate::model::{Capture, Polarity};

/// "BEAT_2 hardly ever rises without BEAT_0 and BEAT_1, …"
pub(super) fn comes_with_its_kind(capture: &Capture, kind: &Kind) -> String {
    let [does, pulls, lead] = match kind.polarity {
        Polarity::Rise => ["rises", "a rise that dips a line", "supply lead"],
        Polarity::Fall => ["falls", "a fall that lifts a line", "0 V lead"],
    };
    let (line, others) = (name(capture, kind.line), list(&names(capture, &kind.company)));
    let how = match kind.shows {
        Shows::MoreTogether => format!("{line} strikes oftener where more of {others} go the same way"),
        Shows::NeverAlone => format!("{line} hardly ever {does} without any of {others}"),
        Shows::Several => format!("{line} and {others} all strike as each {does}"),
    };
    format!(
        "{how}, and {pulls} is what a {lead} does that such outputs share. What {line} does by itself this capture does not show."
    )
}

/// "They begin before STEP's rises, …", "On the mean they begin 62 ns after STEP's rises, …"
pub(super) fn off_its_edge(capture: &Capture, untimely: Untimely) -> String {
    let (line, edges) = (name(capture, untimely.line), edges_of(untimely.edge));
    match untimely.lag < 0.0 {
        true => format!(
            "They begin before {line}'s {edges}, by more than sampling and thresholds explain; what an edge induces comes after it."
        ),
        false => format!(
            "On the mean they begin {} after {line}'s {edges}: what an edge induces begins while it lasts, or as its wave runs along the cable. Parts that {line} sets off switch later, with a clip or without.",
            span(&capture.timebase, untimely.lag)
        ),
    }
}

/// "CLOCK_Q0's rises and falls strike alike and one way, …"
pub(super) fn is_part(capture: &Capture, part: &Ground) -> String {
    match part {
        Ground::LeftOut { line, edge, without } => format!(
            "{} of them come where one of {}'s {} would be due and is left out, and none near the others: so a gated copy of a line looks.",
            without,
            name(capture, *line),
            edges_of(*edge)
        ),
        Ground::TakeTurns { lines: [a, b], .. } => format!(
            "{} and {} strike after the same lag and equally often, and never switch near each other: so two gated copies of one line look.",
            name(capture, *a),
            name(capture, *b)
        ),
        Ground::Toggled { line, next: None } => format!(
            "{0}'s rises and falls strike alike and one way, and it runs as evenly as a divider's output: what toggles {0} has an edge at each of them.",
            name(capture, *line)
        ),
        Ground::Toggled {
            line,
            next: Some(next),
        } => format!(
            "{0}'s rises and falls strike alike and one way, and {1} is toggled by one of them as a counter's next bit is: what toggles {0} has an edge at each of them.",
            name(capture, *line),
            name(capture, *next)
        ),
    }
}

/// "FOLLOW_A falling strikes 12 of 20 times when FOLLOW_B switches too, 1 of 40 when not: …"
pub(super) fn differs(capture: &Capture, c: &Contrast) -> String {
    format!(
        "{} brings a stray {} of {} times when {} as well, and {} of {} when not: if {} alone did it, that would make no difference.",
        switching(capture, c.line, c.edge),
        c.with.1,
        c.with.0,
        switches(capture, c.other, c.other_edge),
        c.without.1,
        c.without.0,
        name(capture, c.line)
    )
}

/// "STEP falls", "STEP rises", "STEP switches".
fn switches(capture: &Capture, line: usize, edge: Edge) -> String {
    let does = match edge {
        Edge::Rise => "rises",
        Edge::Fall => "falls",
        Edge::Both => "switches",
    };
    format!("{} {does}", name(capture, line))
}
