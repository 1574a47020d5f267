//! Lines that are never at a level together.

use super::super::edges::{Merge, common_span, is_blind};
use super::super::reach::Reach;
use super::super::tally::{Limits, Occasion, Tally};
use super::Part;
use crate::model::{Level, Line, Polarity, Ticks};

/// No two lines at `level` at once. One occasion a start of `level` on one line while, or just after, another had it:
/// the measured value is the overlap, negative when there was a gap. Cost an edge: linear in the lines, and one
/// measurement for each other line at the level.
pub(super) fn exclusive(parts: &[Part], level: Level, limits: Limits) -> Tally {
    let finest = parts.iter().map(|p| p.line.sample_ticks).fold(0.0, f64::max);
    let mut tally = Tally::new(limits, finest);
    let lines: Vec<&Line> = parts.iter().map(|p| p.line).collect();
    let has_stretches = lines.iter().any(|l| !l.stretches.is_empty());
    let begins = Polarity::towards(level).expect("low or high");
    let columns = lines.iter().map(|l| &l.edges[..]).collect();
    let together = common_span(&lines);
    // Per line: since when it is at the level, and when it last left it. What began before all were recorded counts from
    // there on.
    let mut since: Vec<Option<Ticks>> = lines
        .iter()
        .map(|l| (l.first == level).then_some(together.start))
        .collect();
    let mut left: Vec<Option<Ticks>> = vec![None; parts.len()];
    let mut seen = vec![0usize; parts.len()];
    // From b's start to a's end, whichever of the two ends first.
    let judge = |tally: &mut Tally, (a, b): (usize, usize), start: Ticks, end: Ticks| {
        if has_stretches && is_blind(&[lines[a], lines[b]], start, end) {
            tally.not_judged += 1;
            return;
        }
        let reach = Reach::between(parts[b].stamp, parts[a].stamp);
        let occasion = Occasion {
            start: start.min(end),
            end: end.max(start),
            lines: &[parts[a].index, parts[b].index],
        };
        tally.measure((end - start).0, reach, occasion);
    };
    for (time, i) in Merge::new(columns) {
        let polarity = lines[i].polarity(seen[i]);
        seen[i] += 1;
        if polarity == begins {
            since[i] = Some(time);
            let is_alone = (0..parts.len()).all(|j| j == i || since[j].is_none());
            if is_alone {
                // The line that left the level last.
                let last = (0..parts.len())
                    .filter(|&j| j != i)
                    .filter_map(|j| Some((left[j]?, j)));
                match last.max() {
                    Some((end, j)) => judge(&mut tally, (j, i), time, end),
                    None => tally.kept += 1,
                }
            }
        } else {
            let own = since[i].take();
            left[i] = Some(time);
            for j in (0..parts.len()).filter(|&j| j != i) {
                if let (Some(own), Some(other)) = (own, since[j]) {
                    judge(&mut tally, (i, j), own.max(other), time);
                }
            }
        }
    }
    for (i, j) in pairs(parts.len()) {
        if let (Some(a), Some(b)) = (since[i], since[j]) {
            // The later one to begin stands second.
            let pair = if a <= b { (i, j) } else { (j, i) };
            judge(&mut tally, pair, a.max(b), together.end);
        }
    }
    tally
}

/// All pairs i < j below n.
fn pairs(n: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..n).flat_map(move |i| (i + 1..n).map(move |j| (i, j)))
}
