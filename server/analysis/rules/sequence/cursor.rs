//! The value of a bus as time goes on.

use crate::model::{Level, Line, Ticks};

/// A cursor over the levels of several lines; times asked for must not decrease.
pub(super) struct Cursor<'a> {
    lines: Vec<&'a Line>,
    next: Vec<usize>,
    /// Bit i is the level of the line i places from the end (the last line is the least significant).
    value: u64,
}

impl<'a> Cursor<'a> {
    /// Starts before the lines' first edges; the first line is the most significant bit. At most 64 lines.
    pub fn new(lines: Vec<&'a Line>) -> Cursor<'a> {
        let mut value = 0;
        for line in &lines {
            value = value << 1 | u64::from(line.first == Level::High);
        }
        Cursor {
            next: vec![0; lines.len()],
            lines,
            value,
        }
    }

    /// The value after all edges before `time` (`closed`: and at it).
    pub fn at(&mut self, time: Ticks, closed: bool) -> u64 {
        let places = self.lines.len();
        for (i, line) in self.lines.iter().enumerate() {
            let edges = &line.edges;
            let mut next = self.next[i];
            while edges
                .get(next)
                .is_some_and(|&e| e < time || (closed && e == time))
            {
                next += 1;
            }
            if next != self.next[i] {
                let bit = 1u64 << (places - 1 - i);
                match line.level_after(next - 1) {
                    Level::High => self.value |= bit,
                    _ => self.value &= !bit,
                }
                self.next[i] = next;
            }
            if !line.flips.is_empty() {
                let bit = 1u64 << (places - 1 - i);
                match line.known_level_at(if closed { time } else { Ticks(time.0 - 1) }) {
                    Level::High => self.value |= bit,
                    _ => self.value &= !bit,
                }
            }
        }
        self.value
    }
}
