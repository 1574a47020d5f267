//! `edgewitness compare`: did the fix make a difference?

use serde::{Deserialize, Serialize};

use super::CaptureRow;

pub const SCHEMA: &str = "edgewitness-compare-1";

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CompareReport {
    pub schema: String,
    pub before: Vec<CaptureRow>,
    pub after: Vec<CaptureRow>,
    /// New troubles first, then what is still there, then what is gone.
    pub couplings: Vec<CompareRow>,
    /// Links declared in the setup: pulses lost of pulses sent.
    pub links: Vec<LinkCompareRow>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CountsRow {
    pub strays: u64,
    pub opportunities: u64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CompareRow {
    pub victim: String,
    pub aggressor: String,
    /// `rise`, `fall` or `both`.
    pub edge: String,
    pub before: CountsRow,
    pub after: CountsRow,
    pub rate_ratio: RatioRow,
    /// Fisher's exact test, two-sided.
    pub p_value: f64,
    /// Exact one-sided 95 % bound of the strike rate after.
    pub after_upper_bound: f64,
    /// `gone`, `reduced`, `worse`, `unchanged` or `undecided`.
    pub verdict: String,
    /// Clean opportunities after that would settle it; null unless undecided, or where no number would.
    pub opportunities_needed: Option<u64>,
    /// A sentence that can be read aloud.
    pub says: String,
}

/// Rate after over rate before with its 95 % interval (Miettinen–Nurminen); null: not defined, or no upper end.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RatioRow {
    pub estimate: Option<f64>,
    pub low: f64,
    pub high: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LossRow {
    pub missing: u64,
    pub sent: u64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LinkCompareRow {
    pub from: String,
    pub to: String,
    pub before: LossRow,
    pub after: LossRow,
    pub loss_ratio: RatioRow,
    pub p_value: f64,
    pub after_upper_bound: f64,
    pub verdict: String,
    pub opportunities_needed: Option<u64>,
    pub says: String,
}
