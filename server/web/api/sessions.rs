//! Sessions, and what was found in them.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::Serialize;

use crate::report::inspect::{Finding, InspectReport};
use crate::store::{EntryId, Session, SessionBody, SessionId, SessionRow};
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

/// The report of one run of a session, and what was found in the other runs of its condition.
#[derive(Serialize, utoipa::ToSchema)]
pub struct RunReport {
    #[serde(flatten)]
    report: InspectReport,
    /// The other runs of the condition, in their order; the report of each is had with `?condition=` and `&run=`.
    other_runs: Vec<OtherRun>,
}

/// A run that the report beside it is not of.
#[derive(Serialize, utoipa::ToSchema)]
struct OtherRun {
    /// Null: under no condition.
    condition: Option<EntryId>,
    /// Its captures; the first names it in an address.
    captures: Vec<EntryId>,
    /// Their files.
    files: String,
    findings: Vec<Finding>,
}

/// The report of the run that is named, else of the newest, as `edgewitness inspect --json` gives it; and what was found
/// in the other runs of its condition.
pub async fn report(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Json<RunReport>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let others = opened.runs.iter().filter(|run| !run.is_shown);
    let other_runs = others.map(|run| OtherRun {
        condition: opened.condition,
        captures: run.captures.clone(),
        files: run.files.clone(),
        findings: run.report.findings.clone(),
    });
    Ok(Json(RunReport {
        report: opened.report.clone(),
        other_runs: other_runs.collect(),
    }))
}
