//! Recordings as the files that instruments write: VCD (IEEE Std 1364), tables of samples, lists of changes.

mod csv;
mod vcd;

pub use csv::{changes_csv, samples_csv};
pub use vcd::vcd;
