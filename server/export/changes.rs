//! All changes of a capture's lines in time order, and the CSV change list made of them.
//!
//! The list has a column `time_s` and one for each line: `0`, `1`, `x` (unknown), `z` (floating), empty where
//! nothing was recorded. A row stands for each moment at which some line changes, and for the capture's first
//! and last moment. Times are exact: whole decimal ticks digit by digit, fitted ones to a
//! millionth of a tick.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::io::{self, Write};

use crate::model::{Capture, Level, Line, StretchKind, Ticks, Timebase};

/// What a line shows from a moment on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    Level(Level),
    /// Nothing was recorded.
    Unrecorded,
}

impl Shown {
    /// The cell of a change list.
    pub fn cell(self) -> &'static str {
        match self {
            Shown::Level(Level::Low) => "0",
            Shown::Level(Level::High) => "1",
            Shown::Level(Level::Unknown) => "x",
            Shown::Level(Level::Floating) => "z",
            Shown::Unrecorded => "",
        }
    }
}

/// What `line` shows at `time`. Cost: logarithmic in edges.
pub fn shown_at(line: &Line, time: Ticks) -> Shown {
    match line.stretch_at(time) {
        Some(stretch) if stretch.kind == StretchKind::Unrecorded => Shown::Unrecorded,
        Some(_) => Shown::Level(line.level_at(time)),
        // The last recorded moment still belongs to the record.
        None if time < line.span.start || time > line.span.end => Shown::Unrecorded,
        None => Shown::Level(line.known_level_at(time)),
    }
}

/// Moments (ascending) at which some line of `lines` changes what it shows, and which ones then, ascending:
/// between the first and the last moment given, both excluded. Cost: edges × log(lines).
pub struct Changes<'a> {
    lines: &'a [Line],
    next: BinaryHeap<Reverse<(Ticks, usize)>>,
    shown: Vec<Shown>,
    end: Ticks,
}

impl<'a> Changes<'a> {
    /// The changes after `start` and before `end`, from the levels that the lines show at `start`. Cost: logarithmic in
    /// each line's edges.
    pub fn new(lines: &'a [Line], start: Ticks, end: Ticks) -> Changes<'a> {
        let first = lines
            .iter()
            .enumerate()
            .filter_map(|(i, line)| Some(Reverse((next_after(line, start)?, i))));
        Changes {
            lines,
            next: first.collect(),
            shown: lines.iter().map(|line| shown_at(line, start)).collect(),
            end,
        }
    }

    /// What each line shows now.
    pub fn shown(&self) -> &[Shown] {
        &self.shown
    }

    /// Goes to the next moment; the lines that changed are put into `changed`.
    pub fn advance(&mut self, changed: &mut Vec<usize>) -> Option<Ticks> {
        changed.clear();
        while let Some(&Reverse((time, _))) = self.next.peek() {
            if time >= self.end {
                return None;
            }
            while let Some(&Reverse((at, i))) = self.next.peek()
                && at == time
            {
                self.next.pop();
                let shown = shown_at(&self.lines[i], time);
                if shown != self.shown[i] {
                    self.shown[i] = shown;
                    changed.push(i);
                }
                if let Some(next) = next_after(&self.lines[i], time) {
                    self.next.push(Reverse((next, i)));
                }
            }
            if !changed.is_empty() {
                return Some(time);
            }
        }
        None
    }
}

/// The first moment after `time` at which the line may show something else.
fn next_after(line: &Line, time: Ticks) -> Option<Ticks> {
    let edge = line
        .edges
        .get(line.edges.partition_point(|&e| e <= time))
        .copied();
    let flip = line
        .flips
        .get(line.flips.partition_point(|&f| f <= time))
        .copied();
    let from = line.stretches.partition_point(|s| s.span.end <= time);
    let stretch = line.stretches.get(from).map(|s| {
        if s.span.start > time {
            s.span.start
        } else {
            s.span.end
        }
    });
    let begins = (line.span.start > time).then_some(line.span.start);
    // Nothing is known from one tick after the last recorded moment on.
    let ends = (line.span.end >= time)
        .then(|| line.span.end + Ticks(1))
        .filter(|&end| end > time);
    [edge, flip, stretch, begins, ends].into_iter().flatten().min()
}

/// Writes the change list of a capture.
///
/// # Errors
/// Only what `out` gives.
pub fn write_csv(capture: &Capture, out: impl Write) -> io::Result<()> {
    let mut out = csv::Writer::from_writer(out);
    let names = capture.lines.iter().map(|line| line.name.as_str());
    out.write_record(std::iter::once("time_s").chain(names))?;
    let (start, end) = (capture.span.start, capture.span.end);
    let mut changes = Changes::new(&capture.lines, start, end);
    let mut row = |time: Ticks, shown: &[Shown]| {
        let time = seconds_text(&capture.timebase, time);
        out.write_record(std::iter::once(time.as_str()).chain(shown.iter().map(|shown| shown.cell())))
    };
    row(start, changes.shown())?;
    let mut changed = Vec::new();
    while let Some(time) = changes.advance(&mut changed) {
        row(time, changes.shown())?;
    }
    if end > start {
        let last: Vec<Shown> = capture.lines.iter().map(|line| shown_at(line, end)).collect();
        row(end, &last)?;
    }
    out.flush()
}

/// The power of ten that is one tick in seconds, when it is one and tick zero is at 0 s.
fn decimal_exponent(timebase: &Timebase) -> Option<i32> {
    let is_same = |exponent: &i32| {
        let decimal = Timebase::decimal(*exponent);
        timebase.origin_s == 0.0
            && timebase.numerator_s * decimal.denominator == decimal.numerator_s * timebase.denominator
    };
    (-15..=2).find(is_same)
}

/// A moment in seconds as text that loses no tick.
fn seconds_text(timebase: &Timebase, time: Ticks) -> String {
    match decimal_exponent(timebase) {
        Some(exponent) if exponent < 0 => {
            let digits = exponent.unsigned_abs();
            let scale = 10u64.pow(digits);
            let size = time.0.unsigned_abs();
            let sign = if time.0 < 0 { "-" } else { "" };
            format!(
                "{sign}{}.{:0width$}",
                size / scale,
                size % scale,
                width = digits as usize
            )
        }
        // To a millionth of a tick: which sample it is stands fast, and what reads it finds the grid.
        _ => {
            let finest = (timebase.tick_s() * 1e-6).log10().floor();
            let digits = (-finest).clamp(0.0, MOST_DIGITS) as usize;
            let text = format!("{:.digits$}", timebase.seconds(time));
            match text.contains('.') {
                true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
                false => text,
            }
        }
    }
}

/// A femtosecond is finer than any instrument.
const MOST_DIGITS: f64 = 15.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Stretch, TimeSpan};

    fn capture(lines: Vec<Line>) -> Capture {
        Capture::in_nanoseconds("a.vcd", TimeSpan::new(Ticks(0), Ticks(100)), lines)
    }

    #[test]
    fn every_change_has_its_row() {
        let span = TimeSpan::new(Ticks(0), Ticks(100));
        let a = Line::digital("A", Level::Low, vec![Ticks(10), Ticks(20)], span);
        let mut b = Line::digital("B,1", Level::High, vec![Ticks(20), Ticks(50)], span);
        let stretch = |start, end, kind| Stretch {
            span: TimeSpan::new(Ticks(start), Ticks(end)),
            kind,
        };
        b.stretches = vec![
            stretch(30, 50, StretchKind::Unknown),
            stretch(60, 70, StretchKind::Unrecorded),
        ];
        b.flips = vec![Ticks(70)];
        let mut out = Vec::new();
        write_csv(&capture(vec![a, b]), &mut out).unwrap();
        let expected = "time_s,A,\"B,1\"\n0.000000000,0,1\n0.000000010,1,1\n0.000000020,0,0\n0.000000030,0,x\n\
                        0.000000050,0,1\n0.000000060,0,\n0.000000070,0,0\n0.000000100,0,0\n";
        assert_eq!(String::from_utf8(out).unwrap(), expected);
    }

    #[test]
    fn a_line_of_a_shorter_capture_is_blank_outside_its_record() {
        let mut a = Line::digital(
            "A",
            Level::Low,
            vec![Ticks(40)],
            TimeSpan::new(Ticks(30), Ticks(60)),
        );
        a.stretches = Vec::new();
        let mut out = Vec::new();
        write_csv(&capture(vec![a]), &mut out).unwrap();
        let rows = "time_s,A\n0.000000000,\n0.000000030,0\n0.000000040,1\n0.000000061,\n0.000000100,\n";
        assert_eq!(String::from_utf8(out).unwrap(), rows);
    }

    #[test]
    fn times_lose_nothing() {
        let femto = Timebase::decimal(-15);
        assert_eq!(
            seconds_text(&femto, Ticks(-1_000_000_000_000_001)),
            "-1.000000000000001"
        );
        let fitted = Timebase::fitted(0.25, 1.0 / 24e6);
        let text = seconds_text(&fitted, Ticks(12_345));
        let read = text.parse::<f64>().unwrap();
        assert!((read - fitted.seconds(Ticks(12_345))).abs() < 1e-6 * fitted.tick_s());
        assert_eq!(seconds_text(&Timebase::decimal(0), Ticks(7)), "7");
    }
}
