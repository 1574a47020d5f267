//! What rules came to: the array `rules` of the inspect report.

use serde::{Deserialize, Serialize};

use crate::model::units::{engineering, seconds};

/// One rule of the setup file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleRow {
    /// `R1`, `R2`, … in the order limits, logic, latches, sequences, each as the setup file has them.
    pub id: String,
    pub name: String,
    /// `pulse-width`, `setup`, `hold`, `recovery`, `stay`, `exclusive`, `answer`, `delay`, `period`, `frequency`, `logic`,
    /// `latch` or `sequence`.
    pub kind: String,
    /// The line of the setup file on which it begins, from 1.
    pub setup_line: u64,
    pub lines: Vec<String>,
    /// Names the capture does not have: then nothing was checked.
    pub missing: Vec<String>,
    /// `kept`, `broken`, `cant-tell` (none surely broken, some within the sampling uncertainty of the limit),
    /// `nothing-checked`, or `not-judged` (its lines were recorded on clocks that nothing joins).
    pub verdict: String,
    /// Occasions judged: kept + broken + cant_tell.
    pub checked: u64,
    pub kept: u64,
    pub broken: u64,
    pub cant_tell: u64,
    /// Occasions with an unknown level, or cut off by an end of the record.
    pub not_judged: u64,
    /// The limits, both allowed values; null where there is none, and where each side of a strobe has another (`sides`).
    pub at_least_s: Option<f64>,
    pub at_most_s: Option<f64>,
    /// Smallest and largest value measured.
    pub smallest_s: Option<f64>,
    pub largest_s: Option<f64>,
    pub margins: Option<MarginHistogram>,
    /// Violations in time order; at most 10000 are listed, all are counted.
    pub violations: Vec<ViolationRow>,
    /// Occasions that can't be told, likewise.
    pub doubtful: Vec<ViolationRow>,
    pub truth_table: Option<TruthTable>,
    pub steps: Option<Steps>,
    /// Of a line that must stay at a level around an edge: each side that has a limit; else empty.
    #[serde(default)]
    pub sides: Vec<SideRow>,
    /// Of a latch: how it went; else null.
    #[serde(default)]
    pub latch: Option<LatchRow>,
}

/// One side of the edges around which a line must stay at a level.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SideRow {
    /// `before` or `after`.
    pub side: String,
    /// The line must be at its level for at least so long on this side; an allowed value.
    pub at_least_s: f64,
    pub kept: u64,
    pub broken: u64,
    pub cant_tell: u64,
    /// Smallest and largest time between the edge and the moment nearest to it, on this side, at which the line is not at its
    /// level; 0 where it is not as the edge comes; null where it never leaves it.
    pub smallest_s: Option<f64>,
    pub largest_s: Option<f64>,
    /// Those times less the limit.
    pub margins: MarginHistogram,
}

/// What a transparent latch did, all its bits together.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LatchRow {
    /// As many outputs as data, in the same order.
    pub outputs: Vec<String>,
    pub data: Vec<String>,
    pub enable: String,
    /// Stretches (one a bit) in which the enable was open, and those in which the output did not follow.
    pub open: u64,
    pub open_wrong: u64,
    /// Stretches in which it was shut, and those in which the output did not keep its level.
    pub shut: u64,
    pub shut_wrong: u64,
    /// Stretches shorter than the settling time, which are not judged.
    pub too_short: u64,
    /// Changes away from the kept level, in wrong shut stretches.
    pub slips: u64,
    /// Of these, to the level that the data had just then, and to the other one.
    pub to_data: u64,
    pub to_other: u64,
    /// Of these, within the settling time of a change of the data.
    pub after_data: u64,
    /// Of these, those after which the level came back before the enable opened.
    pub came_back: u64,
    /// One lasting fault that would explain it, in words; null when there is none.
    pub as_if: Option<String>,
}

impl RuleRow {
    /// The least and the most of a pair of periods or other times, in the rule's own unit: of a frequency's rule hertz, where
    /// the longest period is the least.
    pub fn worded(&self, smallest_s: Option<f64>, largest_s: Option<f64>) -> [Option<String>; 2] {
        if self.kind == "frequency" {
            [largest_s, smallest_s].map(|s| s.map(|s| engineering(1.0 / s, "Hz")))
        } else {
            [smallest_s, largest_s].map(|s| s.map(seconds))
        }
    }
}

/// Distances from the limit, positive inside it: bin `i` covers `[start_s + i·bin_s, start_s + (i+1)·bin_s)`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct MarginHistogram {
    pub start_s: f64,
    pub bin_s: f64,
    pub counts: Vec<u64>,
    /// Values below the first bin and above the last.
    pub below: u64,
    pub above: u64,
}

/// An occasion on which a rule was broken.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ViolationRow {
    /// From the first edge that counts to the last.
    pub start_s: f64,
    pub end_s: f64,
    pub lines: Vec<String>,
    /// The measured value and what it may truly be; null where nothing came, or the rule measures no time.
    pub measured_s: Option<f64>,
    pub low_s: Option<f64>,
    pub high_s: Option<f64>,
    /// What was seen, where a number does not say it.
    pub what: Option<String>,
    /// Of a rule with a limit on each side of an edge: the side (`before`, `at`, `after`) and the limit that was broken there.
    #[serde(default)]
    pub side: Option<String>,
    #[serde(default)]
    pub limit_s: Option<f64>,
}

/// What a part did, input by input, against its expression.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct TruthTable {
    /// Most significant first, as in `rows[].inputs` and `rows[].expected`.
    pub inputs: Vec<String>,
    pub outputs: Vec<String>,
    /// Contradicted combinations first. All of them for up to 6 inputs, else those seen, at most 256.
    pub rows: Vec<TruthRow>,
    /// Combinations never seen.
    pub never: u64,
    /// Stretches of still inputs shorter than the settling time.
    pub too_short: u64,
    /// One fault that would explain all rows seen, in words; null when there is none, or nothing to explain.
    pub as_if: Option<String>,
    /// Where the outputs come right every time, only later than allowed: the longest time they took.
    #[serde(default)]
    pub late_s: Option<f64>,
    /// Each combination that contradicts was right at other times, and lateness does not explain it.
    #[serde(default)]
    pub now_and_then: bool,
}

/// One combination of inputs.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct TruthRow {
    /// Digits 0 and 1.
    pub inputs: String,
    /// Digits 0, 1 and x (not compared).
    pub expected: String,
    /// Stable stretches with these inputs, and those that contradict.
    pub seen: u64,
    pub wrong: u64,
    /// What came out, most frequent first.
    pub found: Vec<FoundValue>,
}

/// A value that was found, and how often.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct FoundValue {
    pub value: String,
    pub count: u64,
}

/// How the steps of a sequence went.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Steps {
    pub bus: Vec<String>,
    pub steps: u64,
    pub wrong: u64,
    /// What happened instead, in words, most frequent first.
    pub instead: Vec<FoundValue>,
    /// What would make nearly all steps right, in words, and how many it makes right.
    pub suspicion: Option<FoundValue>,
    /// Lines that moved during wrong steps.
    pub company: Vec<Company>,
    /// Of a count whose direction a line says: how that line stood at the wrong steps; else null.
    #[serde(default)]
    pub direction: Option<DirectionRow>,
    /// How often a counter changed between its settling and the next strobe, not only by steps, so that it was not judged.
    #[serde(default)]
    pub moved_between: u64,
}

/// The line that says up or down, at the wrong steps of a count.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DirectionRow {
    pub line: String,
    /// Wrong steps just before which it was high, and low.
    pub wrong_high: u64,
    pub wrong_low: u64,
    /// Wrong steps with an edge of it in the `within_s` before the strobe.
    pub edge_before: u64,
    pub within_s: f64,
}

/// A line that moved in wrong steps of a sequence.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Company {
    pub line: String,
    pub wrong_steps: u64,
    pub right_steps: u64,
    /// Strays of that line in wrong steps (of those listed), by their cause.
    #[serde(default)]
    pub strays: Vec<CompanyStrays>,
}

/// The strays among its edges then.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CompanyStrays {
    pub steps: u64,
    /// The line whose edges (`rise` or `fall`) cause them: the aggressor of a clear coupling of the report; null: not known.
    pub aggressor: Option<String>,
    pub edge: Option<String>,
}
