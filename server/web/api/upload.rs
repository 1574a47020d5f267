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
use tokio::sync::OwnedSemaphorePermit;
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

use crate::store::{
    Capture, Condition, Entry, EntryId, Session, SessionBody, SessionId, Store, Stored, in_the_bin,
    is_archive,
};
use crate::web::api::log::with_store;
use crate::web::error::{Failure, sentence};
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
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Named {
    /// The file's name; it is shown, never used as a path.
    name: String,
    /// Title of the session that is made of a first capture; the file's name without its ending when not given.
    #[serde(default)]
    title: String,
    /// Number of the condition that it goes under, and which is looked at then; the newest when not given.
    condition: Option<i64>,
}

/// Stores the body under its digest, whatever it holds that may be a capture, and adds it to the session; 200 instead of
/// 201 where the same file is there already. An upload that breaks off, or is refused, leaves nothing.
pub async fn capture(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Result<(StatusCode, Json<Entry<Capture>>), Failure> {
    let id = SessionId(id);
    let condition = named.condition.map(EntryId);
    if let Some(condition) = condition {
        with_store(app.clone(), move |store| is_in_use(store, id, condition)).await?;
    }
    let stored = receive(&app, Some(id), &named.name, &headers, body).await?;
    let brought = tokio::task::spawn_blocking(move || {
        let held: Vec<Entry<Capture>> = app.store.entries(id)?;
        let status = |entry: &Entry<Capture>| match held.iter().any(|held| held.id == entry.id) {
            true => StatusCode::OK,
            false => StatusCode::CREATED,
        };
        let Some(condition) = condition else {
            let entry = app.store.bring_capture(id, &stored)?;
            return Ok((status(&entry), entry));
        };
        let entry = app.store.add_capture(id, &stored, Some(condition))?;
        // Another condition than the newest is not looked at by itself.
        app.store.take_in_hand(id, Some(condition), None)?;
        Ok::<_, Failure>((status(&entry), entry))
    });
    let (status, entry) = brought.await??;
    Ok((status, Json(entry)))
}

/// # Errors
/// There is no such condition, or it is in the bin.
fn is_in_use(store: &Store, id: SessionId, condition: EntryId) -> Result<(), Failure> {
    let held: Entry<Condition> = store.entry(id, condition)?;
    match held.binned_ms {
        None => Ok(()),
        Some(_) => Err(Failure::new(
            StatusCode::CONFLICT,
            sentence(&format!("nothing was kept: {}", in_the_bin(&held.value.title))),
        )),
    }
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
    if stated_length(headers).is_some_and(|length| length > limit) {
        return Err(Failure::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            too_large(name, limit),
        ));
    }
    let _place = place(app)?;
    let (sender, receiver) = tokio::sync::mpsc::channel(PIECES_WAITING);
    let writer = {
        let (app, name) = (app.clone(), name.to_owned());
        tokio::task::spawn_blocking(move || write(&app, id, &name, receiver))
    };
    let mut pieces = body.into_data_stream();
    let mut flow = Flow::begun();
    while let Some(piece) = pieces.next().await {
        if flow.is_too_slow(piece.as_ref().map_or(0, |piece| piece.len())) {
            // Told as broken off, the writer keeps nothing.
            let _ = sender.send(None).await;
            drop(sender);
            let _ = writer.await?;
            return Err(too_slow(name));
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

/// The length that a request says of its body.
pub fn stated_length(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

/// A place among the uploads that may go on at once, held as long as what is given.
///
/// # Errors
/// All are taken.
pub fn place(app: &App) -> Result<OwnedSemaphorePermit, Failure> {
    app.uploads.clone().try_acquire_owned().map_err(|_| {
        Failure::new(
            StatusCode::SERVICE_UNAVAILABLE,
            "Too many files are coming in at once. Bring this one again when another is done.",
        )
    })
}

/// How fast an upload comes in.
pub struct Flow {
    begun: Instant,
    bytes: usize,
}

impl Flow {
    /// Nothing came yet.
    pub fn begun() -> Flow {
        Flow {
            begun: Instant::now(),
            bytes: 0,
        }
    }

    /// Counts what came, and says whether it is less than [`SLOWEST_BYTES_S`] by now.
    pub fn is_too_slow(&mut self, bytes: usize) -> bool {
        self.bytes += bytes;
        self.is_slow_after(self.begun.elapsed())
    }

    fn is_slow_after(&self, so_far: Duration) -> bool {
        so_far > FIRST_MINUTE && (self.bytes as f64) < SLOWEST_BYTES_S * so_far.as_secs_f64()
    }
}

/// What is said of an upload that is given up.
pub fn too_slow(name: &str) -> Failure {
    Failure::new(
        StatusCode::REQUEST_TIMEOUT,
        format!("{name} came in too slowly and was given up; nothing of it was kept. Bring it again."),
    )
}

/// `pieces` yields `None` when the connection broke.
fn write(
    app: &App,
    id: Option<SessionId>,
    name: &str,
    mut pieces: tokio::sync::mpsc::Receiver<Option<axum::body::Bytes>>,
) -> Result<Stored, Failure> {
    if let Some(id) = id
        && app.store.session(id)?.binned_ms.is_some()
    {
        return Err(Failure::new(
            StatusCode::CONFLICT,
            format!(
                "{name} was not taken: this session is in the bin. Restore it there, then bring the file again."
            ),
        ));
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
            if let Some((belongs, told)) = belongs_elsewhere(&head) {
                let mut failure = Failure::wrong(format!("{name} {told}"));
                failure.belongs = Some(belongs);
                return Err(failure);
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

/// What a file is that belongs on another page, by its first bytes, in a word for scripts and in words that stand behind its
/// name and say where.
fn belongs_elsewhere(head: &[u8]) -> Option<(&'static str, &'static str)> {
    /// Headings of a setup file's tables; no instrument writes them.
    const OF_A_SETUP: [&str; 9] = [
        "[line.",
        "[rail.",
        "[read]",
        "[[link]]",
        "[[limit]]",
        "[[logic]]",
        "[[sequence]]",
        "[[reading]]",
        "[read.",
    ];
    /// Columns that every harness sheet has.
    const OF_A_SHEET: [&str; 4] = ["board", "connector", "pin", "signal"];
    let text = String::from_utf8_lossy(head);
    let mut lines = text.lines().map(str::trim);
    if lines
        .clone()
        .any(|line| OF_A_SETUP.iter().any(|heading| line.starts_with(heading)))
    {
        return Some((
            "setup",
            "is a setup file, not a capture, and was not kept. It belongs on the bench log, under \"change title, job, setup\", \
             or behind --setup on the command line.",
        ));
    }
    let first = lines
        .find(|line| !line.is_empty())
        .unwrap_or_default()
        .to_lowercase();
    let cells: Vec<&str> = first
        .split([',', ';', '\t'])
        .map(|cell| cell.trim().trim_matches('"'))
        .collect();
    OF_A_SHEET.iter().all(|column| cells.contains(column)).then_some((
        "harness",
        "is a harness sheet, not a capture, and was not kept. It belongs on the page Harness sheet, \"or from a file\".",
    ))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setup_and_a_harness_sheet_are_told_from_a_table() {
        let told = |text: &str| belongs_elsewhere(text.as_bytes()).unwrap_or_default().1;
        assert!(told("# tower\n\n[[link]]\nfrom = \"A\"\n").starts_with("is a setup file"));
        assert!(told("[line.\"D1 - CLEAR_N\"]\nnarrow_below = \"9 ns\"\n").starts_with("is a setup file"));
        assert!(told("Board;Connector;Pin;Signal\ntower;J1;1;STEP\n").starts_with("is a harness sheet"));
        for capture in [
            "Time,pin,signal\n0,1,0\n",
            "$timescale 1 ns $end\n",
            "Time [ns],line.A\n0,1\n",
            "",
        ] {
            assert_eq!(told(capture), "");
        }
    }

    #[test]
    fn an_upload_is_slow_by_what_came_after_its_first_minute() {
        let flow = |bytes| Flow {
            bytes,
            ..Flow::begun()
        };
        let minutes = |n: u64| Duration::from_secs(60 * n);
        assert!(!flow(0).is_slow_after(minutes(1)));
        assert!(flow(60 * 1024).is_slow_after(minutes(2)));
        assert!(!flow(120 * 1024).is_slow_after(minutes(2)));
        assert!(!Flow::begun().is_too_slow(1));
    }
}
