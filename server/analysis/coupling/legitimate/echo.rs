//! Strays that come at one time after the line's own edges: its echo.
//!
//! An edge that finds no resistance to match at the end of a long lead comes back after twice the lead's delay, and swings the
//! line once more. It does so after rises and after falls, each time back towards the level that was left, or after those of one
//! polarity where the driver or the threshold takes the other's up. No neighbour keeps one distance to the line's own edges, but
//! one that repeats the line or is clocked by it; and such a one, if it is captured, explains (nearly) all. Such strays are told
//! as what they are, and nobody is looked for.

use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::coupling::suspects::victims;
use crate::analysis::coupling::{Attribution, Cause, Standing};
use crate::analysis::strays::{Stray, StrayKind, Strays};
use crate::model::{Capture, Level};

/// Strays of a line at one distance after its own edges.
#[derive(Clone, Debug, PartialEq)]
pub struct Echo {
    pub line: usize,
    /// Strays that come so after rises, and after falls; and how many rises and falls of its own the line has.
    pub strays: [u64; 2],
    pub edges: [u64; 2],
    /// Of all its strays.
    pub of: u64,
    /// Least, middle and greatest distance, in ticks.
    pub lags: [i64; 3],
    /// Least and greatest width, in ticks.
    pub widths: [i64; 2],
}

/// Twice the delay of a lead is no longer than this: 15 m of ribbon cable.
const LATEST_S: f64 = 150e-9;
/// Distances agree within this, besides what sampling does.
const STEADY_S: f64 = 3e-9;
/// Samples that a distance has, at least.
const COARSEST: f64 = 2.0;
/// Strays after edges of each polarity, at least, or after those of one if there are none after the other; and the share of all strays
/// of the line.
const FEWEST: u64 = 6;
const FEWEST_ONE: usize = 12;
const MOST: f64 = 0.9;

/// Finds the lines that show their own echo and nobody accused, and takes back what was said of the causes of their strays.
/// Cost: linear in the strays of lines that show enough of them at both levels, and the log of these.
pub(in crate::analysis::coupling) fn tell(capture: &Capture, strays: &Strays, attribution: &mut Attribution) {
    let lines = (0..capture.lines.len()).filter(|&line| {
        let is_told = is_explained(strays, attribution, line)
            || attribution.shared.iter().any(|s| s.victims.contains(&line))
            || attribution.hazards.iter().any(|h| h.victim == line);
        capture.lines[line].same_as.is_none() && !is_told
    });
    let echoes: Vec<Echo> = lines.filter_map(|line| of_line(capture, strays, line)).collect();
    for echo in &echoes {
        attribution.uncaptured.retain(|u| u.victim != echo.line);
        attribution.hints.retain(|h| h.victim != echo.line);
        attribution.races.retain(|r| r.victim != echo.line);
        attribution
            .beside
            .retain(|&at| strays.strays[at].line != echo.line);
        let mut kept = Vec::with_capacity(attribution.couplings.len());
        let rows = std::mem::take(&mut attribution.couplings);
        let mut moved = vec![None; rows.len()];
        for (at, row) in rows.into_iter().enumerate() {
            if row.victim != echo.line {
                moved[at] = Some(kept.len());
                kept.push(row);
            }
        }
        attribution.couplings = kept;
        for cause in &mut attribution.causes {
            *cause = cause.and_then(|c| {
                Some(Cause {
                    coupling: moved[c.coupling]?,
                    ..c
                })
            });
        }
    }
    attribution.echoes = echoes;
}

/// Whether (nearly) all strays of the line are put down to one coupling, those beside own edges with them: a captured line that
/// this one clocks keeps as steady a distance to its edges as an echo.
fn is_explained(strays: &Strays, attribution: &Attribution, line: usize) -> bool {
    let first = strays.strays.partition_point(|s| s.line < line);
    let of_line = strays.of_line(line).len();
    let causes = attribution.causes.get(first..first + of_line).unwrap_or_default();
    let rows = attribution.couplings.iter().enumerate();
    let mut rows = rows.filter(|(_, c)| c.victim == line && c.standing == Standing::Clear);
    rows.any(|(at, _)| {
        let put_down = causes
            .iter()
            .flatten()
            .filter(|cause| cause.coupling == at)
            .count();
        put_down as f64 >= MOST * of_line as f64
    })
}

fn of_line(capture: &Capture, strays: &Strays, line: usize) -> Option<Echo> {
    let record = &capture.lines[line];
    let all: Vec<&Stray> = strays
        .of_line(line)
        .iter()
        .filter(|s| s.kind == StrayKind::Pulse)
        .collect();
    if all.len() < FEWEST_ONE {
        return None;
    }
    let latest = capture.timebase.ticks_of(LATEST_S).ceil() as i64;
    let steady = (capture.timebase.ticks_of(STEADY_S) + 2.0 * strays.sampling[line]).ceil() as i64;
    // From the edge before a stray to its start; where that was taken for the stray itself, its width.
    let lags = |s: &Stray| -> [Option<i64>; 2] {
        let before = s
            .edge
            .and_then(|e| e.checked_sub(1))
            .map(|e| s.start.0 - record.edges[e].0);
        [before, Some(s.width.0)].map(|lag| lag.filter(|&lag| lag <= latest))
    };
    let mut sorted: Vec<i64> = all.iter().filter_map(|s| lags(s)[0]).collect();
    sorted.sort_unstable();
    let crowd = crowd(&sorted, steady);
    let (least, most) = (*sorted.get(crowd.start)?, *sorted.get(crowd.end.checked_sub(1)?)?);
    let middle = sorted[(crowd.start + crowd.end) / 2];
    let fits = |lag: Option<i64>| lag.is_some_and(|lag| (least..=most).contains(&lag));
    // After a rise the stray is low.
    let (mut after, mut widths, mut slices) = ([0u64; 2], [i64::MAX, 0], 0u64);
    for stray in &all {
        let [before, own] = lags(stray);
        match (fits(before), fits(own)) {
            (true, _) => {
                after[usize::from(stray.level == Level::High)] += 1;
                widths = [widths[0].min(stray.width.0), widths[1].max(stray.width.0)];
            }
            (false, true) => {
                after[usize::from(stray.level == Level::Low)] += 1;
                slices += 1;
            }
            _ => {}
        }
    }
    let is_both = after.iter().all(|&n| n >= FEWEST);
    // What comes sooner after edges of one polarity may ring, or be struck just then.
    let is_one = after.contains(&0) && slices == 0 && middle >= victims::guard_of(strays, line);
    let told = after[0] + after[1];
    // Among a few samples anything comes at one distance.
    let is_resolved = COARSEST * strays.sampling[line] <= middle as f64;
    // Widths that happen to be alike look like slices.
    if !(is_both || is_one) || !is_resolved || 2 * slices > told || (told as f64) < MOST * all.len() as f64 {
        return None;
    }
    let of_pulses = (record.edges.len() as u64).saturating_sub(2 * all.len() as u64);
    Some(Echo {
        line,
        strays: after,
        edges: [of_pulses.div_ceil(2), of_pulses / 2],
        of: strays.of_line(line).len() as u64,
        lags: [least, middle, most],
        widths,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::Edge;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::demo::random::Random;
    use crate::model::{Line, Polarity, Ticks, TimeSpan};

    /// FAR switches 400 times; `after` gives the distance at which a stray of some 15 ns follows a rise (true) or a fall. RUN
    /// switches at times of its own. Seed 11.
    fn capture(after: impl Fn(bool, &mut Random) -> Option<f64>) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(4_100_000));
        let mut random = Random::new(11);
        let (mut far, mut run) = (Vec::new(), Vec::new());
        for n in 0..400i64 {
            let at = 10_000 * n + 3_000 + random.uniform(0.0, 2_000.0) as i64;
            far.push(at);
            if let Some(lag) = after(n % 2 == 0, &mut random) {
                let start = at + lag as i64;
                far.extend([start, start + random.uniform(10.0, 20.0) as i64]);
            }
            if random.chance(0.2) {
                run.push(at + random.uniform(1_000.0, 4_000.0) as i64);
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds("echo", span, vec![line("FAR", far), line("RUN", run)])
    }

    fn told(after: impl Fn(bool, &mut Random) -> Option<f64>) -> Vec<Echo> {
        judge(
            &capture(after),
            &StrayOptions::default(),
            &CouplingOptions::default(),
        )
        .1
        .echoes
    }

    #[test]
    fn strays_at_one_distance_after_both_edges_are_an_echo() {
        let echoes = told(|_, random| random.chance(0.6).then(|| random.normal(55.0, 0.5)));
        let [echo] = echoes.as_slice() else {
            panic!("{echoes:?}")
        };
        assert_eq!((echo.line, echo.edges, echo.lags[1]), (0, [200, 200], 55));
        assert!(echo.strays.iter().all(|n| (90..150).contains(n)), "{echo:?}");
    }

    #[test]
    fn strays_at_two_distances_or_any_are_none() {
        let two =
            |rise: bool, random: &mut Random| random.chance(0.6).then_some(if rise { 55.0 } else { 85.0 });
        assert_eq!(told(two), []);
        assert_eq!(
            told(|_, random| random.chance(0.6).then(|| random.uniform(30.0, 250.0))),
            []
        );
    }

    #[test]
    fn strays_after_one_polarity_are_an_echo_unless_a_captured_line_explains_them() {
        let mut capture = capture(|rise, random| (rise && random.chance(0.6)).then_some(55.0));
        let told = |capture: &Capture| {
            let judged = judge(capture, &StrayOptions::default(), &CouplingOptions::default());
            (judged.1.echoes.len(), judged.1.couplings.len())
        };
        assert_eq!(told(&capture), (1, 0));
        // A register falls 40 ns after two of three rises, and is set again later; it dips FAR 15 ns after it falls.
        let far = &capture.lines[0];
        let dips = far.pulses().filter(|p| p.level == Level::Low && p.width().0 < 30);
        let mut random = Random::new(12);
        let mut register: Vec<i64> = dips.flat_map(|p| [p.start.0 - 15, p.start.0 + 3_000]).collect();
        for own in far
            .pulses()
            .filter(|p| p.level == Level::High && p.width().0 > 100)
        {
            let falls = own.start.0 + 40;
            if random.chance(0.3) && !register.iter().any(|&t| (t - falls).abs() < 5_000) {
                register.extend([falls, falls + 3_000]);
            }
        }
        register.sort_unstable();
        let edges = register.into_iter().map(Ticks).collect();
        capture.lines[1] = Line::digital("LATCH", Level::High, edges, capture.span);
        assert_eq!(told(&capture), (0, 1));
    }

    #[test]
    fn strays_beside_own_edges_count_for_who_is_convicted() {
        let strays = Strays {
            strays: (0..20)
                .map(|n| Stray {
                    line: 0,
                    kind: StrayKind::Pulse,
                    edge: None,
                    start: Ticks(1_000 * n),
                    width: Ticks(20),
                    level: Level::Low,
                })
                .collect(),
            ..Strays::default()
        };
        // The row has nobody's opportunities beside own edges among its strikes; the causes have them.
        let cause = Cause {
            coupling: 0,
            polarity: Polarity::Fall,
            lag: 15,
        };
        let told = |put_down: usize| {
            let causes = (0..20).map(|n| (n < put_down).then_some(cause)).collect();
            let attribution = Attribution {
                couplings: vec![fixtures::row([0, 1], Edge::Fall, 15, Vec::new(), 40)],
                causes,
                ..Attribution::default()
            };
            is_explained(&strays, &attribution, 0)
        };
        assert!(told(20) && told(18));
        assert!(!told(17));
    }
}
