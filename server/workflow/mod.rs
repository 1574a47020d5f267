//! The only place that joins ingest, setup, analysis, report and store.

pub mod align;
mod assumed;
pub mod compare;
pub mod demo_session;
pub mod export;
mod fill;
mod forbidden;
pub mod inspect;
pub mod lines;
pub mod links;
pub mod marks;
mod merge;
pub mod metered;
pub mod places;
pub mod rails;
pub mod read;
pub mod reading;
pub mod rules;
pub mod runs;
pub mod session;
pub mod stored;
pub mod unreadable;
pub mod watch;

pub use crate::analysis::parallel::on_all_cores;
