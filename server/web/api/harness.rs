//! The harness sheet for programs: CSV in and out, where findings are, which clip to move.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::{Deserialize, Serialize};

use super::log::with_store;
use crate::harness::{Clips, Harness, Move};
use crate::store::{ClipList, EntryId, HarnessSheet, SessionId, Store};
use crate::web::error::Failure;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::places::{self, FindingPlaces};

/// A sheet, or clips, as CSV text.
#[derive(Serialize, Deserialize, utoipa::ToSchema)]
pub struct Csv {
    pub csv: String,
}

/// The session's sheet; empty when there is none yet.
///
/// # Errors
/// No such session, or the disk's own.
pub fn harness_of(store: &Store, id: SessionId) -> Result<Harness, Failure> {
    store.session(id)?;
    let sheet = store.entries::<HarnessSheet>(id)?.pop();
    match sheet {
        // It was checked when it was set.
        Some(sheet) if !sheet.value.csv.is_empty() => {
            Harness::parse(&sheet.value.csv, "harness.csv").map_err(|mistakes| Failure::ours(&mistakes[0]))
        }
        _ => Ok(Harness::default()),
    }
}

/// Where the clips were in a session's newest capture that says so.
pub fn clips_of(store: &Store, id: SessionId, harness: &Harness) -> Result<Clips, Failure> {
    match store.entries::<ClipList>(id)?.pop() {
        // The sheet may have changed since: clips at places that are gone are then not known.
        Some(clips) => Ok(Clips::parse(&clips.value.csv, "clips.csv", harness).unwrap_or_default()),
        None => Ok(Clips::default()),
    }
}

/// The session's harness sheet as CSV; headings alone when there is none.
pub async fn sheet(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Json<Csv>, Failure> {
    let csv = with_store(app, move |store| Ok(harness_of(store, SessionId(id))?.to_csv()));
    Ok(Json(Csv { csv: csv.await? }))
}

/// Sets the sheet; answers with it as it is kept.
///
/// # Errors
/// All mistakes of the sheet, each with row and column.
pub async fn set_sheet(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(sheet): Json<Csv>,
) -> Result<Json<Csv>, Failure> {
    let csv = with_store(app, move |store| {
        let harness = Harness::parse(&sheet.csv, "The harness sheet").map_err(told)?;
        let csv = harness.to_csv();
        store.set_harness(SessionId(id), &HarnessSheet { csv: csv.clone() })?;
        Ok(csv)
    });
    Ok(Json(Csv { csv: csv.await? }))
}

/// Says where the clips were in a capture.
///
/// # Errors
/// All mistakes, each with row and column, by the sheet that holds now.
pub async fn set_clips(
    State(app): State<Arc<App>>,
    Path((id, capture)): Path<(i64, i64)>,
    Json(clips): Json<Csv>,
) -> Result<Json<Csv>, Failure> {
    let csv = with_store(app, move |store| {
        let harness = harness_of(store, SessionId(id))?;
        let csv = Clips::parse(&clips.csv, "The clips", &harness)
            .map_err(told)?
            .to_csv();
        let list = ClipList {
            capture: EntryId(capture),
            csv: csv.clone(),
        };
        store.set_clips(SessionId(id), &list)?;
        Ok(csv)
    });
    Ok(Json(Csv { csv: csv.await? }))
}

/// What the sheet says of the session's findings.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Places {
    pub findings: Vec<FindingPlaces>,
    pub moves: Vec<Move>,
}

/// Where each finding's lines are on the boards, and which clip to move.
pub async fn places(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Json<Places>, Failure> {
    let id = SessionId(id);
    let opened = app.opened_now_as(id, &shown).await?;
    let told = with_store(app, move |store| {
        let harness = harness_of(store, id)?;
        let clips = clips_of(store, id, &harness)?;
        Ok(Places {
            findings: places::of_findings(&harness, &clips, &opened.report),
            moves: places::moves(&harness, &clips, &opened.report),
        })
    });
    Ok(Json(told.await?))
}

/// All mistakes, one a line.
fn told(mistakes: Vec<crate::harness::Mistake>) -> Failure {
    let told: Vec<String> = mistakes.iter().map(ToString::to_string).collect();
    Failure::wrong(told.join("\n"))
}
