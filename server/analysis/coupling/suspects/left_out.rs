//! Edges whose stray would come beside an edge of the victim's own, of every suspect, found in one sweep over all edges.
//!
//! Strays beside own edges are left out of the count, so edges that could only have brought such a stray are no
//! opportunities. Which edges these are depends on the lag: for each suspect it is kept how far its edges lie from the ends
//! of the rests they lie in.
//!
//! Looking every suspect's edges up beside every rest of a victim took most of the time of 32 lines with 10⁷ edges.

use super::able::gallop;
use crate::analysis::coupling::fit::select::{Reach, Victim};
use crate::analysis::merged::{Block, COLUMN_BITS, Merged, column_of, time_of};
use crate::analysis::parallel::on_all_cores;

/// Lags are told apart in so many steps at least, if ticks are that fine.
const STEPS: i64 = 512;
/// Counters, or edges counted one by one, that one group of victims takes.
const COUNTERS: usize = 1 << 21;
/// Edges are counted one by one where counters are more by this factor.
const SPARSE: usize = 2;
/// Jobs that share them out.
const JOBS: usize = 8;
/// Columns that are merged at once.
const COLUMNS: usize = 1 << 12;

/// One suspect's edges near the ends of a victim's rests.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LeftOut {
    /// From an edge to the end of its rest, less what a stray takes and its guard.
    until_end: Counted,
    /// From the start of its rest to an edge, less the guard.
    since_start: Counted,
}

impl LeftOut {
    /// How many edges would have their stray left out, if it came `lag` ticks after them. Cost: log of the steps.
    pub fn at(&self, lag: i64) -> usize {
        self.until_end.below(lag) + self.since_start.below(-lag)
    }
}

/// Values in ticks, ascending, each with how many there are up to it.
#[derive(Clone, Debug, Default, PartialEq)]
struct Counted(Vec<(i64, usize)>);

impl Counted {
    fn below(&self, limit: i64) -> usize {
        let after = self.0.partition_point(|step| step.0 < limit);
        after.checked_sub(1).map_or(0, |last| self.0[last].1)
    }

    /// `count` more of a value above all before.
    fn add(&mut self, value: i64, count: usize) {
        let before = self.0.last().map_or(0, |last| last.1);
        self.0.push((value, before + count));
    }
}

/// How the distances of one victim are counted: values from `lo` to `hi` matter, in steps of `1 << coarse` ticks.
#[derive(Clone, Copy)]
struct Scale {
    lo: i64,
    hi: i64,
    coarse: u32,
    steps: usize,
}

impl Scale {
    fn of(reach: &Reach) -> Scale {
        let coarse = ((reach.hi - reach.lo + 1) / STEPS).max(1).ilog2();
        Scale {
            lo: reach.lo,
            hi: reach.hi,
            coarse,
            // And one for what lies below all lags.
            steps: ((reach.hi - reach.lo) >> coarse) as usize + 2,
        }
    }

    fn width(&self) -> i64 {
        1 << self.coarse
    }

    /// The step of a value, where `lo` is the least that matters. What lies beyond an end is counted there.
    fn step(&self, value: i64, lo: i64) -> usize {
        ((((value - lo).max(-1) + self.width()) >> self.coarse) as usize).min(self.steps - 1)
    }
}

/// For each victim: what is left out of each column (ascending ticks), for lags inside the victim's reach. Cost: a merge of all
/// columns for each group of victims, a search of each rest's ends among the edges near it, and the edges beside them. All
/// cores.
pub fn of_all(columns: &[&[i64]], victims: &[(&Victim, Reach)]) -> Vec<Vec<LeftOut>> {
    let mut all: Vec<Vec<LeftOut>> = vec![Vec::with_capacity(columns.len()); victims.len()];
    for columns in columns.chunks(COLUMNS) {
        let merged = Merged::new(columns);
        let steps = victims.iter().map(|(_, reach)| Scale::of(reach).steps).max();
        let edges: usize = columns.iter().map(|times| times.len()).sum();
        let counters = 2 * columns.len() * steps.unwrap_or(1);
        let is_sparse = edges < counters / SPARSE;
        let group = (COUNTERS / if is_sparse { edges.max(1) } else { counters }).max(1);
        let groups: Vec<&[(&Victim, Reach)]> = victims.chunks(group).collect();
        let parts = on_all_cores(&groups, |group| {
            of_group(&merged, columns.len(), group, is_sparse)
        });
        let parts = parts.into_iter().flatten();
        all.iter_mut().zip(parts).for_each(|(all, part)| all.extend(part));
    }
    all
}

fn of_group(
    merged: &Merged,
    columns: usize,
    victims: &[(&Victim, Reach)],
    is_sparse: bool,
) -> Vec<Vec<LeftOut>> {
    let blocks: Vec<usize> = (0..merged.len()).collect();
    let jobs: Vec<&[usize]> = blocks.chunks(blocks.len().div_ceil(JOBS).max(1)).collect();
    let counted = on_all_cores(&jobs, |blocks| {
        let tables = victims
            .iter()
            .map(|(victim, reach)| Table::new(victim, reach, columns, is_sparse));
        let mut tables: Vec<Table> = tables.collect();
        let mut block = Block::default();
        for &index in *blocks {
            merged.read(index, 0, &mut block);
            tables.iter_mut().for_each(|table| table.add(&block));
        }
        tables
    });
    let mut counted = counted.into_iter();
    let Some(mut sums) = counted.next() else {
        return vec![vec![LeftOut::default(); columns]; victims.len()];
    };
    for tables in counted {
        sums.iter_mut()
            .zip(tables)
            .for_each(|(sum, more)| sum.counts.join(more.counts));
    }
    sums.iter_mut().map(Table::told).collect()
}

/// The distances of one victim: for each column those to the ends of rests, then those from their starts.
struct Table<'a> {
    victim: &'a Victim,
    scale: Scale,
    columns: usize,
    counts: Counts,
}

/// How many edges lie at each place: a step of one end, in one column.
enum Counts {
    /// By place.
    Dense(Vec<u32>),
    /// The place of each edge, where edges are far fewer than places.
    Sparse(Vec<u32>),
}

impl Counts {
    fn add(&mut self, place: usize) {
        match self {
            Counts::Dense(counts) => counts[place] += 1,
            Counts::Sparse(places) => places.push(place as u32),
        }
    }

    fn join(&mut self, other: Counts) {
        match (self, other) {
            (Counts::Dense(counts), Counts::Dense(more)) => {
                counts
                    .iter_mut()
                    .zip(more)
                    .for_each(|(count, more)| *count += more);
            }
            (Counts::Sparse(places), Counts::Sparse(more)) => places.extend(more),
            _ => unreachable!("all tables of a group count alike"),
        }
    }

    /// Each place with edges and how many, ascending.
    fn told(&mut self) -> Vec<(usize, usize)> {
        match self {
            Counts::Dense(counts) => {
                let counts = counts.iter().enumerate();
                let counts = counts.filter(|(_, count)| **count > 0);
                counts.map(|(place, &count)| (place, count as usize)).collect()
            }
            Counts::Sparse(places) => {
                places.sort_unstable();
                let alike = places.chunk_by(|a, b| a == b);
                alike.map(|alike| (alike[0] as usize, alike.len())).collect()
            }
        }
    }
}

impl<'a> Table<'a> {
    fn new(victim: &'a Victim, reach: &Reach, columns: usize, is_sparse: bool) -> Table<'a> {
        let scale = Scale::of(reach);
        Table {
            victim,
            scale,
            columns,
            counts: match is_sparse {
                true => Counts::Sparse(Vec::new()),
                false => Counts::Dense(vec![0; 2 * scale.steps * columns]),
            },
        }
    }

    /// What is left out of each column.
    fn told(&mut self) -> Vec<LeftOut> {
        let (Scale { lo, hi, steps, .. }, width) = (self.scale, self.scale.width());
        let mut of_all = vec![LeftOut::default(); self.columns];
        for (place, count) in self.counts.told() {
            let (column, step) = (place / (2 * steps), place % (2 * steps));
            match step.checked_sub(steps) {
                None => of_all[column]
                    .until_end
                    .add(lo - width + step as i64 * width, count),
                Some(step) => of_all[column]
                    .since_start
                    .add(-hi - width + step as i64 * width, count),
            }
        }
        of_all
    }

    /// Counts the edges of a block.
    fn add(&mut self, block: &Block) {
        let keys = &block.keys[..block.inside];
        let Some(&last) = keys.last() else { return };
        let (start, end) = (block.start, block.start + time_of(last) as i64);
        let Victim { width, guard, .. } = *self.victim;
        let (scale, slack) = (self.scale, self.victim.able().slack);
        // The first key at or after a time.
        let key = |time: i64| ((time.min(end + 1) - start).max(0) as u64) << COLUMN_BITS;
        let mut at = 0;
        let first = self.victim.rests.partition_point(|r| r.end - slack <= start);
        for rest in &self.victim.rests[first..] {
            let (from, to) = (rest.start + slack + 1, rest.end - slack);
            if from > end {
                break;
            }
            // From here on a stray comes too near the end, at some lag; up to there too near the start.
            let near_end = (rest.end - width - guard - scale.hi + 1).clamp(from, to.max(from));
            let near_start = (rest.start + guard - scale.lo).clamp(from, near_end);
            at += gallop(&keys[at..], |&k| k < key(from));
            let until = at + gallop(&keys[at..], |&k| k < key(near_start));
            for &k in &keys[at..until] {
                let value = start + time_of(k) as i64 - rest.start - guard;
                let column = 2 * scale.steps * column_of(k);
                self.counts
                    .add(column + scale.steps + scale.step(value, -scale.hi));
            }
            at = until + gallop(&keys[until..], |&k| k < key(near_end));
            let until = at + gallop(&keys[at..], |&k| k < key(to));
            for &k in &keys[at..until] {
                let value = rest.end - (start + time_of(k) as i64) - width - guard;
                let column = 2 * scale.steps * column_of(k);
                self.counts.add(column + scale.step(value, scale.lo));
            }
            at = until;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::able::Rest;
    use super::*;
    use crate::analysis::coupling::fixtures;
    use proptest::prelude::*;

    /// Each edge by itself.
    fn plain(times: &[i64], victim: &Victim, reach: &Reach, lag: i64) -> usize {
        let slack = victim.able().slack;
        let is_left_out = |&&t: &&i64| {
            let mut rests = victim.rests.iter();
            let rest = rests.find(|r| r.start + slack < t && t < r.end - slack);
            rest.is_some_and(|rest| {
                let until_end = rest.end - t - victim.width - victim.guard;
                let since_start = t - rest.start - victim.guard;
                match until_end < reach.hi {
                    true => until_end < lag,
                    false => since_start < -lag,
                }
            })
        };
        times.iter().filter(is_left_out).count()
    }

    fn victim(bounds: &[i64], guard: i64) -> Victim {
        let rests = bounds
            .as_chunks()
            .0
            .iter()
            .map(|&[start, end]| Rest { start, end });
        Victim {
            guard,
            ..fixtures::victim(0, Vec::new(), rests.collect())
        }
    }

    proptest! {
        #[test]
        fn the_sweep_leaves_out_what_plain_loops_do(
            mut columns in proptest::collection::vec(proptest::collection::vec(0i64..40_000, 0..700), 1..4),
            mut bounds in proptest::collection::vec(proptest::collection::vec(-500i64..40_500, 0..60), 1..4),
            guard in 0i64..90,
            lags in proptest::collection::vec(-8i64..=120, 1..9),
            spread in prop_oneof![Just(1i64), Just(1 << 34)],
        ) {
            columns.iter_mut().for_each(|c| c.sort_unstable());
            for b in &mut bounds {
                b.sort_unstable();
                b.dedup();
            }
            // Far apart there is more than one block, and time that no key holds.
            let far = |t: &mut i64| *t = *t % 10_000 + *t / 10_000 * 10_000 * spread;
            columns.iter_mut().flatten().for_each(far);
            bounds.iter_mut().flatten().for_each(far);
            let columns: Vec<&[i64]> = columns.iter().map(Vec::as_slice).collect();
            let victims: Vec<Victim> = bounds.iter().map(|b| victim(b, guard)).collect();
            let reach = Reach { lo: -8, hi: 120, narrowest: 5.0 };
            let with_reach: Vec<(&Victim, Reach)> = victims.iter().map(|v| (v, reach)).collect();
            let found = of_all(&columns, &with_reach);
            for (victim, found) in victims.iter().zip(&found) {
                prop_assert_eq!(found.len(), columns.len());
                for (times, left_out) in columns.iter().zip(found) {
                    for &lag in &lags {
                        prop_assert_eq!(left_out.at(lag), plain(times, victim, &reach, lag));
                    }
                }
            }
        }
    }

    #[test]
    fn lags_finer_than_steps_are_counted_by_steps() {
        let victim = victim(&[0, 1_000_000], 50);
        let reach = Reach {
            lo: -8_000,
            hi: 120_000,
            narrowest: 5_000.0,
        };
        // 60,000 to the end, less what a stray takes and its guard.
        let found = of_all(&[&[940_000 - 70]], &[(&victim, reach)]);
        let step = 128_001 / STEPS;
        assert_eq!(
            [59_999 - step, 60_001 + step].map(|lag| found[0][0].at(lag)),
            [0, 1]
        );
    }
}
