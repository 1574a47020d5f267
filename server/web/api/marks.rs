//! Judging a pulse: legitimate, or a stray. The findings are then worked out anew.

use std::path::Path as FilePath;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};

use super::log::with_store;
use crate::analysis::align::Alignment;
use crate::model::Ticks;
use crate::store::{ChannelSkews, Entry, EntryId, PulseMark, SessionId, Store};
use crate::web::error::Failure;
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::marks::start_near;

/// A pulse as the diagram shows it, and what it is.
#[derive(Serialize, Deserialize, utoipa::ToSchema)]
pub struct JudgedPulse {
    /// A line of the session's report.
    pub line: String,
    /// When the pulse starts, in seconds on the session's clock.
    pub start_s: f64,
    /// True: a stray. False: legitimate.
    pub stray: bool,
}

/// A judgement that stands, for the diagram.
#[derive(Serialize, utoipa::ToSchema)]
pub struct MarkView {
    /// Its entry in the bench log.
    pub id: EntryId,
    /// Position in the diagram's lines.
    pub line: usize,
    /// Ticks from the capture's first moment; null where no pulse starts then any more.
    pub start: Option<i64>,
    pub stray: bool,
}

/// Judges a pulse of the run that is shown.
pub async fn judge(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Json(pulse): Json<JudgedPulse>,
) -> Result<(StatusCode, Json<Entry<PulseMark>>), Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let kept = with_store(app, move |store| {
        let capture = &opened.capture;
        let line = capture
            .line_index(&pulse.line)
            .ok_or_else(|| Failure::missing(format!("line {} in this session", pulse.line)))?;
        let start = start_near(capture, line, pulse.start_s).ok_or_else(|| {
            Failure::wrong(format!(
                "No pulse of {} starts at {} s: expected the start of one, as the list of strays or the diagram has it.",
                pulse.line, pulse.start_s
            ))
        })?;
        let own = Own::of(store, &opened, line)?;
        let mark = PulseMark {
            capture: own.capture,
            line: own.name.clone(),
            start_s: own.on_own_clock(capture.seconds(start)),
            stray: pulse.stray,
        };
        let within_s = capture
            .timebase
            .length_s(capture.lines[line].sample_ticks.max(1.0))
            / 2.0;
        Ok(store.mark_pulse(opened.id, &mark, within_s)?)
    });
    Ok((StatusCode::CREATED, Json(kept.await?)))
}

/// The judgements on pulses of the run that is shown, by line, then by start.
pub fn marks_of(store: &Store, opened: &Opened) -> Result<Vec<MarkView>, Failure> {
    let marks = store.entries::<PulseMark>(opened.id)?;
    if marks.is_empty() {
        return Ok(Vec::new());
    }
    let mut views = Vec::new();
    for line in 0..opened.capture.lines.len() {
        let own = Own::of(store, opened, line)?;
        for mark in &marks {
            if mark.value.capture == own.capture && mark.value.line == own.name {
                let start = start_near(&opened.capture, line, own.to_run(mark.value.start_s));
                views.push(MarkView {
                    id: mark.id,
                    line,
                    start: start.map(|Ticks(start)| start - opened.origin().0),
                    stray: mark.value.stray,
                });
            }
        }
    }
    views.sort_by_key(|view| (view.line, view.start));
    Ok(views)
}

/// A line of the shown run in the file it came from: under its name and on the clock there.
struct Own {
    capture: EntryId,
    name: String,
    alignment: Alignment,
    late_s: f64,
}

impl Own {
    fn of(store: &Store, opened: &Opened, line: usize) -> Result<Own, Failure> {
        let line = &opened.capture.lines[line];
        let of_run: Vec<_> = opened.clocks.iter().filter(|placed| placed.is_shown).collect();
        let member = of_run.get(line.capture).map(|placed| &placed.member);
        let entry = opened.captures.get(member.map_or(0, |member| member.position));
        let entry = entry.ok_or_else(|| Failure::missing("capture of this line any more"))?;
        let stem = FilePath::new(&entry.value.file).file_stem();
        let stem = stem.map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
        // A name that several captures have stands as `STEM/LINE`, or `STEM (2)/LINE`.
        let own = (of_run.len() > 1 && line.name.starts_with(&stem))
            .then(|| line.name.split_once('/').map(|(_, own)| own))
            .flatten();
        let name = own.unwrap_or(&line.name).to_owned();
        let skews = store.entries::<ChannelSkews>(opened.id)?;
        let late_s = skews
            .last()
            .and_then(|skews| skews.value.late_s.get(&name).copied());
        Ok(Own {
            capture: entry.id,
            name,
            alignment: member.map_or(Alignment::SAME_CLOCK, |member| member.alignment),
            late_s: late_s.unwrap_or(0.0),
        })
    }

    /// Seconds on the run's clock → on the file's own.
    fn on_own_clock(&self, seconds: f64) -> f64 {
        let Alignment {
            offset_s, drift_ppm, ..
        } = self.alignment;
        (seconds - offset_s) / (1.0 + drift_ppm * 1e-6) + self.late_s
    }

    fn to_run(&self, seconds: f64) -> f64 {
        self.alignment.time_in_a(seconds - self.late_s)
    }
}
