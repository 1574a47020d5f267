//! The runs of one condition: one of them looked at, and what is wrong in each of the others.
//!
//! A run that shows nothing may only have been too short: what stood in an earlier run of the same condition is not gone.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::analysis::align::step_of;
use crate::model::Capture;
use crate::model::units::seconds;
use crate::report::inspect::{Finding, InspectReport, LineRow};
use crate::setup::Setup;
use crate::store::{Capture as Brought, Entry, EntryId};

use super::earlier::Told;
use super::elsewhere::Elsewhere;
use super::inspect::inspect_run;
use super::runs::{Member, Run, Tie, runs};
use super::session::{Held, within};
use super::unreadable::{AllRead, Unreadable};

/// Where one of the captures given came to.
#[derive(Clone, Debug)]
pub struct Placed {
    pub member: Member,
    /// Its run, by number.
    pub run: usize,
    /// Whether that run is the one looked at.
    pub is_shown: bool,
    /// Its sampling period in seconds; its tick, where none is known.
    pub sample_s: f64,
}

/// What is wrong in one run of a condition that has several.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunFound {
    pub captures: Vec<EntryId>,
    /// Its files.
    pub files: String,
    /// "412 edges in 1.3 ms".
    pub size: String,
    /// Names what the report rests on.
    pub key: String,
    /// Without the single strays, lags and waveforms.
    pub report: InspectReport,
    /// Lines that moved by themselves, whatever strays they have.
    #[serde(default)]
    pub moved: Vec<String>,
    /// How much it has to show of each finding, by the finding's title: see [`shows`].
    #[serde(default)]
    pub shows: BTreeMap<String, u64>,
    /// What it tells of its lines to later conditions.
    #[serde(default)]
    pub told: Told,
    #[serde(skip)]
    pub is_shown: bool,
    /// Why it was not taken as one with the run before it; not kept.
    #[serde(skip)]
    pub apart: Option<ApartFrom>,
}

/// Why a run is one of its own, and what is to be said of its first capture's clock where it is not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ApartFrom {
    /// A sentence.
    pub says: String,
    /// The capture that it would go with, and the lines by which.
    pub with: EntryId,
    pub on: Vec<String>,
}

/// One run of some captures, inspected, and where every capture came to.
pub struct OneRun {
    pub capture: Capture,
    pub report: InspectReport,
    pub placed: Vec<Placed>,
    /// What was left out; a finding tells of each, in this order.
    pub unreadable: Vec<Unreadable>,
    /// All runs, the newest last; captures that could not be brought to a run they belong to before them.
    pub runs: Vec<RunFound>,
}

/// Inspects the run in hand of the captures of `held` that could be read, or the newest one, and the others as far as
/// they are not `kept` from earlier. `None` where there are none. `known`: what the inspection of the same run came to,
/// where that is known. Cost: an inspection for each run that is not kept.
pub fn inspect_runs(
    held: &Held,
    read: AllRead,
    setup: &Setup,
    known: Option<InspectReport>,
    kept: Vec<RunFound>,
) -> Option<OneRun> {
    let (positions, captures): (Vec<usize>, Vec<Capture>) = read
        .captures
        .into_iter()
        .enumerate()
        .filter_map(|(position, capture)| Some((position, capture?)))
        .unzip();
    let ties: Vec<Tie> = held.ties();
    let ties: Vec<Tie> = positions.iter().map(|&i| within(&ties[i], &positions)).collect();
    let samples: Vec<f64> = captures.iter().map(sample_s).collect();
    let late: Vec<BTreeMap<String, f64>> = positions.iter().map(|&i| held.late_s(i)).collect();
    let mut all = runs(captures, &ties, &late);
    let entries = |run: &Run| -> Vec<Entry<Brought>> {
        let of = |member: &Member| held.captures[positions[member.position]].clone();
        run.members.iter().map(of).collect()
    };
    let in_hand = held.run.and_then(|id| {
        all.iter()
            .position(|run| entries(run).iter().any(|entry| entry.id == id))
    });
    let newest = all.iter().rposition(|run| !run.is_left_over());
    let shown = in_hand.or(newest).unwrap_or(all.len().checked_sub(1)?);
    let placed = all.iter().enumerate().flat_map(|(number, run)| {
        let place = |member: &Member| Placed {
            run: number,
            is_shown: number == shown,
            sample_s: samples[member.position],
            member: Member {
                position: positions[member.position],
                ..member.clone()
            },
        };
        run.members.iter().map(place).collect::<Vec<_>>()
    });
    let placed = placed.collect();
    let told: Vec<(Vec<Entry<Brought>>, String, bool)> = all
        .iter()
        .map(|run| (entries(run), size(&run.capture), run.is_left_over()))
        .collect();
    let mut apart: Vec<Option<ApartFrom>> = all
        .iter()
        .map(|run| {
            run.apart.as_ref().map(|apart| ApartFrom {
                says: apart.says.clone(),
                with: held.captures[positions[apart.with]].id,
                on: apart.on.clone(),
            })
        })
        .collect();
    // The run that others could not be brought to, and what is beside each.
    let main = newest.filter(|_| all.iter().any(Run::is_left_over));
    let beside_each: Vec<Elsewhere> = (0..all.len())
        .map(|own| {
            let Some(main) = main.filter(|main| *main == own || all[own].is_left_over()) else {
                return Elsewhere::default();
            };
            let is_other = |at: &usize| *at != own && *at != main && all[*at].is_left_over();
            let first = Some(main).filter(|main| *main != own);
            let others = first.into_iter().chain((0..all.len()).filter(is_other));
            Elsewhere::of(others.map(|at| &all[at].capture), main == own)
        })
        .collect();
    let left_over: Vec<String> = match main {
        Some(_) => all
            .iter()
            .filter(|run| run.is_left_over())
            .map(|run| run.capture.file.clone())
            .collect(),
        None => Vec::new(),
    };
    let mut run = all.remove(shown);
    for left in all.iter().filter(|run| run.is_left_over()) {
        run.findings.extend(left.findings.clone());
    }
    let unread: Vec<_> = read.unreadable.iter().map(Unreadable::finding).collect();
    // What can't be read is not the run's own.
    let not_own: Vec<String> = unread.iter().map(|finding| finding.title.clone()).collect();
    run.findings.extend(unread);
    let (capture, report) = match known {
        Some(report) => (run.capture, report),
        None => {
            let inspection = inspect_run(
                run.capture,
                run.sources,
                setup,
                run.findings,
                &beside_each[shown],
                held.earlier(),
            );
            (inspection.capture, inspection.report)
        }
    };
    let mut others = all.into_iter();
    let (mut found, mut order) = (Vec::new(), Vec::new());
    for (number, (entries, size, is_left_over)) in told.into_iter().enumerate() {
        let other = (number != shown).then(|| others.next()).flatten();
        let mut key = held.key_of(&entries);
        if main == Some(number) || is_left_over {
            key = format!("{key} beside {}", left_over.join(", "));
        }
        let known = kept.iter().find(|run| run.key == key);
        let (report, own_moves, own_shows, told) = match (other, known) {
            (None, _) => {
                let mut own = without_single(&report);
                own.findings.retain(|finding| !not_own.contains(&finding.title));
                (own, moved(&report), shows(&report), Told::of(&report))
            }
            (_, Some(known)) => (
                known.report.clone(),
                known.moved.clone(),
                known.shows.clone(),
                known.told.clone(),
            ),
            (Some(run), None) => {
                let inspection = inspect_run(
                    run.capture,
                    run.sources,
                    setup,
                    run.findings,
                    &beside_each[number],
                    held.earlier(),
                );
                let whole = &inspection.report;
                (without_single(whole), moved(whole), shows(whole), Told::of(whole))
            }
        };
        let files: Vec<&str> = entries.iter().map(|entry| entry.value.file.as_str()).collect();
        found.push(RunFound {
            files: files.join(" with "),
            captures: entries.iter().map(|entry| entry.id).collect(),
            size,
            key,
            report,
            moved: own_moves,
            shows: own_shows,
            told,
            is_shown: number == shown,
            apart: apart[number].take(),
        });
        order.push(!is_left_over);
    }
    // What is left over comes first: the newest run stays the last.
    let mut sorted: Vec<(bool, RunFound)> = order.into_iter().zip(found).collect();
    sorted.sort_by_key(|(is_run, _)| *is_run);
    let found = sorted.into_iter().map(|(_, run)| run).collect();
    Some(OneRun {
        capture,
        report,
        placed,
        unreadable: read.unreadable,
        runs: found,
    })
}

/// The sampling period of a capture's lines, the finest where they have several; else its tick. In seconds.
fn sample_s(capture: &Capture) -> f64 {
    let known = capture.lines.iter().map(|line| line.sample_ticks);
    let known = known.filter(|ticks| *ticks > 0.0).reduce(f64::min);
    let ticks = known.unwrap_or_else(|| step_of(capture).max(capture.resolution_ticks));
    capture.timebase.length_s(ticks)
}

/// How much a run has to show.
fn size(capture: &Capture) -> String {
    let edges: usize = capture.lines.iter().map(|line| line.edges.len()).sum();
    let ticks = capture.span.end.0.saturating_sub(capture.span.start.0);
    format!(
        "{edges} edges in {}",
        seconds(capture.timebase.length_s(ticks as f64))
    )
}

/// Lines with more edges than their strays have.
fn moved(report: &InspectReport) -> Vec<String> {
    let mut of_strays: BTreeMap<&str, u64> = BTreeMap::new();
    for stray in report.strays.iter().filter(|stray| stray.kind == "pulse") {
        *of_strays.entry(&stray.line).or_default() += 2;
    }
    let is_moved = |row: &&LineRow| row.edges > of_strays.get(row.line.as_str()).copied().unwrap_or(0);
    let rows = report.lines.iter().filter(is_moved);
    rows.map(|row| row.line.clone()).collect()
}

/// How much a whole report has to show of each finding, by its title: strays of the coupling or the line, pulses sent over the link,
/// occasions of the rule. What counts nothing is left out.
fn shows(report: &InspectReport) -> BTreeMap<String, u64> {
    let weight = |finding: &Finding| -> u64 {
        let is_pair = |one: &String, other: &String| finding.lines.starts_with(&[one.clone(), other.clone()]);
        let couplings = report.couplings.iter();
        let couplings = couplings.filter(|row| is_pair(&row.victim, &row.aggressor));
        let links = report.links.iter().filter(|row| is_pair(&row.from, &row.to));
        let is_named = |name: &str| finding.detail.starts_with(&format!("Rule \"{name}\"."));
        let rules = report.rules.iter().filter(|row| is_named(&row.name));
        let strays = report
            .strays
            .iter()
            .filter(|row| finding.lines.first() == Some(&row.line));
        match finding.topic.as_str() {
            "coupling" => couplings.map(|row| row.strays).sum(),
            "link" => links.map(|row| row.sent).sum(),
            "limit" | "logic" | "sequence" => rules.map(|row| row.kept + row.broken).sum(),
            "uncaptured-cause" | "stray" | "bounce" => strays.count() as u64,
            _ => 0,
        }
    };
    let weights = report
        .findings
        .iter()
        .map(|finding| (finding.title.clone(), weight(finding)));
    weights.filter(|(_, weight)| *weight > 0).collect()
}

/// The report with no more of its rows than its lines: it is kept for every run.
fn without_single(report: &InspectReport) -> InspectReport {
    InspectReport {
        strays: Vec::new(),
        links: Vec::new(),
        proposals: Vec::new(),
        waveforms: Vec::new(),
        doubts: Vec::new(),
        couplings: Vec::new(),
        rules: Vec::new(),
        ..report.clone()
    }
}
