//! What is there, line by line, without analysis.

use crate::model::{Capture, Level, Line, StretchKind, Ticks};
use crate::report::CaptureRow;
use crate::report::lines::{LineRow, LinesReport, SCHEMA};

/// The `lines` report of captures, each on its own clock. Cost: linear in edges, lines shared out over the cores.
pub fn lines_report(captures: &[Capture]) -> LinesReport {
    let jobs: Vec<(&Capture, &Line)> = captures
        .iter()
        .flat_map(|c| c.lines.iter().map(move |l| (c, l)))
        .collect();
    LinesReport {
        schema: SCHEMA.to_owned(),
        captures: captures.iter().map(|c| capture_row(c, 0.0, 0.0)).collect(),
        lines: super::on_all_cores(&jobs, |(capture, line)| line_row(capture, line)),
    }
}

/// One file as the report names it; the clock relation is to the first capture.
pub fn capture_row(capture: &Capture, offset_s: f64, drift_ppm: f64) -> CaptureRow {
    CaptureRow {
        file: capture.file.clone(),
        format: capture.format.word().to_owned(),
        start_s: capture.seconds(capture.span.start),
        end_s: capture.seconds(capture.span.end),
        resolution_s: capture.timebase.length_s(capture.resolution_ticks),
        offset_s,
        drift_ppm,
        warnings: capture.warnings.iter().map(|w| w.text.clone()).collect(),
    }
}

fn line_row(capture: &Capture, line: &Line) -> LineRow {
    let times = Times::of(line);
    let seconds = |ticks: Ticks| capture.timebase.length_s(ticks.0 as f64);
    LineRow {
        line: line.name.clone(),
        capture: capture.file.clone(),
        source: line.source,
        edges: line.edges.len() as u64,
        first_level: line.level_at(line.span.start).word().to_owned(),
        low_s: seconds(times.low),
        high_s: seconds(times.high),
        unknown_s: seconds(times.unknown),
        floating_s: seconds(times.floating),
        shortest_s: times.shortest.map(seconds),
        longest_s: times.longest.map(seconds),
    }
}

/// How long a line was at each level, and its shortest and longest pulse, in ticks.
#[derive(Debug, Default, PartialEq, Eq)]
struct Times {
    low: Ticks,
    high: Ticks,
    unknown: Ticks,
    floating: Ticks,
    shortest: Option<Ticks>,
    longest: Option<Ticks>,
}

impl Times {
    fn of(line: &Line) -> Times {
        let mut times = Times::default();
        for segment in line.segments() {
            let edges = &line.edges[segment.edges.clone()];
            // `phase[0]` gathers the level before the first edge, `phase[1]` the other one.
            let mut phase = [Ticks::ZERO; 2];
            let (mut shortest, mut longest) = (Ticks::MAX, Ticks::MIN);
            let mut before = segment.span.start;
            for (i, &edge) in edges.iter().enumerate() {
                let width = edge - before;
                phase[i & 1] += width;
                if i > 0 {
                    shortest = shortest.min(width);
                    longest = longest.max(width);
                }
                before = edge;
            }
            phase[edges.len() & 1] += segment.span.end - before;
            let [first, other] = phase;
            let (low, high) = if segment.first == Level::Low {
                (first, other)
            } else {
                (other, first)
            };
            times.low += low;
            times.high += high;
            if edges.len() > 1 {
                times.shortest = Some(times.shortest.map_or(shortest, |s| s.min(shortest)));
                times.longest = Some(times.longest.map_or(longest, |l| l.max(longest)));
            }
        }
        times.take_out_stretches(line);
        times
    }

    /// Moves the time of unknown and floating stretches from the level before them to where it belongs.
    fn take_out_stretches(&mut self, line: &Line) {
        for stretch in &line.stretches {
            let length = stretch.span.length();
            match stretch.kind {
                StretchKind::Unrecorded => continue,
                StretchKind::Unknown => self.unknown += length,
                StretchKind::Floating => self.floating += length,
            }
            match line.known_level_at(stretch.span.start) {
                Level::Low => self.low += -length,
                Level::High => self.high += -length,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Stretch, TimeSpan};

    fn span(start: i64, end: i64) -> TimeSpan {
        TimeSpan::new(Ticks(start), Ticks(end))
    }

    #[test]
    fn levels_and_stretches_add_up_to_the_recorded_time() {
        let edges = [10, 20, 60, 75].map(Ticks).to_vec();
        let mut line = Line::digital("A", Level::Low, edges, span(0, 100));
        line.stretches = vec![
            Stretch {
                span: span(0, 4),
                kind: StretchKind::Unknown,
            },
            Stretch {
                span: span(25, 30),
                kind: StretchKind::Floating,
            },
            Stretch {
                span: span(40, 50),
                kind: StretchKind::Unrecorded,
            },
        ];
        let times = Times::of(&line);
        assert_eq!(times.unknown, Ticks(4));
        assert_eq!(times.floating, Ticks(5));
        assert_eq!(times.high, Ticks(25));
        assert_eq!(times.low, Ticks(100 - 10 - 25 - 4 - 5));
        assert_eq!(
            (times.shortest, times.longest),
            (Some(Ticks(10)), Some(Ticks(15)))
        );
    }

    #[test]
    fn a_line_without_any_level_is_unknown_throughout() {
        let mut line = Line::digital("A", Level::Unknown, vec![], span(0, 100));
        line.stretches = vec![Stretch {
            span: span(0, 100),
            kind: StretchKind::Unknown,
        }];
        let times = Times::of(&line);
        assert_eq!(
            (times.unknown, times.low, times.high),
            (Ticks(100), Ticks(0), Ticks(0))
        );
    }
}
