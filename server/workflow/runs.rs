//! Captures of one condition → runs: what several instruments recorded of one run stands on one clock.
//!
//! What was said of a capture's clock holds. Where nothing was said: a capture that brings lines of its own, and has no
//! more than half of its lines, or of those of the run before it, in common with that run, is another instrument's view
//! of it, and is brought to its clock by a line both have (or taken as recorded on one clock where they have none). One
//! that has most lines of both in common, or none of its own, is a run of its own. A machine that repeats itself would
//! align with its own next run just as well, so the lines decide, not the fit.

use std::collections::BTreeMap;

use crate::analysis::align::{self, Alignment, Edges, align_several};
use crate::analysis::findings::{Finding, Severity};
use crate::model::Capture;
use crate::report::CaptureRow;

use super::align::{own_names, slack_s};
use super::assumed;
use super::lines::capture_row;
use super::merge::{merge, skewed};
use super::same_signal::{join, last_part};

/// What was said of one capture's clock.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Tie {
    #[default]
    Nothing,
    /// It is a run of its own.
    Own,
    /// It goes with the capture at position `with`: aligned on lines (`LINE` or `LINE=LINE_HERE`), or on one clock
    /// where there are none; then shifted.
    With {
        with: usize,
        on: Vec<String>,
        shift_s: f64,
    },
}

/// How a capture of a run came to the run's clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    /// Position among the captures given.
    pub position: usize,
    /// The shift by hand is in its offset.
    pub alignment: Alignment,
    /// Lines it was aligned on; empty: taken as recorded on one clock, or the first of its run.
    pub on: Vec<String>,
    pub shift_s: f64,
    /// Why it stands alone although it was meant to go with another; then it is the only member.
    pub trouble: Option<String>,
}

/// Captures of one run on one clock.
pub struct Run {
    pub members: Vec<Member>,
    pub capture: Capture,
    pub sources: Vec<CaptureRow>,
    /// What is to be said of the clocks.
    pub findings: Vec<Finding>,
    /// Why it was not taken as one with the run before it, where nobody said.
    pub apart: Option<Apart>,
}

/// Why a capture begins a run of its own, and what would make it one with the run before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Apart {
    /// A sentence.
    pub says: String,
    /// Position of the capture of the run before that it would go with.
    pub with: usize,
    /// Lines that both have, those with most edges first.
    pub on: Vec<String>,
}

impl Run {
    /// A capture that could not be brought to the run it belongs to.
    pub fn is_left_over(&self) -> bool {
        self.members.iter().any(|member| member.trouble.is_some())
    }
}

/// Most lines tried where nobody said which one to align on; those with most edges first.
const MOST_TRIED: usize = 4;

/// The runs, in the order of their first captures. `ties`: one for each capture (missing ones say nothing);
/// `late_s`: for each capture the skews of its instrument's channels by line name (missing ones have none). Cost: an
/// alignment for each capture beyond the first of a run.
pub fn runs(captures: Vec<Capture>, ties: &[Tie], late_s: &[BTreeMap<String, f64>]) -> Vec<Run> {
    let none = BTreeMap::new();
    let captures: Vec<Capture> = captures
        .into_iter()
        .enumerate()
        .map(|(position, capture)| skewed(capture, late_s.get(position).unwrap_or(&none)))
        .collect();
    let mut groups: Vec<Vec<Member>> = Vec::new();
    let mut apart: BTreeMap<usize, Apart> = BTreeMap::new();
    for (position, capture) in captures.iter().enumerate() {
        let tie = ties.get(position).unwrap_or(&Tie::Nothing);
        let (group, on, shift_s) = match tie {
            Tie::Own => (None, Vec::new(), 0.0),
            Tie::With { with, on, shift_s } => {
                let group = groups.iter().position(|g| g.iter().any(|m| m.position == *with));
                (group, on.clone(), *shift_s)
            }
            Tie::Nothing => {
                let last = groups.iter().rposition(|g| g.iter().all(|m| m.trouble.is_none()));
                match last.map(|g| guess(&captures, &groups[g], capture)) {
                    Some(Ok(on)) => (last, on, 0.0),
                    Some(Err(why)) => {
                        apart.insert(position, why);
                        (None, Vec::new(), 0.0)
                    }
                    None => (None, Vec::new(), 0.0),
                }
            }
        };
        let Some(group) = group else {
            groups.push(vec![alone(position)]);
            continue;
        };
        // Against the capture of the run that has the lines: its own place on the run's clock is added.
        match brought(&captures, &groups[group], capture, &on) {
            Ok(alignment) => groups[group].push(Member {
                position,
                alignment: Alignment {
                    offset_s: alignment.offset_s + shift_s,
                    ..alignment
                },
                on,
                shift_s,
                trouble: None,
            }),
            // What has most of its lines from the run before, and does not fit it, was taken at another time.
            Err(trouble) if *tie == Tie::Nothing && on.len() * 2 > capture.lines.len() => {
                let with = groups[group][0].position;
                let says = format!(
                    "{} does not fit {} in time, and is taken as another run. {trouble}",
                    capture.file, captures[with].file
                );
                apart.insert(position, Apart { says, with, on });
                groups.push(vec![alone(position)]);
            }
            Err(trouble) => groups.push(vec![Member {
                trouble: Some(trouble),
                ..alone(position)
            }]),
        }
    }
    let mut captures: Vec<Option<Capture>> = captures.into_iter().map(Some).collect();
    let run = |members: Vec<Member>| {
        let own: Vec<Capture> = members
            .iter()
            .filter_map(|member| captures[member.position].take())
            .collect();
        let apart = apart.remove(&members[0].position);
        Run {
            apart,
            ..together(own, members, ties)
        }
    };
    groups.into_iter().map(run).collect()
}

/// A capture on its own clock, as every run begins with one.
fn alone(position: usize) -> Member {
    Member {
        position,
        alignment: Alignment::SAME_CLOCK,
        on: Vec::new(),
        shift_s: 0.0,
        trouble: None,
    }
}

/// The line of `other` that `capture` has at `line`: of that name, or, where a file names lines with their scopes, the only
/// one whose name's last part is that of this line alone.
fn known_as(other: &Capture, capture: &Capture, line: usize) -> Option<usize> {
    let name = &capture.lines[line].name;
    let last = last_part(name);
    let only = |capture: &Capture| {
        let mut own = (0..capture.lines.len()).filter(|&at| last_part(&capture.lines[at].name) == last);
        own.next().filter(|_| own.next().is_none())
    };
    let found = other.line_index(name);
    found.or_else(|| only(capture).and_then(|_| only(other)))
}

/// Lines to bring `capture` to the clock of a run by, where nobody said.
///
/// # Errors
/// Why it is a run of its own.
fn guess(captures: &[Capture], group: &[Member], capture: &Capture) -> Result<Vec<String>, Apart> {
    let is_in = |member: &Member, line: usize| known_as(&captures[member.position], capture, line).is_some();
    let shared: Vec<usize> = (0..capture.lines.len())
        .filter(|&line| group.iter().any(|member| is_in(member, line)))
        .collect();
    let (own, count) = (capture.lines.len(), shared.len());
    let mut of_run: Vec<&str> = group
        .iter()
        .flat_map(|member| &captures[member.position].lines)
        .map(|line| line.name.as_str())
        .collect();
    of_run.sort_unstable();
    of_run.dedup();
    // By the capture of the run that has most of them: lines that only another has bring nothing to its clock.
    let own_of = |member: &&Member| {
        let has = |line: &&usize| is_in(member, **line);
        shared.iter().filter(has).copied().collect::<Vec<usize>>()
    };
    let with = group.iter().rev().max_by_key(|member| own_of(member).len());
    let (with, mut by_edges) = with.map_or((group[0].position, Vec::new()), |m| (m.position, own_of(&m)));
    by_edges.sort_by_key(|&line| std::cmp::Reverse(capture.lines[line].edges.len()));
    let names = by_edges.into_iter().take(MOST_TRIED);
    let on = names.map(|line| {
        let (first, here) = (&captures[with], &capture.lines[line].name);
        let there = known_as(first, capture, line).map(|line| &first.lines[line].name);
        match there.filter(|there| *there != here) {
            Some(there) => format!("{there}={here}"),
            None => here.clone(),
        }
    });
    let on = on.collect();
    if count * 2 <= own || (count < own && count * 2 <= of_run.len()) {
        return Ok(on);
    }
    let files: Vec<&str> = group
        .iter()
        .map(|member| captures[member.position].file.as_str())
        .collect();
    let (file, first) = (&capture.file, files.join(" with "));
    Err(Apart {
        says: match count == own {
            true => format!("{file} shows no line that {first} does not, and is taken as another run."),
            false => format!(
                "{file} has {count} of its {own} lines in common with {first}, and is taken as another run."
            ),
        },
        with,
        on,
    })
}

/// Brings `capture` to the clock of a run by the lines `on`.
fn brought(
    captures: &[Capture],
    group: &[Member],
    capture: &Capture,
    on: &[String],
) -> Result<Alignment, String> {
    if on.is_empty() {
        return Ok(Alignment::SAME_CLOCK);
    }
    // The member that has most of the lines.
    let known = |member: &Member| {
        let other = &captures[member.position];
        on.iter()
            .filter(|name| other.line_index(&ends(other, name).0).is_some())
            .count()
    };
    let member = group
        .iter()
        .rev()
        .max_by_key(|member| known(member))
        .ok_or_else(|| "the run has no capture".to_owned())?;
    let first = &captures[member.position];
    let found = align_pair_on(first, capture, on)?;
    // Through the member's own place: A = B' (1 + d1) + o1, B' = C (1 + d2) + o2.
    let m = &member.alignment;
    if m.is_same_clock() {
        return Ok(found);
    }
    let slope = 1.0 + m.drift_ppm * 1e-6;
    Ok(Alignment {
        offset_s: found.offset_s * slope + m.offset_s,
        drift_ppm: (slope * (1.0 + found.drift_ppm * 1e-6) - 1.0) * 1e6,
        ..found
    })
}

/// The two names of `LINE` or `LINE=LINE_IN_B`; a line whose own name has an equals sign is taken whole.
fn ends(a: &Capture, on: &str) -> (String, String) {
    let (x, y) = match (a.line_index(on), on.split_once('=')) {
        (None, Some((x, y))) => (x, y),
        _ => (on, on),
    };
    (x.trim().to_owned(), y.trim().to_owned())
}

/// Aligns `b` to `a` on several lines.
///
/// # Errors
/// A sentence: a line is missing, or the two do not share enough to tell.
pub fn align_pair_on(a: &Capture, b: &Capture, on: &[String]) -> Result<Alignment, String> {
    let find = |capture: &Capture, name: &str| {
        capture.line_index(name).ok_or_else(|| {
            let names: Vec<&str> = capture.lines.iter().take(12).map(|l| l.name.as_str()).collect();
            let wanted = match name {
                "" => "expected a line's name to align on, found none; it has".to_owned(),
                name => format!("expected a line called {name} to align on, found"),
            };
            format!(
                "{}: {wanted} {}; say LINE=LINE_IN_B where they differ",
                capture.file,
                names.join(", ")
            )
        })
    };
    let mut lines = Vec::with_capacity(on.len());
    for name in on {
        let (x, y) = ends(a, name);
        lines.push((Edges::of(a, find(a, &x)?), Edges::of(b, find(b, &y)?)));
    }
    align_several(&lines).map_err(|error| format!("{} and {}, on {}: {error}", a.file, b.file, on.join(", ")))
}

fn together(mut captures: Vec<Capture>, members: Vec<Member>, ties: &[Tie]) -> Run {
    let mut findings = Vec::new();
    let first = captures[0].file.clone();
    for (at, (member, capture)) in members.iter().zip(&captures).enumerate() {
        if let Some(trouble) = &member.trouble {
            findings.push(not_aligned(&capture.file, trouble));
        }
        if member.on.is_empty() && member.shift_s == 0.0 {
            let nobody_said = matches!(ties.get(member.position), None | Some(Tie::Nothing));
            if at > 0 && nobody_said {
                let advice = "On the page Clocks, name an irregular line that both recorded.".to_owned();
                findings.push(assumed::one_clock(&first, &capture.file, None, Some(advice)));
            }
            continue;
        }
        let mut finding = align::finding(&first, &capture.file, &member.on.join(", "), &member.alignment);
        if member.on.is_empty() {
            finding.title = format!("{} is taken as recorded on the clock of {first}", capture.file);
            finding.detail = String::new();
            finding.try_next = Vec::new();
        }
        if member.shift_s != 0.0 {
            let shift = crate::model::units::seconds(member.shift_s);
            finding.title = format!(
                "{} Moved by hand by {shift}.",
                finding.title.trim_end_matches('.').to_owned() + "."
            );
        }
        findings.push(finding);
    }
    let alignments: Vec<Alignment> = members.iter().map(|m| m.alignment).collect();
    let sources = captures
        .iter()
        .zip(&alignments)
        .map(|(capture, a)| capture_row(capture, a.offset_s, a.drift_ppm))
        .collect();
    let (names, twins) = (own_names(&captures), twins(&captures, &members));
    let mut capture = match captures.len() {
        1 => captures.remove(0),
        _ => merge(captures, &alignments),
    };
    if members.len() > 1 {
        join(&mut capture, &names, &twins, slack_s(&alignments), &|_| false);
    }
    Run {
        members,
        capture,
        sources,
        findings,
        apart: None,
    }
}

/// What the line `name` is called in the captures before, where it was brought to their clock by `on` and is called alike.
fn named_alike<'a>(on: &'a str, name: &'a str) -> Option<&'a str> {
    if on == name {
        return Some(name);
    }
    let (there, here) = on.split_once('=')?;
    (here == name && last_part(there) == last_part(here)).then_some(there)
}

/// Lines by which a capture was brought to its run's clock: the same signal as the line of that name in a capture before it,
/// and no suspect beside it. By position among the lines of all captures, one after the other, as [`merge`] has them.
fn twins(captures: &[Capture], members: &[Member]) -> Vec<(usize, usize)> {
    let lines = || {
        let all = captures.iter().enumerate();
        all.flat_map(|(of, capture)| capture.lines.iter().map(move |line| (of, line.name.as_str())))
    };
    let mut found = Vec::new();
    for (line, (of, name)) in lines().enumerate() {
        let is_shared = members
            .get(of)
            .and_then(|member| member.on.iter().find_map(|on| named_alike(on, name)));
        let twin = lines()
            .take(line)
            .position(|(other, own)| other < of && Some(own) == is_shared);
        found.extend(twin.map(|twin| (line, twin)));
    }
    found
}

/// A warning: a capture stands alone though it was meant to go with others.
fn not_aligned(file: &str, trouble: &str) -> Finding {
    Finding {
        severity: Severity::Warning,
        topic: "alignment",
        lines: Vec::new(),
        title: format!("{file} could not be brought to the clock of the other captures, and is not looked at with them."),
        detail: trouble.to_owned(),
        try_next: vec![
            "On the page Clocks, name an irregular line that both instruments recorded, or say that they ran on one clock."
                .to_owned(),
            "Clip a free channel of both instruments to one line that switches irregularly, and capture again.".to_owned(),
        ],
    }
}

#[cfg(test)]
mod tests;
