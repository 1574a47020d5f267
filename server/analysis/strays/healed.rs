//! A line with the strays of one level taken out, so that those of the other are seen.
//!
//! Strays on one level cut the pulses of the other into pieces of all widths: a dip every few microseconds makes short
//! rests of long ones, a blip in the middle of a pulse makes two shorter pulses. Among such pieces no gap tells what is
//! narrow. Joined over the strays of the level that is known, the line shows the pulses that its own logic drove.

use crate::model::{Level, Pulse};

/// Widths of the pulses of the other level, ascending, once those of `level` that are shorter than `limit` are taken out
/// and what they part is joined. Both in ticks. Cost: linear in pulses, and a sort of what is left.
pub fn widths(pulses: impl Iterator<Item = Pulse>, level: Level, limit: f64) -> Vec<f64> {
    let mut widths: Vec<f64> = Vec::new();
    // Start and end of what was joined so far.
    let mut open: Option<(i64, i64)> = None;
    // A stray after it, which joins it to what follows.
    let mut bridge: Option<i64> = None;
    for pulse in pulses {
        let (start, end) = (pulse.start.0, pulse.end.0);
        if pulse.level == level {
            let follows = open.is_some_and(|(_, last)| last == start);
            let narrow = ((end - start) as f64) < limit;
            bridge = (follows && narrow).then_some(end);
            continue;
        }
        open = match open {
            Some((first, _)) if bridge == Some(start) => Some((first, end)),
            Some((first, last)) => {
                widths.push((last - first) as f64);
                Some((start, end))
            }
            None => Some((start, end)),
        };
        bridge = None;
    }
    widths.extend(open.map(|(first, last)| (last - first) as f64));
    widths.sort_unstable_by(f64::total_cmp);
    widths
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::widths::infer;
    use crate::model::Ticks;

    /// A line that rests low; `high`: start and width of each pulse. `strays`: starts of strays of 30 to 49 ticks.
    fn struck(high: &[(i64, i64)], strays: &[i64]) -> Vec<Pulse> {
        let mut edges: Vec<i64> = high.iter().flat_map(|&(at, width)| [at, at + width]).collect();
        edges.extend(strays.iter().flat_map(|&at| [at, at + 30 + at % 20]));
        edges.sort_unstable();
        let pulse = |(edge, pair): (usize, &[i64])| Pulse {
            edge,
            start: Ticks(pair[0]),
            end: Ticks(pair[1]),
            level: if edge % 2 == 0 { Level::High } else { Level::Low },
        };
        edges.windows(2).enumerate().map(pulse).collect()
    }

    #[test]
    fn strays_of_one_level_do_not_hide_those_of_the_other() {
        // 60 pulses of 4,000 ticks, each of which a dip cuts somewhere, and 300 blips between them.
        let high: Vec<(i64, i64)> = (0..60).map(|n| (20_000 * n, 4_000)).collect();
        let dips = high.iter().enumerate().map(|(n, p)| p.0 + 52 + (n * n) as i64);
        let blips = (0..300)
            .map(|n| 4_000 * n + 4_000 + 611 * n % 1_900)
            .filter(|t| t % 20_000 > 4_200);
        let strays: Vec<i64> = dips.chain(blips).collect();
        let pulses = struck(&high, &strays);
        let limit = infer(|| pulses.iter().copied(), 0.0, 1.0);
        let between = |limit: Option<f64>| limit.is_some_and(|l| l > 49.0 && l < 1_000.0);
        assert!(between(limit.high) && between(limit.low), "{limit:?}");
    }

    #[test]
    fn what_strays_part_is_joined_and_what_is_legitimate_stays_parted() {
        // High 100, a dip of 10, high 50, low 400, high 70, a gap in the record, a dip of 10, high 30.
        let of = |edge, start, end, level| Pulse {
            edge,
            start: Ticks(start),
            end: Ticks(end),
            level,
        };
        let line = [
            of(0, 0, 100, Level::High),
            of(1, 100, 110, Level::Low),
            of(2, 110, 160, Level::High),
            of(3, 160, 560, Level::Low),
            of(4, 560, 630, Level::High),
            of(5, 900, 910, Level::Low),
            of(6, 910, 940, Level::High),
        ];
        assert_eq!(widths(line.into_iter(), Level::Low, 20.0), [30.0, 70.0, 160.0]);
        assert_eq!(
            widths(line.into_iter(), Level::Low, 5.0),
            [30.0, 50.0, 70.0, 100.0]
        );
        assert_eq!(widths(line.into_iter(), Level::High, 60.0), [10.0, 460.0]);
    }
}
