//! What became, under the condition that is looked at, of what the condition before it told of.

use crate::report::inspect::{InspectReport, Severity, finding_keys};
use crate::store::{Entry, EntryId, FindingState, Verdict};
use crate::workflow::compare::{judge_all, tally, what};
use crate::workflow::session::RunTallies;

use super::alike::{keys_of, name_in};
use super::answers::Answer;
use super::finding_state::state_of;
use super::opened::Opened;
use super::remains::{BOUNCE, Fate, fate, left};
use super::standings::{Standing, standings};

/// The last condition before the one that is looked at of which an answer is kept.
fn before<'a>(answers: &'a [Answer], opened: &Opened) -> Option<&'a Answer> {
    let earlier = answers
        .iter()
        .take_while(|answer| answer.condition != opened.condition);
    earlier.filter(|answer| answer.report.is_some()).last()
}

/// What the last condition before this one that was looked at told of and this one does not: a sentence for troubles that
/// are not found any more, one for each line that still shows strays, and so on. Nothing of notes, which ask for nothing.
/// What a person holds to be no fault is left out; so is, of what is not found any more, what was marked as fixed, and what a
/// later condition shows again. `answers`: of all conditions, in their order.
pub fn since(answers: &[Answer], states: &[Entry<FindingState>], opened: &Opened) -> Vec<String> {
    /// Titles told in one sentence.
    const MOST: usize = 4;
    let Some(before) = before(answers, opened) else {
        return Vec::new();
    };
    let reports = || std::iter::once(&opened.report).chain(opened.runs.iter().map(|run| &run.report));
    // Whichever of its names a line has here.
    let mut present: Vec<String> = reports()
        .flat_map(|report| finding_keys(&report.findings))
        .collect();
    let earlier: Vec<&InspectReport> = before.reports().collect();
    let told = reports().flat_map(|report| keys_of(report, &earlier));
    present.extend(told.flatten());
    let now = Answer {
        condition: opened.condition,
        title: String::new(),
        report: Some(opened.report.clone()),
        keys: Vec::new(),
        runs: opened.runs.clone(),
        moved: Vec::new(),
        has_set_aside: false,
        set_aside_in: Vec::new(),
    };
    // A line that moved by itself, its strays apart, and stands still here.
    let is_still = |name: &&String| {
        let here = before
            .report
            .as_ref()
            .map_or_else(|| (*name).clone(), |before| name_in(&opened.report, before, name));
        let here = opened.capture.line_index(&here);
        let is_dead = here.is_some_and(|line| opened.capture.lines[line].edges.is_empty());
        is_dead && before.moved.contains(*name)
    };
    let later = answers
        .iter()
        .skip_while(|answer| answer.condition != opened.condition)
        .skip(1);
    let again: Vec<String> = later
        .flat_map(Answer::reports)
        .flat_map(|report| keys_of(report, &earlier))
        .flatten()
        .collect();
    let held = |standing: &Standing| {
        let state = state_of(&standing.keys, states.iter().map(|entry| &entry.value));
        state.map(|state| state.state)
    };
    let mut hidden = Vec::new();
    let (mut gone, mut unseen, mut still, mut remain) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut unjudged = Vec::new();
    let alone = std::slice::from_ref(before);
    let all = standings(alone);
    for standing in &all {
        let (Some(finding), Some(report)) = (standing.finding(alone), standing.report(alone)) else {
            continue;
        };
        let is_trouble = finding.severity != Severity::Note && finding.topic != "reading";
        let held = held(standing);
        if !is_trouble || present.contains(&standing.key) || held == Some(Verdict::NotAFault) {
            continue;
        }
        let is_settled = held == Some(Verdict::Fixed) || again.contains(&standing.key);
        match (
            fate(finding, report, &now, "here"),
            finding.lines.iter().find(is_still),
        ) {
            (Fate::Unsaid, _) => {}
            (Fate::NotCaptured | Fate::NotJudged, _) if is_settled => {}
            (Fate::NotCaptured, _) => unseen.push(finding.title.clone()),
            (Fate::NotJudged, _) => unjudged.push(finding.title.clone()),
            (Fate::Remains(says), _) if finding.topic == BOUNCE => hidden.push(says),
            (Fate::Remains(says), _) => remain.push(says),
            (Fate::Gone, None) if is_settled => {}
            (Fate::Gone, None) => gone.push(format!("{}{}", finding.title, left(finding, &opened.report))),
            (Fate::Gone, Some(line)) => still.push(format!("{} ({line} never switches here)", finding.title)),
        }
    }
    let of = &before.title;
    let sentences = [
        (format!("As under \"{of}\""), remain),
        (format!("Found under \"{of}\", and open here"), hidden),
        (format!("Found under \"{of}\" and not here"), gone),
        (
            format!("Found under \"{of}\", and no proof of a cure here, where a line of it stands still"),
            still,
        ),
        (
            format!("Found under \"{of}\", and not to be seen here, for not all of its lines are captured"),
            unseen,
        ),
        (
            format!(
                "Found under \"{of}\", and not judged here, for nothing joins the clocks of its lines' captures"
            ),
            unjudged,
        ),
    ];
    let told = sentences.into_iter().filter(|(_, titles)| !titles.is_empty());
    let told = told.map(|(words, titles)| {
        let more = match titles.len().saturating_sub(MOST) {
            0 => String::new(),
            more => format!("; and {more} more"),
        };
        format!("{words}: {}{more}.", titles[..titles.len().min(MOST)].join("; "))
    });
    told.collect()
}

/// What Before and after calls gone between the condition before and the one that is looked at, with the clean occasions behind it:
/// a sentence, or none. `counted`: where the runs were counted and nothing changed since.
pub fn mended(counted: Option<&RunTallies>, answers: &[Answer], opened: &Opened) -> Option<String> {
    /// Troubles told of.
    const MOST: usize = 2;
    let (counted, before) = (counted?, before(answers, opened)?);
    let runs = |condition: Option<EntryId>| -> Vec<usize> {
        let all = counted.runs.iter().enumerate();
        let own = all.filter(|(_, run)| run.condition == condition);
        own.map(|(at, _)| at).collect()
    };
    let judged = judge_all(&counted.tallies, &runs(before.condition), &runs(opened.condition));
    let gone = judged.iter().filter(|j| j.is_gone_for_good());
    let gone: Vec<String> = gone
        .map(|j| {
            let of = |counts: crate::analysis::compare::Counts| {
                tally(counts.strays, counts.opportunities, j.trouble.slot_s)
            };
            format!(
                "{} ({} now, {} before)",
                what(j.trouble),
                of(j.after),
                of(j.before)
            )
        })
        .collect();
    let more = match gone.len().saturating_sub(MOST) {
        0 => String::new(),
        more => format!("; and {more} more"),
    };
    (!gone.is_empty()).then(|| {
        format!(
            "Gone since \"{}\", as Before and after counts it: {}{more}. Mark it as fixed in the bench log.",
            before.title,
            gone[..gone.len().min(MOST)].join("; ")
        )
    })
}
