//! Sentences about strays that a line's own edges bring back.

use super::words::{count_of, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::legitimate::echo::Echo;
use crate::model::Capture;

/// Ribbon cable delays an edge by 1.51 ns a foot (a published data sheet of 0.64 mm ribbon): 4.954 ns a metre, in s.
const DELAY_S: f64 = 4.954e-9;

/// With so large a share of its edges a line's own part may do it.
const EVERY: f64 = 0.95;

/// One finding an echo.
pub fn of(capture: &Capture, attribution: &Attribution) -> Vec<Finding> {
    attribution
        .echoes
        .iter()
        .map(|echo| finding(capture, echo))
        .collect()
}

fn finding(capture: &Capture, echo: &Echo) -> Finding {
    let name = &capture.lines[echo.line].name;
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let between = |[least, most]: [i64; 2]| match least == most {
        true => time(least),
        false => format!("{} to {}", time(least), time(most)),
    };
    let [least, middle, most] = echo.lags;
    let [rises, falls] = echo.strays;
    // What the line clocks follows one polarity, and what its own part does comes every time.
    let is_one_sided = rises.min(falls) == 0;
    let share = (rises + falls) as f64 / (echo.edges[0] + echo.edges[1]).max(1) as f64;
    let is_every = share >= EVERY;
    let metres = capture.timebase.length_s(middle as f64) / (2.0 * DELAY_S);
    Finding {
        severity: match is_one_sided || is_every {
            true => Severity::Warning,
            false => Severity::Fault,
        },
        topic: "stray",
        lines: vec![name.clone()],
        title: format!(
            "{name}: {} come {} after its own edges, {}",
            match rises + falls == echo.of {
                true => format!("its {}", count_of(echo.of, "stray pulse")),
                false => format!("{} of its {}", rises + falls, count_of(echo.of, "stray pulse")),
            },
            between([least, most]),
            match is_one_sided || is_every {
                true => "as an echo of them would",
                false => "most likely as their echo",
            }
        ),
        detail: format!(
            "{rises} of {} rises and {falls} of {} falls bring one, {} wide, back towards the level that {name} has just left. No captured line's edges tell more of them. An edge that comes back from the end of its lead after {} has run some {metres:.1} m of cable and back (5 ns a metre, of ribbon cable). If {name}'s lead is much shorter than that, a {} that lies beside it and carries no clip does the same{}.",
            echo.edges[0],
            echo.edges[1],
            between(echo.widths),
            time(middle),
            match is_one_sided {
                true => "line that it clocks, or a copy of it,",
                false => "copy of it",
            },
            match is_every {
                true => ", and so does a race of the part that drives it",
                false => "",
            },
        ),
        try_next: vec![
            format!(
                "Put some tens of ohms in series with {name} at its driver, as near as can be, and repeat: an echo goes, what a neighbour does stays."
            ),
            format!(
                "Else clip {name} at its driver as well as at the far end: there an echo comes as late and weaker, or not at all."
            ),
            format!(
                "Put a spare channel on what repeats {name} or is clocked by it: its buffer's output, the other polarity of it, a register's output."
            ),
            CAUTION.to_string(),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    fn told(strays: [u64; 2]) -> Finding {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = Line::digital("FAR", Level::Low, Vec::new(), span);
        let capture = Capture::in_nanoseconds("echo", span, vec![line]);
        let echo = Echo {
            line: 0,
            strays,
            edges: [100, 100],
            of: strays[0] + strays[1],
            lags: [49, 50, 51],
            widths: [10, 20],
        };
        finding(&capture, &echo)
    }

    #[test]
    fn the_length_is_that_of_the_published_cable() {
        // 0.64 mm ribbon cable, data sheet: 1.51 ns a foot. There and back in 50 ns: 16.56 feet, 5.05 m.
        assert!(
            told([60, 60]).detail.contains("some 5.0 m of cable"),
            "{}",
            told([60, 60]).detail
        );
    }

    #[test]
    fn what_else_may_do_it_makes_it_a_warning() {
        assert_eq!(told([60, 60]).severity, Severity::Fault);
        let (one_sided, every) = (told([60, 0]), told([99, 98]));
        assert_eq!([one_sided.severity, every.severity], [Severity::Warning; 2]);
        assert!(one_sided.detail.contains("line that it clocks"));
        assert!(every.detail.contains("race of the part that drives it"));
    }
}
