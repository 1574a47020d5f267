//! Short pulses that take turns with long ones: each cycle of another line has one pulse, a short one or a long one.
//!
//! An acknowledge lasts as long as its requester takes to see it: some tens of nanoseconds, or a microsecond where that waits. A
//! stray comes besides the line's own pulses, whether there is one in that cycle or none. So where (nearly) every cycle of
//! another line has exactly one pulse of a level, soon after the edge that begins it, and the short ones come as long after that
//! edge as the long ones, the short ones are the line's job if they are long enough to be read. The person's `narrow_below` has the last word.

use super::answers::{Answers, How, is_open, may_be_read, narrow, widths};
use crate::analysis::coupling::verdict::one_lag::rank_sum;
use crate::analysis::coupling::{Attribution, Standing};
use crate::analysis::stats::order::{at_share, at_shares, middle};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Line, Polarity};

/// Share of the cycles that have one pulse, no more and no less; how many cycles there are, and how many pulses of each kind.
const ONE_EACH: f64 = 0.98;
const FEWEST_CYCLES: usize = 24;
const FEWEST: usize = 6;
/// A smaller share of short pulses than this may be long ones that something cuts short.
const OFTEN: f64 = 0.1;
/// Chance at or below which short pulses and long ones come after different times.
const DIFFER: f64 = 0.01;
/// The line follows the other one, and not that one the line: nine of ten pulses begin sooner after the edge than nine of
/// ten edges come after a pulse.
const SOON: f64 = 0.9;

/// The levels whose short pulses take turns with long ones. `is_told`: whether more is known of a level. Cost: linear in the pulses of
/// lines with short ones, and in the edges of lines with about as many.
pub(super) fn of(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    is_told: impl Fn(usize, Level) -> bool,
) -> Vec<Answers> {
    let lines = (0..capture.lines.len()).filter(|&line| capture.lines[line].same_as.is_none());
    let levels = lines.flat_map(|line| [(line, Level::Low), (line, Level::High)]);
    levels
        .filter(|&(line, level)| is_open(strays, line, level) && !is_told(line, level))
        .filter_map(|(line, level)| of_level(capture, strays, attribution, line, level))
        .collect()
}

/// One pulse of the level: where it begins and ends, in ticks.
#[derive(Clone, Copy)]
struct Turn {
    start: i64,
    end: i64,
    is_short: bool,
}

fn of_level(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    line: usize,
    level: Level,
) -> Option<Answers> {
    let limit = strays.limits[line].of(level)?;
    let short = widths(narrow(strays, line, level));
    if short.len() < FEWEST || !may_be_read(capture, strays.sampling[line], &short) {
        return None;
    }
    let turns: Vec<Turn> = capture.lines[line]
        .pulses()
        .filter(|p| p.level == level)
        .map(|p| Turn {
            start: p.start.0,
            end: p.end.0,
            is_short: (p.width().0 as f64) < limit,
        })
        .collect();
    let are_many = turns.len() >= FEWEST_CYCLES
        && short.len() + FEWEST <= turns.len()
        && short.len() as f64 >= OFTEN * turns.len() as f64;
    if !are_many {
        return None;
    }
    // Whoever else is accused of them by a lag of its own is asked about first.
    let accused = attribution
        .couplings
        .iter()
        .filter(|row| row.victim == line && row.levels.contains(&level) && row.standing == Standing::Clear);
    let accused: Vec<usize> = accused.map(|row| row.aggressor).collect();
    let others = (0..capture.lines.len())
        .filter(|&o| o != line && capture.lines[o].same_as.is_none() && accused.iter().all(|a| *a == o));
    let mut asked = others.flat_map(|other| [(other, Polarity::Rise), (other, Polarity::Fall)]);
    asked.find_map(|(other, polarity)| {
        let record = &capture.lines[other];
        if record.edges.len().abs_diff(2 * turns.len()) as f64
            > 2.0 * (1.0 - ONE_EACH) * turns.len() as f64 + 4.0
        {
            return None;
        }
        let slack = strays.sampling[line].max(strays.sampling[other]).ceil() as i64;
        let cycles = Cycles::of(record, polarity, &turns, slack);
        let widths = at_shares(&short, [0.0, 0.5, 1.0])?;
        let lag = middle(&cycles.short)?;
        cycles.take_turns().then_some(Answers {
            line,
            level,
            to: other,
            edge: polarity.into(),
            answered: short.len() as u64,
            opportunities: cycles.count as u64,
            widths,
            lag,
            limit,
            how: How::InTurn {
                long: cycles.long.len() as u64,
            },
        })
    })
}

/// The other line's cycles, from its first edge of one polarity to its last.
struct Cycles {
    count: usize,
    /// With exactly one pulse.
    with_one: usize,
    /// From the edge to the pulse, ascending, in ticks.
    short: Vec<f64>,
    long: Vec<f64>,
    /// From the pulse's end to the next edge, ascending.
    rests: Vec<f64>,
}

impl Cycles {
    /// `slack`: a pulse that seems to begin so little before an edge may follow it.
    fn of(record: &Line, polarity: Polarity, turns: &[Turn], slack: i64) -> Cycles {
        let marks = (0..record.edges.len()).filter(|&e| record.polarity(e) == polarity);
        let marks: Vec<i64> = marks.map(|e| record.edges[e].0).collect();
        let mut cycles = Cycles {
            count: marks.len().saturating_sub(1),
            with_one: 0,
            short: Vec::new(),
            long: Vec::new(),
            rests: Vec::new(),
        };
        let mut at = 0;
        for cycle in marks.windows(2) {
            while turns.get(at).is_some_and(|turn| turn.start < cycle[0] - slack) {
                at += 1;
            }
            let first = at;
            while turns.get(at).is_some_and(|turn| turn.start < cycle[1] - slack) {
                at += 1;
            }
            if at != first + 1 {
                continue;
            }
            let turn = turns[first];
            cycles.with_one += 1;
            cycles.rests.push((cycle[1] - turn.end) as f64);
            match turn.is_short {
                true => cycles.short.push((turn.start - cycle[0]) as f64),
                false => cycles.long.push((turn.start - cycle[0]) as f64),
            }
        }
        for values in [&mut cycles.short, &mut cycles.long, &mut cycles.rests] {
            values.sort_unstable_by(f64::total_cmp);
        }
        cycles
    }

    fn take_turns(&self) -> bool {
        let is_one_each = self.count >= FEWEST_CYCLES && self.with_one as f64 >= ONE_EACH * self.count as f64;
        let of = [(&self.short, SOON), (&self.long, SOON), (&self.rests, 1.0 - SOON)];
        let [Some(short), Some(long), Some(rest)] = of.map(|(values, share)| at_share(values, share)) else {
            return false;
        };
        is_one_each
            && self.short.len() >= FEWEST
            && self.long.len() >= FEWEST
            && short.max(long) < rest
            && rank_sum(&self.short, &self.long) > DIFFER
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::demo::random::Random;
    use crate::model::{Ticks, TimeSpan};

    /// REQ 200 times, ACK 100 to 900 ns after each; `acknowledge` gives the widths of what ACK puts out then, one after the
    /// other. Seed 5.
    fn handshake(acknowledge: impl Fn(&mut Random) -> Vec<f64>) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(2_100_000));
        let mut random = Random::new(5);
        let (mut request, mut answer) = (Vec::new(), Vec::new());
        for n in 0..200i64 {
            let at = 10_000 * n + random.uniform(0.0, 1_000.0) as i64;
            let mut from = at + random.uniform(100.0, 900.0) as i64;
            for width in acknowledge(&mut random) {
                answer.extend([from, from + width as i64]);
                from += width as i64 + random.uniform(200.0, 900.0) as i64;
            }
            request.extend([at, from + 500]);
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("turns", span, vec![line("REQ", request), line("ACK", answer)])
    }

    fn judged(capture: &Capture) -> (usize, Vec<Answers>) {
        let (strays, attribution) = judge(capture, &StrayOptions::default(), &CouplingOptions::default());
        (strays.strays.len(), attribution.answers)
    }

    fn short(random: &mut Random) -> f64 {
        random.uniform(40.0, 90.0)
    }

    fn long(random: &mut Random) -> f64 {
        random.uniform(500.0, 1_200.0)
    }

    #[test]
    fn an_acknowledge_that_is_short_or_long_is_no_stray() {
        let (strays, answers) = judged(&handshake(|random| match random.chance(0.6) {
            true => vec![short(random)],
            false => vec![long(random)],
        }));
        assert_eq!(strays, 0);
        let [turns] = answers.as_slice() else {
            panic!("{answers:?}")
        };
        assert_eq!((turns.line, turns.to, turns.opportunities), (1, 0, 199));
        assert!(
            matches!(turns.how, How::InTurn { long } if long + turns.answered == 200 || long + turns.answered == 199)
        );
    }

    #[test]
    fn what_comes_besides_the_long_ones_is_stray() {
        let besides = handshake(|random| match random.chance(0.4) {
            true => vec![short(random), long(random)],
            false => vec![long(random)],
        });
        let (strays, answers) = judged(&besides);
        assert!(answers.is_empty());
        assert!((60..100).contains(&strays), "{strays}");
        // As many pulses as cycles, but not one each.
        let (_, answers) = judged(&handshake(|random| match random.uniform(0.0, 1.0) {
            chance if chance < 0.4 => vec![short(random), long(random)],
            chance if chance < 0.6 => vec![long(random)],
            _ => Vec::new(),
        }));
        assert!(answers.is_empty());
    }

    #[test]
    fn a_request_that_is_answered_follows_nobody() {
        // The lines change places: each pulse of the first, stray or not, is answered; the answers begin cycles of one each.
        let mut capture = handshake(|random| vec![long(random)]);
        let answer = &capture.lines[1];
        let mut request: Vec<i64> = Vec::new();
        for (n, start) in answer.edges.iter().step_by(2).enumerate() {
            let n = n as i64;
            let width = if n % 5 < 2 {
                40 + 7 * n % 50
            } else {
                500 + 37 * n % 700
            };
            request.extend([start.0 - 1_290, start.0 - 1_290 + width]);
        }
        let span = capture.span;
        capture.lines[0] = Line::digital("REQ", Level::Low, request.into_iter().map(Ticks).collect(), span);
        let (_, answers) = judged(&capture);
        assert!(answers.iter().all(|a| a.line != 0), "{answers:?}");
    }
}
