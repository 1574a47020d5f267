//! What checked links have to say.

mod dead;
mod late;
mod lossy;

use super::propose::{MOST_LINES, able_to_be_proposed};
use super::{Crossing, FarEnd, Link, Proposal, Verdict, crossings, slow};
use crate::analysis::findings::{Finding, Severity, count_of};
use crate::model::Capture;
use crate::model::units::{Bound, moment, seconds, seconds_bound};

/// Makes the finding of one link from severity, title, detail and steps.
type Make<'a> = &'a dyn Fn(Severity, String, String, Vec<String>) -> Option<Finding>;

/// A finding for every link that is not intact, for crossed links, and for pulses whose width changed.
pub fn findings(capture: &Capture, links: &[Link]) -> Vec<Finding> {
    let crossed = crossings(links);
    let mut found: Vec<Finding> = crossed.iter().map(|c| crossing(capture, links, c)).collect();
    for (index, link) in links.iter().enumerate() {
        if crossed.iter().any(|c| c.links.contains(&index)) {
            continue;
        }
        found.extend(verdict(capture, link));
        found.extend(width(capture, link));
        found.extend(slow::findings(capture, link));
    }
    found
}

/// Losses of a proposed link beyond this share are said (no source: a few edges at the ends of the record are none).
const SAID_LOST: f64 = 0.02;
/// Longest delay of a wire and a few gates: of pulses that seem to be missing so much later no warning is given, for what
/// comes a step of the machine later is as likely another stage. Common practice, no source.
const WIRE_S: f64 = 200e-9;
/// Pairs named in a note on several, the most alike; the others are counted.
const PROPOSALS_SAID: usize = 12;

/// A warning for each pair of lines that look like the two ends of one link where pulses seem to be lost between them, one note
/// on all other pairs, and a note for what was not looked at.
pub fn proposed(capture: &Capture, proposals: &[Proposal]) -> Vec<Finding> {
    let wire = capture.timebase.ticks_of(WIRE_S);
    let loses = |p: &&Proposal| p.lost > SAID_LOST && p.delay <= wire;
    let (losing, others): (Vec<&Proposal>, Vec<&Proposal>) = proposals.iter().partition(loses);
    let mut found: Vec<Finding> = losing
        .into_iter()
        .map(|p| proposal(capture, p, Severity::Warning))
        .collect();
    match others.as_slice() {
        [] => {}
        [only] => found.push(proposal(capture, only, Severity::Note)),
        several => found.push(several_proposals(capture, several)),
    }
    let able = able_to_be_proposed(capture).len();
    if able > MOST_LINES {
        found.push(left_out(
            format!("only the {MOST_LINES} busiest of {able} lines were compared for links that nobody declared"),
            format!("Pairs grow with the square of the lines, so {} lines with fewer edges were left out of this search. Strays, couplings, rules and declared links were looked at on all lines.", able - MOST_LINES),
        ));
    }
    found
}

/// What is said of one pair.
fn proposal(capture: &Capture, p: &Proposal, severity: Severity) -> Finding {
    let (from, to) = (name(capture, p.from), name(capture, p.to));
    let how = if p.inverted { ", upside down" } else { "" };
    let lost = match p.lost > SAID_LOST {
        true => format!(", with {:.0} % of its pulses missing there", 100.0 * p.lost),
        false => String::new(),
    };
    Finding {
        severity,
        topic: "link",
        lines: vec![from.to_string(), to.to_string()],
        title: format!("{to} looks like the far end of {from}{how}{lost}"),
        detail: format!(
            "{:.1} % of their edges match, {} later. The link is not declared, so its losses are not judged.",
            100.0 * p.quality,
            ticks_s(capture, p.delay)
        ),
        try_next: vec![format!(
            "If it is one signal, declare the link from {from} to {to}, on the page Source and far end or in the setup file: then every missing pulse is listed."
        )],
    }
}

/// One note on several pairs.
fn several_proposals(capture: &Capture, proposals: &[&Proposal]) -> Finding {
    let one = |p: &&Proposal| {
        let how = if p.inverted { " upside down" } else { "" };
        let (from, to) = (name(capture, p.from), name(capture, p.to));
        let lost = match p.lost > SAID_LOST {
            true => format!(", {:.0} % of its pulses missing", 100.0 * p.lost),
            false => String::new(),
        };
        format!(
            "{from} and {to}{how} ({:.1} % of their edges, {} later{lost})",
            100.0 * p.quality,
            ticks_s(capture, p.delay)
        )
    };
    let said: Vec<String> = proposals.iter().take(PROPOSALS_SAID).map(one).collect();
    let more = match proposals.len().saturating_sub(PROPOSALS_SAID) {
        0 => String::new(),
        more => format!("; and {more} more, which the list of proposals has"),
    };
    let mut lines: Vec<String> = Vec::new();
    for p in proposals.iter().take(PROPOSALS_SAID) {
        for line in [p.from, p.to] {
            if !lines.iter().any(|known| known == name(capture, line)) {
                lines.push(name(capture, line).to_owned());
            }
        }
    }
    Finding {
        severity: Severity::Note,
        topic: "link",
        lines,
        title: format!("{} pairs of lines look like the two ends of one signal", proposals.len()),
        detail: format!(
            "They match: {}{more}. Stages of a register do so too. Links that nobody declared are not judged.",
            said.join("; ")
        ),
        try_next: vec![
            "Where it is one signal, declare the link, on the page Source and far end or in the setup file: then every missing pulse is listed."
                .to_owned(),
        ],
    }
}

/// A note on the limit of the search.
fn left_out(title: String, detail: String) -> Finding {
    Finding {
        severity: Severity::Note,
        topic: "link",
        lines: Vec::new(),
        title,
        detail,
        try_next: vec!["Declare the links you know of in the setup file, or export the boards you doubt as a capture of their own.".to_string()],
    }
}

const CONTINUITY: &str =
    "Power off, wait for the supply to discharge, then buzz the wire from pin to pin at both connectors.";

/// The line's name in the capture.
pub(super) fn name(capture: &Capture, line: usize) -> &str {
    &capture.lines[line].name
}

/// A length of `ticks` in words, with its unit.
pub(super) fn ticks_s(capture: &Capture, ticks: f64) -> String {
    seconds(capture.timebase.length_s(ticks))
}

fn count(n: usize, noun: &str) -> String {
    count_of(n as u64, noun)
}

fn delay_text(capture: &Capture, link: &Link) -> String {
    match link.delay {
        Some(d) => format!(
            " Delay {} (95 % interval of the median {} to {}).",
            ticks_s(capture, d.median),
            seconds_bound(capture.timebase.length_s(d.low), Bound::Lower),
            seconds_bound(capture.timebase.length_s(d.high), Bound::Upper)
        ),
        None => String::new(),
    }
}

fn verdict(capture: &Capture, link: &Link) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let lines = vec![from.to_string(), to.to_string()];
    let make = |severity, title: String, detail: String, try_next: Vec<String>| {
        Some(Finding {
            severity,
            topic: "link",
            lines: lines.clone(),
            title,
            detail,
            try_next,
        })
    };
    match link.verdict {
        Verdict::Intact => None,
        Verdict::NothingSent => make(
            Severity::Note,
            format!("Nothing was sent from {from}, so whether {to} would receive it can't be told."),
            "Neither end moved while the capture ran.".to_owned(),
            vec![format!("Capture again while {from} is at work.")],
        ),
        Verdict::Lossy | Verdict::LossyNoisy if !link.late.is_empty() => {
            late::some_late(capture, link, &make)
        }
        Verdict::Lossy | Verdict::LossyNoisy => lossy::lossy(capture, link, &make),
        Verdict::Noisy => noisy(capture, link, &make),
        Verdict::Inverted => inverted(capture, link, &make),
        Verdict::Dead => dead::dead(capture, link, &make),
    }
}

/// What was sent, and what of it arrived.
fn counts(link: &Link) -> String {
    format!("{} sent, {} arrived.", count(link.sent, "pulse"), link.arrived)
}

/// When the first of some pulses was.
fn first(capture: &Capture, pulses: &[super::EndPulse]) -> String {
    let at = pulses.first().map(|p| moment(capture.seconds(p.start)));
    at.map_or(String::new(), |at| format!(" The first at {at}."))
}

/// Pulses that nobody sent, beside all that were.
fn noisy(capture: &Capture, link: &Link, make: Make) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    make(
        Severity::Fault,
        format!(
            "{} at {to} {} never sent by {from}.",
            count(link.extra.len(), "pulse"),
            if link.extra.len() == 1 { "was" } else { "were" }
        ),
        format!(
            "{}{}{}",
            match link.sent {
                0 => format!("{from} never moves while the capture runs."),
                sent => format!("All of {} arrived.", count(sent, "sent pulse")),
            },
            first(capture, &link.extra),
            delay_text(capture, link)
        ),
        next_for_extra(link.sent, from, to),
    )
}

/// Everything arrives, the other way up than it should.
fn inverted(capture: &Capture, link: &Link, make: Make) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let told = if link.inverted {
        "as it left, though the setup declares the link inverted"
    } else {
        "upside down"
    };
    let as_well = match link.far_end {
        FarEnd::Late(late) => format!(
            " It may as well be the right way up and {} late, beyond the delay allowed: the pulses are too regular to tell.",
            ticks_s(capture, late)
        ),
        _ => String::new(),
    };
    make(
        Severity::Fault,
        format!("{from} arrives at {to} {told}."),
        format!("{}{}{as_well}", counts(link), delay_text(capture, link)),
        vec![
            "Look for one inverting buffer too many (or too few) between the two ends, or for the two wires of a pair exchanged.".to_string(),
            "If it is meant so, say `inverted` for this link in the setup file.".to_string(),
        ],
    )
}

/// What to try where pulses arrive that nobody sent.
fn next_for_extra(sent: usize, from: &str, to: &str) -> Vec<String> {
    let clip = (sent == 0).then(|| {
        format!(
            "First look whether the clip still sits on {from}: a clip that fell off, or sits on the wrong pin, shows a line that never moves."
        )
    });
    let always = [
        format!(
            "See whether the extra pulses at {to} follow the edges of a neighbour in the same cable: then move {to} away from it, or put a ground wire between."
        ),
        format!(
            "Check the ground between the two ends of {from}: extra pulses at the far end only are often a poor return."
        ),
    ];
    clip.into_iter().chain(always).collect()
}

fn crossing(capture: &Capture, links: &[Link], crossing: &Crossing) -> Finding {
    let of = |i: &usize| {
        (
            name(capture, links[*i].from).to_string(),
            name(capture, links[*i].to).to_string(),
        )
    };
    let ends: Vec<(String, String)> = crossing.links.iter().map(of).collect();
    let mut lines: Vec<String> = ends.iter().map(|e| e.0.clone()).collect();
    lines.extend(ends.iter().map(|e| e.1.clone()));
    let title = if crossing.reversed {
        format!(
            "The bits from {} to {} arrive in the opposite order.",
            ends[0].0,
            ends[ends.len() - 1].0
        )
    } else if ends.len() == 2 {
        format!(
            "{} and {} are swapped: each arrives at the other's far end.",
            ends[0].0, ends[1].0
        )
    } else {
        let names: Vec<&str> = ends.iter().map(|e| e.0.as_str()).collect();
        format!("{} arrive at each other's far ends.", names.join(", "))
    };
    let figures: Vec<String> = crossing
        .links
        .iter()
        .filter_map(|&i| {
            let link = &links[i];
            let b = link.better_match?;
            Some(format!(
                "{}: {} of {} on {}.",
                name(capture, link.from),
                b.arrived.min(link.sent),
                count(link.sent, "pulse"),
                name(capture, b.line)
            ))
        })
        .collect();
    Finding {
        severity: Severity::Fault,
        topic: "link",
        lines,
        title,
        detail: figures.join(" "),
        try_next: vec![
            "Compare the pin order at both connectors: a cable turned over reverses a row, two wires exchanged swap a pair.".to_string(),
            "Exchange them at one end only, with the power off, then capture again.".to_string(),
        ],
    }
}

/// Pulses stretched or shortened: single ones, or all of them beyond a quarter of the shortest sent.
fn width(capture: &Capture, link: &Link) -> Option<Finding> {
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let lines = vec![from.to_string(), to.to_string()];
    if let Some(worst) = link.distorted.iter().max_by_key(|d| change(d).abs()) {
        let sample = capture.lines[link.from]
            .sample_ticks
            .max(capture.lines[link.to].sample_ticks);
        if change(worst).abs() as f64 > 2.0 * sample {
            return Some(Finding {
                severity: Severity::Warning,
                topic: "link",
                lines,
                title: format!(
                    "{} from {from} {} at {to} with another width.",
                    count(link.distorted.len(), "pulse"),
                    if link.distorted.len() == 1 {
                        "arrives"
                    } else {
                        "arrive"
                    }
                ),
                detail: format!(
                    "The furthest off, sent at {}: {} wide there, {} here.",
                    moment(capture.seconds(worst.sent.start)),
                    ticks_s(capture, (worst.sent.end - worst.sent.start).0 as f64),
                    ticks_s(capture, (worst.arrived.end - worst.arrived.start).0 as f64)
                ),
                try_next: vec![format!(
                    "Look at the edges of {to} with a scope around one of them: a slow or ringing edge moves with the threshold."
                )],
            });
        }
    }
    let (start, end) = (link.delay?, link.end_delay?);
    let steady = end.median - start.median;
    let shortest = shortest_pulse(capture, link)?;
    let sample = capture.lines[link.from]
        .sample_ticks
        .max(capture.lines[link.to].sample_ticks);
    if steady.abs() <= 0.25 * shortest || steady.abs() <= 2.0 * sample {
        return None;
    }
    let word = if steady > 0.0 { "wider" } else { "narrower" };
    Some(Finding {
        severity: Severity::Warning,
        topic: "link",
        lines,
        title: format!(
            "Pulses from {from} arrive at {to} {} {word}.",
            ticks_s(capture, steady.abs())
        ),
        detail: format!(
            "Edges that start a pulse take {}, those that end one {}; the shortest pulse sent is {} wide.",
            ticks_s(capture, start.median),
            ticks_s(capture, end.median),
            ticks_s(capture, shortest)
        ),
        try_next: vec![format!(
            "Look at both edges of {to} with a scope: a weak pull-up makes one of them slow, and a shorter pulse would be lost."
        )],
    })
}

fn change(d: &super::Distorted) -> i64 {
    (d.arrived.end - d.arrived.start).0 - (d.sent.end - d.sent.start).0
}

/// Width in ticks of the shortest pulse sent, of the level that is not the sender's rest. Cost: linear in its edges.
pub(super) fn shortest_pulse(capture: &Capture, link: &Link) -> Option<f64> {
    let line = &capture.lines[link.from];
    let level = super::active_level(line);
    let widths = line.pulses().filter(|p| p.level == level).map(|p| p.width().0);
    widths.min().map(|w| w as f64)
}
