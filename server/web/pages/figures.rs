//! Figures as SVG files: of a finding's occurrence, or of any stretch.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::report::inspect::Finding;
use crate::store::{DimensionLine, SessionId};
use crate::web::api::windows::asked_stretch;
use crate::web::error::Failure;
use crate::web::figure::{Spec, figure, occurrence_figure};
use crate::web::occurrences::{Mark, Occurrence, occurrences, told};
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;

/// Lines in the figure of a finding: its own, then those it rules out.
const MOST_LINES: usize = 6;

/// Which occurrence of the finding.
#[derive(Deserialize)]
pub struct AskedOccurrence {
    /// Counted from 1.
    #[serde(default)]
    occurrence: Option<usize>,
}

/// One occurrence of a finding as SVG.
pub async fn finding_figure(
    State(app): State<Arc<App>>,
    Path((id, finding)): Path<(i64, String)>,
    Query(shown): Query<Shown>,
    Query(asked): Query<AskedOccurrence>,
) -> Result<Response, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let drawn = tokio::task::spawn_blocking(move || -> Result<String, Failure> {
        let finding = opened.report.findings.iter().find(|row| row.id == finding);
        let finding = finding.ok_or_else(|| Failure::missing("such finding in this session"))?;
        let view = app.store.diagram_view(SessionId(id))?;
        let occurrence = asked.occurrence.unwrap_or_else(|| told(&opened, finding) + 1);
        let drawn = drawing(&opened, finding, occurrence, &view.dimensions);
        drawn.ok_or_else(|| Failure::missing("figure of this finding: it is about no captured line"))
    });
    svg(drawn.await??)
}

/// The figure of a finding's occurrence, counted from 1; of the whole capture where it has no such occurrence. `None` where
/// the finding is about no captured line, as that of a meter's reading.
pub fn drawing(
    opened: &Opened,
    finding: &Finding,
    occurrence: usize,
    dimensions: &[DimensionLine],
) -> Option<String> {
    let list = occurrences(opened, finding);
    let drawn = list.get(occurrence.saturating_sub(1));
    let lines = with_its_own(lines_of(opened, finding), drawn);
    if lines.is_empty() {
        return None;
    }
    Some(match drawn {
        Some(occurrence) => occurrence_figure(opened, lines, occurrence, dimensions),
        None => {
            let spec = Spec {
                lines,
                start: 0,
                end: opened.length().max(1),
                zero: 0,
                marks: &[],
                caption: &finding.title,
                dimensions,
            };
            figure(opened, &spec)
        }
    })
}

/// Any stretch: `start` and `end` in ticks from the first moment, `lines` by position.
#[derive(Deserialize)]
pub struct AskedView {
    start: i64,
    end: i64,
    lines: String,
    #[serde(default)]
    caption: String,
}

/// The asked part of the diagram as SVG.
pub async fn view_figure(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<AskedView>,
) -> Result<Response, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let count = opened.capture.lines.len();
    let lines: Vec<usize> = asked
        .lines
        .split(',')
        .filter_map(|part| part.parse().ok())
        .filter(|&line: &usize| line < count)
        .collect();
    let (start, end) = asked_stretch(asked.start, asked.end)?;
    if lines.is_empty() {
        return Err(Failure::wrong("Expected positions of lines parted by commas."));
    }
    let drawn = tokio::task::spawn_blocking(move || -> Result<String, Failure> {
        let view = app.store.diagram_view(SessionId(id))?;
        let spec = Spec {
            lines,
            start,
            end,
            zero: start,
            marks: &[],
            caption: &asked.caption,
            dimensions: &view.dimensions,
        };
        Ok(figure(&opened, &spec))
    });
    svg(drawn.await??)
}

fn svg(document: String) -> Result<Response, Failure> {
    Ok(([(CONTENT_TYPE, "image/svg+xml")], document).into_response())
}

/// The line that breaks a rule in the occurrence stands first where the finding has more lines than a figure takes.
fn with_its_own(mut lines: Vec<usize>, drawn: Option<&Occurrence>) -> Vec<usize> {
    let own = drawn.and_then(|occurrence| {
        occurrence.marks.iter().find_map(|mark| match mark {
            Mark::Violation { line, .. } => Some(*line),
            _ => None,
        })
    });
    if let Some(own) = own.filter(|own| !lines.contains(own)) {
        lines.insert(0, own);
        lines.truncate(MOST_LINES);
    }
    lines
}

fn lines_of(opened: &Opened, finding: &Finding) -> Vec<usize> {
    let mut names: Vec<&str> = finding.lines.iter().map(String::as_str).collect();
    // From top to bottom: a victim below the guilty line, a far end below its source.
    if finding.topic != "link" {
        names.reverse();
    }
    if let [victim, aggressor, ..] = finding.lines.as_slice() {
        let row = opened
            .report
            .couplings
            .iter()
            .find(|row| row.victim == *victim && row.aggressor == *aggressor);
        names.extend(
            row.iter()
                .flat_map(|row| row.ruled_out.iter().map(|out| out.line.as_str())),
        );
    }
    let mut lines: Vec<usize> = Vec::new();
    for name in names {
        if let Some(line) = opened.capture.line_index(name)
            && !lines.contains(&line)
        {
            lines.push(line);
        }
    }
    lines.truncate(MOST_LINES);
    lines
}
