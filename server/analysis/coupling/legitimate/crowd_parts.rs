//! The shorter part of a crowd of short pulses, where a gap parts it from the rest.
//!
//! A line with short pulses of its own may be struck as well. Where its strays are shorter still and a gap shows between, they
//! are looked at by themselves: if they follow another line than the longer ones do, that is told. Nobody is accused, for
//! a second part that drives the line would do so as well.

use super::USEFUL_S;
use super::crowds::{Crowd, MOST, Unsure};
use crate::analysis::coupling::{Coupling, CouplingOptions, attribute};
use crate::analysis::stats::order::at_shares;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Polarity, Pulse};

/// Fewer pulses are no part of a crowd, and one is parted from the rest by at least this ratio of widths.
const FEWEST_PART: usize = 5;
const GAP: f64 = 1.2;

impl Crowd {
    /// The crowd's shorter part (`widths` of all of it, ascending; `short` likewise, by time), where a gap of more than
    /// sampling parts it from the longer pulses: too short for a job, and fewer than those.
    pub(super) fn shorter_part(
        &self,
        capture: &Capture,
        widths: &[i64],
        short: &[Pulse],
        sampling: f64,
    ) -> Option<Crowd> {
        let useless = capture.timebase.ticks_of(USEFUL_S);
        let is_gap = |&count: &usize| {
            let (longest, next) = (widths[count - 1] as f64, widths[count] as f64);
            next - longest >= 1.9 * sampling.max(1.0) && next >= GAP * longest && longest <= useless
        };
        let count = (FEWEST_PART..widths.len() / 2)
            .filter(is_gap)
            .max_by_key(|&count| widths[count] - widths[count - 1])?;
        let longest = widths[count - 1];
        Some(Crowd {
            limit: ((longest * widths[count]) as f64).sqrt(),
            is_part: true,
            starts: short
                .iter()
                .filter(|p| p.width().0 <= longest)
                .map(|p| p.start.0)
                .collect(),
            ..Crowd::of((self.line, self.level), &widths[..count], self.of, 0.0)
        })
    }
}

/// Followers on either side of a gap, at least; the share of the shorter ones that one edge brings, and the most that it brings of
/// the longer.
const FEWEST_BESIDE: usize = 8;
const ONE_CAUSE: f64 = 0.9;
const OF_LONGER: f64 = 0.5;
/// A job's pulses agree: the ninth tenth beyond the first, as a share of the middle.
const AGREE: f64 = 0.5;

/// A limit between pulses that one edge brings and longer ones, long enough for a job and alike, that mostly another brings: these
/// are the line's own. `rows`: what the crowd follows. In ticks; none where no such gap shows.
pub(super) fn below_own(
    capture: &Capture,
    strays: &Strays,
    crowd: &Crowd,
    rows: &[&Coupling],
) -> Option<f64> {
    let sampling = strays.sampling[crowd.line].max(1.0);
    let useless = capture.timebase.ticks_of(USEFUL_S);
    let mut followers: Vec<(i64, (usize, Polarity))> = rows
        .iter()
        .flat_map(|row| row.occurrences.iter().map(|o| (o, row.aggressor)))
        .filter(|(o, _)| strays.strays[o.stray].level == crowd.level)
        .map(|(o, aggressor)| (strays.strays[o.stray].width.0, (aggressor, o.polarity)))
        .collect();
    followers.sort_unstable();
    let is_gap = |&count: &usize| {
        let (longest, next) = (followers[count - 1].0 as f64, followers[count].0 as f64);
        next - longest >= 1.9 * sampling && next >= GAP * longest && next >= useless
    };
    let parts_own = |&count: &usize| {
        let (below, above) = followers.split_at(count);
        let are_alike = at_shares(above, [0.1, 0.5, 0.9])
            .is_some_and(|[first, middle, last]| (last.0 - first.0) as f64 <= AGREE * middle.0 as f64);
        let cause = most_common(below);
        let of_cause = |part: &[(i64, (usize, Polarity))]| {
            part.iter().filter(|(_, by)| Some(*by) == cause).count() as f64 / part.len() as f64
        };
        are_alike && of_cause(below) >= ONE_CAUSE && of_cause(above) <= OF_LONGER
    };
    let most = followers.len().saturating_sub(FEWEST_BESIDE);
    let ratio = |count: usize| followers[count].0 as f64 / followers[count - 1].0.max(1) as f64;
    let count = (FEWEST_BESIDE..=most)
        .filter(is_gap)
        .filter(parts_own)
        .max_by(|&a, &b| ratio(a).total_cmp(&ratio(b)))?;
    Some(((followers[count - 1].0 * followers[count].0) as f64).sqrt())
}

/// What brings most of these.
fn most_common(part: &[(i64, (usize, Polarity))]) -> Option<(usize, Polarity)> {
    let mut counts: std::collections::BTreeMap<(usize, Polarity), usize> = Default::default();
    part.iter()
        .for_each(|(_, by)| *counts.entry(*by).or_default() += 1);
    counts
        .into_iter()
        .max_by_key(|(_, count)| *count)
        .map(|(by, _)| by)
}

/// Adds to `unsure` the parts that follow another line than the crowd they are a part of. `tentative`: the strays that there
/// are if crowds are. Cost: that of attributing the parts.
pub fn settle(
    capture: &Capture,
    tentative: &Strays,
    parts: Vec<Crowd>,
    coupling: &CouplingOptions,
    unsure: &mut Vec<Unsure>,
) {
    for part in parts {
        let is_whole = |u: &&Unsure| (u.crowd.line, u.crowd.level) == (part.line, part.level);
        let whole = unsure.iter().find(is_whole).and_then(|u| u.follows);
        let Some((of_whole, ..)) = whole else {
            continue;
        };
        // By themselves: what the longer pulses follow would take the shorter ones along.
        let mut alone = tentative.clone();
        let is_of = |s: &Stray| (s.line, s.level) == (part.line, part.level) && s.width.0 <= part.widths[2];
        alone.strays.retain(is_of);
        let attribution = attribute(capture, &alone, coupling);
        let rows = attribution.couplings.iter().filter(|c| c.victim == part.line);
        let Some(first) = rows.max_by_key(|row| row.strays) else {
            continue;
        };
        let enough = first.strays >= FEWEST_PART as u64 && first.strays as f64 >= MOST * part.pulses as f64;
        if enough && first.aggressor != of_whole {
            unsure.push(Unsure {
                whole: false,
                follows: Some((first.aggressor, first.edge, first.strays, first.opportunities)),
                crowd: part,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// Widths and limit of the shorter part of pulses so wide, sampled every 4 ns.
    fn part(widths: &[i64]) -> Option<([i64; 3], u64, i64)> {
        let capture = Capture::in_nanoseconds("parts", TimeSpan::new(Ticks(0), Ticks(100_000)), Vec::new());
        let short: Vec<Pulse> = (0..)
            .zip(widths)
            .map(|(n, &width)| Pulse {
                edge: 2 * n,
                start: Ticks(1_000 * n as i64),
                end: Ticks(1_000 * n as i64 + width),
                level: Level::High,
            })
            .collect();
        let whole = Crowd::of((0, Level::High), widths, widths.len() as u64, 201.0);
        let part = whole.shorter_part(&capture, widths, &short, 4.0)?;
        assert_eq!(part.starts.len() as u64, part.pulses);
        Some((part.widths, part.pulses, part.limit as i64))
    }

    #[test]
    fn a_gap_of_more_than_sampling_parts_what_is_too_short_for_a_job() {
        let widths = |short: &[i64], long: i64| -> Vec<i64> {
            let own = (0..20).map(|n| long + 4 * (n / 10));
            short.iter().copied().chain(own).collect()
        };
        let found = part(&widths(&[20, 20, 20, 24, 24, 24], 44));
        assert_eq!(found, Some(([20, 20, 24], 6, 32)));
        // Four make no part, one sample is no gap, and 40 ns are of use.
        assert_eq!(part(&widths(&[20, 20, 24, 24], 44)), None);
        assert_eq!(part(&widths(&[20, 20, 20, 24, 24, 24], 28)), None);
        assert_eq!(part(&widths(&[40, 40, 40, 40, 40, 40], 80)), None);
    }

    /// STEP's falls strike PULSE, 24 to 38 ticks wide, more often than its rises bring strobes of PULSE's own, 56 to 70 ticks wide.
    #[test]
    fn below_strobes_that_another_edge_brings_strays_are_told_though_they_are_more() {
        let span = TimeSpan::new(Ticks(0), Ticks(9_100_000));
        let (mut step, mut pulse) = (Vec::new(), Vec::new());
        for n in 0..300i64 {
            let at = 30_000 * n + 97 * (n % 7) + 5_000;
            let fall = at + 9_000 + 31 * (n % 5);
            step.extend([at, fall]);
            match n * 7_919 % 101 % 4 {
                0 => pulse.extend([at + 25, at + 81 + n * 7 % 15]),
                1 | 2 => pulse.extend([fall + 12, fall + 36 + n * 7 % 15]),
                _ => {}
            }
        }
        let struck = pulse.chunks(2).filter(|p| p[1] - p[0] < 45).count();
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("STEP", step), line("PULSE", pulse)];
        let capture = Capture::in_nanoseconds("strobes", span, lines);
        let (strays, _) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
        assert_eq!(strays.of_line(1).len(), struck);
    }
}
