//! The shorter part of a crowd of short pulses, where a gap parts it from the rest.
//!
//! A line with short pulses of its own may be struck as well. Where its strays are shorter still and a gap shows between, they
//! are looked at by themselves: if they follow another line than the longer ones do, that is told. Nobody is accused, for
//! a second part that drives the line would do so as well.

use super::crowds::{Crowd, MOST, USELESS_S, Unsure};
use super::{CouplingOptions, attribute};
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Pulse};

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
        let useless = capture.timebase.ticks_of(USELESS_S);
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
    use crate::model::{Level, Ticks, TimeSpan};

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
}
