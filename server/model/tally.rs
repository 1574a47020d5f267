//! Sums over a whole line that a reader keeps while the edges stream past, so that nobody has to walk a
//! column larger than memory to say how long a line was low.

use serde::{Deserialize, Serialize};

use super::{Level, Line, StretchKind, Ticks};

/// Time a line spent at each level, and its shortest and longest pulse. In ticks of the capture.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tally {
    pub low: Ticks,
    pub high: Ticks,
    pub unknown: Ticks,
    pub floating: Ticks,
    /// Time in which nothing was recorded.
    pub unrecorded: Ticks,
    /// Width of the narrowest pulse; `None` without a pulse.
    pub shortest: Option<Ticks>,
    pub longest: Option<Ticks>,
}

impl Tally {
    /// The tally of a line from its columns. Cost: linear in edges (a reader's own tally is free: see
    /// [`Line::tally`]).
    pub fn of(line: &Line) -> Tally {
        let mut run = TallyRun::new(line.first, line.span.start);
        let mut edges = line.edges.iter().copied().peekable();
        for stretch in &line.stretches {
            let (start, end) = (stretch.span.start, stretch.span.end);
            while let Some(edge) = edges.next_if(|&e| e < start || (e == start && e < end)) {
                run.edge(edge);
            }
            let flipped = line.flips.binary_search(&end).is_ok();
            run.stretch(start, end, stretch.kind, flipped);
        }
        edges.for_each(|edge| run.edge(edge));
        run.finish(line.span.end)
    }
}

/// A tally that grows edge by edge.
#[derive(Clone, Debug)]
pub struct TallyRun {
    tally: Tally,
    high: bool,
    known: bool,
    /// From when on the present level has not been counted yet.
    from: Ticks,
    last_edge: Option<Ticks>,
    shortest: i64,
    longest: i64,
}

impl TallyRun {
    /// A run that starts at `start` with `first` (the level before the first edge).
    pub fn new(first: Level, start: Ticks) -> TallyRun {
        TallyRun {
            tally: Tally::default(),
            high: first == Level::High,
            known: first.is_known(),
            from: start,
            last_edge: None,
            shortest: i64::MAX,
            longest: i64::MIN,
        }
    }

    /// The next edge, at or after everything told before.
    #[inline]
    pub fn edge(&mut self, time: Ticks) {
        self.level_until(time);
        self.from = time;
        self.high = !self.high;
        if let Some(last) = self.last_edge {
            let width = time.0 - last.0;
            self.shortest = self.shortest.min(width);
            self.longest = self.longest.max(width);
        }
        self.last_edge = Some(time);
    }

    /// Successive edges, as if told one by one.
    pub fn edges(&mut self, times: &[Ticks]) {
        let Some((&first, rest)) = times.split_first() else {
            return;
        };
        self.edge(first);
        if !self.known {
            rest.iter().for_each(|&time| self.edge(time));
            return;
        }
        let (mut last, mut shortest, mut longest, mut sum) = (first.0, self.shortest, self.longest, 0);
        let (pairs, odd) = rest.as_chunks::<2>();
        for &[middle, end] in pairs {
            let (one, other) = (middle.0 - last, end.0 - middle.0);
            sum += one;
            shortest = shortest.min(one.min(other));
            longest = longest.max(one.max(other));
            last = end.0;
        }
        let (own, other) = match self.high {
            true => (&mut self.tally.high, &mut self.tally.low),
            false => (&mut self.tally.low, &mut self.tally.high),
        };
        *own += Ticks(sum);
        *other += Ticks(last - first.0 - sum);
        (self.shortest, self.longest) = (shortest, longest);
        (self.from, self.last_edge) = (Ticks(last), Some(Ticks(last)));
        odd.iter().for_each(|&time| self.edge(time));
    }

    /// A stretch without a known level; `flipped`: the level is the other one afterwards, without an edge.
    pub fn stretch(&mut self, start: Ticks, end: Ticks, kind: StretchKind, flipped: bool) {
        self.level_until(start);
        self.from = end;
        let length = end - start;
        match kind {
            StretchKind::Unknown => self.tally.unknown += length,
            StretchKind::Floating => self.tally.floating += length,
            StretchKind::Unrecorded => {
                self.tally.unrecorded += length;
                self.last_edge = None;
            }
        }
        self.high ^= flipped;
    }

    /// The tally up to `end`.
    pub fn finish(mut self, end: Ticks) -> Tally {
        self.level_until(end);
        if self.shortest <= self.longest {
            self.tally.shortest = Some(Ticks(self.shortest));
            self.tally.longest = Some(Ticks(self.longest));
        }
        self.tally
    }

    #[inline]
    fn level_until(&mut self, time: Ticks) {
        let length = Ticks((time.0 - self.from.0).max(0));
        if !self.known {
            self.tally.unknown += length;
        } else if self.high {
            self.tally.high += length;
        } else {
            self.tally.low += length;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_edges_at_once_are_as_many_one_by_one() {
        for first in [Level::Low, Level::High, Level::Unknown] {
            for count in 0..9 {
                let mut times: Vec<Ticks> = (0..count).map(|k| Ticks(10 + k * k + k % 3)).collect();
                let (mut one, mut all) = (TallyRun::new(first, Ticks(3)), TallyRun::new(first, Ticks(3)));
                for _ in 0..3 {
                    times.iter().for_each(|&time| one.edge(time));
                    all.edges(&times);
                    times.iter_mut().for_each(|time| *time += Ticks(100));
                }
                assert_eq!(one.finish(Ticks(500)), all.finish(Ticks(500)));
            }
        }
    }
}
