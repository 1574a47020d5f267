//! The moments a finding rests on, as the diagram draws them: guilty edge, stray, lag, ghost of a lost pulse, burst
//! of bounce, dip of a supply, limit broken.
//!
//! Only a coupling whose standing is `clear` ties a stray to a line: what goes along with strays without being told
//! apart (`inseparable`, `companion`) is accused in no figure and no caption: its edges are marked as open.

mod suspects;
mod told;

use std::collections::HashSet;

use serde::Serialize;

use crate::analysis::links::active_level;
use crate::analysis::strays::bounce;
use crate::model::units::{engineering, moment};
use crate::model::{Polarity, Ticks};
use crate::report::doubts::{DoubtMoment, DoubtRow};
use crate::report::inspect::{Finding, LinkRow, StrayRow};
use crate::report::rails::ExcursionRow;
use crate::report::rules::{RuleRow, ViolationRow};
use crate::report::text::seconds;

use super::opened::Opened;

pub use told::told;

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
    /// An edge that may be what causes a stray, or what a doubtful pulse follows: nobody is accused of it.
    Suspect { line: usize, at: i64 },
    /// A pulse that was sent (`from`, at `sent`) and should have been at `line` between `start` and `end`.
    Missing {
        from: usize,
        sent: i64,
        line: usize,
        start: i64,
        end: i64,
        /// It would have been a low pulse there.
        is_low: bool,
    },
    /// A pulse at the far end that nobody sent.
    Extra { line: usize, start: i64, end: i64 },
    /// A contact settles: from its first change to its last.
    Burst { line: usize, start: i64, end: i64 },
    /// A supply leaves its limits.
    Dip {
        line: usize,
        start: i64,
        end: i64,
        /// The voltage furthest out.
        says: String,
    },
    /// A pulse that may be a stray or the line's job.
    Doubt {
        line: usize,
        start: i64,
        end: i64,
        says: String,
    },
    /// A rule is broken: what was measured, or what was seen.
    Violation {
        line: usize,
        start: i64,
        end: i64,
        says: String,
    },
}

/// All occurrences of a finding, in time. Cost: the first time linear in strays and findings, then nothing.
pub fn occurrences<'a>(opened: &'a Opened, finding: &Finding) -> &'a [Occurrence] {
    let position = opened.report.findings.iter().position(|row| row.id == finding.id);
    position.map_or(&[], |position| &all(opened)[position])
}

/// The occurrences of each finding of the report, in its order.
pub fn all(opened: &Opened) -> &[Vec<Occurrence>] {
    let findings = &opened.report.findings;
    opened
        .evidence
        .get_or_init(|| findings.iter().map(|finding| work_out(opened, finding)).collect())
}

/// The rule that a finding's detail names.
fn rule_of<'a>(opened: &'a Opened, finding: &Finding) -> Option<&'a RuleRow> {
    let is_named = |name: &str| finding.detail.starts_with(&format!("Rule \"{name}\"."));
    opened.report.rules.iter().find(|row| is_named(&row.name))
}

fn work_out(opened: &Opened, finding: &Finding) -> Vec<Occurrence> {
    let mut list = match (finding.topic.as_str(), finding.lines.as_slice()) {
        ("coupling", [victim, aggressor, ..]) => strays(opened, |stray| {
            stray.line == *victim && stray.aggressor.as_deref() == Some(aggressor)
        }),
        ("shared-supply", [victim, ..]) => {
            strays(opened, |stray| stray.line == *victim && stray.kind != "bounce")
        }
        // The strays that the line may have besides are another finding's.
        ("stray", _) if is_about_doubts(opened, finding) => doubts(opened, finding),
        ("inseparable", [victim, suspects @ ..]) => suspects::occurrences(opened, victim, suspects),
        ("uncaptured-cause" | "stray", [victim, ..]) => strays(opened, |stray| {
            stray.line == *victim && stray.aggressor.is_none() && stray.kind != "bounce"
        }),
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
    if let Some(mirrored) = mirrored(opened, finding) {
        list.extend(work_out(opened, &mirrored));
    }
    list.sort_by_key(|occurrence| occurrence.from);
    list
}

/// The other half of a finding that tells of two lines striking each other: no finding of its own tells of it.
fn mirrored(opened: &Opened, finding: &Finding) -> Option<Finding> {
    let [victim, aggressor] = finding.lines.as_slice() else {
        return None;
    };
    let names = [
        format!("{victim} and {aggressor}"),
        format!("{aggressor} and {victim}"),
    ];
    let says = |both: &String| finding.title.starts_with(&format!("{both} strike each other: "));
    let is_half = names.iter().any(says);
    // The strays of a coupling that is not clear have no cause in their rows.
    let is_clear = |row: &crate::report::inspect::CouplingRow| {
        row.victim == *aggressor && row.aggressor == *victim && row.standing == "clear"
    };
    let topic = match opened.report.couplings.iter().any(is_clear) {
        true => "coupling",
        false => "uncaptured-cause",
    };
    is_half.then(|| Finding {
        topic: topic.to_owned(),
        lines: vec![aggressor.clone(), victim.clone()],
        // Not again the first half.
        title: String::new(),
        ..finding.clone()
    })
}

/// Whether the finding leaves pulses open, or takes them for a line's job.
fn is_about_doubts(opened: &Opened, finding: &Finding) -> bool {
    opened.report.doubts.iter().any(|row| row.finding == finding.id)
}

/// The pulses that the finding leaves open, or takes for a line's job.
fn doubts(opened: &Opened, finding: &Finding) -> Vec<Occurrence> {
    let rows = opened
        .report
        .doubts
        .iter()
        .filter(|row| row.finding == finding.id);
    let of_row = |row: &DoubtRow| -> Vec<Occurrence> {
        let Some(line) = opened.capture.line_index(&row.line) else {
            return Vec::new();
        };
        let says = match row.held.as_str() {
            "whole-pulses" => "by a gate or a touch?",
            "job" => "taken for its job",
            _ => "stray or job?",
        };
        let one = |pulse: &DoubtMoment| {
            let start = opened.ticks_at(pulse.start_s);
            let end = opened.ticks_at(pulse.start_s + pulse.width_s);
            let mut caption = format!("{} is {} for {}", row.line, row.level, seconds(pulse.width_s));
            let mut from = start;
            let mut marks = vec![Mark::Doubt {
                line,
                start,
                end,
                says: says.to_owned(),
            }];
            if let (Some(to), Some(lag_s)) = (&row.follows, pulse.lag_s) {
                let does = match row.edge.as_deref() {
                    Some("rise") => "rises",
                    Some("fall") => "falls",
                    _ => "switches",
                };
                let at = opened.ticks_at(pulse.start_s - lag_s);
                from = from.min(at);
                marks.extend(
                    opened
                        .capture
                        .line_index(to)
                        .map(|line| Mark::Suspect { line, at }),
                );
                caption.push_str(&match lag_s < 0.0 {
                    true => format!(", {} before {to} {does}", seconds(-lag_s)),
                    false => format!(", {} after {to} {does}", seconds(lag_s)),
                });
            }
            caption.push('.');
            Occurrence {
                from,
                to: end,
                marks,
                caption,
            }
        };
        row.moments.iter().map(one).collect()
    };
    rows.flat_map(of_row).collect()
}

impl Occurrence {
    /// Whether it shows a pulse that may well be its line's job: drawn only with its finding in hand.
    pub fn is_doubt(&self) -> bool {
        self.marks.iter().any(|mark| matches!(mark, Mark::Doubt { .. }))
    }
}

/// What breaks the rule that the finding's detail names.
fn violations(opened: &Opened, finding: &Finding) -> Vec<Occurrence> {
    let Some(rule) = rule_of(opened, finding) else {
        return Vec::new();
    };
    let clear = clear_couplings(opened);
    let one = |row: &ViolationRow| {
        let line = opened.capture.line_index(row.lines.first()?)?;
        let (start, end) = (opened.ticks_at(row.start_s), opened.ticks_at(row.end_s));
        let of = row.limit_s.map(|limit| format!(" of {}", seconds(limit)));
        let of = of.unwrap_or_default();
        let measured = row
            .measured_s
            .map(|m| format!(" {}{of}", seconds(m)))
            .unwrap_or_default();
        let what = row.what.as_ref().map(|w| format!(": {w}")).unwrap_or_default();
        let says = format!("{}{measured}", rule.name);
        let mut marks = vec![Mark::Violation {
            line,
            start,
            end,
            says,
        }];
        if rule.kind == "sequence" {
            marks.extend(stray_within(opened, row, (start, end), &clear));
        }
        Some(Occurrence {
            from: start,
            to: end,
            marks,
            caption: format!("{}{measured}{what}.", rule.name),
        })
    };
    rule.violations.iter().filter_map(one).collect()
}

/// The first stray of a step's company in it, with what causes it.
fn stray_within(
    opened: &Opened,
    row: &ViolationRow,
    (start, end): (i64, i64),
    clear: &HashSet<(&str, &str)>,
) -> Vec<Mark> {
    let lines = row
        .lines
        .iter()
        .filter_map(|name| opened.capture.line_index(name));
    let origin = opened.origin().0;
    for line in lines {
        let strays = &opened.lines[line].strays;
        let at = strays.partition_point(|stray| stray.start.0 - origin < start);
        if let Some(stray) = strays.get(at).filter(|stray| stray.start.0 - origin < end) {
            let row = &opened.report.strays[stray.row as usize];
            return stray_occurrence(opened, row, clear).map_or(Vec::new(), |occurrence| occurrence.marks);
        }
    }
    Vec::new()
}

fn excursions(opened: &Opened, rail: &str) -> Vec<Occurrence> {
    let row = opened.report.rails.iter().find(|row| row.rail == rail);
    let Some((row, line)) = row.zip(opened.capture.line_index(rail)) else {
        return Vec::new();
    };
    let one = |e: &ExcursionRow| {
        let (start, end) = (opened.ticks_at(e.start_s), opened.ticks_at(e.end_s));
        let extreme = engineering(e.extreme_v, "V");
        Occurrence {
            from: start,
            to: end,
            caption: format!("{rail} goes to {extreme}."),
            marks: vec![Mark::Dip {
                line,
                start,
                end,
                says: extreme,
            }],
        }
    };
    row.excursions.iter().map(one).collect()
}

/// Victims and the lines that are sure to strike them.
fn clear_couplings(opened: &Opened) -> HashSet<(&str, &str)> {
    let rows = opened.report.couplings.iter();
    rows.filter(|row| row.standing == "clear")
        .map(|row| (row.victim.as_str(), row.aggressor.as_str()))
        .collect()
}

fn strays(opened: &Opened, is_wanted: impl Fn(&StrayRow) -> bool) -> Vec<Occurrence> {
    let clear = clear_couplings(opened);
    let rows = opened.report.strays.iter().filter(|stray| is_wanted(stray));
    rows.filter_map(|stray| stray_occurrence(opened, stray, &clear))
        .collect()
}

/// `clear`: victims and the lines that are sure to strike them.
fn stray_occurrence(opened: &Opened, stray: &StrayRow, clear: &HashSet<(&str, &str)>) -> Option<Occurrence> {
    let line = opened.capture.line_index(&stray.line)?;
    let start = opened.ticks_at(stray.start_s);
    let end = opened.ticks_at(stray.start_s + stray.width_s);
    let mut marks = vec![Mark::Stray { line, start, end }];
    let does = if stray.level == "low" { "dips" } else { "spikes" };
    let mut caption = format!("{} {does} for {}", stray.line, seconds(stray.width_s));
    let mut from = start;
    if let (Some(aggressor), Some(lag_s)) = (&stray.aggressor, stray.lag_s)
        && clear.contains(&(stray.line.as_str(), aggressor.as_str()))
        && let Some(position) = opened.capture.line_index(aggressor)
    {
        let at = opened.ticks_at(stray.start_s - lag_s);
        marks.push(Mark::Cause { line: position, at });
        from = from.min(at);
        let does = if stray.edge.as_deref() == Some("rise") {
            "rises"
        } else {
            "falls"
        };
        caption.push_str(&format!(", {} after {aggressor} {does}", seconds(lag_s)));
    }
    caption.push('.');
    Some(Occurrence {
        from,
        to: end,
        marks,
        caption,
    })
}

/// Bursts as the analysis has them, with the strays inside.
fn bursts(opened: &Opened, name: &str) -> Vec<Occurrence> {
    let Some(line) = opened.capture.line_index(name) else {
        return Vec::new();
    };
    let origin = opened.origin();
    let here = bounce::find(&opened.capture)
        .into_iter()
        .filter(|burst| burst.line == line);
    let one = |burst: bounce::Burst| {
        let (start, end) = ((burst.start - origin).0, (burst.end - origin).0);
        let inside = opened.lines[line]
            .strays
            .iter()
            .filter(|mark| burst.start <= mark.start && mark.end <= burst.end);
        let mut marks = vec![Mark::Burst { line, start, end }];
        marks.extend(inside.map(|mark| Mark::Stray {
            line,
            start: (mark.start - origin).0,
            end: (mark.end - origin).0,
        }));
        let length = seconds(opened.capture.timebase.length_s(burst.length().0 as f64));
        let edges = burst.edges.len();
        Occurrence {
            from: start,
            to: end,
            marks,
            caption: format!(
                "{name} bounces: {edges} edges within {length} before it stays {}.",
                burst.settled.word()
            ),
        }
    };
    here.map(one).collect()
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
    let active = Polarity::towards(active_level(&capture.lines[from]));
    let late = row.late.iter().map(|late| {
        let (sent, _) = pulse(from, late.sent_s);
        let (start, end) = pulse(to, late.arrived_s);
        Occurrence {
            from: sent,
            to: end,
            marks: vec![Mark::Extra { line: to, start, end }],
            caption: format!(
                "The pulse of {} at {} arrives at {} {} later, beyond the delay allowed.",
                row.from,
                moment(late.sent_s),
                row.to,
                seconds(late.arrived_s - late.sent_s)
            ),
        }
    });
    let is_late = |at_s: f64| {
        row.late
            .binary_search_by(|late| late.sent_s.total_cmp(&at_s))
            .is_ok()
    };
    let never = row.missing_s.iter().filter(|at_s| !is_late(**at_s));
    let missing = never.map(|&at_s| {
        let (sent, end) = pulse(from, at_s);
        let line = &capture.lines[from];
        let at = line.edges.binary_search(&Ticks(sent + opened.origin().0));
        let goes = at.ok().map(|edge| line.polarity(edge));
        let is_pause = goes.is_some() && goes != active;
        let is_low = (goes == Some(Polarity::Fall)) != row.inverted;
        Occurrence {
            from: sent,
            to: end + delay,
            marks: vec![Mark::Missing {
                from,
                sent,
                line: to,
                start: sent + delay,
                end: end + delay,
                is_low,
            }],
            caption: if is_pause {
                format!(
                    "The pause of {} that starts here never arrives at {}: the pulses on its two sides are one there.",
                    row.from, row.to
                )
            } else {
                format!(
                    "The pulse of {} that starts here never arrives at {}.",
                    row.from, row.to
                )
            },
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
    late.chain(missing).chain(extra).collect()
}

/// End of the pulse that starts at `start` (ticks from the origin): the next edge, or the end of the capture.
fn pulse_end(opened: &Opened, line: usize, start: i64) -> i64 {
    let edges = &opened.capture.lines[line].edges;
    let after = edges.partition_point(|&edge| edge.0 - opened.origin().0 <= start);
    edges
        .get(after)
        .map_or(opened.length(), |edge| edge.0 - opened.origin().0)
}
