//! Whole sessions as archives, and captures and answers in forms that other programs read.

use std::io::{BufWriter, Seek, SeekFrom};
use std::sync::Arc;

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::http::{HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use tokio_util::io::{ReaderStream, SyncIoBridge};

use crate::store::{Session, SessionId, Store};
use crate::web::error::{Failure, sentence};
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::export::{Form, choose, write};

/// The session with all its originals, in one file.
pub async fn archive(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Response, Failure> {
    let file = tokio::task::spawn_blocking(move || {
        // A whole file first: a broken disk must not end in half an archive that looks whole.
        let mut file = tempfile_in(app.store.dir())?;
        app.store.archive(SessionId(id), BufWriter::new(&mut file))?;
        file.seek(SeekFrom::Start(0)).map_err(Failure::ours)?;
        Ok::<_, Failure>(file)
    })
    .await??;
    Ok(download(
        file,
        &format!("session-{id}.edgewitness.tar.gz"),
        "application/gzip",
    ))
}

/// Makes a session of an archive.
pub async fn restore(
    State(app): State<Arc<App>>,
    body: Body,
) -> Result<(StatusCode, Json<Session>), Failure> {
    use tokio_stream::StreamExt;
    let stream = body
        .into_data_stream()
        .map(|part| part.map_err(std::io::Error::other));
    let reader = tokio_util::io::StreamReader::new(stream);
    let session = tokio::task::spawn_blocking(move || {
        let reader = SyncIoBridge::new(reader);
        app.store.restore_archive(reader, app.upload_limit_bytes)
    })
    .await??;
    Ok((StatusCode::CREATED, Json(session)))
}

/// `capture.vcd`, `changes.csv`, `strays.parquet`, …: the name says form and content.
pub async fn export(
    State(app): State<Arc<App>>,
    Path((id, name)): Path<(i64, String)>,
    Query(shown): Query<Shown>,
) -> Result<Response, Failure> {
    let (form, what) = choose(std::path::Path::new(&name), None).map_err(Failure::wrong)?;
    let opened = app.opened_now_as(SessionId(id), &shown).await?;
    let (file, called) = tokio::task::spawn_blocking(move || {
        let mut file = tempfile_in(app.store.dir())?;
        let out = BufWriter::new(&mut file);
        write(form, what, &opened.capture, Some(&opened.report), out)
            .map_err(|error| Failure::wrong(sentence(&error)))?;
        file.seek(SeekFrom::Start(0)).map_err(Failure::ours)?;
        let called = file_name(&app.store, &opened, &name)?;
        Ok::<_, Failure>((file, called))
    })
    .await??;
    let kind = match form {
        Form::Csv => "text/csv; charset=utf-8",
        Form::Json => "application/json",
        Form::Vcd | Form::Parquet => "application/octet-stream",
    };
    Ok(download(file, &called, kind))
}

/// `Tower-third-evening--as-found--strays.csv`: of which session and condition it is, the file says where it lies.
fn file_name(store: &Store, opened: &Opened, name: &str) -> Result<String, Failure> {
    /// Letters of the session's title, and of the condition's.
    const MOST: usize = 40;
    let plain = |words: &str| {
        let letters = words
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { ' ' });
        let letters: String = letters.collect();
        let words: Vec<&str> = letters.split_whitespace().collect();
        words.join("-").chars().take(MOST).collect::<String>()
    };
    let body = store.session(opened.id)?.body;
    let all = store.captures_by_condition(opened.id)?;
    let condition = all
        .iter()
        .find(|under| all.len() > 1 && under.condition == opened.condition);
    let of = [
        plain(&body.title),
        condition.map_or_else(String::new, |under| plain(&under.title)),
    ];
    let of: Vec<&str> = of
        .iter()
        .map(String::as_str)
        .filter(|part| !part.is_empty())
        .collect();
    Ok(of.into_iter().chain([name]).collect::<Vec<_>>().join("--"))
}

/// A file without a name: it is gone with its last user.
fn tempfile_in(dir: &std::path::Path) -> Result<std::fs::File, Failure> {
    let path = dir
        .join("staging")
        .join(format!("out-{}-{}", std::process::id(), next()));
    let file = std::fs::File::options()
        .create_new(true)
        .read(true)
        .write(true)
        .open(&path);
    let file = file.map_err(Failure::ours)?;
    // Where an open file can't be removed, the next start clears it.
    let _ = std::fs::remove_file(&path);
    Ok(file)
}

fn next() -> u64 {
    use std::sync::atomic::{AtomicU64, Ordering};
    static NEXT: AtomicU64 = AtomicU64::new(0);
    NEXT.fetch_add(1, Ordering::Relaxed)
}

fn download(file: std::fs::File, name: &str, kind: &'static str) -> Response {
    let body = Body::from_stream(ReaderStream::with_capacity(
        tokio::fs::File::from_std(file),
        256 * 1024,
    ));
    // Names here hold letters, digits, dots and dashes; anything else becomes a dash.
    let plain: String = name
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '.' {
                c
            } else {
                '-'
            }
        })
        .collect();
    let disposition = HeaderValue::from_str(&format!("attachment; filename=\"{plain}\""))
        .unwrap_or(HeaderValue::from_static("attachment"));
    (
        [
            (CONTENT_TYPE, HeaderValue::from_static(kind)),
            (CONTENT_DISPOSITION, disposition),
        ],
        body,
    )
        .into_response()
}
