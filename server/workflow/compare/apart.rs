//! Links and rules of the setup that no run can judge, for their lines were recorded in files that nothing brings to one clock.

use std::collections::HashSet;

use crate::analysis::rules::check_one;
use crate::model::{Capture, Level, Line};
use crate::setup::Setup;

/// A sentence for each link and rule whose lines a side's runs have, but none of them all; one sentence where that is so on both
/// sides. Cost: names only.
pub fn not_compared(before: &[&Capture], after: &[&Capture], setup: &Setup) -> Vec<String> {
    let mut told: Vec<(Parted, &str)> = Vec::new();
    for (side, runs) in [("before", before), ("after", after)] {
        for parted in parted(runs, setup) {
            match told.iter_mut().find(|(known, _)| *known == parted) {
                Some((_, sides)) => *sides = "before and after",
                None => told.push((parted, side)),
            }
        }
    }
    let says = |(Parted { what, names }, sides): (Parted, &str)| {
        format!(
            "{what} is not compared: {sides}, no run has all of {}, which were recorded in files that nothing brings to one \
             clock. Name an irregular line that they share: --align-on LINE (or LINE=LINE_IN_THE_OTHERS).",
            names.join(", ")
        )
    };
    told.into_iter().map(says).collect()
}

/// A link or a rule that no run of a side has all lines of.
#[derive(PartialEq)]
struct Parted {
    what: String,
    names: Vec<String>,
}

/// Those of one side's runs.
fn parted(runs: &[&Capture], setup: &Setup) -> Vec<Parted> {
    let bones: Vec<Capture> = runs.iter().map(|run| without_edges(run)).collect();
    let is_in = |run: &Capture, name: &str| {
        run.line_index(name).is_some() || run.buses.iter().any(|bus| bus.name == name)
    };
    let mut found = Vec::new();
    for link in &setup.links {
        let ends = [link.from.as_str(), link.to.as_str()];
        let is_whole = |run: &Capture| ends.iter().all(|end| is_in(run, end));
        let is_somewhere = |end: &&str| runs.iter().any(|run| is_in(run, end));
        if ends.iter().all(is_somewhere) && !runs.iter().any(|run| is_whole(run)) {
            found.push(Parted {
                what: format!("The link from {} to {}", link.from, link.to),
                names: ends.map(str::to_owned).into(),
            });
        }
    }
    for rule in &setup.rules {
        let missing: Vec<Vec<String>> = bones.iter().map(|run| check_one(run, rule).missing).collect();
        let all: HashSet<&String> = missing.iter().flatten().collect();
        // A name that some run does not miss is in it.
        let is_somewhere = |name: &&String| missing.iter().any(|names| !names.contains(name));
        if !missing.iter().any(Vec::is_empty) && !all.is_empty() && all.iter().all(is_somewhere) {
            let mut names: Vec<String> = all.into_iter().cloned().collect();
            names.sort_unstable();
            found.push(Parted {
                what: format!("The rule \"{}\"", rule.name),
                names,
            });
        }
    }
    found
}

/// The check of a rule says which names it does not find; edges would only cost time.
fn without_edges(capture: &Capture) -> Capture {
    let line = |line: &Line| Line::digital(line.name.clone(), Level::Low, Vec::new(), capture.span);
    Capture {
        lines: capture.lines.iter().map(line).collect(),
        ..capture.clone()
    }
}
