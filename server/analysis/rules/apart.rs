//! Rules over captures that nothing brings to one clock: what their edges seem to do to each other says nothing of the
//! machine, so such a rule is not judged.

use super::{Limits, RuleResult, RuleResults, Tally};
use crate::model::Capture;
use crate::rule::{Demand, Rule};

/// Takes back what was found of each rule whose lines lie in captures that are not joined, and says which lines these are
/// ([`RuleResult::apart`]). Of a sequence's watched lines only the company they keep is taken back. `rules` and the results:
/// as many; `is_joined`: whether two captures stand on one clock.
pub fn set_apart(
    capture: &Capture,
    rules: &[Rule],
    results: &mut RuleResults,
    is_joined: &dyn Fn(usize, usize) -> bool,
) {
    let of = |line: usize| capture.lines[line].capture;
    for (rule, result) in rules.iter().zip(&mut results.rules) {
        // A name that is not there is told instead.
        let own = match result.missing.is_empty() {
            true => judged(capture, rule, result),
            false => Vec::new(),
        };
        let Some(&first) = own.first() else {
            continue;
        };
        if let Some(&other) = own.iter().find(|line| !is_joined(of(first), of(**line))) {
            *result = RuleResult {
                lines: std::mem::take(&mut result.lines),
                apart: Some((
                    capture.lines[first].name.clone(),
                    capture.lines[other].name.clone(),
                )),
                is_elsewhere: false,
                missing: Vec::new(),
                tally: Tally::new(Limits::default(), 1.0),
                tale: None,
                table: None,
                held: None,
            };
        } else if let Some(tale) = &mut result.tale {
            tale.company
                .retain(|beside| is_joined(of(first), of(beside.line)));
        }
    }
}

/// The rule's lines without those that are only looked at when a step is wrong.
fn judged(capture: &Capture, rule: &Rule, result: &RuleResult) -> Vec<usize> {
    let watched: &[String] = match &rule.demand {
        Demand::Sequence(sequence) => &sequence.watch,
        _ => &[],
    };
    let is_watched = |line: &usize| watched.contains(&capture.lines[*line].name);
    let lines = result.lines.iter().copied();
    lines.filter(|line| !is_watched(line)).collect()
}
