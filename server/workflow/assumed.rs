//! What had to be assumed, or could not be looked at, of files and setup together: it is told.

use crate::analysis::align::Alignment;
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::links;
use crate::model::units::{count_of, seconds};
use crate::model::{Capture, Line, NO_TIME_UNIT, Ticks};
use crate::report::CaptureRow;
use crate::report::inspect::NAMES_NO_UNIT;
use crate::setup::Setup;

use super::known_lines;

/// Names told of a capture, at most.
const MOST_NAMES: usize = 12;
const COMPARE_NAMES: &str =
    "Compare the setup's names with the lines that are here; capitals and brackets count.";

/// Files that name no unit of their times, each in a warning that stands before all that is told of times.
pub fn time_units(sources: &[CaptureRow]) -> Vec<Finding> {
    let is_without = |row: &&CaptureRow| row.warnings.iter().any(|told| told.starts_with(NO_TIME_UNIT));
    let finding = |row: &CaptureRow| {
        Finding {
        severity: Severity::Warning,
        topic: "reading",
        lines: Vec::new(),
        title: format!("{}{NAMES_NO_UNIT}: all times below suppose 1 ns", row.file),
        detail: "Its $timescale is missing. Were the unit another, every width, lag and limit here would be as many times \
                 longer or shorter, and what is taken for too narrow might be another."
            .to_owned(),
        try_next: vec![
            "Compare with a time that you know, such as the period of a clock of the machine.".to_owned(),
            "Say the unit on the page of the capture, under How it is read, or by timescale = \"…\" under [read] in the setup \
             file; or export the capture again with its unit."
                .to_owned(),
        ],
    }
    };
    sources.iter().filter(is_without).map(finding).collect()
}

/// The setup names lines that the capture lacks: a warning for a link with one end here, a note for what is wholly
/// elsewhere (one setup may serve many captures).
pub fn names(capture: &Capture, setup: &Setup) -> Vec<Finding> {
    let is_here = |name: &str| {
        // A line that several captures have is called STEM/LINE, and may be called so where only one has it.
        let is_of = |long: &str, short: &str| long.split_once('/').is_some_and(|(_, own)| own == short);
        let own = |known: &str| known == name || is_of(known, name) || is_of(name, known);
        let is_bus = capture.buses.iter().any(|b| own(&b.name));
        is_bus || capture.lines.iter().any(|l| own(&l.name)) || capture.not_logic.iter().any(|n| own(&n.name))
    };
    let names: Vec<&str> = capture
        .lines
        .iter()
        .take(MOST_NAMES)
        .map(|l| l.name.as_str())
        .collect();
    let more = capture.lines.len().saturating_sub(MOST_NAMES);
    let and = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    let there = format!("Lines that are here: {}{and}.", names.join(", "));
    let mut findings = Vec::new();
    for link in &setup.links {
        if links::expand(capture, &link.from, &link.to).is_ok() {
            continue;
        }
        let absent: Vec<&str> = [&link.from, &link.to]
            .into_iter()
            .map(String::as_str)
            .filter(|name| !is_here(name))
            .collect();
        let (severity, why) = match absent.as_slice() {
            [] => (
                Severity::Warning,
                links::expand(capture, &link.from, &link.to).unwrap_err(),
            ),
            [one] => (Severity::Warning, format!("this capture has no line {one}")),
            _ => (Severity::Note, "this capture has neither end".to_owned()),
        };
        findings.push(Finding {
            severity,
            topic: "reading",
            lines: Vec::new(),
            title: format!(
                "The link from {} to {} could not be checked: {why}",
                link.from, link.to
            ),
            detail: [known_lines::meant(capture, &absent), vec![there.clone()]]
                .concat()
                .join(" "),
            try_next: vec![
                COMPARE_NAMES.to_owned(),
                "Or clip a probe to the missing end and capture again.".to_owned(),
            ],
        });
    }
    let unused: Vec<&str> = setup
        .lines
        .keys()
        .map(String::as_str)
        .filter(|name| !is_here(name))
        .collect();
    if !unused.is_empty() {
        findings.push(Finding {
            severity: Severity::Note,
            topic: "reading",
            lines: Vec::new(),
            title: format!(
                "What the setup says of {} was not used: this capture has no such line",
                unused.join(", ")
            ),
            detail: [known_lines::meant(capture, &unused), vec![there]]
                .concat()
                .join(" "),
            try_next: vec![COMPARE_NAMES.to_owned()],
        });
    }
    findings
}

/// No line has a known level at any time: nothing could be found.
pub fn never_known(capture: &Capture) -> Option<Finding> {
    let is_unknown = |line: &Line| {
        let tally = line.tally();
        (tally.low, tally.high) == (Ticks::ZERO, Ticks::ZERO) && tally.unknown + tally.floating > Ticks::ZERO
    };
    if capture.lines.is_empty() || !capture.lines.iter().all(is_unknown) {
        return None;
    }
    Some(Finding {
        severity: Severity::Warning,
        topic: "reading",
        lines: Vec::new(),
        title: "All lines are unknown (x) or floating (z) throughout, so nothing can be told from this capture".to_owned(),
        detail: format!(
            "{} without a low or a high at any time.",
            count_of(capture.lines.len() as u64, "line")
        ),
        try_next: vec![
            "See whether the instrument's inputs were connected and its thresholds set when it recorded.".to_owned(),
            "If the file comes from a simulation, give its inputs and its reset a level; else export the capture again."
                .to_owned(),
        ],
    })
}

/// How the title begins that says so of `file`.
fn nothing_brings(file: &str) -> String {
    format!("Nothing brings {file} to the clock of ")
}

/// Takes out the links between captures whose clocks nothing joined and whose pulses do not arrive as the times stand: that
/// says nothing of the wire. A note for each such pair of captures' links. `known`: what was found on the way to one clock;
/// `sources`: one for each capture.
pub fn unjoined(
    capture: &Capture,
    sources: &[CaptureRow],
    known: &[Finding],
    links: &mut Vec<links::Link>,
) -> Vec<Finding> {
    let is_joined = |of: usize| {
        let lines = &capture.lines;
        let Some(source) = sources.get(of) else {
            return true;
        };
        // What both recorded alike joins them without a word.
        let mut twins = lines
            .iter()
            .filter_map(|line| Some((line, &lines[line.same_as?])));
        twins.any(|(line, twin)| line.capture == of && twin.capture != of)
            || known
                .iter()
                .all(|finding| !finding.title.starts_with(&nothing_brings(&source.file)))
    };
    let apart: Vec<bool> = (0..sources.len()).map(|of| !is_joined(of)).collect();
    let is_apart = |of: usize| apart.get(of).copied().unwrap_or_default();
    let mut told: Vec<Finding> = Vec::new();
    links.retain(|link| {
        let (from, to) = (&capture.lines[link.from], &capture.lines[link.to]);
        let is_known = from.capture == to.capture || !(is_apart(from.capture) || is_apart(to.capture));
        // Most arrive: the two clocks are one.
        if is_known || link.arrived * 2 > link.sent {
            return true;
        }
        told.push(Finding {
            severity: Severity::Note,
            topic: "alignment",
            lines: vec![from.name.clone(), to.name.clone()],
            title: format!(
                "The link from {} to {} is not judged: its ends were recorded on two clocks that nothing joins",
                from.name, to.name
            ),
            detail: "As the files' own times stand, its pulses do not arrive; that says nothing of the wire.".to_owned(),
            try_next: vec![
                "Bring the two captures to one clock first: the finding that nothing does says how.".to_owned(),
            ],
        });
        false
    });
    told
}

/// How a line is named on the command line by which two captures come to one clock; `None` where one of them has no line
/// with edges. The example is the busiest line of each.
pub fn by_a_word(first: &Capture, other: &Capture) -> Option<String> {
    // These part the names of several lines, and those of one.
    let can_be_said = |line: &&Line| !line.edges.is_empty() && !line.name.contains([',', '=']);
    let busiest = |capture: &Capture| {
        let lines = capture.lines.iter().filter(can_be_said);
        lines
            .max_by_key(|line| line.edges.len())
            .map(|line| line.name.clone())
    };
    let (here, there) = (busiest(first)?, busiest(other)?);
    Some(format!(
        "Name an irregular line that both recorded: the same command with --align-on {} (say), if {here} of {} and {there} of {} \
         are one wire or the two ends of a link that works; in the browser the page Clocks does it.",
        shell_word(&format!("{here}={there}")),
        first.file,
        other.file
    ))
}

/// A word as it can be pasted into a shell.
fn shell_word(text: &str) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || "_-+./:=@".contains(c);
    match !text.is_empty() && text.chars().all(is_plain) {
        true => text.to_owned(),
        false => format!("'{}'", text.replace('\'', "'\\''")),
    }
}

/// Nobody said how `file` comes to the clock of `first`. `shared`: a line that both recorded and by which it would; `advice`:
/// how to name one, where there is none.
pub fn one_clock(
    first: &str,
    file: &str,
    shared: Option<&(String, Alignment)>,
    advice: Option<String>,
) -> Finding {
    let clip =
        "Where they share none, clip a free channel of both instruments to one line that switches irregularly.".to_owned();
    let mut try_next: Vec<String> = advice.into_iter().chain([clip]).collect();
    if let Some((line, alignment)) = shared {
        try_next = vec![format!(
            "Both recorded {line}, and {} of it match with {} added to the times of {file}: if they were recorded together, \
             the same command with --align-on {} brings them to one clock (in the browser the page Clocks does).",
            count_of(alignment.matched as u64, "edge"),
            seconds(alignment.offset_s),
            shell_word(line)
        )];
    }
    Finding {
        severity: Severity::Warning,
        topic: "alignment",
        lines: Vec::new(),
        title: format!("{}{first}: both are shown as their own times stand", nothing_brings(file)),
        detail: "What one of them shows is not compared in time with what the other shows unless they were recorded together, \
                 started by the same trigger."
            .to_owned(),
        try_next,
    }
}
