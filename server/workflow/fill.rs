//! What the analyses found → the shapes of the report: positions become names, ticks become seconds.

use crate::analysis::coupling::{Attribution, Coupling};
use crate::analysis::findings::{self, Finding, Tally};
use crate::analysis::links::{self, FarEnd, Link, Permutation, expand, permutations};
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::{Capture, Level};
use crate::report::inspect as shape;
use crate::report::inspect::{PermutationRow, PermutedBit};
use crate::report::{CaptureRow, Interval, Median};
use crate::setup::LinkSetup;

use super::doubts;

/// The whole report; findings worst first.
pub fn report(
    capture: &Capture,
    sources: Vec<CaptureRow>,
    strays: &Strays,
    attribution: &Attribution,
    links: &[Link],
    findings: Vec<Finding>,
) -> shape::InspectReport {
    let fill = Fill { capture };
    let findings = numbered(findings);
    shape::InspectReport {
        lines: fill.lines(&sources, strays),
        captures: sources,
        doubts: doubts::rows(capture, strays, attribution, &findings),
        strays: fill.strays(strays, attribution),
        couplings: (0..attribution.couplings.len())
            .map(|at| fill.coupling(strays, attribution, at))
            .collect(),
        links: links.iter().map(|l| fill.link(l)).collect(),
        findings,
        ..shape::InspectReport::empty()
    }
}

fn numbered(findings: Vec<Finding>) -> Vec<shape::Finding> {
    let severity = |s| match s {
        findings::Severity::Fault => shape::Severity::Fault,
        findings::Severity::Warning => shape::Severity::Warning,
        findings::Severity::Note => shape::Severity::Note,
    };
    let numbered = findings.into_iter().enumerate().map(|(i, f)| shape::Finding {
        id: format!("F{}", i + 1),
        severity: severity(f.severity),
        topic: f.topic.to_owned(),
        lines: f.lines,
        title: f.title,
        detail: f.detail,
        try_next: f.try_next,
    });
    numbered.collect()
}

struct Fill<'a> {
    capture: &'a Capture,
}

impl Fill<'_> {
    fn name(&self, line: usize) -> String {
        self.capture.lines[line].name.clone()
    }

    fn length_s(&self, ticks: f64) -> f64 {
        self.capture.timebase.length_s(ticks)
    }

    fn lines(&self, sources: &[CaptureRow], strays: &Strays) -> Vec<shape::LineRow> {
        let rows = self
            .capture
            .lines
            .iter()
            .zip(&strays.limits)
            .map(|(line, limit)| {
                (line, limit, |level: Level| {
                    limit.of(level).map(|ticks| self.length_s(ticks))
                })
            })
            .map(|(line, limit, of_level)| shape::LineRow {
                line: line.name.clone(),
                capture: sources
                    .get(line.capture)
                    .map_or_else(String::new, |s| s.file.clone()),
                source: line.source,
                edges: line.edges.len() as u64,
                narrow_below_s: match limit.origin {
                    LimitOrigin::None => None,
                    _ => limit.widest().map(|ticks| self.length_s(ticks)),
                },
                narrow_below_low_s: of_level(Level::Low),
                narrow_below_high_s: of_level(Level::High),
                narrow_from: limit.origin.word().to_owned(),
            });
        rows.collect()
    }

    fn strays(&self, strays: &Strays, attribution: &Attribution) -> Vec<shape::StrayRow> {
        let rows = strays.strays.iter().enumerate().map(|(i, stray)| {
            let cause = attribution.causes.get(i).copied().flatten();
            shape::StrayRow {
                line: self.name(stray.line),
                start_s: self.capture.seconds(stray.start),
                width_s: self.length_s(stray.width.0 as f64),
                level: stray.level.word().to_owned(),
                kind: stray.kind.word().to_owned(),
                aggressor: cause.map(|c| self.name(attribution.couplings[c.coupling].aggressor)),
                edge: cause.map(|c| c.polarity.word().to_owned()),
                lag_s: cause.map(|c| self.length_s(c.lag as f64)),
            }
        });
        rows.collect()
    }

    fn coupling(&self, strays: &Strays, attribution: &Attribution, at: usize) -> shape::CouplingRow {
        let c = &attribution.couplings[at];
        let tally = Tally::of(strays, attribution, at);
        let histogram = &c.histogram;
        shape::CouplingRow {
            victim: self.name(c.victim),
            aggressor: self.name(c.aggressor),
            edge: c.edge.word().to_owned(),
            strays: c.strays,
            opportunities: c.opportunities,
            expected_by_chance: c.expected_by_chance,
            p_value: c.p_value,
            q_value: c.q_value,
            strike_rate: Interval {
                estimate: c.strike_rate.estimate,
                low: c.strike_rate.low,
                high: c.strike_rate.high,
            },
            lag_s: Median {
                median: self.length_s(c.lag.estimate),
                low: self.length_s(c.lag.low),
                high: self.length_s(c.lag.high),
            },
            standing: c.standing.word().to_owned(),
            inseparable_from: c.inseparable_from.iter().map(|&l| self.name(l)).collect(),
            victim_strays: tally.of,
            strays_beside: tally.beside,
            lag_histogram: Some(shape::LagHistogram {
                start_s: self.length_s(histogram.start),
                bin_s: self.length_s(histogram.bin),
                counts: histogram.counts.clone(),
            }),
            ruled_out: c.ruled_out.iter().map(|r| self.ruled_out(c, r)).collect(),
        }
    }

    fn ruled_out(&self, accused: &Coupling, r: &crate::analysis::coupling::RuledOut) -> shape::RuledOut {
        shape::RuledOut {
            line: self.name(r.line),
            edge: r.edge.word().to_owned(),
            strays: r.strays,
            strays_alone: r.strays_alone,
            opportunities: r.opportunities,
            opportunities_alone: r.opportunities_alone,
            reason: findings::why_cleared(self.capture, accused, r),
        }
    }

    fn link(&self, link: &Link) -> shape::LinkRow {
        let starts =
            |pulses: &[links::EndPulse]| pulses.iter().map(|p| self.capture.seconds(p.start)).collect();
        shape::LinkRow {
            from: self.name(link.from),
            to: self.name(link.to),
            verdict: link.verdict.word().to_owned(),
            sent: link.sent as u64,
            arrived: link.arrived as u64,
            missing_s: starts(&link.missing),
            extra_s: starts(&link.extra),
            late: link
                .late
                .iter()
                .map(|late| shape::LateRow {
                    sent_s: self.capture.seconds(late.sent.start),
                    arrived_s: self.capture.seconds(late.arrived.start),
                })
                .collect(),
            delay_s: link.delay.map(|d| Median {
                median: self.length_s(d.median),
                low: self.length_s(d.low),
                high: self.length_s(d.high),
            }),
            better_match: link.better_match.map(|b| shape::BetterMatch {
                line: self.name(b.line),
                arrived: b.arrived as u64,
                delay_s: self.length_s(b.delay),
            }),
            delay_histogram: self.delays(link),
            far_end: self.far_end(link),
            distorted: link
                .distorted
                .iter()
                .map(|d| shape::DistortedRow {
                    sent_s: self.capture.seconds(d.sent.start),
                    width_sent_s: self.length_s((d.sent.end - d.sent.start).0 as f64),
                    width_arrived_s: self.length_s((d.arrived.end - d.arrived.start).0 as f64),
                })
                .collect(),
            lost_by_width: links::by_width(link).map(|narrow| shape::ByWidthRow {
                up_to_s: self.length_s(narrow.up_to as f64),
                lost: narrow.lost,
                sent: narrow.of,
                wider_lost: narrow.wider_lost,
                wider_sent: narrow.wider,
                p_value: narrow.p_value,
            }),
            inverted: link.inverted,
        }
    }

    /// Delays in bins no finer than the coarser end's samples.
    fn delays(&self, link: &Link) -> Option<shape::LagHistogram> {
        let delays = || link.arrivals.iter().map(|a| a.delay);
        let (low, high) = delays().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| {
            (a.min(d), b.max(d))
        });
        if low > high {
            return None;
        }
        let lines = &self.capture.lines;
        let sample = lines[link.from]
            .sample_ticks
            .max(lines[link.to].sample_ticks)
            .max(1.0);
        let bin = ((high - low) / MOST_BINS).max(sample);
        let start = ((low / bin).floor() - 1.0) * bin;
        let mut counts = vec![0u64; ((high - start) / bin) as usize + 2];
        for delay in delays() {
            counts[((delay - start) / bin) as usize] += 1;
        }
        Some(shape::LagHistogram {
            start_s: self.length_s(start),
            bin_s: self.length_s(bin),
            counts,
        })
    }

    fn far_end(&self, link: &Link) -> Option<String> {
        let turned = |inverted: bool| if inverted { ", upside down" } else { "" };
        match link.far_end {
            FarEnd::Carries => None,
            FarEnd::Stuck(level) => Some(format!("never leaves {}", level.word())),
            FarEnd::Floating => Some("floats".to_owned()),
            FarEnd::Follows { line, inverted } => {
                Some(format!("follows {}{}", self.name(line), turned(inverted)))
            }
            FarEnd::Late(delay) => Some(format!(
                "{} the signal {} late, later than the delay allowed",
                match link.verdict {
                    links::Verdict::Inverted => "may as well show",
                    _ => "shows",
                },
                crate::model::units::seconds(self.length_s(delay))
            )),
            FarEnd::Unexplained => Some("moves, and no captured line explains how".to_owned()),
        }
    }
}

/// Bins of a histogram of delays, at most.
const MOST_BINS: f64 = 30.0;

/// Links whose signals arrive elsewhere than declared. `declared`: the links of the setup.
pub fn permutation_rows(capture: &Capture, links: &[Link], declared: &[LinkSetup]) -> Vec<PermutationRow> {
    let name = |line: usize| capture.lines[line].name.clone();
    type Ends = Vec<(usize, usize)>;
    let (buses, ends): (Vec<&LinkSetup>, Vec<Ends>) = declared
        .iter()
        .filter_map(|link| Some((link, expand(capture, &link.from, &link.to).ok()?)))
        .filter(|(_, ends)| ends.len() > 1)
        .unzip();
    let bit = |(&at, line): (&usize, &Option<usize>)| {
        let link = &links[at];
        let elsewhere = link.better_match.filter(|better| Some(better.line) == *line);
        let arrived = match line {
            None => 0,
            Some(_) => elsewhere.map_or(link.arrived, |better| better.arrived.min(link.sent)),
        };
        PermutedBit {
            from: name(link.from),
            to: name(link.to),
            arrives_at: line.map(name),
            arrived: arrived as u64,
            sent: link.sent as u64,
        }
    };
    let row = |found: &Permutation| PermutationRow {
        order: found.order.word().to_owned(),
        from: found.bus.map(|bus| buses[bus].from.clone()),
        to: found.bus.map(|bus| buses[bus].to.clone()),
        bits: found.links.iter().zip(&found.arrives_at).map(bit).collect(),
    };
    permutations(links, &ends).iter().map(row).collect()
}

/// Links that nobody declared.
pub fn proposal_rows(capture: &Capture, proposals: &[links::Proposal]) -> Vec<shape::ProposalRow> {
    let row = |p: &links::Proposal| shape::ProposalRow {
        from: capture.lines[p.from].name.clone(),
        to: capture.lines[p.to].name.clone(),
        inverted: p.inverted,
        delay_s: capture.timebase.length_s(p.delay),
        alike: p.quality,
        lost: p.lost,
    };
    proposals.iter().map(row).collect()
}
