//! What a block of a file says of each line: the worker finds the edges within the block, so that whoever joins the
//! blocks only appends them.
//!
//! A line's first level in a block is kept apart, since only what came before tells whether it is an edge; so is the
//! latest edge, since the next block may begin at the same time. From the first unknown or floating level on, a line is
//! handed over change by change: that is rare.

use crate::model::Ticks;

/// Levels as small numbers: low, high, unknown, floating.
const UNKNOWN: u8 = 2;
/// A line of which the block has said nothing yet.
const NOT_YET: u8 = 4;

/// One line in one block.
#[derive(Debug)]
pub struct Run {
    /// Position among the builders.
    pub line: usize,
    /// The first time at which the block says something of the line, and the last level told at it.
    pub first: (i64, u8),
    /// Edges after that, ascending, levels alternating from `first`; then
    pub edges: Vec<Ticks>,
    /// changes one by one, of a line that is not always known.
    pub changes: Vec<(i64, u8)>,
}

/// Times in a lane.
const LANE: usize = 64;
/// Of [`Lane::fill`]: the line is not plainly low or high.
pub const SLOW: u8 = 0;

/// The part of a line that every change touches: its latest edges, before they go to [`State::edges`].
#[derive(Clone, Debug)]
pub struct Lane {
    /// Where the next edge goes. It is odd while the line is high, since every edge moves it on by one; or [`SLOW`].
    pub fill: u8,
    /// Where the edges begin. In front of them lies the edge before, or the block's first time of this line.
    from: u8,
    times: [i64; LANE],
}

const FRESH_LANE: Lane = Lane {
    fill: SLOW,
    from: 2,
    times: [i64::MIN; LANE],
};

impl Lane {
    /// The latest edge, or the first time. Only while the line is not slow.
    #[inline(always)]
    pub fn latest(&self) -> i64 {
        self.times[usize::from(self.fill).wrapping_sub(1) % LANE]
    }

    /// The level, 0 or 1, from `time` on, which is later than [`Lane::latest`]. Only while the line is not slow. True
    /// when the lane is full.
    #[inline(always)]
    pub fn put(&mut self, time: i64, value: u8) -> bool {
        // Written at any rate and counted only where the level differs: nothing to foretell wrongly.
        self.times[usize::from(self.fill) % LANE] = time;
        self.fill += (self.fill ^ value) & 1;
        usize::from(self.fill) == LANE
    }

    /// No edges; the level from `latest` on.
    fn restart(&mut self, latest: i64, value: u8) {
        self.from = 2 + value;
        self.fill = self.from;
        self.times[usize::from(self.from) - 1] = latest;
    }
}

/// The rest of a line.
#[derive(Clone, Debug)]
struct State {
    /// [`NOT_YET`] until the block says something of the line.
    value: u8,
    first: (i64, u8),
    edges: Vec<Ticks>,
    changes: Vec<(i64, u8)>,
}

const FRESH: State = State {
    value: NOT_YET,
    first: (0, 0),
    edges: Vec::new(),
    changes: Vec::new(),
};

/// All lines in one block; used again for the next one.
#[derive(Debug)]
pub struct Runs {
    lanes: Vec<Lane>,
    states: Vec<State>,
    touched: Vec<u32>,
    /// Unknown and floating levels among the changes.
    pub strange: usize,
}

impl Runs {
    /// Lanes for that many lines.
    pub fn new(lines: usize) -> Runs {
        Runs {
            lanes: vec![FRESH_LANE; lines],
            states: vec![FRESH; lines],
            touched: Vec::new(),
            strange: 0,
        }
    }

    /// By line.
    #[inline]
    pub fn lanes(&mut self) -> &mut [Lane] {
        &mut self.lanes
    }

    /// The level of `line` from `time` on; times never fall. Of several levels at one time the last one counts.
    #[inline(always)]
    pub fn set(&mut self, line: usize, time: i64, value: u8) {
        let lane = &mut self.lanes[line];
        if lane.fill != SLOW && value < UNKNOWN && time != lane.latest() {
            if lane.put(time, value) {
                self.spill(line);
            }
            return;
        }
        self.set_slowly(line, time, value);
    }

    /// Empties a lane.
    #[cold]
    #[inline(never)]
    pub fn spill(&mut self, line: usize) {
        let lane = &mut self.lanes[line];
        let (from, fill) = (usize::from(lane.from), usize::from(lane.fill));
        let edges = &mut self.states[line].edges;
        edges.extend(lane.times[from..fill].iter().map(|&time| Ticks(time)));
        lane.restart(lane.times[fill - 1], lane.fill & 1);
    }

    #[cold]
    #[inline(never)]
    fn set_slowly(&mut self, line: usize, time: i64, value: u8) {
        let (lane, state) = (&mut self.lanes[line], &mut self.states[line]);
        let plain = lane.fill != SLOW;
        if plain && lane.fill & 1 == value {
            return;
        }
        self.strange += usize::from(value >= UNKNOWN);
        if !plain && state.value == NOT_YET {
            self.touched.push(line as u32);
            state.first = (time, value);
            state.value = value;
            if value < UNKNOWN {
                lane.restart(time, value);
            }
            return;
        }
        if time == state.first.0 {
            state.first.1 = value;
            if plain && value < UNKNOWN {
                lane.restart(time, value);
                return;
            }
        } else if plain && value < UNKNOWN {
            // Back at the time of the latest edge: a pulse of no width is none.
            if lane.fill == lane.from {
                state.edges.pop();
                lane.restart(state.edges.last().map_or(state.first.0, |edge| edge.0), value);
            } else {
                lane.fill -= 1;
            }
            return;
        } else {
            state.changes.push((time, value));
        }
        if plain {
            self.spill(line);
            self.lanes[line].fill = SLOW;
        }
    }

    /// What was found, line by line; everything is fresh afterwards.
    pub fn take(&mut self) -> Vec<Run> {
        self.strange = 0;
        let touched = std::mem::take(&mut self.touched);
        let run = |&line: &u32| {
            let line = line as usize;
            if self.lanes[line].fill != SLOW {
                self.spill(line);
                self.lanes[line].fill = SLOW;
            }
            let state = std::mem::replace(&mut self.states[line], FRESH);
            // The next block will say about as much.
            self.states[line].edges = Vec::with_capacity(state.edges.len() + state.edges.len() / 8);
            Run {
                line,
                first: state.first,
                edges: state.edges,
                changes: state.changes,
            }
        };
        touched.iter().map(run).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::build::{Built, LineBuilder, Value};
    use super::super::columns::SpillFolder;
    use super::*;
    use proptest::prelude::*;

    fn value(level: u8) -> Value {
        [Value::Low, Value::High, Value::Unknown, Value::Floating][usize::from(level)]
    }

    fn builder() -> LineBuilder {
        let folder = std::sync::Arc::new(SpillFolder::new());
        let mut builder = LineBuilder::new(&folder, "edges".to_owned(), 16);
        builder.begin(0);
        builder
    }

    fn same(a: &Built, b: &Built) -> bool {
        a.edges[..] == b.edges[..]
            && (a.first, &a.flips, &a.stretches, a.tally) == (b.first, &b.flips, &b.stretches, b.tally)
    }

    proptest! {
        /// In blocks of any size a line comes out as when it is told change by change.
        #[test]
        fn blocks_join_to_the_whole(
            changes in prop::collection::vec((0i64..3, prop_oneof![20 => 0u8..2, 1 => Just(2u8), 1 => Just(3u8)]), 1..200),
            cuts in prop::collection::vec(1usize..40, 1..30),
        ) {
            let (mut plain, mut joined) = (builder(), builder());
            let mut runs = Runs::new(2);
            let (mut now, mut left, mut cuts) = (1, cuts[0], cuts.into_iter().cycle());
            for (step, level) in changes {
                if left == 0 {
                    left = cuts.next().unwrap_or(1);
                    runs.take().iter().for_each(|run| joined.append(run).unwrap());
                }
                left -= 1;
                now += step;
                plain.set(now, value(level)).unwrap();
                runs.set(1, now, level);
            }
            runs.take().iter().for_each(|run| joined.append(run).unwrap());
            let (plain, joined) = (plain.finish(now + 1).unwrap(), joined.finish(now + 1).unwrap());
            prop_assert!(same(&plain, &joined), "{plain:?} {:?} and {joined:?} {:?}", &plain.edges[..], &joined.edges[..]);
        }
    }
}
