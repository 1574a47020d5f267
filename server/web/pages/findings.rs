//! Findings: the sheet to read beside the timing diagram.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;

use super::Places;
use crate::store::SessionId;
use crate::web::error::PageFailure;
use crate::web::state::App;
use crate::web::view::{Sheet, sheet};

#[derive(Template)]
#[template(path = "pages/findings.html")]
struct FindingsPage {
    places: Places,
    id: i64,
    title: String,
    /// Null when the session has no capture yet.
    sheet: Option<Sheet>,
}

pub async fn page(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Html<String>, PageFailure> {
    let id = SessionId(id);
    let html = tokio::task::spawn_blocking(move || -> Result<String, PageFailure> {
        let (title, sheet) = match app.in_memory(id) {
            Some(opened) => (opened.title.clone(), Some(sheet(&opened))),
            None => (app.store.session(id)?.body.title, None),
        };
        let page = FindingsPage {
            places: Places::of(id, "Findings"),
            id: id.0,
            title,
            sheet,
        };
        Ok(page.render()?)
    })
    .await??;
    Ok(Html(html))
}
