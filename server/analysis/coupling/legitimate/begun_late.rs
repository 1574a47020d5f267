//! Short pulses that begin as the line's long ones do, later after the same edges than a coupling acts.
//!
//! A strobe may begin up to microseconds after the clock that steps its sequencer. No coupling is put down to that clock, so
//! [`super::own`] does not ask it. Where the short pulses of a level and the long ones begin at one moment after the same edges, and
//! no other line is accused of the short ones, they are the line's job as well.

use super::own::{self, FEWEST as FEWEST_LONG, Own, SHIFT_S};
use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::coupling::verdict::one_lag::rank_sum;
use crate::analysis::coupling::{Attribution, LONGEST_LAG_S};
use crate::analysis::parallel::on_all_cores;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{LimitOrigin, StrayKind, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// Strobes begin no later after what steps their sequencer (common practice, no source).
const LATEST_S: f64 = 2e-6;
/// Short pulses at least.
const FEWEST: usize = 8;
/// Share of the short pulses, and of the long ones, that begin at that moment.
const MOST: f64 = 0.9;
const MOST_LONG: f64 = 0.8;
/// A larger share of the level's strays put down to other lines are a coupling's.
const MOST_CAUSED: f64 = 0.2;
/// Chance that so many begin so, for all lines and moments.
const CHANCE: f64 = 1e-6;
/// Chance at or below which the moments of short and of long pulses are two, where sampling blurs them.
const DIFFER: f64 = 1e-3;

/// The short pulses that begin so. Cost: linear in the strays; for levels with enough of them, their pulses × log of the edges of each
/// other line. All cores.
pub(in crate::analysis::coupling) fn of(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
) -> Vec<Own> {
    let lines = 0..capture.lines.len();
    let levels: Vec<(usize, Level)> = lines
        .flat_map(|line| [(line, Level::Low), (line, Level::High)])
        .collect();
    let found = on_all_cores(&levels, |&(line, level)| {
        of_level(capture, strays, attribution, line, level)
    });
    found.into_iter().flatten().collect()
}

fn of_level(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    line: usize,
    level: Level,
) -> Option<Own> {
    let limits = &strays.limits[line];
    let limit = limits
        .of(level)
        .filter(|_| limits.origin == LimitOrigin::Inferred)?;
    let from = strays.strays.partition_point(|s| s.line < line);
    let of_level = strays.of_line(line).iter().enumerate();
    let of_level = of_level.filter(|(_, s)| s.level == level && s.kind == StrayKind::Pulse);
    let (mut short, mut widths, mut caused) = (Vec::new(), Vec::new(), Vec::new());
    for (at, stray) in of_level {
        short.push(stray.start.0);
        widths.push(stray.width.0);
        let cause = attribution.causes.get(from + at).copied().flatten();
        caused.extend(cause.map(|cause| attribution.couplings[cause.coupling].aggressor));
    }
    widths.sort_unstable();
    let is_struck = |to: usize| {
        let by_others = caused.iter().filter(|&&aggressor| aggressor != to).count();
        by_others as f64 > MOST_CAUSED * short.len() as f64
    };
    if short.len() < FEWEST || !own::are_of_use(capture, strays.sampling[line], &widths) {
        return None;
    }
    let pulses = capture.lines[line].pulses();
    let is_long = |p: &crate::model::Pulse| p.level == level && p.width().0 as f64 >= limit;
    let long: Vec<i64> = pulses.filter(is_long).map(|p| p.start.0).collect();
    if (long.len() as u64) < FEWEST_LONG {
        return None;
    }
    let others = (0..capture.lines.len()).filter(|&o| o != line && capture.lines[o].same_as.is_none());
    let mut asked = others.flat_map(|other| [(other, Polarity::Rise), (other, Polarity::Fall)]);
    asked.find_map(|(to, polarity)| {
        if is_struck(to) {
            return None;
        }
        let sampling = strays.sampling[line].max(strays.sampling[to]);
        let shift = capture.timebase.ticks_of(SHIFT_S);
        let steady = (shift + 2.0 * sampling).ceil() as i64;
        let record = &capture.lines[to];
        let latest = capture.timebase.ticks_of(LATEST_S) as i64;
        let moments = |starts: &[i64]| -> Vec<i64> {
            let mut moments: Vec<i64> = starts
                .iter()
                .filter_map(|&start| since_last(record, polarity, start))
                .filter(|&since| since <= latest)
                .collect();
            moments.sort_unstable();
            moments
        };
        let of_short = moments(&short);
        let together = crowd(&of_short, steady);
        let of_short = &of_short[together];
        let (&least, &most) = (of_short.first()?, of_short.last()?);
        if (of_short.len() as f64) < MOST * short.len() as f64
            || (least as f64) < capture.timebase.ticks_of(LONGEST_LAG_S)
        {
            return None;
        }
        let of_long = moments(&long);
        let slack = sampling.ceil() as i64 + shift.ceil() as i64;
        let so: Vec<f64> = of_long
            .iter()
            .filter(|&&since| (least - slack..=most + slack).contains(&since))
            .map(|&since| since as f64)
            .collect();
        if (so.len() as f64) < MOST_LONG * long.len() as f64 {
            return None;
        }
        let of_short: Vec<f64> = of_short.iter().map(|&since| since as f64).collect();
        let are_two = (mean(&of_short) - mean(&so)).abs() > shift
            || sampling > shift && rank_sum(&of_short, &so) <= DIFFER;
        let window = (most - least + 2 * slack + 1) as f64;
        let whole = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
        let chance = (record.edges.len() as f64 * window / whole).min(1.0);
        let (all, begun) = (
            (short.len() + long.len()) as u64,
            (of_short.len() + so.len()) as u64,
        );
        (!are_two && binomial_upper(begun, all, chance) < CHANCE).then(|| Own {
            line,
            level,
            to,
            edge: polarity.into(),
            short: of_short.len() as u64,
            long: so.len() as u64,
            of_long: long.len() as u64,
            lags: (least, most),
            limit,
        })
    })
}

/// How long before `time` the last edge of that polarity came, in ticks.
fn since_last(record: &Line, polarity: Polarity, time: i64) -> Option<i64> {
    let to = record.edges.partition_point(|e| e.0 <= time);
    let last = (to.saturating_sub(2)..to).rev();
    let mut of_kind = last.filter(|&e| record.polarity(e) == polarity);
    of_kind.next().map(|e| time - record.edges[e].0)
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    /// STEP_CLK rises every 5,000 ticks; 400 ticks after two of five rises TICK_STB goes high, for 50 to 70 ticks or, one time of
    /// seven, for 1,900; the short ones `late` ticks later.
    fn judged(late: i64) -> (usize, usize) {
        let span = TimeSpan::new(Ticks(0), Ticks(5_010_000));
        let (mut clock, mut strobe) = (Vec::new(), Vec::new());
        for n in 0..1_000i64 {
            let at = 5_000 * n + 3_000;
            clock.extend([at, at + 2_500]);
            if n * 7_919 % 101 % 5 < 2 {
                let (start, is_long) = (at + 400 + n % 2, n % 7 == 0);
                strobe.extend(match is_long {
                    true => [start, start + 1_900 + n % 2],
                    false => [start + late, start + late + 50 + n * 37 % 21],
                });
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("STEP_CLK", clock), line("TICK_STB", strobe)];
        let capture = Capture::in_nanoseconds("strobes", span, lines);
        let (strays, attribution) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
        (strays.of_line(1).len(), attribution.own.len())
    }

    #[test]
    fn short_pulses_that_begin_with_the_long_ones_long_after_their_clock_are_the_line_s_own() {
        assert_eq!(judged(0), (0, 1));
        // At a time of their own they are somebody's.
        let (strays, own) = judged(40);
        assert!(strays > 300 && own == 0, "{strays} {own}");
    }
}
