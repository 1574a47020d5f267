//! Lines that never move while their neighbours do, and lines that always equal another.

use crate::model::{Capture, Level, Line};

/// Edges a neighbour must have before a still line beside it means something (no source: a round number).
const BUSY: usize = 8;

/// A line that never moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Stuck {
    /// Position in the capture.
    pub line: usize,
    pub level: Level,
    /// Its neighbours that do move: bits of the same bus, or lines of the same stem; most edges first. Empty when it belongs
    /// to no such group.
    pub neighbours: Vec<usize>,
    /// It lies at the most significant end of the group and all beyond it are still too: it may not have been reached.
    pub at_the_end: bool,
}

/// Two lines whose edges are the same, one by one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bridged {
    /// Positions in the capture.
    pub lines: (usize, usize),
    /// Edges of either.
    pub edges: usize,
    /// Both belong to the same bus or stem.
    pub same_group: bool,
}

/// Lines without an edge in a capture in which others move. Cost: linear in lines.
pub fn stuck(capture: &Capture) -> Vec<Stuck> {
    let groups = groups(capture);
    let busy = |line: &Line| line.edges.len() >= BUSY;
    let mut found = Vec::new();
    if !capture.lines.iter().any(busy) {
        return found;
    }
    for (index, line) in capture.lines.iter().enumerate() {
        let is_supply = line.trace.is_some();
        if !line.edges.is_empty() || !line.first.is_known() || line.same_as.is_some() || is_supply {
            continue;
        }
        let group = groups.iter().find(|g| g.contains(&index));
        let moving = |&i: &usize| busy(&capture.lines[i]);
        let mut neighbours: Vec<usize> =
            group.map_or(Vec::new(), |g| g.iter().copied().filter(moving).collect());
        neighbours.sort_by_key(|&i| std::cmp::Reverse(capture.lines[i].edges.len()));
        let at_the_end = group.is_some_and(|g| {
            let to_top = g.iter().take_while(|&&i| i != index);
            to_top.into_iter().all(|&i| capture.lines[i].edges.is_empty())
        });
        found.push(Stuck {
            line: index,
            level: line.first,
            neighbours,
            at_the_end,
        });
    }
    found
}

/// Pairs of lines with the same edges (to within the sampling), other than those declared or recorded as one signal.
/// Each line is compared with one line of each class of equals. Cost: lines × classes, each mostly ended by the first edges.
pub fn bridged(capture: &Capture, same_signal: &[(String, String)]) -> Vec<Bridged> {
    let groups = groups(capture);
    let mut found = Vec::new();
    let mut firsts: Vec<usize> = Vec::new();
    for (index, line) in capture.lines.iter().enumerate() {
        if line.edges.len() < BUSY || line.same_as.is_some() {
            continue;
        }
        let twin = firsts
            .iter()
            .copied()
            .find(|&f| capture.lines[f].moves_as_one_with(line));
        let Some(twin) = twin else {
            firsts.push(index);
            continue;
        };
        let (a, b) = (&capture.lines[twin].name, &line.name);
        let declared = same_signal
            .iter()
            .any(|(x, y)| (x == a && y == b) || (x == b && y == a));
        if !declared {
            found.push(Bridged {
                lines: (twin, index),
                edges: line.edges.len(),
                same_group: groups.iter().any(|g| g.contains(&twin) && g.contains(&index)),
            });
        }
    }
    found
}

/// Groups of neighbours, most significant first: the buses, then lines called by one stem and a number.
fn groups(capture: &Capture) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = capture.buses.iter().map(|b| b.bits.clone()).collect();
    let mut stems: std::collections::BTreeMap<&str, Vec<(u64, usize)>> = Default::default();
    for (index, line) in capture.lines.iter().enumerate() {
        if groups.iter().any(|g| g.contains(&index)) {
            continue;
        }
        let name = line.name.strip_suffix(']').unwrap_or(&line.name);
        let stem = name.trim_end_matches(|c: char| c.is_ascii_digit());
        if let Ok(number) = name[stem.len()..].parse() {
            stems.entry(stem).or_default().push((number, index));
        }
    }
    for (_, mut members) in stems {
        if members.len() > 1 {
            members.sort_by_key(|&(number, _)| std::cmp::Reverse(number));
            groups.push(members.into_iter().map(|(_, index)| index).collect());
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Ticks, TimeSpan};

    fn line(name: &str, edges: impl IntoIterator<Item = i64>) -> Line {
        let edges = edges.into_iter().map(Ticks).collect();
        Line::digital(name, Level::Low, edges, TimeSpan::new(Ticks(0), Ticks(1000)))
    }

    fn capture(lines: Vec<Line>) -> Capture {
        Capture::in_nanoseconds("a.vcd", TimeSpan::new(Ticks(0), Ticks(1000)), lines)
    }

    #[test]
    fn a_still_bit_between_moving_ones_is_stuck_and_one_at_the_end_may_be_unreached() {
        let capture = capture(vec![
            line("D0", (1..100).map(|i| i * 8)),
            line("D1", []),
            line("D2", (1..20).map(|i| i * 32)),
            line("D3", []),
        ]);
        let told: Vec<(usize, Vec<usize>, bool)> = stuck(&capture)
            .into_iter()
            .map(|s| (s.line, s.neighbours, s.at_the_end))
            .collect();
        assert_eq!(told, vec![(1, vec![0, 2], false), (3, vec![0, 2], true)]);
    }

    #[test]
    fn equal_lines_are_a_bridge_unless_declared_one_signal() {
        let edges = || (1..50).map(|i| i * 7);
        let mut lines = vec![line("D0", edges()), line("D1", edges()), line("IN", edges())];
        lines.push(line("D2", (1..50).map(|i| i * 7 + i64::from(i == 30))));
        let capture = capture(lines);
        let all = bridged(&capture, &[]);
        assert_eq!(
            all.iter().map(|b| (b.lines, b.same_group)).collect::<Vec<_>>(),
            vec![((0, 1), true), ((0, 2), false)]
        );
        let declared = [("IN".to_owned(), "D0".to_owned())];
        assert_eq!(bridged(&capture, &declared).len(), 1);
    }
}
