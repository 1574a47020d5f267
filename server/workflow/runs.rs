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

mod habit;

pub use habit::{Habit, Tried};

use self::habit::as_before;
use super::align::{own_names, slack_s};
use super::assumed;
use super::lines::capture_row;
use super::merge::{merge, skewed};
use super::same_signal::{Shared, join, last_part};

/// What was said of one capture's clock.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Tie {
    #[default]
    Nothing,
    /// Nothing of it; but of captures of the same two instruments before it, the newest word first.
    As(Vec<Habit>),
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

impl Tie {
    /// Whether nobody said anything of the capture itself.
    fn is_unsaid(&self) -> bool {
        matches!(self, Tie::Nothing | Tie::As(_))
    }
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
    /// What was tried because it was said of an earlier run.
    pub tried: Option<Tried>,
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
        let mut tried = None;
        let (group, on, shift_s) = match tie {
            Tie::Own => (None, Vec::new(), 0.0),
            Tie::With { with, on, shift_s } => {
                let group = groups.iter().position(|g| g.iter().any(|m| m.position == *with));
                (group, on.clone(), *shift_s)
            }
            Tie::Nothing | Tie::As(_) => {
                let last = groups.iter().rposition(|g| g.iter().all(|m| m.trouble.is_none()));
                let guessed = last.map(|g| guess(&captures, &groups[g], capture));
                let is_open =
                    matches!(&guessed, Some(Err(_))) || matches!(&guessed, Some(Ok(on)) if on.is_empty());
                if let (Tie::As(habits), Some(g), true) = (tie, last, is_open) {
                    tried = as_before(&captures, &groups[g], capture, habits);
                }
                if let (Some((tried, Some(alignment))), Some(g)) = (&tried, last) {
                    groups[g].push(Member {
                        alignment: *alignment,
                        on: tried.on.clone(),
                        tried: Some(tried.clone()),
                        ..alone(position)
                    });
                    continue;
                }
                match (guessed, &tried, last) {
                    // The line that joined the two instruments joins these captures not: they are of two runs.
                    (Some(Ok(_)), Some((tried, _)), Some(g)) => {
                        let with = groups[g][0].position;
                        apart.insert(position, tried.apart(capture, &captures[with], with));
                        (None, Vec::new(), 0.0)
                    }
                    (Some(Ok(on)), ..) => (last, on, 0.0),
                    (Some(Err(mut why)), tried, _) => {
                        if let Some((tried, _)) = tried {
                            why.says = format!("{} {}", why.says, tried.says(&capture.file));
                        }
                        apart.insert(position, why);
                        (None, Vec::new(), 0.0)
                    }
                    (None, ..) => (None, Vec::new(), 0.0),
                }
            }
        };
        let tried = tried.map(|(tried, _)| tried);
        let Some(group) = group else {
            groups.push(vec![Member {
                tried,
                ..alone(position)
            }]);
            continue;
        };
        let of_group = || groups[group].iter().map(|member| &captures[member.position]);
        let on: Vec<String> = on.iter().map(|name| turned(of_group(), capture, name)).collect();
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
                tried,
            }),
            // What has most of its lines from the run before, and does not fit it, was taken at another time.
            Err(trouble) if tie.is_unsaid() && on.len() * 2 > capture.lines.len() => {
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
        tried: None,
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

/// `LINE=LINE_IN_B` the right way round: where it was said as `LINE_IN_B=LINE`, and only so names lines that are there, it is
/// turned. `others`: the captures whose clock `b` is brought to.
pub fn turned<'a>(others: impl Iterator<Item = &'a Capture>, b: &Capture, on: &str) -> String {
    let others: Vec<&Capture> = others.collect();
    let among = |name: &str| others.iter().any(|other| other.line_index(name).is_some());
    let Some((x, y)) = on.split_once('=').filter(|_| !among(on)) else {
        return on.to_owned();
    };
    let (x, y) = (x.trim(), y.trim());
    let is_right = among(x) && b.line_index(y).is_some();
    match !is_right && among(y) && b.line_index(x).is_some() {
        true => format!("{y}={x}"),
        false => on.to_owned(),
    }
}

/// The two names of `LINE` or `LINE=LINE_IN_B`; a line whose own name has an equals sign is taken whole.
pub(super) fn ends(a: &Capture, on: &str) -> (String, String) {
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
            let nobody_said = ties.get(member.position).is_none_or(Tie::is_unsaid);
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
        if let Some(tried) = &member.tried {
            finding.detail = format!("{} {}", tried.says(&capture.file), finding.detail);
        }
        if member.shift_s != 0.0 {
            let shift = align::by_hand(member.shift_s);
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
    let (names, shared) = (own_names(&captures), shared(&captures, &members));
    let mut capture = match captures.len() {
        1 => captures.remove(0),
        _ => merge(captures, &alignments),
    };
    if members.len() > 1 {
        join(&mut capture, &names, &shared, slack_s(&alignments), &|_| false);
    }
    Run {
        members,
        capture,
        sources,
        findings,
        apart: None,
    }
}

/// What the line `name` is called in the captures before, where it was brought to their clock by `on`; and whether it is called
/// alike there.
fn named_there<'a>(on: &'a str, name: &'a str) -> Option<(&'a str, bool)> {
    if on == name {
        return Some((name, true));
    }
    let (there, here) = on.split_once('=')?;
    (here.trim() == name).then_some((there.trim(), last_part(there.trim()) == last_part(name)))
}

/// Lines by which a capture was brought to its run's clock: the same signal as a line in a capture before it, and no suspect
/// beside it. By position among the lines of all captures, one after the other, as [`merge`] has them.
fn shared(captures: &[Capture], members: &[Member]) -> Shared {
    let lines = || {
        let all = captures.iter().enumerate();
        all.flat_map(|(of, capture)| capture.lines.iter().map(move |line| (of, line.name.as_str())))
    };
    let mut found = Shared::default();
    for (line, (of, name)) in lines().enumerate() {
        let Some(member) = members.get(of) else {
            continue;
        };
        let Some((there, is_alike)) = member.on.iter().find_map(|on| named_there(on, name)) else {
            continue;
        };
        let twin = lines()
            .take(line)
            .position(|(other, own)| other < of && own == there);
        let pairs = match is_alike {
            true => &mut found.alike,
            false => &mut found.otherwise,
        };
        // Upside down what is called otherwise is a buffer's other side.
        let is_one = is_alike || !member.alignment.inverted;
        pairs.extend(twin.filter(|_| is_one).map(|twin| (line, twin)));
    }
    found
}

/// A warning: a capture stands alone though it was meant to go with others.
pub(super) fn not_aligned(file: &str, trouble: &str) -> Finding {
    Finding {
        severity: Severity::Warning,
        topic: "alignment",
        lines: Vec::new(),
        title: format!(
            "{file} could not be brought to the clock of the other captures: it is looked at by itself, and not laid over them"
        ),
        detail: trouble.to_owned(),
        try_next: vec![
            "Name an irregular line that both instruments recorded (--align-on LINE, or the page Clocks); or say on the page \
             Clocks that they ran on one clock."
                .to_owned(),
            "Clip a free channel of both instruments to one line that switches irregularly, and capture again.".to_owned(),
        ],
    }
}

#[cfg(test)]
mod tests;
