//! How a capture is read: what a first look took it for, and what a person said instead.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;

use super::log::with_store;
use crate::ingest::{Preview, ReadOptions, preview, preview_unread};
use crate::setup::Setup;
use crate::store::{Capture, Entry, EntryId, ReadingSheet, SessionId, Store};
use crate::web::error::{Failure, sentence};
use crate::web::state::App;
use crate::workflow::read::read_options;
use crate::workflow::reading::sheet_text;
use crate::workflow::session::with_sheet;

/// What the capture is taken for, with `fields` said over the session's setup.
///
/// # Errors
/// No such capture, a field is wrong, or the file can't be read so: the sentence says why.
pub fn look(
    store: &Store,
    id: SessionId,
    entry: &Entry<Capture>,
    fields: &BTreeMap<String, String>,
) -> Result<Preview, Failure> {
    let options = options_of(store, id, fields)?;
    let path = store.original_path(&entry.value.digest)?;
    preview(&path, &options).map_err(|mut error| {
        error.file.clone_from(&entry.value.file);
        wrong(error)
    })
}

/// The first rows of a table that can't be read with `fields` either, without any meaning; `None` for what is no table.
pub fn look_unread(
    store: &Store,
    id: SessionId,
    entry: &Entry<Capture>,
    fields: &BTreeMap<String, String>,
) -> Option<Preview> {
    let said = options_of(store, id, fields).or_else(|_| options_of(store, id, &BTreeMap::new()));
    let path = store.original_path(&entry.value.digest).ok()?;
    preview_unread(&path, &said.unwrap_or_default())
}

fn wrong(text: impl ToString) -> Failure {
    Failure::wrong(sentence(&text.to_string()))
}

/// The session's setup with `fields` said over it.
fn options_of(
    store: &Store,
    id: SessionId,
    fields: &BTreeMap<String, String>,
) -> Result<ReadOptions, Failure> {
    let text = store.session(id)?.body.setup;
    let setup = Setup::parse(&text, "the session's setup").map_err(wrong)?;
    let sheet = sheet_text(fields).map_err(wrong)?;
    let setup = with_sheet(&setup, &sheet).map_err(wrong)?;
    Ok(read_options(&setup))
}

/// What was said of a capture's reading; empty when nothing was.
pub fn said(store: &Store, id: SessionId, capture: EntryId) -> Result<BTreeMap<String, String>, Failure> {
    let sheets: Vec<Entry<ReadingSheet>> = store.entries(id)?;
    let sheet = sheets.into_iter().find(|sheet| sheet.value.capture == capture);
    Ok(sheet.map(|sheet| sheet.value.fields).unwrap_or_default())
}

/// How a stored file would be read with the fields as given, without keeping them.
pub async fn get(
    State(app): State<Arc<App>>,
    Path((id, capture)): Path<(i64, i64)>,
    Query(fields): Query<BTreeMap<String, String>>,
) -> Result<Json<Preview>, Failure> {
    let found = with_store(app, move |store| {
        let (id, capture) = (SessionId(id), EntryId(capture));
        let entry: Entry<Capture> = store.entry(id, capture)?;
        let fields = if fields.is_empty() {
            said(store, id, capture)?
        } else {
            fields
        };
        look(store, id, &entry, &fields)
    });
    Ok(Json(found.await?))
}

/// Keeps the sheet, once the file can be read so.
pub async fn set(
    State(app): State<Arc<App>>,
    Path((id, capture)): Path<(i64, i64)>,
    Json(fields): Json<BTreeMap<String, String>>,
) -> Result<StatusCode, Failure> {
    with_store(app, move |store| {
        let (id, capture) = (SessionId(id), EntryId(capture));
        let entry: Entry<Capture> = store.entry(id, capture)?;
        let fields: BTreeMap<String, String> = fields
            .into_iter()
            .filter(|(_, value)| !value.trim().is_empty())
            .collect();
        look(store, id, &entry, &fields)?;
        Ok(store.set_reading(id, &ReadingSheet { capture, fields })?)
    })
    .await?;
    Ok(StatusCode::NO_CONTENT)
}
