//! Sentences about strays that a line's own edges bring back.

use super::words::{count_of, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::echo::Echo;
use crate::model::Capture;

/// Ribbon cable delays an edge by 1.51 ns a foot (a published data sheet of 0.64 mm ribbon): 4.954 ns a metre, in s.
const DELAY_S: f64 = 4.954e-9;

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
    let metres = capture.timebase.length_s(middle as f64) / (2.0 * DELAY_S);
    Finding {
        severity: Severity::Fault,
        topic: "stray",
        lines: vec![name.clone()],
        title: format!(
            "{name}: {} come {} after its own edges, most likely as their echo",
            match rises + falls == echo.of {
                true => format!("its {}", count_of(echo.of, "stray pulse")),
                false => format!("{} of its {}", rises + falls, count_of(echo.of, "stray pulse")),
            },
            between([least, most])
        ),
        detail: format!(
            "{rises} of {} rises and {falls} of {} falls bring one, {} wide, back towards the level that {name} has just left. No captured line's edges tell more of them. An edge that comes back from the end of its lead after {} has run some {metres:.1} m of cable and back (5 ns a metre, of ribbon cable). If {name}'s lead is much shorter than that, a copy of it that lies beside it and carries no clip does the same.",
            echo.edges[0],
            echo.edges[1],
            between(echo.widths),
            time(middle),
        ),
        try_next: vec![
            format!(
                "Put some tens of ohms in series with {name} at its driver, as near as can be, and repeat: an echo goes, what a neighbour does stays."
            ),
            format!(
                "Else clip {name} at its driver as well as at the far end: there an echo comes as late and weaker, or not at all."
            ),
            format!(
                "Put a spare channel on what repeats {name}: its buffer's output, or the other polarity of it."
            ),
            CAUTION.to_string(),
        ],
    }
}
