//! The moments a finding rests on, as the diagram draws them: guilty edge, stray, lag, ghost of a lost pulse.

use serde::Serialize;

use crate::model::units::engineering;
use crate::model::{Polarity, Ticks};
use crate::report::inspect::{CouplingRow, Finding, LinkRow, StrayRow};
use crate::report::rails::ExcursionRow;
use crate::report::rules::ViolationRow;
use crate::report::text::seconds;

use super::opened::Opened;

/// Strays of a contact closer together than this are one burst: switches settle within some 20 ms (common
/// practice, no single source).
const BURST_GAP_S: f64 = 0.02;

/// One moment of a finding. Times are ticks from the capture's first moment.
#[derive(Clone, Debug, Serialize, PartialEq, utoipa::ToSchema)]
pub struct Occurrence {
    /// First and last moment of the evidence.
    pub from: i64,
    pub to: i64,
    pub marks: Vec<Mark>,
    /// What is seen, as a sentence that can be read aloud.
    pub caption: String,
}

/// A thing to draw; `line` is a position in the capture's lines.
#[derive(Clone, Debug, Serialize, PartialEq, utoipa::ToSchema)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Mark {
    /// A pulse that should not be there.
    Stray { line: usize, start: i64, end: i64 },
    /// The edge that goes with it.
    Cause { line: usize, at: i64 },
    /// A pulse that was sent (`from`, at `sent`) and should have been at `line` between `start` and `end`.
    Missing {
        from: usize,
        sent: i64,
        line: usize,
        start: i64,
        end: i64,
    },
    /// A pulse at the far end that nobody sent.
    Extra { line: usize, start: i64, end: i64 },
}

/// All occurrences of a finding, in time. Cost: linear in strays.
pub fn occurrences(opened: &Opened, finding: &Finding) -> Vec<Occurrence> {
    let mut list = match (finding.topic.as_str(), finding.lines.as_slice()) {
        ("coupling", [victim, aggressor, ..]) => strays(opened, |stray| {
            stray.line == *victim && stray.aggressor.as_deref() == Some(aggressor)
        }),
        ("inseparable" | "uncaptured-cause" | "stray" | "shared-supply", [victim, ..]) => {
            strays(opened, |stray| {
                stray.line == *victim && stray.aggressor.is_none() && stray.kind != "bounce"
            })
        }
        ("bounce", [line, ..]) => bursts(opened, line),
        ("link", [from, to, ..]) => {
            let rows = &opened.report.links;
            rows.iter()
                .find(|row| row.from == *from && row.to == *to)
                .map_or(Vec::new(), |row| link(opened, row))
        }
        ("limit" | "logic" | "sequence", _) => violations(opened, finding),
        ("rail", [rail, ..]) => excursions(opened, rail),
        _ => Vec::new(),
    };
    list.sort_by_key(|occurrence| occurrence.from);
    list
}

/// What breaks the rule that the finding's detail names.
fn violations(opened: &Opened, finding: &Finding) -> Vec<Occurrence> {
    let is_named = |name: &str| finding.detail.starts_with(&format!("Rule \"{name}\"."));
    let Some(rule) = opened.report.rules.iter().find(|row| is_named(&row.name)) else {
        return Vec::new();
    };
    let one = |row: &ViolationRow| {
        let line = opened.capture.line_index(row.lines.first()?)?;
        let (start, end) = (opened.ticks_at(row.start_s), opened.ticks_at(row.end_s));
        let measured = row
            .measured_s
            .map(|m| format!(" {}", seconds(m)))
            .unwrap_or_default();
        let what = row.what.as_ref().map(|w| format!(": {w}")).unwrap_or_default();
        Some(Occurrence {
            from: start,
            to: end,
            marks: vec![Mark::Stray { line, start, end }],
            caption: format!("{}{measured}{what}.", rule.name),
        })
    };
    rule.violations.iter().filter_map(one).collect()
}

fn excursions(opened: &Opened, rail: &str) -> Vec<Occurrence> {
    let row = opened.report.rails.iter().find(|row| row.rail == rail);
    let Some((row, line)) = row.zip(opened.capture.line_index(rail)) else {
        return Vec::new();
    };
    let one = |e: &ExcursionRow| {
        let (start, end) = (opened.ticks_at(e.start_s), opened.ticks_at(e.end_s));
        Occurrence {
            from: start,
            to: end,
            marks: vec![Mark::Stray { line, start, end }],
            caption: format!("{rail} goes to {}.", engineering(e.extreme_v, "V")),
        }
    };
    row.excursions.iter().map(one).collect()
}

fn strays(opened: &Opened, is_wanted: impl Fn(&StrayRow) -> bool) -> Vec<Occurrence> {
    let rows = opened.report.strays.iter().filter(|stray| is_wanted(stray));
    rows.filter_map(|stray| stray_occurrence(opened, stray)).collect()
}

fn stray_occurrence(opened: &Opened, stray: &StrayRow) -> Option<Occurrence> {
    let line = opened.capture.line_index(&stray.line)?;
    let start = opened.ticks_at(stray.start_s);
    let end = opened.ticks_at(stray.start_s + stray.width_s);
    let mut marks = vec![Mark::Stray { line, start, end }];
    let does = if stray.level == "low" { "dips" } else { "spikes" };
    let mut caption = format!("{} {does} for {}", stray.line, seconds(stray.width_s));
    let cause = match (&stray.aggressor, stray.lag_s) {
        (Some(aggressor), Some(lag_s)) => {
            let polarity = if stray.edge.as_deref() == Some("rise") {
                Polarity::Rise
            } else {
                Polarity::Fall
            };
            Some((aggressor.as_str(), polarity, lag_s))
        }
        _ => suspect(opened, stray),
    };
    let mut from = start;
    if let Some((aggressor, polarity, lag_s)) = cause
        && let Some(position) = opened.capture.line_index(aggressor)
    {
        let at = opened.ticks_at(stray.start_s - lag_s);
        marks.push(Mark::Cause { line: position, at });
        from = from.min(at);
        let falls = if polarity == Polarity::Rise {
            "rises"
        } else {
            "falls"
        };
        caption.push_str(&format!(", {} after {aggressor} {falls}", seconds(lag_s)));
    }
    caption.push('.');
    Some(Occurrence {
        from,
        to: end,
        marks,
        caption,
    })
}

/// For a stray that no coupling explains alone: the edge of the first line that goes with it, by the victim's
/// coupling row (inseparable, companion), where one lies within the lags of that row.
fn suspect<'a>(opened: &'a Opened, stray: &StrayRow) -> Option<(&'a str, Polarity, f64)> {
    let rows = opened
        .report
        .couplings
        .iter()
        .filter(|row| row.victim == stray.line);
    rows.into_iter().find_map(|row| {
        let (at_s, polarity) = edge_before(opened, row, stray.start_s)?;
        Some((row.aggressor.as_str(), polarity, stray.start_s - at_s))
    })
}

fn edge_before(opened: &Opened, row: &CouplingRow, start_s: f64) -> Option<(f64, Polarity)> {
    let capture = &opened.capture;
    let line = &capture.lines[capture.line_index(&row.aggressor)?];
    let (low, high) = row
        .lag_histogram
        .as_ref()
        .map_or((row.lag_s.low, row.lag_s.high), |histogram| {
            (
                histogram.start_s,
                histogram.start_s + histogram.bin_s * histogram.counts.len() as f64,
            )
        });
    let edges = line.edges_within(
        capture.timebase.nearest(start_s - high),
        capture.timebase.nearest(start_s - low) + Ticks(1),
    );
    let wanted = match row.edge.as_str() {
        "rise" => Some(Polarity::Rise),
        "fall" => Some(Polarity::Fall),
        _ => None,
    };
    let edge = edges
        .rev()
        .find(|&edge| wanted.is_none_or(|wanted| line.polarity(edge) == wanted))?;
    Some((capture.seconds(line.edges[edge]), line.polarity(edge)))
}

fn bursts(opened: &Opened, name: &str) -> Vec<Occurrence> {
    let Some(line) = opened.capture.line_index(name) else {
        return Vec::new();
    };
    let gap = opened.capture.timebase.ticks_of(BURST_GAP_S) as i64;
    let mut list: Vec<Occurrence> = Vec::new();
    for mark in &opened.lines[line].strays {
        if opened.report.strays[mark.row as usize].kind != "bounce" {
            continue;
        }
        let (start, end) = (mark.start.0 - opened.origin().0, mark.end.0 - opened.origin().0);
        let stray = Mark::Stray { line, start, end };
        match list.last_mut() {
            Some(last) if start - last.to < gap => {
                last.to = end;
                last.marks.push(stray);
            }
            _ => list.push(Occurrence {
                from: start,
                to: end,
                marks: vec![stray],
                caption: String::new(),
            }),
        }
    }
    for burst in &mut list {
        let length = seconds(opened.capture.timebase.length_s((burst.to - burst.from) as f64));
        burst.caption = match burst.marks.len() {
            1 => format!("{name} bounces once, for {length}."),
            n => format!("{name} bounces {n} times within {length}."),
        };
    }
    list
}

fn link(opened: &Opened, row: &LinkRow) -> Vec<Occurrence> {
    let capture = &opened.capture;
    let (Some(from), Some(to)) = (capture.line_index(&row.from), capture.line_index(&row.to)) else {
        return Vec::new();
    };
    let delay_s = row.delay_s.map_or(0.0, |delay| delay.median);
    let delay = capture.timebase.ticks_of(delay_s).round() as i64;
    let pulse = |line: usize, at_s: f64| {
        let start = opened.ticks_at(at_s);
        (start, pulse_end(opened, line, start))
    };
    let missing = row.missing_s.iter().map(|&at_s| {
        let (sent, end) = pulse(from, at_s);
        Occurrence {
            from: sent,
            to: end + delay,
            marks: vec![Mark::Missing {
                from,
                sent,
                line: to,
                start: sent + delay,
                end: end + delay,
            }],
            caption: format!(
                "The pulse of {} that starts here never arrives at {}.",
                row.from, row.to
            ),
        }
    });
    let extra = row.extra_s.iter().map(|&at_s| {
        let (start, end) = pulse(to, at_s);
        Occurrence {
            from: start,
            to: end,
            marks: vec![Mark::Extra { line: to, start, end }],
            caption: format!("{} shows a pulse that {} did not send.", row.to, row.from),
        }
    });
    missing.chain(extra).collect()
}

/// End of the pulse that starts at `start` (ticks from the origin): the next edge, or the end of the capture.
fn pulse_end(opened: &Opened, line: usize, start: i64) -> i64 {
    let edges = &opened.capture.lines[line].edges;
    let after = edges.partition_point(|&edge| edge.0 - opened.origin().0 <= start);
    edges
        .get(after)
        .map_or(opened.length(), |edge| edge.0 - opened.origin().0)
}
