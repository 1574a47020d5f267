//! `edgewitness inspect`: lines, strays, couplings, links, findings.

use serde::{Deserialize, Serialize};

use super::doubts::DoubtRow;
use super::rails::{RailRow, WaveformRow};
use super::rules::RuleRow;
use super::{CaptureRow, Interval, Median};
use crate::model::Source;

/// Name and version of the shape, in its `schema`.
pub const SCHEMA: &str = "edgewitness-report-1";

/// What is wrong with the machine, and the counts behind it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct InspectReport {
    pub schema: String,
    pub captures: Vec<CaptureRow>,
    pub lines: Vec<LineRow>,
    pub strays: Vec<StrayRow>,
    pub couplings: Vec<CouplingRow>,
    pub links: Vec<LinkRow>,
    pub findings: Vec<Finding>,
    /// Pulses of which a note says that they may be strays or the line's job, or that they were taken for its job.
    #[serde(default)]
    pub doubts: Vec<DoubtRow>,
    /// Links that nobody declared, most alike first.
    #[serde(default)]
    pub proposals: Vec<ProposalRow>,
    /// Declared links whose signals arrive at each other's far ends, or beside their own.
    #[serde(default)]
    pub permutations: Vec<PermutationRow>,
    /// Rules of the setup file and what came of them, in their order.
    #[serde(default)]
    pub rules: Vec<RuleRow>,
    /// Declared supply rails.
    #[serde(default)]
    pub rails: Vec<RailRow>,
    /// Pulse measures of analog lines with two states.
    #[serde(default)]
    pub waveforms: Vec<WaveformRow>,
    /// What is narrow by limits that an earlier condition's widths gave: see [`TakenOverRow`].
    #[serde(default)]
    pub taken_over: Vec<TakenOverRow>,
    /// Captures, by their files, whose lines stand here by their own times, for nothing joins their clocks to the first one's.
    #[serde(default)]
    pub unjoined: Vec<String>,
}

impl InspectReport {
    /// A report without rows.
    pub fn empty() -> InspectReport {
        InspectReport {
            schema: SCHEMA.to_owned(),
            ..InspectReport::default()
        }
    }
}

/// A line, and below what width its pulses are strays.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LineRow {
    pub line: String,
    pub capture: String,
    #[schema(value_type = String)]
    pub source: Source,
    pub edges: u64,
    /// Pulses shorter than this are strays; null where the line's widths give no ground. Where the limits of the two levels
    /// differ, the larger.
    pub narrow_below_s: Option<f64>,
    /// The limit for low pulses; null where no low pulse is narrow.
    #[serde(default)]
    pub narrow_below_low_s: Option<f64>,
    /// The limit for high pulses; null where no high pulse is narrow.
    #[serde(default)]
    pub narrow_below_high_s: Option<f64>,
    /// `setup`, `inferred`, `taken-over` (from an earlier condition of the session) or `none`.
    pub narrow_from: String,
}

/// A line whose own widths tell nothing, judged by the narrow limit of an earlier condition of the session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct TakenOverRow {
    pub line: String,
    /// The condition's name.
    pub condition: String,
    /// Where the limits of the two levels differ, the larger.
    pub narrow_below_s: f64,
    /// The line that struck it then, and with which edges (`rise`, `fall` or `both`); null where none did clearly or where it was
    /// not captured now: `strays` are then all of the line's.
    pub aggressor: Option<String>,
    pub edge: Option<String>,
    /// Strays at the delay of then, of the opportunities there were for one: as Before and after counts them.
    pub strays: u64,
    pub opportunities: Option<u64>,
    /// Exact one-sided 95 % upper bound of the share of the opportunities that bring one.
    pub most: Option<f64>,
}

/// A stray pulse, and what caused it where that is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct StrayRow {
    pub line: String,
    pub start_s: f64,
    pub width_s: f64,
    /// `low` or `high`: the level during the stray.
    pub level: String,
    /// `pulse`, `runt` or `bounce`.
    pub kind: String,
    pub aggressor: Option<String>,
    /// `rise` or `fall`.
    pub edge: Option<String>,
    pub lag_s: Option<f64>,
}

/// Edges of one line that go with strays of another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CouplingRow {
    pub victim: String,
    pub aggressor: String,
    /// `rise`, `fall` or `both`.
    pub edge: String,
    /// Strays that follow such an edge, of the opportunities: such edges while the victim could show one.
    pub strays: u64,
    pub opportunities: u64,
    /// Strays that chance alone would put there.
    pub expected_by_chance: f64,
    /// Probability of as many by chance; the next one allows for all the pairs that were tried (false discovery rate).
    pub p_value: f64,
    pub q_value: f64,
    pub strike_rate: Interval,
    pub lag_s: Median,
    /// `clear`, `inseparable` or `companion`.
    pub standing: String,
    pub inseparable_from: Vec<String>,
    /// Strays of the victim (of the struck level) in all, as `strays` of the report lists them: `strays` and
    /// `strays_beside` of these follow the aggressor.
    pub victim_strays: u64,
    /// Further strays put down to the aggressor of which no rate can be taken, most of them beside an edge of the victim's
    /// own: neither `strays` nor `strike_rate` has them. 0 where the standing is not `clear`.
    #[serde(default)]
    pub strays_beside: u64,
    /// Lags from the aggressor's crossing to the victim's, in bins no finer than the sampling.
    pub lag_histogram: Option<LagHistogram>,
    /// Suspects that were considered and ruled out, most tempting first.
    pub ruled_out: Vec<RuledOut>,
}

/// Counts of lags: bin `i` covers `[start_s + i·bin_s, start_s + (i+1)·bin_s)`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LagHistogram {
    pub start_s: f64,
    pub bin_s: f64,
    pub counts: Vec<u64>,
}

/// A suspect that was cleared, with the counts that clear it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuledOut {
    pub line: String,
    pub edge: String,
    /// Strays that follow it in all, and those that follow it and not the accused.
    pub strays: u64,
    pub strays_alone: u64,
    /// Its opportunities in all, and those at which the accused did not switch.
    pub opportunities: u64,
    pub opportunities_alone: u64,
    /// A sentence: why it is cleared.
    pub reason: String,
}

/// A declared link: what was sent, and what became of it at the far end.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LinkRow {
    pub from: String,
    pub to: String,
    /// `intact`, `lossy`, `dead`, `inverted`, `noisy`, `lossy-noisy` or, where neither end moved, `nothing-sent`.
    pub verdict: String,
    /// Pulses whose arrival could be judged, and those that arrived.
    pub sent: u64,
    pub arrived: u64,
    /// Starts at the sending end of pulses that did not arrive.
    pub missing_s: Vec<f64>,
    /// Starts at the far end of pulses that nobody sent.
    pub extra_s: Vec<f64>,
    /// Of the pulses in `missing_s`, those that came later than the link allows.
    #[serde(default)]
    pub late: Vec<LateRow>,
    pub delay_s: Option<Median>,
    pub better_match: Option<BetterMatch>,
    /// Delays of the pulses that arrived.
    #[serde(default)]
    pub delay_histogram: Option<LagHistogram>,
    /// What the far end does, in words, where it does not carry the signal.
    #[serde(default)]
    pub far_end: Option<String>,
    /// Pulses that arrived with another width than the rest.
    #[serde(default)]
    pub distorted: Vec<DistortedRow>,
    /// Where width decides what gets lost: losses up to a width, and beyond; else null.
    #[serde(default)]
    pub lost_by_width: Option<ByWidthRow>,
    /// Declared as upside down at the far end.
    #[serde(default)]
    pub inverted: bool,
}

/// Pulses lost up to a width, and of wider ones.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ByWidthRow {
    /// The widest of the narrow pulses.
    pub up_to_s: f64,
    /// Of the pulses up to that width, those lost, and all sent.
    pub lost: u64,
    pub sent: u64,
    /// Of the wider ones.
    pub wider_lost: u64,
    pub wider_sent: u64,
    /// Fisher's exact test, one-sided, the widths that were tried allowed for; losses in an unbroken row count once.
    pub p_value: f64,
}

/// A pulse that came later than its link allows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LateRow {
    /// Start at the sending end.
    pub sent_s: f64,
    /// Start at the far end.
    pub arrived_s: f64,
}

/// A pulse that arrived with another width.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DistortedRow {
    /// Start at the sending end.
    pub sent_s: f64,
    pub width_sent_s: f64,
    pub width_arrived_s: f64,
}

/// Two lines so alike that one is likely the other's far end, and no link between them is declared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ProposalRow {
    pub from: String,
    pub to: String,
    pub inverted: bool,
    pub delay_s: f64,
    /// Share of the edges of both lines that match.
    pub alike: f64,
    /// Share of the sender's pulses that do not arrive, from 0 to 1.
    #[serde(default)]
    pub lost: f64,
}

/// Bits of a linked bus, or single links, that arrive in another order than they are sent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PermutationRow {
    /// `swapped` (pairs), `reversed`, `rotated` (all by as many places, the last coming in first), `shifted` (all that
    /// arrive by as many places) or `mixed`.
    pub order: String,
    /// The buses of the declared link; null for single links.
    pub from: Option<String>,
    pub to: Option<String>,
    /// Of a bus all bits, the most significant first, also those that arrive where they should.
    pub bits: Vec<PermutedBit>,
}

/// Where one signal of a permutation arrives.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PermutedBit {
    /// The sending end, and the far end it is declared for.
    pub from: String,
    pub to: String,
    /// The line that carries it; null where no captured line does.
    pub arrives_at: Option<String>,
    /// Pulses found there, of those sent.
    pub arrived: u64,
    pub sent: u64,
}

/// Another captured line that carries the signal when the far end does not.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct BetterMatch {
    pub line: String,
    pub arrived: u64,
    pub delay_s: f64,
}

/// One thing to say to the person, with what to try next.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Finding {
    /// `F1`, `F2`, … worst first; before them what all times hang on, where a file names no unit.
    pub id: String,
    pub severity: Severity,
    /// One of the contract's topics: `coupling`, `inseparable`, `uncaptured-cause`, `shared-supply`, `stray`,
    /// `bounce`, `link`, `stuck`, `alignment`, `change`, `rail`, `limit`, `logic`, `sequence`, `reading`.
    pub topic: String,
    pub lines: Vec<String>,
    /// A sentence that can be read aloud.
    pub title: String,
    /// The evidence in figures.
    pub detail: String,
    pub try_next: Vec<String>,
}

/// Words in the title of a finding that tells of a file without a unit of its times.
pub const NAMES_NO_UNIT: &str = " names no time unit";

/// Ends the question about lines that never moved.
const MEANT_TO: &str = "meant to?";

impl Finding {
    /// Whether it tells what all times hang on: it stands before everything else, however bad that is.
    pub fn is_of_time_unit(&self) -> bool {
        self.topic == "reading" && self.title.contains(NAMES_NO_UNIT)
    }

    /// Whether it asks if lines that never moved were meant to rest.
    pub fn is_of_rested_lines(&self) -> bool {
        self.topic == "stuck" && self.severity == Severity::Note && self.title.ends_with(MEANT_TO)
    }

    /// Names the finding from one answer to the next, where `id` is only its place in one answer: its topic and
    /// its lines.
    fn key(&self) -> String {
        let mut key = self.topic.clone();
        // Several rules may speak of the same lines: the rule's own name tells them apart.
        if let Some((rule, _)) = self
            .detail
            .strip_prefix("Rule \"")
            .and_then(|rest| rest.split_once("\"."))
        {
            key.push_str(&format!(" \"{rule}\""));
        }
        // Of a capture that can't be read, or names no unit, the file is what tells it from another.
        if self.topic == "reading" {
            if let Some((file, _)) = self.title.split_once(" can't be read") {
                key.push_str(&format!(" {file}"));
            } else if let Some((file, _)) = self.title.split_once(NAMES_NO_UNIT) {
                key.push_str(&format!(" unit of {file}"));
            }
        }
        // Of a line that never moves the neighbours that do are evidence: the busiest comes first, and changes.
        let named = match self.topic == "stuck" && self.title.contains(" never moves ") {
            true => &self.lines[..self.lines.len().min(1)],
            false => &self.lines[..],
        };
        for line in named {
            key.push(' ');
            key.push_str(line);
        }
        key
    }
}

/// The key of each finding, in their order: no two the same. A second finding of one topic and the same lines adds the
/// words of its title, without the figures, which change from one answer to the next.
pub fn finding_keys(findings: &[Finding]) -> Vec<String> {
    let mut keys: Vec<String> = Vec::with_capacity(findings.len());
    for finding in findings {
        let mut key = finding.key();
        if keys.contains(&key) {
            let words = finding.title.split_whitespace();
            let words = words.filter(|word| !word.contains(|c: char| c.is_ascii_digit()));
            key = format!("{key}: {}", words.collect::<Vec<_>>().join(" "));
        }
        let (base, mut again) = (key.clone(), 2);
        while keys.contains(&key) {
            key = format!("{base} ({again})");
            again += 1;
        }
        keys.push(key);
    }
    keys
}

/// How bad a finding is, the worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    Fault,
    Warning,
    Note,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_finding_has_a_key_of_its_own() {
        let finding = |topic: &str, lines: &[&str], title: &str, detail: &str| Finding {
            id: String::new(),
            severity: Severity::Warning,
            topic: topic.to_owned(),
            lines: lines.iter().map(|line| (*line).to_owned()).collect(),
            title: title.to_owned(),
            detail: detail.to_owned(),
            try_next: Vec::new(),
        };
        let keys = finding_keys(&[
            finding("coupling", &["CLEAR_N", "STEP"], "CLEAR_N: 66 of 68", ""),
            finding(
                "limit",
                &["CLEAR_N"],
                "too short",
                "Rule \"clear lasts\". 3 of 9.",
            ),
            finding("limit", &["CLEAR_N"], "too long", "Rule \"clear ends\". 1 of 9."),
            finding(
                "stuck",
                &["BELL[4]", "BELL[0]"],
                "BELL[4] never moves while its neighbours do",
                "",
            ),
            finding("stuck", &["BELL[4]", "BELL[0]"], "the same at every edge", ""),
            finding("link", &["A", "B"], "3 of 9 pulses are lost", ""),
            finding("link", &["A", "B"], "4 pulses of another width", ""),
            finding("link", &["A", "B"], "7 pulses of another width", ""),
            finding(
                "reading",
                &[],
                "take 2.csv can't be read, and is not looked at",
                "",
            ),
        ]);
        assert_eq!(
            keys,
            [
                "coupling CLEAR_N STEP",
                "limit \"clear lasts\" CLEAR_N",
                "limit \"clear ends\" CLEAR_N",
                "stuck BELL[4]",
                "stuck BELL[4] BELL[0]",
                "link A B",
                "link A B: pulses of another width",
                "link A B: pulses of another width (2)",
                "reading take 2.csv",
            ]
        );
    }
}
