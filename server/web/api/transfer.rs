//! Whole sessions as archives, and captures and answers in forms that other programs read.

use std::io::{BufWriter, Seek, SeekFrom};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use tokio_util::io::{ReaderStream, SyncIoBridge};

use super::upload::{Flow, place, stated_length, too_slow};
use crate::export::Table;
use crate::store::{ArchiveLimits, Session, SessionId, Store};
use crate::web::error::{Failure, sentence};
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::export::{Form, What, choose, holds_runs, on_two_clocks, table, write, write_table};

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

/// Originals of the largest size that one archive may hold; most are far smaller, and far more of these fit.
const LARGEST_IN_ARCHIVE: u64 = 64;

/// Makes a session of an archive. It takes a place among the uploads, and must come in as fast as they.
pub async fn restore(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    body: Body,
) -> Result<(StatusCode, Json<Session>), Failure> {
    use tokio_stream::StreamExt;
    let limits = ArchiveLimits {
        one_bytes: app.upload_limit_bytes,
        all_bytes: app.upload_limit_bytes.saturating_mul(LARGEST_IN_ARCHIVE),
    };
    if stated_length(&headers).is_some_and(|length| length > limits.all_bytes) {
        return Err(Failure::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!(
                "The archive is larger than {} bytes, the limit for one. Start the server with a larger --upload-limit.",
                limits.all_bytes
            ),
        ));
    }
    let _place = place(&app)?;
    let is_slow = Arc::new(AtomicBool::new(false));
    let (mut flow, told) = (Flow::begun(), is_slow.clone());
    let stream = body.into_data_stream().map(move |part| {
        if flow.is_too_slow(part.as_ref().map_or(0, |part| part.len())) {
            told.store(true, Ordering::Relaxed);
            return Err(std::io::ErrorKind::TimedOut.into());
        }
        part.map_err(std::io::Error::other)
    });
    let reader = tokio_util::io::StreamReader::new(stream);
    let restored = tokio::task::spawn_blocking(move || {
        let reader = SyncIoBridge::new(reader);
        app.store.restore_archive(reader, limits)
    })
    .await?;
    if is_slow.load(Ordering::Relaxed) {
        return Err(too_slow("The archive"));
    }
    Ok((StatusCode::CREATED, Json(restored?)))
}

/// `capture.vcd`, `changes.csv`, `strays.parquet`, …: the name says form and content. A table holds all runs of the
/// condition, told apart by its columns `run` and `run_captures`, unless the address names one of them; lines as VCD or as
/// changes are of one run, the newest where none is named, and the file's name says which.
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
        let wrong = |error: std::io::Error| Failure::wrong(sentence(&error));
        if holds_runs(form, what) {
            write_table(form, &of_runs(&app, &opened, what)?, out).map_err(wrong)?;
        } else {
            lines_of_one_clock(&opened, what)?;
            write(form, what, &opened.capture, Some(&opened.report), out).map_err(wrong)?;
        }
        file.seek(SeekFrom::Start(0)).map_err(Failure::ours)?;
        let is_one = opened.run.is_some() || !holds_runs(form, what);
        let called = file_name(&app.store, &opened, is_one, &name)?;
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

/// # Errors
/// Lines are to go out, and stand on clocks that nothing joins.
fn lines_of_one_clock(opened: &Opened, what: What) -> Result<(), Failure> {
    match on_two_clocks(&opened.report).filter(|_| !what.needs_report()) {
        Some(trouble) => Err(Failure::wrong(format!("{trouble}. {}", join_first()))),
        None => Ok(()),
    }
}

/// What to do where lines stand on clocks that nothing joins.
pub fn join_first() -> &'static str {
    "On the page Clocks name an irregular line that both recorded, or say that they ran on one clock; or make each a run of its \
     own there, and take the lines of one run."
}

/// The table of the run that was asked for, or of all runs of its condition, the newest last.
///
/// # Errors
/// A run can't be read, or the disk's own.
fn of_runs(app: &App, opened: &Opened, what: What) -> Result<Table, Failure> {
    let of_one = |opened: &Opened| {
        lines_of_one_clock(opened, what)?;
        let table = table(what, &opened.capture, Some(&opened.report));
        table.map_err(|error| Failure::wrong(sentence(&error)))
    };
    let files = |opened: &Opened| {
        let of_run = opened.clocks.iter().filter(|placed| placed.is_shown);
        let files = of_run.filter_map(|placed| opened.captures.get(placed.member.position));
        let files: Vec<&str> = files.map(|entry| entry.value.file.as_str()).collect();
        files.join(" with ")
    };
    let mut all: Option<Table> = None;
    for (at, run) in opened.runs.iter().enumerate() {
        let own = match (run.is_shown, opened.run) {
            (true, _) => of_one(opened)?,
            (false, Some(_)) => continue,
            (false, None) => of_one(&*app.look_once(opened, run)?)?,
        };
        let own = own.of_run(at + 1, &run.files);
        match &mut all {
            Some(all) => all.append(own),
            None => all = Some(own),
        }
    }
    match all {
        Some(all) => Ok(all),
        None => Ok(of_one(opened)?.of_run(1, &files(opened))),
    }
}

/// `Tower-third-evening--as-found--strays.csv`: of which session and condition it is, the file says where it lies; and of
/// which run, where `is_one` and there are several: `--run-2-of-3`.
fn file_name(store: &Store, opened: &Opened, is_one: bool, name: &str) -> Result<String, Failure> {
    /// Letters of the session's title, and of the condition's.
    const MOST: usize = 40;
    let plain = |words: &str| {
        let letters = words
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() { c } else { ' ' });
        let letters: String = letters.collect();
        let mut whole = String::new();
        for word in letters.split_whitespace() {
            let fits = whole.len() + 1 + word.len() <= MOST;
            match whole.is_empty() {
                true => whole = word.chars().take(MOST).collect(),
                false if fits => whole = format!("{whole}-{word}"),
                false => break,
            }
        }
        whole
    };
    let body = store.session(opened.id)?.body;
    let all = store.captures_by_condition(opened.id)?;
    let condition = all
        .iter()
        .find(|under| all.len() > 1 && under.condition == opened.condition);
    let shown = opened.runs.iter().position(|run| run.is_shown);
    let of = [
        plain(&body.title),
        condition.map_or_else(String::new, |under| plain(&under.title)),
        match shown.filter(|_| is_one) {
            Some(at) => format!("run-{}-of-{}", at + 1, opened.runs.len()),
            None => String::new(),
        },
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
    use std::sync::atomic::AtomicU64;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Store;

    #[tokio::test]
    async fn an_archive_takes_a_place_among_the_uploads_and_has_a_largest_size() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let mut app = App::new(store, "127.0.0.1:7117".parse().unwrap(), &[]);
        app.upload_limit_bytes = 10;
        let app = Arc::new(app);
        let ask = async |headers: HeaderMap| {
            let refused = restore(State(app.clone()), headers, Body::from("no archive")).await;
            refused.unwrap_err().status
        };
        assert_eq!(ask(HeaderMap::new()).await, StatusCode::BAD_REQUEST);
        let mut large = HeaderMap::new();
        large.insert(
            axum::http::header::CONTENT_LENGTH,
            HeaderValue::from_static("641"),
        );
        assert_eq!(ask(large).await, StatusCode::PAYLOAD_TOO_LARGE);
        let mut held = Vec::new();
        while let Ok(one) = place(&app) {
            held.push(one);
        }
        assert_eq!(ask(HeaderMap::new()).await, StatusCode::SERVICE_UNAVAILABLE);
        held.clear();
        assert_eq!(ask(HeaderMap::new()).await, StatusCode::BAD_REQUEST);
    }
}
