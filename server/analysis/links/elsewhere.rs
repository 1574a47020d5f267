//! Where the signal went: other lines that carry it, and lines that the far end follows.

use super::fit::Fit;
use super::train::Train;
use super::{BetterMatch, LinkOptions, quantum};
use crate::model::{Capture, Line};

/// A line that explains a far end.
pub(super) struct Source {
    /// Position in the capture.
    pub line: usize,
    pub inverted: bool,
    /// Harmonic mean of the shares of edges explained on both sides, 0 to 1.
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
pub(super) fn is_same(capture: &Capture, a: usize, b: usize) -> bool {
    let root = |i: usize| capture.lines[i].same_as.unwrap_or(i);
    a == b || root(a) == root(b)
}

/// Edge counts near enough for one line to carry the other.
fn alike(a: &Line, b: &Line) -> bool {
    let (a, b) = (a.edges.len(), b.edges.len());
    a > 0 && b > 0 && a <= 2 * b + 4 && b <= 2 * a + 4
}

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
