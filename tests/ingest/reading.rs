//! Reads what a test writes, with nothing said about it.

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{Capture, Line};

pub fn try_read(text: &str) -> Result<Capture, ingest::Error> {
    ingest::read_bytes("capture", text.as_bytes().to_vec(), &ReadOptions::default())
}

/// What must be readable.
pub fn read(text: &str) -> Capture {
    try_read(text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// Whether a warning has these words.
pub fn told(capture: &Capture, words: &str) -> bool {
    capture.warnings.iter().any(|w| w.text.contains(words))
}

/// A line's edges in nanoseconds.
pub fn edges_ns(capture: &Capture, line: &Line) -> Vec<i64> {
    let ns = |&edge: &_| (capture.seconds(edge) * 1e9).round() as i64;
    line.edges.iter().map(ns).collect()
}
