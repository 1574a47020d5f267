//! What a table is, as its own content or a person says: the form of its rows, the kinds of its columns.

use serde::Serialize;

/// The form of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum TableForm {
    /// One row a sample, at a fixed period.
    Samples,
    /// One row a change.
    Changes,
}

/// What a column of a table holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum ColumnKind {
    Time,
    /// Levels.
    Digital,
    /// Volts.
    Analog,
    /// A packed bus of `bits` lines, its cells written to base 2, 8, 10 or 16.
    Bus {
        bits: usize,
        base: u32,
    },
    /// Not read.
    Ignore,
}
