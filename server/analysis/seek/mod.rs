//! Finding things in a capture: edges, pulses by width, patterns over lines.
//!
//! | file | what it is for |
//! | --- | --- |
//! | [`pattern`] | "CLEAR_N low while STEP high", or an expression (IEEE Std 1364), tied to the capture's lines |
//! | `walk` | the stretches in which a pattern holds, in one merge pass over the edges |

mod pattern;
mod walk;

pub use pattern::Pattern;

use std::ops::Range;

use crate::model::{Capture, Level, Line, Polarity, Ticks};

/// What is looked for.
#[derive(Clone, Debug)]
pub enum Question {
    /// Edges of a line, of one polarity or of both.
    Edge {
        line: usize,
        polarity: Option<Polarity>,
    },
    /// Pulses of a line (of one level, or of both) with `at_least ≤ width < below` ticks.
    Pulse {
        line: usize,
        level: Option<Level>,
        at_least: f64,
        below: f64,
    },
    Pattern(Pattern),
}

/// Where to look: after or before a moment, and how many at most.
#[derive(Clone, Copy, Debug)]
pub struct Where {
    pub from: Ticks,
    /// Towards earlier moments: the nearest first.
    pub back: bool,
    /// Most moments given back.
    pub most: usize,
    /// Whether all of them are counted, wherever they lie.
    pub count: bool,
}

/// A moment that was looked for: start closed, end open; an edge has no length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    pub start: Ticks,
    pub end: Ticks,
}

/// What was found, and how much of it there is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// Of the whole capture, when that was asked for.
    pub count: Option<u64>,
    /// Moments that start after [`Where::from`], in time; or before it, the nearest first.
    pub moments: Vec<Moment>,
}

/// Looks for what `question` asks. Cost: edges without polarity logarithmic; else linear in the edges of the lines
/// asked for, at worst.
pub fn seek(capture: &Capture, question: &Question, place: Where) -> Found {
    match question {
        Question::Edge { line, polarity } => edges(&capture.lines[*line], *polarity, place),
        Question::Pulse {
            line,
            level,
            at_least,
            below,
        } => {
            let is_wanted = |pulse: &crate::model::Pulse| {
                let width = pulse.width().0 as f64;
                level.is_none_or(|level| pulse.level == level) && *at_least <= width && width < *below
            };
            let line = &capture.lines[*line];
            let moments = whole_pulses(line).filter(is_wanted).map(|pulse| Moment {
                start: pulse.start,
                end: pulse.end,
            });
            collect(moments, place)
        }
        Question::Pattern(pattern) => walk::moments(capture, pattern, place),
    }
}

/// Pulses whose level was known all the while.
fn whole_pulses(line: &Line) -> impl Iterator<Item = crate::model::Pulse> + '_ {
    line.pulses()
        .filter(move |pulse| line.stretches.is_empty() || !line.is_blind(pulse.start, pulse.end))
}

fn edges(line: &Line, polarity: Option<Polarity>, place: Where) -> Found {
    let is_wanted = |&index: &usize| polarity.is_none_or(|wanted| line.polarity(index) == wanted);
    let moment = |index: usize| Moment {
        start: line.edges[index],
        end: line.edges[index],
    };
    let moments = if place.back {
        let before: Range<usize> = 0..line.edges.partition_point(|&edge| edge < place.from);
        let near = before.rev().filter(is_wanted).take(place.most);
        near.map(moment).collect()
    } else {
        let after = line.edges.partition_point(|&edge| edge <= place.from)..line.edges.len();
        after.filter(is_wanted).take(place.most).map(moment).collect()
    };
    let count = place.count.then(|| match polarity {
        None => line.edges.len() as u64,
        Some(_) => (0..line.edges.len()).filter(is_wanted).count() as u64,
    });
    Found { count, moments }
}

/// Takes from all moments, in time, those that are asked for.
fn collect(all: impl Iterator<Item = Moment>, place: Where) -> Found {
    let mut count = 0;
    let mut kept = std::collections::VecDeque::new();
    for moment in all {
        count += 1;
        let is_before = moment.start < place.from;
        if place.back && is_before {
            if kept.len() == place.most {
                kept.pop_front();
            }
            kept.push_back(moment);
        } else if !place.back && moment.start > place.from && kept.len() < place.most {
            kept.push_back(moment);
        }
        let is_over = if place.back {
            !is_before
        } else {
            kept.len() >= place.most
        };
        if is_over && !place.count {
            break;
        }
    }
    let mut moments: Vec<Moment> = kept.into();
    if place.back {
        moments.truncate(place.most);
        moments.reverse();
    }
    Found {
        count: place.count.then_some(count),
        moments,
    }
}

#[cfg(test)]
mod tests;
