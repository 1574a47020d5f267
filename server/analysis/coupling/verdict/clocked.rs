//! Strays that begin as the victim's own long pulses of that level do: at the same edges of the accused, at the same lag.
//!
//! What begins a line's long pulses clocks the part that drives it, and a part may send short pulses as well as long ones: an
//! acknowledge of two widths, a monostable's. `legitimate::own` takes those that are long enough to be read for the line's job; of
//! shorter ones nothing in the record tells, so the person is asked. A coupling from that clock comes at a time of its own, mostly
//! sooner than the part answers. A register that holds from one edge of its clock to the next cuts no pulse short
//! (`legitimate::register`), so there the accusation stands; and the person's `narrow_below` has the last word.

use super::one_lag::rank_sum;
use super::races::{Race, Sign};
use crate::analysis::coupling::fit::rows::edges_of;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::legitimate::register;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, first_from};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::{Capture, Level, Polarity};

/// Fewer long pulses show nothing.
const FEWEST: usize = 6;
/// Share of the long pulses that must begin so.
const MOST: f64 = 0.75;
/// Chance at or below which so many do.
const CHANCE: f64 = 1e-6;
/// Chance at or below which lags of strays and of long pulses are two.
const DIFFER: f64 = 0.01;

/// What shows of one victim level's rows that the part which drives it may send its strays, if the first that brings most of them looks
/// so. Cost: linear in the victim's own edges, the rows' edges and strikes, × log of the accused's edges.
pub fn find(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
) -> Option<Race> {
    let limits = &strays.limits[victim.line];
    let limit = limits
        .of(victim.level)
        .filter(|_| limits.origin == LimitOrigin::Inferred)?;
    let most = rows.iter().max_by_key(|row| row.strays)?;
    if 2 * most.strays < victim.times.len() as u64 {
        return None;
    }
    let sign = sign(capture, strays, edges, victim, most)?;
    (!register::is_cut_short(capture, strays, most, victim.level, limit)).then(|| Race {
        sign,
        lines: vec![most.aggressor],
        edge: Some(most.edge),
        in_step: false,
    })
}

fn sign(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
) -> Option<Sign> {
    let begins = match victim.level {
        Level::High => Polarity::Rise,
        _ => Polarity::Fall,
    };
    let (own, times) = (edges[victim.line].of(begins), edges_of(edges, row));
    if own.len() < FEWEST || row.edge == Edge::Both {
        return None;
    }
    let lags = || row.occurrences.iter().map(|o| o.lag);
    let (least, greatest) = (lags().min()?, lags().max()?);
    let slack = victim.unit.max(strays.sampling[row.aggressor]).ceil() as i64;
    let (lo, hi) = (least - slack, greatest + slack);
    let lag = |&start: &i64| {
        let edge = first_from(times, start - hi)?;
        (edge <= start - lo).then_some((start - edge) as f64)
    };
    let of_long: Vec<f64> = own.iter().filter_map(lag).collect();
    let span = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
    let covered = able::covered(times, std::slice::from_ref(&(0..times.len())), lo, hi) / span;
    let (so, of) = (of_long.len() as u64, own.len() as u64);
    if (so as f64) < MOST * of as f64 || binomial_upper(so, of, covered.min(1.0)) > CHANCE {
        return None;
    }
    let of_strays: Vec<f64> = lags().map(|lag| lag as f64).collect();
    let mean = |lags: &[f64]| lags.iter().sum::<f64>() / lags.len() as f64;
    (rank_sum(&of_strays, &of_long) > DIFFER).then(|| Sign::Clocked {
        own: so,
        of,
        lags: [mean(&of_strays), mean(&of_long)],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{CouplingOptions, Standing};
    use crate::analysis::strays::StrayOptions;
    use crate::demo::random::Random;
    use crate::model::{Line, Ticks, TimeSpan};

    /// When ACK's own long pulses begin.
    #[derive(Clone, Copy)]
    enum Own {
        /// So many ns after CLOCK's rises.
        AfterClock(f64),
        /// Some hundreds of ns after them.
        Apart,
    }

    /// CLOCK rises every 2 µs, within some ns. At `longs` of 3,000 rises ACK shows a long pulse of its own, of 1.5 µs or, as a
    /// register's, a whole number of CLOCK's periods; at some 90 others one of 40 to 60 ns, `lag` ns after the rise. Sampled
    /// every 10 ns; seed 5.
    fn capture(own: Own, longs: usize, lag: f64, is_register: bool) -> Capture {
        let mut random = Random::new(5);
        let rises: Vec<f64> = (0..3_003)
            .map(|n| 3_000.0 + 2_000.0 * f64::from(n) + random.uniform(-9.0, 9.0))
            .collect();
        let (mut clock, mut ack) = (Vec::new(), Vec::new());
        let mut busy = 0.0;
        for (n, &rise) in rises[..3_000].iter().enumerate() {
            clock.extend([rise, rise + 1_000.0]);
            let late = match own {
                Own::AfterClock(late) => late,
                Own::Apart => 300.0 + random.uniform(0.0, 400.0),
            };
            if n % (3_000 / longs) == 7 {
                let end = match is_register {
                    true => rises[n + 1 + n % 2] + late,
                    false => rise + late + 1_500.0,
                };
                ack.extend([rise + late, end]);
                busy = end + 100.0;
            } else if rise > busy && random.chance(0.03) {
                let start = rise + lag;
                ack.extend([start, start + [40.0, 50.0, 60.0][n % 3]]);
            }
        }
        let span = TimeSpan::new(Ticks(0), Ticks(6_020_000));
        let line = |name: &str, edges: Vec<f64>| {
            let sampled = edges.iter().map(|at| Ticks((at / 10.0).ceil() as i64 * 10));
            Line::digital(name, Level::Low, sampled.collect(), span)
        };
        Capture::in_nanoseconds("clocked", span, vec![line("CLOCK", clock), line("ACK", ack)])
    }

    /// Clear rows, and what is told of a race. `narrow_below`: what the person says of ACK, in ns.
    fn told(capture: &Capture, narrow_below: Option<f64>) -> (usize, Vec<Sign>) {
        let options = StrayOptions {
            narrow_below: narrow_below.into_iter().map(|ns| (1, ns)).collect(),
            ..StrayOptions::default()
        };
        let (_, attribution) = judge(capture, &options, &CouplingOptions::default());
        let rows = attribution.couplings.iter();
        let accused = rows.filter(|row| row.standing == Standing::Clear).count();
        (accused, attribution.races.iter().map(|r| r.race.sign).collect())
    }

    #[test]
    fn what_begins_as_the_line_s_own_long_pulses_do_accuses_nobody() {
        let answering = capture(Own::AfterClock(30.0), 60, 30.0, false);
        let (accused, signs) = told(&answering, None);
        assert_eq!(accused, 0, "{signs:?}");
        assert!(
            matches!(signs[..], [Sign::Clocked { own: 60, of: 60, .. }]),
            "{signs:?}"
        );
        // The person says that ACK sends nothing so short.
        assert_eq!(told(&answering, Some(180.0)), (1, vec![]));
    }

    #[test]
    fn a_clock_that_strikes_what_it_clocks_at_another_lag_is_accused() {
        for (own, lag) in [(30.0, 12.0), (26.0, 20.0), (45.0, 8.0)] {
            let struck = capture(Own::AfterClock(own), 60, lag, false);
            assert_eq!(told(&struck, None), (1, vec![]), "{own} {lag}");
        }
    }

    #[test]
    fn long_pulses_at_other_times_too_few_of_them_or_a_register_leave_the_accusation() {
        assert_eq!(told(&capture(Own::Apart, 60, 30.0, false), None), (1, vec![]));
        assert_eq!(
            told(&capture(Own::AfterClock(30.0), 5, 30.0, false), None),
            (1, vec![])
        );
        assert_eq!(
            told(&capture(Own::AfterClock(30.0), 60, 30.0, true), None),
            (1, vec![])
        );
    }

    #[test]
    fn a_clock_that_pulls_the_line_both_ways_is_accused_beside_another() {
        let mut capture = capture(Own::AfterClock(30.0), 60, 30.0, false);
        let mut random = Random::new(6);
        let (mut ack, mut eye): (Vec<i64>, Vec<i64>) = (Vec::new(), Vec::new());
        // CLOCK's falls dip ACK's long pulses, mostly.
        for pulse in capture.lines[1].edges.chunks(2) {
            ack.push(pulse[0].0);
            if pulse[1].0 - pulse[0].0 > 1_000 && random.chance(0.8) {
                let clock = &capture.lines[0].edges;
                let fall = clock[clock.partition_point(|t| *t <= pulse[0])].0;
                ack.extend([fall + 20, fall + 60 + 10 * random.uniform(0.0, 3.0) as i64]);
            }
            ack.push(pulse[1].0);
        }
        // WIND_EYE's rises lift it at times of their own, and less often than CLOCK does.
        for n in 0..100i64 {
            let rise = 9_000 + 59_000 * n + 10 * random.uniform(130.0, 180.0) as i64;
            let near = |t: &&i64| (**t - rise).abs() < 2_200;
            eye.extend([rise, rise + 5_000]);
            if ack.iter().find(near).is_none() && random.chance(0.6) {
                ack.extend([rise + 10, rise + 50 + 10 * random.uniform(0.0, 3.0) as i64]);
            }
        }
        ack.sort_unstable();
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(
                name,
                Level::Low,
                edges.into_iter().map(Ticks).collect(),
                capture.span,
            )
        };
        let lines = vec![capture.lines[0].clone(), line("ACK", ack), line("WIND_EYE", eye)];
        capture.lines = lines;
        let (accused, signs) = told(&capture, None);
        assert_eq!((accused, &signs[..]), (2, &[][..]));
    }
}
