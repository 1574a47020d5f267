//! Captures under two conditions → what the fix changed.

use std::collections::BTreeMap;

use crate::analysis::compare::{Counts, Judgement, Pair, Side, Verdict, count, judge};
use crate::analysis::coupling::{Attribution, CouplingOptions, Standing, attribute};
use crate::analysis::links::{self, Link};
use crate::analysis::stats::ratio::Ratio;
use crate::analysis::strays::{self, LimitOrigin, NarrowLimit, StrayOptions, Strays};
use crate::model::Capture;
use crate::report::compare::{
    CompareReport, CompareRow, CountsRow, LinkCompareRow, LossRow, RatioRow, SCHEMA,
};
use crate::setup::Setup;

use super::inspect::{link_options, stray_options};
use super::lines::capture_row;

/// One capture, looked at.
struct Looked {
    capture: Capture,
    strays: Strays,
    attribution: Attribution,
    links: Vec<Link>,
}

impl Looked {
    fn side(&self) -> Side<'_> {
        Side {
            capture: &self.capture,
            strays: &self.strays,
            attribution: &self.attribution,
        }
    }
}

/// Compares two conditions. Each capture is a run of its own; the runs of a condition add up.
pub fn compare(before: Vec<Capture>, after: Vec<Capture>, setup: &Setup) -> CompareReport {
    let split = before.len();
    let captures: Vec<Capture> = before.into_iter().chain(after).collect();
    let limits = shared_limits(&captures, setup);
    let looked: Vec<Looked> = captures
        .into_iter()
        .map(|capture| look(capture, setup, &limits))
        .collect();
    let (before, after) = looked.split_at(split);
    let mut couplings: Vec<(u8, CompareRow)> = pairs(&looked)
        .iter()
        .map(|pair| {
            let (b, a) = (total(before, pair), total(after, pair));
            let judged = judge(b, a);
            (rank(judged.verdict), coupling_row(pair, b, a, &judged))
        })
        .collect();
    // New and worse troubles first, then what is still there, then what is gone.
    couplings.sort_by_key(|(rank, row)| (*rank, std::cmp::Reverse(row.after.strays.max(row.before.strays))));
    let rows = |side: &[Looked]| side.iter().map(|l| capture_row(&l.capture, 0.0, 0.0)).collect();
    CompareReport {
        schema: SCHEMA.to_owned(),
        before: rows(before),
        after: rows(after),
        couplings: couplings.into_iter().map(|(_, row)| row).collect(),
        links: link_rows(before, after),
    }
}

fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Worse => 0,
        Verdict::Unchanged => 1,
        Verdict::Reduced => 2,
        Verdict::Undecided => 3,
        Verdict::Gone => 4,
    }
}

/// Narrow limits by line name that some capture's widths gave ground for, in seconds by level (low, high): where
/// the fix worked the widths after it give none, yet the same definition must hold on both sides.
type SharedLimits = BTreeMap<String, (Option<f64>, Option<f64>)>;

fn shared_limits(captures: &[Capture], setup: &Setup) -> SharedLimits {
    let mut shared: BTreeMap<String, (Option<f64>, Option<f64>)> = BTreeMap::new();
    for capture in captures {
        let found = strays::find(capture, &stray_options(capture, setup));
        for (line, limit) in capture.lines.iter().zip(&found.limits) {
            if limit.origin != LimitOrigin::Inferred {
                continue;
            }
            let seconds = |ticks: Option<f64>| ticks.map(|t| capture.timebase.length_s(t));
            let wider = |a: Option<f64>, b: Option<f64>| match (a, b) {
                (Some(a), Some(b)) => Some(a.max(b)),
                (a, b) => a.or(b),
            };
            let entry = shared.entry(line.name.clone()).or_default();
            *entry = (
                wider(entry.0, seconds(limit.low)),
                wider(entry.1, seconds(limit.high)),
            );
        }
    }
    shared
}

fn look(capture: Capture, setup: &Setup, shared: &SharedLimits) -> Looked {
    let mut options: StrayOptions = stray_options(&capture, setup);
    for (index, line) in capture.lines.iter().enumerate() {
        let Some(&(low, high)) = shared.get(&line.name) else {
            continue;
        };
        let ticks = |seconds: Option<f64>| seconds.map(|s| capture.timebase.ticks_of(s));
        let limit = NarrowLimit {
            low: ticks(low),
            high: ticks(high),
            origin: LimitOrigin::Inferred,
        };
        options.taken_over.insert(index, limit);
    }
    let strays = strays::find(&capture, &options);
    let attribution = attribute(&capture, &strays, &CouplingOptions::default());
    let links = links::check(&capture, &link_options(&capture, setup));
    Looked {
        capture,
        strays,
        attribution,
        links,
    }
}

/// Every clear coupling of either side, once, with the polarities, levels and lags that any capture shows.
fn pairs(looked: &[Looked]) -> Vec<Pair> {
    let mut pairs: Vec<Pair> = Vec::new();
    for l in looked {
        let name = |line: usize| l.capture.lines[line].name.clone();
        for row in l
            .attribution
            .couplings
            .iter()
            .filter(|row| row.standing == Standing::Clear)
        {
            let lags = row
                .occurrences
                .iter()
                .map(|o| l.capture.timebase.length_s(o.lag as f64));
            let (low, high) = lags.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), lag| {
                (a.min(lag), b.max(lag))
            });
            let (victim, aggressor) = (name(row.victim), name(row.aggressor));
            let strikes = row
                .occurrences
                .iter()
                .map(|o| (o.polarity, l.strays.strays[o.stray].level));
            let found = pairs
                .iter()
                .position(|p| p.victim == victim && p.aggressor == aggressor);
            let at = found.unwrap_or_else(|| {
                pairs.push(Pair {
                    victim,
                    aggressor,
                    strikes: Vec::new(),
                    lag_low_s: low,
                    lag_high_s: high,
                });
                pairs.len() - 1
            });
            let pair = &mut pairs[at];
            for strike in strikes {
                if !pair.strikes.contains(&strike) {
                    pair.strikes.push(strike);
                }
            }
            pair.lag_low_s = pair.lag_low_s.min(low);
            pair.lag_high_s = pair.lag_high_s.max(high);
        }
    }
    pairs
}

fn total(side: &[Looked], pair: &Pair) -> Counts {
    let mut sum = Counts::default();
    side.iter().for_each(|l| sum += count(&l.side(), pair));
    sum
}

fn coupling_row(pair: &Pair, before: Counts, after: Counts, judged: &Judgement) -> CompareRow {
    let counts = |c: Counts| CountsRow {
        strays: c.strays,
        opportunities: c.opportunities,
    };
    let what = format!("{} struck by {}", pair.victim, pair.aggressor);
    CompareRow {
        victim: pair.victim.clone(),
        aggressor: pair.aggressor.clone(),
        edge: pair.edge().word().to_owned(),
        before: counts(before),
        after: counts(after),
        rate_ratio: ratio_row(judged.ratio),
        p_value: judged.p_value,
        after_upper_bound: judged.after_upper_bound,
        verdict: judged.verdict.word().to_owned(),
        opportunities_needed: judged.opportunities_needed,
        says: says(&what, "opportunities", before, after, judged),
    }
}

fn ratio_row(ratio: Ratio) -> RatioRow {
    RatioRow {
        estimate: ratio.estimate,
        low: ratio.low,
        high: ratio.high,
    }
}

/// The verdict in words, with its counts.
fn says(what: &str, noun: &str, before: Counts, after: Counts, judged: &Judgement) -> String {
    let counts = format!(
        "{} of {} {noun} before, {} of {} after",
        before.strays, before.opportunities, after.strays, after.opportunities
    );
    let bound = format!("{:.1} %", judged.after_upper_bound * 100.0);
    match judged.verdict {
        Verdict::Gone => format!(
            "{what}: gone ({counts}); with 95 % confidence it now strikes at most {bound} of the time."
        ),
        Verdict::Reduced => format!("{what}: fewer, but not gone ({counts})."),
        Verdict::Worse if before.strays == 0 => format!("{what}: new since the change ({counts})."),
        Verdict::Worse => format!("{what}: worse ({counts})."),
        Verdict::Unchanged => format!("{what}: no change ({counts}); that the rate was halved is ruled out."),
        Verdict::Undecided => match judged.opportunities_needed {
            Some(n) if n > after.opportunities => format!(
                "{what}: can't be told yet ({counts}); {} more clean {noun} would settle it.",
                n - after.opportunities
            ),
            _ => format!(
                "{what}: can't be told from these counts ({counts}); capture longer under both conditions."
            ),
        },
    }
}

fn link_rows(before: &[Looked], after: &[Looked]) -> Vec<LinkCompareRow> {
    let mut ends: Vec<(String, String)> = Vec::new();
    let names = |l: &Looked, link: &Link| {
        let name = |line: usize| l.capture.lines[line].name.clone();
        (name(link.from), name(link.to))
    };
    for l in before.iter().chain(after) {
        for link in &l.links {
            let both = names(l, link);
            if !ends.contains(&both) {
                ends.push(both);
            }
        }
    }
    let losses = |side: &[Looked], ends: &(String, String)| {
        let mut sum = Counts::default();
        for l in side {
            for link in l.links.iter().filter(|link| names(l, link) == *ends) {
                sum += Counts {
                    strays: link.missing.len() as u64,
                    opportunities: link.sent as u64,
                };
            }
        }
        sum
    };
    let rows = ends.iter().map(|both| {
        let (b, a) = (losses(before, both), losses(after, both));
        let judged = judge(b, a);
        let loss = |c: Counts| LossRow {
            missing: c.strays,
            sent: c.opportunities,
        };
        LinkCompareRow {
            from: both.0.clone(),
            to: both.1.clone(),
            before: loss(b),
            after: loss(a),
            loss_ratio: ratio_row(judged.ratio),
            p_value: judged.p_value,
            after_upper_bound: judged.after_upper_bound,
            verdict: judged.verdict.word().to_owned(),
            opportunities_needed: judged.opportunities_needed,
            says: says(
                &format!("Pulses lost from {} to {}", both.0, both.1),
                "pulses",
                b,
                a,
                &judged,
            ),
        }
    });
    rows.collect()
}
