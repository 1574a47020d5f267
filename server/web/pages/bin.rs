//! The bin: sessions that were put away.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Html;

use super::Places;
use crate::report::text::moment;
use crate::web::api::log::with_store;
use crate::web::error::PageFailure;
use crate::web::state::App;

#[derive(Template)]
#[template(path = "pages/bin.html")]
struct BinPage {
    places: Places,
    sessions: Vec<BinnedSession>,
}

struct BinnedSession {
    id: i64,
    title: String,
    at: String,
}

/// Sessions in the bin.
pub async fn page(State(app): State<Arc<App>>) -> Result<Html<String>, PageFailure> {
    let rows = with_store(app, |store| Ok(store.sessions(true)?)).await?;
    let sessions = rows.into_iter().map(|row| BinnedSession {
        id: row.session.id.0,
        title: row.session.body.title,
        at: row.session.binned_ms.map(moment).unwrap_or_default(),
    });
    let page = BinPage {
        places: Places::none(),
        sessions: sessions.collect(),
    };
    Ok(Html(page.render()?))
}
