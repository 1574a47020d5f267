//! One trouble under two names: files of two conditions may call a line otherwise by its scopes only (`tower.board.CLEAR_N`,
//! and `CLEAR_N` in a table). As where captures are compared, it is one line if nothing else in its file's answer ends so. Nor
//! does a further file of the run, which has a line of that name as well, make another trouble of it ([`InspectReport::signal`]).

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
            let mut known: BTreeMap<String, String> = BTreeMap::new();
            for name in own.chain(of_findings).map(|line| report.signal(line)) {
                let last = last_part(&name).to_owned();
                if known.entry(last.clone()).or_insert_with(|| name.clone()) != &name {
                    ambiguous.insert(last);
                }
            }
        }
        Names { ambiguous }
    }

    /// What one trouble is called in every answer: the keys of findings, with the plain names of their lines.
    pub fn keys(&self, report: &InspectReport) -> Vec<String> {
        let plain = |line: &String| {
            let name = report.signal(line);
            match self.ambiguous.contains(last_part(&name)) {
                true => name,
                false => last_part(&name).to_owned(),
            }
        };
        let renamed = report.findings.iter().map(|finding| Finding {
            lines: finding.lines.iter().map(plain).collect(),
            ..finding.clone()
        });
        finding_keys(&renamed.collect::<Vec<_>>())
    }
}

/// For each finding of a report all keys that the same trouble has in it and in the `others`, its own first and those of
/// later ones before those of earlier ones.
pub fn keys_of(report: &InspectReport, others: &[&InspectReport]) -> Vec<Vec<String>> {
    let names = Names::over(others.iter().copied().chain([report]));
    let keys = |report: &InspectReport| -> Vec<(String, String)> {
        let own = finding_keys(&report.findings);
        own.into_iter().zip(names.keys(report)).collect()
    };
    let other: Vec<(String, String)> = others.iter().rev().flat_map(|report| keys(report)).collect();
    let own: Vec<(String, String)> = keys(report);
    let all = own.into_iter().map(|(key, alike)| {
        let mut keys = vec![key];
        for (key, _) in other.iter().filter(|(_, other)| *other == alike) {
            if !keys.contains(key) {
                keys.push(key.clone());
            }
        }
        keys
    });
    all.collect()
}

/// What `there` calls the line that `here` calls `name`; the name itself where `there` has none like it.
pub fn name_in(there: &InspectReport, here: &InspectReport, name: &str) -> String {
    let signal = here.signal(name);
    if let Some(row) = there.lines.iter().find(|row| there.signal(&row.line) == signal) {
        return row.line.clone();
    }
    let last = last_part(&signal);
    let like = |report: &InspectReport| -> Vec<String> {
        let rows = report.lines.iter();
        let rows = rows.filter(|row| last_part(&report.signal(&row.line)) == last);
        rows.map(|row| row.line.clone()).collect()
    };
    match (&like(here)[..], &like(there)[..]) {
        ([] | [_], [only]) => only.clone(),
        _ => name.to_owned(),
    }
}
