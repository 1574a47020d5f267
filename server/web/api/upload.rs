//! Captures that are brought, and word of how the reading goes.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use serde::{Deserialize, Serialize};
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

use crate::store::{Capture, Entry, Session, SessionBody, SessionId, Stored, is_archive};
use crate::web::error::Failure;
use crate::web::state::App;
use crate::web::work::Stage;

/// Bytes at the start of an upload that tell an archive from a capture.
const HEAD_BYTES: usize = 4096;
/// Pieces of an upload that wait to be written, at most.
const PIECES_WAITING: usize = 16;
/// An upload that brings less than this on average, after its first minute, gives its place to another: a file on a stick or
/// a slow network comes a thousand times faster.
const SLOWEST_BYTES_S: f64 = 1024.0;
const FIRST_MINUTE: Duration = Duration::from_secs(60);

/// What an upload is called, and the session that is made for it.
#[derive(Deserialize)]
pub struct Named {
    /// The file's name; it is shown, never used as a path.
    name: String,
    /// Title of the session that is made of a first capture; the file's name without its ending when not given.
    #[serde(default)]
    title: String,
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
    let stored = receive(&app, Some(id), &named.name, &headers, body).await?;
    let entry = tokio::task::spawn_blocking(move || app.store.bring_capture(id, &stored)).await??;
    Ok((StatusCode::CREATED, Json(entry)))
}

/// A session that was made of its first capture.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Begun {
    pub session: Session,
    pub capture: Entry<Capture>,
}

/// As [`capture`], into a session that is made for it once all bytes are there: one that breaks off leaves no session.
pub async fn first(
    State(app): State<Arc<App>>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Result<(StatusCode, Json<Begun>), Failure> {
    let stored = receive(&app, None, &named.name, &headers, body).await?;
    let stem = || named.name.split('.').next().unwrap_or_default().trim();
    let title = match (named.title.trim(), stem()) {
        ("", "") => "A capture",
        ("", stem) => stem,
        (title, _) => title,
    };
    let body = SessionBody {
        title: title.to_owned(),
        ..SessionBody::default()
    };
    let begun = tokio::task::spawn_blocking(move || {
        if let Some(known) = unreadable_already(&app, &stored)? {
            return Ok(known);
        }
        let session = app.store.create_session(&body)?;
        let capture = app.store.bring_capture(session.id, &stored)?;
        Ok::<_, Failure>(Begun { session, capture })
    });
    Ok((StatusCode::CREATED, Json(begun.await??)))
}

/// The session that was made of the very same file earlier and holds nothing else, if that could not be read: another of
/// it would say no more.
fn unreadable_already(app: &App, stored: &Stored) -> Result<Option<Begun>, Failure> {
    for id in app.troubles()?.into_keys() {
        let session = app.store.session(id)?;
        let mut captures: Vec<Entry<Capture>> = app.store.entries(id)?;
        if let (Some(capture), true, None) = (captures.pop(), captures.is_empty(), session.binned_ms)
            && capture.value.digest == stored.digest
        {
            return Ok(Some(Begun { session, capture }));
        }
    }
    Ok(None)
}

/// Stores an upload's bytes. `id`: the session it is for, which must be there.
async fn receive(
    app: &Arc<App>,
    id: Option<SessionId>,
    name: &str,
    headers: &HeaderMap,
    body: Body,
) -> Result<Stored, Failure> {
    let limit = app.upload_limit_bytes;
    let length = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|length| length > limit) {
        return Err(Failure::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            too_large(name, limit),
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
        let (app, name) = (app.clone(), name.to_owned());
        tokio::task::spawn_blocking(move || write(&app, id, &name, receiver))
    };
    let mut pieces = body.into_data_stream();
    let (begun, mut bytes) = (Instant::now(), 0usize);
    while let Some(piece) = pieces.next().await {
        bytes += piece.as_ref().map_or(0, |piece| piece.len());
        let so_far = begun.elapsed();
        if so_far > FIRST_MINUTE && (bytes as f64) < SLOWEST_BYTES_S * so_far.as_secs_f64() {
            // Told as broken off, the writer keeps nothing.
            let _ = sender.send(None).await;
            drop(sender);
            let _ = writer.await?;
            return Err(Failure::new(
                StatusCode::REQUEST_TIMEOUT,
                format!(
                    "{name} came in too slowly and was given up; nothing of it was kept. Bring it again."
                ),
            ));
        }
        let is_broken = piece.is_err();
        // The writer has gone when it met the limit or a full disk; it tells why below.
        if sender.send(piece.ok()).await.is_err() || is_broken {
            break;
        }
    }
    drop(sender);
    writer.await?
}

/// `pieces` yields `None` when the connection broke.
fn write(
    app: &App,
    id: Option<SessionId>,
    name: &str,
    mut pieces: tokio::sync::mpsc::Receiver<Option<axum::body::Bytes>>,
) -> Result<Stored, Failure> {
    if let Some(id) = id {
        app.store.session(id)?;
    }
    let mut head = Vec::new();
    let mut upload = app.store.begin_upload(name, app.upload_limit_bytes)?;
    while let Some(piece) = pieces.blocking_recv() {
        let broke = || {
            Failure::wrong(format!(
                "The upload of {name} broke off; nothing of it was kept. Bring it again."
            ))
        };
        let piece = piece.ok_or_else(broke)?;
        if head.len() < HEAD_BYTES {
            head.extend_from_slice(&piece[..piece.len().min(HEAD_BYTES - head.len())]);
            if is_archive(&head) {
                return Err(Failure::wrong(format!(
                    "{name} is the archive of a whole session, not a capture. Drop it on the start page, or open it \
                     beside the bin: it becomes a session of its own."
                )));
            }
        }
        upload.add(&piece).map_err(|error| match error {
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
