//! Sentences about strays without a cause, bounce, and what could have been seen.

use super::words::{count_of, list, span};
use super::{Finding, Severity};
use crate::analysis::coupling::Attribution;
use crate::analysis::strays::{LimitOrigin, StrayKind, Strays};
use crate::model::{Capture, Level, TraceSamples};

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
        || attribution.hazards.iter().any(|h| h.victim == line)
        || attribution.shared.iter().any(|s| s.victims.contains(&line));
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
        let explained = attribution.causes.get(first + i).is_some_and(Option::is_some)
            || attribution
                .couplings
                .iter()
                .any(|c| c.occurrences.iter().any(|o| o.stray == first + i));
        if !explained {
            open.push(stray);
        }
    }
    if told || open.is_empty() {
        return None;
    }
    let name = &capture.lines[line].name;
    let shortest = open.iter().map(|s| s.width.0).min()?;
    let longest = open.iter().map(|s| s.width.0).max()?;
    let all = open.len() as u64 == of;
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let at: Vec<String> = open
        .iter()
        .take(3)
        .map(|s| super::span_s(capture.seconds(s.start)))
        .collect();
    Some(Finding {
        severity: Severity::Warning,
        topic: "stray",
        lines: vec![name.clone()],
        title: if all {
            format!(
                "{name}: {} without a cause among the captured lines",
                count_of(of, "stray pulse")
            )
        } else {
            format!(
                "{name}: {} of {} come without a cause among the captured lines",
                open.len(),
                count_of(of, "stray pulse")
            )
        },
        detail: format!(
            "They are {} wide; the first at {}. No captured line's edges come before them more often than chance has it.",
            if shortest == longest {
                time(shortest)
            } else {
                format!("{} to {}", time(shortest), time(longest))
            },
            list(&at)
        ),
        try_next: vec![
            format!(
                "Put spare channels on {name}'s neighbours in the cable and on its board's supply, and repeat."
            ),
            format!(
                "Look at {name}'s level with a scope: a line that floats or hangs on a weak pull-up catches anything."
            ),
        ],
    })
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
            "Each burst has up to {most} edges and settles at a new level ({high} high, {} low); the pauses inside are irregular and no other line switches with them, as a contact does.",
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
        try_next: vec!["If the machine still misbehaves: capture longer, sample faster, or tell in the setup which pulses are too narrow for a line (narrow_below).".to_string()],
    }
}
