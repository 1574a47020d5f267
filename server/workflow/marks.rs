//! What a person said of single pulses → the lines that have them.
//!
//! A pulse is named by its line and its start on the clock of its own file, so that it stays the same pulse however the
//! capture is brought to another's clock.

use std::path::Path;

use crate::model::{Capture, Judged, Line, Ticks};
use crate::setup::Setup;

/// One pulse judged: its line, its start in seconds on the file's own clock, and whether it is a stray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JudgedPulse<'a> {
    pub line: &'a str,
    pub start_s: f64,
    pub stray: bool,
}

/// Puts each judgement on its line; what was said later counts. One that names no pulse (or no line of the capture) is
/// told as a warning, and judges nothing. Cost: log of the edges each.
pub fn put_on<'a>(capture: &mut Capture, pulses: impl IntoIterator<Item = JudgedPulse<'a>>) {
    for pulse in pulses {
        let word = if pulse.stray { "a stray" } else { "legitimate" };
        let Some(index) = capture.line_index(pulse.line) else {
            capture.warn(format!(
                "a pulse of {} is marked as {word}, but no line is called so",
                pulse.line
            ));
            continue;
        };
        match start_near(capture, index, pulse.start_s) {
            Some(start) => {
                let stray = pulse.stray;
                let judged = &mut capture.lines[index].judged;
                judged.retain(|other| other.start != start);
                judged.push(Judged { start, stray });
            }
            None => capture.warn(format!(
                "the pulse of {} from {} on is marked as {word}, but none starts then",
                pulse.line,
                crate::model::units::engineering(pulse.start_s, "s")
            )),
        }
    }
}

/// Puts on what the setup says of single pulses: of `LINE`, or of `STEM/LINE` in the file of that stem alone.
pub fn put_on_as_set_up(capture: &mut Capture, setup: &Setup) {
    let stem = Path::new(&capture.file).file_stem();
    let stem = stem.map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    let mut pulses = Vec::new();
    for (name, line) in &setup.lines {
        let own = name
            .strip_prefix(&stem)
            .and_then(|rest| rest.strip_prefix('/'))
            .filter(|own| capture.line_index(own).is_some());
        let name = own.unwrap_or(name);
        // With several files a line may be another's; nothing is said of it then.
        if capture.line_index(name).is_some() {
            pulses.extend(line.judged.iter().map(|&(start_s, stray)| JudgedPulse {
                line: name,
                start_s,
                stray,
            }));
        }
    }
    put_on(capture, pulses);
}

/// The start of the pulse or runt of a line nearest to a moment in seconds; `None` where none starts within half a sampling
/// period (a tick where the edges are exact).
pub fn start_near(capture: &Capture, line: usize, seconds: f64) -> Option<Ticks> {
    let line: &Line = &capture.lines[line];
    let at = capture.timebase.nearest(seconds);
    let most = ((line.sample_ticks / 2.0).ceil() as i64).max(1);
    // The last edge starts no pulse that was seen to end.
    let starts = &line.edges[..line.edges.len().saturating_sub(1)];
    let after = starts.partition_point(|&edge| edge < at);
    let edges = starts[after.saturating_sub(1)..].iter().take(2).copied();
    let runts = line.runts.iter().map(|runt| runt.start);
    edges
        .chain(runts)
        .filter(|start| start.0.abs_diff(at.0) <= most as u64)
        .min_by_key(|start| start.0.abs_diff(at.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, TimeSpan};

    fn capture() -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(1000));
        let edges = [100, 120, 500, 900].map(Ticks).to_vec();
        Capture::in_nanoseconds(
            "run/as found.vcd",
            span,
            vec![Line::digital("CLEAR_N", Level::High, edges, span)],
        )
    }

    #[test]
    fn a_pulse_is_found_by_its_start_and_the_last_word_counts() {
        let mut found = capture();
        let said = |start_s, stray| JudgedPulse {
            line: "CLEAR_N",
            start_s,
            stray,
        };
        put_on(&mut found, [said(100e-9, true), said(100.4e-9, false)]);
        let judged = Judged {
            start: Ticks(100),
            stray: false,
        };
        assert_eq!(found.lines[0].judged, [judged]);
        assert!(found.warnings.is_empty());
        // Two ticks off; the last edge; a line that is not there.
        let elsewhere = JudgedPulse {
            line: "NOBODY",
            ..said(0.0, true)
        };
        put_on(&mut found, [said(102e-9, true), said(900e-9, true), elsewhere]);
        assert_eq!(found.lines[0].judged, [judged]);
        assert_eq!(found.warnings.len(), 3);
        assert!(found.warnings[0].text.contains("none starts then"));
    }

    #[test]
    fn the_setup_says_it_by_line_or_by_file_and_line() {
        let text = "[line.CLEAR_N]\nstray_at = [\"0.5 us\"]\n[line.\"as found/CLEAR_N\"]\nlegitimate_at = [\"100 ns\"]\n\
                    [line.\"other/CLEAR_N\"]\nstray_at = [\"120 ns\"]\n";
        let setup = Setup::parse(text, "s.toml").unwrap();
        let mut found = capture();
        put_on_as_set_up(&mut found, &setup);
        let mut judged: Vec<(i64, bool)> = found.lines[0]
            .judged
            .iter()
            .map(|j| (j.start.0, j.stray))
            .collect();
        judged.sort_unstable();
        assert_eq!(judged, [(100, false), (500, true)]);
        let twice = "[line.A]\nstray_at = [\"1 us\"]\nlegitimate_at = [\"1000 ns\"]\n";
        let error = Setup::parse(twice, "s.toml").unwrap_err();
        assert_eq!(
            (error.line, error.to_string().contains("judged twice")),
            (3, true)
        );
    }
}
