//! Every URL of the bench log, the harness sheet and the report.

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post, put};

use super::state::App;
use super::{api, pages};
use crate::store::Photograph;

/// Added to the router's own list.
pub fn routes() -> Router<Arc<App>> {
    let photographs = DefaultBodyLimit::max(Photograph::LIMIT_BYTES as usize + 1);
    Router::new()
        .route("/bin", get(pages::bench_log::bin_page))
        .route("/sessions/{id}/log", get(pages::bench_log::page))
        .route("/sessions/{id}/clocks", get(pages::clocks::page))
        .route("/sessions/{id}/captures/{capture}", get(pages::capture::page))
        .route(
            "/api/sessions/{id}/captures/{capture}/reading",
            get(api::reading::get).put(api::reading::set),
        )
        .route("/sessions/{id}/links", get(pages::links::page))
        .route(
            "/api/sessions/{id}/links",
            post(api::links::declare).delete(api::links::take_back),
        )
        .route("/api/sessions/{id}/links/pulses", get(api::links::pulses))
        .route("/sessions/{id}/before-and-after", get(pages::before_after::page))
        .route("/api/sessions/{id}/compare", get(api::compare::compare))
        .route("/api/sessions/{id}/runs", get(api::compare::runs))
        .route("/sessions/{id}/harness", get(pages::harness::page))
        .route("/sessions/{id}/rules", get(pages::rules::page))
        .route("/api/sessions/{id}/rules", post(api::rules::add))
        .route("/sessions/{id}/report.html", get(pages::report::page))
        .route("/api/openapi.json", get(api::openapi::openapi))
        .route("/api/bin", get(api::log::bin))
        .route(
            "/api/archives",
            post(api::transfer::restore).layer(DefaultBodyLimit::disable()),
        )
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
