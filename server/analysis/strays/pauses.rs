//! Pauses between two short pulses, which are not strays of the level that they rest at.
//!
//! A line that rests low and sends a short pulse is struck soon before or after it: between the two it is low for a while, and
//! such pauses are as short as strays. But a stray interrupts what the line does, and a pulse that it interrupts shows on
//! either side, or on one. A pause is longer than the pulses on either side of it.

use crate::model::{Level, Pulse};

/// Share of a level's narrow pulses that are pauses, from which on they are none of its strays (common practice, no source).
const MOST: f64 = 0.5;

/// Whether most of the pulses of `level` below `limit` (ticks) are pauses between two shorter ones. Cost: linear in the pulses.
pub fn are_pauses(pulses: impl Iterator<Item = Pulse>, level: Level, limit: f64) -> bool {
    let (mut narrow, mut pauses) = (0usize, 0usize);
    let mut last: [Option<Pulse>; 2] = [None, None];
    for pulse in pulses {
        if let [before, Some(middle)] = &last {
            let is_narrow = middle.level == level && (middle.width().0 as f64) < limit;
            let is_shorter = |other: &Pulse| other.width() < middle.width();
            let is_pause = before.is_some_and(|b| b.end == middle.start && is_shorter(&b))
                && middle.end == pulse.start
                && is_shorter(&pulse);
            narrow += usize::from(is_narrow);
            pauses += usize::from(is_narrow && is_pause);
        }
        last = [last[1].take(), Some(pulse)];
    }
    pauses as f64 > MOST * narrow as f64
}

#[cfg(test)]
mod tests {
    use crate::analysis::strays::widths::infer;
    use crate::model::{Level, Pulse, Ticks};

    /// A line that rests low and sends 300 strobes of 32 or 34; after 18 of them comes a pause and a stray.
    #[test]
    fn pauses_between_a_strobe_and_a_stray_are_no_strays_of_the_other_level() {
        let mut pulses: Vec<Pulse> = Vec::new();
        let mut push = |level: Level, width: i64| {
            let (edge, start) = (pulses.len(), pulses.last().map_or(Ticks(0), |p| p.end));
            let end = Ticks(start.0 + width);
            pulses.push(Pulse {
                edge,
                start,
                end,
                level,
            });
        };
        for n in 0..300i64 {
            push(Level::High, 32 + n % 2 * 2);
            if n % 17 == 0 {
                push(Level::Low, 126 + n * 26 / 300);
                push(Level::High, 14 + n % 17 + n / 30);
            }
            push(Level::Low, 5_406 * (1 + n * n % 7) + n % 3);
        }
        let limit = infer(|| pulses.clone().into_iter(), 2.0, 1.0);
        assert_eq!(limit.low, None);
        assert!(limit.high.is_none_or(|high| high <= 32.0), "{limit:?}");
    }
}
