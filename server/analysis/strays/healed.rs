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
    use crate::model::Ticks;

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
        assert_eq!(widths(line.into_iter(), Level::High, 60.0), [10.0, 10.0, 410.0]);
    }
}
