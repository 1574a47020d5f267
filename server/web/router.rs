//! Every URL in one list.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::Request;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, NotForContentType, Predicate};
use tower_http::timeout::RequestBodyTimeoutLayer;

use super::error::{Failure, PageFailure};
use super::guard::stand_guard;
use super::refused::told_in_words;
use super::state::App;
use super::{api, assets, pages};

/// A client that sends nothing for this long in the middle of a request is cut off.
const SLOWEST_PIECE: Duration = Duration::from_secs(60);

/// The pages and the interface for programs.
pub fn router(app: Arc<App>) -> Router {
    let guard = app.guard.clone();
    // Columns of numbers go out as they are: packing them costs more than loopback does.
    let worth_packing = DefaultPredicate::new()
        .and(NotForContentType::const_new("application/octet-stream"))
        .and(NotForContentType::SSE);
    Router::new()
        .route("/", get(pages::start::page))
        .route("/how-it-decides", get(pages::guide::how_it_decides))
        .route("/setup-file", get(pages::guide::setup_file))
        .route("/sessions/{id}", get(pages::findings::page))
        .route(
            "/sessions/{id}/findings/{finding}/figure.svg",
            get(pages::figures::finding_figure),
        )
        .route("/sessions/{id}/figure.svg", get(pages::figures::view_figure))
        .route("/static/{*name}", get(assets::asset))
        .route(
            "/api/sessions",
            get(api::sessions::list).post(api::sessions::create),
        )
        .route("/api/demo", post(api::sessions::demo))
        .route("/api/captures", post(api::upload::first))
        .route("/api/sessions/{id}/captures", post(api::upload::capture))
        .route("/api/sessions/{id}/work", get(api::upload::work))
        .route("/api/sessions/{id}/diagram", get(api::diagram::overview))
        .route("/api/sessions/{id}/window", get(api::windows::window))
        .route("/api/sessions/{id}/density", get(api::windows::density))
        .route("/api/sessions/{id}/report", get(api::sessions::report))
        .route(
            "/api/sessions/{id}/findings/{finding}/occurrences",
            get(api::diagram::finding_occurrences),
        )
        .route(
            "/api/sessions/{id}/findings/{finding}/overlay",
            get(api::evidence::finding_overlay),
        )
        .route("/api/sessions/{id}/evidence", get(api::evidence::evidence))
        .route("/api/sessions/{id}/find", get(api::seek::find))
        .route("/api/sessions/{id}/stretch", get(api::seek::stretch))
        .route(
            "/api/sessions/{id}/view",
            get(api::evidence::view).put(api::evidence::set_view),
        )
        .merge(super::log_router::routes())
        .fallback(nothing_here)
        .layer(RequestBodyTimeoutLayer::new(SLOWEST_PIECE))
        .layer(from_fn(told_in_words))
        .layer(CompressionLayer::new().compress_when(worth_packing))
        .layer(from_fn_with_state(guard, stand_guard))
        .with_state(app)
}

async fn nothing_here(request: Request) -> Response {
    let failure = Failure::missing("such page");
    if request.uri().path().starts_with("/api/") {
        failure.into_response()
    } else {
        PageFailure::from(failure).into_response()
    }
}
