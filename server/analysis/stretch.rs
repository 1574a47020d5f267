//! What a line did over a chosen stretch: edges, pulses, rate, duty, the shortest and the longest.
//!
//! A pulse counts when both its edges lie in the stretch and its level was known all the while; so does a period
//! (rise to rise). Time at a level is cut at the stretch's ends.

use crate::model::{Level, Line, Polarity, Ticks};

/// A width and where it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Width {
    pub start: Ticks,
    /// How wide, in ticks.
    pub ticks: i64,
}

/// Pulses of one level.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Pulses {
    /// Whole pulses: those that begin and end inside.
    pub count: u64,
    pub shortest: Option<Width>,
    pub longest: Option<Width>,
    /// Time at this level, cut at the stretch's ends.
    pub time: i64,
}

/// What a line did over a stretch. Times in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Edges inside, and the rises and falls among them.
    pub edges: u64,
    pub rises: u64,
    pub falls: u64,
    pub high: Pulses,
    pub low: Pulses,
    /// Number of whole periods (rise to rise, nothing unknown between), and their sum, shortest and longest.
    pub periods: u64,
    pub period_time: i64,
    pub shortest_period: Option<Width>,
    pub longest_period: Option<Width>,
}

impl Stretch {
    /// Share of the time with a known level that the line was high; `None` when no level was known.
    pub fn duty(&self) -> Option<f64> {
        let known = self.high.time + self.low.time;
        (known > 0).then(|| self.high.time as f64 / known as f64)
    }
}

/// Measures `line` from `start` (closed) to `end` (open). Cost: linear in the edges inside.
pub fn measure(line: &Line, start: Ticks, end: Ticks) -> Stretch {
    let mut found = Stretch::default();
    if line.first == Level::Unknown || end <= start {
        return found;
    }
    let inside = line.edges_within(start, end);
    let mut since = start.max(line.span.start);
    let mut level = line.known_level_at(Ticks(since.0.saturating_sub(1)));
    // Edges before this one are no start of a pulse: nothing is known of what came before.
    let mut previous: Option<Ticks> = None;
    let mut rise: Option<Ticks> = None;
    for index in inside {
        let time = line.edges[index];
        let after = line.level_after(index);
        found.edges += 1;
        let is_known = !line.is_blind(since, time);
        spend(&mut found, level, known_time(line, since, time));
        if !is_known {
            (previous, rise) = (None, None);
        }
        if let Some(previous) = previous {
            let width = Width {
                start: previous,
                ticks: (time - previous).0,
            };
            let pulses = if after == Level::Low {
                &mut found.high
            } else {
                &mut found.low
            };
            pulses.count += 1;
            extremes(&mut pulses.shortest, &mut pulses.longest, width);
        }
        match Polarity::towards(after) {
            Some(Polarity::Rise) => {
                found.rises += 1;
                if let Some(rise) = rise {
                    let period = Width {
                        start: rise,
                        ticks: (time - rise).0,
                    };
                    found.periods += 1;
                    found.period_time += period.ticks;
                    extremes(&mut found.shortest_period, &mut found.longest_period, period);
                }
                rise = Some(time);
            }
            _ => found.falls += 1,
        }
        (previous, since, level) = (Some(time), time, after);
    }
    let end = end.min(line.span.end + Ticks(1));
    if end > since {
        // A leap out of an unrecorded stretch may lie behind the last edge.
        let flip = line.flips.iter().rfind(|&&flip| since < flip && flip < end);
        match flip {
            Some(&flip) => {
                spend(&mut found, level, known_time(line, since, flip));
                spend(&mut found, line.known_level_at(flip), known_time(line, flip, end));
            }
            None => spend(&mut found, level, known_time(line, since, end)),
        }
    }
    found
}

fn spend(found: &mut Stretch, level: Level, time: i64) {
    match level {
        Level::High => found.high.time += time,
        Level::Low => found.low.time += time,
        _ => {}
    }
}

fn extremes(shortest: &mut Option<Width>, longest: &mut Option<Width>, width: Width) {
    if shortest.is_none_or(|least| width.ticks < least.ticks) {
        *shortest = Some(width);
    }
    if longest.is_none_or(|most| width.ticks > most.ticks) {
        *longest = Some(width);
    }
}

/// Ticks between `start` and `end` with a known level.
fn known_time(line: &Line, start: Ticks, end: Ticks) -> i64 {
    let from = line.stretches.partition_point(|s| s.span.end <= start);
    let blind = line.stretches[from..].iter().take_while(|s| s.span.start < end);
    let lost: i64 = blind
        .map(|s| (s.span.end.min(end) - s.span.start.max(start)).0)
        .sum();
    (end - start).0 - lost
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{StretchKind, TimeSpan};

    fn line(times: &[i64]) -> Line {
        let span = TimeSpan::new(Ticks(0), Ticks(1000));
        Line::digital("A", Level::Low, times.iter().map(|&t| Ticks(t)).collect(), span)
    }

    #[test]
    fn a_clock_is_measured() {
        // Three periods of 100 ticks, high for 30 of them: rate and duty by hand.
        let line = line(&[100, 130, 200, 230, 300, 330, 400, 430]);
        let found = measure(&line, Ticks(100), Ticks(500));
        assert_eq!((found.edges, found.rises, found.falls), (8, 4, 4));
        assert_eq!((found.high.count, found.low.count, found.periods), (4, 3, 3));
        assert_eq!((found.high.time, found.low.time), (120, 280));
        assert_eq!(found.duty(), Some(0.3));
        assert_eq!(found.period_time, 300);
        assert_eq!(found.low.longest.map(|w| (w.start.0, w.ticks)), Some((130, 70)));
    }

    #[test]
    fn the_stretch_s_ends_cut_pulses_and_time() {
        let line = line(&[100, 200, 300, 400]);
        let found = measure(&line, Ticks(150), Ticks(350));
        assert_eq!((found.edges, found.high.count, found.low.count), (2, 0, 1));
        assert_eq!((found.high.time, found.low.time), (100, 100));
        assert_eq!(measure(&line, Ticks(110), Ticks(120)).duty(), Some(1.0));
        assert_eq!(measure(&line, Ticks(120), Ticks(110)), Stretch::default());
    }

    #[test]
    fn nothing_is_measured_through_an_unknown_level() {
        let mut line = line(&[100, 200, 300, 400]);
        line.stretches.push(crate::model::Stretch {
            span: TimeSpan::new(Ticks(210), Ticks(260)),
            kind: StretchKind::Unknown,
        });
        let found = measure(&line, Ticks(0), Ticks(500));
        assert_eq!((found.high.count, found.low.count, found.periods), (2, 0, 0));
        assert_eq!((found.high.time, found.low.time), (200, 250));
    }

    #[test]
    fn a_leap_over_an_unrecorded_stretch_is_honoured() {
        let mut line = line(&[100, 200]);
        line.stretches.push(crate::model::Stretch {
            span: TimeSpan::new(Ticks(300), Ticks(400)),
            kind: StretchKind::Unrecorded,
        });
        line.flips.push(Ticks(400));
        let found = measure(&line, Ticks(0), Ticks(500));
        assert_eq!((found.high.time, found.low.time), (200, 200));
    }
}
