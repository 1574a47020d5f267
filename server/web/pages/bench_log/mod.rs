//! The bench log: what was done, seen and concluded in a session.

mod entries;

use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde::Deserialize;
use serde_json::json;

pub(super) use entries::mark_words;
use entries::{
    BinnedView, CaptureView, ConditionChoice, MarkedView, PhotographView, ReadingView, RemarkView, StepView,
    binned, capture_view, condition_choices, marked_view, photograph_view, reading_view, remark_view,
    step_view,
};

use super::Places;
use super::next_capture::NextCapture;
use crate::report::inspect::{InspectReport, Severity};
use crate::report::text::moment;
use crate::store::{Action, Entry, EntryId, FindingState, SessionId, Store};
use crate::web::answers::{Answer, kept_answers};
use crate::web::api::log::{SessionLog, with_store};
use crate::web::api::transfer::join_first;
use crate::web::error::{Failure, PageFailure};
use crate::web::finding_state::{StateView, is_of_clocks, takes_a_state};
use crate::web::remains::Fate;
use crate::web::shown::{Shown, Which};
use crate::web::standings::{Standing, standings};
use crate::web::state::App;
use crate::workflow::export::on_two_clocks;

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
    /// Something is told of the clocks of captures, of which nothing can be held.
    tells_of_clocks: bool,
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
    /// Of its only run.
    lines: LinesOut,
    /// Its runs, where there are several.
    runs: Vec<RunView>,
}

/// What goes out of one of several runs.
struct RunView {
    words: String,
    /// Names it in an address.
    query: String,
    lines: LinesOut,
}

/// How the lines of a run go out.
struct LinesOut {
    /// Why they don't, and what to do; empty where they do.
    trouble: String,
    /// Several instruments recorded them.
    is_of_several: bool,
}

impl LinesOut {
    fn of(report: Option<&InspectReport>) -> LinesOut {
        let trouble = report.and_then(on_two_clocks);
        LinesOut {
            trouble: trouble.map_or_else(String::new, |trouble| {
                format!("Lines: not as one file. {trouble}. {}", join_first())
            }),
            is_of_several: report.is_some_and(|report| report.captures.len() > 1),
        }
    }
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
        tells_of_clocks: {
            let mut found = answers.iter().flat_map(Answer::reports);
            found.any(|report| report.findings.iter().any(|f| is_of_clocks(&f.topic)))
        },
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
                lines: LinesOut::of(answer.report.as_ref()),
                runs: answer
                    .runs
                    .iter()
                    .map(|run| {
                        let which = Which {
                            run: run.captures.first().copied(),
                            ..newest_run_of(answer)
                        };
                        RunView {
                            words: format!("{} ({})", run.files, run.size),
                            query: which.query(),
                            lines: LinesOut::of(Some(&run.report)),
                        }
                    })
                    .collect(),
            })
            .collect(),
        remarks: log.remarks.iter().map(remark_view).collect(),
        marks: log
            .pulse_marks
            .iter()
            .map(|entry| marked_view(entry, &log.captures))
            .collect(),
        readings: log
            .readings
            .iter()
            .map(|entry| reading_view(entry, &log.conditions))
            .collect(),
        newest: condition_choices(&log.conditions, log.conditions.last().map(|entry| entry.id)),
        photographs: log.photographs.iter().map(photograph_view).collect(),
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

/// Findings of the newest condition, then those of earlier ones, then those that were judged and are found nowhere.
fn findings(states: &[Entry<FindingState>], answers: &[Answer]) -> Vec<FindingView> {
    let states = || states.iter().map(|entry| &entry.value);
    let standings = standings(answers);
    let view = |standing: &Standing| {
        let finding = standing.finding(answers)?;
        let state = StateView::of(&standing.keys, &finding.title, states());
        if !takes_a_state(&finding.topic, &finding.lines) && !state.is_said {
            return None;
        }
        Some(FindingView {
            state: state.shown_still(standing.still_shows(answers)),
            severity: match finding.severity {
                _ if !standing.is_present(answers) => match standing.fate_now(answers) {
                    Some(Fate::Remains(_)) => "told of otherwise now",
                    Some(Fate::NotCaptured) => "not captured any more",
                    Some(Fate::NotJudged) => "not judged now",
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
