//! The only place that joins ingest, setup, harness, analysis, report, export and store.
//!
//! | module | from what to what |
//! | --- | --- |
//! | [`read`], [`stored`] | a file, or a stored original, to a capture |
//! | [`reading`], [`marks`] | what a person said of columns and of pulses, to how a capture is read |
//! | [`align`], [`runs`], `merge` | several captures to one on one clock |
//! | [`inspect`] | a capture to what is wrong, by `forbidden`, `beside_runts`, [`rules`], [`rails`] and `fill` |
//! | `assumed`, [`unreadable`], [`metered`] | what had to be assumed, could not be read, was measured by hand |
//! | [`earlier`] | what earlier conditions of a session tell, to a condition whose own widths tell nothing |
//! | `joined`, `elsewhere` | which captures stand on one clock, and what is not judged where they don't |
//! | [`compare`] | captures under two conditions to what the fix changed |
//! | [`session`] | all that a stored session holds, to captures, reports and counts |
//! | [`known_lines`] | a mistyped line's name to what may have been meant |
//! | [`lines`], [`links`], [`places`], [`export`] | what is there, pulse by pulse, on which pin, in which form |
//! | [`setup_text`] | a rule, rail or link into the text of a setup, and out of it |
//! | [`watch`], [`demo_session`] | a watched folder to new exports; the ready session of the demo |

pub mod align;
mod assumed;
mod beside_runts;
pub mod compare;
pub mod condition_runs;
pub mod demo_session;
mod doubts;
pub mod earlier;
mod elsewhere;
pub mod export;
mod fill;
mod forbidden;
pub mod inspect;
mod joined;
pub mod known_lines;
pub mod lines;
pub mod links;
pub mod marks;
mod merge;
pub mod metered;
pub mod places;
mod rails;
pub mod read;
pub mod reading;
mod rules;
pub mod runs;
pub mod same_signal;
mod sent;
pub mod session;
pub mod setup_text;
mod stated;
pub mod stored;
pub mod unreadable;
pub mod watch;

pub use crate::analysis::parallel::on_all_cores;
