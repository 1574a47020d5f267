//! Pulses that are stray whatever their width: those that a link's source never sent, and those that a limit forbids.

use crate::analysis::links::{Link, Verdict};
use crate::analysis::strays::Mark;
use crate::model::Capture;
use crate::rule::{Demand, Limit};
use crate::setup::Setup;

/// A far end with more pulses of its own than a quarter of those sent is doing something else besides: those are not
/// called stray one by one. Common practice, no source.
const MOST_EXTRA_SHARE: f64 = 0.25;

/// Marks for what `links` found extra at their far ends and for pulses shorter than a declared `pulse-width` allows, beyond
/// what sampling leaves open. Cost: linear in the edges of the lines concerned.
pub fn marks(capture: &Capture, setup: &Setup, links: &[Link]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for link in links {
        let is_carried = matches!(link.verdict, Verdict::Noisy | Verdict::LossyNoisy);
        if !is_carried || link.extra.len() as f64 > MOST_EXTRA_SHARE * link.sent as f64 {
            continue;
        }
        marks.extend(link.extra.iter().map(|pulse| Mark {
            line: link.to,
            start: pulse.start,
            stray: true,
        }));
    }
    for rule in &setup.rules {
        let Demand::Limit(Limit::PulseWidth { line, level, bounds }) = &rule.demand else {
            continue;
        };
        let (Some(at_least), Some(index)) = (
            bounds.at_least_s,
            capture.lines.iter().position(|l| &l.name == line),
        ) else {
            continue;
        };
        let line = &capture.lines[index];
        // Both edges are known to half a sample.
        let shortest = capture.timebase.ticks_of(at_least) - line.sample_ticks;
        let forbidden = line
            .pulses()
            .filter(|p| level.is_none_or(|l| l == p.level) && (p.width().0 as f64) < shortest);
        marks.extend(forbidden.map(|p| Mark {
            line: index,
            start: p.start,
            stray: true,
        }));
    }
    marks
}
