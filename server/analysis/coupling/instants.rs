//! Switching instants: moments at which something switched, who switched then, and whether a victim showed a
//! stray.
//!
//! A stray's cause is judged among the moments at which the machine moved. Lines that switch within
//! [`SPAN_S`] of the first belong to one instant: TTL-era outputs of one step follow each other by some tens
//! of nanoseconds. Instants with the same lines are counted together, since only the counts matter.

use std::collections::HashMap;
use std::ops::Range;

use super::Edge;
use super::able::OwnEdges;
use super::select::Victim;
use crate::model::Polarity;

/// Length of an instant: output delays of one step differ by about so much.
pub const SPAN_S: f64 = 40e-9;

/// What a line did at an instant, as one number: it rose, it fell, or (always beside one of these) it switched.
pub fn key(line: usize, edge: Edge) -> usize {
    3 * line
        + match edge {
            Edge::Rise => 0,
            Edge::Fall => 1,
            Edge::Both => 2,
        }
}

/// The line of a [`key`].
pub fn line_of(key: usize) -> usize {
    key / 3
}

/// What the line of a [`key`] did.
pub fn edge_of(key: usize) -> Edge {
    [Edge::Rise, Edge::Fall, Edge::Both][key % 3]
}

/// All instants of a capture, ascending. Instant i lasts from `first[i]` to `last[i]` (ticks, both ends
/// closed), and the keys `who[start[i]..start[i + 1]]` switched (ascending, each once).
#[derive(Clone, Debug, Default)]
pub struct Instants {
    pub first: Vec<i64>,
    pub last: Vec<i64>,
    start: Vec<usize>,
    who: Vec<u32>,
}

impl Instants {
    /// Gathers the edges of `lines` into instants of `span` ticks. Cost: a sort of all edges.
    pub fn gather(edges: &[OwnEdges], lines: impl Iterator<Item = usize>, span: i64) -> Instants {
        let mut all: Vec<(i64, u32)> = Vec::new();
        for line in lines {
            for polarity in [Polarity::Rise, Polarity::Fall] {
                let key = key(line, polarity.into()) as u32;
                all.extend(edges[line].of(polarity).iter().map(|&t| (t, key)));
            }
        }
        all.sort_unstable();
        let mut instants = Instants {
            start: vec![0],
            ..Instants::default()
        };
        let mut at = 0;
        while at < all.len() {
            let first = all[at].0;
            let from = instants.who.len();
            while at < all.len() && all[at].0 - first <= span {
                instants.who.push(all[at].1);
                instants
                    .who
                    .push(key(line_of(all[at].1 as usize), Edge::Both) as u32);
                at += 1;
            }
            instants.first.push(first);
            instants.last.push(all[at - 1].0);
            instants.who[from..].sort_unstable();
            let mut kept = from;
            for i in from..instants.who.len() {
                if i == from || instants.who[i] != instants.who[kept - 1] {
                    instants.who[kept] = instants.who[i];
                    kept += 1;
                }
            }
            instants.who.truncate(kept);
            instants.start.push(kept);
        }
        instants
    }

    pub fn len(&self) -> usize {
        self.first.len()
    }

    pub fn is_empty(&self) -> bool {
        self.first.is_empty()
    }

    /// The keys that switched at instant `i`.
    pub fn who(&self, i: usize) -> &[u32] {
        &self.who[self.start[i]..self.start[i + 1]]
    }

    /// The last instant that had begun by `time`.
    pub fn begun_by(&self, time: i64) -> Option<usize> {
        self.first.partition_point(|&f| f <= time).checked_sub(1)
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

/// One victim level among the instants at which it was able to show a stray.
#[derive(Clone, Debug, Default)]
pub struct Table {
    pub patterns: Vec<Pattern>,
    who: Vec<u32>,
    /// Keys are below this.
    pub keys: usize,
    /// Strays that came at no instant.
    pub apart: u64,
}

impl Table {
    /// Counts the instants at which `victim` was able. `at[k]`: the instant that stray k belongs to.
    /// `after`: how long after an instant a stray may begin and end, in ticks.
    pub fn of(instants: &Instants, victim: &Victim, at: &[Option<usize>], keys: usize, after: i64) -> Table {
        let mut struck = vec![false; instants.len()];
        at.iter().flatten().for_each(|&i| struck[i] = true);
        let slack = victim.unit.ceil() as i64;
        let mut table = Table {
            keys,
            ..Table::default()
        };
        let mut known: HashMap<Vec<u32>, usize> = HashMap::new();
        let mut own = Vec::new();
        let mut rest = 0;
        let mut used = 0;
        for (i, &struck) in struck.iter().enumerate() {
            while rest < victim.rests.len() && victim.rests[rest].end <= instants.first[i] {
                rest += 1;
            }
            let able = victim.rests.get(rest).is_some_and(|r| {
                r.start + victim.guard < instants.first[i] - slack
                    && instants.last[i] + slack.max(after) < r.end
            });
            if !able {
                continue;
            }
            own.clear();
            own.extend(
                instants
                    .who(i)
                    .iter()
                    .filter(|&&k| line_of(k as usize) != victim.line),
            );
            if own.is_empty() {
                continue;
            }
            used += u64::from(struck);
            let index = match known.get(own.as_slice()) {
                Some(&index) => index,
                None => {
                    let from = table.who.len();
                    table.who.extend(&own);
                    table.patterns.push(Pattern {
                        who: from..table.who.len(),
                        count: 0.0,
                        struck: 0.0,
                    });
                    known.insert(own.clone(), table.patterns.len() - 1);
                    table.patterns.len() - 1
                }
            };
            table.patterns[index].count += 1.0;
            table.patterns[index].struck += f64::from(u8::from(struck));
        }
        table.apart = (victim.times.len() as u64).saturating_sub(used);
        table
    }

    pub fn who(&self, pattern: &Pattern) -> &[u32] {
        &self.who[pattern.who.clone()]
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
            let who = self.who(pattern);
            let is = |key: &usize| who.binary_search(&(*key as u32)).is_ok();
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
    use crate::model::Level;

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
        assert_eq!(instants.last[0], 30);
        assert_eq!(instants.begun_by(99), Some(0));
        assert_eq!(instants.begun_by(-1), None);
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
        let victim = Victim {
            line: 2,
            level: Level::High,
            times: vec![215],
            strays: vec![0],
            rests: vec![Rest { start: 50, end: 800 }],
            time: 750.0,
            unit: 1.0,
            guard: 0,
        };
        let table = Table::of(&instants, &victim, &[Some(1)], 9, 0);
        assert_eq!(table.totals(), (3.0, 1.0));
        assert_eq!(table.among(&[0], &[]), (3, 1));
        assert_eq!(table.among(&[0], &[3]), (2, 0));
        assert_eq!(table.among(&[3], &[]), (1, 1));
        assert_eq!(table.apart, 0);
    }
}
