//! Clocks of captures, skews of channels, and which condition is looked at.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};

use super::log::with_store;
use crate::store::{Capture, ChannelSkews, Clock, EntryId, SessionId};
use crate::web::error::{Failure, sentence};
use crate::web::state::App;
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
    Json(clock): Json<Clock>,
) -> Result<StatusCode, Failure> {
    with_store(app, move |store| Ok(store.set_clock(SessionId(id), &clock)?)).await?;
    Ok(StatusCode::NO_CONTENT)
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
