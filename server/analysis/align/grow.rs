//! From one block outwards: match, fit, widen, until all that both recorded is covered.

use std::ops::Range;

use super::candidates::Candidate;
use super::fit::{LineFit, fit_line};
use super::{Alignment, Edges, LEAST_SHARE, MAX_DRIFT, Matched};

/// A grown alignment. Times are seconds on each [`Edges`]'s own zero.
#[derive(Clone, Debug)]
pub(super) struct Growth {
    /// Matched edges (A, B), ascending in both.
    pub pairs: Vec<(u32, u32)>,
    /// Time in A minus time in B, against time in A.
    pub fit: LineFit,
    /// Largest accepted distance from the line.
    pub tolerance: f64,
    /// Edges of either that lie in what both recorded.
    pub overlap_a: Range<usize>,
    pub overlap_b: Range<usize>,
    /// Middle of the overlap on A's clock, and its length.
    middle: f64,
    length: f64,
}

impl Growth {
    /// Number of matched pairs.
    pub fn matched(&self) -> usize {
        self.pairs.len()
    }

    /// Share of the sparser line's edges in the overlap that matched.
    pub fn share(&self) -> f64 {
        self.matched() as f64 / self.overlap_a.len().min(self.overlap_b.len()).max(1) as f64
    }

    /// Matched edges, less those in the overlap that are not.
    pub fn score(&self) -> f64 {
        let edges = self.overlap_a.len() + self.overlap_b.len();
        self.matched() as f64 - 0.25 * (edges - 2 * self.matched()) as f64
    }

    /// Length of what both recorded, in seconds on A's clock.
    pub fn length(&self) -> f64 {
        self.length
    }

    /// Time in A minus time in B at `time` of A.
    pub fn offset_at(&self, time: f64) -> f64 {
        self.fit.at(time)
    }

    /// How far another alignment lies from this one in the middle of its overlap.
    pub fn shift(&self, other: &Growth) -> f64 {
        self.fit.at(self.middle) - other.fit.at(self.middle)
    }

    /// Whether both put B at the same place, to within four times the wider tolerance.
    pub fn is_same(&self, other: &Growth) -> bool {
        self.shift(other).abs() <= 4.0 * self.tolerance.max(other.tolerance)
    }

    /// Whether this one explains nearly as much as `best`, and most of its own overlap.
    pub fn is_rival(&self, best: &Growth, share: f64) -> bool {
        self.matched() as f64 >= share * best.matched() as f64 && self.share() >= share * best.share()
    }

    /// Pairs, and the edges of the overlap that have none.
    pub fn counts(&self) -> Matched {
        Matched {
            pairs: self.matched(),
            unmatched_a: self.overlap_a.len() - self.matched(),
            unmatched_b: self.overlap_b.len() - self.matched(),
        }
    }

    /// Offset, drift and errors on the captures' own clocks.
    pub fn finish(&self, a: &Edges, b: &Edges) -> Alignment {
        // time in A − time in B against time in B: the slope is the drift.
        let x: Vec<f64> = self.pairs.iter().map(|p| b.times[p.1 as usize]).collect();
        let y: Vec<f64> = self
            .pairs
            .iter()
            .map(|p| a.times[p.0 as usize] - b.times[p.1 as usize])
            .collect();
        let fit = fit_line(&x, &y);
        Alignment::of_line(&fit, a, b, self.counts())
    }
}

/// Grows a candidate; `None` where its block has no line through at least three edges, or where, on the way,
/// fewer than [`LEAST_SHARE`] of the edges match: most false candidates end after a block or two.
pub(super) fn grow(a: &Edges, b: &Edges, candidate: &Candidate) -> Option<Growth> {
    let block = candidate.block.clone();
    // Two samples apart at most; thresholds and probes of two instruments differ by some ns more.
    let least = 0.55 * (a.sample_s + b.sample_s) + 1e-9;
    let loose = 4.0 * least;
    let mut fit = first_line(a, b, candidate, candidate.at, loose)?;
    let mut tolerance = loose;
    let mut range = block;
    let mut pairs;
    loop {
        // The end of the range may be off by what the slope leaves open.
        pairs = match_near(a, b, range.clone(), &fit, tolerance);
        if pairs.len() < 3 {
            return None;
        }
        for _ in 0..2 {
            fit = line_through(a, b, &pairs);
            tolerance = (5.0 * spread(a, b, &pairs, &fit)).clamp(least, loose);
            pairs = match_near(a, b, range.clone(), &fit, tolerance);
            if pairs.len() < 3 {
                return None;
            }
        }
        fit = line_through(a, b, &pairs);
        if share_in(a, b, &range, &fit, pairs.len()) < LEAST_SHARE {
            return None;
        }
        let whole = overlap(a, b, &fit);
        if range.start <= whole.start && range.end >= whole.end {
            break;
        }
        // Widen to both sides while the slope holds: the prediction may be off by as much as the tolerance.
        let grown = |room: f64| {
            let (low, high) = (a.times[range.start] - room, a.times[range.end - 1] + room);
            a.times.partition_point(|t| *t < low)..a.times.partition_point(|t| *t <= high)
        };
        let length = (a.times[range.end - 1] - a.times[range.start]).max(loose);
        let mut next = grown(length);
        if next == range {
            // A rest longer than the range: step over it to the next edges.
            next = range.start.saturating_sub(BURST)..(range.end + BURST).min(a.times.len());
            if next == range {
                break;
            }
        }
        let ends = [a.times[next.start], a.times[next.end - 1]];
        let open = ends.iter().map(|&t| fit.se_at(t)).fold(0.0, f64::max);
        tolerance = (tolerance + 4.0 * open).min(8.0 * loose + MAX_DRIFT * length);
        range = next.start.max(whole.start.min(range.start))..next.end.min(whole.end.max(range.end));
        if range.is_empty() {
            return None;
        }
    }
    let overlap_a = overlap(a, b, &fit);
    let overlap_b = overlap_of_b(a, b, &fit);
    let pairs: Vec<(u32, u32)> = pairs
        .into_iter()
        .filter(|p| overlap_a.contains(&(p.0 as usize)) && overlap_b.contains(&(p.1 as usize)))
        .collect();
    if pairs.len() < 3 {
        return None;
    }
    let (from, to) = (a.times[overlap_a.start], a.times[overlap_a.end - 1]);
    Some(Growth {
        pairs,
        fit,
        tolerance,
        overlap_a,
        overlap_b,
        middle: 0.5 * (from + to),
        length: to - from,
    })
}

/// Edges taken on either side where a rest is longer than what was matched so far.
const BURST: usize = 16;

/// The first line: of all slopes up to the largest drift, the one with most edges of the block in one window.
fn first_line(a: &Edges, b: &Edges, candidate: &Candidate, middle: f64, loose: f64) -> Option<LineFit> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for i in candidate.block.clone() {
        let at = a.times[i];
        let (low, high) = (
            at - candidate.offset - candidate.reach,
            at - candidate.offset + candidate.reach,
        );
        let from = b.times.partition_point(|t| *t < low);
        let near = b.times[from..]
            .iter()
            .zip(&b.rises[from..])
            .take_while(|(t, _)| **t <= high);
        points.extend(
            near.filter(|(_, r)| **r == a.rises[i])
                .map(|(t, _)| (at - middle, at - t)),
        );
        if points.len() > 20_000 {
            break;
        }
    }
    if points.len() < 3 {
        return None;
    }
    let half = 0.5 * (a.times[candidate.block.end - 1] - a.times[candidate.block.start]);
    let steps = ((2.0 * MAX_DRIFT * half / loose).ceil() as i64).clamp(1, 64);
    let mut window = loose.max(2.0 * MAX_DRIFT * half / steps as f64);
    let mut best = (0usize, 0.0, 0.0);
    let (mut center, mut step) = (0.0, MAX_DRIFT / steps as f64);
    // Coarse slopes first; then finer ones around the best until the window is as narrow as the edges allow.
    loop {
        best.0 = 0;
        for k in -steps..=steps {
            let slope = center + k as f64 * step;
            let mut left: Vec<f64> = points.iter().map(|p| p.1 - slope * p.0).collect();
            left.sort_unstable_by(f64::total_cmp);
            let mut end = 0;
            for start in 0..left.len() {
                while end < left.len() && left[end] <= left[start] + 2.0 * window {
                    end += 1;
                }
                if end - start > best.0 {
                    best = (end - start, slope, left[start + (end - start) / 2]);
                }
            }
        }
        if best.0 < 3 {
            return None;
        }
        let (_, slope, offset) = best;
        points.retain(|p| (p.1 - slope * p.0 - offset).abs() <= 3.0 * window);
        if window <= loose {
            break;
        }
        center = slope;
        step *= 0.25;
        window = (0.25 * window).max(loose);
    }
    let (_, slope, offset) = best;
    Some(LineFit {
        middle,
        intercept: offset,
        intercept_se: 0.0,
        slope,
        slope_se: 0.0,
        residual: loose,
        widened: 1.0,
    })
}

/// Pairs of equal polarity within `tolerance` of the line, each edge with its nearest, one to one.
fn match_near(a: &Edges, b: &Edges, range: Range<usize>, fit: &LineFit, tolerance: f64) -> Vec<(u32, u32)> {
    let mut pairs: Vec<(u32, u32)> = Vec::with_capacity(range.len());
    let mut taken = f64::INFINITY;
    let mut first = match a.times.get(range.start) {
        Some(&t) => b.times.partition_point(|x| *x < t - fit.at(t) - tolerance),
        None => return pairs,
    };
    for i in range {
        let at = a.times[i] - fit.at(a.times[i]);
        while first < b.times.len() && b.times[first] < at - tolerance {
            first += 1;
        }
        let mut best: Option<(f64, usize)> = None;
        for j in first..b.times.len() {
            if b.times[j] > at + tolerance {
                break;
            }
            let off = (b.times[j] - at).abs();
            if b.rises[j] == a.rises[i] && best.is_none_or(|(least, _)| off < least) {
                best = Some((off, j));
            }
        }
        let Some((off, j)) = best else { continue };
        match pairs.last() {
            Some(last) if last.1 as usize >= j => {
                if last.1 as usize == j && off < taken {
                    let at = pairs.len() - 1;
                    pairs[at] = (i as u32, j as u32);
                    taken = off;
                }
            }
            _ => {
                pairs.push((i as u32, j as u32));
                taken = off;
            }
        }
    }
    pairs
}

fn line_through(a: &Edges, b: &Edges, pairs: &[(u32, u32)]) -> LineFit {
    let x: Vec<f64> = pairs.iter().map(|p| a.times[p.0 as usize]).collect();
    let y: Vec<f64> = pairs
        .iter()
        .map(|p| a.times[p.0 as usize] - b.times[p.1 as usize])
        .collect();
    fit_line(&x, &y)
}

/// Matched edges as a share of the sparser line's edges in the part of `range` that both recorded.
fn share_in(a: &Edges, b: &Edges, range: &Range<usize>, fit: &LineFit, matched: usize) -> f64 {
    let whole = overlap(a, b, fit);
    let from = range.start.max(whole.start);
    let to = range.end.min(whole.end);
    if to <= from {
        return 0.0;
    }
    let in_b = |t: f64| t - fit.at(t);
    let (low, high) = (in_b(a.times[from]), in_b(a.times[to - 1]));
    let of_b = b.times.partition_point(|t| *t <= high) - b.times.partition_point(|t| *t < low);
    matched as f64 / (to - from).min(of_b).max(1) as f64
}

/// Robust standard deviation about the line: 1.4826 times the median distance.
fn spread(a: &Edges, b: &Edges, pairs: &[(u32, u32)], fit: &LineFit) -> f64 {
    let mut off: Vec<f64> = pairs
        .iter()
        .map(|p| {
            let at = a.times[p.0 as usize];
            (at - b.times[p.1 as usize] - fit.at(at)).abs()
        })
        .collect();
    let middle = off.len() / 2;
    1.4826 * *off.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Edges of A inside what both recorded edges of.
fn overlap(a: &Edges, b: &Edges, fit: &LineFit) -> Range<usize> {
    let slack = a.sample_s + b.sample_s + fit.residual;
    let in_b = |t: f64| t - fit.at(t);
    let (low, high) = (b.times[0] - slack, b.times[b.times.len() - 1] + slack);
    let from = a.times.partition_point(|t| in_b(*t) < low);
    let to = a.times.partition_point(|t| in_b(*t) <= high);
    from..to.max(from)
}

fn overlap_of_b(a: &Edges, b: &Edges, fit: &LineFit) -> Range<usize> {
    let slack = a.sample_s + b.sample_s + fit.residual;
    let ends = [a.times[0], a.times[a.times.len() - 1]].map(|t| t - fit.at(t));
    let from = b.times.partition_point(|t| *t < ends[0] - slack);
    let to = b.times.partition_point(|t| *t <= ends[1] + slack);
    from..to.max(from)
}
