//! Lines that move under one condition and never under the other: dead since the change, idle, or brought to life.

use crate::report::compare::Tallies;

/// Edges that the rate of the other side let expect, from which on their lack is said: e⁻³ is 5 %. Common practice, no
/// source.
const EXPECTED: f64 = 3.0;

/// A line that was captured on both sides and moved on one only.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Still {
    pub line: String,
    pub side: Which,
    /// Edges on the side where it moved.
    pub edges: u64,
}

/// The side on which a line never moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    Before,
    After,
}

impl Still {
    /// What is to be read of it.
    pub fn says(&self) -> String {
        let Still { line, edges, .. } = self;
        match self.side {
            Which::After => format!(
                "{line} never switched after, where it switched {edges} times before: see that it still works; what is said \
                 of it and of what it drives rests on a line that stood still."
            ),
            Which::Before => format!("{line} never switched before, and switches now ({edges} times)."),
        }
    }
}

/// Lines that moved between the runs `before` and the runs `after` on one side only, though by the rate there the other
/// side was long enough to show it; those that stood still after first.
pub fn still(tallies: &Tallies, before: &[usize], after: &[usize]) -> Vec<Still> {
    let mut names: Vec<&String> = before
        .iter()
        .filter_map(|&run| tallies.lines.get(run))
        .flatten()
        .collect();
    names.sort_unstable();
    names.dedup();
    // Of a line whose levels are wrong that is said, not what they make of its edges.
    let is_left_out = |name: &String| {
        let mut names = before
            .iter()
            .chain(after)
            .filter_map(|&run| tallies.left_out.get(run));
        names.any(|names| names.contains(name))
    };
    names.retain(|name| !is_left_out(name));
    let of = |name: &str| {
        let (here, there) = (moved(tallies, before, name)?, moved(tallies, after, name)?);
        let lacks = |seen: Moved, still: Moved| {
            seen.edges as f64 * still.watched_s >= EXPECTED * seen.watched_s
                && still.edges == 0
                && seen.edges > 0
        };
        let (side, edges) = match () {
            () if lacks(here, there) => (Which::After, here.edges),
            () if lacks(there, here) => (Which::Before, there.edges),
            () => return None,
        };
        Some(Still {
            line: name.to_owned(),
            side,
            edges,
        })
    };
    let mut found: Vec<Still> = names.into_iter().filter_map(|name| of(name)).collect();
    found.sort_by_key(|still| still.side == Which::Before);
    found
}

#[derive(Clone, Copy)]
struct Moved {
    edges: u64,
    watched_s: f64,
}

/// Edges of a line over the runs that hold it, and how long these are; `None` where no run does.
fn moved(tallies: &Tallies, side: &[usize], name: &str) -> Option<Moved> {
    let mut sum: Option<Moved> = None;
    for &run in side {
        let position = tallies.lines.get(run)?.iter().position(|own| own == name);
        let (Some(at), Some(edges)) = (position, tallies.edges.get(run)) else {
            continue;
        };
        let rows = tallies.runs.get(run).into_iter().flatten();
        let watched_s = rows.map(|row| row.end_s - row.start_s).fold(0.0, f64::max);
        let own = sum.get_or_insert(Moved {
            edges: 0,
            watched_s: 0.0,
        });
        own.edges += edges.get(at).copied().unwrap_or(0);
        own.watched_s += watched_s;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::CaptureRow;

    fn tallies(edges: [[u64; 2]; 2], seconds: [f64; 2]) -> Tallies {
        let row = |end_s: f64| CaptureRow {
            file: "a.csv".to_owned(),
            format: "csv".to_owned(),
            start_s: 0.0,
            end_s,
            resolution_s: 1e-9,
            offset_s: 0.0,
            drift_ppm: 0.0,
            warnings: Vec::new(),
        };
        Tallies {
            runs: seconds.map(|s| vec![row(s)]).into(),
            lines: vec![vec!["STEP".to_owned(), "BELL".to_owned()]; 2],
            edges: edges.map(Vec::from).into(),
            ..Tallies::default()
        }
    }

    #[test]
    fn a_line_that_stood_still_on_one_side_is_told_where_that_side_was_long_enough() {
        let dead = still(&tallies([[120, 8], [118, 0]], [1.0, 1.0]), &[0], &[1]);
        assert_eq!(dead.len(), 1);
        assert_eq!(
            (dead[0].line.as_str(), dead[0].side, dead[0].edges),
            ("BELL", Which::After, 8)
        );
        let alive = still(&tallies([[120, 0], [118, 8]], [1.0, 1.0]), &[0], &[1]);
        assert_eq!(alive[0].side, Which::Before);
        // Two edges expected of a capture a quarter as long: too few to tell.
        assert_eq!(still(&tallies([[120, 8], [30, 0]], [1.0, 0.25]), &[0], &[1]), []);
        // Nothing is known of a line that the other side lacks.
        let mut lacks = tallies([[120, 8], [118, 0]], [1.0, 1.0]);
        lacks.lines[1].pop();
        assert_eq!(still(&lacks, &[0], &[1]), []);
    }
}
