//! The evidence of findings for the diagram: what lies in a stretch, and a finding's moments laid on one another.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::{Deserialize, Serialize};

use super::windows::{asked_stretch, chosen_lines};
use crate::store::{DiagramView, SessionId};
use crate::web::api::log::with_store;
use crate::web::error::Failure;
use crate::web::occurrences::{Occurrence, all, occurrences};
use crate::web::overlay::{Overlay, overlay};
use crate::web::shown::Shown;
use crate::web::state::App;

/// Most occurrences that are sent of a stretch. Where there are more, the first of each finding in each of as many equal
/// parts of the stretch: so no part that has any is left bare.
const MOST_OCCURRENCES: usize = 400;
/// Longest stretch around an anchor, in ticks: far beyond any lag, and safe to add to any moment.
const LONGEST_TICKS: i64 = 1 << 52;

/// A stretch in ticks from the capture's first moment.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AskedStretch {
    /// Ticks from the capture's first moment, closed.
    start: i64,
    /// Ticks from the capture's first moment, open.
    end: i64,
}

/// What findings show in a stretch; pulses that may be their line's job are left out.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Evidence {
    /// How many there are; where they are many, `occurrences` has one of each finding in each part of the stretch.
    pub count: usize,
    pub occurrences: Vec<OfFinding>,
}

/// An occurrence, and the position of its finding in the report.
#[derive(Serialize, utoipa::ToSchema)]
pub struct OfFinding {
    pub finding: usize,
    #[serde(flatten)]
    pub occurrence: Occurrence,
}

/// What findings show in a stretch; at most so many that a page can draw them.
pub async fn evidence(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<AskedStretch>,
) -> Result<Json<Evidence>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    asked_stretch(asked.start, asked.end)?;
    let found = tokio::task::spawn_blocking(move || {
        // Beside other findings' evidence a strobe's own pulses would be most of what is seen.
        let inside = |o: &&Occurrence| o.from < asked.end && o.to >= asked.start && !o.is_doubt();
        let here = || {
            all(&opened).iter().enumerate().flat_map(|(finding, list)| {
                // In time by their first moment: those that begin after the stretch are not looked at.
                let until = list.partition_point(|o| o.from < asked.end);
                list[..until].iter().filter(inside).map(move |o| (finding, o))
            })
        };
        let count = here().count();
        let findings = opened.report.findings.len().max(1);
        let parts = (MOST_OCCURRENCES / findings).max(MOST_OCCURRENCES / 20) as f64;
        let length = (asked.end as f64 - asked.start as f64).max(1.0);
        let mut last = None;
        let is_first = |(finding, o): &(usize, &Occurrence)| {
            let part = ((o.from as f64 - asked.start as f64) / length * parts).floor();
            last.replace((*finding, part)) != Some((*finding, part))
        };
        let listed: Vec<(usize, &Occurrence)> = match count > MOST_OCCURRENCES {
            true => here().filter(is_first).collect(),
            false => here().collect(),
        };
        let occurrences = listed.into_iter().map(|(finding, occurrence)| OfFinding {
            finding,
            occurrence: occurrence.clone(),
        });
        Evidence {
            count,
            occurrences: occurrences.collect(),
        }
    });
    Ok(Json(found.await?))
}

/// How much of what is around each anchor, and on which lines.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AskedOverlay {
    /// Ticks before the anchor.
    before: i64,
    /// Ticks after it.
    after: i64,
    /// Positions of lines, parted by commas; all when absent.
    lines: Option<String>,
}

/// All occurrences of a finding laid on one another.
pub async fn finding_overlay(
    State(app): State<Arc<App>>,
    Path((id, finding)): Path<(i64, String)>,
    Query(shown): Query<Shown>,
    Query(asked): Query<AskedOverlay>,
) -> Result<Json<Overlay>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let is_length = |ticks: i64| (0..=LONGEST_TICKS).contains(&ticks);
    if !is_length(asked.before) || !is_length(asked.after) || asked.before + asked.after == 0 {
        return Err(Failure::wrong(
            "Expected ticks before and after the anchor, none negative.",
        ));
    }
    let lines = chosen_lines(asked.lines.as_deref(), opened.capture.lines.len())?;
    let laid = tokio::task::spawn_blocking(move || {
        let finding = opened.report.findings.iter().find(|row| row.id == finding)?;
        let list = occurrences(&opened, finding);
        Some(overlay(&opened, list, &lines, asked.before, asked.after))
    });
    let laid = laid
        .await?
        .ok_or_else(|| Failure::missing("such finding in this session"))?;
    Ok(Json(laid))
}

/// How the session's diagram is looked at.
pub async fn view(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Json<DiagramView>, Failure> {
    let view = with_store(app, move |store| Ok(store.diagram_view(SessionId(id))?));
    Ok(Json(view.await?))
}

/// Keeps how the diagram is set up; answers with what is kept.
pub async fn set_view(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(view): Json<DiagramView>,
) -> Result<Json<DiagramView>, Failure> {
    let kept = with_store(app, move |store| {
        store.set_diagram_view(SessionId(id), &view)?;
        Ok(view)
    });
    Ok(Json(kept.await?))
}
