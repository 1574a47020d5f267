//! Short pulses of a line with a declared link that are most of their level and that nobody brings: asked about, not called strays.
//!
//! A machine sends what it sends mostly; a stray is what comes besides. On a line that only rests strays are most as well, so that
//! this is asked only where a link says that the line sends something. Where more than half of a level's pulses lie below
//! the limit that their widths give, are long enough to be read, and no other line's edges, no other line's strays and no
//! odd voltage speak for a stray, that limit may as well part two jobs of one line: a strobe with a short form and a long
//! one. What a declared link's far end receives of them is taken for the line's job then ([`Sent`]).

use super::crowds::{Crowd, Unsure};
use super::own::are_of_use;
use super::scatter::scatter_like_strays;
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::joined::few::FEWEST_TO_ACCUSE;
use crate::analysis::strays::{LimitOrigin, StrayKind, StrayOptions, Strays};
use crate::model::{Capture, Level};

/// Short pulses of one level that a declared link's far end receives, and that are most of the level.
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    pub line: usize,
    pub level: Level,
    /// The far end.
    pub to: usize,
    /// Short pulses of all of that level.
    pub pulses: u64,
    pub of: u64,
    /// How many of them arrive, of those whose arrival could be judged.
    pub arrived: u64,
    pub judged: u64,
    /// Least and greatest width, in ticks.
    pub widths: [i64; 2],
    /// The limit below which they were taken for narrow, in ticks.
    pub limit: f64,
}

/// Whether any line has short pulses that might be asked about: the widths alone say so. Cost: linear in the pulses of lines
/// with strays.
pub(in crate::analysis::coupling) fn are_possible(
    capture: &Capture,
    strays: &Strays,
    options: &StrayOptions,
) -> bool {
    levels(capture, options).any(|(line, level)| crowd(capture, strays, line, level).is_some())
}

/// The short pulses that are asked about. Cost: as [`are_possible`].
pub(in crate::analysis::coupling) fn of(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    options: &StrayOptions,
) -> Vec<Unsure> {
    let open = levels(capture, options).filter(|&(line, level)| !is_vouched_for(attribution, line, level));
    let asked = open.filter_map(|(line, level)| {
        Some(Unsure {
            crowd: crowd(capture, strays, line, level)?,
            follows: None,
            whole: false,
        })
    });
    asked.collect()
}

/// The levels of lines that a declared link leads from.
fn levels(capture: &Capture, options: &StrayOptions) -> impl Iterator<Item = (usize, Level)> {
    let linked = options.linked.iter().copied();
    let lines = linked.filter(|&line| capture.lines[line].same_as.is_none());
    lines.flat_map(|line| [(line, Level::Low), (line, Level::High)])
}

/// Whether something speaks for strays: edges of another line, another line's strays, a gate or a race of the line's own.
fn is_vouched_for(attribution: &Attribution, line: usize, level: Level) -> bool {
    let mut rows = attribution.couplings.iter();
    rows.any(|row| row.victim == line && row.levels.contains(&level))
        || attribution.uncaptured.iter().any(|u| u.victim == line)
        || attribution.shared.iter().any(|s| s.victims.contains(&line))
        || attribution.hazards.iter().any(|h| h.victim == line)
        || attribution.races.iter().any(|r| r.victim == line)
}

/// The strays of a line and level, where they are most of its pulses and long enough to be read.
fn crowd(capture: &Capture, strays: &Strays, line: usize, level: Level) -> Option<Crowd> {
    let limits = &strays.limits[line];
    let limit = limits
        .of(level)
        .filter(|_| limits.origin == LimitOrigin::Inferred)?;
    let of_line = strays.of_line(line);
    // A runt or a burst shows a line that is no part's alone.
    if of_line.iter().any(|s| s.kind != StrayKind::Pulse) {
        return None;
    }
    let own = of_line.iter().filter(|s| s.level == level);
    let mut widths: Vec<i64> = own.map(|s| s.width.0).collect();
    if (widths.len() as u64) < FEWEST_TO_ACCUSE {
        return None;
    }
    let all = capture.lines[line].pulses().filter(|p| p.level == level);
    let of = all.count() as u64;
    widths.sort_unstable();
    if 2 * widths.len() as u64 <= of || !are_of_use(capture, strays.sampling[line], &widths) {
        return None;
    }
    // What is induced on the sender's side arrives as well.
    if scatter_like_strays(capture, &widths, strays.sampling[line], true) {
        return None;
    }
    Some(Crowd {
        scatters: false,
        is_parted: true,
        ..Crowd::of((line, level), &widths, of, limit)
    })
}

/// Takes the pulses out of the strays, and their level's limit with them; but none that the person or another analysis
/// called a stray.
pub(in crate::analysis::coupling) fn leave_out(strays: &mut Strays, asked: &Unsure, options: &StrayOptions) {
    let (line, level) = (asked.crowd.line, asked.crowd.level);
    let is_marked = |start| {
        let mut marks = options.marks.iter();
        marks.any(|m| m.line == line && m.stray && m.start == start)
    };
    strays
        .strays
        .retain(|s| (s.line, s.level) != (line, level) || is_marked(s.start));
    let limits = &mut strays.limits[line];
    match level {
        Level::Low => limits.low = None,
        _ => limits.high = None,
    }
    if limits.low.is_none() && limits.high.is_none() {
        limits.origin = LimitOrigin::None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::{judge, may_differ};
    use crate::analysis::strays;
    use crate::demo::random::Random;
    use crate::model::{Line, Ticks, TimeSpan};

    /// HIT sends 300 pulses at its own times: 90 to 250 ns long, with the share `short`, or 400 to 600 ns. BEAT goes its own
    /// way; a fall of it precedes each short one where it `strikes`.
    fn capture(short: f64, strikes: bool) -> Capture {
        let mut random = Random::new(20);
        let span = TimeSpan::new(Ticks(0), Ticks(18_000_000));
        let (mut hit, mut beat) = (Vec::new(), Vec::new());
        for n in 0..300i64 {
            let at = 60_000 * n + 5_000 + random.uniform(0.0, 30_000.0) as i64;
            let is_short = random.chance(short);
            let width = match is_short {
                true => 90 + random.uniform(0.0, 160.0) as i64,
                false => 400 + random.uniform(0.0, 200.0) as i64,
            };
            hit.push([at, at + width]);
            match strikes {
                true if is_short => beat.push([at - 4_000, at - 15 - random.uniform(0.0, 4.0) as i64]),
                true => beat.push([at + 20_000, at + 22_000]),
                false if n % 4 == 0 => {
                    let at = 60_000 * n + 2_000 + random.uniform(0.0, 50_000.0) as i64;
                    beat.push([at, at + 3_000]);
                }
                false => {}
            }
        }
        let line = |name: &str, pulses: Vec<[i64; 2]>| {
            let edges = pulses.into_iter().flatten().map(Ticks).collect();
            Line::digital(name, Level::Low, edges, span)
        };
        Capture::in_nanoseconds("majority", span, vec![line("HIT", hit), line("BEAT", beat)])
    }

    /// As where a link is declared that leads from HIT.
    fn linked() -> StrayOptions {
        StrayOptions {
            linked: [0].into(),
            ..StrayOptions::default()
        }
    }

    fn judged(capture: &Capture, options: &StrayOptions) -> (usize, Vec<(u64, u64)>) {
        let (strays, attribution) = judge(capture, options, &CouplingOptions::default());
        let unsure = attribution.unsure.iter();
        let asked = unsure.map(|u| (u.crowd.pulses, u.crowd.of)).collect();
        (strays.of_line(0).len(), asked)
    }

    #[test]
    fn most_of_a_level_that_nobody_brings_is_asked_about() {
        let capture = capture(0.6, false);
        let found = strays::find(&capture, &StrayOptions::default());
        let short = found.of_line(0).len() as u64;
        assert!(short > 150, "the widths alone call them strays: {short}");
        assert_eq!(judged(&capture, &linked()), (0, vec![(short, 300)]));
        assert!(may_differ(&capture, &found, &linked()));
        // Nothing says that the line sends anything.
        assert_eq!(
            judged(&capture, &StrayOptions::default()),
            (short as usize, Vec::new())
        );
    }

    #[test]
    fn fewer_than_half_are_strays_and_so_are_those_that_a_line_brings() {
        let few = judged(&capture(0.3, false), &linked());
        assert!(few.0 > 50 && few.1.is_empty(), "{few:?}");
        let brought = capture(0.6, true);
        let (strays, attribution) = judge(&brought, &linked(), &CouplingOptions::default());
        assert!(strays.of_line(0).len() > 150, "{:?}", attribution.unsure);
        assert_eq!(attribution.couplings[0].aggressor, 1);
    }
}
