//! Several captures → one clock: aligned on a line both recorded, or taken as they are.

use crate::analysis::align::Alignment;
use crate::model::{Capture, Line};
use crate::report::CaptureRow;
use crate::report::align::{AlignReport, SCHEMA};
use crate::setup::Setup;

use super::lines::capture_row;
use super::merge::merge;
use super::runs::{align_pair_on, ends, turned};
use super::same_signal::{Shared, join};

/// Aligns the second capture to the first. `on`: `LINE`, or `LINE=LINE_IN_B`; several parted by commas.
///
/// # Errors
/// A sentence: a line is missing, or the two do not share enough to tell.
pub fn align_pair(a: &Capture, b: &Capture, on: &str) -> anyhow::Result<Alignment> {
    align_pair_on(a, b, &each(a, b, on)).map_err(anyhow::Error::msg)
}

/// The lines of `on`, each the right way round.
fn each(a: &Capture, b: &Capture, on: &str) -> Vec<String> {
    let names: Vec<&str> = match a.line_index(on) {
        Some(_) => vec![on],
        None => on.split(',').map(str::trim).collect(),
    };
    let turn = |name: &&str| turned(std::iter::once(a), b, name);
    names.iter().map(turn).collect()
}

/// Lines of different names by which captures were brought to the first one's clock, by `on`: (line, line of the first), by
/// position in the merged capture. Lines of one name are found by it. `on`: one for each capture.
fn shared_by(captures: &[Capture], alignments: &[Alignment], on: &[Option<String>]) -> Shared {
    let mut shared = Shared::default();
    let mut before = captures[0].lines.len();
    for (at, (other, alignment)) in captures.iter().zip(alignments).enumerate().skip(1) {
        let pair = |name: &String| {
            let (there, here) = ends(&captures[0], name);
            let (there, here) = (captures[0].line_index(&there)?, other.line_index(&here)?);
            (captures[0].lines[there].name != other.lines[here].name).then_some((before + here, there))
        };
        // Upside down it is a buffer's other side.
        let on = on
            .get(at)
            .and_then(Option::as_deref)
            .filter(|_| !alignment.inverted && !alignment.is_same_clock());
        let names = on.map_or(Vec::new(), |on| each(&captures[0], other, on));
        shared.otherwise.extend(names.iter().filter_map(pair));
        before += other.lines.len();
    }
    shared
}

/// A line of one name that brings the second capture to the first one's clock, the one with the most edges that match; and
/// how. `None` where no line that both recorded does. Cost: that of aligning on [`MOST_TRIED`] lines.
pub fn shared(a: &Capture, b: &Capture) -> Option<(String, Alignment)> {
    let in_both = a.lines.iter().filter(|line| b.line_index(&line.name).is_some());
    let mut names: Vec<&Line> = in_both.filter(|line| !line.edges.is_empty()).collect();
    names.sort_by_key(|line| std::cmp::Reverse(line.edges.len()));
    let tried = names.iter().take(MOST_TRIED).filter_map(|line| {
        let alignment = align_pair_on(a, b, std::slice::from_ref(&line.name)).ok()?;
        Some((line.name.clone(), alignment))
    });
    tried.max_by_key(|(_, alignment)| alignment.matched)
}

/// The busiest lines of one name that are tried: two captures of one machine may share all their lines.
const MOST_TRIED: usize = 8;

/// The captures as one, with what several of them recorded told as one signal; and the pairs of lines that are.
fn merged(
    captures: Vec<Capture>,
    alignments: &[Alignment],
    on: &[Option<String>],
    setup: &Setup,
) -> (Capture, Vec<(usize, usize)>) {
    let names: Vec<String> = own_names(&captures);
    let shared = shared_by(&captures, alignments, on);
    let mut capture = merge(captures, alignments);
    // Whichever part of the setup names it.
    let said = format!("{setup:?}");
    let is_said = |name: &str| said.contains(name);
    let pairs = join(&mut capture, &names, &shared, slack_s(alignments), &is_said);
    (capture, pairs)
}

/// What each line is called in its file, in the order of the merged capture.
pub(super) fn own_names(captures: &[Capture]) -> Vec<String> {
    let lines = captures.iter().flat_map(|capture| &capture.lines);
    lines.map(|line| line.name.clone()).collect()
}

/// How far edges of one signal may lie apart by the alignments: four standard deviations of those that were matched.
pub(super) fn slack_s(alignments: &[Alignment]) -> f64 {
    let residuals = alignments.iter().map(|a| a.residual_s).filter(|r| r.is_finite());
    4.0 * residuals.fold(0.0, f64::max)
}

/// The captures of one side, run by run.
pub struct ByRuns {
    /// Each on one clock, with the lines that are counted once.
    pub runs: Vec<(OneClock, Vec<String>)>,
    /// Those of the lines that were said that brought a capture to another's clock.
    pub joined_by: Vec<String>,
    /// Why captures that one of them was tried on are runs of their own: the line, and a sentence.
    pub apart: Vec<(String, String)>,
}

/// A run that is put together: its captures, how each lies to the first, and the line that was said for it.
#[derive(Default)]
struct Group {
    captures: Vec<Capture>,
    alignments: Vec<Alignment>,
    on: Vec<Option<String>>,
}

/// Brings the captures of one side together, each run on one clock: files that share lines, all of which match edge by edge,
/// recorded one run if they hold other lines besides or sample otherwise; a second run by the same clips has the same lines at
/// the same sampling. A file that has a line of its own, and that one of `on` brings to the clock of a run's first, is of that
/// run.
pub fn by_runs(captures: Vec<Capture>, on: &[String], setup: &Setup) -> ByRuns {
    let (mut joined_by, mut apart): (Vec<String>, Vec<(String, String)>) = (Vec::new(), Vec::new());
    let mut groups: Vec<Group> = Vec::new();
    for capture in captures {
        let (mut each, mut why) = (groups.iter().enumerate(), None);
        let found = each.find_map(|(at, group)| {
            let first = &group.captures[0];
            // Where several are said, each is for the files that have its lines.
            let for_these = on
                .iter()
                .filter(|on_it| on.len() == 1 || names_are_in(first, &capture, on_it))
                .filter(|_| has_its_own(&group.captures, &capture));
            for on in for_these {
                match align_pair(first, &capture, on) {
                    Ok(alignment) => return Some((at, alignment, Some(on.clone()))),
                    Err(trouble) => why = Some((on.clone(), trouble.to_string())),
                }
            }
            Some((at, same_run(first, &capture, setup)?, None))
        });
        if let (None, Some((on, why))) = (&found, why) {
            let says = format!("{} is counted as a run of its own. {why}", capture.file);
            apart.push((on, says));
        }
        let (at, alignment, by) = found.unwrap_or((groups.len(), Alignment::SAME_CLOCK, None));
        if at == groups.len() {
            groups.push(Group::default());
        }
        joined_by.extend(by.clone());
        groups[at].captures.push(capture);
        groups[at].alignments.push(alignment);
        groups[at].on.push(by);
    }
    let one = |group: Group| {
        let Group {
            mut captures,
            alignments,
            on,
        } = group;
        let rows = captures.iter().zip(&alignments);
        let sources = rows
            .map(|(capture, a)| capture_row(capture, a.offset_s, a.drift_ppm))
            .collect();
        let names = own_names(&captures);
        let (capture, pairs) = match captures.len() {
            1 => (captures.remove(0), Vec::new()),
            _ => merged(captures, &alignments, &on, setup),
        };
        let once = pairs.iter().map(|&(line, _)| names[line].clone()).collect();
        let clock = OneClock {
            capture,
            sources,
            alignments,
            on: Vec::new(),
        };
        (clock, once)
    };
    ByRuns {
        runs: groups.into_iter().map(one).collect(),
        joined_by,
        apart,
    }
}

/// Whether a capture has a line that no capture of a run has: what shows the same lines is another run by the same clips.
fn has_its_own(run: &[Capture], capture: &Capture) -> bool {
    let is_new = |line: &Line| run.iter().all(|other| other.line_index(&line.name).is_none());
    capture.lines.iter().any(is_new)
}

/// How `b` comes to the clock of `a`, where both recorded one run.
fn same_run(a: &Capture, b: &Capture, setup: &Setup) -> Option<Alignment> {
    let in_both = a.lines.iter().filter(|line| b.line_index(&line.name).is_some());
    let count = in_both.count();
    let is_sampled_alike = a.lines.iter().zip(&b.lines).all(|(x, y)| {
        let (x, y) = (
            a.timebase.length_s(x.sample_ticks),
            b.timebase.length_s(y.sample_ticks),
        );
        (x - y).abs() <= 1e-3 * x.max(y)
    });
    let has_others = count < a.lines.len() || count < b.lines.len();
    if count == 0 || (!has_others && is_sampled_alike) {
        return None;
    }
    let (_, alignment) = shared(a, b)?;
    let (_, pairs) = merged(
        vec![a.clone(), b.clone()],
        &[Alignment::SAME_CLOCK, alignment],
        &[],
        setup,
    );
    (pairs.len() == count).then_some(alignment)
}

/// The report of an alignment.
pub fn align_report(alignment: &Alignment) -> AlignReport {
    AlignReport {
        schema: SCHEMA.to_owned(),
        offset_s: alignment.offset_s,
        offset_se_s: alignment.offset_se_s,
        drift_ppm: alignment.drift_ppm,
        drift_se_ppm: alignment.drift_se_ppm,
        middle_s: alignment.middle_s,
        middle_se_s: alignment.middle_se_s,
        matched: alignment.matched as u64,
        unmatched_a: alignment.unmatched_a as u64,
        unmatched_b: alignment.unmatched_b as u64,
        residual_s: alignment.residual_s,
        inverted: alignment.inverted,
    }
}

/// Captures on the first one's clock, as one; a row for each file; and how each lies to the first.
pub struct OneClock {
    pub capture: Capture,
    pub sources: Vec<CaptureRow>,
    pub alignments: Vec<Alignment>,
    /// The lines by which each came there, the right way round: `LINE`, or `LINE=LINE_HERE`.
    pub on: Vec<String>,
}

/// A capture that could not be brought to the clock of the first, and why.
pub struct LeftOver {
    pub capture: Capture,
    pub trouble: String,
}

/// Brings captures (at least one) to the first one's clock: aligned on `on`, or, without it, taken as recorded
/// on one clock. A signal that several recorded keeps its name, unless the setup names one file's record of it. Beside them
/// those that `on` does not bring there.
///
/// # Errors
/// `on` names no line of the first capture, or none of any other; or there is no capture.
pub fn one_clock(
    captures: Vec<Capture>,
    on: Option<&str>,
    setup: &Setup,
) -> anyhow::Result<(OneClock, Vec<LeftOver>)> {
    let mut rest = captures.into_iter();
    let mut captures: Vec<Capture> = rest.next().into_iter().collect();
    anyhow::ensure!(!captures.is_empty(), "expected at least one capture, found none");
    let (mut alignments, mut left) = (vec![Alignment::SAME_CLOCK], Vec::new());
    let mut lines = vec![String::new()];
    let mut is_named = false;
    for other in rest {
        let aligned = match on {
            Some(on) => {
                is_named |= names_are_in(&captures[0], &other, on);
                align_pair(&captures[0], &other, on)
            }
            None => Ok(Alignment::SAME_CLOCK),
        };
        match aligned {
            Ok(alignment) => {
                lines.push(on.map_or_else(String::new, |on| each(&captures[0], &other, on).join(", ")));
                captures.push(other);
                alignments.push(alignment);
            }
            Err(trouble) => left.push(LeftOver {
                capture: other,
                trouble: trouble.to_string(),
            }),
        }
    }
    // A name that is nowhere is a slip of the pen.
    if let Some(first) = left.first().filter(|_| !is_named) {
        anyhow::bail!("{}", first.trouble);
    }
    let rows = captures.iter().zip(&alignments);
    let sources = rows
        .map(|(capture, a)| capture_row(capture, a.offset_s, a.drift_ppm))
        .collect();
    let capture = match captures.len() {
        1 => captures.remove(0),
        _ => {
            let on = vec![on.map(str::to_owned); captures.len()];
            merged(captures, &alignments, &on, setup).0
        }
    };
    let clock = OneClock {
        capture,
        sources,
        alignments,
        on: lines,
    };
    Ok((clock, left))
}

/// Whether both have a line that `on` names.
fn names_are_in(a: &Capture, b: &Capture, on: &str) -> bool {
    each(a, b, on).iter().any(|name| {
        let (there, here) = ends(a, name);
        a.line_index(&there).is_some() && b.line_index(&here).is_some()
    })
}
