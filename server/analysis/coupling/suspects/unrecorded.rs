//! Strays that come while the accused line was not recorded.
//!
//! A clip that is put on later, a capture that is shorter than the one beside it, an `x` in a VCD: what the accused did then nobody
//! knows, so strays that come then speak neither for it nor against it.

use super::able::{self, Rest};
use crate::analysis::coupling::fit::evidence::Evidence;
use crate::analysis::coupling::fit::select::{Explanation, Reach, Victim};
use crate::model::{Capture, Line};

/// So much of the victim's time is left, as a share, or who did it is asked of all of it.
const LEFT: f64 = 0.5;

/// The victim as it was while the most telling of the accused that miss any of it was recorded, if strays come while it was
/// not; its edges strike at the lags of `reach`. Cost: linear in the rests and strays.
pub fn without(
    capture: &Capture,
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &Explanation,
    reach: &Reach,
) -> Option<Victim> {
    let mut chosen: Vec<_> = explanation.chosen.iter().collect();
    chosen.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    chosen.iter().find_map(|chosen| {
        let accused = &capture.lines[evidence[chosen.evidence].suspect.line];
        let less = while_recorded(victim, &gaps(accused, reach));
        let is_less = less.times.len() < victim.times.len();
        (is_less && less.time >= LEFT * victim.time).then_some(less)
    })
}

/// When an edge that nobody saw might have struck: ascending, not overlapping. An `x` that is over sooner than a stray would come is
/// an edge that took its time.
fn gaps(line: &Line, reach: &Reach) -> Vec<Rest> {
    let before = (i64::MIN, line.span.start.0);
    let stretches = line.stretches.iter().map(|s| (s.span.start.0, s.span.end.0));
    let stretches = stretches.filter(|(start, end)| end - start > reach.hi);
    let after = (line.span.end.0, i64::MAX);
    let mut gaps: Vec<Rest> = Vec::new();
    for (start, end) in [before].into_iter().chain(stretches).chain([after]) {
        let (start, end) = (start.saturating_add(reach.lo), end.saturating_add(reach.hi));
        match gaps.last_mut() {
            Some(last) if start <= last.end => last.end = last.end.max(end),
            _ => gaps.push(Rest { start, end }),
        }
    }
    gaps
}

fn while_recorded(victim: &Victim, gaps: &[Rest]) -> Victim {
    let is_missed = |time: i64| {
        let gap = gaps.get(gaps.partition_point(|gap| gap.end <= time));
        gap.is_some_and(|gap| gap.start <= time)
    };
    let mut less = victim.only(|at| !is_missed(victim.times[at]));
    less.rests = Vec::new();
    for rest in &victim.rests {
        let mut from = rest.start;
        let first = gaps.partition_point(|gap| gap.end <= rest.start);
        for gap in gaps[first..].iter().take_while(|gap| gap.start < rest.end) {
            if gap.start > from {
                less.rests.push(Rest {
                    start: from,
                    end: gap.start,
                });
            }
            from = from.max(gap.end);
        }
        if rest.end > from {
            less.rests.push(Rest {
                start: from,
                end: rest.end,
            });
        }
    }
    less.time = able::length(&less.rests);
    less
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::{Edge, Standing};
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// HOLD's rises dip PEG at times all along; of HOLD the record ends at three quarters. LAMP runs on its own.
    #[test]
    fn strays_of_a_time_without_the_accused_do_not_speak_against_it() {
        let (mut hold, mut lamp, mut peg) = (Vec::new(), Vec::new(), Vec::new());
        let until = 2_300_000;
        for n in 1..300i64 {
            let at = 10_000 * n + 89 * (n * n % 23);
            if at < until {
                hold.extend([at, at + 3_000]);
            }
            lamp.extend([at + 4_100 + 61 * (n % 17), at + 6_000 + 97 * (n % 11)]);
            if n * 7_919 % 100 < 40 {
                peg.extend([at + 9 + n % 3, at + 35 + n % 9]);
            }
        }
        let span = |end: i64| TimeSpan::new(Ticks(0), Ticks(end));
        let line = |name: &str, first: Level, edges: Vec<i64>, end: i64| {
            Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span(end))
        };
        let lines = vec![
            line("HOLD", Level::Low, hold, until),
            line("LAMP", Level::Low, lamp, 3_100_000),
            line("PEG", Level::High, peg, 3_100_000),
        ];
        let (strays, attribution) = fixtures::attributed(lines, 3_100_000, &[(2, 60.0)]);
        let rows = attribution.couplings.iter();
        let told: Vec<_> = rows.map(|c| (c.aggressor, c.edge, c.standing)).collect();
        assert_eq!(told, [(0, Edge::Rise, Standing::Clear)]);
        let late = strays.strays.iter().filter(|s| s.start.0 > until).count() as u64;
        assert!(late > 20);
        assert_eq!(attribution.couplings[0].strays + late, strays.strays.len() as u64);
        assert!(attribution.uncaptured.is_empty());
    }
}
