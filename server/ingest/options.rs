//! What a reader may be told beforehand, its limits, and how it tells how far it is.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::model::{ColumnKind, Family, TableForm};

/// Bounds that keep the reader small and quick whatever the bytes are. Each is named when it is hit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limits {
    /// Lines of one capture, bits of vectors counted singly. Why: each costs some 500 bytes.
    pub lines: usize,
    /// Columns of a table.
    pub columns: usize,
    /// Longest token of a VCD or row of a table, in bytes: all of it must lie in memory.
    pub token_bytes: usize,
    /// Stretches without a known level, all lines together: they stay in memory (24 bytes each).
    pub stretches: usize,
    /// Runts, all analog lines together: they stay in memory (32 bytes each).
    pub runts: usize,
    /// Edges held in memory before columns go to disk.
    pub buffered_edges: usize,
    /// Changes of reals kept as traces, all variables together (16 bytes each).
    pub real_changes: usize,
    /// Bytes of a stream: all of it lies on disk while it is read. A file may be of any size.
    pub streamed_bytes: u64,
    /// Unpacked bytes of a gzip file.
    pub unpacked_bytes: u64,
    /// Unpacked over packed bytes of a gzip file.
    pub gzip_ratio: u64,
    /// Unpacked bytes below which a high ratio is harmless.
    pub gzip_ratio_from: u64,
    /// Samples that a table may have dropped in one gap and still keep its analog samples.
    pub gap_samples: u64,
    /// Deepest nesting of VCD scopes.
    pub scopes: usize,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            lines: 100_000,
            columns: 20_000,
            token_bytes: 4 << 20,
            stretches: 3_000_000,
            runts: 1_000_000,
            buffered_edges: 4 << 20,
            real_changes: 2_000_000,
            streamed_bytes: 8 << 30,
            unpacked_bytes: 256 << 30,
            // Sample tables of quiet lines reach a few hundred; deflate itself ends near 1,030.
            gzip_ratio: 900,
            gzip_ratio_from: 256 << 20,
            gap_samples: 16 << 20,
            scopes: 4_096,
        }
    }
}

/// What the reader is told beforehand. `Default` leaves everything to the file. As JSON it is part of the key under which
/// what was read is kept.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ReadOptions {
    /// Length of a VCD time unit where `$timescale` is missing, in seconds.
    pub timescale_s: Option<f64>,
    /// Thresholds by line name.
    pub families: BTreeMap<String, Family>,
    /// Thresholds of analog lines that have no entry of their own.
    pub family: Option<Family>,
    /// Kinds by column heading (as in the file, or the line's name) or by number from 1.
    pub columns: BTreeMap<String, ColumnKind>,
    /// Headings of a table that has none, column by column, that of the times too.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub names: Vec<String>,
    /// Other names of lines, by column heading or by number from 1 as in `columns`.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub rename: BTreeMap<String, String>,
    /// Length of one unit of the time column, in seconds.
    pub time_unit_s: Option<f64>,
    /// Sampling period, in seconds.
    pub sample_period_s: Option<f64>,
    /// Between the fields of a row.
    pub delimiter: Option<u8>,
    /// `b'.'` or `b','`.
    pub decimal: Option<u8>,
    pub form: Option<TableForm>,
    /// Take the general path only: the twin that the fast paths are tested against.
    pub plain: bool,
    pub limits: Limits,
}

/// Where the reader tells how far it is. Called from one thread at a time, every few hundred kilobytes.
pub trait Progress: Sync {
    /// `done` of `total` bytes of the file as it lies on disk.
    fn bytes(&self, done: u64, total: Option<u64>) {
        let _ = (done, total);
    }

    /// Whether to give up, with [`super::ErrorKind::Cancelled`].
    fn cancelled(&self) -> bool {
        false
    }
}

/// Nobody listens.
impl Progress for () {}
