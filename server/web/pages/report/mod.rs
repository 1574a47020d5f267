//! The report: one page to print or to send, a single HTML file with its figures and photographs inside. The same
//! session gives the same bytes: no clock is read, and all moments are in UTC, or in the zone that the address asks for: a
//! page that is sent to somebody else has no script to do that.

mod changes;
mod parts;

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::HeaderValue;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse, Response};
use serde::Deserialize;

use self::changes::{ChangeView, changes};
use self::parts::{capture_names, conditions, judged, photographs, reading, says_of, still_open};
use super::before_after::{Comparison, comparison};
use super::figures::drawing;
use crate::analysis::findings::CAUTION;
use crate::report::inspect::{Finding, InspectReport, Severity, finding_keys};
use crate::report::text::moment_in;
use crate::store::{FindingState, SessionId, Store, Verdict};
use crate::web::answers::Answer;
use crate::web::api::harness::{clips_of, harness_of};
use crate::web::api::log::{SessionLog, with_store};
use crate::web::error::{Failure, PageFailure};
use crate::web::finding_state::{self, takes_a_state};
use crate::web::occurrences::told;
use crate::web::opened::Opened;
use crate::web::remains::Fate;
use crate::web::standings::{Standing, standings};
use crate::web::state::App;
use crate::workflow::condition_runs::RunFound;
use crate::workflow::places;
use crate::workflow::session::RunTallies;

/// No script, nothing from elsewhere; the page's own style sheet and pictures are inside it.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; \
                      form-action 'none'; frame-ancestors 'none'";

/// Lines of the setup that are printed.
const MOST_SETUP: usize = 60;
/// Findings that get a figure; the rest are told in words.
const MOST_FIGURES: usize = 12;

#[derive(Template)]
#[template(path = "pages/report.html")]
struct ReportPage {
    title: String,
    job: Vec<String>,
    created: String,
    changed: String,
    headline: String,
    version: &'static str,
    conditions: Vec<ConditionView>,
    /// The newest condition, where there are several.
    now: String,
    findings: Vec<FindingView>,
    /// Found under earlier conditions, and told of otherwise under the newest: their line still shows strays.
    otherwise: Vec<FindingView>,
    /// Found under earlier conditions; a link or a rule that is not judged under the newest.
    unjudged: Vec<FindingView>,
    /// Found under earlier conditions, and not under the newest.
    earlier: Vec<FindingView>,
    /// Whatever the condition: a person holds that they are no fault.
    set_aside: Vec<FindingView>,
    /// The newest condition against the one before, and the history of each trouble.
    compared: Option<Comparison>,
    /// What each change before that did, and all changes together; a headline and a sentence for each trouble.
    changes: Vec<ChangeView>,
    readings: Vec<ReadingView>,
    steps: Vec<StepView>,
    /// Pulses that a person judged: when, and what was said.
    marks: Vec<(String, String)>,
    /// The setup in force, its comments left out, and how many lines of it are not shown.
    setup: Vec<String>,
    setup_more: usize,
    remarks: Vec<(String, String)>,
    photographs: Vec<PhotographView>,
    open: Vec<String>,
}

struct ConditionView {
    title: String,
    remark: String,
    /// Name, size, moment, remark.
    captures: Vec<[String; 4]>,
    /// What was found under it in a sentence, or why it can't be read.
    says: String,
    /// What was found in each of its runs, the newest last, where there are several: their files, and a sentence.
    runs: Vec<(String, String)>,
}

struct FindingView {
    number: usize,
    severity: &'static str,
    title: String,
    detail: String,
    places: Vec<String>,
    ruled_out: Vec<String>,
    /// What a person judged of its line's pulses.
    judged: String,
    try_next: Vec<String>,
    /// Nothing of what to try says that the power is to be off.
    wants_caution: bool,
    state: String,
    cause: String,
    remark: String,
    /// A person holds that it is no fault.
    is_aside: bool,
    /// The conditions it stood under, where there are several.
    under: String,
    /// SVG without anything from a file that is not escaped: made by `web::figure`.
    figure: Option<String>,
}

struct ReadingView {
    cells: [String; 6],
    wrong_sign: bool,
}

struct StepView {
    what: String,
    expect: String,
    outcome: &'static str,
    done: String,
    remark: String,
    captures: String,
}

struct PhotographView {
    source: String,
    caption: String,
}

/// The zone in which moments are told.
#[derive(Deserialize)]
pub struct AskedZone {
    /// Minutes east of Greenwich.
    #[serde(default)]
    offset_min: i32,
}

/// Furthest zone, in minutes: a day.
const FURTHEST_MIN: u32 = 24 * 60;

/// All conditions, looked at where they were not yet, as one file that needs no other.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(zone): Query<AskedZone>,
) -> Result<Response, PageFailure> {
    let id = SessionId(id);
    let offset_min = zone.offset_min;
    if offset_min.unsigned_abs() >= FURTHEST_MIN {
        let told =
            format!("Expected offset_min, minutes east of Greenwich, below {FURTHEST_MIN} either way.");
        return Err(Failure::wrong(told).into());
    }
    let by_condition = {
        let app = app.clone();
        with_store(app, move |store| Ok(store.captures_by_condition(id)?)).await?
    };
    let mut looked = Vec::with_capacity(by_condition.len());
    for under in by_condition {
        let told = under.clone();
        // A condition whose captures can't be read keeps nobody from the rest.
        looked.push(match app.opened_under(id, under).await {
            Ok(opened) => Looked {
                answer: Answer::new(&told, Some(opened.report.clone()), opened.runs.clone()),
                opened: Some(opened),
                trouble: String::new(),
            },
            Err(failure) => Looked {
                answer: Answer::new(&told, None, Vec::new()),
                opened: None,
                trouble: failure.sentence,
            },
        });
    }
    let counted = match looked.iter().any(|looked| looked.opened.is_some()) {
        true => app.counted_now(id).await?,
        false => None,
    };
    let at = move |ms| moment_in(ms, offset_min);
    let looking = app.clone();
    let html = with_store(app, move |store| {
        let whole = |opened: &Opened, run: &RunFound| looking.look_once(opened, run);
        render(store, id, looked, &whole, counted.as_ref(), &at)
    })
    .await?;
    let policy = (CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    Ok(([policy], Html(html)).into_response())
}

/// Looks at a run of what is open, whole.
type LookAt<'a> = dyn Fn(&Opened, &RunFound) -> Result<Arc<Opened>, Failure> + 'a;

/// What was found under one condition, and what its figures are drawn from.
struct Looked {
    answer: Answer,
    opened: Option<Arc<Opened>>,
    /// Why its captures can't be read.
    trouble: String,
}

fn render(
    store: &Store,
    id: SessionId,
    looked: Vec<Looked>,
    whole: &LookAt,
    counted: Option<&RunTallies>,
    moment: &dyn Fn(i64) -> String,
) -> Result<String, Failure> {
    let log = SessionLog::of(store, id)?;
    let body = &log.session.body;
    let troubles: Vec<String> = looked.iter().map(|looked| looked.trouble.clone()).collect();
    let (answers, opened): (Vec<Answer>, Vec<Option<Arc<Opened>>>) = looked
        .into_iter()
        .map(|looked| (looked.answer, looked.opened))
        .unzip();
    let all = standings(&answers);
    let opened = of_each(&answers, &opened, &all, whole);
    let views = findings(store, id, &log, &answers, &opened, &all)?;
    // What is told first is what is open: a person's word that something is no fault holds until they take it back.
    let is_aside = |standing: &&Standing| {
        let state = state_of(&log, standing);
        state.is_some_and(|state| state.state == Verdict::NotAFault)
    };
    let aside: HashSet<&String> = all
        .iter()
        .filter(is_aside)
        .flat_map(|standing| &standing.keys)
        .collect();
    let open: Vec<Answer> = answers.iter().map(|answer| answer.without(&aside)).collect();
    let of_open = standings(&open);
    let (mut now, mut otherwise, mut earlier, mut unjudged) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut set_aside = Vec::new();
    for (fate, view) in views {
        match fate {
            _ if view.is_aside => set_aside.push(view),
            None => now.push(view),
            Some(Fate::Remains(_)) => otherwise.push(view),
            Some(Fate::NotJudged) => unjudged.push(view),
            Some(_) => earlier.push(view),
        }
    }
    // As they are printed.
    let lists = [
        &mut now,
        &mut otherwise,
        &mut unjudged,
        &mut earlier,
        &mut set_aside,
    ];
    for (at, view) in lists.into_iter().flatten().enumerate() {
        view.number = at + 1;
    }
    let setup: Vec<&str> = body.setup.lines().filter(|line| !is_remark(line)).collect();
    let newest = open.iter().rfind(|answer| answer.report.is_some());
    let page = ReportPage {
        title: body.title.clone(),
        job: body
            .job
            .split("\n\n")
            .filter(|part| !part.trim().is_empty())
            .map(str::to_owned)
            .collect(),
        created: moment(log.session.created_ms),
        changed: moment(log.session.changed_ms),
        headline: newest
            .and_then(|newest| says_of(&open, newest, &of_open))
            .unwrap_or_default(),
        version: env!("CARGO_PKG_VERSION"),
        conditions: conditions(&log, &open, &troubles, &of_open, moment),
        now: match answers.len() {
            0 | 1 => String::new(),
            _ => newest.map(|answer| answer.title.clone()).unwrap_or_default(),
        },
        findings: now,
        otherwise,
        unjudged,
        earlier,
        set_aside,
        compared: match counted {
            Some(counted) => Some(comparison(store, id, counted, "")?).filter(|c| !c.headline.is_empty()),
            None => None,
        },
        changes: match counted {
            Some(counted) => changes(store, id, counted)?,
            None => Vec::new(),
        },
        readings: log
            .readings
            .iter()
            .map(|entry| reading(&log, entry, moment))
            .collect(),
        steps: log
            .steps
            .iter()
            .map(|entry| StepView {
                what: entry.value.what.clone(),
                expect: entry.value.expect.clone(),
                outcome: entry.value.outcome.words(),
                done: entry.value.done_ms.map(moment).unwrap_or_default(),
                remark: entry.value.remark.clone(),
                captures: capture_names(&log, &entry.value.captures),
            })
            .collect(),
        marks: log
            .pulse_marks
            .iter()
            .map(|entry| {
                let file = capture_names(&log, &[entry.value.capture]);
                let says = super::bench_log::mark_words(&entry.value, &file);
                (moment(entry.created_ms), says)
            })
            .collect(),
        setup: setup
            .iter()
            .take(MOST_SETUP)
            .map(|line| (*line).to_owned())
            .collect(),
        setup_more: setup.len().saturating_sub(MOST_SETUP),
        remarks: log
            .remarks
            .iter()
            .map(|entry| {
                (
                    moment(entry.value.at_ms.unwrap_or(entry.created_ms)),
                    entry.value.text.clone(),
                )
            })
            .collect(),
        photographs: photographs(store, &log)?,
        open: still_open(&log, &answers, &all),
    };
    Ok(page.render()?)
}

/// A line of a setup that sets nothing.
fn is_remark(line: &str) -> bool {
    let line = line.trim();
    line.is_empty() || line.starts_with('#')
}

/// What a person holds of a trouble, by what it is called last.
fn state_of<'a>(log: &'a SessionLog, standing: &Standing) -> Option<&'a FindingState> {
    let states = log.finding_states.iter().map(|entry| &entry.value);
    finding_state::state_of(&standing.keys, states)
}

/// For each standing what it was found in: the run that its report is of, or an earlier one, which is read again for its
/// figures.
fn of_each(
    answers: &[Answer],
    opened: &[Option<Arc<Opened>>],
    all: &[Standing],
    whole: &LookAt,
) -> Vec<Option<Arc<Opened>>> {
    let mut earlier: BTreeMap<(usize, usize), Arc<Opened>> = BTreeMap::new();
    let mut each = Vec::with_capacity(all.len());
    for standing in all {
        let own = opened.get(standing.answer).cloned().flatten();
        let run = standing
            .run
            .and_then(|run| answers[standing.answer].runs.get(run));
        each.push(match (own, run, standing.run) {
            (Some(own), Some(run), Some(at)) => Some(match earlier.entry((standing.answer, at)) {
                Entry::Occupied(known) => known.get().clone(),
                // What can't be read again is told in words.
                Entry::Vacant(free) => free.insert(whole(&own, run).unwrap_or(own)).clone(),
            }),
            (own, ..) => own,
        });
    }
    each
}

/// Every finding of any condition once, as the newest that tells of it has it; and what became of it under the newest of
/// all, where that does not. `opened`: for each of `all` what it was found in.
fn findings(
    store: &Store,
    id: SessionId,
    log: &SessionLog,
    answers: &[Answer],
    opened: &[Option<Arc<Opened>>],
    all: &[Standing],
) -> Result<Vec<(Option<Fate>, FindingView)>, Failure> {
    let harness = harness_of(store, id)?;
    let clips = clips_of(store, id, &harness)?;
    let diagram = store.diagram_view(id)?;
    let mut drawn = 0;
    let mut views = Vec::with_capacity(all.len());
    for (index, standing) in all.iter().enumerate() {
        let Some(opened) = &opened[index] else {
            continue;
        };
        let mut keys = finding_keys(&opened.report.findings).into_iter();
        // What is kept of a run may be worded by an older program, which told of it where this one does not.
        let (finding, is_opened) = match keys.position(|key| key == standing.key) {
            Some(at) => (&opened.report.findings[at], true),
            None => match standing.finding(answers) {
                Some(finding) => (finding, false),
                None => continue,
            },
        };
        let state = state_of(log, standing);
        let mut of_run = match (is_opened, standing.report(answers)) {
            (false, Some(report)) => places::of_findings(&harness, &clips, report),
            _ => places::of_findings(&harness, &clips, &opened.report),
        };
        let place = of_run.iter_mut().find(|told| told.finding == finding.id);
        let figure = (is_opened && drawn < MOST_FIGURES && finding.severity != Severity::Note).then(|| {
            // Dimension lines were put down on the condition that was looked at: they hold for the newest.
            let lines = match standing.is_present(answers) && standing.run.is_none() {
                true => &diagram.dimensions[..],
                false => &[],
            };
            drawing(opened, finding, told(opened, finding) + 1, lines)
        });
        let figure = figure.flatten();
        drawn += usize::from(figure.is_some());
        let is_aside = state.is_some_and(|state| state.state == Verdict::NotAFault);
        // The report has the cautions at its head; what is set aside asks for nothing.
        let steps: Vec<String> = finding
            .try_next
            .iter()
            .filter(|step| *step != CAUTION && !is_aside)
            .cloned()
            .collect();
        let view = FindingView {
            number: index + 1,
            severity: severity_word(finding.severity),
            title: finding.title.clone(),
            detail: finding.detail.clone(),
            places: place
                .map(|place| std::mem::take(&mut place.sentences))
                .unwrap_or_default(),
            ruled_out: match is_opened {
                true => ruled_out(&opened.report, finding),
                false => Vec::new(),
            },
            judged: judged(log, opened, finding),
            wants_caution: !steps.iter().any(|step| step.to_lowercase().contains("power off")),
            try_next: steps,
            // A note asks for nothing: it has a state only where somebody gave it one.
            state: match (finding.severity, state) {
                (Severity::Note, None) => String::new(),
                (_, None) if !takes_a_state(&finding.topic, &finding.lines) => String::new(),
                (_, state) => {
                    let verdict = state.map(|state| state.state).unwrap_or_default();
                    let still = match verdict == Verdict::Fixed && standing.still_shows(answers) {
                        true => ", and the newest capture still shows it",
                        false => "",
                    };
                    format!("{}{still}", verdict.words())
                }
            },
            cause: state.map(|state| state.cause.clone()).unwrap_or_default(),
            remark: state.map(|state| state.remark.clone()).unwrap_or_default(),
            is_aside,
            under: standing.says(answers),
            figure,
        };
        let fate = match standing.is_present(answers) {
            true => None,
            false => Some(standing.fate_now(answers).unwrap_or(Fate::Gone)),
        };
        views.push((fate, view));
    }
    Ok(views)
}

/// Why the tempting suspects of a coupling are cleared, as far as its detail does not say it.
fn ruled_out(report: &InspectReport, finding: &Finding) -> Vec<String> {
    let row = report.couplings.iter().find(|row| {
        finding.topic == "coupling"
            && finding
                .lines
                .starts_with(&[row.victim.clone(), row.aggressor.clone()])
    });
    let reasons = row
        .iter()
        .flat_map(|row| &row.ruled_out)
        .map(|out| out.reason.clone());
    reasons
        .filter(|reason| !finding.detail.contains(reason.as_str()))
        .collect()
}

fn severity_word(severity: Severity) -> &'static str {
    match severity {
        Severity::Fault => "fault",
        Severity::Warning => "warning",
        Severity::Note => "note",
    }
}
