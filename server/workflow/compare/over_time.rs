//! What has no opportunities of its own is counted over the time it was watched: strays of a line whatever their
//! cause, and supply rails whose dips follow no line's edges.
//!
//! A second is cut into stretches so short that hardly any holds two of what is counted. An event in such a stretch is
//! a trial, so the exact test, the ratio's interval and the bound for shares hold; they differ from those for Poisson
//! counts over time (Przyborowski and Wilenski 1940) by about one part in the number of stretches.

use std::collections::BTreeSet;

use super::sight;
use super::tally::{Looked, row};
use crate::analysis::compare::Counts;
use crate::analysis::strays::StrayKind;
use crate::model::{Capture, Line};
use crate::report::compare::{SeenRow, Trouble, TroubleKind};

/// Stretches of the shortest run, at least.
const SLOTS: f64 = 1e6;

/// Length of a stretch in seconds, a power of ten, the same in all runs; `None` without any time watched.
pub(super) fn slot_s<'a>(captures: impl Iterator<Item = &'a Capture>) -> Option<f64> {
    let lengths = captures.map(|c| c.timebase.length_s(c.span.length().0 as f64));
    let shortest = lengths
        .filter(|length| *length > 0.0)
        .fold(f64::INFINITY, f64::min);
    shortest
        .is_finite()
        .then(|| 10f64.powf((shortest / SLOTS).log10().floor()))
}

/// How often in the time that was watched.
pub(super) fn over(capture: &Capture, ticks: i64, wrong: usize, slot_s: f64) -> Counts {
    let slots = (capture.timebase.length_s(ticks as f64) / slot_s).floor();
    Counts {
        strays: wrong as u64,
        opportunities: (slots as u64).max(wrong as u64),
    }
}

/// Ticks during which a line was recorded at a known level.
fn known(line: &Line) -> i64 {
    line.segments()
        .iter()
        .map(|segment| segment.span.length().0)
        .sum()
}

/// Strays of each line that has any the couplings do not count. `couplings`: those of all runs.
pub(super) fn stray_troubles(looked: &[Looked], couplings: &[Trouble], slot_s: Option<f64>) -> Vec<Trouble> {
    let Some(slot) = slot_s else {
        return Vec::new();
    };
    let strays_of = |l: &Looked, name: &str| {
        let line = l.capture.line_index(name).filter(|_| !l.leaves_out(name))?;
        let own = l.strays.of_line(line).iter();
        Some((line, own.filter(|stray| stray.kind != StrayKind::Bounce).count()))
    };
    let names: BTreeSet<&str> = looked
        .iter()
        .flat_map(|l| {
            l.strays
                .strays
                .iter()
                .map(|stray| l.capture.lines[stray.line].name.as_str())
        })
        .collect();
    let explained = |run: usize, name: &str| -> u64 {
        let of_line = couplings
            .iter()
            .filter(|trouble| trouble.lines.first().is_some_and(|line| line == name));
        of_line.map(|trouble| trouble.counts[run].wrong).sum()
    };
    // What causes them elsewhere never switched in this run: that none came says nothing.
    let is_idle = |run: usize, name: &str| {
        let mut causes = couplings.iter().filter(|trouble| {
            trouble.lines.first().is_some_and(|line| line == name)
                && trouble.counts.iter().any(|counts| counts.wrong > 0)
        });
        let is_still = |trouble: &Trouble| trouble.counts[run].occasions == 0;
        causes.next().is_some_and(is_still) && causes.all(is_still)
    };
    let left_over = |name: &&str| {
        let runs = looked.iter().enumerate();
        runs.filter_map(|(run, l)| Some((run, strays_of(l, name)?.1)))
            .any(|(run, count)| count as u64 > explained(run, name))
    };
    let trouble = |name: &str| Trouble {
        kind: TroubleKind::Stray,
        lines: vec![name.to_owned()],
        detail: String::new(),
        counts: looked
            .iter()
            .enumerate()
            .map(|(run, l)| {
                let found = strays_of(l, name).filter(|_| !is_idle(run, name));
                row(found.map_or(Counts::default(), |(line, count)| {
                    over(&l.capture, known(&l.capture.lines[line]), count, slot)
                }))
            })
            .collect(),
        slot_s,
        seen: looked.iter().map(|l| seen_of(l, name)).collect(),
    };
    names.into_iter().filter(left_over).map(trouble).collect()
}

/// What a run could show of a line's strays.
fn seen_of(l: &Looked, name: &str) -> SeenRow {
    l.capture.line_index(name).map_or_else(SeenRow::default, |line| {
        let first = l.strays.strays.partition_point(|stray| stray.line < line);
        let own = l.strays.of_line(line).iter().enumerate();
        let counted = own.filter(|(_, stray)| stray.kind != StrayKind::Bounce);
        sight::seen(l, line, counted.map(|(at, _)| first + at))
    })
}
