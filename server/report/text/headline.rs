//! The answer in a few sentences: how many things look wrong, and the first of them.

use super::taken_over;
use crate::report::inspect::{Finding, InspectReport, Severity};

/// Warnings, and faults, that are named.
const FIRST: usize = 2;
const NAMED: usize = 2;
/// Words of an answer that proves no fault, about: the finding itself tells the rest.
const WORDS: usize = 25;
/// A title is not cut to fewer words than these.
const FEWEST_WORDS: usize = 8;

/// What is wrong, or that nothing was found, in a few sentences: [`headline_sentences`] as one text.
pub fn headline(report: &InspectReport) -> String {
    headline_sentences(report).join(" ")
}

/// What is wrong, or that nothing was found: how many faults there are, then the first of them, a sentence each. A sentence
/// before them where a file names no unit of its times. Never empty.
pub fn headline_sentences(report: &InspectReport) -> Vec<String> {
    let mut units = report.findings.iter().filter(|f| f.is_of_time_unit());
    let mut said: Vec<String> = match (units.next(), units.count()) {
        (None, _) => Vec::new(),
        (Some(first), 0) => vec![format!("{}.", first.title)],
        (Some(first), more) => vec![format!("{} (so for {more} more).", first.title)],
    };
    said.extend(found(report));
    if report
        .findings
        .iter()
        .all(|f| f.severity == Severity::Note || f.is_of_time_unit())
        && let Some(rested) = report.findings.iter().find(|f| f.is_of_rested_lines())
    {
        said.push(rested.title.clone());
    }
    said
}

fn found(report: &InspectReport) -> Vec<String> {
    let of = |severity: Severity| {
        let findings = report.findings.iter().filter(move |f| f.severity == severity);
        findings.filter(|f| !f.is_of_time_unit())
    };
    let warnings = of(Severity::Warning).count();
    // That nothing was found is a note as well, and the only one without lines.
    let open: Vec<&str> = of(Severity::Note)
        .filter(|f| f.topic == "stray" && !f.lines.is_empty())
        .map(|f| f.title.trim_end_matches('.'))
        .collect();
    let clean = taken_over::clean(report);
    let said = match of(Severity::Fault).count() {
        0 if warnings == 0 && !open.is_empty() => {
            let clean = taken_over::clean_briefly(report);
            let told = look_at("Nothing is shown to be wrong, but look at this:", &open, words(&clean));
            match clean.as_str() {
                "" => told,
                clean => format!("{told} {clean}."),
            }
        }
        0 if warnings == 0 && !clean.is_empty() => format!("Nothing looks wrong: {clean}."),
        0 if warnings == 0 && is_unjudged(report) => {
            "Nothing looks wrong, but little could be judged: no line's pulse widths tell what is too narrow for it.".to_owned()
        }
        0 if warnings == 0 => "Nothing looks wrong in this capture.".to_owned(),
        0 if warnings == 1 => match of(Severity::Warning).next() {
            // Where nothing moves nothing was tried.
            Some(only) if only.topic == "reading" && only.lines.is_empty() => format!("{}.", only.title),
            Some(only) => look_at(UNPROVED, &[only.title.trim_end_matches('.')], 0),
            None => String::new(),
        },
        0 => {
            let titles: Vec<&str> = of(Severity::Warning)
                .map(|f| f.title.trim_end_matches('.'))
                .collect();
            look_at(UNPROVED, &titles, 0)
        }
        n => {
            let mut said = vec![match n {
                1 => "One thing looks wrong.".to_owned(),
                n => format!("{} things look wrong.", count_word(n)),
            }];
            said.extend(of(Severity::Fault).take(NAMED).map(|fault| format!("{}.", plainly(fault))));
            said.extend(match n.saturating_sub(NAMED) {
                0 => None,
                1 => Some("And one more.".to_owned()),
                more => Some(format!("And {} more.", count_word(more).to_lowercase())),
            });
            return said;
        }
    };
    vec![said]
}

/// A fault in one short sentence, without its full stop: who does what to whom before the counts, and no limit behind a
/// semicolon, which the finding itself tells.
fn plainly(fault: &Finding) -> String {
    let title = fault.title.trim_end_matches('.');
    if let ("coupling", [victim, aggressor]) = (fault.topic.as_str(), fault.lines.as_slice())
        && let Some(counts) = title.strip_prefix(&format!("{victim}: "))
        && let Some((pulses, who)) = counts.split_once(" follow ")
        && let Some(doing @ (" falling" | " rising" | " switching")) = who.strip_prefix(aggressor.as_str())
    {
        return format!("{aggressor}{doing} disturbs {victim}: {pulses} follow it");
    }
    let is_named_so = fault.lines.iter().any(|line| line.contains("; "));
    match title.split_once("; ") {
        Some((first, _)) if !is_named_so => first.to_owned(),
        _ => title.to_owned(),
    }
}

/// A small count as a word, capital first: `Two`.
pub fn count_word(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven",
        "Twelve",
    ];
    WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// A title inside a sentence: small, unless it begins with a name.
fn inside(title: &str) -> String {
    const WORDS: [&str; 4] = ["The ", "Nothing ", "No ", "One "];
    match WORDS.iter().any(|word| title.starts_with(word)) {
        true => title[..1].to_lowercase() + &title[1..],
        false => title.to_owned(),
    }
}

/// What stands before warnings where there is no fault.
const UNPROVED: &str = "No fault is proved, but look at this:";

fn words(text: &str) -> usize {
    text.split_whitespace().count()
}

/// The first of these titles behind `lead`, as many as fit, and how many more there are. `beside`: words that stand there too.
fn look_at(lead: &str, titles: &[&str], beside: usize) -> String {
    let room = WORDS.saturating_sub(words(lead) + beside);
    let first: Vec<String> = titles.iter().take(FIRST).map(|title| inside(title)).collect();
    let all = first.join("; ");
    let (told, count) = match words(&all) <= room {
        true => (all, first.len()),
        false => (brief(&first[0], room.max(FEWEST_WORDS)), 1),
    };
    match titles.len() - count {
        0 => format!("{lead} {told}."),
        more => format!("{lead} {told}; and {more} more."),
    }
}

/// A title in no more than `room` words, about: up to the last pause that fits, else as many words as fit.
fn brief(title: &str, room: usize) -> String {
    if words(title) <= room {
        return title.to_owned();
    }
    let pauses = ["; ", ", ", ": ", " ("]
        .iter()
        .flat_map(|pause| title.match_indices(pause));
    let fitting = pauses
        .map(|(at, _)| &title[..at])
        .filter(|part| (FEWEST_WORDS / 2..=room).contains(&words(part)) && is_whole(part));
    match fitting.max_by_key(|part| part.len()) {
        Some(part) => part.to_owned(),
        None => {
            let first: Vec<&str> = title.split_whitespace().take(room).collect();
            format!("{} …", first.join(" "))
        }
    }
}

/// Whether no parenthesis and no quotation stays open.
fn is_whole(part: &str) -> bool {
    let count = |letter: char| part.matches(letter).count();
    count('(') == count(')') && count('"').is_multiple_of(2)
}

/// Whether no line has a limit, and nothing else was asked of the lines.
fn is_unjudged(report: &InspectReport) -> bool {
    let moves = report.lines.iter().any(|row| row.edges > 0);
    let limits = report.lines.iter().any(|row| row.narrow_from != "none");
    moves && !limits && report.links.is_empty() && report.rules.is_empty() && report.rails.is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::inspect::LineRow;

    fn finding(severity: Severity, title: &str) -> Finding {
        Finding {
            id: "F1".into(),
            severity,
            topic: "stray".into(),
            lines: vec![],
            title: title.into(),
            detail: String::new(),
            try_next: vec![],
        }
    }

    #[test]
    fn lines_that_never_moved_are_asked_about_behind_what_is_right() {
        let rested = Finding {
            topic: "stuck".into(),
            lines: vec!["LAMP_ARC".into()],
            ..finding(Severity::Note, "LAMP_ARC never moved in 3 s: was it meant to?")
        };
        let mut report = InspectReport::empty();
        report.findings.push(rested);
        assert_eq!(
            headline(&report),
            "Nothing looks wrong in this capture. LAMP_ARC never moved in 3 s: was it meant to?"
        );
        report.findings.push(finding(Severity::Fault, "STEP is dead"));
        assert_eq!(headline(&report), "One thing looks wrong. STEP is dead.");
    }

    #[test]
    fn a_headline_without_a_fault_is_about_25_words() {
        let long = "PLAY_N: 14 stray pulses follow LIFT or MUTE, which switch together, and the record can't tell which of the two brings \
                    them (LIFT 14 of 80, MUTE 14 of 92 edges)";
        let told = |severity, titles: &[&str]| {
            let mut report = InspectReport::empty();
            report.findings = titles.iter().map(|title| finding(severity, title)).collect();
            for found in &mut report.findings {
                found.lines = vec!["PLAY_N".into()];
            }
            headline(&report)
        };
        assert_eq!(
            told(Severity::Warning, &[long]),
            "No fault is proved, but look at this: PLAY_N: 14 stray pulses follow LIFT or MUTE, which switch together."
        );
        assert_eq!(
            told(Severity::Note, &[long, long, "A rests."]),
            "Nothing is shown to be wrong, but look at this: PLAY_N: 14 stray pulses follow LIFT or MUTE, which switch together; and \
             2 more."
        );
        // Two short ones as ever; without a pause as many words as fit; no half quotation.
        assert_eq!(
            told(Severity::Warning, &["A rings.", "B rings."]),
            "No fault is proved, but look at this: A rings; B rings."
        );
        let endless = ["word"; 40].join(" ");
        assert_eq!(words(&told(Severity::Warning, &[&endless])), 26);
        let quoted = format!("Rule \"never, ever: both\" can't be told {endless}");
        assert!(told(Severity::Warning, &[&quoted]).contains("\"never, ever: both\" can't be told word"));
    }

    #[test]
    fn the_headline_names_the_faults() {
        let mut report = InspectReport::empty();
        assert_eq!(headline(&report), "Nothing looks wrong in this capture.");
        let row = |narrow_from: &str| LineRow {
            line: "STEP".into(),
            capture: String::new(),
            source: crate::model::Source::Digital,
            edges: 5,
            narrow_below_s: None,
            narrow_below_low_s: None,
            narrow_below_high_s: None,
            narrow_from: narrow_from.into(),
        };
        report.lines = vec![row("none")];
        assert!(headline(&report).contains("little could be judged"));
        report.lines.push(row("inferred"));
        assert_eq!(headline(&report), "Nothing looks wrong in this capture.");
        report.findings = vec![finding(Severity::Warning, "BELL[4] never moves")];
        assert_eq!(
            headline(&report),
            "No fault is proved, but look at this: BELL[4] never moves."
        );
        report.findings = vec![finding(Severity::Warning, "A rings."); 4];
        assert_eq!(
            headline(&report),
            "No fault is proved, but look at this: A rings; A rings; and 2 more."
        );
        report.findings = vec![
            finding(Severity::Fault, "A dips"),
            finding(Severity::Fault, "B is lost."),
        ];
        assert_eq!(headline(&report), "Two things look wrong. A dips. B is lost.");
        report.findings[0].topic = "coupling".into();
        report.findings[0].lines = vec!["A".into(), "B".into()];
        report.findings[0].title = "A: 97 of 99 stray pulses follow B falling".into();
        report.findings[1].title =
            "B changes 3 ns after the rise of A; the hold time is at least 5 ns".into();
        report.findings.push(finding(Severity::Fault, "C is lost"));
        assert_eq!(
            headline(&report),
            "Three things look wrong. B falling disturbs A: 97 of 99 stray pulses follow it. B changes 3 ns after the rise \
             of A. And one more."
        );
        report.findings = vec![
            finding(Severity::Fault, "A dips"),
            finding(Severity::Fault, "B is lost."),
        ];
        let mut unit = finding(
            Severity::Warning,
            "a.vcd names no time unit: all times below suppose 1 ns",
        );
        unit.topic = "reading".into();
        report.findings.insert(0, unit.clone());
        assert_eq!(
            headline(&report),
            "a.vcd names no time unit: all times below suppose 1 ns. Two things look wrong. A dips. B is lost."
        );
        report.findings = vec![unit.clone(), unit];
        assert_eq!(
            headline(&report),
            "a.vcd names no time unit: all times below suppose 1 ns (so for 1 more). Nothing looks wrong in this capture."
        );
    }
}
