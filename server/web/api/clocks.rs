//! Clocks of captures, skews of channels, and which condition is looked at.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};

use super::log::with_store;
use crate::setup::Setup;
use crate::store::{Capture, ChannelSkews, Clock, EntryId, SessionId, Store};
use crate::web::error::{Failure, sentence};
use crate::web::state::App;
use crate::workflow::known_lines::no_such;
use crate::workflow::runs::turned;
use crate::workflow::session::{Held, measure_skews};

/// A condition to look at; null: captures under no condition.
#[derive(Serialize, Deserialize, utoipa::ToSchema)]
pub struct Wanted {
    pub condition: Option<EntryId>,
    /// A capture of the run to look at; null: the condition's newest run.
    #[serde(default)]
    pub run: Option<EntryId>,
}

/// Which condition, and which of its runs, is looked at.
pub async fn take_in_hand(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(wanted): Json<Wanted>,
) -> Result<StatusCode, Failure> {
    with_store(app, move |store| {
        Ok(store.take_in_hand(SessionId(id), wanted.condition, wanted.run)?)
    })
    .await?;
    Ok(StatusCode::NO_CONTENT)
}

/// Says how a capture's clock stands to another's; an earlier word on the same capture is replaced.
pub async fn set_clock(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(mut clock): Json<Clock>,
) -> Result<StatusCode, Failure> {
    with_store(app, move |store| {
        let id = SessionId(id);
        names_are_there(store, id, &mut clock)?;
        Ok(store.set_clock(id, &clock)?)
    })
    .await?;
    Ok(StatusCode::NO_CONTENT)
}

/// A name that no capture has would take the capture out of its run: it changes nothing, and is told. What can't be read now
/// is not asked. Names said the other way round are turned.
fn names_are_there(store: &Store, id: SessionId, clock: &mut Clock) -> Result<(), Failure> {
    let held = Held::all(store, id)?;
    let own = held.captures.iter().position(|entry| entry.id == clock.capture);
    let (Some(own), Ok(setup), Some(_), false) = (
        own,
        Setup::parse(&held.setup, "the session's setup"),
        clock.with,
        clock.on.is_empty(),
    ) else {
        return Ok(());
    };
    let condition = held.captures[own].value.condition;
    let read = |at: usize| held.read(store, at, &setup, &()).ok();
    let others =
        (0..held.captures.len()).filter(|&at| at != own && held.captures[at].value.condition == condition);
    let others: Vec<_> = others.filter_map(read).collect();
    let (Some(own), Some(first)) = (read(own), others.first()) else {
        return Ok(());
    };
    let among = |name: &str| others.iter().any(|other| other.line_index(name).is_some());
    for name in &mut clock.on {
        *name = turned(others.iter(), &own, name);
        let (there, here) = match (among(name), name.split_once('=')) {
            (false, Some((there, here))) => (there.trim(), here.trim()),
            _ => (&**name, &**name),
        };
        if !among(there) {
            return Err(Failure::wrong(no_such(first, there)));
        }
        if own.line_index(here).is_none() {
            return Err(Failure::wrong(format!("{}: {}", own.file, no_such(&own, here))));
        }
    }
    Ok(())
}

/// Keeps skews as they are given; measured from the capture named where none are given.
pub async fn set_skews(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(mut skews): Json<ChannelSkews>,
) -> Result<Json<ChannelSkews>, Failure> {
    let id = SessionId(id);
    let kept = with_store(app, move |store| {
        if let (Some(capture), true) = (skews.capture, skews.late_s.is_empty()) {
            let held = Held::all(store, id)?;
            // The skews are those of the instrument that recorded it.
            skews.instrument = store.entry::<Capture>(id, capture)?.value.instrument;
            skews.late_s = measure_skews(store, &held, capture)
                .map_err(|error| Failure::wrong(sentence(&error)))?
                .into_iter()
                .map(|skew| (skew.line, skew.late_s))
                .collect();
        }
        store.set_skews(id, &skews)?;
        Ok(skews)
    });
    Ok(Json(kept.await?))
}
