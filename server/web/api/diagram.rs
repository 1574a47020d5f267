//! What the diagram needs to know before it asks for windows.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;

use crate::model::Source;
use crate::report::inspect::Severity;
use crate::store::SessionId;
use crate::web::error::Failure;
use crate::web::occurrences::{Occurrence, occurrences};
use crate::web::state::App;

/// Most occurrences of one finding that are sent; `count` tells how many there are.
const MOST_OCCURRENCES: usize = 5000;

/// Lines, timebase and findings of a session.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Diagram {
    pub title: String,
    /// Seconds of tick 0 (the first recorded moment) on the session's clock.
    pub start_s: f64,
    /// Length of a tick in seconds.
    pub tick_s: f64,
    /// Ticks from the first to the last recorded moment.
    pub length: i64,
    pub lines: Vec<LineView>,
    pub buses: Vec<BusView>,
    pub findings: Vec<FindingView>,
}

#[derive(Serialize, utoipa::ToSchema)]
pub struct LineView {
    pub name: String,
    /// The file it came from, where the session has several.
    pub file: Option<String>,
    #[schema(value_type = String)]
    pub source: Source,
    pub edges: u64,
    /// Sampling period in ticks; an edge at `t` happened in the period up to `t`. 0 when exact to the tick.
    pub sample_ticks: f64,
    pub interpolated: bool,
    pub strays: u64,
    pub narrow_below_s: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
pub struct BusView {
    pub name: String,
    /// Positions in `lines`, most significant bit first.
    pub bits: Vec<usize>,
}

#[derive(Serialize, utoipa::ToSchema)]
pub struct FindingView {
    pub id: String,
    pub topic: String,
    pub severity: Severity,
    pub title: String,
    /// Positions in [`Diagram::lines`] of the lines it names.
    pub lines: Vec<usize>,
}

pub async fn overview(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Json<Diagram>, Failure> {
    let opened = app.opened(SessionId(id))?;
    let capture = &opened.capture;
    let files = &opened.report.captures;
    let lines = capture
        .lines
        .iter()
        .zip(&opened.lines)
        .map(|(line, open)| LineView {
            name: line.name.clone(),
            file: files
                .get(line.capture)
                .filter(|_| files.len() > 1)
                .map(|row| row.file.clone()),
            source: line.source,
            edges: line.edges.len() as u64,
            sample_ticks: line.sample_ticks,
            interpolated: line.interpolated,
            strays: open.strays.len() as u64,
            narrow_below_s: opened
                .report
                .lines
                .iter()
                .find(|row| row.line == line.name)
                .and_then(|row| row.narrow_below_s),
        });
    let findings = opened.report.findings.iter().map(|finding| FindingView {
        id: finding.id.clone(),
        topic: finding.topic.clone(),
        severity: finding.severity,
        title: finding.title.clone(),
        lines: finding
            .lines
            .iter()
            .filter_map(|name| capture.line_index(name))
            .collect(),
    });
    Ok(Json(Diagram {
        title: opened.title.clone(),
        start_s: capture.seconds(capture.span.start),
        tick_s: capture.timebase.tick_s(),
        length: opened.length(),
        lines: lines.collect(),
        buses: capture
            .buses
            .iter()
            .map(|bus| BusView {
                name: bus.name.clone(),
                bits: bus.bits.clone(),
            })
            .collect(),
        findings: findings.collect(),
    }))
}

/// The moments a finding rests on.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Occurrences {
    pub count: usize,
    pub occurrences: Vec<Occurrence>,
}

pub async fn finding_occurrences(
    State(app): State<Arc<App>>,
    Path((id, finding)): Path<(i64, String)>,
) -> Result<Json<Occurrences>, Failure> {
    let opened = app.opened(SessionId(id))?;
    let mut list = tokio::task::spawn_blocking(move || {
        let finding = opened.report.findings.iter().find(|row| row.id == finding);
        finding.map(|finding| occurrences(&opened, finding))
    })
    .await?
    .ok_or_else(|| Failure::missing("such finding in this session"))?;
    let count = list.len();
    list.truncate(MOST_OCCURRENCES);
    Ok(Json(Occurrences {
        count,
        occurrences: list,
    }))
}
