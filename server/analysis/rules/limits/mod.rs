//! Limits on times. End points follow the timing checks of IEEE Std 1364-2005 clause 15 (recalled, the text was not at
//! hand): `$setup` breaks for 0 < strobe − data < limit, `$hold` for 0 ≤ data − strobe < limit, `$recovery` for
//! 0 ≤ strobe − release < limit, `$width` and `$period` for less than the limit.

mod around;
mod exclusive;
mod intervals;
mod stay;

use super::Names;
use super::edges::Edges;
use super::reach::{self, Stamp};
use super::tally::Tally;
use crate::model::Line;
use crate::rule::{EdgeOf, Limit};

use around::{hold, setup};
use exclusive::exclusive;
use intervals::{delay, following, period, pulse_width};
use stay::stay;

/// A line in the part it plays in a rule.
struct Part<'a> {
    index: usize,
    line: &'a Line,
    stamp: Stamp,
}

impl<'a> Part<'a> {
    fn find(names: &mut Names<'a>, name: &str) -> Option<Part<'a>> {
        let (index, line) = names.line(name)?;
        Some(Part::new(index, line))
    }

    fn new(index: usize, line: &'a Line) -> Part<'a> {
        Part {
            index,
            line,
            stamp: Stamp::of(line),
        }
    }
}

/// Checks one limit; `None` when a name is not in the capture.
pub(super) fn check(names: &mut Names, limit: &Limit) -> Option<Tally> {
    let limits = limit.in_ticks(names.capture);
    let mut tally = match limit {
        Limit::PulseWidth { line, level, .. } => {
            let part = Part::find(names, line)?;
            pulse_width(&part, *level, limits)
        }
        Limit::Setup { data, strobe, .. } | Limit::Hold { data, strobe, .. } => {
            let is_setup = matches!(limit, Limit::Setup { .. });
            let data = names.all(data);
            let (strobe, edges) = edges_of(names, strobe)?;
            let mut tally = Tally::new(limits, strobe.line.sample_ticks);
            for index in data? {
                let data = Part::new(index, &names.capture.lines[index]);
                if is_setup {
                    setup(&data, &strobe, &edges, &mut tally);
                } else {
                    hold(&data, &strobe, &edges, &mut tally);
                }
            }
            tally
        }
        Limit::Recovery { release, strobe, .. } => {
            let release = edges_of(names, release);
            let (strobe, strobes) = edges_of(names, strobe)?;
            let (release, releases) = release?;
            following(&release, &releases, &strobe, &strobes, limits, false)
        }
        Limit::Stay {
            line,
            level,
            strobe,
            before_s,
            after_s,
        } => {
            let line = Part::find(names, line);
            let (strobe, edges) = edges_of(names, strobe)?;
            let ticks = |s: f64| reach::limit_ticks(&names.capture.timebase, s);
            stay(
                &line?,
                *level,
                &strobe,
                &edges,
                (ticks(*before_s), ticks(*after_s)),
                limits,
            )
        }
        Limit::Exclusive { lines, level, .. } => {
            let lines = names.all(lines)?;
            let parts = lines.iter().map(|&i| Part::new(i, &names.capture.lines[i]));
            exclusive(&parts.collect::<Vec<_>>(), *level, limits)
        }
        Limit::Answer { from, to, .. } => {
            let from = edges_of(names, from);
            let (to, answers) = edges_of(names, to)?;
            let (from, causes) = from?;
            following(&from, &causes, &to, &answers, limits, true)
        }
        Limit::Delay { from, to, .. } => {
            let from = edges_of(names, from);
            let (to, effects) = edges_of(names, to)?;
            let (from, causes) = from?;
            delay(&from, &causes, &to, &effects, limits)
        }
        Limit::Period { of, .. } => {
            let (part, edges) = edges_of(names, of)?;
            period(&part, &edges, limits)
        }
    };
    tally.sort();
    Some(tally)
}

fn edges_of<'a>(names: &mut Names<'a>, of: &EdgeOf) -> Option<(Part<'a>, Edges<'a>)> {
    let part = Part::find(names, &of.line)?;
    let edges = Edges::of(part.line, of.polarity);
    Some((part, edges))
}
