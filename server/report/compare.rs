//! `edgewitness compare`: did the fix make a difference?

use serde::{Deserialize, Serialize};

use super::CaptureRow;

/// Name and version of the shape, in its `schema`.
pub const SCHEMA: &str = "edgewitness-compare-1";

/// What a fix changed: every trouble of either side, counted on both.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CompareReport {
    pub schema: String,
    pub before: Vec<CaptureRow>,
    pub after: Vec<CaptureRow>,
    /// New troubles first, then what is still there, then what is gone.
    pub couplings: Vec<CompareRow>,
    /// Links declared in the setup: pulses lost of pulses sent.
    pub links: Vec<LinkCompareRow>,
    /// Pulses that nobody sent, of pulses at the far end of a declared link.
    #[serde(default)]
    pub extras: Vec<TroubleCompareRow>,
    /// Contacts: switchings that bounced, of all their switchings.
    #[serde(default)]
    pub bounces: Vec<TroubleCompareRow>,
    /// Limits, logic and sequences of the setup: occasions broken, of those judged.
    #[serde(default)]
    pub limits: Vec<TroubleCompareRow>,
    /// Strays of a line whatever their cause, where couplings do not explain all of them; over the time it was watched.
    #[serde(default)]
    pub strays: Vec<TroubleCompareRow>,
    /// Supply rails: dips and rises out of their limits, over the time they were watched.
    #[serde(default)]
    pub rails: Vec<TroubleCompareRow>,
    /// What takes the ground from under the verdicts, in sentences.
    #[serde(default)]
    pub notes: Vec<String>,
}

/// A trouble other than a coupling or a loss, compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct TroubleCompareRow {
    /// The rule's name, or the line's, or `FROM to TO` of a link.
    pub name: String,
    pub lines: Vec<String>,
    pub before: OccasionsRow,
    pub after: OccasionsRow,
    /// Of what is counted over time: occasions are stretches of so many seconds; so a rate a second is that of an
    /// occasion divided by it. Null where occasions are events.
    #[serde(default)]
    pub slot_s: Option<f64>,
    pub rate_ratio: RatioRow,
    #[serde(flatten)]
    pub judged: JudgedRow,
}

/// How often it went wrong, of how many occasions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct OccasionsRow {
    pub wrong: u64,
    pub occasions: u64,
}

/// What every trouble came to in every run: counts add up, so any two sets of runs can be compared without
/// looking at the captures again.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Tallies {
    /// Captures of each run: several where instruments recorded it together.
    pub runs: Vec<Vec<CaptureRow>>,
    /// Names of the lines of each run.
    pub lines: Vec<Vec<String>>,
    /// Edges of each of these lines, without those of its strays.
    #[serde(default)]
    pub edges: Vec<Vec<u64>>,
    pub troubles: Vec<Trouble>,
    /// Pairs of runs with the same edges at the same moments: one recording, brought twice.
    #[serde(default)]
    pub twins: Vec<[usize; 2]>,
    /// For each run: lines whose file's name (first) differs by its scopes from the one they are counted under (second).
    #[serde(default)]
    pub called: Vec<Vec<[String; 2]>>,
    /// For each run: declared links that are not counted in it, for their ends were recorded on clocks that nothing joins.
    #[serde(default)]
    pub unjoined: Vec<Vec<[String; 2]>>,
    /// For each run: names of rules that are not judged in it, likewise.
    #[serde(default)]
    pub unjoined_rules: Vec<Vec<String>>,
    /// For each run: lines of which no strays are counted in it, for their levels are wrong themselves.
    #[serde(default)]
    pub left_out: Vec<Vec<String>>,
}

/// One trouble, counted by the same definition in every run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Trouble {
    pub kind: TroubleKind,
    /// Victim and aggressor; the ends of a link; the contact; the lines of a rule.
    pub lines: Vec<String>,
    /// `rise`, `fall` or `both` for a coupling, the rule's name for a rule, else empty.
    pub detail: String,
    /// One for each run; `occasions` 0: the run could not show it.
    pub counts: Vec<OccasionsRow>,
    /// Of what is counted over time: an occasion is a stretch of so many seconds, the same in all runs.
    #[serde(default)]
    pub slot_s: Option<f64>,
    /// Of strays: what each run could see, one for each run; else empty.
    #[serde(default)]
    pub seen: Vec<SeenRow>,
}

/// How finely a run was sampled, and how wide the strays were that it showed: what a run sampled otherwise could have shown.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SeenRow {
    /// Sampling period of the victim's line; 0 where it is not known.
    pub sampling_s: f64,
    pub widths: Vec<WidthRow>,
}

/// So many strays of one width.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct WidthRow {
    pub width_s: f64,
    /// Pulses of that level count as strays below this width; null: whatever their width.
    pub narrow_below_s: Option<f64>,
    pub strays: u64,
}

/// What is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum TroubleKind {
    Coupling,
    /// Pulses lost on a declared link.
    Loss,
    /// Pulses at the far end of a link that nobody sent.
    Extra,
    Bounce,
    /// A limit, a logic rule or a sequence.
    Limit,
    /// Strays of a line, whatever their cause.
    Stray,
    /// A supply rail out of its limits.
    Rail,
}

/// Strays that go with a coupling, of the opportunities there were for one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CountsRow {
    pub strays: u64,
    pub opportunities: u64,
}

/// A coupling, compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CompareRow {
    pub victim: String,
    pub aggressor: String,
    /// `rise`, `fall` or `both`.
    pub edge: String,
    pub before: CountsRow,
    pub after: CountsRow,
    pub rate_ratio: RatioRow,
    #[serde(flatten)]
    pub judged: JudgedRow,
}

/// What is concluded from the counts of both sides; stands in the row itself in JSON.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct JudgedRow {
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
    /// What to do after it.
    #[serde(default)]
    pub next: String,
}

/// Rate after over rate before with its 95 % interval (Miettinen–Nurminen); null: not defined, or no upper end.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RatioRow {
    pub estimate: Option<f64>,
    pub low: f64,
    pub high: Option<f64>,
}

/// Pulses that did not arrive, of those sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LossRow {
    pub missing: u64,
    pub sent: u64,
}

/// Pulses lost on a link, compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LinkCompareRow {
    pub from: String,
    pub to: String,
    pub before: LossRow,
    pub after: LossRow,
    pub loss_ratio: RatioRow,
    #[serde(flatten)]
    pub judged: JudgedRow,
}
