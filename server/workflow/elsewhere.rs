//! Captures of one evening that could not be brought to one clock: each is looked at by itself, and what it lacks is not missed
//! where another has it.

use std::collections::HashSet;
use std::path::Path;

use crate::analysis::findings::{Finding, Severity};
use crate::analysis::rules::RuleResults;
use crate::model::Capture;
use crate::report::inspect::{Finding as FindingRow, InspectReport};

/// What was recorded beside what is looked at, on other clocks.
#[derive(Clone, Debug, Default)]
pub struct Elsewhere {
    /// Names of lines, buses and columns in volts, clock by clock.
    clocks: Vec<HashSet<String>>,
    /// What is looked at is the run that the others could not be brought to: it tells of what lies on two clocks.
    is_first: bool,
}

impl Elsewhere {
    /// `captures`: one for each other clock; the first is the run that the others could not be brought to, unless what is
    /// looked at `is_first`.
    pub fn of<'a>(captures: impl Iterator<Item = &'a Capture>, is_first: bool) -> Elsewhere {
        let names = |capture: &Capture| {
            let lines = capture.lines.iter().map(|line| line.name.clone());
            let buses = capture.buses.iter().map(|bus| bus.name.clone());
            let volts = capture.not_logic.iter().map(|column| column.name.clone());
            lines.chain(buses).chain(volts).collect()
        };
        Elsewhere {
            clocks: captures.map(names).collect(),
            is_first,
        }
    }

    /// Whether another clock's captures have it.
    pub fn has(&self, name: &str) -> bool {
        self.clocks.iter().any(|names| names.contains(name))
    }

    /// Rules whose missing lines were recorded elsewhere: judged there, or, where they have lines on both sides, nowhere.
    pub fn settle(&self, capture: &Capture, results: &mut RuleResults) {
        for result in &mut results.rules {
            if result.missing.is_empty() || !result.missing.iter().all(|name| self.has(name)) {
                continue;
            }
            let Some(&own) = result.lines.first() else {
                result.is_elsewhere = true;
                continue;
            };
            let other = result.missing.remove(0);
            // It is told once.
            let is_the_first_s = self.clocks.first().is_some_and(|names| names.contains(&other));
            result.is_elsewhere = !self.is_first && is_the_first_s;
            result.apart = Some((capture.lines[own].name.clone(), other));
            result.missing.clear();
        }
    }

    /// A link with one end here and the other elsewhere; `None` where the clock of its sending end tells of it.
    pub fn link(&self, from: &str, to: &str, is_here: impl Fn(&str) -> bool) -> Option<Finding> {
        is_here(from).then(|| parted(from, to))
    }
}

/// A link whose ends were recorded on two clocks.
pub fn parted(from: &str, to: &str) -> Finding {
    Finding {
        severity: Severity::Note,
        topic: "alignment",
        lines: vec![from.to_owned(), to.to_owned()],
        title: format!(
            "The link from {from} to {to} is not judged: its ends were recorded on two clocks that nothing joins"
        ),
        detail: "As the files' own times stand, its pulses do not arrive, or not as they do over a wire; that says nothing of \
                 the wire."
            .to_owned(),
        try_next: vec![
            "Bring the two captures to one clock first: the finding that nothing does says how.".to_owned(),
        ],
    }
}

/// Renames what another capture has a name of as well, `STEM/LINE`: in one report each name is one line's.
pub fn renamed(mut capture: Capture, others: &Elsewhere) -> Capture {
    let stem = Path::new(&capture.file).file_stem().unwrap_or_default();
    let stem = stem.to_string_lossy().into_owned();
    let own = |name: &mut String| {
        if others.has(name) {
            *name = format!("{stem}/{name}");
        }
    };
    capture.lines.iter_mut().for_each(|line| own(&mut line.name));
    capture.buses.iter_mut().for_each(|bus| own(&mut bus.name));
    capture
}

/// Puts the report of a capture that was looked at by itself beside that of the others. Its times stay on its own clock.
pub fn beside(report: &mut InspectReport, own: InspectReport) {
    report.captures.extend(own.captures);
    report.lines.extend(own.lines);
    report.strays.extend(own.strays);
    report.couplings.extend(own.couplings);
    report.links.extend(own.links);
    report.doubts.extend(own.doubts);
    report.proposals.extend(own.proposals);
    report.permutations.extend(own.permutations);
    report.waveforms.extend(own.waveforms);
    for (row, own) in report.rules.iter_mut().zip(own.rules) {
        if !row.missing.is_empty() && own.missing.is_empty() {
            *row = own;
        }
    }
    for own in own.rails {
        match report.rails.iter_mut().find(|row| row.rail == own.rail) {
            Some(row) if row.samples == 0 && own.samples > 0 => *row = own,
            Some(_) => {}
            None => report.rails.push(own),
        }
    }
    // That nothing was found is said of all.
    let is_told = |finding: &FindingRow| {
        let mut told = report.findings.iter();
        told.any(|other| other.title == finding.title)
            || (finding.topic == "stray" && finding.lines.is_empty())
    };
    let new: Vec<FindingRow> = own
        .findings
        .into_iter()
        .filter(|finding| !is_told(finding))
        .collect();
    report.findings.extend(new);
    report
        .findings
        .sort_by_key(|finding| (!finding.is_of_time_unit(), finding.severity));
    for (at, finding) in report.findings.iter_mut().enumerate() {
        finding.id = format!("F{}", at + 1);
    }
}
