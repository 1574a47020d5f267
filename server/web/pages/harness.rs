//! The harness sheet: pins with their signals and neighbours, in and out as CSV, and which clip to move next.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;

use super::Places;
use super::heading::{Heading, open};
use crate::harness::Move;
use crate::store::SessionId;
use crate::web::answers::present_report;
use crate::web::api::harness::{clips_of, harness_of};
use crate::web::api::log::with_store;
use crate::web::error::PageFailure;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::known_lines::doubts;
use crate::workflow::places;

/// Most pins shown as a table; the CSV has them all.
const MOST_ROWS: usize = 2000;

/// The page's name among the places.
const HERE: &str = "Harness sheet";

#[derive(Template)]
#[template(path = "pages/harness.html")]
struct HarnessPage {
    places: Places,
    id: i64,
    heading: Heading,
    csv: String,
    pins: Vec<PinView>,
    left_out: usize,
    told: Vec<FindingView>,
    moves: Vec<Move>,
    /// Names on the sheet that may be slips of lines', a sentence each.
    doubts: Vec<String>,
}

struct PinView {
    place: String,
    signal: String,
    colour: String,
    neighbours: String,
    line: String,
}

struct FindingView {
    title: String,
    sentences: Vec<String>,
}

/// The page, from the newest report.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Html<String>, PageFailure> {
    let session = SessionId(id);
    open(&app, session, &shown, HERE).await?;
    let html = with_store(app, move |store| {
        let harness = harness_of(store, session)?;
        let clips = clips_of(store, session, &harness)?;
        let report = present_report(store, session)?;
        let (told, moves) = match &report {
            Some(report) => {
                let title = |finding: &str| {
                    let found = report.findings.iter().find(|row| row.id == finding);
                    found.map(|row| row.title.clone()).unwrap_or_default()
                };
                let told = places::of_findings(&harness, &clips, report).into_iter();
                let told = told.map(|told| FindingView {
                    title: title(&told.finding),
                    sentences: told.sentences,
                });
                (told.collect(), places::moves(&harness, &clips, report))
            }
            None => (Vec::new(), Vec::new()),
        };
        let pins = harness.pins();
        // The sheet may name a line as its own file does, or as it is shown: `STEM/LINE` where several files have it. What
        // stands before a `/` is no stem by itself: names may have one.
        let mut lines: Vec<String> = report
            .iter()
            .flat_map(|report| report.lines.iter().map(move |row| (report, &row.line)))
            .flat_map(|(report, line)| [report.signal(line), line.clone()])
            .collect();
        lines.dedup();
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let on_sheet: Vec<&str> = pins
            .iter()
            .map(|pin| {
                if pin.line.is_empty() {
                    &pin.signal
                } else {
                    &pin.line
                }
            })
            .map(String::as_str)
            .collect();
        let page = HarnessPage {
            places: Places::of(session, HERE).following(&shown)?,
            id,
            heading: Heading::of(store, session, shown.which()?, HERE)?,
            csv: if pins.is_empty() {
                String::new()
            } else {
                harness.to_csv()
            },
            pins: pins
                .iter()
                .take(MOST_ROWS)
                .map(|pin| PinView {
                    place: pin.place(),
                    signal: pin.signal.clone(),
                    colour: pin.colour.clone(),
                    neighbours: pin.neighbours.clone(),
                    line: pin.line.clone(),
                })
                .collect(),
            left_out: pins.len().saturating_sub(MOST_ROWS),
            told,
            moves,
            doubts: doubts(&on_sheet, &lines),
        };
        Ok(page.render()?)
    });
    Ok(Html(html.await?))
}
