//! The bench log: what was done, seen and concluded in a session.

use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde::Deserialize;
use serde_json::json;

use super::Places;
use super::next_capture::NextCapture;
use crate::model::units::on_scale;
use crate::report::inspect::Severity;
use crate::report::text::moment;
use crate::store::{
    Action, Capture, Condition, Entry, EntryId, FindingState, Outcome, Photograph, PulseMark, Reading,
    Remark, SessionId, Step, Store, as_typed,
};
use crate::web::answers::{Answer, Standing, kept_answers, standings};
use crate::web::api::log::{SessionLog, with_store};
use crate::web::error::{Failure, PageFailure};
use crate::web::finding_state::StateView;
use crate::web::remains::Fate;
use crate::web::shown::{Shown, Which};
use crate::web::state::App;

#[derive(Template)]
#[template(path = "pages/bench_log.html")]
struct LogPage {
    places: Places,
    id: i64,
    title: String,
    next: NextCapture,
    job: String,
    setup: String,
    /// The setup is to be edited: its form stands open.
    opens_setup: bool,
    /// Title, job and setup as this page shows them, as JSON to send back.
    was: String,
    conditions: Vec<ConditionView>,
    unsorted: Vec<CaptureView>,
    findings: Vec<FindingView>,
    /// The findings are those from before something changed: they are being looked at again.
    is_looking: bool,
    unseen: Vec<Unseen>,
    exports: Vec<ExportView>,
    remarks: Vec<RemarkView>,
    marks: Vec<MarkedView>,
    readings: Vec<ReadingView>,
    /// Conditions to take a new reading under, the newest chosen.
    newest: Vec<ConditionChoice>,
    photographs: Vec<PhotographView>,
    steps: Vec<StepView>,
    /// What undoing would undo, and redoing do again.
    undo: Option<Action>,
    redo: bool,
    binned: Vec<BinnedView>,
}

struct ConditionView {
    id: i64,
    title: String,
    remark: String,
    since: String,
    captures: Vec<CaptureView>,
}

struct CaptureView {
    id: i64,
    file: String,
    size: String,
    added: String,
    remark: String,
    instrument: String,
    conditions: Vec<ConditionChoice>,
    /// The capture as JSON, to be sent back with one thing changed.
    json: String,
}

struct FindingView {
    state: StateView,
    severity: &'static str,
    /// The conditions it stood under, where several were looked at.
    under: String,
}

/// A condition whose captures nobody looked at.
struct Unseen {
    title: String,
    /// Names it in an address.
    query: String,
}

/// What goes out of one condition.
struct ExportView {
    /// The condition, where there are several.
    title: String,
    /// Names it in an address.
    query: String,
    /// Its runs, where there are several: what each is called, and what names it in an address.
    runs: Vec<(String, String)>,
}

struct RemarkView {
    id: i64,
    at: String,
    text: String,
}

/// A pulse that was judged in the diagram.
struct MarkedView {
    id: i64,
    at: String,
    says: String,
}

struct ReadingView {
    id: i64,
    at: String,
    rail: String,
    nominal: String,
    reading: String,
    off: String,
    wrong_sign: bool,
    place: String,
    remark: String,
    /// As they are typed; empty without a nominal.
    nominal_value: String,
    value: String,
    unit: String,
    conditions: Vec<ConditionChoice>,
    /// The reading as JSON, to be sent back with something changed.
    json: String,
}

/// A condition to choose; none is one of them.
struct ConditionChoice {
    /// Its number, or empty.
    value: String,
    words: String,
    is_set: bool,
}

struct PhotographView {
    id: i64,
    file: String,
    caption: String,
    json: String,
}

struct StepView {
    id: i64,
    number: usize,
    what: String,
    expect: String,
    outcome: &'static str,
    /// Class: one word, and none that the page has for something else.
    tone: &'static str,
    done: String,
    remark: String,
    json: String,
    /// Captures that show it: all of the session's, and which are chosen.
    captures: Vec<StepCapture>,
    /// JSON to send for each outcome.
    choices: Vec<StepChoice>,
}

struct StepCapture {
    id: i64,
    file: String,
    is_set: bool,
}

struct StepChoice {
    words: &'static str,
    json: String,
    is_set: bool,
}

struct BinnedView {
    id: i64,
    kind: &'static str,
    what: String,
    at: String,
}

/// What of the page is to stand open.
#[derive(Deserialize)]
pub struct AskedLog {
    setup: Option<String>,
}

/// How long the page waits for conditions that are looked at again; then it shows what was found before, and says so.
const PATIENCE: Duration = Duration::from_millis(1500);

/// The page, as the report has it: what does not hold any more is looked at again.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<AskedLog>,
) -> Result<Html<String>, PageFailure> {
    let looking = {
        let app = app.clone();
        // It goes on when the page is shown meanwhile.
        tokio::spawn(async move { app.look_where_outdated(SessionId(id)).await })
    };
    let is_looking = match tokio::time::timeout(PATIENCE, looking).await {
        Ok(looked) => {
            looked??;
            false
        }
        Err(_) => true,
    };
    let html = with_store(app, move |store| {
        let log = SessionLog::of(store, SessionId(id))?;
        let mut page = view(store, log, &kept_answers(store, SessionId(id))?)?;
        page.places = page.places.following(&shown)?;
        page.is_looking = is_looking;
        page.opens_setup = asked.setup.is_some();
        Ok(page.render()?)
    });
    Ok(Html(html.await?))
}

fn view(store: &Store, log: SessionLog, answers: &[Answer]) -> Result<LogPage, Failure> {
    let id = log.session.id;
    let of = |condition: Option<EntryId>| {
        let captures = log
            .captures
            .iter()
            .filter(move |entry| entry.value.condition == condition);
        captures
            .map(|entry| capture_view(entry, &log.conditions))
            .collect::<Vec<_>>()
    };
    let known: Vec<EntryId> = log.conditions.iter().map(|entry| entry.id).collect();
    let mut unsorted = of(None);
    // Under a condition that is in the bin: they are still there.
    let strays = log
        .captures
        .iter()
        .filter(|c| c.value.condition.is_some_and(|id| !known.contains(&id)));
    unsorted.extend(strays.map(|entry| capture_view(entry, &log.conditions)));
    let actions = &log.actions;
    Ok(LogPage {
        places: Places::of(id, "Bench log"),
        id: id.0,
        next: NextCapture::of(store, id, None)?,
        title: log.session.body.title.clone(),
        job: log.session.body.job.clone(),
        setup: log.session.body.setup.clone(),
        opens_setup: false,
        was: json!({ "was": log.session.body }).to_string(),
        conditions: log
            .conditions
            .iter()
            .map(|entry| ConditionView {
                id: entry.id.0,
                title: entry.value.title.clone(),
                remark: entry.value.remark.clone(),
                since: moment(entry.created_ms),
                captures: of(Some(entry.id)),
            })
            .collect(),
        unsorted,
        findings: findings(&log.finding_states, answers),
        is_looking: false,
        unseen: answers
            .iter()
            .filter(|answer| answer.report.is_none())
            .map(|answer| Unseen {
                title: answer.title.clone(),
                query: newest_run_of(answer).query(),
            })
            .collect(),
        exports: answers
            .iter()
            .map(|answer| ExportView {
                title: match answers.len() {
                    1 => String::new(),
                    _ => answer.title.clone(),
                },
                query: newest_run_of(answer).query(),
                runs: answer
                    .runs
                    .iter()
                    .map(|run| {
                        let which = Which {
                            run: run.captures.first().copied(),
                            ..newest_run_of(answer)
                        };
                        (format!("{} ({})", run.files, run.size), which.query())
                    })
                    .collect(),
            })
            .collect(),
        remarks: log.remarks.iter().map(remark_view).collect(),
        marks: log
            .pulse_marks
            .iter()
            .map(|entry| MarkedView {
                id: entry.id.0,
                at: moment(entry.created_ms),
                says: mark_words(
                    &entry.value,
                    &file_of(&log.captures.iter().collect::<Vec<_>>(), entry.value.capture),
                ),
            })
            .collect(),
        readings: log
            .readings
            .iter()
            .map(|entry| reading_view(entry, &log.conditions))
            .collect(),
        newest: condition_choices(&log.conditions, log.conditions.last().map(|entry| entry.id)),
        photographs: log
            .photographs
            .iter()
            .map(|entry| PhotographView {
                id: entry.id.0,
                file: entry.value.file.clone(),
                caption: entry.value.caption.clone(),
                json: json!(entry.value).to_string(),
            })
            .collect(),
        steps: log
            .steps
            .iter()
            .enumerate()
            .map(|(i, entry)| step_view(i + 1, entry, &log.captures))
            .collect(),
        undo: actions.iter().find(|action| !action.undone).cloned(),
        redo: actions.first().is_some_and(|action| action.undone),
        binned: binned(store, id)?,
    })
}

fn newest_run_of(answer: &Answer) -> Which {
    Which {
        condition: answer.condition,
        run: None,
    }
}

/// No condition, and all there are.
fn condition_choices(conditions: &[Entry<Condition>], now: Option<EntryId>) -> Vec<ConditionChoice> {
    let none = ConditionChoice {
        value: String::new(),
        words: "no condition named".to_owned(),
        is_set: now.is_none(),
    };
    let all = conditions.iter().map(|entry| ConditionChoice {
        value: entry.id.to_string(),
        words: entry.value.title.clone(),
        is_set: now == Some(entry.id),
    });
    std::iter::once(none).chain(all).collect()
}

fn capture_view(entry: &Entry<Capture>, conditions: &[Entry<Condition>]) -> CaptureView {
    CaptureView {
        conditions: condition_choices(conditions, entry.value.condition),
        id: entry.id.0,
        file: entry.value.file.clone(),
        size: bytes(entry.value.size_bytes),
        added: moment(entry.created_ms),
        remark: entry.value.remark.clone(),
        instrument: entry.value.instrument.clone(),
        json: json!(entry.value).to_string(),
    }
}

/// Findings of the newest condition, then those of earlier ones, then those that were judged and are found nowhere.
fn findings(states: &[Entry<FindingState>], answers: &[Answer]) -> Vec<FindingView> {
    let states = || states.iter().map(|entry| &entry.value);
    let standings = standings(answers);
    let view = |standing: &Standing| {
        let finding = standing.finding(answers)?;
        Some(FindingView {
            state: StateView::of(&standing.keys, &finding.title, states())
                .shown_still(standing.still_shows(answers)),
            severity: match finding.severity {
                _ if !standing.is_present(answers) => match standing.fate_now(answers) {
                    Some(Fate::Remains(_)) => "told of otherwise now",
                    Some(Fate::NotCaptured) => "not captured any more",
                    Some(Fate::Unsaid) => "found earlier",
                    Some(Fate::Gone) | None => "not found any more",
                },
                Severity::Fault => "fault",
                Severity::Warning => "warning",
                Severity::Note => "note",
            },
            under: standing.says(answers),
        })
    };
    let gone = states().filter(|state| {
        standings
            .iter()
            .all(|standing| !standing.keys.contains(&state.finding))
    });
    let gone = gone.map(|state| FindingView {
        state: StateView::of(std::slice::from_ref(&state.finding), &state.title, [state]),
        severity: "not found any more",
        under: String::new(),
    });
    standings.iter().filter_map(view).chain(gone).collect()
}

fn remark_view(entry: &Entry<Remark>) -> RemarkView {
    RemarkView {
        id: entry.id.0,
        at: moment(entry.value.at_ms.unwrap_or(entry.created_ms)),
        text: entry.value.text.clone(),
    }
}

/// A judgement as a sentence without its full stop. `file`: what the pulse's capture is called; its times are that file's
/// own, which the diagram may have brought to another clock.
pub(super) fn mark_words(mark: &PulseMark, file: &str) -> String {
    let word = if mark.stray { "a stray" } else { "legitimate" };
    let file = if file.is_empty() {
        "a capture in the bin"
    } else {
        file
    };
    let at = on_scale(mark.start_s, 1e-9);
    format!(
        "{} in {file}: the pulse from {at} on, by that file's own clock, is {word}",
        mark.line
    )
}

/// What a capture is called, in the bin or not.
fn file_of(captures: &[&Entry<Capture>], id: EntryId) -> String {
    let entry = captures.iter().find(|entry| entry.id == id);
    entry.map(|entry| entry.value.file.clone()).unwrap_or_default()
}

fn reading_view(entry: &Entry<Reading>, conditions: &[Entry<Condition>]) -> ReadingView {
    let value = &entry.value;
    let unit = if value.unit.is_empty() { "V" } else { &value.unit };
    ReadingView {
        id: entry.id.0,
        at: moment(value.at_ms.unwrap_or(entry.created_ms)),
        rail: value.rail.clone(),
        nominal: value
            .nominal
            .map(|nominal| format!("{} {unit}", as_typed(nominal)))
            .unwrap_or_default(),
        reading: format!("{} {unit}", as_typed(value.reading)),
        off: value.off_words(),
        wrong_sign: value.has_wrong_sign(),
        place: value.place.clone(),
        remark: value.remark.clone(),
        nominal_value: value.nominal.map(as_typed).unwrap_or_default(),
        value: as_typed(value.reading),
        unit: unit.to_owned(),
        conditions: condition_choices(conditions, value.condition),
        json: json!(value).to_string(),
    }
}

fn step_view(number: usize, entry: &Entry<Step>, captures: &[Entry<Capture>]) -> StepView {
    let value = &entry.value;
    let choice = |outcome: Outcome| StepChoice {
        words: outcome.words(),
        json: json!(Step {
            outcome,
            ..value.clone()
        })
        .to_string(),
        is_set: value.outcome == outcome,
    };
    StepView {
        id: entry.id.0,
        number,
        what: value.what.clone(),
        expect: value.expect.clone(),
        outcome: value.outcome.words(),
        tone: match value.outcome {
            Outcome::Open => "open",
            Outcome::Passed => "passed",
            Outcome::Failed => "failed",
            Outcome::Skipped => "skipped",
        },
        done: value.done_ms.map(moment).unwrap_or_default(),
        remark: value.remark.clone(),
        json: json!(value).to_string(),
        captures: captures
            .iter()
            .map(|capture| StepCapture {
                id: capture.id.0,
                file: capture.value.file.clone(),
                is_set: value.captures.contains(&capture.id),
            })
            .collect(),
        choices: [Outcome::Passed, Outcome::Failed, Outcome::Skipped, Outcome::Open]
            .map(choice)
            .into(),
    }
}

fn binned(store: &Store, id: SessionId) -> Result<Vec<BinnedView>, Failure> {
    let mut all = Vec::new();
    let mut put = |kind, id: EntryId, what: String, binned_ms: Option<i64>| {
        all.push((
            binned_ms,
            BinnedView {
                id: id.0,
                kind,
                what,
                at: binned_ms.map(moment).unwrap_or_default(),
            },
        ));
    };
    for entry in store.binned_entries::<Condition>(id)? {
        put("condition", entry.id, entry.value.title, entry.binned_ms);
    }
    for entry in store.binned_entries::<Capture>(id)? {
        put("capture", entry.id, entry.value.file, entry.binned_ms);
    }
    for entry in store.binned_entries::<Remark>(id)? {
        put("remark", entry.id, entry.value.text, entry.binned_ms);
    }
    for entry in store.binned_entries::<Reading>(id)? {
        put("reading", entry.id, entry.value.rail, entry.binned_ms);
    }
    let (there, in_bin): (Vec<Entry<Capture>>, _) = (store.entries(id)?, store.binned_entries(id)?);
    let captures: Vec<&Entry<Capture>> = there.iter().chain(&in_bin).collect();
    for entry in store.binned_entries::<PulseMark>(id)? {
        let says = mark_words(&entry.value, &file_of(&captures, entry.value.capture));
        put("pulse-mark", entry.id, says, entry.binned_ms);
    }
    for entry in store.binned_entries::<Photograph>(id)? {
        put("photograph", entry.id, entry.value.file, entry.binned_ms);
    }
    for entry in store.binned_entries::<Step>(id)? {
        put("step", entry.id, entry.value.what, entry.binned_ms);
    }
    all.sort_by_key(|(binned_ms, _)| std::cmp::Reverse(*binned_ms));
    Ok(all.into_iter().map(|(_, view)| view).collect())
}

/// `12.3 kB`: a size as people read it.
pub fn bytes(size: u64) -> String {
    match size {
        0..1000 => format!("{size} bytes"),
        1000..1_000_000 => format!("{:.1} kB", size as f64 / 1e3),
        1_000_000..1_000_000_000 => format!("{:.1} MB", size as f64 / 1e6),
        _ => format!("{:.1} GB", size as f64 / 1e9),
    }
}
