//! The bench log for programs: what a session holds, adding to it, editing, the bin, undoing.
//!
//! Entries of all kinds share four addresses under `/api/sessions/{id}/entries/{kind}`; the kinds that a program
//! may add are `condition`, `remark`, `reading` and `step`. Captures and photographs are added by their bytes and
//! edited here.

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::store::{
    Action, Capture, Condition, Entry, EntryId, FindingState, Kind, Photograph, PulseMark, Reading, Remark,
    Session, SessionBody, SessionId, SessionRow, Step, Store, read_checklist,
};
use crate::web::error::{Failure, sentence};
use crate::web::refused::of_value;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::session::Held;

/// Most actions that are listed for undoing.
const MOST_ACTIONS: u32 = 20;

/// Everything that was said in a session.
#[derive(Serialize, utoipa::ToSchema)]
pub struct SessionLog {
    #[serde(flatten)]
    pub session: Session,
    pub conditions: Vec<Entry<Condition>>,
    pub captures: Vec<Entry<Capture>>,
    pub remarks: Vec<Entry<Remark>>,
    pub readings: Vec<Entry<Reading>>,
    pub photographs: Vec<Entry<Photograph>>,
    pub finding_states: Vec<Entry<FindingState>>,
    pub steps: Vec<Entry<Step>>,
    pub pulse_marks: Vec<Entry<PulseMark>>,
    /// Last actions, newest first.
    pub actions: Vec<Action>,
}

impl SessionLog {
    /// # Errors
    /// No such session, or the disk's own.
    pub fn of(store: &Store, id: SessionId) -> Result<SessionLog, crate::store::Error> {
        Ok(SessionLog {
            session: store.session(id)?,
            conditions: store.entries(id)?,
            captures: store.entries(id)?,
            remarks: store.entries(id)?,
            readings: store.entries(id)?,
            photographs: store.entries(id)?,
            finding_states: store.entries(id)?,
            steps: store.entries(id)?,
            pulse_marks: store.entries(id)?,
            actions: store.actions(id, MOST_ACTIONS)?,
        })
    }
}

/// Runs `work` on the store, off the threads that answer requests.
pub async fn with_store<R: Send + 'static>(
    app: Arc<App>,
    work: impl FnOnce(&Store) -> Result<R, Failure> + Send + 'static,
) -> Result<R, Failure> {
    tokio::task::spawn_blocking(move || work(&app.store)).await?
}

/// The whole bench log of a session.
pub async fn session(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Json<SessionLog>, Failure> {
    Ok(Json(
        with_store(app, move |store| Ok(SessionLog::of(store, SessionId(id))?)).await?,
    ))
}

/// What the answer under a condition rests on now.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Present {
    /// Changes with the captures, their conditions and the setup; null without captures.
    pub key: Option<String>,
    /// The newest capture of the session, under whichever condition; null without captures.
    pub newest: Option<EntryId>,
}

/// A key that changes whenever the answer may: of the condition named, else of the one in hand.
pub async fn present(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Json<Present>, Failure> {
    let which = shown.which()?;
    let id = SessionId(id);
    let present = with_store(app, move |store| {
        let held = match which {
            Some(which) => Held::under(store, id, which.condition, which.run)?,
            None => Held::present(store, id)?,
        };
        let all: Vec<Entry<Capture>> = store.entries(id)?;
        Ok(Present {
            key: (!held.captures.is_empty()).then(|| held.key()),
            newest: all.iter().map(|entry| entry.id).max(),
        })
    });
    Ok(Json(present.await?))
}

/// Title, job and setup, and what they were when the person began to change them.
#[derive(Default, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct EditedSession {
    pub title: String,
    pub job: String,
    pub setup: String,
    /// What is the same here as in the body was not changed, and stays as it is now; what was changed must still be so. Null:
    /// the body holds, whatever was there.
    pub was: Option<SessionBody>,
}

impl EditedSession {
    /// The body to keep in place of `now`.
    ///
    /// # Errors
    /// A sentence: what was changed here was changed elsewhere as well.
    fn over(self, now: &SessionBody) -> Result<SessionBody, String> {
        // A browser's text field has line feeds only, and drops one at its beginning.
        let plain = |text: &str| {
            let text = text.replace("\r\n", "\n");
            text.strip_prefix('\n').unwrap_or(&text).to_owned()
        };
        let Some(was) = self.was else {
            return Ok(SessionBody {
                title: self.title,
                job: self.job,
                setup: self.setup,
            });
        };
        let part = |name: &str, new: String, was: &str, now: &str| {
            let (typed, seen, held) = (plain(&new), plain(was), plain(now));
            match typed == seen {
                true => Ok(now.to_owned()),
                false if held == seen || held == typed => Ok(new),
                false => Err(format!(
                    "The {name} was changed elsewhere since this page was opened, and nothing was kept. Copy what you \
                     typed, look at the page anew, and change it there."
                )),
            }
        };
        Ok(SessionBody {
            title: part("title", self.title, &was.title, &now.title)?,
            job: part("job", self.job, &was.job, &now.job)?,
            setup: part("setup", self.setup, &was.setup, &now.setup)?,
        })
    }
}

/// Sets title, job and setup.
///
/// # Errors
/// The setup's first mistake, with line and column; an empty title; what was changed elsewhere since.
pub async fn edit_session(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(edited): Json<EditedSession>,
) -> Result<Json<Session>, Failure> {
    let session = with_store(app, move |store| {
        let now = store.session(SessionId(id))?.body;
        let body = edited.over(&now).map_err(Failure::wrong)?;
        if let Err(error) = crate::setup::Setup::parse(&body.setup, "the setup") {
            return Err(Failure::wrong(sentence(&error)));
        }
        Ok(store.edit_session(SessionId(id), &body)?)
    });
    Ok(Json(session.await?))
}

/// Rewrites the text of the session's setup; `done` names it for the journal, in the past ("rule added").
pub(super) async fn change_setup(
    app: Arc<App>,
    id: SessionId,
    done: String,
    change: impl FnOnce(&str) -> Result<String, String> + Send + 'static,
) -> Result<Json<Session>, Failure> {
    let session = with_store(app, move |store| {
        let mut body = store.session(id)?.body;
        body.setup = change(&body.setup).map_err(|error| Failure::wrong(sentence(&error)))?;
        Ok(store.edit_session_as(id, &body, &done)?)
    });
    Ok(Json(session.await?))
}

/// Puts the session into the bin; nothing of it is deleted.
pub async fn bin_session(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<StatusCode, Failure> {
    with_store(app, move |store| Ok(store.bin_session(SessionId(id))?)).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Takes the session out of the bin.
pub async fn restore_session(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
) -> Result<StatusCode, Failure> {
    with_store(app, move |store| Ok(store.restore_session(SessionId(id))?)).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Sessions in the bin.
pub async fn bin(State(app): State<Arc<App>>) -> Result<Json<Vec<SessionRow>>, Failure> {
    Ok(Json(with_store(app, |store| Ok(store.sessions(true)?)).await?))
}

/// A second condition of one name could not be told from the first in any list.
fn is_new_name(store: &Store, id: SessionId, value: &Value) -> Result<(), Failure> {
    let title = value["title"].as_str().unwrap_or_default().trim();
    let held: Vec<Entry<Condition>> = store.entries(id)?;
    match held.iter().find(|entry| entry.value.title.trim() == title) {
        Some(held) => Err(Failure::wrong(format!(
            "There is a condition called \"{}\" already. Give the new one another name, or choose that one for the capture.",
            held.value.title
        ))),
        None => Ok(()),
    }
}

/// Adds an entry of that kind at its end.
pub async fn add(
    State(app): State<Arc<App>>,
    Path((id, kind)): Path<(i64, String)>,
    Json(value): Json<Value>,
) -> Result<(StatusCode, Json<Value>), Failure> {
    let added = with_store(app, move |store| {
        let id = SessionId(id);
        match kind.as_str() {
            Condition::KIND => {
                is_new_name(store, id, &value)?;
                add_as::<Condition>(store, id, value)
            }
            Remark::KIND => add_as::<Remark>(store, id, value),
            Reading::KIND => {
                read::<Reading>(value.clone())?.check_typed()?;
                add_as::<Reading>(store, id, value)
            }
            Step::KIND => add_as::<Step>(store, id, value),
            _ => Err(Failure::missing(format!(
                "kind of entry called {kind} that can be added so"
            ))),
        }
    });
    Ok((StatusCode::CREATED, Json(added.await?)))
}

/// Changes an entry; the state before stays in the journal.
pub async fn edit(
    State(app): State<Arc<App>>,
    Path((id, kind, entry)): Path<(i64, String, i64)>,
    Json(value): Json<Value>,
) -> Result<Json<Value>, Failure> {
    let edited = with_store(app, move |store| {
        let (id, entry) = (SessionId(id), EntryId(entry));
        match kind.as_str() {
            Condition::KIND => edit_as::<Condition>(store, id, entry, value),
            Remark::KIND => edit_as::<Remark>(store, id, entry, value),
            Reading::KIND => {
                read::<Reading>(value.clone())?.check_typed()?;
                edit_as::<Reading>(store, id, entry, value)
            }
            Step::KIND => edit_as::<Step>(store, id, entry, value),
            Capture::KIND => {
                let wanted: Capture = read(value)?;
                let held = store.entry::<Capture>(id, entry)?.value;
                // The bytes are what they are; what is said about them can change.
                let kept = Capture {
                    digest: held.digest,
                    size_bytes: held.size_bytes,
                    ..wanted
                };
                if let Some(condition) = kept.condition {
                    store.entry::<Condition>(id, condition)?;
                }
                json(&store.edit(id, entry, &kept)?)
            }
            Photograph::KIND => {
                let wanted: Photograph = read(value)?;
                let held = store.entry::<Photograph>(id, entry)?.value;
                let kept = Photograph {
                    caption: wanted.caption,
                    condition: wanted.condition,
                    ..held
                };
                json(&store.edit(id, entry, &kept)?)
            }
            _ => Err(Failure::missing(format!(
                "kind of entry called {kind} that can be edited so"
            ))),
        }
    });
    Ok(Json(edited.await?))
}

/// Puts an entry into the bin; nothing of it is deleted.
pub async fn bin_entry(
    State(app): State<Arc<App>>,
    Path((id, _, entry)): Path<(i64, String, i64)>,
) -> Result<StatusCode, Failure> {
    with_store(app, move |store| Ok(store.bin(SessionId(id), EntryId(entry))?)).await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Takes an entry out of the bin.
pub async fn restore_entry(
    State(app): State<Arc<App>>,
    Path((id, _, entry)): Path<(i64, String, i64)>,
) -> Result<StatusCode, Failure> {
    with_store(
        app,
        move |store| Ok(store.restore(SessionId(id), EntryId(entry))?),
    )
    .await?;
    Ok(StatusCode::NO_CONTENT)
}

/// A pasted list.
#[derive(Deserialize, utoipa::ToSchema)]
pub struct Pasted {
    text: String,
}

/// Adds the steps of a pasted checkout list, as one action.
pub async fn checklist(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(pasted): Json<Pasted>,
) -> Result<(StatusCode, Json<Vec<Entry<Step>>>), Failure> {
    let added = with_store(app, move |store| {
        let steps = read_checklist(&pasted.text)?;
        Ok(store.add_all(SessionId(id), &steps, "checkout list added")?)
    });
    Ok((StatusCode::CREATED, Json(added.await?)))
}

/// What a person holds of a finding, and what stood there when they began to say it.
#[derive(Serialize, Deserialize, utoipa::ToSchema)]
pub struct SaidOfFinding {
    #[serde(flatten)]
    pub said: FindingState,
    /// The state that the page showed, as it was kept; without a name where nothing was said yet. It must still be so. Null: what
    /// is said holds, whatever was there.
    #[serde(default)]
    pub was: Option<FindingState>,
}

impl SaidOfFinding {
    /// Whether nothing else was said meanwhile.
    ///
    /// # Errors
    /// A sentence: what is held now.
    fn over(&self, held: &[Entry<FindingState>]) -> Result<(), String> {
        let Some(was) = &self.was else {
            return Ok(());
        };
        let of = |key: &str| {
            held.iter()
                .map(|entry| &entry.value)
                .find(|held| held.finding == key)
        };
        let nothing = FindingState::default();
        let now = of(&self.said.finding)
            .or_else(|| of(&was.finding))
            .unwrap_or(&nothing);
        let what = |state: &FindingState| (state.state, state.cause.clone(), state.remark.clone());
        if what(now) == what(was) || what(now) == what(&self.said) {
            return Ok(());
        }
        let more = [("caused by", &now.cause), ("with the remark", &now.remark)];
        let more = more.iter().filter(|(_, text)| !text.is_empty());
        let more: Vec<String> = more
            .map(|(words, text)| format!(", {words} \"{text}\""))
            .collect();
        Err(format!(
            "Meanwhile somebody said something else of this finding: it is \"{}\" now{}. Nothing of yours was kept, so that this \
             is not lost. Look at the page anew, and say it there if it still holds: what you typed will stand in the fields.",
            now.state.words(),
            more.concat()
        ))
    }
}

/// Says what a person holds of a finding, for all conditions.
///
/// # Errors
/// Something else was said of it since the page was opened.
pub async fn set_finding_state(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(body): Json<SaidOfFinding>,
) -> Result<Json<Entry<FindingState>>, Failure> {
    let kept = with_store(app, move |store| {
        let id = SessionId(id);
        body.over(&store.entries(id)?)
            .map_err(|told| Failure::new(StatusCode::CONFLICT, told))?;
        Ok(store.set_finding_state(id, &body.said)?)
    });
    Ok(Json(kept.await?))
}

/// What a photograph is called.
#[derive(Deserialize, utoipa::ToSchema, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Named {
    /// The file's name; it is shown, never used as a path.
    name: String,
    /// What is seen on it.
    #[serde(default)]
    caption: String,
}

/// Stores the body as a photograph; its kind is told by its first bytes, not by its name.
pub async fn add_photograph(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(named): Query<Named>,
    bytes: Bytes,
) -> Result<(StatusCode, Json<Entry<Photograph>>), Failure> {
    let added = with_store(app, move |store| {
        Ok(store.add_photograph(SessionId(id), &named.name, &bytes, &named.caption)?)
    });
    Ok((StatusCode::CREATED, Json(added.await?)))
}

/// A photograph's bytes, as they were brought.
pub async fn photograph(
    State(app): State<Arc<App>>,
    Path((id, entry)): Path<(i64, i64)>,
) -> Result<Response, Failure> {
    let (picture, bytes) = with_store(app, move |store| {
        let photograph = store.entry::<Photograph>(SessionId(id), EntryId(entry))?.value;
        let path = store.original_path(&photograph.digest)?;
        let bytes =
            std::fs::read(&path).map_err(|error| Failure::ours(format!("{}: {error}", path.display())))?;
        Ok((photograph.picture, bytes))
    })
    .await?;
    Ok(([(CONTENT_TYPE, picture.content_type())], bytes).into_response())
}

/// The step that is to be undone.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NamedStep {
    /// Its action's number; the last one, whatever it is, where none is named.
    action: Option<i64>,
}

/// Undoes the last action that stands, if it is the one named; null when there is none.
///
/// # Errors
/// Another one is the last.
pub async fn undo(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(step): Query<NamedStep>,
) -> Result<Json<Option<Action>>, Failure> {
    let undone = with_store(app, move |store| Ok(store.undo_this(SessionId(id), step.action)?));
    Ok(Json(undone.await?))
}

/// Does again what was undone last; null when there is nothing.
pub async fn redo(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Json<Option<Action>>, Failure> {
    Ok(Json(
        with_store(app, move |store| Ok(store.redo(SessionId(id))?)).await?,
    ))
}

fn add_as<T: Kind + Clone>(store: &Store, id: SessionId, value: Value) -> Result<Value, Failure> {
    json(&store.add(id, &read::<T>(value)?)?)
}

fn edit_as<T: Kind + Clone>(
    store: &Store,
    id: SessionId,
    entry: EntryId,
    value: Value,
) -> Result<Value, Failure> {
    json(&store.edit(id, entry, &read::<T>(value)?)?)
}

fn read<T: Kind>(value: Value) -> Result<T, Failure> {
    serde_json::from_value(value).map_err(|error| {
        let told = of_value(&error.to_string());
        Failure::wrong(format!("This is no {}: {told}.", T::KIND.replace('_', " ")))
    })
}

fn json(value: &impl Serialize) -> Result<Value, Failure> {
    serde_json::to_value(value).map_err(Failure::ours)
}
