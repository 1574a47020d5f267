//! Where the signal went: other lines that carry it, lines that the far end follows, links nobody declared.

use super::fit::Fit;
use super::train::Train;
use super::{BetterMatch, LinkOptions, quantum};
use crate::model::{Capture, Line};

/// A line that explains a far end.
pub(super) struct Source {
    pub line: usize,
    pub inverted: bool,
    pub quality: f64,
}

/// Least quality (harmonic mean of the shares of edges explained on both sides) at which another line is named,
/// and the same for one that is upside down: complements of a signal are common on a board.
const NAMED: f64 = 0.8;
const NAMED_INVERTED: f64 = 0.95;

/// The captured line whose edges the far end of `option` shows.
pub(super) fn source_of(capture: &Capture, option: &LinkOptions, range: (i64, i64)) -> Option<Source> {
    let to = &capture.lines[option.to];
    let far = Train::of(to, false);
    let both_ways = (-range.1, range.1);
    let mut best: Option<Source> = None;
    for (index, line) in capture.lines.iter().enumerate() {
        if is_same(capture, index, option.to) || is_same(capture, index, option.from) || !alike(line, to) {
            continue;
        }
        for (inverted, named) in [(false, NAMED), (true, NAMED_INVERTED)] {
            let sent = Train::of(line, inverted);
            let fit = Fit::of(&sent, &far, both_ways, quantum(line, to));
            let quality = fit.quality(&sent, &far);
            if fit.is_link() && quality >= named && best.as_ref().is_none_or(|b| quality > b.quality) {
                best = Some(Source {
                    line: index,
                    inverted,
                    quality,
                });
            }
        }
    }
    best
}

/// The captured line that carries what `option` sends. A line declared as a sender of its own is named only if
/// no other does.
pub(super) fn carrier_of(
    capture: &Capture,
    option: &LinkOptions,
    range: (i64, i64),
    all: &[LinkOptions],
) -> Option<BetterMatch> {
    let from = &capture.lines[option.from];
    let mut best: Option<((bool, f64), BetterMatch)> = None;
    for (index, line) in capture.lines.iter().enumerate() {
        if is_same(capture, index, option.to) || is_same(capture, index, option.from) || !alike(line, from) {
            continue;
        }
        let far_end = !all.iter().any(|o| o.from == index);
        for turned in [false, true] {
            let named = if turned { NAMED_INVERTED } else { NAMED };
            let sent = Train::of(from, false);
            let far = Train::of(line, option.inverted != turned);
            let fit = Fit::of(&sent, &far, range, quantum(from, line));
            let quality = fit.quality(&sent, &far);
            if !fit.is_link() || quality < named {
                continue;
            }
            if best.as_ref().is_none_or(|(rank, _)| (far_end, quality) > *rank) {
                let found = BetterMatch {
                    line: index,
                    arrived: fit.matched() / 2,
                    delay: fit.center() - super::pulses::bias_of(line) + super::pulses::bias_of(from),
                    inverted: turned,
                };
                best = Some(((far_end, quality), found));
            }
        }
    }
    best.map(|(_, found)| found)
}

/// Two lines are one signal under two names.
fn is_same(capture: &Capture, a: usize, b: usize) -> bool {
    let root = |i: usize| capture.lines[i].same_as.unwrap_or(i);
    a == b || root(a) == root(b)
}

/// Edge counts near enough for one line to carry the other.
fn alike(a: &Line, b: &Line) -> bool {
    let (a, b) = (a.edges.len(), b.edges.len());
    a > 0 && b > 0 && a <= 2 * b + 4 && b <= 2 * a + 4
}

/// Two lines so alike, at a fixed delay, that one is likely the other's far end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    pub from: usize,
    pub to: usize,
    pub inverted: bool,
    /// Median delay in ticks.
    pub delay: f64,
    /// Share of the edges of both lines that match, from 0 to 1.
    pub quality: f64,
}

/// Proposes links that were not declared. Pairs of lines with like edge counts are looked at over a short stretch
/// first; only those alike there are compared in full. Cost: pairs of lines × [`GLANCE`], of the [`MOST_LINES`] busiest
/// lines at most, and one pass for each pair that passes.
pub fn propose(capture: &Capture, declared: &[LinkOptions]) -> Vec<Proposal> {
    propose_among(capture, declared, MOST_LINES)
}

/// [`propose`] among the `most` busiest lines.
pub(super) fn propose_among(capture: &Capture, declared: &[LinkOptions], most: usize) -> Vec<Proposal> {
    let mut found: Vec<Proposal> = Vec::new();
    let lines = &capture.lines;
    let mut busiest = able_to_be_proposed(capture);
    busiest.sort_by_key(|&l| std::cmp::Reverse(lines[l].edges.len()));
    busiest.truncate(most);
    busiest.sort_unstable();
    let trains: Vec<(usize, Train)> = busiest
        .into_iter()
        .map(|l| (l, Train::of(&lines[l], false)))
        .collect();
    for (at, (a, sent)) in trains.iter().enumerate() {
        for (b, other) in &trains[at + 1..] {
            let (a, b) = (*a, *b);
            let (na, nb) = (sent.times.len(), other.times.len());
            let told = declared
                .iter()
                .any(|o| (o.from, o.to) == (a, b) || (o.from, o.to) == (b, a));
            if (na.min(nb) as f64) < ALIKE * na.max(nb) as f64 || told || is_same(capture, a, b) {
                continue;
            }
            let q = quantum(&lines[a], &lines[b]);
            let option = LinkOptions {
                from: a,
                to: b,
                max_delay: None,
                inverted: false,
            };
            let longest = super::range_of(capture, &option, q).1;
            let range = (-longest, longest);
            let (from, to) = (sent.glance(GLANCE), other.around(sent, GLANCE, longest));
            for inverted in [false, true] {
                let near = if inverted { to.inverted() } else { to.clone() };
                let glance = Fit::of(&from, &near, range, q);
                if !glance.is_link() || glance.quality(&from, &near) < 0.9 {
                    continue;
                }
                let turned;
                let far = if inverted {
                    turned = other.inverted();
                    &turned
                } else {
                    other
                };
                let fit = Fit::of(sent, far, range, q);
                let quality = fit.quality(sent, far);
                if fit.is_link() && quality >= ALIKE {
                    let delay =
                        fit.center() - super::pulses::bias_of(&lines[b]) + super::pulses::bias_of(&lines[a]);
                    let (from, to, delay) = if delay < 0.0 {
                        (b, a, -delay)
                    } else {
                        (a, b, delay)
                    };
                    found.push(Proposal {
                        from,
                        to,
                        inverted,
                        delay,
                        quality,
                    });
                    break;
                }
            }
        }
    }
    found.sort_by(|x, y| {
        y.quality
            .total_cmp(&x.quality)
            .then((x.from, x.to).cmp(&(y.from, y.to)))
    });
    found
}

/// Lines with edges enough to be either end of a proposed link.
pub(super) fn able_to_be_proposed(capture: &Capture) -> Vec<usize> {
    let enough = |line: &Line| line.edges.len() >= LEAST_EDGES && line.same_as.is_none();
    (0..capture.lines.len())
        .filter(|&l| enough(&capture.lines[l]))
        .collect()
}

/// Of more lines than this only the busiest are compared with each other: pairs grow with the square of the lines.
pub(super) const MOST_LINES: usize = 512;
/// Lines with fewer edges are alike by luck.
const LEAST_EDGES: usize = 16;
/// Least share of the edges of both lines that match for a link to be proposed.
const ALIKE: f64 = 0.97;
/// Edges of the first look.
const GLANCE: usize = 200;

/// The lines of a link declared by names: two lines, or two buses of equal width bit by bit.
///
/// # Errors
/// A sentence, when a name is no line or bus of the capture, or the widths differ.
pub fn expand(capture: &Capture, from: &str, to: &str) -> Result<Vec<(usize, usize)>, String> {
    let lines_of = |name: &str| -> Result<Vec<usize>, String> {
        if let Some(index) = capture.line_index(name) {
            return Ok(vec![index]);
        }
        let bus = capture.buses.iter().find(|b| b.name == name);
        bus.map(|b| b.bits.clone())
            .ok_or_else(|| format!("no line or bus called {name} in {}", capture.file))
    };
    let (a, b) = (lines_of(from)?, lines_of(to)?);
    if a.len() != b.len() {
        return Err(format!(
            "{from} has {} bits and {to} has {}: a link needs as many at both ends",
            a.len(),
            b.len()
        ));
    }
    Ok(a.into_iter().zip(b).collect())
}
