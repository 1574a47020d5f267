//! Sentences about strays without a cause, bounce, and what could have been seen.

use super::words::{count_of, list, span};
use super::{CAUTION, Finding, Severity};
use super::{before, beside_own, late, unrecorded};
use crate::analysis::coupling::joined::few::FEWEST_TO_ACCUSE;
use crate::analysis::coupling::legitimate::USEFUL_S;
use crate::analysis::coupling::verdict::hints::Hint;
use crate::analysis::coupling::{Attribution, Edge, Hazard, LONGEST_LAG_S};
use crate::analysis::strays::{LimitOrigin, NarrowLimit, Stray, StrayKind, Strays};
use crate::model::units::moment;
use crate::model::{Capture, Level, Line, TraceSamples};

#[cfg(test)]
mod tests;

/// Suspects named in a hint; of more only their number.
const MOST_NAMED: usize = 4;

/// Findings on strays without a cause, on bounce, and on what could not have been seen.
pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<Finding> {
    let mut findings = Vec::new();
    for line in 0..capture.lines.len() {
        findings.extend(causeless(capture, strays, attribution, line));
        findings.extend(bounce(capture, strays, line));
    }
    findings
}

fn causeless(capture: &Capture, strays: &Strays, attribution: &Attribution, line: usize) -> Option<Finding> {
    let told = attribution.uncaptured.iter().any(|u| u.victim == line)
        || attribution.shared.iter().any(|s| s.victims.contains(&line))
        || attribution.echoes.iter().any(|e| e.line == line);
    let (open, of) = unexplained(strays, attribution, line);
    if told || open.is_empty() {
        return None;
    }
    let name = &capture.lines[line].name;
    let all = open.len() as u64 == of;
    let hint = attribution
        .hints
        .iter()
        .find(|h| h.victim == line)
        .filter(|_| all);
    if let Some(late) = late::followers(capture, strays, attribution, line, &open) {
        return Some(late.finding(capture, line, of));
    }
    let within = (capture.timebase.ticks_of(LONGEST_LAG_S) + 2.0 * strays.sampling[line]) as i64;
    let (points_to, longer) = match hint {
        Some(hint) => pointing(capture, hint),
        None if of < FEWEST_TO_ACCUSE => (
            format!(" With fewer than {FEWEST_TO_ACCUSE} strays nobody is accused."),
            Some(format!(
                "Capture longer: {FEWEST_TO_ACCUSE} strays at least are needed to tell what they go with."
            )),
        ),
        None => match unrecorded::says(capture, attribution, line, &open) {
            Some(says) => (says, None),
            None => what_is_near(capture, strays, line, &open, within),
        },
    };
    let meant = may_be_meant(capture, strays, line, &open);
    let (share, meant) = meant.unzip();
    let try_next = longer.into_iter().chain(meant).chain([
        format!("Put spare channels on {name}'s neighbours in the cable and on its board's supply, and repeat."),
        format!(
            "Look at {name}'s level with a scope: a line that floats or hangs on a weak pull-up catches anything."
        ),
        CAUTION.to_string(),
    ]);
    let title = if all && (hint.is_some() || of < FEWEST_TO_ACCUSE) {
        format!(
            "{name}: {}, too few to tell the cause",
            count_of(of, "stray pulse")
        )
    } else if all {
        format!(
            "{name}: {} without a cause among the captured lines",
            count_of(of, "stray pulse")
        )
    } else {
        format!(
            "{name}: {} of {} {} without a cause among the captured lines",
            open.len(),
            count_of(of, "stray pulse"),
            if open.len() == 1 { "comes" } else { "come" }
        )
    };
    Some(Finding {
        severity: Severity::Warning,
        topic: "stray",
        lines: vec![name.clone()],
        title,
        detail: how_they_look(capture, &open) + &share.unwrap_or_default() + &points_to,
        try_next: try_next.collect(),
    })
}

/// A smaller share of a level's pulses is what strays are.
const MANY: f64 = 0.1;

/// What share of a level's pulses they are, where they are so many and so long that they may be meant, and how to say that
/// they are. `open`: at least one.
fn may_be_meant(
    capture: &Capture,
    strays: &Strays,
    line: usize,
    open: &[&Stray],
) -> Option<(String, String)> {
    let level = open[0].level;
    let mut widths: Vec<i64> = open.iter().map(|s| s.width.0).collect();
    widths.sort_unstable();
    let is_long = widths[widths.len() / 4] as f64 >= capture.timebase.ticks_of(USEFUL_S);
    let is_one = open
        .iter()
        .all(|s| s.kind == StrayKind::Pulse && s.level == level);
    if !is_one || !is_long || strays.limits[line].origin != LimitOrigin::Inferred {
        return None;
    }
    let name = &capture.lines[line].name;
    let of = capture.lines[line].pulses().filter(|p| p.level == level).count();
    (open.len() as f64 >= MANY * of as f64).then(|| {
        (
            format!(
                " They are {} of {}.",
                open.len(),
                count_of(of as u64, &format!("{} pulse", level.word()))
            ),
            format!(
                "If {name} sends such pulses on purpose, say a narrow_below shorter than {} for it in the setup, and they are no \
                 strays.",
                span(&capture.timebase, widths[0] as f64)
            ),
        )
    })
}

/// A line's strays that nothing explains, and how many it has that are no bounce.
fn unexplained<'s>(strays: &'s Strays, attribution: &Attribution, line: usize) -> (Vec<&'s Stray>, u64) {
    let first = strays.strays.partition_point(|s| s.line < line);
    let mut of = 0;
    let mut open = Vec::new();
    for (i, stray) in strays
        .of_line(line)
        .iter()
        .enumerate()
        .filter(|(_, s)| s.kind != StrayKind::Bounce)
    {
        of += 1;
        // A gate's glitches are told with the gate, strays towards the other level are not.
        let is_glitch = |h: &Hazard| h.victim == line && h.levels.contains(&stray.level);
        let explained = attribution.causes.get(first + i).is_some_and(Option::is_some)
            || attribution.hazards.iter().any(is_glitch)
            || attribution
                .races
                .iter()
                .any(|r| r.victim == line && r.level == stray.level)
            || attribution.beside.binary_search(&(first + i)).is_ok()
            || attribution
                .couplings
                .iter()
                .any(|c| c.occurrences.iter().any(|o| o.stray == first + i));
        if !explained {
            open.push(stray);
        }
    }
    (open, of)
}

/// "They are 12 ns to 30 ns wide, the first at 1.2 µs, 3.4 µs and 5.6 µs." `open`: at least one.
fn how_they_look(capture: &Capture, open: &[&Stray]) -> String {
    let widths = || open.iter().map(|s| s.width.0);
    let (shortest, longest) = (widths().min().unwrap_or(0), widths().max().unwrap_or(0));
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let at: Vec<String> = open
        .iter()
        .take(3)
        .map(|s| moment(capture.seconds(s.start)))
        .collect();
    format!(
        "{} {} wide, {} {}.",
        if open.len() == 1 { "It is" } else { "They are" },
        if shortest == longest {
            time(shortest)
        } else {
            format!("{} to {}", time(shortest), time(longest))
        },
        if open.len() > at.len() {
            "the first at"
        } else {
            "at"
        },
        list(&at)
    )
}

/// Share of the strays that another line's edges must come before, for them to be told rather than that the line's own come
/// after.
const BEFORE_MOST: f64 = 0.5;

/// What strays without a cause lie beside, edges of the line's own or of others, and whom to look at first.
fn what_is_near(
    capture: &Capture,
    strays: &Strays,
    line: usize,
    open: &[&Stray],
    within: i64,
) -> (String, Option<String>) {
    let name = &capture.lines[line].name;
    if let Some(rings) = beside_own::says(capture, strays, line, open, within) {
        return (rings, Some(beside_own::look(name)));
    }
    let by_another = |least| {
        before::says(capture, strays, line, open, within, least).map(|(says, first)| (says, Some(first)))
    };
    by_another(BEFORE_MOST)
        .or_else(|| {
            beside_own::says_either(capture, line, open, within)
                .map(|says| (says, Some(beside_own::look(name))))
        })
        .or_else(|| by_another(0.0))
        .unwrap_or_else(|| (before::none_do(capture, within), None))
}

/// Whom too few strays point to, and how many would tell.
fn pointing(capture: &Capture, hint: &Hint) -> (String, Option<String>) {
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let words: Vec<String> = hint
        .suspects
        .iter()
        .map(|s| {
            format!(
                "a {} of {}",
                Edge::from(s.polarity).word(),
                capture.lines[s.line].name
            )
        })
        .collect();
    let (least, most) = hint.lags;
    let lag = if least == most {
        time(least)
    } else {
        format!("{} to {}", time(least), time(most))
    };
    let others = match &words[1..] {
        [] => String::new(),
        [other] => format!(" As near before them comes {other}."),
        others if others.len() < MOST_NAMED => format!(" As near before them come {}.", list(others)),
        others => format!(" As near before them come edges of {} other kinds.", others.len()),
    };
    let text = format!(
        " Of those that go {}, {} of {} come {lag} after {}; {} could have brought one.{others} {}",
        hint.level.word(),
        hint.strays,
        hint.of,
        words[0],
        count_of(hint.opportunities, "such edge"),
        match hint.of < FEWEST_TO_ACCUSE {
            true => format!("Fewer than {FEWEST_TO_ACCUSE} strays accuse nobody."),
            false =>
                "That is too little to accuse anybody: among so many lines chance does as much now and then."
                    .to_owned(),
        }
    );
    let longer = format!(
        "Capture about {} times as long, or repeat the step until some {} of them are in hand: that settles it.",
        hint.times.max(FEWEST_TO_ACCUSE.div_ceil(hint.of.max(1))),
        (hint.times * hint.of).max(FEWEST_TO_ACCUSE)
    );
    (text, Some(longer))
}

fn bounce(capture: &Capture, strays: &Strays, line: usize) -> Option<Finding> {
    let bursts: Vec<_> = strays.bursts.iter().filter(|b| b.line == line).collect();
    let longest = bursts.iter().map(|b| b.length().0).max()?;
    let most = bursts.iter().map(|b| b.edges.len()).max()?;
    let name = &capture.lines[line].name;
    let high = bursts.iter().filter(|b| b.settled == Level::High).count();
    Some(Finding {
        severity: Severity::Warning,
        topic: "bounce",
        lines: vec![name.clone()],
        title: format!(
            "{name} bounces: {}, up to {}",
            count_of(bursts.len() as u64, "burst"),
            span(&capture.timebase, longest as f64)
        ),
        detail: format!(
            "Each burst has up to {most} edges and settles at a new level ({high} high, {} low); the pauses inside are irregular, and no captured line's edges come one steady time before them, as of a contact.",
            bursts.len() - high
        ),
        try_next: vec![
            format!(
                "Whatever reads {name} must wait longer than {} after its first edge, or read it through a set-reset latch from a changeover contact.",
                span(&capture.timebase, longest as f64)
            ),
            "Common practice waits 10 to 50 ms for a hand switch; a contact that gets slower is wearing out."
                .to_string(),
        ],
    })
}

/// No line ever switches: nothing could be found.
pub fn nothing_moves(capture: &Capture) -> Finding {
    let seconds = capture
        .timebase
        .length_s((capture.span.end.0 - capture.span.start.0) as f64);
    Finding {
        severity: Severity::Warning,
        topic: "reading",
        lines: Vec::new(),
        title: "No line moves in this capture, so nothing can be told from it".to_owned(),
        detail: format!(
            "{} in {}, without one edge.",
            count_of(capture.lines.len() as u64, "line"),
            super::span_s(seconds)
        ),
        try_next: vec![
            "See whether the machine was on and at work, whether the instrument waited for its trigger, and whether its ground clip sits.".to_owned(),
            "See on its sheet how the file was read: a column of volts may need its family or thresholds.".to_owned(),
        ],
    }
}

/// Nothing found: what could have been.
pub fn nothing_found(capture: &Capture, strays: &Strays) -> Finding {
    // Between samples of volts an edge is placed by interpolation, but a pulse must last until a sample to be seen.
    let steps = capture
        .lines
        .iter()
        .filter_map(|line| match line.trace.as_ref()?.samples {
            TraceSamples::Uniform { step, .. } => Some(step as f64),
            TraceSamples::Steps { .. } => None,
        });
    let coarsest = strays.sampling.iter().copied().chain(steps).fold(0.0, f64::max);
    let seen = if coarsest > 1.0 {
        let ts = span(&capture.timebase, coarsest);
        let half = span(&capture.timebase, coarsest / 2.0);
        format!(
            "Sampled every {ts}, a pulse of {ts} or more is always seen, one of {half} every second time, and two edges closer than {ts} can't be put in order."
        )
    } else {
        format!(
            "Edges are known to {}; a shorter pulse than that leaves no trace.",
            span(&capture.timebase, 1.0)
        )
    };
    let no_ground: Vec<String> = strays
        .limits
        .iter()
        .zip(&capture.lines)
        .filter(|(limit, line)| limit.origin == LimitOrigin::None && line.edges.len() > 2)
        .map(|(_, line)| line.name.clone())
        .collect();
    let ground = if no_ground.is_empty() {
        String::new()
    } else {
        format!(
            " {} pulse widths that give no ground to call any of them narrow: {}{}.",
            if no_ground.len() == 1 {
                "One line has"
            } else {
                "These lines have"
            },
            list(&no_ground.iter().take(6).cloned().collect::<Vec<_>>()),
            if no_ground.len() > 6 {
                format!(" and {} more", no_ground.len() - 6)
            } else {
                String::new()
            }
        )
    };
    Finding {
        severity: Severity::Note,
        topic: "stray",
        lines: Vec::new(),
        title: "Nothing stray was found".to_string(),
        detail: seen + &ground,
        try_next: vec![match capture.lines.iter().zip(&strays.limits).any(has_no_limit_of_a_person) {
            true => "If the machine still misbehaves: capture longer, sample faster, or tell in the setup which pulses are too narrow for a line (narrow_below).",
            false => "If the machine still misbehaves: capture longer or sample faster.",
        }
        .to_owned()],
    }
}

/// Whether the line moves, and nobody said what is too narrow for it.
fn has_no_limit_of_a_person((line, limit): (&Line, &NarrowLimit)) -> bool {
    !line.edges.is_empty() && limit.origin != LimitOrigin::Setup
}
