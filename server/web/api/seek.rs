//! Finding things and measuring stretches, for the diagram and for programs.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use serde::{Deserialize, Serialize};

use super::windows::{asked_stretch, chosen_lines};
use crate::analysis::seek::{Found, Moment, Pattern, Question, Where, seek};
use crate::analysis::stretch::{Pulses, Width, measure};
use crate::model::{Level, Polarity, Ticks};
use crate::store::SessionId;
use crate::web::error::Failure;
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;

/// Most moments in one answer.
const MOST_MOMENTS: usize = 5000;

/// What is looked for, and from where. Times in ticks from the capture's first moment.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Asked {
    /// `edge`, `rise`, `fall`, `stray`, `pulse`, `low-pulse`, `high-pulse` or `pattern`.
    what: String,
    /// Position of the line; for strays all lines when absent.
    line: Option<usize>,
    /// For pulses: at least this wide.
    at_least_s: Option<f64>,
    /// For pulses: narrower than this.
    below_s: Option<f64>,
    /// For a pattern: "CLEAR_N low while STEP high", or an expression.
    text: Option<String>,
    /// Moments after this one; all when absent.
    from: Option<i64>,
    /// Moments before it instead, the nearest first.
    #[serde(default)]
    back: bool,
    /// Moments in the answer at most.
    most: Option<usize>,
    /// Count all of the capture as well.
    #[serde(default)]
    count: bool,
}

/// Moments that were looked for.
#[derive(Serialize, utoipa::ToSchema)]
pub struct Moments {
    /// How many there are in the whole capture; null when that was not asked for.
    pub count: Option<u64>,
    /// Start and end (open) in ticks from the capture's first moment; an edge has no length.
    pub moments: Vec<(i64, i64)>,
    /// The line of each moment, where several were looked through.
    pub lines: Vec<usize>,
}

/// Moments of the asked kind before or after a place, nearest first.
pub async fn find(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<Asked>,
) -> Result<Json<Moments>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let found = tokio::task::spawn_blocking(move || {
        if asked.what == "stray" {
            strays(&opened, &asked)
        } else {
            moments(&opened, &asked)
        }
    });
    Ok(Json(found.await??))
}

fn place(opened: &Opened, asked: &Asked) -> Where {
    let from = match asked.from {
        Some(from) => Ticks(from.saturating_add(opened.origin().0)),
        None if asked.back => Ticks::MAX,
        None => Ticks::MIN,
    };
    Where {
        from,
        back: asked.back,
        most: asked.most.unwrap_or(MOST_MOMENTS).min(MOST_MOMENTS),
        count: asked.count,
    }
}

fn moments(opened: &Opened, asked: &Asked) -> Result<Moments, Failure> {
    let capture = &opened.capture;
    let line = || {
        let known = asked.line.filter(|&line| line < capture.lines.len());
        known.ok_or_else(|| Failure::wrong("Expected the position of a line of this session."))
    };
    let pulse = |level| -> Result<Question, Failure> {
        let limit = |limit_s: Option<f64>, other| match limit_s {
            None => Ok(other),
            Some(s) if s.is_finite() && s >= 0.0 => Ok(capture.timebase.ticks_of(s)),
            Some(_) => Err(Failure::wrong("Expected a width that is no less than 0 s.")),
        };
        Ok(Question::Pulse {
            line: line()?,
            level,
            at_least: limit(asked.at_least_s, 0.0)?,
            below: limit(asked.below_s, f64::INFINITY)?,
        })
    };
    let edge = |polarity| -> Result<Question, Failure> {
        Ok(Question::Edge {
            line: line()?,
            polarity,
        })
    };
    let question = match asked.what.as_str() {
        "edge" => edge(None)?,
        "rise" => edge(Some(Polarity::Rise))?,
        "fall" => edge(Some(Polarity::Fall))?,
        "pulse" => pulse(None)?,
        "low-pulse" => pulse(Some(Level::Low))?,
        "high-pulse" => pulse(Some(Level::High))?,
        "pattern" => {
            let text = asked.text.as_deref().unwrap_or_default();
            Question::Pattern(Pattern::read(text, capture).map_err(Failure::wrong)?)
        }
        other => {
            return Err(Failure::wrong(format!(
                "Expected edge, rise, fall, stray, pulse, low-pulse, high-pulse or pattern; found \"{other}\"."
            )));
        }
    };
    let Found { count, moments } = seek(capture, &question, place(opened, asked));
    let from_origin = |moment: Moment| {
        let ticks = |time: Ticks| time.0.saturating_sub(opened.origin().0);
        (ticks(moment.start), ticks(moment.end))
    };
    Ok(Moments {
        count,
        moments: moments.into_iter().map(from_origin).collect(),
        lines: Vec::new(),
    })
}

/// Strays of one line, or of all, in time. Cost: linear in strays.
fn strays(opened: &Opened, asked: &Asked) -> Result<Moments, Failure> {
    let place = place(opened, asked);
    let mut all: Vec<(i64, i64, usize)> = Vec::new();
    for (position, line) in opened.lines.iter().enumerate() {
        if asked.line.is_none_or(|wanted| wanted == position) {
            let origin = opened.origin().0;
            let marks = line.strays.iter();
            all.extend(marks.map(|mark| (mark.start.0 - origin, mark.end.0 - origin, position)));
        }
    }
    all.sort_unstable();
    let count = place.count.then_some(all.len() as u64);
    let from = place.from.0.saturating_sub(opened.origin().0);
    let chosen: Vec<(i64, i64, usize)> = if place.back {
        let before = all.partition_point(|stray| stray.0 < from);
        all[..before].iter().rev().take(place.most).copied().collect()
    } else {
        let after = all.partition_point(|stray| stray.0 <= from);
        all[after..].iter().take(place.most).copied().collect()
    };
    Ok(Moments {
        count,
        moments: chosen.iter().map(|stray| (stray.0, stray.1)).collect(),
        lines: chosen.iter().map(|stray| stray.2).collect(),
    })
}

/// A stretch in ticks from the capture's first moment: start closed, end open.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AskedStretch {
    /// Ticks from the capture's first moment, closed.
    start: i64,
    /// Ticks from the capture's first moment, open.
    end: i64,
    /// Positions of lines, parted by commas; all when absent.
    lines: Option<String>,
}

/// What one line did over a stretch.
#[derive(Serialize, utoipa::ToSchema)]
pub struct LineStretch {
    /// Position in the diagram's lines.
    pub line: usize,
    pub edges: u64,
    pub rises: u64,
    pub falls: u64,
    pub strays: u64,
    /// Whole periods a second, from the first rise to the last; null with fewer than one whole period.
    pub rate_hz: Option<f64>,
    /// Share of the time with a known level that the line was high; null when none was known.
    pub duty: Option<f64>,
    pub high: PulseStretch,
    pub low: PulseStretch,
    pub shortest_period: Option<WidthAt>,
    pub longest_period: Option<WidthAt>,
}

/// Whole pulses of one level.
#[derive(Serialize, utoipa::ToSchema)]
pub struct PulseStretch {
    pub count: u64,
    pub shortest: Option<WidthAt>,
    pub longest: Option<WidthAt>,
}

/// A width, and the tick (from the capture's first moment) at which it begins.
#[derive(Serialize, utoipa::ToSchema)]
pub struct WidthAt {
    pub start: i64,
    pub width_s: f64,
}

/// What each line did over a stretch. Cost: linear in the edges inside.
pub async fn stretch(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<AskedStretch>,
) -> Result<Json<Vec<LineStretch>>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    let (start, end) = asked_stretch(asked.start, asked.end)?;
    let lines = chosen_lines(asked.lines.as_deref(), opened.capture.lines.len())?;
    let measured = tokio::task::spawn_blocking(move || {
        let one = |&line: &usize| line_stretch(&opened, line, start, end);
        lines.iter().map(one).collect()
    });
    Ok(Json(measured.await?))
}

fn line_stretch(opened: &Opened, position: usize, start: i64, end: i64) -> LineStretch {
    let origin = opened.origin().0;
    let (start, end) = (
        Ticks(start.saturating_add(origin)),
        Ticks(end.saturating_add(origin)),
    );
    let found = measure(&opened.capture.lines[position], start, end);
    let timebase = &opened.capture.timebase;
    let at = |width: Width| WidthAt {
        start: width.start.0.saturating_sub(origin),
        width_s: timebase.length_s(width.ticks as f64),
    };
    let pulses = |pulses: Pulses| PulseStretch {
        count: pulses.count,
        shortest: pulses.shortest.map(at),
        longest: pulses.longest.map(at),
    };
    let strays = &opened.lines[position].strays;
    let inside =
        strays.partition_point(|mark| mark.start < end) - strays.partition_point(|mark| mark.start < start);
    LineStretch {
        line: position,
        edges: found.edges,
        rises: found.rises,
        falls: found.falls,
        strays: inside as u64,
        rate_hz: (found.periods > 0)
            .then(|| found.periods as f64 / timebase.length_s(found.period_time as f64)),
        duty: found.duty(),
        high: pulses(found.high),
        low: pulses(found.low),
        shortest_period: found.shortest_period.map(at),
        longest_period: found.longest_period.map(at),
    }
}
