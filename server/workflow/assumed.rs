//! What had to be assumed, or could not be looked at, of files and setup together: it is told.

use crate::analysis::align::Alignment;
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::links;
use crate::model::units::{count_of, seconds};
use crate::model::{Capture, Line, NO_TIME_UNIT, Ticks};
use crate::report::CaptureRow;
use crate::report::inspect::NAMES_NO_UNIT;
use crate::setup::Setup;

use super::elsewhere::Elsewhere;
use super::known_lines;
use super::runs::align_pair_on;
use super::same_signal::last_part;

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
/// elsewhere (one setup may serve many captures). What `elsewhere` has is looked for there.
pub fn names(capture: &Capture, setup: &Setup, elsewhere: &Elsewhere) -> Vec<Finding> {
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
        if !absent.is_empty() && absent.iter().all(|name| elsewhere.has(name)) {
            findings.extend(elsewhere.link(&link.from, &link.to, is_here));
            continue;
        }
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
        .filter(|name| !is_here(name) && !elsewhere.has(name))
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
pub fn nothing_brings(file: &str) -> String {
    format!("Nothing brings {file} to the clock of ")
}

/// How a line is named on the command line by which two captures come to one clock; `None` where one of them has no line
/// with edges. The example is the pair of lines that fits best, else one of like names, else plainly made up. Cost: that of
/// aligning on [`MOST_PAIRS`] pairs.
pub fn by_a_word(first: &Capture, other: &Capture) -> Option<String> {
    // These part the names of several lines, and those of one.
    let can_be_said = |line: &&Line| !line.edges.is_empty() && !line.name.contains([',', '=']);
    let here: Vec<&Line> = first.lines.iter().filter(can_be_said).collect();
    let there: Vec<&Line> = other.lines.iter().filter(can_be_said).collect();
    if here.is_empty() || there.is_empty() {
        return None;
    }
    let pairs = || here.iter().flat_map(|x| there.iter().map(move |y| (*x, *y)));
    let fitting = best_fit((first, other), pairs());
    let alike = || pairs().find(|(x, y)| are_named_alike(&x.name, &y.name));
    let fits = fitting.as_ref().map_or(String::new(), |(_, alignment)| {
        format!(
            "; {} of the two match with {} added to the times of {}",
            count_of(alignment.matched as u64, "edge"),
            seconds(alignment.offset_s),
            other.file
        )
    });
    let example = match fitting.map(|(pair, _)| pair).or_else(alike) {
        Some((x, y)) => format!(
            "the same command with --align-on {} (say), if {} of {} and {} of {} are one wire or the two ends of a link that \
             works{fits}",
            shell_word(&format!("{}={}", x.name, y.name)),
            x.name,
            first.file,
            y.name,
            other.file
        ),
        None => format!(
            "the same command with --align-on LINE=LINE_IN_THE_OTHER, where LINE stands for its name in {} and LINE_IN_THE_OTHER for \
             that in {}",
            first.file, other.file
        ),
    };
    Some(format!(
        "Name an irregular line that both recorded: {example}; in the browser the page Clocks does it."
    ))
}

/// Pairs of lines on which two captures are tried, at most, …
const MOST_PAIRS: usize = 12;
/// … none of them with more edges, for an example is not worth the wait, …
const MOST_EDGES: usize = 100_000;
/// … and whose edges differ in number by at most this share: one wire switches equally often while both record.
const AS_MANY: f64 = 0.1;
/// Least share of the edges of the line with fewer that match.
const FITS: f64 = 0.9;

/// The pair by which the two captures come to one clock, the one with the most edges that match.
fn best_fit<'a>(
    (first, other): (&Capture, &Capture),
    pairs: impl Iterator<Item = (&'a Line, &'a Line)>,
) -> Option<((&'a Line, &'a Line), Alignment)> {
    let apart = |x: &Line, y: &Line| {
        x.edges.len().abs_diff(y.edges.len()) as f64 / x.edges.len().max(y.edges.len()) as f64
    };
    let mut near: Vec<(&Line, &Line)> = pairs
        .filter(|(x, y)| apart(x, y) <= AS_MANY && x.edges.len().max(y.edges.len()) <= MOST_EDGES)
        .collect();
    near.sort_by(|a, b| {
        apart(a.0, a.1)
            .total_cmp(&apart(b.0, b.1))
            .then(b.0.edges.len().cmp(&a.0.edges.len()))
    });
    let tried = near.into_iter().take(MOST_PAIRS).filter_map(|(x, y)| {
        let on = [format!("{}={}", x.name, y.name)];
        let alignment = align_pair_on(first, other, &on).ok()?;
        let fewer = x.edges.len().min(y.edges.len());
        (alignment.matched as f64 >= FITS * fewer as f64).then_some(((x, y), alignment))
    });
    tried.max_by_key(|(_, alignment)| alignment.matched)
}

/// Whether one name holds the other, scopes and capitals apart: `STRIKE` and `tower.STRIKE_IN`.
fn are_named_alike(one: &str, other: &str) -> bool {
    let of = |name: &str| last_part(name).to_ascii_lowercase();
    let (one, other) = (of(one), of(other));
    one.len().min(other.len()) >= 3 && (one.contains(&other) || other.contains(&one))
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
