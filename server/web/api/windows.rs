//! Windows of lines for the diagram, as one block of numbers.
//!
//! The answer starts with the length of its head in bytes (u32, little endian), then the head as JSON, padded
//! with blanks so that the numbers after it start at a multiple of 8 bytes. Each line of the head names its
//! columns as `[first byte after the head, number of entries]`:
//!
//! - `edges`: f64, ticks from the window's start, when there are few edges,
//! - `columns`: u8, one a pixel column, as [`crate::web::window::Shape::Columns`] says, when there are many,
//! - `strays`: f64 pairs (start, end), when there are few; else `stray_columns`: u32, pixel columns with one,
//! - `stretches`: f64 triples (start, end, 0 unknown, 1 floating, 2 unrecorded), from the last edge before the window
//!   to the first after it, so that a pulse that reaches out of the window is known for what it is,
//! - `flips`: f64, moments where the level is another one without an edge,
//! - `points`: f64 pairs (ticks from the window's start, volts), the samples of an analog line, when there are few;
//!   else `volts`: f32 pairs (smallest, largest) a pixel column, NaN where there is none.
//!
//! `before` and `after` are the edges next to the window, in ticks from its start.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};

use crate::model::{StretchKind, Ticks};
use crate::store::SessionId;
use crate::web::error::Failure;
use crate::web::opened::{OpenLine, Opened};
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::web::volts::{Volts, volts};
use crate::web::window::{Shape, boundary, window as line_window};

/// Most pixel columns in a window, and most lines.
const MOST_COLUMNS: usize = 16_384;
const MOST_LINES: usize = 512;

/// A window: `start` and `end` in ticks from the capture's first moment, start closed, end open.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Asked {
    /// Ticks from the capture's first moment, closed.
    start: i64,
    /// Ticks from the capture's first moment, open.
    end: i64,
    /// Pixel columns.
    columns: usize,
    /// Positions of lines, parted by commas; all when absent.
    lines: Option<String>,
}

#[derive(Serialize)]
struct Head {
    start: i64,
    end: i64,
    columns: usize,
    lines: Vec<LineHead>,
}

type Place = (usize, usize);

#[derive(Serialize, Default)]
struct LineHead {
    line: usize,
    /// The level just before the window: 0 low, 1 high, 2 never known.
    entering: u8,
    /// Index of the first edge inside, and how many there are.
    first: usize,
    count: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    before: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    after: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    edges: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    columns: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    strays: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stray_columns: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stretches: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    flips: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    points: Option<Place>,
    #[serde(skip_serializing_if = "Option::is_none")]
    volts: Option<Place>,
}

/// Edges of the chosen lines in a window of ticks, one by one or in pixel columns, as bytes behind a JSON head.
/// Cost: logarithmic in the lines' edges, linear in what is drawn.
pub async fn window(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<Asked>,
) -> Result<Response, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    asked_stretch(asked.start, asked.end)?;
    asked_columns(asked.columns)?;
    let lines = chosen_lines(asked.lines.as_deref(), opened.capture.lines.len())?;
    let body = tokio::task::spawn_blocking(move || answer(&opened, &asked, &lines)).await?;
    Ok(([(CONTENT_TYPE, "application/octet-stream")], body).into_response())
}

/// # Errors
/// No columns, or more than [`MOST_COLUMNS`].
fn asked_columns(columns: usize) -> Result<(), Failure> {
    match columns {
        1..=MOST_COLUMNS => Ok(()),
        _ => Err(Failure::wrong(format!("Expected 1 to {MOST_COLUMNS} columns."))),
    }
}

/// Furthest moment that may be asked for, in ticks from the capture's first one, either way: twice the longest table, and
/// near enough that ticks can be added to it and taken from one another.
const FURTHEST: i64 = 1 << 61;

/// A stretch of ticks that somebody asked for: start closed, end open.
///
/// # Errors
/// One that does not start before it ends, or reaches beyond [`FURTHEST`].
pub fn asked_stretch(start: i64, end: i64) -> Result<(i64, i64), Failure> {
    if end <= start {
        return Err(Failure::wrong(format!(
            "Expected start before end, found start={start} and end={end}."
        )));
    }
    if start < -FURTHEST || end > FURTHEST {
        return Err(Failure::wrong(format!(
            "Expected a start and an end within {FURTHEST} ticks of the capture's first moment, found start={start} and \
             end={end}."
        )));
    }
    Ok((start, end))
}

/// Positions of lines, parted by commas; all when absent.
///
/// # Errors
/// What is no such list.
pub fn chosen_lines(text: Option<&str>, count: usize) -> Result<Vec<usize>, Failure> {
    let wrong = || {
        Failure::wrong(format!(
            "Expected up to {MOST_LINES} positions of lines below {count}, parted by commas."
        ))
    };
    let lines: Vec<usize> = match text {
        None => (0..count).collect(),
        Some("") => Vec::new(),
        Some(text) => text
            .split(',')
            .map(|part| part.parse().map_err(|_| wrong()))
            .collect::<Result<_, _>>()?,
    };
    if lines.len() > MOST_LINES || lines.iter().any(|&line| line >= count) {
        return Err(wrong());
    }
    Ok(lines)
}

fn answer(opened: &Opened, asked: &Asked, lines: &[usize]) -> Vec<u8> {
    let mut numbers = Vec::new();
    let lines = lines
        .iter()
        .map(|&line| line_head(opened, asked, line, &mut numbers))
        .collect();
    let head = Head {
        start: asked.start,
        end: asked.end,
        columns: asked.columns,
        lines,
    };
    let mut head = serde_json::to_vec(&head).expect("numbers and names are JSON");
    head.resize((head.len() + 4).next_multiple_of(8) - 4, b' ');
    let mut body = Vec::with_capacity(4 + head.len() + numbers.len());
    body.extend_from_slice(&(head.len() as u32).to_le_bytes());
    body.extend_from_slice(&head);
    body.extend_from_slice(&numbers);
    body
}

fn line_head(opened: &Opened, asked: &Asked, position: usize, numbers: &mut Vec<u8>) -> LineHead {
    let line = &opened.capture.lines[position];
    let open = &opened.lines[position];
    let origin = opened.origin().0;
    let start = Ticks(asked.start.saturating_add(origin));
    let end = Ticks(asked.end.saturating_add(origin));
    let from_start = |time: Ticks| (time.0.saturating_sub(start.0)) as f64;
    let found = line_window(line, &open.index, start, end, asked.columns);
    let mut head = LineHead {
        line: position,
        entering: if found.entering.is_known() {
            u8::from(found.entering == crate::model::Level::High)
        } else {
            2
        },
        first: found.edges.start,
        count: found.edges.len(),
        ..LineHead::default()
    };
    let before = found.edges.start.checked_sub(1).map(|index| line.edges[index]);
    let after = line.edges.get(found.edges.end).copied();
    head.before = before.map(from_start);
    head.after = after.map(from_start);
    let around = (
        before.unwrap_or(line.span.start).min(start),
        after.unwrap_or(line.span.end).max(end),
    );
    match found.shape {
        Shape::Edges if found.edges.is_empty() => {}
        Shape::Edges => {
            head.edges = Some(put_f64(
                numbers,
                line.edges[found.edges].iter().map(|&edge| from_start(edge)),
            ))
        }
        Shape::Columns(codes) => head.columns = Some(put(numbers, codes.into_iter().map(|code| [code]))),
    }
    let shown = |from: Ticks, to: Ticks| from < end && to > start;
    let stretches: Vec<f64> = line
        .stretches
        .iter()
        .skip(
            line.stretches
                .partition_point(|stretch| stretch.span.end <= around.0),
        )
        .take_while(|stretch| stretch.span.start < around.1)
        .take(asked.columns)
        .flat_map(|stretch| {
            let kind = match stretch.kind {
                StretchKind::Unknown => 0.0,
                StretchKind::Floating => 1.0,
                StretchKind::Unrecorded => 2.0,
            };
            [from_start(stretch.span.start), from_start(stretch.span.end), kind]
        })
        .collect();
    if !stretches.is_empty() {
        head.stretches = Some(put_f64(numbers, stretches.into_iter()));
    }
    let flips: Vec<f64> = line
        .flips
        .iter()
        .filter(|&&flip| shown(flip, flip + Ticks(1)))
        .map(|&flip| from_start(flip))
        .collect();
    if !flips.is_empty() {
        head.flips = Some(put_f64(numbers, flips.into_iter()));
    }
    put_strays(open, (start, end), asked.columns, &mut head, numbers);
    match line
        .trace
        .as_ref()
        .map(|trace| volts(trace, start, end, asked.columns))
    {
        Some(Volts::Points(points)) => head.points = Some(put_f64(numbers, points.into_iter().flatten())),
        Some(Volts::Envelope(pairs)) => {
            head.volts = Some(put(numbers, pairs.into_iter().flatten().map(f32::to_le_bytes)));
        }
        None => {}
    }
    head
}

fn put_strays(
    open: &OpenLine,
    (start, end): (Ticks, Ticks),
    columns: usize,
    head: &mut LineHead,
    numbers: &mut Vec<u8>,
) {
    // Strays don't overlap, so the ends ascend as the starts do.
    let from = open.strays.partition_point(|mark| mark.end <= start);
    let to = open.strays.partition_point(|mark| mark.start < end).max(from);
    let inside = &open.strays[from..to];
    if inside.is_empty() {
    } else if inside.len() <= columns / 2 {
        let pairs = inside
            .iter()
            .flat_map(|mark| [(mark.start.0 - start.0) as f64, (mark.end.0 - start.0) as f64]);
        head.strays = Some(put_f64(numbers, pairs));
    } else {
        let mut next = inside.iter();
        let marked: Vec<u32> = (0..columns)
            .filter(|&column| {
                let limit = boundary(start, end, columns, column + 1);
                let here = next.as_slice().partition_point(|mark| mark.start < limit);
                next = next.as_slice()[here..].iter();
                here > 0
            })
            .map(|column| column as u32)
            .collect();
        head.stray_columns = Some(put(numbers, marked.into_iter().map(u32::to_le_bytes)));
    }
}

fn put_f64(numbers: &mut Vec<u8>, values: impl Iterator<Item = f64>) -> Place {
    put(numbers, values.map(f64::to_le_bytes))
}

/// Appends entries at the next multiple of 8 bytes; gives where, and how many.
fn put<const N: usize>(numbers: &mut Vec<u8>, entries: impl Iterator<Item = [u8; N]>) -> Place {
    numbers.resize(numbers.len().next_multiple_of(8), 0);
    let first = numbers.len();
    for entry in entries {
        numbers.extend_from_slice(&entry);
    }
    (first, (numbers.len() - first) / N)
}

/// How many columns the whole capture is to have.
#[derive(Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
pub struct DensityAsked {
    /// Pixel columns.
    columns: usize,
}

/// The whole capture in columns.
#[derive(Serialize)]
pub struct Density {
    /// Edges on all lines, one number a column.
    pub edges: Vec<u64>,
    /// Strays on all lines, one number a column.
    pub strays: Vec<u32>,
}

/// Where in the capture the edges and the findings are. Cost: logarithmic in a line's edges, for each column.
pub async fn density(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    Query(asked): Query<DensityAsked>,
) -> Result<Json<Density>, Failure> {
    let opened = app.opened_as(SessionId(id), &shown).await?;
    asked_columns(asked.columns)?;
    Ok(Json(
        tokio::task::spawn_blocking(move || density_of(&opened, asked.columns)).await?,
    ))
}

fn density_of(opened: &Opened, columns: usize) -> Density {
    let (start, end) = (opened.capture.span.start, opened.capture.span.end + Ticks(1));
    let mut edges = vec![0u64; columns];
    let mut strays = vec![0u32; columns];
    for (line, open) in opened.capture.lines.iter().zip(&opened.lines) {
        let mut before = open.index.rank(&line.edges, start);
        for (column, count) in edges.iter_mut().enumerate() {
            let after = open
                .index
                .rank(&line.edges, boundary(start, end, columns, column + 1));
            *count += (after - before) as u64;
            before = after;
        }
        let length = (end.0 as i128 - start.0 as i128).max(1);
        for mark in &open.strays {
            let column = (mark.start.0 as i128 - start.0 as i128) * columns as i128 / length;
            if let Some(count) = usize::try_from(column)
                .ok()
                .and_then(|column| strays.get_mut(column))
            {
                *count += 1;
            }
        }
    }
    Density { edges, strays }
}
