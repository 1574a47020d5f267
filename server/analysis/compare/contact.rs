//! Counting contact bounce by a definition that holds on both sides.

use super::Counts;
use crate::analysis::strays::Burst;
use crate::model::Capture;

/// A switching with fewer edges than this within the pause did not bounce.
const FEWEST_EDGES: usize = 3;
/// Rests are at least four times the pauses inside a burst (`strays::bounce`): twice the longest lies between.
const PAUSES: f64 = 2.0;

/// The pause in seconds that parts one switching from the next, from the bursts of one line in one capture; `None`
/// without a burst.
pub fn parting_pause_s(capture: &Capture, line: usize, bursts: &[Burst]) -> Option<f64> {
    let edges = &capture.lines[line].edges;
    let inside = bursts.iter().filter(|b| b.line == line).flat_map(|b| {
        let pauses = edges[b.edges.clone()].windows(2);
        pauses.map(|pair| (pair[1] - pair[0]).0)
    });
    inside
        .max()
        .map(|longest| PAUSES * capture.timebase.length_s(longest as f64))
}

/// Switchings of `line` that bounced, of all its switchings: edges closer together than `pause_s` are one, unless the line
/// ends where it began: that is a dip, as a neighbour brings it, and no switching. The same on both sides, whether or not the
/// bounce of a capture stands out by itself. Cost: linear in the line's edges.
pub fn count_bounces(capture: &Capture, line: usize, pause_s: f64) -> Counts {
    let line = &capture.lines[line];
    let pause = capture.timebase.ticks_of(pause_s).max(1.0) as i64;
    let mut counts = Counts::default();
    for segment in line.segments() {
        let edges = &line.edges[segment.edges];
        let groups = edges.chunk_by(|a, b| (*b - *a).0 <= pause);
        for switching in groups.filter(|group| group.len() % 2 == 1) {
            counts += Counts {
                strays: u64::from(switching.len() >= FEWEST_EDGES),
                opportunities: 1,
            };
        }
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Format, Level, Line, Ticks, TimeSpan, Timebase};

    #[test]
    fn a_switching_is_counted_once_however_often_it_bounces() {
        let span = TimeSpan::new(Ticks(0), Ticks(100_000));
        // Three clean switchings, one of three edges, one of five, and two dips, one of them double; microseconds.
        let times = [
            1000, 5000, 9000, 20_000, 20_040, 20_100, 60_000, 60_010, 60_100, 60_150, 60_180, 80_000, 80_001,
            90_000, 90_001, 90_100, 90_101,
        ];
        let edges = times.iter().map(|&t| Ticks(t)).collect();
        let capture = Capture {
            file: "contact.vcd".to_owned(),
            format: Format::Vcd,
            timebase: Timebase::decimal(-6),
            span,
            resolution_ticks: 1.0,
            lines: vec![Line::digital("PLAY", Level::High, edges, span)],
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        };
        let bursts = [Burst {
            line: 0,
            edges: 6..11,
            start: Ticks(60_000),
            end: Ticks(60_180),
            settled: Level::Low,
        }];
        let pause = parting_pause_s(&capture, 0, &bursts).unwrap();
        assert!((pause - 180e-6).abs() < 1e-12);
        let counts = count_bounces(&capture, 0, pause);
        assert_eq!((counts.strays, counts.opportunities), (2, 5));
        assert_eq!(parting_pause_s(&capture, 0, &[]), None);
    }
}
