//! Findings: the sheet to read beside the timing diagram.

use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;

use super::Places;
use crate::report::inspect::{Severity, finding_keys};
use crate::setup::Setup;
use crate::store::{Entry, FindingState, SessionId, Store};
use crate::web::answers::{kept_answers, standings};
use crate::web::api::harness::{clips_of, harness_of};
use crate::web::error::PageFailure;
use crate::web::finding_state::StateView;
use crate::web::opened::Opened;
use crate::web::state::App;
use crate::web::view::{CaptureLink, Sheet, sheet};
use crate::web::work::Stage;
use crate::workflow::places;

/// A session that opens this fast is shown at once; else the page tells how far the reading is.
const AT_ONCE: Duration = Duration::from_millis(400);

#[derive(Template)]
#[template(path = "pages/findings.html")]
struct FindingsPage {
    places: Places,
    id: i64,
    title: String,
    /// Null when the session is not open.
    sheet: Option<Sheet>,
    /// Captures are being read.
    is_reading: bool,
    /// What the page shows rests on, while a folder is watched: the page looks whether that changed.
    fresh: Option<String>,
    /// Why the captures could not be read.
    trouble: Option<String>,
    /// The captures, where none can be read.
    unreadable: Vec<CaptureLink>,
    /// Conditions with captures, where there are several: one of them is looked at.
    conditions: Vec<ConditionView>,
    /// The runs of the condition looked at, where there are several: one of them is looked at.
    runs: Vec<ConditionView>,
    /// Files that stand in the session twice.
    doubles: Vec<String>,
    /// What stood under the condition before and does not now, a sentence each.
    since: Vec<String>,
}

struct ConditionView {
    words: String,
    is_shown: bool,
    /// What takes it in hand, as JSON.
    json: String,
}

/// The conditions that have captures.
fn conditions(store: &Store, id: SessionId) -> Result<Vec<ConditionView>, PageFailure> {
    let shown = store
        .present_captures(id)?
        .first()
        .map(|entry| entry.value.condition);
    let all = store.captures_by_condition(id)?;
    let views = all.into_iter().map(|under| ConditionView {
        is_shown: shown == Some(under.condition),
        json: serde_json::json!({ "condition": under.condition }).to_string(),
        words: under.title,
    });
    let views: Vec<ConditionView> = views.collect();
    Ok(if views.len() > 1 { views } else { Vec::new() })
}

/// Captures that are looked at and stand elsewhere in the session as well, a sentence each.
fn doubles(store: &Store, id: SessionId) -> Result<Vec<String>, PageFailure> {
    let all = store.captures_by_condition(id)?;
    let mut told = Vec::new();
    for shown in store.present_captures(id)? {
        let twin = all.iter().find_map(|under| {
            let mut captures = under.captures.iter();
            let twin = captures.find(|c| c.id < shown.id && c.value.digest == shown.value.digest)?;
            Some((under, twin))
        });
        if let Some((under, twin)) = twin {
            told.push(format!(
                "{} is the same file as {} under \"{}\": the two can't show what a change did.",
                shown.value.file, twin.value.file, under.title
            ));
        }
    }
    Ok(told)
}

/// The runs of the condition that is looked at, the newest last.
fn runs(store: &Store, id: SessionId, opened: &Opened) -> Result<Vec<ConditionView>, PageFailure> {
    let shown = store.present_captures(id)?;
    let condition = shown.first().and_then(|entry| entry.value.condition);
    let views = opened.runs.iter().map(|run| ConditionView {
        words: format!("{} ({})", run.files, run.size),
        is_shown: run.is_shown,
        json: serde_json::json!({ "condition": condition, "run": run.captures.first() }).to_string(),
    });
    Ok(views.collect())
}

/// What the last condition before this one that was looked at told of and this one does not: a sentence for troubles that
/// are not found any more, one for those whose lines are not captured now. Nothing of notes, which ask for nothing.
fn since(store: &Store, id: SessionId, opened: &Opened) -> Result<Vec<String>, PageFailure> {
    /// Titles told in one sentence.
    const MOST: usize = 4;
    let shown = store.present_captures(id)?;
    let Some(condition) = shown.first().map(|entry| entry.value.condition) else {
        return Ok(Vec::new());
    };
    let answers = kept_answers(store, id)?;
    let earlier = answers.iter().take_while(|answer| answer.condition != condition);
    let Some(before) = earlier.filter(|answer| answer.report.is_some()).last() else {
        return Ok(Vec::new());
    };
    let mut present = finding_keys(&opened.report.findings);
    for run in &opened.runs {
        present.extend(finding_keys(&run.report.findings));
    }
    let is_captured = |line: &String| {
        let buses = &opened.capture.buses;
        opened.capture.line_index(line).is_some() || buses.iter().any(|bus| bus.name == *line)
    };
    // A line that moved by itself, its strays apart, and stands still here.
    let is_still = |name: &&String| {
        let here = opened.capture.line_index(name);
        let is_dead = here.is_some_and(|line| opened.capture.lines[line].edges.is_empty());
        is_dead && before.moved.contains(*name)
    };
    let (mut gone, mut unseen, mut still) = (Vec::new(), Vec::new(), Vec::new());
    let alone = std::slice::from_ref(before);
    let all = standings(alone);
    for standing in &all {
        let Some(finding) = standing.finding(alone) else {
            continue;
        };
        let is_trouble = finding.severity != Severity::Note && finding.topic != "reading";
        if !is_trouble || present.contains(&standing.key) {
            continue;
        }
        let idle = finding.lines.iter().find(is_still);
        match (finding.lines.iter().all(is_captured), idle) {
            (true, None) => gone.push(finding.title.as_str()),
            (true, Some(line)) => still.push(format!("{} ({line} never switches here)", finding.title)),
            (false, _) => unseen.push(finding.title.as_str()),
        }
    }
    let told = |titles: &[&str]| {
        let more = match titles.len().saturating_sub(MOST) {
            0 => String::new(),
            more => format!("; and {more} more"),
        };
        format!("{}{more}", titles[..titles.len().min(MOST)].join("; "))
    };
    let mut sentences = Vec::new();
    if !gone.is_empty() {
        sentences.push(format!(
            "Found under \"{}\" and not here: {}.",
            before.title,
            told(&gone)
        ));
    }
    if !still.is_empty() {
        let still: Vec<&str> = still.iter().map(String::as_str).collect();
        sentences.push(format!(
            "Found under \"{}\", and no proof of a cure here, where a line of it stands still: {}.",
            before.title,
            told(&still)
        ));
    }
    if !unseen.is_empty() {
        sentences.push(format!(
            "Found under \"{}\", and not to be seen here, for not all of its lines are captured: {}.",
            before.title,
            told(&unseen)
        ));
    }
    Ok(sentences)
}

/// The page; where nothing is analysed yet it shows how far the reading is.
pub async fn page(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Html<String>, PageFailure> {
    let id = SessionId(id);
    let (body, key) = {
        let app = app.clone();
        tokio::task::spawn_blocking(move || {
            Ok::<_, PageFailure>((app.store.session(id)?.body, app.present_key(id)?))
        })
        .await??
    };
    let (title, setup) = (body.title, body.setup);
    let is_open = app
        .in_memory(id)
        .is_some_and(|opened| key.as_ref().is_none_or(|key| opened.key == *key));
    let (mut is_reading, mut trouble) = (false, None);
    if key.is_some() && !is_open {
        let mut stages = app.start_work(id);
        let over = tokio::time::timeout(AT_ONCE, stages.wait_for(|stage| !matches!(stage, Stage::Step(_))));
        match over.await {
            Ok(Ok(stage)) => {
                if let Stage::Failed(sentence) = &*stage {
                    trouble = Some(sentence.clone());
                }
            }
            _ => is_reading = true,
        }
    }
    let fresh = app.is_watching.then(|| key.unwrap_or_default());
    let html = tokio::task::spawn_blocking(move || -> Result<String, PageFailure> {
        let opened = if is_reading || trouble.is_some() {
            None
        } else {
            app.in_memory(id)
        };
        let (mut sheet_shown, mut gone, mut runs_shown) = (None, Vec::new(), Vec::new());
        if let Some(opened) = opened {
            gone = since(&app.store, id, &opened)?;
            runs_shown = runs(&app.store, id, &opened)?;
            let mut shown = sheet(&opened);
            let harness = harness_of(&app.store, id)?;
            let clips = clips_of(&app.store, id, &harness)?;
            for told in places::of_findings(&harness, &clips, &opened.report) {
                if let Some(view) = shown.findings.iter_mut().find(|view| view.id == told.finding) {
                    view.places = told.sentences;
                }
            }
            let states: Vec<Entry<FindingState>> = app.store.entries(id)?;
            let keys = finding_keys(&opened.report.findings);
            for ((view, finding), key) in shown.findings.iter_mut().zip(&opened.report.findings).zip(keys) {
                let said = states.iter().map(|entry| &entry.value);
                view.state = Some(StateView::of(&key, &finding.title, said));
            }
            sheet_shown = Some(shown);
        }
        let page = FindingsPage {
            places: Places::of(id, "Findings"),
            id: id.0,
            title,
            sheet: sheet_shown,
            // A setup that is not right is no fault of theirs.
            unreadable: match trouble.is_some() && Setup::parse(&setup, "").is_ok() {
                true => {
                    let captures = app.store.present_captures(id)?.into_iter();
                    let told = trouble.as_deref().unwrap_or_default().to_lowercase();
                    let is_other = |file: &str| {
                        told.contains(&format!("{}: {}", file.to_lowercase(), crate::ingest::NO_CAPTURE))
                    };
                    captures
                        .map(|entry| CaptureLink {
                            may_be_read: !is_other(&entry.value.file),
                            ..CaptureLink::new(id, entry.id, &entry.value.file)
                        })
                        .collect()
                }
                false => Vec::new(),
            },
            conditions: conditions(&app.store, id)?,
            runs: runs_shown,
            doubles: doubles(&app.store, id)?,
            since: gone,
            is_reading,
            fresh,
            trouble,
        };
        Ok(page.render()?)
    })
    .await??;
    Ok(Html(html))
}
