//! Offsets worth trying: blocks of A's edges vote with the edges of B whose pulse is as wide.

use std::ops::Range;

use super::grow::Growth;
use super::{Edges, MAX_DRIFT};

/// A possible offset at a block of A.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    /// Edges of A that voted, and the time in the middle of them.
    pub block: Range<usize>,
    /// Seconds on A's clock.
    pub at: f64,
    /// Time in A minus time in B (each on its own [`Edges`] zero) in the middle of the block.
    pub offset: f64,
    /// How far off it may be, drift over the block allowed for.
    pub reach: f64,
}

impl Candidate {
    /// Whether a grown alignment passes through this candidate.
    pub fn is_near(&self, growth: &Growth) -> bool {
        (growth.offset_at(self.at) - self.offset).abs() <= self.reach
    }
}

/// Edges of a block.
const BLOCK: usize = 128;
/// Votes of one block at most; the edges with the rarest widths vote first.
const VOTES: usize = 400_000;
/// Votes of one edge at most; beyond, the widths after its own must agree as well.
const CROWD: usize = VOTES / 32;
/// Edges of a block that are looked at more closely when nearly all are so common.
const CROWDED: usize = 48;
/// Following widths that are compared then.
const FOLLOWING: usize = 6;

/// Up to `most` blocks of `n` edges, spread evenly, from the middle outwards.
pub(super) fn blocks(n: usize, most: usize) -> Vec<Range<usize>> {
    let size = BLOCK.min(n);
    let count = most.min(n.div_ceil((size / 2).max(1))).max(1);
    let mut blocks: Vec<Range<usize>> = (0..count)
        .map(|k| {
            let start = if count == 1 {
                0
            } else {
                k * (n - size) / (count - 1)
            };
            start..start + size
        })
        .collect();
    let middle = n as i64 / 2;
    blocks.sort_by_key(|b| (b.start as i64 + size as i64 / 2 - middle).abs());
    blocks
}

/// B's edges sorted by the width of the pulse they start, each polarity apart.
pub(super) struct Index<'a> {
    b: &'a Edges,
    /// (width, edge) ascending, of rising and of falling edges.
    widths: [Vec<(f64, u32)>; 2],
}

impl<'a> Index<'a> {
    /// Sorts the pulse widths of `b` by polarity. Cost: n log n.
    pub fn new(b: &'a Edges) -> Index<'a> {
        let mut widths = [Vec::new(), Vec::new()];
        for (i, pair) in b.times.windows(2).enumerate() {
            widths[b.rises[i] as usize].push((pair[1] - pair[0], i as u32));
        }
        for list in &mut widths {
            list.sort_unstable_by(|x, y| x.0.total_cmp(&y.0));
        }
        Index { b, widths }
    }

    /// Of the edges `of` B, those whose following widths agree best with those after edge `i` of A; where that
    /// still leaves a crowd (a regular line), those of one stretch in the middle of B.
    fn like_the_following(&self, a: &Edges, i: usize, of: &[(f64, u32)], slack: f64) -> Vec<u32> {
        let width = |edges: &Edges, k: usize| Some(edges.times.get(k + 1)? - edges.times[k]);
        let after: Vec<f64> = (1..=FOLLOWING).map_while(|k| width(a, i + k)).collect();
        let mut classes: Vec<Vec<u32>> = vec![Vec::new(); FOLLOWING + 1];
        for &(_, j) in of {
            let agrees = |(k, w): &(usize, &f64)| {
                width(self.b, j as usize + 1 + k).is_some_and(|v| (v - **w).abs() <= slack + MAX_DRIFT * **w)
            };
            let run = after.iter().enumerate().take_while(agrees).count();
            classes[run].push(j);
        }
        let mut chosen: Vec<u32> = Vec::new();
        for class in classes.into_iter().rev() {
            if chosen.len() + class.len() > CROWD {
                if chosen.is_empty() {
                    let middle = self.b.times.len() as u32 / 2;
                    let reach = CROWD as u32 / 2;
                    chosen.extend(class.into_iter().filter(|j| j.abs_diff(middle) < reach));
                }
                break;
            }
            chosen.extend(class);
        }
        chosen
    }

    /// The offsets with most votes, best first, at most `most`, none within reach of a better one.
    pub fn candidates(&self, a: &Edges, block: Range<usize>, most: usize) -> Vec<Candidate> {
        let slack = a.sample_s + self.b.sample_s + 2e-9;
        let last = a.times.len() - 1;
        // Votes of each edge: those of B's edges whose pulse is as wide.
        let mut voters: Vec<(usize, &[(f64, u32)])> = block
            .clone()
            .filter(|&i| i < last)
            .map(|i| {
                let list = &self.widths[a.rises[i] as usize];
                let width = a.times[i + 1] - a.times[i];
                let margin = slack + MAX_DRIFT * width;
                let from = list.partition_point(|e| e.0 < width - margin);
                let to = list.partition_point(|e| e.0 <= width + margin);
                (i, &list[from..to])
            })
            .filter(|(_, votes)| !votes.is_empty())
            .collect();
        voters.sort_by_key(|(_, votes)| votes.len());
        let rare = voters.partition_point(|(_, votes)| votes.len() <= CROWD);
        let (few, many) = voters.split_at(rare);
        let mut votes = Vec::new();
        for (i, of) in few {
            if votes.len() + of.len() > VOTES {
                break;
            }
            votes.extend(of.iter().map(|&(_, j)| a.times[*i] - self.b.times[j as usize]));
        }
        if few.len() < CROWDED {
            for (i, of) in many.iter().take(CROWDED - few.len()) {
                let chosen = self.like_the_following(a, *i, of, slack);
                votes.extend(chosen.into_iter().map(|j| a.times[*i] - self.b.times[j as usize]));
            }
        }
        votes.sort_unstable_by(f64::total_cmp);
        let length = a.times[block.end - 1] - a.times[block.start];
        let at = 0.5 * (a.times[block.start] + a.times[block.end - 1]);
        let reach = 0.5 * MAX_DRIFT * length + slack;
        fullest(&votes, 2.0 * reach, most)
            .into_iter()
            .map(|offset| Candidate {
                block: block.clone(),
                at,
                offset,
                reach: 2.0 * reach,
            })
            .collect()
    }
}

/// Middles of the fullest windows of `width` over sorted votes, best first, none overlapping a better one.
fn fullest(votes: &[f64], width: f64, most: usize) -> Vec<f64> {
    let mut end = 0;
    let mut windows: Vec<(usize, usize)> = Vec::with_capacity(votes.len());
    for start in 0..votes.len() {
        while end < votes.len() && votes[end] <= votes[start] + width {
            end += 1;
        }
        windows.push((end - start, start));
    }
    // Only windows nearly as full as the fullest few are worth sorting.
    let mut counts: Vec<usize> = windows.iter().map(|w| w.0).collect();
    counts.sort_unstable();
    let keep = counts.len().saturating_sub(counts.len().min(most * 256));
    let least = counts.get(keep).copied().unwrap_or(0).max(2);
    windows.retain(|w| w.0 >= least);
    windows.sort_unstable_by(|x, y| y.0.cmp(&x.0).then(x.1.cmp(&y.1)));
    let mut chosen: Vec<f64> = Vec::new();
    for (count, start) in windows {
        let middle = votes[start + count / 2];
        if chosen.iter().all(|c| (c - middle).abs() > width) {
            chosen.push(middle);
            if chosen.len() == most {
                break;
            }
        }
    }
    chosen
}
