//! Strays that follow several lines alike: each with the edges that may have caused it, none of them accused.

use crate::model::{Polarity, Ticks};
use crate::report::inspect::{CouplingRow, StrayRow};
use crate::report::text::seconds;

use super::{Mark, Occurrence, stray_occurrence};
use crate::web::opened::Opened;

/// The strays of `victim` that nobody is accused of, with the edges of `suspects` that they follow.
pub(super) fn occurrences(opened: &Opened, victim: &str, suspects: &[String]) -> Vec<Occurrence> {
    let row = opened.report.couplings.iter().find(|row| {
        row.victim == victim && row.standing == "inseparable" && suspects.first() == Some(&row.aggressor)
    });
    let is_open =
        |stray: &&StrayRow| stray.line == victim && stray.aggressor.is_none() && stray.kind != "bounce";
    let one = |stray: &StrayRow| {
        let mut occurrence = stray_occurrence(opened, stray, &Default::default())?;
        if let Some(row) = row {
            mark(opened, stray, row, suspects, &mut occurrence);
        }
        Some(occurrence)
    };
    opened
        .report
        .strays
        .iter()
        .filter(is_open)
        .filter_map(one)
        .collect()
}

/// Adds the edges of the suspects, where the first of them has one at the lags of the coupling.
fn mark(opened: &Opened, stray: &StrayRow, row: &CouplingRow, suspects: &[String], to: &mut Occurrence) {
    let (least_s, most_s) = match &row.lag_histogram {
        Some(h) => (h.start_s, h.start_s + h.bin_s * h.counts.len() as f64),
        None => (row.lag_s.low, row.lag_s.high),
    };
    let start = opened.ticks_at(stray.start_s);
    let at_lag = |lag_s: f64| opened.ticks_at(stray.start_s - lag_s);
    let wanted = match row.edge.as_str() {
        "rise" => Some(Polarity::Rise),
        "fall" => Some(Polarity::Fall),
        _ => None,
    };
    let middle = at_lag(row.lag_s.median);
    let span = (at_lag(most_s), at_lag(least_s));
    let Some(cause) = nearest(opened, &row.aggressor, wanted, middle, span) else {
        return;
    };
    // One that switches the other way round, or a little beside, is as much a suspect.
    let reach = (span.1 - span.0).max(1);
    let mut names = Vec::new();
    for name in suspects {
        let at = match *name == row.aggressor {
            true => Some(cause),
            false => nearest(opened, name, None, cause, (cause - reach, cause + reach)),
        };
        if let (Some(at), Some(line)) = (at, opened.capture.line_index(name)) {
            to.marks.push(Mark::Suspect { line, at });
            to.from = to.from.min(at);
            names.push(name.as_str());
        }
    }
    let lag = seconds(opened.capture.timebase.length_s((start - cause).abs() as f64));
    let side = if cause > start { "before" } else { "after" };
    to.caption = match names.as_slice() {
        [one] => format!(
            "{}, {lag} {side} {one} switches.",
            to.caption.trim_end_matches('.')
        ),
        _ => format!(
            "{}, {lag} {side} {} switch: which of them, this capture can't tell.",
            to.caption.trim_end_matches('.'),
            names.join(" and ")
        ),
    };
}

/// The edge of a line nearest to `middle`, within `span` (both ends closed), in ticks from the origin.
fn nearest(
    opened: &Opened,
    name: &str,
    wanted: Option<Polarity>,
    middle: i64,
    span: (i64, i64),
) -> Option<i64> {
    let line = &opened.capture.lines[opened.capture.line_index(name)?];
    let origin = opened.origin().0;
    let from = line
        .edges
        .partition_point(|&edge: &Ticks| edge.0 - origin < span.0);
    let until = line
        .edges
        .partition_point(|&edge: &Ticks| edge.0 - origin <= span.1);
    (from..until)
        .filter(|&edge| wanted.is_none_or(|wanted| line.polarity(edge) == wanted))
        .map(|edge| line.edges[edge].0 - origin)
        .min_by_key(|at| (at - middle).abs())
}
