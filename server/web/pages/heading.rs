//! Which condition and run a page shows, said under its title, with the ways to the others; and what is told where an
//! address names a condition that can't be shown.

use std::sync::Arc;

use axum::http::StatusCode;

use super::Places;
use crate::store::{Capture, Condition, Entry, EntryId, SessionId, Store};
use crate::web::error::{Failure, PageFailure};
use crate::web::opened::Opened;
use crate::web::shown::{Shown, Which};
use crate::web::state::App;
use crate::workflow::session::Held;

/// What stands under the title of a page that shows one condition.
#[derive(Debug, Default)]
pub struct Heading {
    /// Of the condition shown; empty where none is.
    pub name: String,
    /// Conditions with captures, in their order; empty where there is nothing to name.
    pub conditions: Vec<ConditionView>,
    /// A file of the run shown, where that is not the newest; else empty.
    pub run: String,
    /// The runs of the condition shown, the newest last, where there are several.
    pub runs: Vec<ConditionView>,
    /// The session is in the bin.
    pub is_binned: bool,
}

/// A condition, and where this page shows it.
#[derive(Debug)]
pub struct ConditionView {
    pub words: String,
    pub is_shown: bool,
    pub path: String,
}

impl Heading {
    /// For pages that show no condition.
    pub fn none() -> Heading {
        Heading::default()
    }

    /// `which`: what is shown; `None`: the condition in hand. `here`: the page's name, as [`Places::of`] knows it.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn of(store: &Store, id: SessionId, which: Option<Which>, here: &str) -> Result<Heading, Failure> {
        let which = match which {
            Some(which) => which,
            None => {
                let held = Held::present(store, id)?;
                let (condition, run) = (held.condition(), held.run);
                Which { condition, run }
            }
        };
        let mut heading = Heading::around(store, id, Some(which.condition), here)?;
        if let Some(run) = which.run {
            let captures: Vec<Entry<Capture>> = store.entries(id)?;
            let own = captures.into_iter().find(|entry| entry.id == run);
            heading.run = own.map(|entry| entry.value.file).unwrap_or_default();
        }
        Ok(heading)
    }

    /// The same with the runs of the condition that is `opened`, each with where this page shows it.
    pub fn with_runs(self, opened: Option<&Opened>, here: &str) -> Heading {
        let Some(opened) = opened else {
            return self;
        };
        let path = path_of(opened.id, here);
        let views = opened.runs.iter().map(|run| {
            let which = Which {
                condition: opened.condition,
                run: run.captures.first().copied(),
            };
            ConditionView {
                words: format!("{} ({})", run.files, run.size),
                is_shown: run.is_shown,
                path: format!("{path}?{}", which.query()),
            }
        });
        Heading {
            runs: views.collect(),
            ..self
        }
    }

    /// The conditions that the page can show; `shown`: the one that it does.
    fn around(
        store: &Store,
        id: SessionId,
        shown: Option<Option<EntryId>>,
        here: &str,
    ) -> Result<Heading, Failure> {
        let path = path_of(id, here);
        let all = store.captures_by_condition(id)?.into_iter();
        let views = all.map(|under| {
            let (condition, run) = (under.condition, None);
            ConditionView {
                is_shown: shown == Some(under.condition),
                path: format!("{path}?{}", Which { condition, run }.query()),
                words: under.title,
            }
        });
        let mut conditions: Vec<ConditionView> = views.collect();
        let name = conditions.iter().find(|view| view.is_shown);
        let name = name.map(|view| view.words.clone()).unwrap_or_default();
        let is_unnamed = matches!(&conditions[..], [only] if only.is_shown);
        if is_unnamed && shown == Some(None) {
            conditions.clear();
        }
        Ok(Heading {
            name,
            conditions,
            run: String::new(),
            runs: Vec::new(),
            is_binned: store.session(id)?.binned_ms.is_some(),
        })
    }
}

/// The address of the page called `here`.
fn path_of(id: SessionId, here: &str) -> String {
    let places = Places::of(id, here).list;
    let place = places.into_iter().find(|place| place.is_here);
    place.map(|place| place.path).unwrap_or_default()
}

/// Takes in hand what a page's address names, as [`Shown::take_in_hand`]; what can't be shown is told on a page with the
/// session's places and conditions.
///
/// # Errors
/// The condition is in the bin, not there, or has no captures; or the disk's own.
pub async fn open(
    app: &Arc<App>,
    id: SessionId,
    shown: &Shown,
    here: &'static str,
) -> Result<(), PageFailure> {
    let Err(failure) = shown.take_in_hand(app, id).await else {
        return Ok(());
    };
    if failure.status.is_server_error() {
        return Err(failure.into());
    }
    let (app, which) = (app.clone(), shown.which().ok().flatten());
    let told = tokio::task::spawn_blocking(move || -> Result<PageFailure, Failure> {
        app.store.session(id)?;
        let sentence = match which {
            Some(which) => not_shown(&app.store, id, which)?,
            None => failure.sentence,
        };
        Ok(PageFailure {
            failure: Failure::new(StatusCode::NOT_FOUND, sentence),
            places: Places::of(id, here),
            heading: Heading::around(&app.store, id, None, here)?,
        })
    });
    Err(told.await??)
}

/// Why a condition, or a run of it, can't be shown.
fn not_shown(store: &Store, id: SessionId, which: Which) -> Result<String, Failure> {
    let Some(number) = which.condition else {
        return Ok(match which.run {
            Some(run) => format!("There is no run with capture {run} under no condition."),
            None => "Every capture of this session stands under a condition.".to_owned(),
        });
    };
    let title = |list: Vec<Entry<Condition>>| {
        let own = list.into_iter().find(|entry| entry.id == number);
        own.map(|entry| entry.value.title)
    };
    if let Some(title) = title(store.binned_entries(id)?) {
        return Ok(format!(
            "The condition \"{title}\" is in the bin. The bench log has the bin: take it out there, or look at another condition."
        ));
    }
    let Some(title) = title(store.entries(id)?) else {
        return Ok(format!("This session has no condition {number}."));
    };
    Ok(match which.run {
        Some(run) if !store.captures_under(id, which.condition)?.is_empty() => {
            format!("There is no run with capture {run} under \"{title}\".")
        }
        _ => format!("No capture was taken under \"{title}\" yet."),
    })
}
