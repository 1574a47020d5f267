//! Whether a line is a register: whether its own long pulses begin and end at one time after the edges of one clock.
//!
//! A register holds what it took from one edge of its clock to the next, and cuts no pulse short. So a short pulse of such a line is
//! none of its job, wherever it begins; unless two edges of the clock follow closely, or another part clears it.

use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::coupling::suspects::able::{any_within, gallop};
use crate::analysis::coupling::{Coupling, LONGEST_LAG_S};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Level, Polarity, Pulse};

/// Share of the long pulses that begin at the clock's time, and of these that end so: strays cut some, and run into others.
const BEGIN: f64 = 0.6;
const END: f64 = 0.75;
const FEWEST: usize = 5;
/// A register follows its clock after one time, within this and what sampling does (from memory of TTL data books: flip-flops of one
/// family differ by some nanoseconds between edges).
const STEADY_S: f64 = 8e-9;
/// Share of the short pulses up to which they may end with an edge of the clock.
const TOGGLED: f64 = 0.2;
/// Chance at or below which so many do.
const CHANCE: f64 = 1e-4;

/// Lengths in ticks by which a clock is looked for.
#[derive(Clone, Copy, Debug)]
struct Reach {
    /// Times after the clock's edges agree within this.
    steady: i64,
    /// A stray that runs into a pulse's end delays it by no more than this.
    longest_stray: i64,
}

/// An edge of a line that clocks another, and when that follows it, in ticks, both ends closed.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Clock {
    line: usize,
    polarity: Polarity,
    after: [i64; 2],
}

impl Clock {
    /// Whether `time` is one at which the register follows.
    fn is_at(&self, times: &[i64], time: i64) -> bool {
        any_within(times, time - self.after[1], time - self.after[0])
    }

    /// Whether the pulses that begin so end so as well, or as a stray at that moment ends, and not by chance in `span` ticks.
    fn ends_them(&self, times: &[i64], pulses: &[Pulse], reach: Reach, span: i64) -> bool {
        let delayed = Clock {
            after: [self.after[0], self.after[1] + reach.longest_stray],
            ..self.clone()
        };
        let begin_so: Vec<&Pulse> = pulses.iter().filter(|p| self.is_at(times, p.start.0)).collect();
        let end_so = begin_so.iter().filter(|p| delayed.is_at(times, p.end.0)).count();
        let window = (delayed.after[1] - delayed.after[0] + 1) as f64;
        let chance = (times.len() as f64 * window / span as f64).min(1.0);
        end_so as f64 >= END * begin_so.len() as f64
            && binomial_upper(end_so as u64, begin_so.len() as u64, chance) <= CHANCE
    }
}

/// Whether the row's strikes at `level` are pulses of a register, which cuts none short by itself. `limit`: the line's own pulses of that
/// level last as long or longer, in ticks. Cost: as of [`clock_of`].
pub fn is_cut_short(capture: &Capture, strays: &Strays, row: &Coupling, level: Level, limit: f64) -> bool {
    let sampling = strays.sampling[row.victim].max(strays.sampling[row.aggressor]);
    let is_long = |p: &Pulse| p.level == level && p.width().0 as f64 >= limit;
    let long: Vec<Pulse> = capture.lines[row.victim].pulses().filter(is_long).collect();
    let of_row = row.occurrences.iter().map(|o| &strays.strays[o.stray]);
    let short: Vec<&Stray> = of_row.filter(|s| s.level == level).collect();
    let reach = Reach {
        steady: (capture.timebase.ticks_of(STEADY_S) + 2.0 * sampling).ceil() as i64,
        longest_stray: short.iter().map(|s| s.width.0).max().unwrap_or(0),
    };
    let Some(clock) = clock_of(capture, row.victim, &long, row.aggressor, reach) else {
        return false;
    };
    let times = edges_of(capture, clock.line, clock.polarity);
    let ends_so = short
        .iter()
        .filter(|s| clock.is_at(&times, s.start.0 + s.width.0));
    ends_so.count() as f64 <= TOGGLED * short.len() as f64
}

/// The edges of a line of that polarity, ascending, in ticks.
fn edges_of(capture: &Capture, line: usize, polarity: Polarity) -> Vec<i64> {
    let record = &capture.lines[line];
    let of_polarity = (0..record.edges.len()).filter(|&edge| record.polarity(edge) == polarity);
    of_polarity.map(|edge| record.edges[edge].0).collect()
}

/// The clock of `line`, if these pulses of its own (by start) show one; `likely`: the line that is asked about first. Cost: for each
/// other line its edges and these, but for those that are soon seen to be none.
fn clock_of(capture: &Capture, line: usize, pulses: &[Pulse], likely: usize, reach: Reach) -> Option<Clock> {
    if pulses.len() < FEWEST {
        return None;
    }
    let latest = capture.timebase.ticks_of(LONGEST_LAG_S).ceil() as i64;
    let is_other = |o: &usize| *o != line && capture.lines[*o].same_as.is_none();
    let others = [likely]
        .into_iter()
        .chain(0..capture.lines.len())
        .filter(is_other);
    let mut edges = others.flat_map(|o| [(o, Polarity::Rise), (o, Polarity::Fall)]);
    edges.find_map(|(other, polarity)| {
        let times = edges_of(capture, other, polarity);
        let after = begin_after(&times, pulses, latest, reach)?;
        let clock = Clock {
            line: other,
            polarity,
            after,
        };
        let span = (capture.span.end.0 - capture.span.start.0).max(1);
        clock.ends_them(&times, pulses, reach, span).then_some(clock)
    })
}

/// When after `times` (nearly) all pulses begin, if that is one time.
fn begin_after(times: &[i64], pulses: &[Pulse], latest: i64, reach: Reach) -> Option<[i64; 2]> {
    let least = (BEGIN * pulses.len() as f64).ceil() as usize;
    let (mut reached, mut missing) = (0, 0);
    let mut lags: Vec<i64> = Vec::with_capacity(pulses.len());
    for pulse in pulses {
        reached += gallop(&times[reached..], |&t| t <= pulse.start.0);
        let lag = reached.checked_sub(1).map(|last| pulse.start.0 - times[last]);
        match lag.filter(|&lag| lag <= latest) {
            Some(lag) => lags.push(lag),
            None => missing += 1,
        }
        if missing + least > pulses.len() {
            return None;
        }
    }
    lags.sort_unstable();
    let so = crowd(&lags, reach.steady);
    (so.len() >= least).then(|| [lags[so.start], lags[so.end - 1]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Line, Ticks, TimeSpan};

    const REACH: Reach = Reach {
        steady: 6,
        longest_stray: 60,
    };

    /// The clock of LATCH, which rises 30 to 33 ticks after some rises of STEP and falls at `fall(n)` after the n-th.
    fn clock(fall: impl Fn(i64) -> i64) -> Option<Clock> {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let rises = |n: i64| 4_000 * n + 53 * (n % 11);
        let step = (1..240)
            .flat_map(|n| [rises(n), rises(n) + 700])
            .collect::<Vec<i64>>();
        let high = (1..60).flat_map(|n| [rises(4 * n) + 30 + n % 4, rises(4 * n + 2) + fall(n)]);
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("LATCH", high.collect()), line("STEP", step)];
        let capture = Capture::in_nanoseconds("register", span, lines);
        let pulses: Vec<Pulse> = capture.lines[0]
            .pulses()
            .filter(|p| p.level == Level::High)
            .collect();
        clock_of(&capture, 0, &pulses, 1, REACH)
    }

    #[test]
    fn what_begins_and_ends_at_one_time_after_an_edge_is_clocked_by_it() {
        let by_rises = Clock {
            line: 1,
            polarity: Polarity::Rise,
            after: [30, 33],
        };
        assert_eq!(clock(|n| 30 + n % 4), Some(by_rises.clone()));
        // A stray at its end makes a pulse longer; some are cut.
        assert_eq!(clock(|n| [30, 71, 31, 88, 1_900][n as usize % 5]), Some(by_rises));
    }

    #[test]
    fn what_ends_at_any_time_is_not() {
        assert_eq!(clock(|n| 150 + n * 613 % 3_000), None);
        assert_eq!(clock(|n| [30, 900, 31, 1_900][n as usize % 4]), None);
    }
}
