//! The start page: what to do, and the sessions there are.

use std::sync::Arc;

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::Places;
use crate::store::SessionRow;
use crate::web::error::PageFailure;
use crate::web::state::App;
use crate::workflow::demo_session::is_demo;

#[derive(Template)]
#[template(path = "pages/start.html")]
struct StartPage {
    places: Places,
    sessions: Vec<Row>,
    /// The demo is among the sessions.
    has_demo: bool,
}

struct Row {
    path: String,
    title: String,
    /// What was found, or how many captures there are.
    says: String,
}

/// The bare address leads to the demo where that was asked for; `/?sessions` always lists the sessions.
pub async fn page(State(app): State<Arc<App>>, RawQuery(query): RawQuery) -> Result<Response, PageFailure> {
    if let (Some(home), None) = (app.home, query) {
        return Ok(Redirect::temporary(&format!("/sessions/{home}")).into_response());
    }
    let rows = tokio::task::spawn_blocking(move || app.store.sessions(false)).await??;
    let page = StartPage {
        places: Places::none(),
        has_demo: rows.iter().any(|row| is_demo(&row.session.body.title)),
        sessions: rows.into_iter().map(row).collect(),
    };
    Ok(Html(page.render()?).into_response())
}

fn row(row: SessionRow) -> Row {
    let captures = match row.captures {
        1 => "1 capture".to_owned(),
        n => format!("{n} captures"),
    };
    Row {
        path: format!("/sessions/{}", row.session.id.0),
        title: row.session.body.title,
        says: match row.headline {
            Some(headline) => format!("{captures} · {headline}"),
            None => captures,
        },
    }
}
