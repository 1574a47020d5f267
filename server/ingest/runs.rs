//! What a block of a file says of each line: the worker finds the edges within the block, so that whoever joins the
//! blocks only appends them.
//!
//! A line's first level in a block is kept apart, since only what came before tells whether it is an edge; so is the
//! latest edge, since the next block may begin at the same time. From the first unknown or floating level on, a line is
//! handed over change by change: that is rare.

use crate::model::Ticks;

/// Levels as small numbers: low, high, unknown, floating.
pub const UNKNOWN: u8 = 2;
/// A line of which the block has said nothing yet.
const NOT_YET: u8 = 4;

/// One line in one block.
#[derive(Debug)]
pub struct Run {
    pub line: usize,
    /// The first time at which the block says something of the line, and the last level told at it.
    pub first: (i64, u8),
    /// Edges after that, ascending, levels alternating from `first`; then
    pub edges: Vec<Ticks>,
    /// changes one by one, of a line that is not always known.
    pub changes: Vec<(i64, u8)>,
}

#[derive(Clone, Debug)]
struct State {
    value: u8,
    one_by_one: bool,
    first: (i64, u8),
    edges: Vec<Ticks>,
    changes: Vec<(i64, u8)>,
}

const FRESH: State = State {
    value: NOT_YET,
    one_by_one: false,
    first: (0, 0),
    edges: Vec::new(),
    changes: Vec::new(),
};

/// All lines in one block; used again for the next one.
#[derive(Debug)]
pub struct Runs {
    states: Vec<State>,
    touched: Vec<u32>,
    /// Unknown and floating levels among the changes.
    pub strange: usize,
}

impl Runs {
    pub fn new(lines: usize) -> Runs {
        Runs {
            states: vec![FRESH; lines],
            touched: Vec::new(),
            strange: 0,
        }
    }

    /// The level of `line` from `time` on; times never fall. Of several levels at one time the last one counts.
    #[inline(always)]
    pub fn set(&mut self, line: usize, time: i64, value: u8) {
        let state = &mut self.states[line];
        if state.value == value && !state.one_by_one {
            return;
        }
        if state.value < UNKNOWN && value < UNKNOWN && !state.one_by_one && time != state.first.0 {
            state.value = value;
            // Back at the time of the latest edge: a pulse of no width is none.
            if state.edges.last() == Some(&Ticks(time)) {
                state.edges.pop();
            } else {
                state.edges.push(Ticks(time));
            }
            return;
        }
        self.set_slowly(line, time, value);
    }

    #[cold]
    fn set_slowly(&mut self, line: usize, time: i64, value: u8) {
        self.strange += usize::from(value >= UNKNOWN);
        let state = &mut self.states[line];
        if state.value == NOT_YET {
            self.touched.push(line as u32);
            state.first = (time, value);
        } else if time == state.first.0 {
            state.first.1 = value;
        } else {
            state.changes.push((time, value));
        }
        state.value = value;
        state.one_by_one |= value >= UNKNOWN;
    }

    /// What was found, line by line; everything is fresh afterwards.
    pub fn take(&mut self) -> Vec<Run> {
        self.strange = 0;
        let states = &mut self.states;
        let run = |line: u32| {
            let state = &mut states[line as usize];
            let room = state.edges.len();
            let state = std::mem::replace(state, FRESH);
            // The next block will say about as much.
            states[line as usize].edges = Vec::with_capacity(room);
            Run {
                line: line as usize,
                first: state.first,
                edges: state.edges,
                changes: state.changes,
            }
        };
        self.touched.drain(..).map(run).collect()
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
