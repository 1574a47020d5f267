//! Short pulses that a gate of captured lines puts out: every edge of one line brings one while other lines hold their levels, and
//! hardly any does otherwise.
//!
//! A select lets one strobe through and holds another back; a counter that reaches its end clears itself. A coupled stray comes
//! now and then, and asks no select. So where (nearly) all edges of a line bring a pulse that is long enough to be read while
//! one or two others are at one level, and (nearly) none while they are not, that is logic. The person's `narrow_below` has
//! the last word.

use super::answers::{Answers, How, is_open, may_be_read, narrow, widths};
use crate::analysis::coupling::LONGEST_LAG_S;
use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::stats::order::at_shares;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Line, Polarity, Ticks};

/// Lags agree within this, besides what sampling does.
const STEADY_S: f64 = 5e-9;
/// Share of the level's short pulses that follow, and how many at least for each line whose level opens the gate.
const MOST: f64 = 0.9;
const FEWEST: usize = 12;
/// Share of the edges that bring one while the gate is open, and while it is shut.
const OPEN: f64 = 0.95;
const SHUT: f64 = 0.03;
/// Edges at least that a level shuts out.
const FEWEST_SHUT: usize = 12;
/// Lines whose levels open it, at most: more explain anything.
const LEVELS: usize = 2;
/// Most lines bring nothing: so many of the short pulses show it.
const LOOKED_AT: usize = 32;

/// The levels whose short pulses a gate puts out. `known`: levels that are told already. Cost: linear in the short pulses for
/// each line, and for those that they follow, their edges × lines × log of these.
pub(super) fn of(capture: &Capture, strays: &Strays, known: &[Answers]) -> Vec<Answers> {
    let lines = (0..capture.lines.len()).filter(|&line| capture.lines[line].same_as.is_none());
    let levels = lines.flat_map(|line| [(line, Level::Low), (line, Level::High)]);
    levels
        .filter(|&(line, level)| is_open(strays, line, level) && !known.iter().any(|k| k.is_of(line, level)))
        .filter_map(|(line, level)| of_level(capture, strays, line, level))
        .collect()
}

fn of_level(capture: &Capture, strays: &Strays, line: usize, level: Level) -> Option<Answers> {
    let limit = strays.limits[line].of(level)?;
    let starts: Vec<i64> = narrow(strays, line, level).map(|s| s.start.0).collect();
    let widths = widths(narrow(strays, line, level));
    if starts.len() < FEWEST || !may_be_read(capture, strays.sampling[line], &widths) {
        return None;
    }
    let others = (0..capture.lines.len()).filter(|&o| o != line && capture.lines[o].same_as.is_none());
    let mut asked = others.flat_map(|other| [(other, Polarity::Rise), (other, Polarity::Fall)]);
    asked.find_map(|(other, polarity)| {
        let sampling = strays.sampling[line].max(strays.sampling[other]);
        let ticks = |seconds: f64| capture.timebase.ticks_of(seconds);
        let steady = (ticks(STEADY_S) + 2.0 * sampling).ceil() as i64;
        let late = (ticks(LONGEST_LAG_S) + 2.0 * sampling).ceil() as i64;
        let source = &capture.lines[other];
        let few = &starts[..starts.len().min(LOOKED_AT)];
        let (lags, followed) = followed(source, polarity, few, late, steady)?;
        if (followed.len() as f64) < MOST * few.len() as f64 || lags[1] < 0 {
            return None;
        }
        let (lags, followed) = self::followed(source, polarity, &starts, late, steady)?;
        if followed.len() < FEWEST || (followed.len() as f64) < MOST * starts.len() as f64 {
            return None;
        }
        let trials = trials(&capture.lines[line], source, polarity, level, &followed, lags[1]);
        let gate = gate(capture, [line, other], trials)?;
        Some(Answers {
            line,
            level,
            to: other,
            edge: polarity.into(),
            answered: gate.answered,
            opportunities: gate.of,
            widths: at_shares(&widths, [0.0, 0.5, 1.0])?,
            lag: ((lags[0] + lags[1]) / 2) as f64,
            limit,
            how: How::While { levels: gate.levels },
        })
    })
}

/// The edges that these starts follow after one time, ascending, and the least and greatest lag.
fn followed(
    source: &Line,
    polarity: Polarity,
    starts: &[i64],
    late: i64,
    steady: i64,
) -> Option<([i64; 2], Vec<usize>)> {
    let last = |start: i64| -> Option<(usize, i64)> {
        let until = source.edges.partition_point(|e| e.0 <= start + steady);
        let mut near = (0..until)
            .rev()
            .take_while(|&e| start - source.edges[e].0 <= late);
        let edge = near.find(|&e| source.polarity(e) == polarity)?;
        Some((edge, start - source.edges[edge].0))
    };
    let brought: Vec<(usize, i64)> = starts.iter().filter_map(|&start| last(start)).collect();
    let mut lags: Vec<i64> = brought.iter().map(|b| b.1).collect();
    lags.sort_unstable();
    let crowd = crowd(&lags, steady);
    let (least, most) = (*lags.get(crowd.start)?, *lags.get(crowd.end.checked_sub(1)?)?);
    let within = brought.iter().filter(|b| (least..=most).contains(&b.1));
    Some(([least, most], within.map(|b| b.0).collect()))
}

/// The source's edges that found the line at the other level, and whether they brought a pulse.
fn trials(
    line: &Line,
    source: &Line,
    polarity: Polarity,
    level: Level,
    followed: &[usize],
    lag: i64,
) -> Vec<(Ticks, bool)> {
    let edges = (0..source.edges.len()).filter(|&e| source.polarity(e) == polarity);
    let mut next = followed.iter().peekable();
    let trial = |edge: usize| {
        while next.next_if(|&&f| f < edge).is_some() {}
        let is_followed = next.peek() == Some(&&edge);
        let at = source.edges[edge];
        let rests = line.level_at(at) == level.inverted()
            && line.level_at(Ticks(at.0 + lag.max(0))) == level.inverted();
        (is_followed || rests).then_some((at, is_followed))
    };
    edges.filter_map(trial).collect()
}

/// Who opens the gate, and how many of the edges bring a pulse meanwhile.
struct Gate {
    levels: Vec<(usize, Level)>,
    answered: u64,
    of: u64,
}

fn gate(capture: &Capture, pair: [usize; 2], mut trials: Vec<(Ticks, bool)>) -> Option<Gate> {
    let mut levels = Vec::new();
    loop {
        let answered = trials.iter().filter(|t| t.1).count();
        if answered as f64 >= OPEN * trials.len() as f64 {
            let is_gate = answered >= FEWEST * levels.len() && !levels.is_empty();
            return is_gate.then_some(Gate {
                levels,
                answered: answered as u64,
                of: trials.len() as u64,
            });
        }
        if levels.len() == LEVELS {
            return None;
        }
        // The level that shuts out the most edges, and hardly any that brings one.
        let others =
            (0..capture.lines.len()).filter(|o| !pair.contains(o) && capture.lines[*o].same_as.is_none());
        let shut = others.flat_map(|other| {
            let record = &capture.lines[other];
            let high: Vec<bool> = trials
                .iter()
                .map(|t| record.level_at(Ticks(t.0.0 - 1)) == Level::High)
                .collect();
            [Level::Low, Level::High].map(|open| {
                let is_shut = |n: &usize| high[*n] != (open == Level::High);
                let shut: Vec<usize> = (0..trials.len()).filter(is_shut).collect();
                let brought = shut.iter().filter(|&&n| trials[n].1).count();
                (other, open, shut, brought)
            })
        });
        let fits = shut.filter(|(_, _, shut, brought)| {
            shut.len() >= FEWEST_SHUT && *brought as f64 <= SHUT * shut.len() as f64
        });
        let (other, open, shut, _) =
            fits.max_by_key(|(other, _, shut, _)| (shut.len(), usize::MAX - other))?;
        levels.push((other, open));
        let mut shut = shut.into_iter().peekable();
        let mut at = 0;
        trials.retain(|_| {
            let is_shut = shut.next_if(|&n| n == at).is_some();
            at += 1;
            !is_shut
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::demo::random::Random;
    use crate::model::TimeSpan;

    /// STROBE rises 300 times; OUT repeats it where `brings(SELECT, MODE)` says, and has pulses of its own, longer, halfway
    /// between. Seed 3.
    fn capture(brings: impl Fn(bool, bool, &mut Random) -> bool) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(3_100_000));
        let mut random = Random::new(3);
        let (mut strobe, mut out, mut select, mut mode) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let (mut is_selected, mut is_mode) = (false, false);
        for n in 0..300i64 {
            let at = 10_000 * n + 3_000 + random.uniform(0.0, 300.0) as i64;
            let width = random.uniform(60.0, 90.0) as i64;
            for (is_high, edges, early) in [
                (&mut is_selected, &mut select, 900),
                (&mut is_mode, &mut mode, 700),
            ] {
                if random.chance(0.3) {
                    *is_high = !*is_high;
                    edges.push(at - early);
                }
            }
            strobe.extend([at, at + width]);
            if brings(is_selected, is_mode, &mut random) {
                out.extend([at + 15, at + width + 15]);
            }
            if n % 3 == 0 {
                out.extend([at + 4_000, at + 4_600 + random.uniform(0.0, 900.0) as i64]);
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("STROBE", strobe),
            line("OUT", out),
            line("SELECT", select),
            line("MODE", mode),
        ];
        Capture::in_nanoseconds("let through", span, lines)
    }

    fn told(brings: impl Fn(bool, bool, &mut Random) -> bool) -> Vec<How> {
        let judged = judge(
            &capture(brings),
            &StrayOptions::default(),
            &CouplingOptions::default(),
        );
        judged.1.answers.into_iter().map(|a| a.how).collect()
    }

    #[test]
    fn what_captured_levels_let_through_is_no_stray() {
        let levels = |levels: &[(usize, Level)]| {
            vec![How::While {
                levels: levels.to_vec(),
            }]
        };
        assert_eq!(told(|select, _, _| select), levels(&[(2, Level::High)]));
        let mut both = told(|select, mode, _| select && !mode);
        if let [How::While { levels }] = both.as_mut_slice() {
            levels.sort_unstable_by_key(|l| l.0);
        }
        assert_eq!(both, levels(&[(2, Level::High), (3, Level::Low)]));
    }

    #[test]
    fn what_comes_now_and_then_or_oftener_at_one_level_is_none() {
        assert_eq!(told(|_, _, random| random.chance(0.5)), []);
        assert_eq!(
            told(|select, _, random| random.chance(if select { 0.8 } else { 0.02 })),
            []
        );
        assert_eq!(told(|select, _, random| select || random.chance(0.2)), []);
    }
}
