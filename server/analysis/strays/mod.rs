//! Stray pulses, runts and contact bounce: which pulses of a line are not the line's own job.
//!
//! A pulse is a stray when it is narrower than the line's narrow limit. The limit comes from the person, or
//! from the line's own pulse widths, on each level separately ([`widths`]); where the widths give no ground
//! nothing is called a stray. Contact bounce ([`bounce`]) is its own kind.

pub mod bounce;
mod driven;
mod grid;
mod healed;
mod led;
mod long_pulses;
mod pauses;
mod runs;
pub mod slow;
mod undersampled;
pub mod widths;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::analysis::parallel::on_all_cores;
use crate::model::{Capture, Level, Line, Pulse, Ticks};

pub use bounce::Burst;
pub use grid::coarse_tick;

/// What the person said about narrow pulses. All lengths in ticks of the capture.
#[derive(Clone, Debug, Default)]
pub struct StrayOptions {
    /// Narrow limits declared by the person, by line index: a pulse shorter than this is a stray.
    pub narrow_below: BTreeMap<usize, f64>,
    /// Limits taken over from another capture of the same lines, by line index: they stand in for inference.
    pub taken_over: BTreeMap<usize, NarrowLimit>,
    /// Pulses the person or another analysis has judged: they overrule the widths.
    pub marks: Vec<Mark>,
    /// Lines that a declared link leads from, by index: what it carries may be their job whatever its width.
    pub linked: BTreeSet<usize>,
}

/// A judgement on one pulse or runt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    pub line: usize,
    /// When the pulse starts, to the tick.
    pub start: Ticks,
    /// True: a stray. False: legitimate.
    pub stray: bool,
}

/// Where a narrow limit comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitOrigin {
    Setup,
    Inferred,
    /// Inferred from the line's widths in another capture, where its own give no ground.
    TakenOver,
    None,
}

impl LimitOrigin {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            LimitOrigin::Setup => "setup",
            LimitOrigin::Inferred => "inferred",
            LimitOrigin::TakenOver => "taken-over",
            LimitOrigin::None => "none",
        }
    }
}

/// A line's narrow limits by level, in ticks: a pulse shorter than its level's limit is a stray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NarrowLimit {
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub origin: LimitOrigin,
}

impl NarrowLimit {
    const NONE: NarrowLimit = NarrowLimit {
        low: None,
        high: None,
        origin: LimitOrigin::None,
    };

    /// The limit for pulses of `level`, in ticks.
    pub fn of(&self, level: Level) -> Option<f64> {
        match level {
            Level::Low => self.low,
            Level::High => self.high,
            _ => None,
        }
    }

    /// The larger of the two limits: the one number of the report.
    pub fn widest(&self) -> Option<f64> {
        match (self.low, self.high) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        }
    }
}

/// What a stray is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum StrayKind {
    Pulse,
    /// Left one threshold and never reached the other (IEEE Std 181).
    Runt,
    /// One of a burst around a contact's own switching.
    Bounce,
}

impl StrayKind {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            StrayKind::Pulse => "pulse",
            StrayKind::Runt => "runt",
            StrayKind::Bounce => "bounce",
        }
    }
}

/// One stray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stray {
    pub line: usize,
    /// Index of the edge that starts it; `None` for a runt, which has no edge.
    pub edge: Option<usize>,
    pub start: Ticks,
    pub width: Ticks,
    /// The level during it (a runt: the level it went towards).
    pub level: Level,
    pub kind: StrayKind,
}

/// Everything stray in a capture.
#[derive(Clone, Debug, Default)]
pub struct Strays {
    /// One a line, in the order of the capture's lines.
    pub limits: Vec<NarrowLimit>,
    /// By line, then by start.
    pub strays: Vec<Stray>,
    /// Bursts of contact bounce, by line, then by start.
    pub bursts: Vec<Burst>,
    /// Sampling period of each line in ticks as declared or as its edges show (0: no coarser than a tick).
    pub sampling: Vec<f64>,
}

impl Strays {
    /// The strays of one line, by start.
    pub fn of_line(&self, line: usize) -> &[Stray] {
        let from = self.strays.partition_point(|s| s.line < line);
        let to = self.strays.partition_point(|s| s.line <= line);
        &self.strays[from..to]
    }
}

/// Finds the strays of every line. Cost: linear in edges, plus a sort of the shortest widths of each line.
pub fn find(capture: &Capture, options: &StrayOptions) -> Strays {
    let mut found = Strays {
        sampling: grid::sampling_of_lines(capture),
        ..Strays::default()
    };
    let bursts = bounce::find(capture);
    let look_at = |&index: &usize| {
        let line = &capture.lines[index];
        let bouncing: Vec<&Burst> = bursts.iter().filter(|b| b.line == index).collect();
        // Gone through twice rather than kept: a line may have more pulses than there is room for.
        let pulses = || line.pulses().filter(|p| !in_burst(&bouncing, p.edge));
        let limit = match options.narrow_below.get(&index) {
            Some(&ticks) => NarrowLimit {
                low: Some(ticks),
                high: Some(ticks),
                origin: LimitOrigin::Setup,
            },
            None if options.taken_over.contains_key(&index) => options.taken_over[&index],
            None => {
                let sampling = found.sampling[index];
                let ns = capture.timebase.ticks_of(1e-9);
                let limit = match bouncing.is_empty() {
                    true => widths::infer(pulses, sampling, ns),
                    false => widths::infer_of_contact(pulses, &rests_of(line), sampling, ns),
                };
                let tells = limit.origin == LimitOrigin::Inferred;
                if tells && undersampled::is(pulses(), &limit, sampling) {
                    NarrowLimit::NONE
                } else {
                    limit
                }
            }
        };
        let strays = strays_of(index, line, pulses(), &limit, &bouncing, &options.marks);
        (limit, strays)
    };
    let all: Vec<usize> = (0..capture.lines.len()).collect();
    for (limit, strays) in on_all_cores(&all, look_at) {
        found.limits.push(limit);
        found.strays.extend(strays);
    }
    found.bursts = bursts;
    found
}

/// How long (ticks) a line stood at which level before its first edge and after its last.
fn rests_of(line: &Line) -> Vec<(Level, f64)> {
    let (Some(first), Some(last)) = (line.edges.first(), line.edges.last()) else {
        return Vec::new();
    };
    let ticks = |from: Ticks, to: Ticks| (to - from).0 as f64;
    vec![
        (line.first, ticks(line.span.start, *first)),
        (
            line.level_after(line.edges.len() - 1),
            ticks(*last, line.span.end),
        ),
    ]
}

fn in_burst(bursts: &[&Burst], edge: usize) -> bool {
    bursts
        .iter()
        .any(|b| b.edges.contains(&edge) && edge + 1 < b.edges.end)
}

/// What was judged of the pulses of one line overrules `is_stray`. Two successive pulses are not both strays (they would
/// share an edge): a pulse marked as one makes those beside it the line's own.
fn overrule(pulses: &[Pulse], judged: &BTreeMap<Ticks, bool>, is_stray: &mut [bool]) {
    for (at, pulse) in pulses.iter().enumerate() {
        let Some(&stray) = judged.get(&pulse.start) else {
            continue;
        };
        is_stray[at] = stray;
        let beside = [at.checked_sub(1), Some(at + 1)].into_iter().flatten();
        for other in beside.filter(|&o| stray && o < pulses.len()) {
            if pulses[other].edge.abs_diff(pulse.edge) == 1 {
                is_stray[other] = false;
            }
        }
    }
}

fn strays_of(
    index: usize,
    line: &Line,
    pulses: impl Iterator<Item = Pulse>,
    limit: &NarrowLimit,
    bursts: &[&Burst],
    marks: &[Mark],
) -> Vec<Stray> {
    let of_line = marks.iter().filter(|m| m.line == index);
    let judged: BTreeMap<Ticks, bool> = of_line.map(|m| (m.start, m.stray)).collect();
    let is_legitimate = |start: Ticks| judged.get(&start) == Some(&false);
    let is_narrow = |p: &Pulse| limit.of(p.level).is_some_and(|l| (p.width().0 as f64) < l);
    let pulses: Vec<Pulse> = pulses
        .filter(|p| is_narrow(p) || judged.contains_key(&p.start))
        .collect();
    let narrow: Vec<bool> = pulses.iter().map(is_narrow).collect();
    let mut successive: Vec<Range<usize>> = Vec::new();
    for at in (0..pulses.len()).filter(|&at| narrow[at]) {
        match successive.last_mut() {
            Some(run) if run.end == at && pulses[at].edge == pulses[at - 1].edge + 1 => run.end = at + 1,
            _ => successive.push(at..at + 1),
        }
    }
    let usual = runs::usual(successive.iter().map(|run| &pulses[run.clone()]));
    let mut is_stray = vec![false; pulses.len()];
    for run in successive {
        let first = run.start;
        runs::strays(&pulses[run], limit, usual).for_each(|i| is_stray[first + i] = true);
    }
    overrule(&pulses, &judged, &mut is_stray);
    let mut out: Vec<Stray> = pulses
        .iter()
        .zip(&is_stray)
        .filter(|(_, stray)| **stray)
        .map(|(p, _)| Stray {
            line: index,
            edge: Some(p.edge),
            start: p.start,
            width: p.width(),
            level: p.level,
            kind: StrayKind::Pulse,
        })
        .collect();
    for burst in bursts {
        let starts = burst.edges.start..burst.edges.end.saturating_sub(1);
        for edge in starts.filter(|&edge| !is_legitimate(line.edges[edge])) {
            out.push(Stray {
                line: index,
                edge: Some(edge),
                start: line.edges[edge],
                width: line.edges[edge + 1] - line.edges[edge],
                level: line.level_after(edge),
                kind: StrayKind::Bounce,
            });
        }
    }
    let runts = line.runts.iter().filter(|runt| !is_legitimate(runt.start));
    out.extend(runts.map(|runt| Stray {
        line: index,
        edge: None,
        start: runt.start,
        width: runt.width,
        level: runt.level,
        kind: StrayKind::Runt,
    }));
    out.sort_by_key(|s| s.start);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::TimeSpan;

    /// CLEAR_N at rest high, with dips of 20 ticks at `dips` and one of 400 at 90,000.
    fn clear(dips: &[i64]) -> Capture {
        let mut edges: Vec<Ticks> = dips.iter().flat_map(|&t| [Ticks(t), Ticks(t + 20)]).collect();
        edges.extend([Ticks(90_000), Ticks(90_400)]);
        let span = TimeSpan::new(Ticks(0), Ticks(100_000));
        Capture::in_nanoseconds(
            "marked",
            span,
            vec![Line::digital("CLEAR_N", Level::High, edges, span)],
        )
    }

    fn starts(strays: &Strays) -> Vec<i64> {
        strays.strays.iter().map(|s| s.start.0).collect()
    }

    #[test]
    fn what_a_person_marks_overrules_the_widths() {
        let capture = clear(&[5_000, 30_000]);
        let mark = |start: i64, stray: bool| Mark {
            line: 0,
            start: Ticks(start),
            stray,
        };
        let said = |marks: Vec<Mark>| {
            let narrow_below = BTreeMap::from([(0, 60.0)]);
            let options = StrayOptions {
                narrow_below,
                marks,
                ..StrayOptions::default()
            };
            find(&capture, &options)
        };
        assert_eq!(starts(&said(vec![])), [5_000, 30_000]);
        assert_eq!(starts(&said(vec![mark(5_000, false)])), [30_000]);
        let wide = said(vec![mark(5_000, false), mark(30_000, false), mark(90_000, true)]);
        assert_eq!(starts(&wide), [90_000]);
        assert_eq!(wide.strays[0].width, Ticks(400));
        // The rest between two dips, marked as the stray, makes them the line's own.
        assert_eq!(starts(&said(vec![mark(5_020, true)])), [5_020]);
    }
}
