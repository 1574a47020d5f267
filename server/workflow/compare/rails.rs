//! Supply rails: how often each leaves its limits in every run, and how deep it goes.
//!
//! Where the dips follow one line's edges in all runs, these edges are the occasions, and the rail is measured after each of them,
//! whether it leaves its limits or not: a machine at another pace changes neither. Else dips are counted over the time that was
//! watched, and those that leave the limits are measured.

use super::over_time::over;
use super::tally::{Looked, row};
use crate::analysis::compare::Counts;
use crate::analysis::rails::{self, AtEdges, RailResult};
use crate::model::Polarity;
use crate::report::compare::{RailDepths, Trouble, TroubleKind};
use crate::rule::Rail;
use crate::setup::Setup;

/// Share of each run's excursions that must follow the line's edges. Common practice, no source.
const FOLLOWS: f64 = 0.9;
/// Most values that are kept of a run, taken evenly: what a rank test needs, a thousand times over.
const MOST_KEPT: usize = 5000;

/// Each rail that is declared, or that any run shows to be one: its excursions, and how deep they go.
pub(super) fn rail_troubles(
    looked: &[Looked],
    setup: &Setup,
    slot_s: Option<f64>,
) -> (Vec<Trouble>, Vec<RailDepths>) {
    let Some(slot) = slot_s else {
        return Default::default();
    };
    let mut supplies: Vec<Rail> = setup.rails.clone();
    for l in looked {
        let more = rails::assumed::assumed(&l.capture, &supplies);
        supplies.extend(more);
    }
    // Readings by meter are no part of a run.
    supplies.iter_mut().for_each(|rail| rail.readings.clear());
    let mut results: Vec<Vec<RailResult>> = looked
        .iter()
        .map(|l| rails::check(&l.capture, &supplies))
        .collect();
    let each = supplies.iter().map(|rail| {
        // Of this rail, one for each run.
        let of_rail: Vec<RailResult> = results.iter_mut().map(|run| run.remove(0)).collect();
        by_edges(looked, rail, &of_rail).unwrap_or_else(|| by_time(looked, rail, &of_rail, slot))
    });
    each.unzip()
}

/// Counted and measured over the edges that the dips follow; `None` where they follow none in every run.
fn by_edges(looked: &[Looked], rail: &Rail, results: &[RailResult]) -> Option<(Trouble, RailDepths)> {
    let runs = || {
        looked
            .iter()
            .zip(results)
            .filter(|(_, result)| result.samples > 0)
    };
    let causes = runs().filter_map(|(l, result)| Some((l, result.cause.as_ref()?)));
    let named = |(l, cause): (&Looked, &rails::Cause)| {
        (
            l.capture.lines[cause.line].name.clone(),
            cause.polarity,
            l.capture.timebase.length_s(cause.within),
        )
    };
    let surest = causes.clone().min_by(|a, b| a.1.p_value.total_cmp(&b.1.p_value));
    let (name, polarity, _) = named(surest?);
    let within_s = causes
        .map(named)
        .filter(|(line, edge, _)| (line, edge) == (&name, &polarity))
        .fold(0.0, |longest: f64, (.., within_s)| longest.max(within_s));
    let longest = runs().flat_map(|(l, result)| {
        let lengths = result.excursions.iter().map(|e| (e.end - e.start).0 as f64);
        lengths.map(|ticks| l.capture.timebase.length_s(ticks))
    });
    let reach_s = within_s + longest.fold(0.0, f64::max);
    let of_run = |(l, result): (&Looked, &RailResult)| -> Option<AtEdges> {
        if result.samples == 0 {
            return Some(AtEdges::default());
        }
        let ticks = |s: f64| l.capture.timebase.ticks_of(s);
        let line = l.capture.line_index(&name)?;
        let reaches = (ticks(within_s), ticks(reach_s));
        let found = rails::at_edges(&l.capture, rail, &result.excursions, (line, polarity), reaches)?;
        let follows = found.dips as f64 >= FOLLOWS * result.excursions.len() as f64;
        follows.then_some(found)
    };
    let found: Option<Vec<AtEdges>> = looked.iter().zip(results).map(of_run).collect();
    let found = found?;
    let trouble = Trouble {
        kind: TroubleKind::Rail,
        lines: vec![rail.line.clone(), name],
        detail: match polarity {
            Polarity::Rise => "rise",
            Polarity::Fall => "fall",
        }
        .to_owned(),
        counts: found
            .iter()
            .map(|run| {
                row(Counts {
                    strays: run.struck,
                    opportunities: run.edges,
                })
            })
            .collect(),
        slot_s: None,
        seen: Vec::new(),
    };
    let lowest = found.into_iter().map(|run| run.lowest_v).collect();
    Some((trouble, depths(rail, true, lowest)))
}

/// Counted over the time that was watched; the excursions measured.
fn by_time(looked: &[Looked], rail: &Rail, results: &[RailResult], slot: f64) -> (Trouble, RailDepths) {
    let counts = looked.iter().zip(results).map(|(l, result)| {
        row(if result.samples == 0 {
            Counts::default()
        } else {
            // A variable in volts that is no line is recorded as long as the capture.
            let line = l.capture.line_index(&rail.line);
            let span = line.map_or(l.capture.span, |line| l.capture.lines[line].span);
            over(&l.capture, span.length().0, result.excursions.len(), slot)
        })
    });
    let trouble = Trouble {
        kind: TroubleKind::Rail,
        lines: vec![rail.line.clone()],
        detail: String::new(),
        counts: counts.collect(),
        slot_s: Some(slot),
        seen: Vec::new(),
    };
    let dips = |result: &RailResult| {
        let dips = result.excursions.iter().filter(|e| e.is_dip);
        dips.map(|e| e.extreme_v).collect()
    };
    let lowest = results.iter().map(dips).collect();
    (trouble, depths(rail, false, lowest))
}

fn depths(rail: &Rail, at_edges: bool, lowest_v: Vec<Vec<f64>>) -> RailDepths {
    let thinned = |all: Vec<f64>| {
        let step = all.len().div_ceil(MOST_KEPT).max(1);
        all.into_iter().step_by(step).collect()
    };
    RailDepths {
        rail: rail.line.clone(),
        nominal_v: rail.nominal_v,
        at_edges,
        lowest_v: lowest_v.into_iter().map(thinned).collect(),
    }
}
