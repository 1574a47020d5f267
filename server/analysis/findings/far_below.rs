//! A few pulses far shorter than all others of their line: too few to call them strays, and worth a look.

use super::words::{count_of, list, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::strays::widths::few_far_below;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::units::moment;
use crate::model::{Capture, Level, Pulse};

/// Moments named.
const NAMED: usize = 3;

/// One finding a line and level without a limit that has such pulses. Cost: linear in the pulses of these lines.
pub fn of(capture: &Capture, strays: &Strays) -> Vec<Finding> {
    let is_open = |&line: &usize| {
        let record = &capture.lines[line];
        record.same_as.is_none()
            && strays.limits[line].origin != LimitOrigin::Setup
            && !strays.bursts.iter().any(|b| b.line == line)
    };
    let lines = (0..capture.lines.len()).filter(is_open);
    let levels = lines.flat_map(|line| [(line, Level::Low), (line, Level::High)]);
    let open = levels.filter(|&(line, level)| strays.limits[line].of(level).is_none());
    open.filter_map(|(line, level)| {
        let pulses = capture.lines[line].pulses().filter(|p| p.level == level);
        let found = few_far_below(pulses, strays.sampling[line], capture.timebase.ticks_of(1e-9));
        (!found.is_empty()).then(|| finding(capture, line, level, &found))
    })
    .collect()
}

fn finding(capture: &Capture, line: usize, level: Level, found: &[Pulse]) -> Finding {
    let name = &capture.lines[line].name;
    let width = |p: &Pulse| span(&capture.timebase, p.width().0 as f64);
    let mut by_time: Vec<&Pulse> = found.iter().collect();
    by_time.sort_by_key(|p| p.start);
    let at: Vec<String> = by_time
        .iter()
        .take(NAMED)
        .map(|p| format!("{} ({})", moment(capture.seconds(p.start)), width(p)))
        .collect();
    let (are, they) = match found.len() {
        1 => ("is", "It comes"),
        _ => ("are", "They come"),
    };
    Finding {
        severity: Severity::Note,
        topic: "stray",
        lines: vec![name.clone()],
        title: format!(
            "{name}: {} {are} far shorter than all its others",
            count_of(found.len() as u64, &format!("{} pulse", level.word()))
        ),
        detail: format!(
            "{they} at {}. So few may be a reset, a key or a second job as well as strays: nobody is accused.",
            list(&at)
        ),
        try_next: vec![
            format!(
                "If nothing ought to be so short there, say narrow_below for {name} in the setup, and they are counted as strays."
            ),
            "Repeat the step: strays come again at other moments, a job at the same.".to_owned(),
            CAUTION.to_string(),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Line, Ticks, TimeSpan};

    #[test]
    fn two_pulses_far_below_all_others_are_told_and_accuse_nobody() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_300_000));
        let mut edges: Vec<Ticks> = (0..60)
            .flat_map(|n| [Ticks(20_000 * n + 5_000), Ticks(20_000 * n + 9_000 + 37 * n)])
            .collect();
        edges.extend([17_000, 17_020, 900_000, 900_012].map(Ticks));
        edges.sort_unstable();
        let line = Line::digital("IRQ", Level::Low, edges, span);
        let capture = Capture::in_nanoseconds("few", span, vec![line]);
        let strays = find(&capture, &StrayOptions::default());
        assert!(strays.strays.is_empty());
        let titles: Vec<String> = of(&capture, &strays).into_iter().map(|f| f.title).collect();
        assert_eq!(titles, ["IRQ: 2 high pulses are far shorter than all its others"]);
    }
}
