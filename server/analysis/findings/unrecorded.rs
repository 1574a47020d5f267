//! Sentences about strays that come while a line that is accused of others was not recorded.

use crate::analysis::coupling::Attribution;
use crate::analysis::strays::Stray;
use crate::model::{Capture, Line};

/// A sentence, with a space before it, where all these strays come while a line that is accused of others was not recorded.
pub(super) fn says(
    capture: &Capture,
    attribution: &Attribution,
    line: usize,
    open: &[&Stray],
) -> Option<String> {
    let mut rows = attribution.couplings.iter().filter(|c| c.victim == line);
    let is_missed = |accused: &Line| {
        open.iter()
            .all(|s| s.start < accused.span.start || s.start > accused.span.end)
    };
    let accused = rows.find(|row| is_missed(&capture.lines[row.aggressor]))?;
    Some(format!(
        " {} while {}, which causes others, was not recorded: nothing speaks for it there or against it.",
        if open.len() == 1 { "It comes" } else { "They come" },
        capture.lines[accused.aggressor].name
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::model::{Level, Ticks, TimeSpan};

    /// HOLD's rises lift PEG, by pulses that come all along; of HOLD the record ends at three quarters.
    #[test]
    fn strays_while_the_accused_was_not_recorded_are_said_to_be_so() {
        let (mut hold, mut peg) = (Vec::new(), Vec::new());
        let until = 2_300_000;
        for n in 1..300i64 {
            let at = 10_000 * n + 89 * (n * n % 23);
            if at < until {
                hold.extend([at, at + 3_000]);
            }
            if n * 7_919 % 100 < 40 {
                peg.extend([at + 9 + n % 3, at + 35 + n % 9]);
            }
        }
        let span = |end: i64| TimeSpan::new(Ticks(0), Ticks(end));
        let line = |name: &str, edges: Vec<i64>, end: i64| {
            let edges = edges.into_iter().map(Ticks).collect();
            Line::digital(name, Level::Low, edges, span(end))
        };
        let lines = vec![line("HOLD", hold, until), line("PEG", peg, 3_100_000)];
        let capture = Capture::in_nanoseconds("unrecorded", span(3_100_000), lines.clone());
        let (strays, attribution) = fixtures::attributed(lines, 3_100_000, &[(1, 60.0)]);
        let all: Vec<&Stray> = strays.strays.iter().collect();
        let late: Vec<&Stray> = all.iter().copied().filter(|s| s.start.0 > until).collect();
        let said = says(&capture, &attribution, 1, &late).unwrap_or_default();
        let expected = " They come while HOLD, which causes others, was not recorded";
        assert!(said.starts_with(expected), "{said}");
        assert_eq!(says(&capture, &attribution, 1, &all), None);
    }
}
