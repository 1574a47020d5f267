//! Opportunities of every suspect against every victim, counted in one sweep over all edges.
//!
//! Each victim level is one bit of a mask that says who is able to show a stray; at every edge the mask is added to
//! the counters of the edge's column. The counters are sliced by bits (plane p of a column holds bit p of its 64
//! counts), so adding 64 flags is a carry that ripples through about two words.
//!
//! Looking every suspect's edges up in every victim's rests took thirty times as long on 32 lines with 10⁷ edges.

use super::able::{Able, gallop};
use crate::analysis::merged::{Block, COLUMN_BITS, Merged, column_of, time_of};
use crate::analysis::parallel::on_all_cores;

/// Flags of a mask.
const FLAGS: usize = u64::BITS as usize;
/// Planes of a counter: it holds fewer than 2²⁴.
const PLANES: usize = 24;
/// Blocks that one job takes.
const BLOCKS_A_JOB: usize = 32;

/// For each victim: the number of opportunities in each column (ascending ticks). Cost: a merge of all columns for
/// each 64 victims, and a search of each rest's ends among the edges near it. All cores.
pub fn opportunities(columns: &[&[i64]], victims: &[Able]) -> Vec<Vec<u64>> {
    let merged = Merged::new(columns);
    let blocks: Vec<usize> = (0..merged.len()).collect();
    let jobs: Vec<(&[usize], &[Able])> = victims
        .chunks(FLAGS)
        .flat_map(|group| blocks.chunks(BLOCKS_A_JOB).map(move |blocks| (blocks, group)))
        .collect();
    let parts = on_all_cores(&jobs, |(blocks, group)| {
        count(&merged, blocks, group, columns.len())
    });
    let mut counts = vec![vec![0; columns.len()]; victims.len()];
    let groups = victims.len().div_ceil(FLAGS);
    for (at, part) in parts.into_iter().enumerate() {
        let group = at * groups / jobs.len().max(1);
        for (flag, column) in part.iter().enumerate() {
            let total = &mut counts[group * FLAGS + flag];
            total
                .iter_mut()
                .zip(column)
                .for_each(|(total, more)| *total += more);
        }
    }
    counts
}

fn count(merged: &Merged, blocks: &[usize], victims: &[Able], columns: usize) -> Vec<Vec<u64>> {
    let mut counters = Counters::new(columns, victims.len());
    let mut block = Block::default();
    let mut turns: Vec<u64> = Vec::new();
    for &index in blocks {
        merged.read(index, 0, &mut block);
        let keys = &block.keys[..block.inside];
        turns.clear();
        turns.resize(keys.len() + 1, 0);
        for (flag, victim) in victims.iter().enumerate() {
            mark(&mut turns, keys, block.start, victim, 1 << flag);
        }
        let mut able = 0;
        for (&key, turn) in keys.iter().zip(&turns) {
            able ^= turn;
            counters.add(column_of(key), able);
        }
        counters.added(keys.len());
    }
    counters.totals()
}

/// Turns the victim's flag at the edges where it becomes able and where it ceases to be.
fn mark(turns: &mut [u64], keys: &[u64], start: i64, victim: &Able, flag: u64) {
    let Some(&last) = keys.last() else { return };
    let end = start + time_of(last) as i64;
    let mut at = 0;
    let first = victim.rests.partition_point(|r| r.end - victim.slack <= start);
    for rest in &victim.rests[first..] {
        let (after, before) = (rest.start + victim.slack, rest.end - victim.slack);
        if after >= end {
            break;
        }
        // Keys whose time is at most `after`, then those whose time is below `before`.
        let low = ((after - start + 1).max(0) as u64) << COLUMN_BITS;
        at += gallop(&keys[at..], |&k| k < low);
        let from = at;
        if before > end {
            at = keys.len();
        } else {
            let high = ((before - start).max(0) as u64) << COLUMN_BITS;
            at += gallop(&keys[at..], |&k| k < high);
        }
        if at > from {
            turns[from] ^= flag;
            turns[at] ^= flag;
        }
    }
}

/// 64 counters a column, sliced by bits.
struct Counters {
    planes: Vec<[u64; PLANES]>,
    since: usize,
    totals: Vec<Vec<u64>>,
}

impl Counters {
    fn new(columns: usize, flags: usize) -> Counters {
        Counters {
            planes: vec![[0; PLANES]; columns],
            since: 0,
            totals: vec![vec![0; columns]; flags],
        }
    }

    fn add(&mut self, column: usize, flags: u64) {
        let mut carry = flags;
        for plane in &mut self.planes[column] {
            if carry == 0 {
                return;
            }
            (*plane, carry) = (*plane ^ carry, *plane & carry);
        }
        debug_assert_eq!(carry, 0, "a counter overflows");
    }

    /// Says that `edges` were added, so that no counter overflows: a block never holds as many as the planes count.
    fn added(&mut self, edges: usize) {
        self.since += edges;
        if self.since >= 1 << (PLANES - 1) {
            self.settle();
        }
    }

    fn settle(&mut self) {
        for (column, planes) in self.planes.iter_mut().enumerate() {
            for (flag, total) in self.totals.iter_mut().enumerate() {
                let bits = planes.iter().enumerate();
                total[column] += bits.map(|(p, plane)| (plane >> flag & 1) << p).sum::<u64>();
            }
            *planes = [0; PLANES];
        }
        self.since = 0;
    }

    fn totals(mut self) -> Vec<Vec<u64>> {
        self.settle();
        self.totals
    }
}

#[cfg(test)]
mod tests {
    use super::super::able::Rest;
    use super::*;
    use proptest::prelude::*;

    fn plain(columns: &[&[i64]], victims: &[Able]) -> Vec<Vec<u64>> {
        let able = |v: &Able, e: i64| {
            let fits = |r: &&Rest| r.start + v.slack < e && e < r.end - v.slack;
            v.rests.iter().find(fits).is_some()
        };
        let count = |v: &Able, c: &[i64]| c.iter().filter(|&&e| able(v, e)).count() as u64;
        victims
            .iter()
            .map(|v| columns.iter().map(|c| count(v, c)).collect())
            .collect()
    }

    #[test]
    fn counters_hold_more_than_their_planes() {
        let mut counters = Counters::new(1, 3);
        for _ in 0..20_000_000 {
            counters.add(0, 0b101);
            counters.added(1);
        }
        assert_eq!(
            counters.totals(),
            vec![vec![20_000_000], vec![0], vec![20_000_000]]
        );
    }

    proptest! {
        #[test]
        fn the_sweep_counts_what_plain_loops_count(
            mut columns in proptest::collection::vec(proptest::collection::vec(0i64..4_000, 0..700), 1..5),
            bounds in proptest::collection::vec(proptest::collection::vec(-50i64..4_050, 0..40), 1..70),
            slack in 0i64..30,
        ) {
            columns.iter_mut().for_each(|c| c.sort_unstable());
            let columns: Vec<&[i64]> = columns.iter().map(Vec::as_slice).collect();
            let rests: Vec<Vec<Rest>> = bounds
                .into_iter()
                .map(|mut b| {
                    b.sort_unstable();
                    b.dedup();
                    b.as_chunks().0.iter().map(|&[start, end]| Rest { start, end }).collect()
                })
                .collect();
            let victims: Vec<Able> = rests.iter().map(|r| Able { rests: r, slack }).collect();
            prop_assert_eq!(opportunities(&columns, &victims), plain(&columns, &victims));
        }
    }
}
