//! `edgewitness compare`: did the fix make a difference?

use serde::{Deserialize, Serialize};

use super::CaptureRow;

/// Name and version of the shape, in its `schema`.
pub const SCHEMA: &str = "edgewitness-compare-1";

/// The word in place of edges for two contacts that strike each other: with either's edges.
pub const EACH_OTHER: &str = "each-other";

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
    /// Supply rails: dips and rises out of their limits, over the edges of the line that they follow (the second of `lines`),
    /// else over the time they were watched.
    #[serde(default)]
    pub rails: Vec<TroubleCompareRow>,
    /// What to do with the change as a whole; empty where nothing can be said of it.
    #[serde(default)]
    pub advice: String,
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
    /// Of a rail: how deep it goes. The verdict is on how often; this is judged by itself.
    #[serde(default)]
    pub depth: Option<DepthRow>,
    #[serde(flatten)]
    pub judged: JudgedRow,
}

/// How deep a rail goes, compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DepthRow {
    /// Whether all edges of the line that the dips follow are compared (true) or the dips only.
    pub at_edges: bool,
    pub before: DepthSideRow,
    pub after: DepthSideRow,
    /// Mann–Whitney's test, two-sided; null with too few on a side.
    pub p_value: Option<f64>,
    /// `shallower`, `deeper` or `unclear`.
    pub verdict: String,
}

/// How deep a rail goes on one side. Volts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DepthSideRow {
    /// Edges or dips that were measured.
    pub measured: u64,
    /// The potential that half of them bring it to, or nearer to zero.
    pub median_v: f64,
    /// The potential nearest to zero.
    pub deepest_v: f64,
}

/// What each run shows of how deep a rail goes.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RailDepths {
    pub rail: String,
    pub nominal_v: f64,
    /// As in [`DepthRow`].
    pub at_edges: bool,
    /// For each run, one value for each edge or dip, in volts.
    pub lowest_v: Vec<Vec<f64>>,
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
    /// How deep the rails go; one for each rail.
    #[serde(default)]
    pub depths: Vec<RailDepths>,
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
    /// For each run: lines whose short pulses are compared in none, for this run's findings ask whether they are strays, or take
    /// them for what the line sends.
    #[serde(default)]
    pub asked: Vec<Vec<String>>,
}

/// One trouble, counted by the same definition in every run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Trouble {
    pub kind: TroubleKind,
    /// Victim and aggressor; the ends of a link; the contact; the lines of a rule; the rail, and the line whose edges its dips
    /// follow where they are counted over these.
    pub lines: Vec<String>,
    /// `rise`, `fall` or `both` for a coupling, `each-other` for two contacts that strike each other, the rule's name for a rule,
    /// `rise` or `fall` for a rail that is counted over edges, else empty.
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
    /// `rise`, `fall` or `both`; `each-other` where the two are contacts that strike each other: both ways are counted together.
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
    /// Opportunities after in all, the further ones clean, that would settle it: the number that `next` asks for. When undecided:
    /// until it is shown to be fewer. When `gone` by so few that more than a tenth of the rate before may be left: until that is
    /// ruled out. Null where nothing is open, and where no number would settle it.
    pub opportunities_needed: Option<u64>,
    /// When undecided though strikes go on: about how many opportunities after in all would tell at the rate of now.
    #[serde(default)]
    pub opportunities_needed_at_this_rate: Option<u64>,
    /// Where no number after would: about how many times what was counted on both sides would tell at the rates of now.
    #[serde(default)]
    pub longer_on_both: Option<f64>,
    /// Of `gone`: at most half of the rate before can be left, and no long run before was without it. Where that is false pages say "none so far".
    #[serde(default)]
    pub is_backed: bool,
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
