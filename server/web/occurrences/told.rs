//! Which of a finding's moments its sentence tells of, and its figure shows.

use super::{Mark, Occurrence, occurrences, rule_of};
use crate::report::inspect::Finding;
use crate::report::rails::ExcursionRow;
use crate::report::rules::ViolationRow;
use crate::web::opened::Opened;

/// Which occurrence of a finding, by position, its sentence tells of: of a broken limit the one furthest beyond it, of a supply
/// the dip or rise furthest from what it should be, else the first.
pub fn told(opened: &Opened, finding: &Finding) -> usize {
    match finding.topic.as_str() {
        "limit" => furthest_beyond(opened, finding).unwrap_or(0),
        "rail" => deepest(opened, finding).unwrap_or(0),
        _ => 0,
    }
}

/// The violation furthest beyond its limit; of equals the first.
fn furthest_beyond(opened: &Opened, finding: &Finding) -> Option<usize> {
    let rule = rule_of(opened, finding)?;
    let beyond = |row: &ViolationRow| {
        let measured = row.measured_s?;
        let at_least_s = row.limit_s.or(rule.at_least_s);
        let below = at_least_s.map_or(0.0, |least| least - measured);
        let above = rule.at_most_s.map_or(0.0, |most| measured - most);
        Some(below.max(above))
    };
    // One without a value is worst of all.
    let worst = rule.violations.iter().rev().max_by(|a, b| {
        let of = |row: &ViolationRow| beyond(row).unwrap_or(f64::INFINITY);
        of(a).total_cmp(&of(b))
    })?;
    let line = opened.capture.line_index(worst.lines.first()?);
    let is_of = |mark: &Mark| matches!(mark, Mark::Violation { line: of, .. } if Some(*of) == line);
    starting_at(opened, finding, worst.start_s, is_of)
}

/// The excursion of the finding's supply furthest from what the supply should be; of equals the first.
fn deepest(opened: &Opened, finding: &Finding) -> Option<usize> {
    let rail = finding.lines.first()?;
    let row = opened.report.rails.iter().find(|row| row.rail == *rail)?;
    let far = |e: &ExcursionRow| (e.extreme_v - row.nominal_v).abs();
    let worst = row
        .excursions
        .iter()
        .rev()
        .max_by(|a, b| far(a).total_cmp(&far(b)))?;
    starting_at(opened, finding, worst.start_s, |mark| {
        matches!(mark, Mark::Dip { .. })
    })
}

/// The finding's occurrence that starts then and has such a mark.
fn starting_at(
    opened: &Opened,
    finding: &Finding,
    start_s: f64,
    is_of: impl Fn(&Mark) -> bool,
) -> Option<usize> {
    let start = opened.ticks_at(start_s);
    let is_it = |one: &Occurrence| one.from == start && one.marks.iter().any(&is_of);
    occurrences(opened, finding).iter().position(is_it)
}
