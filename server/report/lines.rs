//! `edgewitness lines`: what is there, no analysis.

use serde::{Deserialize, Serialize};

use super::CaptureRow;
use crate::model::Source;

/// Name and version of the shape, in its `schema`.
pub const SCHEMA: &str = "edgewitness-lines-1";

/// What the captures hold, without analysis.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LinesReport {
    pub schema: String,
    pub captures: Vec<CaptureRow>,
    pub lines: Vec<LineRow>,
}

/// A line: its edges, and the time it spent at each level.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LineRow {
    pub line: String,
    pub capture: String,
    pub source: Source,
    pub edges: u64,
    /// `low`, `high`, `unknown` or `floating`: the level at the capture's start.
    pub first_level: String,
    pub low_s: f64,
    pub high_s: f64,
    pub unknown_s: f64,
    pub floating_s: f64,
    /// Shortest and longest pulse between two edges; null with fewer than two edges.
    pub shortest_s: Option<f64>,
    pub longest_s: Option<f64>,
}
