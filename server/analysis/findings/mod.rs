//! Findings in sentences: what is wrong, the evidence in figures, and what to try next. Worst first.
//!
//! Every rate stands with its counts and interval; a doubt is said as a doubt; "nothing found" says what could
//! have been seen.

mod before;
mod beside_own;
mod clues;
mod coupling;
mod doubts;
mod each_other;
mod echo;
mod far_below;
mod few;
mod late;
mod mutual;
mod only_part;
mod only_short;
mod others;
mod proof;
pub mod pulses;
mod races;
mod sent;
mod shared_supply;
mod stray;
mod stretches;
mod tally;
mod uncaptured;
mod unrecorded;
mod unsure;
mod words;

use crate::analysis::coupling::Attribution;
use crate::analysis::strays::Strays;
use crate::model::Capture;

pub use coupling::why_cleared;
pub use stray::{nothing_found, nothing_moves};
pub use tally::{Tally, listed};
pub use unsure::plain_strobes;
pub use words::{count_of, edges_word, list, small, span, span_s};

/// How bad a finding is, worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    Fault,
    Warning,
    Note,
}

/// One thing to say to the person.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub severity: Severity,
    /// A topic word of the report: `coupling`, `inseparable`, `uncaptured-cause`, …
    pub topic: &'static str,
    /// Names of the lines it is about, the victim first.
    pub lines: Vec<String>,
    /// A sentence that can be read aloud.
    pub title: String,
    /// The evidence in figures.
    pub detail: String,
    pub try_next: Vec<String>,
}

/// Said wherever hands go into the machine.
pub const CAUTION: &str = "Power off before you move a wire or a clip, let the supply run down, and meter it; what is on the \
                           mains side is for a qualified person.";

/// What the analysis of one capture has to say about strays and their causes, worst first; plain strobes apart
/// ([`plain_strobes`]), which are to stand after all that is really in doubt.
pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<Finding> {
    let mut findings = coupling::of(capture, strays, attribution);
    mutual::join(capture, strays, attribution, &mut findings);
    findings.extend(stray::of(capture, strays, attribution));
    each_other::join(capture, strays, attribution, &mut findings);
    findings.extend(echo::of(capture, attribution));
    findings.extend(sent::of(capture, attribution));
    findings.extend(far_below::of(capture, strays));
    findings.extend(only_short::finding(capture, strays, attribution));
    findings.sort_by_key(|f| f.severity);
    findings
}
