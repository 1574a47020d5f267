//! The only place that joins ingest, setup, analysis, report and store.

pub mod lines;
mod parallel;
pub mod read;

pub use parallel::on_all_cores;
