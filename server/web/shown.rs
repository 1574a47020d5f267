//! Which condition a page shows, and which of its runs: named in the page's address and in everything the page asks for,
//! so that another page that looks at another condition takes nothing from under it.

use std::sync::{Arc, PoisonError};

use axum::http::StatusCode;
use serde::Deserialize;

use crate::store::{EntryId, SessionId};
use crate::workflow::condition_runs::RunFound;
use crate::workflow::session::Held;

use super::error::Failure;
use super::opened::Opened;
use super::state::App;
use super::work::{keep_for_start, look, scope};

/// Letters of a key that tell one state of a session from another: 64 bits of a digest.
const KEY_LETTERS: usize = 16;
/// How captures under no condition are named in an address.
const UNDER_NONE: &str = "none";

/// What an address says of it; all of it may be left out: then it is the condition in hand.
#[derive(Clone, Debug, Default, Deserialize, utoipa::IntoParams)]
pub struct Shown {
    /// Number of a condition, or `none`.
    condition: Option<String>,
    /// Number of a capture of the run; not given: the condition's newest run.
    run: Option<i64>,
    /// The beginning of the key of what the page shows: what was changed since is not it.
    of: Option<String>,
}

/// A condition and one of its runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Which {
    pub condition: Option<EntryId>,
    pub run: Option<EntryId>,
}

impl Which {
    /// As an address has it: `condition=5&run=7`.
    pub fn query(self) -> String {
        let condition = self
            .condition
            .map_or_else(|| UNDER_NONE.to_owned(), |id| id.to_string());
        match self.run {
            Some(run) => format!("condition={condition}&run={run}"),
            None => format!("condition={condition}"),
        }
    }
}

impl Shown {
    /// What is named; `None`: the condition in hand.
    ///
    /// # Errors
    /// The condition is no number.
    pub fn which(&self) -> Result<Option<Which>, Failure> {
        let condition = match self.condition.as_deref() {
            None => return Ok(None),
            Some(UNDER_NONE) => None,
            Some(text) => Some(text.parse().map_err(|_| {
                Failure::wrong(format!("Expected the number of a condition, or {UNDER_NONE}."))
            })?),
        };
        let run = self.run.map(EntryId);
        Ok(Some(Which { condition, run }))
    }

    /// The condition as the address has it; empty where it names none.
    pub fn condition_named(&self) -> &str {
        self.condition.as_deref().unwrap_or_default()
    }

    /// Takes in hand what a page's address names, so that pages that name none follow it.
    ///
    /// # Errors
    /// The condition has no captures (any more), or the disk's own.
    pub async fn take_in_hand(&self, app: &Arc<App>, id: SessionId) -> Result<(), Failure> {
        let Some(Which { condition, run }) = self.which()? else {
            return Ok(());
        };
        let app = app.clone();
        Ok(tokio::task::spawn_blocking(move || app.store.take_in_hand(id, condition, run)).await??)
    }
}

impl Opened {
    /// Which condition and run it is of.
    pub fn which(&self) -> Which {
        Which {
            condition: self.condition,
            run: self.run,
        }
    }

    /// What a page that shows it adds to all it asks for: `condition=5&run=7&of=0123456789abcdef`.
    pub fn query(&self) -> String {
        let key = self.key.get(..KEY_LETTERS).unwrap_or(&self.key);
        format!("{}&of={key}", self.which().query())
    }
}

impl App {
    /// What an address names, for a part of a page that shows it; as [`App::opened`] where it names nothing.
    ///
    /// # Errors
    /// No such condition, or its captures can't be read; 409 with a sentence where the page shows what was changed since
    /// and is not in memory any more.
    pub async fn opened_as(self: &Arc<App>, id: SessionId, shown: &Shown) -> Result<Arc<Opened>, Failure> {
        let Some(which) = shown.which()? else {
            return self.opened(id).await;
        };
        let of = shown.of.clone().filter(|of| of.len() >= KEY_LETTERS);
        if let Some(of) = &of
            && let Some(opened) = self.found(id, |opened| {
                opened.which() == which && opened.key.starts_with(of.as_str())
            })
        {
            return Ok(opened);
        }
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            let held = Held::under(&app.store, id, which.condition, which.run)?;
            let is_run = |run: EntryId| held.captures.iter().any(|entry| entry.id == run);
            if held.captures.is_empty() || which.run.is_some_and(|run| !is_run(run)) {
                return Err(Failure::missing(
                    "capture under that condition, or no such run of it",
                ));
            }
            if of.is_some_and(|of| !held.key().starts_with(&of)) {
                return Err(Failure::new(StatusCode::CONFLICT, changed_since(&held)));
            }
            app.look_aside(id, &held)
        })
        .await?
    }

    /// As [`App::opened_as`], as it is stored now where the address names nothing.
    ///
    /// # Errors
    /// As [`App::opened_as`].
    pub async fn opened_now_as(
        self: &Arc<App>,
        id: SessionId,
        shown: &Shown,
    ) -> Result<Arc<Opened>, Failure> {
        match shown.which()? {
            Some(_) => self.opened_as(id, shown).await,
            None => self.opened_now(id).await?.ok_or_else(|| Failure::no_capture(id)),
        }
    }

    /// Captures of a session, read and inspected as they are held; kept in memory beside what is looked at.
    ///
    /// # Errors
    /// None can be read: the sentence says why.
    pub(super) fn look_aside(&self, id: SessionId, held: &Held) -> Result<Arc<Opened>, Failure> {
        let key = held.key();
        // What was undone may have left another answer in the store: that of what is held is kept anew then.
        let is_kept = self.store.has_report(id, &scope(held), &key)?;
        let is_it = |opened: &Opened| is_kept && opened.key == key;
        if let Some(opened) = self.found(id, is_it) {
            return Ok(opened);
        }
        let _alone = self.looking.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(opened) = self.found(id, is_it) {
            return Ok(opened);
        }
        let opened = Arc::new(look(self, id, held, &|_| ())?);
        keep_for_start(self, id, held, &opened)?;
        self.keep_aside(opened.clone());
        Ok(opened)
    }
}

impl App {
    /// Another run of the condition that `opened` shows, whole: what is kept of it has no lines. It is not kept in memory:
    /// pages that show something else would lose it.
    ///
    /// # Errors
    /// It can't be read any more: the sentence says why.
    pub(super) fn look_once(&self, opened: &Opened, run: &RunFound) -> Result<Arc<Opened>, Failure> {
        let first = run.captures.first().copied();
        let mut held = Held::under(&self.store, opened.id, opened.condition, first)?;
        // The newest run is kept under the condition's own name.
        if opened.runs.last().is_some_and(|newest| newest.key == run.key) {
            held.run = None;
        }
        let key = held.key();
        match self.found(opened.id, |opened| opened.key == key) {
            Some(opened) => Ok(opened),
            None => Ok(Arc::new(look(self, opened.id, &held, &|_| ())?)),
        }
    }
}

fn changed_since(held: &Held) -> String {
    let titles = held.conditions.iter();
    let title = titles
        .filter(|entry| Some(entry.id) == held.condition())
        .map(|entry| entry.value.title.as_str())
        .next();
    let under = title.map_or(String::new(), |title| format!(" under \"{title}\""));
    format!("This page shows what was found{under} before something was changed: reload it.")
}
