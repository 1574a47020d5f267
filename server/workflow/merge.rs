//! Captures of several instruments → one capture on the first one's clock.
//!
//! The common tick is a power-of-two fraction of the first capture's, so that its own times stay exact to the
//! last digit and the others' are rounded to far less than any sample. Lines keep their own span, sampling
//! period and stamps: an edge of a sampled line still stands at the first sample that shows it.

use std::collections::{BTreeMap, HashMap};

use crate::analysis::align::{Alignment, with_steps};
use crate::model::{Capture, Judged, Line, Runt, Stretch, Ticks, TimeSpan, Timebase, TraceSamples, Warning};
use crate::report::stems;

/// The common tick is at most this part of the shortest tick.
const FINER: f64 = 16.0;
/// Most halvings of the first capture's tick: with 2⁶³ ticks there is room for hours at 1 fs.
const MOST_HALVINGS: i32 = 24;

/// One capture of all lines of `captures` (at least one), each brought to the first one's clock by its
/// alignment. Lines whose names are taken are called `STEM/LINE`. Cost: linear in edges.
///
/// # Panics
/// If there are not as many alignments as captures, or none.
pub fn merge(captures: Vec<Capture>, alignments: &[Alignment]) -> Capture {
    assert_eq!(captures.len(), alignments.len());
    // On the common clock their edges do not show it any more.
    let captures: Vec<Capture> = captures.into_iter().map(with_steps).collect();
    let base = common_timebase(&captures, alignments);
    let names = Names::of(&captures);
    let mut merged = Capture {
        file: captures[0].file.clone(),
        format: captures[0].format,
        timebase: base,
        span: TimeSpan::new(Ticks::MAX, Ticks::MIN),
        resolution_ticks: base.ticks_of(captures[0].timebase.length_s(captures[0].resolution_ticks)),
        lines: Vec::new(),
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    };
    for (index, (capture, alignment)) in captures.into_iter().zip(alignments).enumerate() {
        let clock = Clock {
            from: capture.timebase,
            to: base,
            alignment: *alignment,
        };
        let first = merged.lines.len();
        let span = clock.span(capture.span);
        merged.span.start = merged.span.start.min(span.start);
        merged.span.end = merged.span.end.max(span.end);
        for line in capture.lines {
            let name = names.line(index, &line.name);
            let moved = clock.line(line, index, first, name, &mut merged.warnings);
            merged.lines.push(moved);
        }
        for mut bus in capture.buses {
            bus.name = names.line(index, &bus.name);
            bus.bits.iter_mut().for_each(|bit| *bit += first);
            merged.buses.push(bus);
        }
        merged.not_logic.extend(capture.not_logic);
        merged.warnings.extend(capture.warnings);
    }
    merged
}

/// A capture whose channels' skews are taken off, each line by its name; on ticks fine enough to show them.
/// Unchanged where none of its lines has one. Cost: linear in edges.
pub fn skewed(capture: Capture, late_s: &BTreeMap<String, f64>) -> Capture {
    let late = |name: &str| late_s.get(name).copied().filter(|late| *late != 0.0);
    if capture.lines.iter().all(|line| late(&line.name).is_none()) {
        return capture;
    }
    let capture = with_steps(capture);
    let from = capture.timebase;
    let to = Timebase {
        denominator: from.denominator * FINER,
        ..from
    };
    let mut moved = Capture {
        timebase: to,
        resolution_ticks: capture.resolution_ticks * FINER,
        lines: Vec::new(),
        ..capture
    };
    let clock = |late_s: f64| Clock {
        from,
        to,
        alignment: Alignment {
            offset_s: -late_s,
            ..Alignment::SAME_CLOCK
        },
    };
    let still = clock(0.0);
    moved.span = still.span(moved.span);
    for line in capture.lines {
        let (name, index) = (line.name.clone(), line.capture);
        let clock = clock(late(&name).unwrap_or(0.0));
        let line = clock.line(line, index, 0, name, &mut moved.warnings);
        moved.lines.push(line);
    }
    moved
}

/// The first capture's timebase, its tick halved until it is finer than every tick by [`FINER`]; unchanged when
/// all captures are on it already.
fn common_timebase(captures: &[Capture], alignments: &[Alignment]) -> Timebase {
    let base = captures[0].timebase;
    let on_it = |(c, a): (&Capture, &Alignment)| c.timebase == base && a.is_same_clock();
    if captures.iter().zip(alignments).all(on_it) {
        return base;
    }
    let shortest = captures
        .iter()
        .map(|c| c.timebase.tick_s())
        .fold(f64::INFINITY, f64::min);
    let halvings = (base.tick_s() * FINER / shortest)
        .log2()
        .ceil()
        .clamp(0.0, f64::from(MOST_HALVINGS));
    Timebase {
        denominator: base.denominator * halvings.exp2(),
        ..base
    }
}

/// From one capture's ticks to the common ones.
struct Clock {
    from: Timebase,
    to: Timebase,
    alignment: Alignment,
}

impl Clock {
    fn time(&self, time: Ticks) -> Ticks {
        if self.alignment.is_same_clock() && self.from.origin_s == self.to.origin_s {
            // The first capture: a power of two, so nothing is rounded.
            return Ticks(self.to.ticks_of(self.from.length_s(time.0 as f64)).round() as i64);
        }
        self.to.nearest(self.alignment.time_in_a(self.from.seconds(time)))
    }

    fn length(&self, ticks: f64) -> f64 {
        self.to.ticks_of(self.from.length_s(ticks)) * (1.0 + self.alignment.drift_ppm * 1e-6)
    }

    fn span(&self, span: TimeSpan) -> TimeSpan {
        TimeSpan::new(self.time(span.start), self.time(span.end))
    }

    fn line(
        &self,
        line: Line,
        capture: usize,
        first: usize,
        name: String,
        warnings: &mut Vec<Warning>,
    ) -> Line {
        if self.from == self.to && self.alignment.is_same_clock() {
            return Line {
                name,
                capture,
                same_as: line.same_as.map(|twin| twin + first),
                ..line
            };
        }
        let edges: Vec<Ticks> = line.edges.iter().map(|&edge| self.time(edge)).collect();
        let stretch = |s: &Stretch| Stretch {
            span: self.span(s.span),
            kind: s.kind,
        };
        let runt = |r: &Runt| Runt {
            start: self.time(r.start),
            width: Ticks(self.length(r.width.0 as f64).round() as i64),
            ..*r
        };
        let judged = |j: &Judged| Judged {
            start: self.time(j.start),
            stray: j.stray,
        };
        let trace = line.trace.and_then(|mut trace| match &mut trace.samples {
            TraceSamples::Uniform {
                start, step, volts, ..
            } => {
                let count = (**volts).as_ref().len() as f64;
                let exact = self.length(*step as f64);
                *start = self.time(Ticks(*start)).0;
                *step = exact.round() as i64;
                if (exact - *step as f64).abs() * count < 0.5 * exact {
                    return Some(trace);
                }
                let text = format!(
                    "The volts of {name} are not drawn: its clock drifts too far from the first one's."
                );
                warnings.push(Warning { text });
                None
            }
            TraceSamples::Steps { times, .. } => {
                *times = std::sync::Arc::new(times.iter().map(|&t| self.time(Ticks(t)).0).collect());
                Some(trace)
            }
        });
        Line {
            name,
            capture,
            source: line.source,
            first: line.first,
            edges: edges.into(),
            flips: line.flips.iter().map(|&flip| self.time(flip)).collect(),
            stretches: line.stretches.iter().map(stretch).collect(),
            span: self.span(line.span),
            sample_ticks: self.length(line.sample_ticks),
            interpolated: line.interpolated,
            trace,
            same_as: line.same_as.map(|twin| twin + first),
            runts: line.runts.iter().map(runt).collect(),
            judged: line.judged.iter().map(judged).collect(),
            between: Ticks(self.length(line.between.0 as f64).round() as i64),
            landmarks: None,
            tally: None,
        }
    }
}

/// Names of lines once several captures stand together.
struct Names {
    /// How many captures have a line of that name.
    uses: HashMap<String, usize>,
    stems: Vec<String>,
}

impl Names {
    fn of(captures: &[Capture]) -> Names {
        let mut uses: HashMap<String, usize> = HashMap::new();
        for capture in captures {
            let buses = capture.buses.iter().map(|b| &b.name);
            for name in capture.lines.iter().map(|l| &l.name).chain(buses) {
                *uses.entry(name.clone()).or_default() += 1;
            }
        }
        let stems = stems(captures.iter().map(|capture| capture.file.as_str()));
        Names { uses, stems }
    }

    fn line(&self, capture: usize, name: &str) -> String {
        if self.uses.get(name).is_some_and(|&uses| uses > 1) {
            format!("{}/{name}", self.stems[capture])
        } else {
            name.to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Format, Level};

    fn capture(file: &str, base: Timebase, times: &[i64], name: &str) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(1000));
        let edges = times.iter().map(|&t| Ticks(t)).collect();
        Capture {
            file: file.to_owned(),
            format: Format::Vcd,
            timebase: base,
            span,
            resolution_ticks: 1.0,
            lines: vec![Line::digital(name, Level::Low, edges, span)],
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        }
    }

    #[test]
    fn the_first_capture_keeps_its_times_and_the_second_comes_to_its_clock() {
        let a = capture("a.vcd", Timebase::decimal(-9), &[10, 123], "A");
        let b = capture("b.csv", Timebase::fitted(0.0, 41.6667e-9), &[3, 7], "B");
        let alignment = Alignment {
            offset_s: 2.5e-6,
            drift_ppm: 30.0,
            ..Alignment::SAME_CLOCK
        };
        let (first, second) = (a.seconds(Ticks(123)), b.seconds(Ticks(7)));
        let merged = merge(vec![a, b], &[Alignment::SAME_CLOCK, alignment]);
        let at = |line: usize, edge: usize| merged.seconds(merged.lines[line].edges[edge]);
        assert_eq!(at(0, 1), first);
        assert!((at(1, 1) - alignment.time_in_a(second)).abs() < 1e-10 / 2.0);
        assert_eq!(merged.lines[1].capture, 1);
        assert_eq!(merged.span.start, Ticks(0));
    }

    /// A clock without an offset may still run fast: 500 ppm are half a tick after a thousand.
    #[test]
    fn a_drift_moves_edges_though_the_offset_is_zero() {
        let base = Timebase::decimal(-9);
        let a = capture("a.vcd", base, &[10, 123], "A");
        let b = capture("b.vcd", base, &[400, 1000], "B");
        let drifting = Alignment {
            drift_ppm: 500.0,
            ..Alignment::SAME_CLOCK
        };
        let merged = merge(vec![a.clone(), b.clone()], &[Alignment::SAME_CLOCK, drifting]);
        let at = |edge: usize| merged.seconds(merged.lines[1].edges[edge]);
        let finest = 0.5 * merged.timebase.tick_s() + 1e-18;
        assert!(merged.timebase.tick_s() < base.tick_s());
        assert!((at(0) - 400.2e-9).abs() <= finest && (at(1) - 1000.5e-9).abs() <= finest);
        assert_eq!(merged.seconds(merged.lines[0].edges[1]), 123e-9);
        // Nor does a drift alone leave the times of a clock as they are where the timebases agree.
        let clock = Clock {
            from: base,
            to: base,
            alignment: Alignment {
                drift_ppm: 5000.0,
                ..Alignment::SAME_CLOCK
            },
        };
        let line = clock.line(b.lines[0].clone(), 0, 0, "B".to_owned(), &mut Vec::new());
        assert_eq!(line.edges.as_ref(), [Ticks(402), Ticks(1005)]);
    }

    #[test]
    fn a_channel_s_skew_is_taken_off_its_edges_only() {
        let a = capture("a.vcd", Timebase::decimal(-9), &[10, 123], "A");
        let late = BTreeMap::from([("A".to_owned(), 2.5e-9)]);
        let moved = skewed(a.clone(), &late);
        let at = |edge: usize| moved.seconds(moved.lines[0].edges[edge]);
        assert!((at(0) - 7.5e-9).abs() < 1e-15 && (at(1) - 120.5e-9).abs() < 1e-15);
        assert_eq!(moved.seconds(moved.span.end), a.seconds(a.span.end));
        let others = BTreeMap::from([("B".to_owned(), 2.5e-9)]);
        assert_eq!(skewed(a.clone(), &others).lines[0].edges[0], a.lines[0].edges[0]);
    }

    #[test]
    fn names_that_are_taken_get_the_file_s_stem() {
        let base = Timebase::decimal(-9);
        let files = [
            capture("x/run.vcd", base, &[1], "A"),
            capture("y/run.csv", base, &[2], "A"),
            capture("z.vcd", base, &[2], "B"),
        ];
        let merged = merge(files.to_vec(), &[Alignment::SAME_CLOCK; 3]);
        let names: Vec<&str> = merged.lines.iter().map(|l| l.name.as_str()).collect();
        assert_eq!(names, ["run/A", "run (2)/A", "B"]);
        assert_eq!(merged.timebase, base);
    }
}
