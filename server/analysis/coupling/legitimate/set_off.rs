//! Short pulses of a line that another line's strays set off: it does as it is told.
//!
//! A counter that is clocked by a struck line steps at the stray and again at the clock's own edge, and its short pulse between
//! the two is no stray: nobody strikes it. Its edges, short pulses or long, follow that line's edges after one time.

use super::own::Own;
use crate::analysis::parallel::on_all_cores;
use crate::analysis::strays::{LimitOrigin, Stray, StrayKind, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// What is set off follows within this.
const LATEST_S: f64 = 60e-9;
/// Lags agree within this, besides what sampling does.
const STEADY_S: f64 = 5e-9;
/// Short pulses at least, the share of them that follow the other line (more that don't, and it is struck as well), and of these
/// the share that follow its strays.
const FEWEST: usize = 3;
const MOST: f64 = 0.99;
/// The same where the other line's edges may fall between two samples: its sampling is coarser than this share of the short pulses.
const MOST_SEEN: f64 = 0.85;
const COARSE: f64 = 0.2;
const BY_STRAYS: f64 = 0.5;
/// Long pulses at least, and the share of them that follow the other line likewise.
const FEWEST_LONG: u64 = 5;
const MOST_LONG: f64 = 0.8;

/// The short pulses that strays of other lines set off. Cost: linear in the strays; for lines with enough, those × log of the
/// edges of each other line with strays, and linear in their own pulses where one fits. All cores.
pub(in crate::analysis::coupling) fn of(capture: &Capture, strays: &Strays) -> Vec<Own> {
    let lines = 0..capture.lines.len();
    let levels: Vec<(usize, Level)> = lines
        .flat_map(|line| [(line, Level::Low), (line, Level::High)])
        .collect();
    let found = on_all_cores(&levels, |&(line, level)| of_level(capture, strays, line, level));
    found.into_iter().flatten().collect()
}

/// A lag in ticks, and the edge that is followed after it.
type Followed = (i64, usize);

fn of_level(capture: &Capture, strays: &Strays, line: usize, level: Level) -> Option<Own> {
    let limits = &strays.limits[line];
    let limit = limits
        .of(level)
        .filter(|_| limits.origin == LimitOrigin::Inferred)?;
    let is_pulse = |s: &&Stray| s.level == level && s.kind == StrayKind::Pulse;
    let of_level = strays.of_line(line).iter().filter(is_pulse);
    let short: Vec<[i64; 2]> = of_level.map(|s| [s.start.0, s.start.0 + s.width.0]).collect();
    if short.len() < FEWEST {
        return None;
    }
    let long = || {
        let pulses = capture.lines[line].pulses();
        pulses.filter(move |p| p.level == level && p.width().0 as f64 >= limit)
    };
    let others = (0..capture.lines.len()).filter(|&o| o != line && !strays.of_line(o).is_empty());
    let mut asked = others.flat_map(|other| [(other, Polarity::Rise), (other, Polarity::Fall)]);
    asked.find_map(|(other, polarity)| {
        let sampling = strays.sampling[line].max(strays.sampling[other]);
        let reach = (capture.timebase.ticks_of(LATEST_S) + sampling).ceil() as i64;
        let steady = (capture.timebase.ticks_of(STEADY_S) + 2.0 * sampling).ceil() as i64;
        let record = &capture.lines[other];
        let lags: Vec<(Followed, Option<Followed>)> = short
            .iter()
            .filter_map(|&[start, end]| {
                let lag = |time: i64| {
                    let edge = last_before(record, polarity, time, reach)?;
                    Some((time - record.edges[edge].0, edge))
                };
                Some((lag(start)?, lag(end)))
            })
            .collect();
        let mut sorted: Vec<i64> = lags.iter().map(|(begins, _)| begins.0).collect();
        sorted.sort_unstable();
        let crowd = crate::analysis::coupling::fit::copies::crowd(&sorted, steady);
        let (least, most) = (*sorted.get(crowd.start)?, *sorted.get(crowd.end.checked_sub(1)?)?);
        let is_lag = |lag: i64| (least..=most).contains(&lag);
        // It begins with a stray, or begins with the other line's own edge and ends with a stray.
        let is_by_stray =
            |(lag, edge): (i64, usize)| is_lag(lag) && is_stray_edge(strays.of_line(other), edge);
        let by_strays = lags
            .iter()
            .filter(|(begins, ends)| {
                is_by_stray(*begins) || is_lag(begins.0) && ends.is_some_and(is_by_stray)
            })
            .count() as f64;
        let mut widths: Vec<i64> = short.iter().map(|[start, end]| end - start).collect();
        widths.sort_unstable();
        let share = match sampling > COARSE * widths[widths.len() / 2] as f64 {
            true => MOST_SEEN,
            false => MOST,
        };
        if (crowd.len() as f64) < share * short.len() as f64 || by_strays < BY_STRAYS * crowd.len() as f64 {
            return None;
        }
        let follows = |start: i64| {
            last_before(record, polarity, start, reach)
                .is_some_and(|e| (least - steady..=most + steady).contains(&(start - record.edges[e].0)))
        };
        let (mut of_long, mut so) = (0, 0);
        for pulse in long() {
            of_long += 1;
            so += u64::from(follows(pulse.start.0));
        }
        let does_as_told = of_long >= FEWEST_LONG && so as f64 >= MOST_LONG * of_long as f64;
        does_as_told.then(|| Own {
            line,
            level,
            to: other,
            edge: polarity.into(),
            short: crowd.len() as u64,
            long: so,
            of_long,
            lags: (least, most),
            limit,
        })
    })
}

/// The last edge of that polarity up to `time` and no longer than `reach` before it.
fn last_before(record: &Line, polarity: Polarity, time: i64, reach: i64) -> Option<usize> {
    let to = record.edges.partition_point(|e| e.0 <= time);
    let near = (0..to).rev().take_while(|&e| record.edges[e].0 >= time - reach);
    near.take(4).find(|&e| record.polarity(e) == polarity)
}

/// Whether a stray pulse of the line begins or ends with this edge.
fn is_stray_edge(of_line: &[Stray], edge: usize) -> bool {
    of_line
        .iter()
        .filter_map(|s| s.edge)
        .any(|first| edge == first || edge == first + 1)
}

#[cfg(test)]
mod tests {
    use super::of;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    #[test]
    fn pulses_that_follow_a_struck_line_s_own_edges_are_not_set_off() {
        let span = TimeSpan::new(Ticks(0), Ticks(4_100_000));
        let (mut latch, mut grant) = (Vec::new(), Vec::new());
        for n in 0..200i64 {
            let at = 20_000 * n + 5_000 + 37 * (n % 11);
            latch.extend([at, at + 9_000]);
            // LATCH is struck far from its edges; GRANT begins with LATCH, short now and then.
            if n % 20 == 7 {
                latch.extend([at + 14_000, at + 14_014 + n * 7 % 23]);
            }
            let width = if n % 10 == 3 {
                30 + 4 * (n % 9)
            } else {
                4_000 + 97 * (n % 31)
            };
            grant.extend([at + 20 + n % 3, at + 20 + n % 3 + width]);
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("LATCH", latch), line("GRANT", grant)];
        let capture = Capture::in_nanoseconds("granted", span, lines);
        let strays = find(&capture, &StrayOptions::default());
        assert_eq!([0, 1].map(|line| strays.of_line(line).len()), [10, 20]);
        assert_eq!(of(&capture, &strays), []);
    }

    #[test]
    fn a_counter_that_strays_of_its_clock_step_is_not_struck() {
        let span = TimeSpan::new(Ticks(0), Ticks(4_100_000));
        let (mut lift, mut latch, mut count) = (Vec::new(), Vec::new(), Vec::new());
        for n in 0..200i64 {
            // LATCH rises by itself 90 after every fifth rise of LIFT, and is struck 12 after two of five others.
            let at = 20_000 * n + 5_000 + 37 * (n % 11);
            lift.extend([at, at + 4_000 + 53 * (n % 13)]);
            let is_struck = n % 5 == 1 || n % 5 == 3;
            let mut rises = Vec::new();
            if is_struck {
                latch.extend([at + 12, at + 36 + n % 7]);
                rises.push(at + 12);
            }
            if n % 5 == 0 || n % 10 == 3 {
                let late = if is_struck { 100 + 17 * (n % 9) } else { 90 };
                latch.extend([at + late, at + 9_000]);
                rises.push(at + late);
            }
            // COUNT toggles 20 after each rise of LATCH.
            count.extend(rises.iter().map(|t| t + 20 + n % 3));
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("LIFT", lift), line("LATCH", latch), line("COUNT", count)];
        let capture = Capture::in_nanoseconds("counted", span, lines);
        let (strays, attribution) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
        assert!(strays.of_line(2).is_empty(), "{:?}", strays.of_line(2));
        let victims: Vec<usize> = attribution.couplings.iter().map(|c| c.victim).collect();
        assert_eq!(victims, [1]);
        let own: Vec<_> = attribution.own.iter().map(|o| (o.line, o.to)).collect();
        assert!(!own.is_empty() && own.iter().all(|o| *o == (2, 1)), "{own:?}");
    }
}
