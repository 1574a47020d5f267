//! Recordings as the files that instruments write: VCD (IEEE Std 1364), tables of samples, lists of changes.
//!
//! Apart from `crate::export` on purpose: these files stand for somebody else's instrument, and what the readers are
//! tested on must not be made by the same hand that writes our own exports.

mod csv;
mod vcd;

pub use csv::{changes_csv, samples_csv};
pub use vcd::vcd;
