//! Where the signal went: other lines that carry it, lines that the far end follows, links nobody declared,
//! swapped and reversed bits.

use super::train::Train;
use super::fit::Fit;
use super::{BetterMatch, Link, LinkOptions, Verdict, quantum};
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
                    let delay = fit.center() - super::pulses::bias_of(&lines[b]) + super::pulses::bias_of(&lines[a]);
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

/// Links whose signals arrive at each other's far ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Crossing {
    /// Positions in the list of links; the signal of `links[k]` arrives where that of `links[k + 1]` should,
    /// the last one's where the first one's should.
    pub links: Vec<usize>,
    /// All bits of a bus (at least three links) arrive in the opposite order.
    pub reversed: bool,
}

/// Finds swapped pairs, rotated groups, and reversed buses among checked links.
pub fn crossings(links: &[Link]) -> Vec<Crossing> {
    let arrives_at: Vec<Option<usize>> = links
        .iter()
        .map(|link| {
            let better = link.better_match.filter(|_| link.verdict == Verdict::Dead)?;
            links.iter().position(|other| other.to == better.line)
        })
        .collect();
    let mut seen = vec![false; links.len()];
    let mut found = Vec::new();
    for start in 0..links.len() {
        let (mut cycle, mut at) = (Vec::new(), start);
        while let Some(next) = arrives_at[at].filter(|_| !seen[at] && !cycle.contains(&at)) {
            cycle.push(at);
            at = next;
        }
        if cycle.len() > 1 && at == start {
            cycle.iter().for_each(|&i| seen[i] = true);
            found.push(Crossing {
                links: cycle,
                reversed: false,
            });
        }
    }
    // A reversed bus is a nest of swapped pairs, with at most one (intact) middle bit inside the innermost.
    let mut pairs: Vec<(usize, usize)> = found
        .iter()
        .filter(|c| c.links.len() == 2)
        .map(|c| (c.links[0].min(c.links[1]), c.links[0].max(c.links[1])))
        .collect();
    pairs.sort_unstable();
    let nested = pairs
        .windows(2)
        .all(|p| p[1].0 == p[0].0 + 1 && p[1].1 + 1 == p[0].1);
    if let [first, .., inner] = pairs[..]
        && nested
        && inner.1 - inner.0 <= 2
    {
        found.retain(|c| c.links.len() != 2);
        found.push(Crossing {
            links: (first.0..=first.1).collect(),
            reversed: true,
        });
    }
    found
}
