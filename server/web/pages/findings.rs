//! Findings: the sheet to read beside the timing diagram.

use std::collections::HashSet;
use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::Places;
use super::heading::{Heading, open};
use super::next_capture::NextCapture;
use crate::report::inspect::{InspectReport, Severity};
use crate::setup::Setup;
use crate::store::{Capture, Clock, Entry, EntryId, FindingState, SessionId, Store, Verdict};
use crate::web::alike::keys_of;
use crate::web::answers::{Answer, kept_answers};
use crate::web::api::harness::{clips_of, harness_of};
use crate::web::api::log::with_store;
use crate::web::error::PageFailure;
use crate::web::finding_state::{StateView, state_of, takes_a_state};
use crate::web::opened::Opened;
use crate::web::shown::{Shown, Which};
use crate::web::since::{mended, since};
use crate::web::state::App;
use crate::web::view::{CaptureLink, Sheet, sheet};
use crate::web::work::Stage;
use crate::workflow::condition_runs::RunFound;
use crate::workflow::places;
use crate::workflow::session::Held;

/// A session that opens this fast is shown at once; else the page tells how far the reading is.
const AT_ONCE: Duration = Duration::from_millis(400);

/// The page's name among the places.
const HERE: &str = "Findings";

#[derive(Template)]
#[template(path = "pages/findings.html")]
struct FindingsPage {
    places: Places,
    /// Names what the page shows in all it asks for; empty when nothing is shown.
    query: String,
    /// The same without what it rests on: for addresses that hold when something changed.
    named: String,
    id: i64,
    title: String,
    /// Null when the session is not open.
    sheet: Option<Sheet>,
    /// Captures are being read.
    is_reading: bool,
    /// What the page shows rests on, while a folder is watched: the page looks whether that changed.
    fresh: Option<String>,
    /// The newest capture of the session: one that comes by the folder is looked at.
    newest: String,
    /// Why the captures could not be read.
    trouble: Option<String>,
    /// The captures, where none can be read.
    unreadable: Vec<CaptureLink>,
    /// Where something can't be shown: the conditions, and the one that was asked for.
    heading: Heading,
    next: NextCapture,
    /// No condition of the session was ever read: nothing is lost with it.
    is_removable: bool,
    /// Conditions with captures, where there are several: one of them is looked at.
    conditions: Vec<ConditionView>,
    /// The runs of the condition looked at, where there are several: one of them is looked at.
    runs: Vec<ConditionView>,
    apart: Vec<ApartView>,
    /// What is to be said of files that were brought just now, a sentence each.
    brought: Vec<String>,
    /// Files that stand in the session twice.
    doubles: Vec<String>,
    /// What stood under the condition before and does not now, a sentence each.
    since: Vec<String>,
}

struct ConditionView {
    words: String,
    is_shown: bool,
    /// Names it in the page's address.
    query: String,
}

/// A run that was not taken as one with the run before it.
struct ApartView {
    says: String,
    /// What makes them one, as JSON.
    json: String,
}

/// Why each run is one of its own, where nobody said so.
fn apart(opened: &Opened) -> Vec<ApartView> {
    let views = opened.runs.iter().filter_map(|run| {
        let apart = run.apart.as_ref()?;
        let clock = Clock {
            capture: *run.captures.first()?,
            with: Some(apart.with),
            on: apart.on.clone(),
            shift_s: 0.0,
        };
        Some(ApartView {
            says: apart.says.clone(),
            json: serde_json::json!(clock).to_string(),
        })
    });
    views.collect()
}

/// The run of the files that were brought together in which the worst was found, where another one is shown: they are looked
/// at as they came, and the harmless one may be the newest.
fn worst_of(opened: &Opened, dropped: &Dropped) -> Option<Which> {
    let ids = Dropped::ids(&dropped.dropped);
    let worst = |run: &&RunFound| run.report.findings.iter().map(|finding| finding.severity).min();
    let of_them = opened
        .runs
        .iter()
        .filter(|run| run.captures.iter().any(|id| ids.contains(id)));
    // Of two alike the newest, as ever.
    let run = of_them
        .rev()
        .min_by_key(|run| worst(run).unwrap_or(Severity::Note))?;
    let shown = opened.runs.iter().find(|run| run.is_shown)?;
    (!run.is_shown && worst(&run) < worst(&shown)).then(|| Which {
        condition: opened.condition,
        run: run.captures.first().copied(),
    })
}

/// The conditions that have captures; `held`: those of the one that is shown.
fn conditions(store: &Store, id: SessionId, held: &Held) -> Result<Vec<ConditionView>, PageFailure> {
    let all = store.captures_by_condition(id)?;
    let views = all.into_iter().map(|under| ConditionView {
        is_shown: held.condition() == under.condition,
        query: Which {
            condition: under.condition,
            run: None,
        }
        .query(),
        words: under.title,
    });
    let views: Vec<ConditionView> = views.collect();
    Ok(if views.len() > 1 { views } else { Vec::new() })
}

/// Captures that are looked at and stand elsewhere in the session as well, a sentence each.
fn doubles(store: &Store, id: SessionId, held: &Held) -> Result<Vec<String>, PageFailure> {
    let all = store.captures_by_condition(id)?;
    let mut told = Vec::new();
    for shown in &held.captures {
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
fn runs(opened: &Opened) -> Vec<ConditionView> {
    let views = opened.runs.iter().map(|run| ConditionView {
        words: format!("{} ({})", run.files, run.size),
        is_shown: run.is_shown,
        query: Which {
            condition: opened.condition,
            run: run.captures.first().copied(),
        }
        .query(),
    });
    views.collect()
}

/// Captures that were brought together just now.
#[derive(Deserialize)]
pub struct Dropped {
    /// Their numbers, parted by commas; empty: none.
    #[serde(default)]
    dropped: String,
    /// Those of them that were there already.
    #[serde(default)]
    known: String,
}

impl Dropped {
    fn ids(text: &str) -> Vec<EntryId> {
        text.split(',')
            .filter_map(|id| id.parse().ok())
            .map(EntryId)
            .collect()
    }

    /// What is to be said at once of files that were brought just now: that one was there already, or can't be read.
    fn told(&self, store: &Store, id: SessionId, opened: &Opened) -> Result<Vec<String>, PageFailure> {
        let mut told = Vec::new();
        for known in Dropped::ids(&self.known) {
            // It may be in the bin again.
            let held: Vec<Entry<Capture>> = store.entries(id)?;
            if let Some(held) = held.iter().find(|held| held.id == known) {
                told.push(format!(
                    "That file was here already, as {}: nothing was added.",
                    held.value.file
                ));
            }
        }
        let dropped = Dropped::ids(&self.dropped);
        for unread in opened
            .unreadable
            .iter()
            .filter(|unread| dropped.contains(&unread.capture))
        {
            told.push(format!(
                "{} was kept, and can't be read as a capture: it stands among the findings, with what to do.",
                unread.file
            ));
        }
        Ok(told)
    }

    /// The same at the end of an address.
    fn query(&self) -> String {
        let numbers = |text: &str| {
            let ids: Vec<String> = Dropped::ids(text).iter().map(EntryId::to_string).collect();
            ids.join(",")
        };
        format!(
            "&dropped={}&known={}",
            numbers(&self.dropped),
            numbers(&self.known)
        )
    }
}

/// The page of the condition that its address names, else of the one in hand; where nothing is analysed yet it shows how
/// far the reading is.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(asked): Query<Shown>,
    Query(dropped): Query<Dropped>,
) -> Result<Response, PageFailure> {
    let id = SessionId(id);
    open(&app, id, &asked, HERE).await?;
    let which = asked.which()?;
    let (body, held, newest) = with_store(app.clone(), move |store| {
        let held = match which {
            Some(which) => Held::under(store, id, which.condition, which.run)?,
            None => Held::present(store, id)?,
        };
        let all: Vec<Entry<Capture>> = store.entries(id)?;
        let newest = all.iter().map(|entry| entry.id).max();
        Ok((store.session(id)?.body, held, newest))
    })
    .await?;
    let (title, setup) = (body.title, body.setup);
    let newest = newest.map(|id| id.to_string()).unwrap_or_default();
    let key = (!held.captures.is_empty()).then(|| held.key());
    // What was put in memory without a stored capture rests on none.
    let is_it = |opened: &Opened| match &key {
        Some(key) => opened.key == *key,
        None => opened.captures.is_empty(),
    };
    let (mut is_reading, mut trouble) = (false, None);
    if key.is_some() && !app.in_memory(id).is_some_and(|opened| is_it(&opened)) {
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
    let mut opened = app.found(id, is_it).filter(|_| !is_reading && trouble.is_none());
    if opened.is_none() && key.is_some() && !is_reading && trouble.is_none() {
        // Another page took another condition in hand meanwhile.
        match app.opened_as(id, &asked).await {
            Ok(found) => opened = Some(found),
            Err(failure) if failure.status.is_client_error() => trouble = Some(failure.sentence),
            Err(failure) => return Err(failure.into()),
        }
    }
    if let Some(which) = opened.as_deref().and_then(|opened| worst_of(opened, &dropped)) {
        let address = format!("/sessions/{id}?{}{}", which.query(), dropped.query());
        return Ok(Redirect::to(&address).into_response());
    }
    let fresh = app.is_watching.then(|| key.unwrap_or_default());
    let html = tokio::task::spawn_blocking(move || -> Result<String, PageFailure> {
        let mut places = Places::of(id, HERE);
        let (mut query, mut named) = (String::new(), String::new());
        if let Some(opened) = opened.as_ref().filter(|opened| !opened.captures.is_empty()) {
            query = opened.query();
            named = opened.which().query();
            places = places.under(opened.which());
        } else {
            places = places.following(&asked)?;
        }
        let (mut sheet_shown, mut gone, mut runs_shown, mut runs_apart) =
            (None, Vec::new(), Vec::new(), Vec::new());
        let mut brought = Vec::new();
        if let Some(opened) = opened {
            brought = dropped.told(&app.store, id, &opened)?;
            runs_shown = runs(&opened);
            runs_apart = apart(&opened);
            let states: Vec<Entry<FindingState>> = app.store.entries(id)?;
            let answers = kept_answers(&app.store, id)?;
            gone = since(&answers, &states, &opened);
            let others: Vec<&InspectReport> = answers.iter().flat_map(Answer::reports).collect();
            let keys = keys_of(&opened.report, &others);
            let of_runs = opened
                .runs
                .iter()
                .flat_map(|run| keys_of(&run.report, &others))
                .collect::<Vec<_>>();
            let is_aside = |keys: &&Vec<String>| {
                let state = state_of(keys, states.iter().map(|entry| &entry.value));
                state.is_some_and(|state| state.state == Verdict::NotAFault)
            };
            let aside: HashSet<&String> = keys.iter().chain(&of_runs).filter(is_aside).flatten().collect();
            let mut shown = sheet(&opened, &aside);
            let harness = harness_of(&app.store, id)?;
            let clips = clips_of(&app.store, id, &harness)?;
            for told in places::of_findings(&harness, &clips, &opened.report) {
                if let Some(view) = shown.findings.iter_mut().find(|view| view.id == told.finding) {
                    view.places = told.sentences;
                }
            }
            let newest = app.store.captures_by_condition(id)?.pop();
            let is_newest = newest.is_some_and(|under| under.condition == opened.condition)
                && opened.runs.last().is_none_or(|run| run.is_shown);
            for ((view, finding), key) in shown.findings.iter_mut().zip(&opened.report.findings).zip(keys) {
                let said = states.iter().map(|entry| &entry.value);
                let state = StateView::of(&key, &finding.title, said).shown_still(is_newest);
                view.state = Some(state)
                    .filter(|state| takes_a_state(&finding.topic, &finding.lines) || state.is_said);
            }
            if let Some(view) = shown.findings.iter_mut().find(|view| view.is_nothing_stray) {
                view.try_next
                    .splice(0..0, mended(app.counted(id)?.as_ref(), &answers, &opened));
            }
            sheet_shown = Some(shown);
        }
        let page = FindingsPage {
            places,
            query,
            named,
            id: id.0,
            title,
            sheet: sheet_shown,
            // A setup that is not right is no fault of theirs.
            unreadable: match trouble.is_some() && Setup::parse(&setup, "").is_ok() {
                true => {
                    let captures = held.captures.iter();
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
            heading: Heading::of(&app.store, id, which, HERE)?,
            next: NextCapture::of(&app.store, id, held.condition())?,
            is_removable: trouble.is_some()
                && kept_answers(&app.store, id)?.iter().all(|a| a.report.is_none()),
            conditions: conditions(&app.store, id, &held)?,
            runs: runs_shown,
            apart: runs_apart,
            brought,
            doubles: doubles(&app.store, id, &held)?,
            since: gone,
            is_reading,
            fresh,
            newest,
            trouble,
        };
        Ok(page.render()?)
    })
    .await??;
    Ok(Html(html).into_response())
}
