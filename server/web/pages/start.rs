//! The start page: what to do, and the sessions there are.

use std::sync::Arc;

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::Places;
use crate::store::SessionRow;
use crate::web::error::{Failure, PageFailure};
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
    /// How many captures there are, and what was found.
    says: String,
    /// Why they could not be read.
    trouble: String,
}

/// The bare address leads to the demo where that was asked for; `/?sessions` always lists the sessions.
pub async fn page(State(app): State<Arc<App>>, RawQuery(query): RawQuery) -> Result<Response, PageFailure> {
    if let (Some(home), None) = (app.home, query) {
        return Ok(Redirect::temporary(&format!("/sessions/{home}")).into_response());
    }
    let rows = tokio::task::spawn_blocking(move || {
        let rows = app.store.sessions(false)?;
        let mut troubles = app.troubles()?;
        let told = |row: SessionRow| {
            let is_outdated = row.is_changed_since && app.is_outdated(row.session.id)?;
            Ok((troubles.remove(&row.session.id), is_outdated, row))
        };
        rows.into_iter().map(told).collect::<Result<Vec<_>, Failure>>()
    });
    let rows = rows.await??;
    let page = StartPage {
        places: Places::none(),
        has_demo: rows.iter().any(|(_, _, row)| is_demo(&row.session.body.title)),
        sessions: rows
            .into_iter()
            .map(|(trouble, is_outdated, told)| row(trouble, is_outdated, told))
            .collect(),
    };
    Ok(Html(page.render()?).into_response())
}

fn row(trouble: Option<String>, is_outdated: bool, row: SessionRow) -> Row {
    let captures = match row.captures {
        0 => "no capture yet".to_owned(),
        1 => "1 capture".to_owned(),
        n => format!("{n} captures"),
    };
    let says = match (&trouble, row.headline) {
        (Some(_), _) => format!("{captures} · could not be read"),
        (None, Some(_)) if is_outdated => format!("{captures} · changed since it was looked at"),
        (None, Some(headline)) => format!("{captures} · {headline}"),
        (None, None) if row.captures > 0 => format!("{captures}, read when opened"),
        (None, None) => captures,
    };
    Row {
        path: format!("/sessions/{}", row.session.id.0),
        title: row.session.body.title,
        says,
        trouble: trouble.unwrap_or_default(),
    }
}
