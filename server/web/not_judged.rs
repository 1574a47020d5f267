//! What a condition's captures could not be asked about: a link or a rule whose lines were recorded on clocks that nothing joins.
//! It is never said to be gone there.

use crate::report::inspect::{Finding, InspectReport};

use super::alike::name_in;
use super::answers::Answer;

/// Topics of findings that a declared rule was broken.
const OF_RULES: [&str; 3] = ["limit", "logic", "sequence"];

/// Whether what a finding of `before` tells of is judged in no run under `now`, and in one of them is told not to be.
pub fn is_judged_nowhere(finding: &Finding, before: &InspectReport, now: &Answer) -> bool {
    let judged: Vec<Option<bool>> = now
        .reports()
        .map(|report| match finding.topic.as_str() {
            "link" => of_link(finding, before, report),
            topic if OF_RULES.contains(&topic) => of_rule(finding, report),
            _ => None,
        })
        .collect();
    judged.contains(&Some(false)) && !judged.contains(&Some(true))
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

/// Whether the link between lines of the finding is judged in a report that has it.
fn of_link(finding: &Finding, before: &InspectReport, report: &InspectReport) -> Option<bool> {
    let is_of = |name: &str| {
        let mut lines = finding.lines.iter();
        lines.any(|line| line == name || name_in(report, before, line) == name)
    };
    let mut unjudged = report.findings.iter().filter_map(unjudged_link);
    if unjudged.any(|(from, to)| is_of(from) && is_of(to)) {
        return Some(false);
    }
    let mut links = report.links.iter();
    links
        .any(|link| is_of(&link.from) && is_of(&link.to))
        .then_some(true)
}

/// Whether the finding's rule is judged in a report that has it.
fn of_rule(finding: &Finding, report: &InspectReport) -> Option<bool> {
    let mut rules = report.rules.iter();
    // Two rules may begin alike: the whole name stands in quotation marks.
    let rule = rules.find(|rule| finding.detail.starts_with(&format!("Rule \"{}\". ", rule.name)))?;
    match rule.verdict.as_str() {
        "not-judged" => Some(false),
        "kept" | "broken" => Some(true),
        _ => None,
    }
}
