//! Captures that are brought, and word of how the reading goes.

use std::convert::Infallible;
use std::sync::Arc;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use serde::Deserialize;
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

use crate::store::{Capture, Entry, SessionId, Stored};
use crate::web::error::Failure;
use crate::web::state::App;
use crate::web::work::Stage;

/// Pieces of an upload that wait to be written, at most.
const PIECES_WAITING: usize = 16;

#[derive(Deserialize)]
pub struct Named {
    /// The file's name; it is shown, never used as a path.
    name: String,
}

/// Stores the body, whatever it holds, under its digest, and adds it to the session. An upload that breaks off
/// leaves nothing.
pub async fn capture(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Result<(StatusCode, Json<Entry<Capture>>), Failure> {
    let id = SessionId(id);
    let limit = app.upload_limit_bytes;
    let length = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|length| length > limit) {
        return Err(Failure::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            too_large(&named.name, limit),
        ));
    }
    let Ok(_place) = app.uploads.clone().try_acquire_owned() else {
        return Err(Failure::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "Too many files are coming in at once. Bring this one again when another is done.",
        ));
    };
    let (sender, receiver) = tokio::sync::mpsc::channel(PIECES_WAITING);
    let writer = {
        let (app, name) = (app.clone(), named.name.clone());
        tokio::task::spawn_blocking(move || write(&app, id, &name, receiver))
    };
    let mut pieces = body.into_data_stream();
    while let Some(piece) = pieces.next().await {
        let is_broken = piece.is_err();
        // The writer has gone when it met the limit or a full disk; it tells why below.
        if sender.send(piece.ok()).await.is_err() || is_broken {
            break;
        }
    }
    drop(sender);
    let stored = writer.await??;
    let entry = tokio::task::spawn_blocking(move || app.store.bring_capture(id, &stored)).await??;
    Ok((StatusCode::CREATED, Json(entry)))
}

/// `pieces` yields `None` when the connection broke.
fn write(
    app: &App,
    id: SessionId,
    name: &str,
    mut pieces: tokio::sync::mpsc::Receiver<Option<axum::body::Bytes>>,
) -> Result<Stored, Failure> {
    app.store.session(id)?;
    let mut upload = app.store.begin_upload(name, app.upload_limit_bytes)?;
    while let Some(piece) = pieces.blocking_recv() {
        let broke = || {
            Failure::wrong(format!(
                "The upload of {name} broke off; nothing of it was kept. Bring it again."
            ))
        };
        upload
            .add(&piece.ok_or_else(broke)?)
            .map_err(|error| match error {
                crate::store::Error::TooLarge { .. } => Failure::new(
                    StatusCode::PAYLOAD_TOO_LARGE,
                    too_large(name, app.upload_limit_bytes),
                ),
                other => Failure::from(other),
            })?;
    }
    Ok(upload.commit()?)
}

fn too_large(name: &str, limit: u64) -> String {
    format!(
        "{name} is larger than {:.1} MiB, the limit for one file. Export a shorter stretch, or start with a larger --upload-limit.",
        limit as f64 / f64::from(1 << 20)
    )
}

/// Reading and analysis as server-sent events: `step` (a [`crate::web::work::Step`]), then `ready` or `failed`.
pub async fn work(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let mut is_over = false;
    let stages = WatchStream::new(app.start_work(SessionId(id))).take_while(move |stage| {
        let goes_on = !is_over;
        is_over = !matches!(stage, Stage::Step(_));
        goes_on
    });
    let events = stages.map(|stage| {
        let (name, data) = match stage {
            Stage::Step(step) => ("step", serde_json::json!(step)),
            Stage::Ready => ("ready", serde_json::json!({})),
            Stage::Failed(error) => ("failed", serde_json::json!({ "error": error })),
        };
        Ok(Event::default().event(name).data(data.to_string()))
    });
    Sse::new(events).keep_alive(KeepAlive::default())
}
