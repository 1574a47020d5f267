//! What the diagram needs to know before it asks for windows.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::Serialize;

use super::harness::{clips_of, harness_of};
use super::log::with_store;
use super::marks::{MarkView, marks_of};
use crate::harness::Pin;
use crate::model::{Line, Source, Trace};
use crate::report::inspect::{Finding, Severity};
use crate::report::rails::RailRow;
use crate::store::{SessionId, Store};
use crate::web::clock_view::{ClockView, last_move, movable};
use crate::web::error::Failure;
use crate::web::occurrences::{Occurrence, occurrences, told};
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::web::volts::range;

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
    /// The finding that the diagram opens on, the worst; null where there are only notes.
    pub opens_on: Option<String>,
    /// Captures that can be moved against the first one's clock.
    pub clocks: Vec<ClockView>,
    /// What was done last in the session, where that was moving a clock.
    pub last_move: Option<String>,
    /// Pulses that a person judged.
    pub marks: Vec<MarkView>,
}

/// A line's head in the diagram.
#[derive(Serialize, utoipa::ToSchema)]
pub struct LineView {
    pub name: String,
    /// The file it came from, where the session has several.
    pub file: Option<String>,
    #[schema(value_type = String)]
    pub source: Source,
    /// All edges of the capture, and its strays.
    pub edges: u64,
    /// Sampling period in ticks; an edge at `t` happened in the period up to `t`. 0 when exact to the tick.
    pub sample_ticks: f64,
    pub interpolated: bool,
    pub strays: u64,
    /// Pulses shorter than this are strays: the larger of the two levels' limits, which follow.
    pub narrow_below_s: Option<f64>,
    pub narrow_below_low_s: Option<f64>,
    pub narrow_below_high_s: Option<f64>,
    /// Where its clip is, by the harness sheet: "sequencer J2-12", and the board alone.
    pub place: Option<String>,
    pub board: Option<String>,
    /// Of a line recorded as volts.
    pub volts: Option<VoltsView>,
}

/// Volts of an analog line.
#[derive(Serialize, utoipa::ToSchema)]
pub struct VoltsView {
    /// Below the one it is low, above the other high.
    pub low_v: f64,
    pub high_v: f64,
    /// The logic family that says so, or "volts".
    pub family: String,
    pub smallest_v: f32,
    pub largest_v: f32,
    /// Of a line that is a supply: such a line has no levels that mean anything.
    pub supply: Option<SupplyView>,
}

/// What a supply should be, in volts.
#[derive(Serialize, utoipa::ToSchema)]
pub struct SupplyView {
    pub nominal_v: f64,
    pub low_v: f64,
    pub high_v: f64,
}

/// Lines that belong together.
#[derive(Serialize, utoipa::ToSchema)]
pub struct BusView {
    pub name: String,
    /// Positions in `lines`, most significant bit first.
    pub bits: Vec<usize>,
    /// Base in which the file writes its values: 2, 8, 10 or 16; null where it says none.
    pub base: Option<u32>,
}

/// A finding's row beside the diagram.
#[derive(Serialize, utoipa::ToSchema)]
pub struct FindingView {
    pub id: String,
    pub topic: String,
    pub severity: Severity,
    pub title: String,
    /// Positions in [`Diagram::lines`] of the lines it names.
    pub lines: Vec<usize>,
}

/// The session's diagram without its edges: those come in windows.
pub async fn overview(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Json<Diagram>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let said = with_store(app, {
        let opened = opened.clone();
        move |store| {
            Ok((
                pins(store, &opened)?,
                movable(store, &opened)?,
                last_move(store, opened.id)?,
                marks_of(store, &opened)?,
            ))
        }
    });
    let (pins, clocks, last_move, marks) = said.await?;
    let capture = &opened.capture;
    let files = &opened.report.captures;
    let lines = capture
        .lines
        .iter()
        .zip(&opened.lines)
        .zip(pins)
        .map(|((line, open), pin)| {
            (line, open, pin, || {
                opened.report.lines.iter().find(|row| row.line == line.name)
            })
        })
        .map(|(line, open, pin, limits)| LineView {
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
            narrow_below_s: limits().and_then(|row| row.narrow_below_s),
            narrow_below_low_s: limits().and_then(|row| row.narrow_below_low_s),
            narrow_below_high_s: limits().and_then(|row| row.narrow_below_high_s),
            place: pin.as_ref().map(Pin::place),
            board: pin.map(|pin| pin.board),
            volts: line.trace.as_ref().and_then(|trace| {
                let rails = &opened.report.rails;
                volts_view(trace, rails.iter().find(|row| row.rail == line.name))
            }),
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
                base: bus.base,
            })
            .collect(),
        findings: findings.collect(),
        opens_on: opens_on(&opened.report.findings),
        clocks,
        last_move,
        marks,
    }))
}

/// What a file leaves open of its unit stands before the worst finding, and shows no moment.
fn opens_on(findings: &[Finding]) -> Option<String> {
    let mut told = findings
        .iter()
        .filter(|finding| finding.severity != Severity::Note);
    let first = told.find(|finding| !finding.is_of_time_unit());
    first.map(|finding| finding.id.clone())
}

/// The pin of each line's clip, where the harness sheet has one.
fn pins(store: &Store, opened: &Opened) -> Result<Vec<Option<Pin>>, Failure> {
    let harness = harness_of(store, opened.id)?;
    let clips = clips_of(store, opened.id, &harness)?;
    let pin = |line: &Line| {
        let first = harness.pins_of(&line.name, &clips).first().copied()?;
        Some(harness.pins()[first].clone())
    };
    Ok(opened.capture.lines.iter().map(pin).collect())
}

fn volts_view(trace: &Trace, rail: Option<&RailRow>) -> Option<VoltsView> {
    let [smallest_v, largest_v] = range(trace)?;
    Some(VoltsView {
        low_v: trace.thresholds.low_v,
        high_v: trace.thresholds.high_v,
        family: trace.family.clone(),
        smallest_v,
        largest_v,
        supply: rail.map(|rail| SupplyView {
            nominal_v: rail.nominal_v,
            low_v: rail.low_v,
            high_v: rail.high_v,
        }),
    })
}

/// The moments a finding rests on.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Occurrences {
    pub count: usize,
    /// Which of them the finding's sentence tells of, from 0: of a broken limit or of a supply the one furthest
    /// beyond what is allowed, else the first.
    pub told: usize,
    pub occurrences: Vec<Occurrence>,
}

/// The moments that a finding of the newest report rests on. Cost: linear in them.
pub async fn finding_occurrences(
    State(app): State<Arc<App>>,
    Path((id, finding)): Path<(i64, String)>,
    Query(shown): Query<Shown>,
) -> Result<Json<Occurrences>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let found = tokio::task::spawn_blocking(move || {
        let finding = opened.report.findings.iter().find(|row| row.id == finding)?;
        let list = occurrences(&opened, finding);
        Some(Occurrences {
            count: list.len(),
            told: Some(told(&opened, finding))
                .filter(|told| *told < MOST_OCCURRENCES)
                .unwrap_or(0),
            occurrences: list[..list.len().min(MOST_OCCURRENCES)].to_vec(),
        })
    });
    let found = found
        .await?
        .ok_or_else(|| Failure::missing("such finding in this session"))?;
    Ok(Json(found))
}
