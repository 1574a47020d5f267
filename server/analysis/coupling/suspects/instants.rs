//! Switching instants: moments at which something switched, who switched then, and whether a victim showed a
//! stray.
//!
//! A stray's cause is judged among the moments at which the machine moved. Lines that switch within
//! [`SPAN_S`] of the first belong to one instant: TTL-era outputs of one step follow each other by some tens
//! of nanoseconds. Instants with the same lines are counted together, since only the counts matter.

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

use super::able::{OwnEdges, gallop};
use crate::analysis::coupling::Edge;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::merged::{Block, MOST_COLUMNS, Merged, column_of, time_of};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Polarity};

/// Length of an instant: output delays of one step differ by about so much.
const SPAN_S: f64 = 40e-9;

/// Length of an instant in ticks, both ends closed: sampling may part edges that come together by a sample.
pub fn span(capture: &Capture, strays: &Strays) -> i64 {
    let coarsest = strays.sampling.iter().copied().fold(0.0, f64::max);
    (capture.timebase.ticks_of(SPAN_S) + coarsest).ceil() as i64
}

/// What a line did at an instant, as one number: it rose, it fell, or (always beside one of these) it switched.
pub fn key(line: usize, edge: Edge) -> usize {
    3 * line
        + match edge {
            Edge::Rise => 0,
            Edge::Fall => 1,
            Edge::Both => 2,
        }
}

/// All keys of a line, ascending.
pub fn keys_of(line: usize) -> [usize; 3] {
    [Edge::Rise, Edge::Fall, Edge::Both].map(|edge| key(line, edge))
}

/// The line of a [`key`].
pub fn line_of(key: usize) -> usize {
    key / 3
}

/// What the line of a [`key`] did.
pub fn edge_of(key: usize) -> Edge {
    [Edge::Rise, Edge::Fall, Edge::Both][key % 3]
}

/// All instants of a capture, ascending. Instant i lasts from `first[i]` to [`Instants::last`] (ticks, both ends
/// closed). The same lines switch at many of them: what they did is kept once, as a pattern.
#[derive(Clone, Debug, Default)]
pub struct Instants {
    /// Edges so near to the first belong to one instant, in ticks.
    pub span: i64,
    pub first: Vec<i64>,
    /// Lengths, in steps of `1 << coarse` ticks, rounded up.
    length: Vec<u16>,
    coarse: u32,
    /// For each instant its pattern: the keys `who[start[p]..start[p + 1]]`, ascending, each once.
    pattern: Vec<u32>,
    start: Vec<usize>,
    who: Arc<Vec<u32>>,
}

/// Patterns met so far, each with its number.
struct Patterns {
    /// Of a single edge, by key.
    single: Vec<u32>,
    several: HashMap<Vec<u32>, u32>,
}

const NOT_MET: u32 = u32::MAX;

impl Instants {
    /// Gathers the edges of `lines` into instants of `span` ticks. Cost: a merge of all edges, and a look-up of the
    /// keys of each instant.
    pub fn gather(edges: &[OwnEdges], lines: impl Iterator<Item = usize>, span: i64) -> Instants {
        let (mut columns, mut keys): (Vec<&[i64]>, Vec<u32>) = (Vec::new(), Vec::new());
        for line in lines {
            for polarity in [Polarity::Rise, Polarity::Fall] {
                columns.push(edges[line].of(polarity));
                keys.push(key(line, polarity.into()) as u32);
            }
        }
        // Room for every edge by itself: what is not needed is never touched, and nothing is moved while it grows.
        let most: usize = columns.iter().map(|c| c.len()).sum();
        let mut instants = Instants {
            span,
            first: Vec::with_capacity(most),
            length: Vec::with_capacity(most),
            coarse: (i64::BITS - span.max(0).leading_zeros()).saturating_sub(u16::BITS - 1),
            pattern: Vec::with_capacity(most),
            start: vec![0],
            who: Arc::default(),
        };
        let mut patterns = Patterns {
            single: vec![NOT_MET; 3 * edges.len()],
            several: HashMap::new(),
        };
        let mut now: Vec<u32> = Vec::new();
        let up = (1i64 << instants.coarse) - 1;
        let mut first = i64::MIN;
        in_order(&columns, |time, column| {
            if instants.first.is_empty() || time - first > span {
                instants.settle(&mut now, &mut patterns);
                instants.first.push(time);
                instants.length.push(0);
                first = time;
            }
            now.push(keys[column]);
            if let Some(length) = instants.length.last_mut() {
                *length = ((time - first + up) >> instants.coarse) as u16;
            }
        });
        instants.settle(&mut now, &mut patterns);
        instants
    }

    /// Gives the instant that has just ended its pattern. `now`: its edges' keys; emptied.
    fn settle(&mut self, now: &mut Vec<u32>, patterns: &mut Patterns) {
        let number = match now.as_slice() {
            [] => return,
            [key] => patterns.single[*key as usize],
            _ => {
                now.sort_unstable();
                now.dedup();
                patterns.several.get(now).copied().unwrap_or(NOT_MET)
            }
        };
        let number = if number == NOT_MET {
            let number = (self.start.len() - 1) as u32;
            match now.as_slice() {
                [key] => patterns.single[*key as usize] = number,
                _ => {
                    patterns.several.insert(now.clone(), number);
                }
            }
            let who = Arc::make_mut(&mut self.who);
            for &edge in now.iter() {
                let both = key(line_of(edge as usize), Edge::Both) as u32;
                who.extend([edge, both]);
            }
            let from = self.start[number as usize];
            who[from..].sort_unstable();
            let mut kept = from;
            for at in from..who.len() {
                if at == from || who[at] != who[kept - 1] {
                    who[kept] = who[at];
                    kept += 1;
                }
            }
            who.truncate(kept);
            self.start.push(kept);
            number
        } else {
            number
        };
        self.pattern.push(number);
        now.clear();
    }

    /// The last edge of instant `i`; up to one part in 30,000 of the span later where ticks are very short.
    pub fn last(&self, i: usize) -> i64 {
        self.first[i] + (i64::from(self.length[i]) << self.coarse)
    }

    /// The keys that switched at instant `i`.
    pub fn who(&self, i: usize) -> &[u32] {
        let pattern = self.pattern[i] as usize;
        &self.who[self.start[pattern]..self.start[pattern + 1]]
    }

    /// The last instant that had begun by `time`.
    pub fn begun_by(&self, time: i64) -> Option<usize> {
        self.first.partition_point(|&f| f <= time).checked_sub(1)
    }
}

/// Every edge in the order of time, with the position of its column. Beyond what a merge takes at once they are sorted.
fn in_order(columns: &[&[i64]], mut take: impl FnMut(i64, usize)) {
    if columns.len() > MOST_COLUMNS {
        let edges = columns.iter().enumerate();
        let mut all: Vec<(i64, usize)> = edges
            .flat_map(|(c, of)| of.iter().map(move |&t| (t, c)))
            .collect();
        all.sort_unstable();
        return all.into_iter().for_each(|(time, column)| take(time, column));
    }
    let merged = Merged::new(columns);
    let mut block = Block::default();
    for index in 0..merged.len() {
        merged.read(index, 0, &mut block);
        for &edge in &block.keys[..block.inside] {
            take(block.start + time_of(edge) as i64, column_of(edge));
        }
    }
}

/// Instants with the same lines, counted together.
#[derive(Clone, Debug)]
pub struct Pattern {
    who: Range<usize>,
    /// How many such instants.
    pub count: f64,
    /// At how many of them the victim showed a stray.
    pub struck: f64,
}

/// One victim level among the instants at which it was able to show a stray. What lines did at these is shared with all
/// other tables of the capture.
#[derive(Clone, Debug, Default)]
pub struct Table {
    pub patterns: Vec<Pattern>,
    who: Arc<Vec<u32>>,
    /// Lines whose edges say nothing, the victim among them, and keys of other lines' edges that don't; ascending.
    silent_lines: Vec<usize>,
    silent: Vec<usize>,
    /// Keys are below this.
    pub keys: usize,
    /// Strays that came at no instant.
    pub apart: u64,
}

impl Table {
    /// Counts the instants at which `victim` was able. `at[k]`: the instant that stray k belongs to; `silent`: keys that
    /// are left out; `after`: how long after an instant a stray may begin and end, in ticks.
    pub fn of(
        instants: &Instants,
        victim: &Victim,
        at: &[Option<usize>],
        silent: &[usize],
        keys: usize,
        after: i64,
    ) -> Table {
        let slack = victim.unit.ceil() as i64;
        let (before, behind) = (victim.guard + slack, slack.max(after));
        let mut struck: Vec<usize> = at.iter().flatten().copied().collect();
        struck.sort_unstable();
        struck.dedup();
        let mut counts = vec![(0u32, 0u32); instants.start.len() - 1];
        let (mut from, mut hit) = (0, 0);
        let mut used = 0;
        for rest in &victim.rests {
            // The instants that begin late enough in the rest and end early enough.
            from += gallop(&instants.first[from..], |&first| first - before <= rest.start);
            let begun = from + gallop(&instants.first[from..], |&first| first + behind < rest.end);
            let ended = |i: &usize| instants.last(*i) + behind < rest.end;
            // Instants don't overlap: only the last that began may end too late.
            let to = begun - usize::from(begun > from && !ended(&(begun - 1)));
            for &pattern in &instants.pattern[from..to] {
                counts[pattern as usize].0 += 1;
            }
            while struck.get(hit).is_some_and(|&i| i < to) {
                if struck[hit] >= from {
                    counts[instants.pattern[struck[hit]] as usize].1 += 1;
                }
                hit += 1;
            }
            from = to;
        }
        let mut silent = silent.to_vec();
        silent.extend(keys_of(victim.line));
        silent.sort_unstable();
        silent.dedup();
        let is_silent = |key: usize| silent.binary_search(&key).is_ok();
        let is_whole = |line: usize| keys_of(line).into_iter().all(is_silent);
        let mut silent_lines: Vec<usize> = silent.iter().map(|&key| line_of(key)).collect();
        silent_lines.dedup();
        silent_lines.retain(|&line| is_whole(line));
        let silent = silent.iter().copied();
        let silent = silent
            .filter(|&key| !silent_lines.contains(&line_of(key)))
            .collect();
        let mut table = Table {
            keys,
            who: Arc::clone(&instants.who),
            silent_lines,
            silent,
            ..Table::default()
        };
        for (pattern, &(count, struck)) in counts.iter().enumerate().filter(|(_, c)| c.0 > 0) {
            let pattern = Pattern {
                who: instants.start[pattern]..instants.start[pattern + 1],
                count: f64::from(count),
                struck: f64::from(struck),
            };
            if table.who(&pattern).next().is_some() {
                used += u64::from(struck);
                table.patterns.push(pattern);
            }
        }
        table.apart = (victim.times.len() as u64).saturating_sub(used);
        table
    }

    /// Several tables of one capture (a victim's levels, victims that share a lead) as one; what is silent in one of them
    /// is silent in all.
    pub fn joined(tables: &[&Table]) -> Table {
        let mut all = Table::default();
        for table in tables {
            all.who = Arc::clone(&table.who);
            all.silent_lines.extend(&table.silent_lines);
            all.silent.extend(&table.silent);
            all.keys = all.keys.max(table.keys);
            all.apart += table.apart;
            all.patterns.extend(table.patterns.iter().cloned());
        }
        for silent in [&mut all.silent_lines, &mut all.silent] {
            silent.sort_unstable();
            silent.dedup();
        }
        all
    }

    /// The tables of a victim's levels as one, with rises for falls where it was struck high: a lead that outputs share dips what is high
    /// as they rise, and lifts what is low as they fall, so what counts is a rise of this table.
    pub fn against(levels: &[(Level, &Table)]) -> Table {
        let mut all = Table::joined(&levels.iter().map(|level| level.1).collect::<Vec<_>>());
        let turned = |key: &u32| match edge_of(*key as usize) {
            Edge::Rise => key + 1,
            Edge::Fall => key - 1,
            Edge::Both => *key,
        };
        let mut who: Vec<u32> = all.who.to_vec();
        who.extend(all.who.chunk_by(|a, b| a < b).flat_map(|keys| {
            let mut keys: Vec<u32> = keys.iter().map(turned).collect();
            keys.sort_unstable();
            keys
        }));
        let offset = all.who.len();
        all.patterns.clear();
        for (level, table) in levels {
            let shift = if *level == Level::High { offset } else { 0 };
            all.patterns.extend(table.patterns.iter().map(|pattern| Pattern {
                who: pattern.who.start + shift..pattern.who.end + shift,
                ..pattern.clone()
            }));
        }
        all.who = Arc::new(who);
        all
    }

    /// The keys that hold at the instants of a pattern, ascending.
    pub fn who(&self, pattern: &Pattern) -> impl Iterator<Item = usize> + '_ {
        let of = &self.who[pattern.who.clone()];
        of.iter().map(|&k| k as usize).filter(|&k| self.speaks(of, k))
    }

    /// Whether `key` holds at the instants of a pattern.
    pub fn holds(&self, pattern: &Pattern, key: usize) -> bool {
        let of = &self.who[pattern.who.clone()];
        of.binary_search(&(key as u32)).is_ok() && self.speaks(of, key)
    }

    /// Whether a key of a pattern is not silent; that a line switched says something where what it did does.
    fn speaks(&self, of: &[u32], held: usize) -> bool {
        if self.silent_lines.contains(&line_of(held)) {
            return false;
        }
        if self.silent.is_empty() {
            return true;
        }
        let is_silent = |key: usize| self.silent.binary_search(&key).is_ok();
        let is_held = |edge: Edge| {
            let own = key(line_of(held), edge);
            of.binary_search(&(own as u32)).is_ok() && !is_silent(own)
        };
        match edge_of(held) {
            _ if is_silent(held) => false,
            Edge::Both => is_held(Edge::Rise) || is_held(Edge::Fall),
            _ => true,
        }
    }

    /// A table of given counts: keys (ascending), instants, struck ones.
    #[cfg(test)]
    pub fn counted(rows: &[(&[u32], f64, f64)], keys: usize) -> Table {
        let mut table = Table {
            keys,
            ..Table::default()
        };
        for &(who, count, struck) in rows {
            let all = Arc::make_mut(&mut table.who);
            let from = all.len();
            all.extend(who);
            table.patterns.push(Pattern {
                who: from..from + who.len(),
                count,
                struck,
            });
        }
        table
    }

    /// Instants and struck instants in all.
    pub fn totals(&self) -> (f64, f64) {
        self.patterns
            .iter()
            .fold((0.0, 0.0), |(n, y), p| (n + p.count, y + p.struck))
    }

    /// Instants, and struck ones among them, at which every key of `with` holds and none of `without`.
    pub fn among(&self, with: &[usize], without: &[usize]) -> (u64, u64) {
        let (mut count, mut struck) = (0.0, 0.0);
        for pattern in &self.patterns {
            let is = |key: &usize| self.holds(pattern, *key);
            if with.iter().all(is) && !without.iter().any(is) {
                count += pattern.count;
                struck += pattern.struck;
            }
        }
        (count as u64, struck as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::able::Rest;
    use crate::analysis::coupling::fixtures;
    use crate::model::{Ticks, TimeSpan};

    #[test]
    fn edges_that_sampling_may_part_are_of_one_instant() {
        let capture = Capture::in_nanoseconds("spans", TimeSpan::new(Ticks(0), Ticks(1_000)), Vec::new());
        let sampled = |sampling: [f64; 2]| Strays {
            sampling: sampling.to_vec(),
            ..Strays::default()
        };
        assert_eq!(span(&capture, &sampled([0.0, 0.0])), 40);
        assert_eq!(span(&capture, &sampled([10.0, 53.6])), 94, "the coarser");
    }

    #[test]
    fn instants_part_where_the_span_ends_and_count_each_line_once() {
        let edges = [
            OwnEdges {
                rises: vec![0, 100, 500],
                falls: vec![30],
            },
            OwnEdges {
                rises: vec![20, 25],
                falls: vec![560],
            },
        ];
        let instants = Instants::gather(&edges, 0..2, 40);
        assert_eq!(instants.first, vec![0, 100, 500, 560]);
        assert_eq!(instants.who(0), &[0, 1, 2, 3, 5]);
        assert_eq!(instants.last(0), 30);
        assert_eq!(instants.begun_by(99), Some(0));
        assert_eq!(instants.begun_by(-1), None);
    }

    #[test]
    fn more_columns_than_a_merge_takes_are_gathered_as_well() {
        let mut edges = vec![OwnEdges::default(); MOST_COLUMNS / 2 + 1];
        edges[0].rises = vec![10, 500];
        edges[MOST_COLUMNS / 2].falls = vec![30];
        let instants = Instants::gather(&edges, 0..edges.len(), 40);
        assert_eq!(instants.first, vec![10, 500]);
        let last = key(MOST_COLUMNS / 2, Edge::Fall) as u32;
        assert_eq!(instants.who(0), &[0, 2, last, last + 1]);
        assert_eq!(instants.last(0), 30);
    }

    #[test]
    fn instants_of_very_short_ticks_end_no_earlier_than_their_last_edge() {
        let mut edges = vec![OwnEdges::default(), OwnEdges::default()];
        edges[0].rises = vec![0, 900_000_000];
        edges[1].rises = vec![12_345_677, 900_000_001];
        let instants = Instants::gather(&edges, 0..2, 40_000_000);
        assert_eq!(instants.first.len(), 2);
        assert!((12_345_677..12_345_677 + 2_048).contains(&instants.last(0)));
    }

    #[test]
    fn the_table_counts_instants_at_which_the_victim_was_able() {
        let edges = [
            OwnEdges {
                rises: vec![100, 200, 300, 900],
                falls: vec![],
            },
            OwnEdges {
                rises: vec![210],
                falls: vec![],
            },
        ];
        let instants = Instants::gather(&edges, 0..2, 40);
        let victim = fixtures::victim(2, vec![215], vec![Rest { start: 50, end: 800 }]);
        let table = Table::of(&instants, &victim, &[Some(1)], &[], 9, 0);
        assert_eq!(table.totals(), (3.0, 1.0));
        assert_eq!(table.among(&[0], &[]), (3, 1));
        assert_eq!(table.among(&[0], &[3]), (2, 0));
        assert_eq!(table.among(&[3], &[]), (1, 1));
        assert_eq!(table.apart, 0);
    }
}
