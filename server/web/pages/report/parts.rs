//! Parts of the report: conditions with what was found under each, judgements, readings, photographs, and what is open.

use crate::model::units::file_size;
use crate::report::inspect::{Finding, Severity};
use crate::report::text::headline;
use crate::store::{Entry, EntryId, Outcome, PulseMark, Store, Verdict, as_typed};
use crate::web::answers::{Answer, of_the_rest};
use crate::web::api::log::SessionLog;
use crate::web::base64::base64;
use crate::web::error::Failure;
use crate::web::opened::Opened;
use crate::web::remains::Fate;
use crate::web::standings::Standing;
use crate::workflow::condition_runs::RunFound;

use super::{ConditionView, PhotographView, ReadingView, state_of};

/// What was found under a condition, and what still stands there of troubles that were found earlier.
pub(super) fn says_of(answers: &[Answer], answer: &Answer, all: &[Standing]) -> Option<String> {
    with_what_remains(answer.headline()?, answers, answer, all)
}

/// What was found in each run of a condition, the newest last: its files and a sentence. A note asks for nothing; of runs
/// that are not the newest their notes are counted only. Empty where there is one run.
fn runs_of(answer: &Answer) -> Vec<(String, String)> {
    let newest = answer.runs.len().saturating_sub(1);
    let view = |(at, run): (usize, &RunFound)| {
        let files = format!("{} ({})", run.files, run.size);
        let is_note = |finding: &&Finding| finding.severity == Severity::Note;
        let says = match answer.set_aside_in.get(at).copied().unwrap_or_default() {
            true => of_the_rest(&headline(&run.report)),
            false => headline(&run.report),
        };
        match run.report.findings.iter().filter(is_note).count() {
            notes @ 1.. if at < newest => {
                let are = if notes == 1 {
                    "note of it is"
                } else {
                    "notes of it are"
                };
                (files, format!("{says} {notes} {are} on the page Findings only."))
            }
            _ => (files, says),
        }
    };
    answer.runs.iter().enumerate().map(view).collect()
}

fn with_what_remains(
    mut says: String,
    answers: &[Answer],
    answer: &Answer,
    all: &[Standing],
) -> Option<String> {
    let number = answers.iter().position(|other| std::ptr::eq(other, answer))?;
    for standing in all.iter().filter(|standing| standing.answer < number) {
        if let Some(Fate::Remains(sentence)) = standing.fate(answers, number, "there")
            && !says.contains(&sentence)
        {
            says += &format!(" {sentence}.");
        }
    }
    Some(says.trim_start().to_owned())
}

/// Conditions in their order; `answers` and `troubles`: of those with captures.
pub(super) fn conditions(
    log: &SessionLog,
    answers: &[Answer],
    troubles: &[String],
    all: &[Standing],
    moment: &dyn Fn(i64) -> String,
) -> Vec<ConditionView> {
    let known = |id: EntryId| log.conditions.iter().any(|held| held.id == id);
    let newest = answers.iter().rfind(|answer| answer.report.is_some());
    let view = |condition: Option<EntryId>, title: String, remark: String| {
        let captures = log
            .captures
            .iter()
            .filter(move |entry| entry.value.condition.filter(|id| known(*id)) == condition);
        let row = |entry: &Entry<crate::store::Capture>| {
            let value = &entry.value;
            let by = match value.instrument.as_str() {
                "" => String::new(),
                instrument => format!(" ({instrument})"),
            };
            [
                format!("{}{by}", value.file),
                file_size(value.size_bytes),
                moment(entry.created_ms),
                value.remark.clone(),
            ]
        };
        let looked = answers
            .iter()
            .zip(troubles)
            .find(|(answer, _)| answer.condition == condition);
        ConditionView {
            title,
            remark,
            captures: captures.map(row).collect(),
            runs: looked.map_or_else(Vec::new, |(answer, _)| runs_of(answer)),
            says: looked.map_or(String::new(), |(answer, trouble)| {
                // What stands at the head of the report already is not said again.
                let is_head = newest.is_some_and(|newest| std::ptr::eq(newest, answer));
                match is_head && trouble.is_empty() {
                    true => String::new(),
                    // Each run says its own.
                    false if !answer.runs.is_empty() => {
                        with_what_remains(String::new(), answers, answer, all).unwrap_or_default()
                    }
                    false => says_of(answers, answer, all).unwrap_or_else(|| trouble.clone()),
                }
            }),
        }
    };
    let without = view(None, "No condition named".to_owned(), String::new());
    let named = log.conditions.iter().map(|entry| {
        view(
            Some(entry.id),
            entry.value.title.clone(),
            entry.value.remark.clone(),
        )
    });
    std::iter::once(without)
        .filter(|view| !view.captures.is_empty())
        .chain(named)
        .collect()
}

/// How many pulses of a finding's first line a person judged, under the condition it is told of; empty where none.
pub(super) fn judged(log: &SessionLog, opened: &Opened, finding: &Finding) -> String {
    let Some(line) = finding.lines.first() else {
        return String::new();
    };
    // A name that several captures have stands as `STEM/LINE`.
    let own = line.rsplit('/').next().unwrap_or(line);
    let here = |mark: &PulseMark| opened.captures.iter().any(|entry| entry.id == mark.capture);
    let of = |stray: bool| {
        let all = log.pulse_marks.iter().map(|entry| &entry.value);
        all.filter(|mark| here(mark) && mark.line == own && mark.stray == stray)
            .count()
    };
    let told = [(of(false), "legitimate"), (of(true), "a stray")];
    let told: Vec<String> = told
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, what)| format!("{count} judged {what} by hand"))
        .collect();
    match told.is_empty() {
        true => String::new(),
        false => format!(
            "Of the pulses of {line} {}: the counts go by that.",
            told.join(", ")
        ),
    }
}

/// A meter reading as a row: value, unit, how far off in percent.
pub(super) fn reading(
    log: &SessionLog,
    entry: &Entry<crate::store::Reading>,
    moment: &dyn Fn(i64) -> String,
) -> ReadingView {
    let value = &entry.value;
    let unit = if value.unit.is_empty() { "V" } else { &value.unit };
    let condition = log
        .conditions
        .iter()
        .find(|held| Some(held.id) == value.condition);
    let place = match condition {
        Some(condition) => format!("{} ({})", value.place, condition.value.title),
        None => value.place.clone(),
    };
    ReadingView {
        cells: [
            value.rail.clone(),
            value
                .nominal
                .map(|nominal| format!("{} {unit}", as_typed(nominal)))
                .unwrap_or_default(),
            format!("{} {unit}", as_typed(value.reading)),
            value.off_words(),
            place,
            moment(value.at_ms.unwrap_or(entry.created_ms)),
        ],
        wrong_sign: value.has_wrong_sign(),
    }
}

/// Files of captures, parted by commas.
pub(super) fn capture_names(log: &SessionLog, ids: &[EntryId]) -> String {
    let names = ids
        .iter()
        .filter_map(|id| log.captures.iter().find(|entry| entry.id == *id));
    names
        .map(|entry| entry.value.file.clone())
        .collect::<Vec<_>>()
        .join(", ")
}

/// Photographs with their bytes inside.
///
/// # Errors
/// The disk's own.
pub(super) fn photographs(store: &Store, log: &SessionLog) -> Result<Vec<PhotographView>, Failure> {
    let view = |entry: &Entry<crate::store::Photograph>| {
        let value = &entry.value;
        let path = store.original_path(&value.digest)?;
        let bytes =
            std::fs::read(&path).map_err(|error| Failure::ours(format!("{}: {error}", path.display())))?;
        let caption = if value.caption.is_empty() {
            &value.file
        } else {
            &value.caption
        };
        Ok(PhotographView {
            source: format!("data:{};base64,{}", value.picture.content_type(), base64(&bytes)),
            caption: caption.clone(),
        })
    };
    log.photographs.iter().map(view).collect()
}

/// What is not settled: findings that nobody confirmed as fixed or cleared, or that the newest capture still shows, under whichever condition they stood,
/// conditions that could not be looked at, steps not passed, wrong readings.
pub(super) fn still_open(log: &SessionLog, answers: &[Answer], all: &[Standing]) -> Vec<String> {
    let mut open = Vec::new();
    for standing in all {
        let Some(finding) = standing.finding(answers) else {
            continue;
        };
        let state = state_of(log, standing)
            .map(|state| state.state)
            .unwrap_or_default();
        let still_shows = state == Verdict::Fixed && standing.still_shows(answers);
        if still_shows {
            open.push(format!(
                "{} (marked as fixed, and the newest capture still shows it)",
                finding.title
            ));
        } else if finding.severity != Severity::Note && !matches!(state, Verdict::Fixed | Verdict::NotAFault)
        {
            let gone = match (standing.is_present(answers), standing.in_newest) {
                (false, _) if !matches!(standing.fate_now(answers), Some(Fate::Gone)) => {
                    format!("; {}", standing.says(answers))
                }
                (true, true) => String::new(),
                (true, false) => format!("; {}", standing.says(answers)),
                (false, _) => format!("; {}: if it is settled, mark it as fixed", standing.says(answers)),
            };
            open.push(format!("{} ({}{gone})", finding.title, state.words()));
        }
    }
    for answer in answers.iter().filter(|answer| answer.report.is_none()) {
        open.push(format!(
            "the captures under \"{}\" could not be read",
            answer.title
        ));
    }
    for entry in &log.readings {
        if entry.value.has_wrong_sign() {
            open.push(format!("{} reads with the wrong sign", entry.value.rail));
        }
    }
    for (index, entry) in log.steps.iter().enumerate() {
        if matches!(entry.value.outcome, Outcome::Open | Outcome::Failed) {
            open.push(format!(
                "step {}: {} ({})",
                index + 1,
                entry.value.what,
                entry.value.outcome.words()
            ));
        }
    }
    open
}
