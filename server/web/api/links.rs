//! Links: declared, taken back, and pulse by pulse.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::{Deserialize, Serialize};

use super::log::{change_setup, with_store};
use crate::setup::Setup;
use crate::store::{Session, SessionId};
use crate::web::error::{Failure, sentence};
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::known_lines::no_such;
use crate::workflow::links::{self, PulseFate};

/// A link to declare. A bus stands for its bits.
#[derive(Serialize, Deserialize, utoipa::ToSchema)]
pub struct NewLink {
    pub from: String,
    pub to: String,
    /// A time with its unit, such as `200 ns`; empty: the usual.
    #[serde(default)]
    pub max_delay: String,
    /// The far end is meant to be upside down.
    #[serde(default)]
    pub inverted: bool,
}

/// The two ends of a declared link, by name.
#[derive(Serialize, Deserialize, utoipa::ToSchema, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Ends {
    /// The sending end.
    pub from: String,
    /// The far end.
    pub to: String,
}

/// Writes a link into the session's setup. Names are checked against the capture where one is in memory.
pub async fn declare(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(link): Json<NewLink>,
) -> Result<Json<Session>, Failure> {
    let id = SessionId(id);
    if let Some(opened) = app.in_memory(id) {
        for (name, end) in [(&link.from, "sending end"), (&link.to, "far end")] {
            let name = name.trim();
            let is_known = opened.capture.line_index(name).is_some()
                || opened.capture.buses.iter().any(|bus| bus.name == name);
            if !is_known {
                let told = no_such(&opened.capture, name);
                return Err(Failure::wrong(format!("The {end}: {told}")));
            }
        }
    }
    let done = format!("link from {} to {} declared", link.from.trim(), link.to.trim());
    change_setup(app, id, done, move |text| {
        links::declared(text, &link.from, &link.to, &link.max_delay, link.inverted)
    })
    .await
}

/// Takes a declared link out of the session's setup.
pub async fn take_back(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(ends): Json<Ends>,
) -> Result<Json<Session>, Failure> {
    let done = format!("link from {} to {} taken back", ends.from, ends.to);
    change_setup(app, SessionId(id), done, move |text| {
        links::taken_back(text, &ends.from, &ends.to)
    })
    .await
}

/// What became of each pulse sent over a declared link. Cost: one check of that link.
pub async fn pulses(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(ends): Query<Ends>,
    Query(shown): Query<Shown>,
) -> Result<Json<Vec<PulseFate>>, Failure> {
    let id = SessionId(id);
    let opened = app.opened_now_as(id, &shown).await?;
    let found = with_store(app, move |store| {
        let text = store.session(id)?.body.setup;
        let setup =
            Setup::parse(&text, "the session's setup").map_err(|error| Failure::wrong(sentence(&error)))?;
        let found = links::pulses(&opened.capture, &setup, &ends.from, &ends.to);
        found.ok_or_else(|| Failure::missing(format!("declared link from {} to {}", ends.from, ends.to)))
    });
    Ok(Json(found.await?))
}
