//! Which captures of a run stand on one clock, and what is not judged across those that don't: links and rules.

use crate::analysis::findings::Finding;
use crate::analysis::links::{DEFAULT_MAX_DELAY_S, Link, Verdict};
use crate::model::Capture;
use crate::report::CaptureRow;

use super::assumed::nothing_brings;
use super::elsewhere::parted;

/// Of each capture the number of the clock it stands on.
pub struct Joined(Vec<usize>);

impl Joined {
    /// `known`: what was found on the way to one clock; `sources`: one for each capture; `links`: those declared, checked.
    pub fn of(capture: &Capture, sources: &[CaptureRow], known: &[Finding], links: &[Link]) -> Joined {
        let is_brought = |of: usize| {
            let file = nothing_brings(&sources[of].file);
            known.iter().all(|finding| !finding.title.starts_with(&file))
        };
        let mut clocks: Vec<usize> = (0..sources.len())
            .map(|of| if is_brought(of) { 0 } else { of })
            .collect();
        let lines = &capture.lines;
        // What both recorded alike joins them without a word.
        let twins = lines
            .iter()
            .filter_map(|line| Some((line.capture, lines[line.same_as?].capture)));
        // Most of what one end sends arrives as the times stand, and as over a wire: the two clocks are one.
        let arriving = links
            .iter()
            .filter(|link| link.arrived * 2 > link.sent && is_as_over_a_wire(capture, link));
        let ends = arriving.map(|link| (lines[link.from].capture, lines[link.to].capture));
        for (a, b) in twins.chain(ends) {
            if let (Some(&one), Some(&other)) = (clocks.get(a), clocks.get(b)) {
                let both = |clock: &mut usize| {
                    *clock = if *clock == one.max(other) {
                        one.min(other)
                    } else {
                        *clock
                    }
                };
                clocks.iter_mut().for_each(both);
            }
        }
        Joined(clocks)
    }

    /// Whether two captures, by position, stand on one clock. A capture without a row does with all.
    pub fn is_one(&self, a: usize, b: usize) -> bool {
        let clock = |of: usize| self.0.get(of);
        a == b || clock(a).is_none() || clock(b).is_none() || clock(a) == clock(b)
    }

    /// The captures, by position, that do not stand on the clock of the first.
    pub fn apart(&self) -> impl Iterator<Item = usize> {
        (0..self.0.len()).filter(|&of| !self.is_one(0, of))
    }

    /// Takes out the links between captures that nothing joins: what does not arrive as the times stand says nothing of the
    /// wire. A note for each.
    pub fn without_apart(&self, capture: &Capture, links: &mut Vec<Link>) -> Vec<Finding> {
        let mut told: Vec<Finding> = Vec::new();
        links.retain(|link| {
            let (from, to) = (&capture.lines[link.from], &capture.lines[link.to]);
            if self.is_one(from.capture, to.capture) {
                return true;
            }
            told.push(parted(&from.name, &to.name));
            false
        });
        told
    }
}

/// Whether a link's pulses arrive no later than they do between boards, and not turned. Where more is allowed, regular pulses of
/// two clocks match at some delay or other, however far apart the clocks are.
fn is_as_over_a_wire(capture: &Capture, link: &Link) -> bool {
    let of = |line: usize| capture.lines[line].sample_ticks.max(1.0);
    let sample = of(link.from).max(of(link.to));
    // As far as an undeclared link is looked for.
    let longest = capture.timebase.ticks_of(DEFAULT_MAX_DELAY_S).max(4.0 * sample) + sample;
    let is_short = link.delay.as_ref().is_some_and(|delay| delay.median <= longest);
    link.verdict != Verdict::Inverted && is_short
}
