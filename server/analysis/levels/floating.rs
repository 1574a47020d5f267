//! Lines that float at the same times: a bus that nothing drives between two turns, which is no fault of any of them.

use super::standing::Plateau;
use super::{Kind, OPEN_TTL_V, Trouble};
use crate::model::{Capture, Level};

/// What an instrument is off, added to either side of where open inputs rest, in volts (some 3 % of a reading of 3 V, no source).
const OFF_V: f64 = 0.1;
/// Lines of one bus float this near each other, in volts: their loads and instruments differ (no source).
const NEAR_V: f64 = 0.25;
/// Two lines float together when they agree so well beyond what chance would give (Cohen's kappa, Cohen 1960; the level has no
/// source).
const AGREES: f64 = 0.6;
/// Whoever ends a bus's turns agrees better: its edges are a settling time away from theirs (no source).
const GOES_WITH: f64 = 0.8;

/// Makes one of lines that float together: of each bus, all lines name the first. Lines whose level looks weak because they are driven
/// to one level only join one that is driven to both. Cost: linear in stretches for each pair of lines that float, and in edges of
/// every line for each bus.
pub fn tell(capture: &Capture, troubles: &mut [Trouble]) {
    for seed in 0..troubles.len() {
        let Kind::Between {
            stands_v, with: None, ..
        } = troubles[seed].kind
        else {
            continue;
        };
        let all: Vec<usize> = (0..troubles.len())
            .filter(|&other| floats_with(capture, &troubles[seed], &troubles[other], stands_v))
            .collect();
        if !is_floating(stands_v) || all.len() < 2 {
            continue;
        }
        let lines: Vec<usize> = all.iter().map(|&at| troubles[at].line).collect();
        let floats = merged(
            all.iter()
                .flat_map(|&at| troubles[at].plateaus.iter().copied())
                .collect(),
        );
        let gate = goes_with(capture, &lines, &floats);
        for &at in &all {
            let trouble = &mut troubles[at];
            trouble.kind = Kind::Bus {
                rest_v: stands_v,
                share: share(capture, &floats),
                stretches: floats.len(),
                lines: lines.clone(),
                gate,
            };
            trouble.plateaus.clone_from(&floats);
        }
    }
}

fn is_floating(volts: f64) -> bool {
    (OPEN_TTL_V.0 - OFF_V..=OPEN_TTL_V.1 + OFF_V).contains(&volts)
}

/// Whether `other` (which may be `seed`) floats at the same times as `seed` and near `rest_v`.
fn floats_with(capture: &Capture, seed: &Trouble, other: &Trouble, rest_v: f64) -> bool {
    let stands_v = match other.kind {
        Kind::Between {
            stands_v, with: None, ..
        }
        | Kind::Weak { stands_v, .. } => stands_v,
        // Driven low only, it swings as far as it floats.
        Kind::Other { low_v, high_v } if is_floating(high_v) && !is_floating(low_v) => high_v,
        Kind::Other { low_v, .. } => low_v,
        _ => return false,
    };
    let agrees = || agreement(&seed.plateaus, &other.plateaus, length(capture)) >= AGREES;
    is_floating(stands_v) && (stands_v - rest_v).abs() <= NEAR_V && agrees()
}

fn length(capture: &Capture) -> f64 {
    (capture.span.end - capture.span.start).0 as f64
}

fn share(capture: &Capture, stretches: &[Plateau]) -> f64 {
    total(stretches) / length(capture)
}

fn total(stretches: &[Plateau]) -> f64 {
    stretches.iter().map(|p| p.end - p.start).sum()
}

/// How well two sets of stretches agree, beyond what chance would give: 1 where they are the same, 0 where they have nothing to do
/// with each other.
///
/// # Formula
/// kappa = (p - e) / (1 - e), p: part of `length` in which both or neither hold, e: that part if they were independent.
fn agreement(a: &[Plateau], b: &[Plateau], length: f64) -> f64 {
    let (of_a, of_b) = (total(a) / length, total(b) / length);
    let both = overlap(a, b) / length;
    let agree = 1.0 - of_a - of_b + 2.0 * both;
    let by_chance = of_a * of_b + (1.0 - of_a) * (1.0 - of_b);
    match by_chance < 1.0 {
        true => (agree - by_chance) / (1.0 - by_chance),
        false => 0.0,
    }
}

/// Both ascending and apart.
fn overlap(a: &[Plateau], b: &[Plateau]) -> f64 {
    let (mut at, mut other, mut sum) = (0, 0, 0.0);
    while let (Some(x), Some(y)) = (a.get(at), b.get(other)) {
        sum += (x.end.min(y.end) - x.start.max(y.start)).max(0.0);
        match x.end <= y.end {
            true => at += 1,
            false => other += 1,
        }
    }
    sum
}

fn merged(mut stretches: Vec<Plateau>) -> Vec<Plateau> {
    stretches.sort_by(|a, b| a.start.total_cmp(&b.start));
    let mut all: Vec<Plateau> = Vec::new();
    for next in stretches {
        match all.last_mut() {
            Some(last) if next.start <= last.end => last.end = last.end.max(next.end),
            _ => all.push(next),
        }
    }
    all
}

/// The line beside `bus` that agrees best with `floats`, and its level then.
fn goes_with(capture: &Capture, bus: &[usize], floats: &[Plateau]) -> Option<(usize, Level)> {
    let lines = capture.lines.iter().enumerate();
    let others = lines.filter(|(at, line)| !bus.contains(at) && line.same_as.is_none());
    let levels = others.flat_map(|(at, _)| [(at, Level::High), (at, Level::Low)]);
    let agrees = levels.map(|(at, level)| {
        let stretches = at_level(capture, at, level);
        (agreement(&stretches, floats, length(capture)), (at, level))
    });
    let best = agrees.max_by(|a, b| a.0.total_cmp(&b.0))?;
    (best.0 >= GOES_WITH).then_some(best.1)
}

/// When a line is at `level`, from the start of the capture to its end.
fn at_level(capture: &Capture, at: usize, level: Level) -> Vec<Plateau> {
    let line = &capture.lines[at];
    let ends = [capture.span.start.0, capture.span.end.0];
    let changes = std::iter::once(ends[0]).chain(line.ticks().iter().copied());
    let until = line.ticks().iter().copied().chain([ends[1]]);
    let after = std::iter::once(line.first).chain((0..line.edges.len()).map(|n| line.level_after(n)));
    let all = changes.zip(until).zip(after);
    let of_level = all.filter(|(_, found)| *found == level);
    of_level
        .map(|((start, end), _)| Plateau {
            start: start as f64,
            end: end as f64,
            volts: f64::NAN,
        })
        .collect()
}
