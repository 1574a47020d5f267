//! Lag histograms of all ordered pairs of lines in one sweep over their merged edges.
//!
//! # Formula
//! `H[a][b][i]` counts the edges of b and of a whose difference t_b − t_a lies in
//! `[−reach + i·bin, −reach + (i + 1)·bin)`: the cross-correlogram's counts (Perkel, Gerstein, Moore 1967).
//!
//! Every two edges are visited once, the earlier one first; a difference of a whole number of
//! bins is counted apart, since the mirrored lag then falls into another bin: both orders come out of one count.

use crate::analysis::merged::{Block, Merged, column_of, time_of};
use crate::analysis::parallel::on_all_cores;

/// Counts of lags, one histogram an ordered pair of lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LagTable {
    pub lines: usize,
    /// Lags from −reach (closed) to reach (open), in ticks.
    pub reach: i64,
    pub bin: i64,
    counts: Vec<u64>,
}

impl LagTable {
    /// Bins of a histogram.
    pub fn bins(&self) -> usize {
        bins_of(self.reach, self.bin)
    }

    /// How often an edge of line `b` came each lag after one of line `a`: one count a bin.
    ///
    /// # Panics
    /// If there is no such line.
    pub fn of(&self, a: usize, b: usize) -> &[u64] {
        assert!(a < self.lines && b < self.lines);
        let bins = self.bins();
        let at = (a * self.lines + b) * bins;
        &self.counts[at..at + bins]
    }
}

fn bins_of(reach: i64, bin: i64) -> usize {
    (2 * reach / bin) as usize
}

/// Blocks that one job takes.
const BLOCKS_A_JOB: usize = 16;
/// Slots of differences are looked up in a table of this length.
pub const LONGEST_REACH: i64 = 1 << 22;

/// The lag histograms of all ordered pairs. `lines`: ascending ticks each, without repeats within a line; `reach` a
/// multiple of `bin`, at most 2²² ticks. Cost: a merge of all edges, and one visit of every two edges within reach
/// of each other. All cores.
///
/// # Panics
/// If `reach` is no positive multiple of `bin`, or too long.
pub fn lag_table(lines: &[&[i64]], reach: i64, bin: i64) -> LagTable {
    assert!(bin > 0 && reach > 0 && reach % bin == 0 && reach <= LONGEST_REACH);
    let merged = Merged::new(lines);
    let blocks: Vec<usize> = (0..merged.len()).collect();
    let jobs: Vec<&[usize]> = blocks.chunks(BLOCKS_A_JOB).collect();
    // Slots of a difference d ≥ 0: 2q where d = q·bin, 2q + 1 within the bin, and one for d = reach.
    let slots = 2 * (reach / bin) as usize + 1;
    let slot_of: Vec<u32> = (0..=reach)
        .map(|d| (2 * (d / bin) + i64::from(d % bin != 0)) as u32)
        .collect();
    let parts = on_all_cores(&jobs, |blocks| {
        forward(&merged, blocks, lines.len(), reach as u64, &slot_of)
    });
    let mut seen = vec![0u64; lines.len() * lines.len() * slots];
    for part in parts {
        seen.iter_mut()
            .zip(part)
            .for_each(|(all, more)| *all += u64::from(more));
    }
    mirrored(lines, &seen, reach, bin)
}

/// Counts of d = t_later − t_earlier, by line of the earlier, line of the later, and slot.
fn forward(merged: &Merged, blocks: &[usize], lines: usize, reach: u64, slot_of: &[u32]) -> Vec<u32> {
    let slots = slot_of[reach as usize] as usize + 1;
    let mut seen = vec![0u32; lines * lines * slots];
    let mut block = Block::default();
    let (mut times, mut places) = (Vec::new(), Vec::new());
    for &index in blocks {
        merged.read(index, reach as i64 + 1, &mut block);
        times.clear();
        times.extend(block.keys.iter().map(|&k| time_of(k)));
        // Beyond the last edge nothing is within reach.
        times.push(u64::MAX);
        places.clear();
        places.extend(block.keys.iter().map(|&k| column_of(k) * slots));
        for first in 0..block.inside {
            let earlier = times[first];
            let rows = &mut seen[places[first] * lines..][..lines * slots];
            let mut second = first + 1;
            while times[second] - earlier <= reach {
                let slot = slot_of[(times[second] - earlier) as usize] as usize;
                rows[places[second] + slot] += 1;
                second += 1;
            }
        }
    }
    seen
}

fn mirrored(lines: &[&[i64]], seen: &[u64], reach: i64, bin: i64) -> LagTable {
    let (n, half) = (lines.len(), (reach / bin) as usize);
    let (bins, slots) = (2 * half, 2 * half + 1);
    let mut table = LagTable {
        lines: n,
        reach,
        bin,
        counts: vec![0; n * n * bins],
    };
    for (pair, counts) in seen.chunks_exact(slots).enumerate() {
        let (a, b) = (pair / n, pair % n);
        for (slot, &count) in counts.iter().enumerate().filter(|(_, c)| **c > 0) {
            let (whole, within) = (slot / 2, slot % 2);
            if whole < half {
                table.counts[(a * n + b) * bins + half + whole] += count;
            }
            table.counts[(b * n + a) * bins + half - whole - within] += count;
        }
    }
    for (a, edges) in lines.iter().enumerate() {
        table.counts[(a * n + a) * bins + half] += edges.len() as u64;
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_sweep_counts_what_two_loops_a_pair_count(
            mut lines in proptest::collection::vec(proptest::collection::vec(0i64..900, 0..150), 1..5),
            bin in 1i64..9,
            half in 1i64..9,
        ) {
            for line in &mut lines {
                line.sort_unstable();
                line.dedup();
            }
            let lines: Vec<&[i64]> = lines.iter().map(Vec::as_slice).collect();
            let reach = bin * half;
            let table = lag_table(&lines, reach, bin);
            for (a, of_a) in lines.iter().enumerate() {
                for (b, of_b) in lines.iter().enumerate() {
                    let mut plain = vec![0u64; table.bins()];
                    for t in of_a.iter() {
                        for u in of_b.iter().filter(|u| (-reach..reach).contains(&(**u - t))) {
                            plain[((u - t + reach) / bin) as usize] += 1;
                        }
                    }
                    prop_assert_eq!(table.of(a, b), plain.as_slice());
                }
            }
        }
    }
}
