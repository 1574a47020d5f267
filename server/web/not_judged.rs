//! What a condition's captures could not be asked about: a link or a rule whose lines were recorded on clocks that nothing joins.
//! It is never said to be gone there.

use crate::report::inspect::{Finding, InspectReport};

use super::alike::name_in;

/// Topics of findings that a declared rule was broken.
const OF_RULES: [&str; 3] = ["limit", "logic", "sequence"];

/// Whether a report says that what a finding of `before` tells of is not judged in it. What is kept of a run has no rows of links
/// and rules, so its notes are asked.
pub fn is_not_judged(finding: &Finding, before: &InspectReport, report: &InspectReport) -> bool {
    let mut notes = report.findings.iter();
    match finding.topic.as_str() {
        "link" => {
            let is_of = |name: &str| {
                let mut lines = finding.lines.iter();
                lines.any(|line| line == name || name_in(report, before, line) == name)
            };
            let mut links = notes.filter_map(unjudged_link);
            links.any(|(from, to)| is_of(from) && is_of(to))
        }
        topic if OF_RULES.contains(&topic) => {
            let rest = finding.detail.strip_prefix("Rule \"");
            let Some((name, _)) = rest.and_then(|rest| rest.split_once("\". ")) else {
                return false;
            };
            let words = format!("The rule \"{name}\" is not judged: ");
            notes.any(|note| note.topic == topic && note.title.starts_with(&words))
        }
        _ => false,
    }
}

/// The ends of a link that a note says is not judged, as its declaration calls them.
pub fn unjudged_link(note: &Finding) -> Option<(&str, &str)> {
    let [from, to] = &note.lines[..] else {
        return None;
    };
    let is_it =
        note.topic == "alignment" && note.title.starts_with(&format!("The link from {from} to {to} "));
    is_it.then_some((from, to))
}
