//! The line whose edges a rail's dips follow.
//!
//! Every line but the supplies is a suspect, by its edges of either polarity: a line in volts by the edges that its
//! thresholds give. A dip goes with an edge when it begins within a window after it. How long a rail takes to sag, from
//! nanoseconds at the pins of a buffer to milliseconds of a coil's current, nobody knows beforehand: windows from one sample
//! of the rail to [`LONGEST_S`] are tried, each twice the one before, and the one that chance explains least is taken. All
//! tries are allowed for (Bonferroni).
//!
//! # Formula
//! Each dip falls into the windows by the share of the time that they cover: binomial upper tail.

use super::{Cause, Excursion};
use crate::analysis::rules::edges::Edges;
use crate::analysis::stats::tails::ln_binomial_upper;
use crate::analysis::volts::Volts;
use crate::model::{Capture, Polarity};

/// Chance that is still called a cause, after allowing for the lines, polarities and windows tried.
const LEVEL: f64 = 0.01;
/// The longest time from an edge to the dip that it is held against (common practice, no source: coils and lamps take tens of
/// milliseconds to draw their full current).
const LONGEST_S: f64 = 0.05;
/// Windows reach over at most this share of the record (no source).
const LONGEST_SHARE: f64 = 0.05;
/// Suspects whose chance is within this factor of the least fit as well: ln 1000 (no source).
const LN_AS_WELL: f64 = 6.9;

struct Suspect {
    cause: Cause,
    ln_p: f64,
}

/// The line and polarity whose edges most dips follow, where chance does not explain it. `supplies`: names of lines that are
/// no suspects. Cost: linear in edges, and dips × windows a line.
pub(super) fn cause(
    capture: &Capture,
    volts: &Volts,
    excursions: &[Excursion],
    supplies: &[&str],
) -> Option<Cause> {
    let dips: Vec<f64> = excursions
        .iter()
        .filter(|e| e.is_dip)
        .map(|e| e.start.0 as f64)
        .collect();
    let (first, last) = (*volts.times.first()?, *volts.times.last()?);
    if dips.len() < 2 || last <= first {
        return None;
    }
    // A dip is stamped by the first sample that shows it, so up to one late.
    let period = (last - first) / (volts.times.len() as f64 - 1.0);
    let mut suspects = Vec::new();
    let mut tried = 0.0;
    for (index, line) in capture.lines.iter().enumerate() {
        if supplies.contains(&line.name.as_str()) || line.same_as.is_some() {
            continue;
        }
        // So may the edge be: then the dip may be seen first.
        let before = line.sample_ticks.max(0.0);
        let shortest = period.max(before).max(1.0);
        let longest = (LONGEST_SHARE * (last - first))
            .min(capture.timebase.ticks_of(LONGEST_S))
            .max(shortest);
        let windows: Vec<f64> = std::iter::successors(Some(shortest), |w| Some(2.0 * w))
            .take_while(|w| *w <= longest)
            .collect();
        for polarity in [Polarity::Rise, Polarity::Fall] {
            let edges: Vec<f64> = Edges::of(line, Some(polarity))
                .iter()
                .map(|e| e.0 as f64 - before)
                .filter(|e| (first - longest..=last).contains(e))
                .collect();
            if edges.is_empty() {
                continue;
            }
            tried += windows.len() as f64;
            suspects.extend(best_window(&edges, &dips, &windows, (first, last), before).map(
                |mut suspect| {
                    (suspect.cause.line, suspect.cause.polarity) = (index, polarity);
                    suspect
                },
            ));
        }
    }
    suspects.sort_by(|a, b| a.ln_p.total_cmp(&b.ln_p));
    let best = suspects.first()?;
    let ln_p = best.ln_p + f64::ln(tried);
    let mut cause = best.cause.clone();
    cause.p_value = ln_p.exp().min(1.0);
    for other in suspects
        .iter()
        .skip(1)
        .take_while(|s| s.ln_p <= best.ln_p + LN_AS_WELL)
    {
        let line = other.cause.line;
        if line != cause.line && !cause.inseparable.contains(&line) {
            cause.inseparable.push(line);
        }
    }
    (cause.p_value <= LEVEL).then_some(cause)
}

/// The window that chance explains least. `edges`: ascending, moved back by `before`; `span`: the time looked at.
fn best_window(
    edges: &[f64],
    dips: &[f64],
    windows: &[f64],
    span: (f64, f64),
    before: f64,
) -> Option<Suspect> {
    let (first, last) = span;
    // How long after the last edge each dip begins.
    let lags = dips.iter().filter_map(|dip| {
        let after = edges.partition_point(|e| e <= dip);
        after.checked_sub(1).map(|at| dip - edges[at])
    });
    let mut lags: Vec<f64> = lags.collect();
    lags.sort_by(f64::total_cmp);
    let of = dips.len() as u64;
    let mut covered = vec![0.0; windows.len()];
    for (at, &edge) in edges.iter().enumerate() {
        let end = edges.get(at + 1).copied().unwrap_or(last).min(last);
        for (covered, window) in covered.iter_mut().zip(windows) {
            *covered += ((edge + before + window).min(end) - edge.max(first)).max(0.0);
        }
    }
    let tries = windows.iter().zip(covered).map(|(&window, covered)| {
        let share = (covered / (last - first)).clamp(0.0, 1.0);
        let hit = lags.partition_point(|lag| *lag <= before + window) as u64;
        Suspect {
            ln_p: ln_binomial_upper(hit, of, share),
            cause: Cause {
                line: 0,
                polarity: Polarity::Rise,
                dips: hit,
                of,
                within: window,
                expected: share * of as f64,
                p_value: 1.0,
                inseparable: Vec::new(),
            },
        }
    });
    tries.min_by(|a, b| a.ln_p.total_cmp(&b.ln_p))
}
