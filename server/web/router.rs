//! Every URL in one list.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request};
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post, put};
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, NotForContentType, Predicate};
use tower_http::timeout::RequestBodyTimeoutLayer;

use super::error::{Failure, PageFailure};
use super::guard::stand_guard;
use super::refused::told_in_words;
use super::state::App;
use super::{api, assets, pages};
use crate::store::Photograph;

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
        .merge(page_routes())
        .merge(api_routes())
        .route("/static/{*name}", get(assets::asset))
        .fallback(nothing_here)
        .layer(RequestBodyTimeoutLayer::new(SLOWEST_PIECE))
        .layer(from_fn(told_in_words))
        .layer(CompressionLayer::new().compress_when(worth_packing))
        .layer(from_fn_with_state(guard, stand_guard))
        .with_state(app)
}

/// What a browser opens.
fn page_routes() -> Router<Arc<App>> {
    Router::new()
        .route("/", get(pages::start::page))
        .route("/bin", get(pages::bin::page))
        .route("/how-it-decides", get(pages::guide::how_it_decides))
        .route("/setup-file", get(pages::guide::setup_file))
        .route("/sessions/{id}", get(pages::findings::page))
        .route(
            "/sessions/{id}/findings/{finding}/figure.svg",
            get(pages::figures::finding_figure),
        )
        .route("/sessions/{id}/figure.svg", get(pages::figures::view_figure))
        .route("/sessions/{id}/captures/{capture}", get(pages::capture::page))
        .route("/sessions/{id}/clocks", get(pages::clocks::page))
        .route("/sessions/{id}/links", get(pages::links::page))
        .route("/sessions/{id}/before-and-after", get(pages::before_after::page))
        .route("/sessions/{id}/rules", get(pages::rules::page))
        .route("/sessions/{id}/harness", get(pages::harness::page))
        .route("/sessions/{id}/log", get(pages::bench_log::page))
        .route("/sessions/{id}/report.html", get(pages::report::page))
}

/// What scripts and the pages' own script ask: described in `api::openapi`.
fn api_routes() -> Router<Arc<App>> {
    let photographs = DefaultBodyLimit::max(Photograph::LIMIT_BYTES as usize + 1);
    Router::new()
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
        .route(
            "/api/sessions/{id}/captures/{capture}/reading",
            get(api::reading::get).put(api::reading::set),
        )
        .route(
            "/api/sessions/{id}/links",
            post(api::links::declare).delete(api::links::take_back),
        )
        .route("/api/sessions/{id}/links/pulses", get(api::links::pulses))
        .route("/api/sessions/{id}/compare", get(api::compare::compare))
        .route("/api/sessions/{id}/runs", get(api::compare::runs))
        .route(
            "/api/sessions/{id}/rules",
            post(api::rules::add).delete(api::rules::take_out),
        )
        .route("/api/openapi.json", get(api::openapi::openapi))
        .route("/api/bin", get(api::log::bin))
        .route("/api/archives", post(api::transfer::restore))
        .route(
            "/api/sessions/{id}",
            get(api::log::session)
                .put(api::log::edit_session)
                .delete(api::log::bin_session),
        )
        .route("/api/sessions/{id}/marks", post(api::marks::judge))
        .route("/api/sessions/{id}/present", get(api::log::present))
        .route("/api/sessions/{id}/restore", post(api::log::restore_session))
        .route("/api/sessions/{id}/entries/{kind}", post(api::log::add))
        .route(
            "/api/sessions/{id}/entries/{kind}/{entry}",
            put(api::log::edit).delete(api::log::bin_entry),
        )
        .route(
            "/api/sessions/{id}/entries/{kind}/{entry}/restore",
            post(api::log::restore_entry),
        )
        .route(
            "/api/sessions/{id}/condition-in-hand",
            put(api::clocks::take_in_hand),
        )
        .route("/api/sessions/{id}/clocks", put(api::clocks::set_clock))
        .route("/api/sessions/{id}/skews", put(api::clocks::set_skews))
        .route("/api/sessions/{id}/checklist", post(api::log::checklist))
        .route(
            "/api/sessions/{id}/finding-state",
            put(api::log::set_finding_state),
        )
        .route(
            "/api/sessions/{id}/photographs",
            post(api::log::add_photograph).layer(photographs),
        )
        .route(
            "/api/sessions/{id}/photographs/{entry}",
            get(api::log::photograph),
        )
        .route("/api/sessions/{id}/undo", post(api::log::undo))
        .route("/api/sessions/{id}/redo", post(api::log::redo))
        .route(
            "/api/sessions/{id}/harness",
            get(api::harness::sheet).put(api::harness::set_sheet),
        )
        .route(
            "/api/sessions/{id}/captures/{capture}/clips",
            put(api::harness::set_clips),
        )
        .route("/api/sessions/{id}/places", get(api::harness::places))
        .route("/api/sessions/{id}/archive", get(api::transfer::archive))
        .route("/api/sessions/{id}/export/{name}", get(api::transfer::export))
}

async fn nothing_here(request: Request) -> Response {
    let failure = Failure::missing("such page");
    if request.uri().path().starts_with("/api/") {
        failure.into_response()
    } else {
        PageFailure::from(failure).into_response()
    }
}
