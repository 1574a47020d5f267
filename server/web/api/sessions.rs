//! Sessions, and what was found in them.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;

use crate::report::inspect::InspectReport;
use crate::store::{Session, SessionBody, SessionId, SessionRow};
use crate::web::error::Failure;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::demo_session::open_demo;

/// All sessions that are not in the bin, the one changed last first.
pub async fn list(State(app): State<Arc<App>>) -> Result<Json<Vec<SessionRow>>, Failure> {
    let rows = tokio::task::spawn_blocking(move || app.store.sessions(false)).await??;
    Ok(Json(rows))
}

/// Makes an empty session.
pub async fn create(
    State(app): State<Arc<App>>,
    Json(body): Json<SessionBody>,
) -> Result<(StatusCode, Json<Session>), Failure> {
    let session = tokio::task::spawn_blocking(move || app.store.create_session(&body)).await??;
    Ok((StatusCode::CREATED, Json(session)))
}

/// The demo's session: the one that is there, or a new one.
pub async fn demo(State(app): State<Arc<App>>) -> Result<(StatusCode, Json<Session>), Failure> {
    let session = tokio::task::spawn_blocking(move || {
        let id = open_demo(&app.store)?;
        app.store.session(id)
    });
    Ok((StatusCode::CREATED, Json(session.await??)))
}

/// The report of the whole session, as `edgewitness inspect --json` gives it.
pub async fn report(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Json<InspectReport>, Failure> {
    Ok(Json(app.opened_as(SessionId(id), &shown).await?.report.clone()))
}
