//! What was read and found, in forms that other programs read: VCD (IEEE 1364), CSV, JSON, Parquet.
//!
//! A capture goes out as VCD or as a CSV change list; strays, couplings, links and lags go out as a [`Table`]
//! in CSV, JSON or Parquet. Writers take any `Write` and hold no more than one row, or one table, in memory.

pub mod changes;
pub mod parquet;
mod table;
pub mod tables;
pub mod vcd;

pub use table::{Cells, Table};
