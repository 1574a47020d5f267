//! One trouble under two names: files of two conditions may call a line otherwise by its scopes only (`tower.board.CLEAR_N`,
//! and `CLEAR_N` in a table). As where captures are compared, it is one line if nothing else in its file's answer ends so.

use std::collections::{BTreeMap, BTreeSet};

use crate::report::inspect::{Finding, InspectReport, finding_keys};
use crate::workflow::same_signal::last_part;

/// Which names of lines may be told without their scopes, over several answers.
pub struct Names {
    /// Last parts that two lines of one answer have: these are told apart by what stands before.
    ambiguous: BTreeSet<String>,
}

impl Names {
    /// Over all of `reports`. Cost: their lines × log.
    pub fn over<'a>(reports: impl IntoIterator<Item = &'a InspectReport>) -> Names {
        let mut ambiguous = BTreeSet::new();
        for report in reports {
            // What is kept of a run among several has no lines but those of its findings.
            let own = report.lines.iter().map(|row| &row.line);
            let of_findings = report.findings.iter().flat_map(|finding| &finding.lines);
            let mut known: BTreeMap<&str, &str> = BTreeMap::new();
            for name in own.chain(of_findings) {
                let last = last_part(name);
                if *known.entry(last).or_insert(name) != name {
                    ambiguous.insert(last.to_owned());
                }
            }
        }
        Names { ambiguous }
    }

    /// What one trouble is called in every answer: the keys of findings, with the plain names of their lines.
    pub fn keys(&self, findings: &[Finding]) -> Vec<String> {
        let plain = |name: &String| match self.ambiguous.contains(last_part(name)) {
            true => name.clone(),
            false => last_part(name).to_owned(),
        };
        let renamed = findings.iter().map(|finding| Finding {
            lines: finding.lines.iter().map(plain).collect(),
            ..finding.clone()
        });
        finding_keys(&renamed.collect::<Vec<_>>())
    }
}

/// What `there` calls the line that `here` calls `name`; the name itself where `there` has none like it.
pub fn name_in(there: &InspectReport, here: &InspectReport, name: &str) -> String {
    let last = last_part(name);
    let like = |report: &InspectReport| -> Vec<String> {
        let rows = report.lines.iter().filter(|row| last_part(&row.line) == last);
        rows.map(|row| row.line.clone()).collect()
    };
    let is_there = there.lines.iter().any(|row| row.line == name);
    match (&like(here)[..], &like(there)[..]) {
        ([] | [_], [only]) if !is_there => only.clone(),
        _ => name.to_owned(),
    }
}
