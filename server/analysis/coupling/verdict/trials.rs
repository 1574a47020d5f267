//! Accused edges that could have struck, whether each did, and what of the record that goes with: another line's level, a short
//! pulse of the accused's own, the strikes before.

use super::clues::Clue;
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::rows::edges_of;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::OwnEdges;
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::runs::runs;
use crate::model::{Capture, Level, Ticks};

/// Edges on either side from which on anything is concluded.
const FEWEST: u64 = 3;
/// Chance at or below which strikes go with a line's own short pulses.
const CHANCE: f64 = 3e-4;
/// The chance for a line's level, which more things than an enable go with.
const LEVEL_CHANCE: f64 = 2e-4;
/// A gate that is shut lets (nearly) nothing through: strikes there, as a share of those where it is open. What only strikes oftener at
/// one level is loaded otherwise, or helped.
const SHUT: f64 = 0.15;
/// A line's level says something only where it changed so often between the accused edges: what holds for long goes with
/// whatever else came and went meanwhile.
const CHANGES: usize = 20;
/// A level is read so many samples before the accused edge.
const BEFORE: f64 = 2.5;
/// A pulse shorter than this, or than so many times a stray of the victim, may be a stray of the accused line's own, though nothing
/// calls it so.
const SHORT_S: f64 = 150e-9;
const AS_SHORT: f64 = 4.0;
/// Strikes at edges without a short pulse beside, as a share of those with one: an edge or two may strike by chance.
const STRAGGLE: f64 = 0.05;

/// Standard deviations by which runs are fewer than chance has them where a gate opens and closes.
const RUNS: f64 = 5.0;

/// How much longer or shorter than it is a time between two edges may seem, in ticks.
fn slack(unit: f64) -> i64 {
    if unit > 1.0 { unit.ceil() as i64 } else { 1 }
}

/// An accused edge that was an opportunity, in ticks, and whether it struck.
#[derive(Clone, Copy, Debug)]
pub struct Trial {
    pub time: i64,
    pub hit: bool,
}

/// The accused edges that were opportunities, and whether each struck: those whose stray would have come beside an edge of
/// the victim's own are none, as such strays are left out.
pub fn trials(edges: &[OwnEdges], victim: &Victim, row: &Coupling) -> Vec<Trial> {
    let times = edges_of(edges, row);
    let mut struck: Vec<i64> = row.occurrences.iter().map(|o| o.at).collect();
    struck.sort_unstable();
    victim
        .opportunities_apart(times, row.lag.estimate.round() as i64)
        .iter()
        .flat_map(|range| &times[range.clone()])
        .map(|&time| Trial {
            time,
            hit: struck.binary_search(&time).is_ok(),
        })
        .collect()
}

/// A line whose level at the accused edges decides whether they strike, if one does beyond chance: a gate or a register
/// without a probe strikes, not the accused by itself.
/// Cost: for each line, the accused edges × log of its own.
pub fn whose_level_matters(
    capture: &Capture,
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
) -> Option<Clue> {
    let trials = trials(edges, victim, row);
    // Well before: what the accused edge itself switches says nothing, and which of two edges less than a sample apart came
    // first says when between two samples they came, on which it depends whether sampling shows the stray. For the same reason
    // a level says nothing that is another a sample earlier or later, as that of a line which keeps a distance to the accused is.
    let before = (BEFORE * victim.unit).ceil() as i64;
    let slack = slack(victim.unit);
    let others = lines.iter().copied().filter(|&line| line != row.aggressor);
    let tried = others.clone().count().max(1) as f64;
    let chance_of = |line: usize| {
        let record = &capture.lines[line];
        let mut counts = [(0u64, 0u64); 2];
        let (mut changes, mut last) = (0, None);
        for &Trial { time, hit } in &trials {
            let [high, later] =
                [-slack, slack].map(|by| record.level_at(Ticks(time - before + by)) == Level::High);
            if high != later {
                continue;
            }
            changes += usize::from(last.is_some_and(|l| l != high));
            last = Some(high);
            let count = &mut counts[usize::from(high)];
            count.0 += 1;
            count.1 += u64::from(hit);
        }
        let [low, high] = counts;
        let says = changes >= CHANGES && low.0 >= FEWEST && high.0 >= FEWEST;
        let share = |of: (u64, u64)| of.1 as f64 / of.0.max(1) as f64;
        let (less, more) = (share(low).min(share(high)), share(low).max(share(high)));
        let chance = || fisher(low.1, low.0, high.1, high.0).two_sided();
        (says && less <= SHUT * more).then(|| (chance(), low, high))
    };
    let tested = others.filter_map(|line| Some((chance_of(line)?, line)));
    let ((chance, low, high), other) = tested.min_by(|a, b| a.0.0.total_cmp(&b.0.0))?;
    (chance * tried <= LEVEL_CHANCE).then_some(Clue::Level {
        line: row.aggressor,
        edge: row.edge,
        other,
        low,
        high,
    })
}

/// Whether the row's strikes come in runs, as where the victim floats now and then or a gate lets them through. Cost: linear in
/// the accused edges.
pub fn comes_in_runs(edges: &[OwnEdges], victim: &Victim, row: &Coupling) -> bool {
    let outcomes: Vec<bool> = trials(edges, victim, row).iter().map(|trial| trial.hit).collect();
    runs(&outcomes, 0.0).is_some_and(|z| z < -RUNS)
}

/// Whether the accused strikes where it shows a short pulse itself, and (nearly) never at its lasting edges: then both are struck
/// by something else. What strikes does so whatever pulse its edge begins. `second`: ticks in a second. Cost: linear in the
/// accused line's edges.
pub fn only_where_struck_itself(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    second: f64,
) -> Option<Clue> {
    let all = edges[row.aggressor].either();
    let trials = trials(edges, victim, row);
    // How long the shorter of the levels beside the edge lasts.
    let beside = |time: i64| {
        let at = all.partition_point(|&t| t < time);
        let before = at.checked_sub(1).map_or(i64::MAX, |b| time - all[b]);
        all.get(at + 1).map_or(before, |next| before.min(next - time))
    };
    let slack = slack(victim.unit) as f64;
    [SHORT_S * second, AS_SHORT * victim.width as f64]
        .into_iter()
        .find_map(|short| {
            // Of edges beside a short pulse, and of the others: opportunities and strikes.
            let mut counts = [(0u64, 0u64); 2];
            for Trial { time, hit } in &trials {
                let lasts = beside(*time) as f64;
                // Where that hangs on a sample, so does whether sampling shows the stray.
                let [is_lasting, may_be] = [-slack, slack].map(|by| lasts + by >= short);
                if is_lasting != may_be {
                    continue;
                }
                let count = &mut counts[usize::from(is_lasting)];
                count.0 += 1;
                count.1 += u64::from(*hit);
            }
            let [with, without] = counts;
            let share = |of: (u64, u64)| of.1 as f64 / of.0.max(1) as f64;
            let is_so = without.0 >= FEWEST
                && share(without) <= STRAGGLE * share(with)
                && fisher(with.1, with.0, without.1, without.0).greater() <= CHANCE;
            is_so.then_some(Clue::StruckItself {
                line: row.aggressor,
                edge: row.edge,
                short: with,
                lasting: without,
            })
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures::{END, accused, own, rises};
    use crate::model::{Line, TimeSpan};

    #[test]
    fn a_clock_that_strikes_only_at_one_level_of_another_line_is_let_through() {
        let span = TimeSpan::new(Ticks(0), Ticks(END));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        // GATE changes after every fifth rise.
        let gate: Vec<i64> = (1..80).map(|n| 10_000 * n + 700).collect();
        let capture = Capture::in_nanoseconds(
            "gated",
            span,
            vec![
                line("STEP", rises(|_| true)),
                line("GATE", gate.clone()),
                line("PEG", Vec::new()),
            ],
        );
        let edges = [own(rises(|_| true), Vec::new()), own(gate, Vec::new())];
        let let_through = |strikes: fn(i64) -> bool| {
            let (victim, row) = accused(&rises(strikes));
            whose_level_matters(&capture, &edges, &victim, &row, &[0, 1])
        };
        let Some(Clue::Level { other, low, high, .. }) = let_through(|n| (n - 1) / 5 % 2 == 1 && n % 2 == 0)
        else {
            panic!("no level matters");
        };
        assert_eq!((other, low.1, high.1), (1, 0, 120));
        assert_eq!(let_through(|n| n % 3 == 0), None);
        // Every second where GATE is high, every fifth where it is low.
        let helped = |n: i64| {
            if (n - 1) / 5 % 2 == 1 {
                n % 2 == 0
            } else {
                n % 5 == 0
            }
        };
        assert_eq!(
            let_through(helped),
            None,
            "it strikes while the other is low as well"
        );
    }

    #[test]
    fn which_of_two_edges_of_one_sample_comes_first_is_no_level_that_matters() {
        let span = TimeSpan::new(Ticks(0), Ticks(END));
        // GATE rises with every rise of the clock, seen two ticks before those that strike and two after the others.
        let is_seen = |n: i64| n % 2 == 0;
        let gate = (1..401).flat_map(|n| {
            let at = 2_000 * n + if is_seen(n) { -2 } else { 2 };
            [Ticks(at), Ticks(at + 900)]
        });
        let capture = Capture::in_nanoseconds(
            "blurred",
            span,
            vec![
                Line::digital("STEP", Level::Low, Vec::new(), span),
                Line::digital("GATE", Level::Low, gate.collect(), span),
                Line::digital("PEG", Level::Low, Vec::new(), span),
            ],
        );
        let edges = [own(rises(|_| true), Vec::new()), OwnEdges::default()];
        let (victim, row) = accused(&rises(is_seen));
        assert_eq!(
            whose_level_matters(&capture, &edges, &victim, &row, &[0, 1]),
            None
        );
    }

    #[test]
    fn what_hangs_on_a_sample_is_no_level_and_no_length_that_matters() {
        // Sampled every 50 ticks: GATE falls as long before the clock's rises as its level is read, one sample more before those that
        // strike; the clock's pulses last four strays, or a sample more where they strike.
        let is_seen = |n: i64| n % 3 == 0;
        let span = TimeSpan::new(Ticks(0), Ticks(END));
        let told = |before: [i64; 2], lasts: [i64; 2]| {
            let of = |n: i64, two: [i64; 2]| 2_000 * n + two[usize::from(is_seen(n))];
            let gate = (1..401).flat_map(|n| [Ticks(2_000 * n - 900), Ticks(of(n, before))]);
            let line = |name: &str, edges: Vec<Ticks>| Line::digital(name, Level::Low, edges, span);
            let lines = vec![
                line("STEP", Vec::new()),
                line("GATE", gate.collect()),
                line("PEG", Vec::new()),
            ];
            let capture = Capture::in_nanoseconds("sampled", span, lines);
            let falls = (1..401).map(|n| of(n, lasts)).collect();
            let edges = [own(rises(|_| true), falls), OwnEdges::default()];
            let (victim, row) = accused(&rises(is_seen));
            let victim = Victim {
                unit: 50.0,
                width: 50,
                ..victim
            };
            let level = whose_level_matters(&capture, &edges, &victim, &row, &[0, 1]);
            let length = only_where_struck_itself(&edges, &victim, &row, 1e9);
            [level.is_some(), length.is_some()]
        };
        assert_eq!(told([-100, -150], [200, 150]), [false; 2]);
        assert_eq!(told([-50, -250], [300, 100]), [true; 2]);
    }

    #[test]
    fn a_line_that_strikes_only_with_its_own_short_pulses_is_struck_as_well() {
        // Every tenth pulse lasts 40 ticks, the others 900.
        let falls = (1..401)
            .map(|n| 2_000 * n + if n % 10 == 0 { 40 } else { 900 })
            .collect();
        let edges = [own(rises(|_| true), falls)];
        let is_struck = |strikes: fn(i64) -> bool| {
            let (victim, row) = accused(&rises(strikes));
            only_where_struck_itself(&edges, &victim, &row, 1e9).is_some()
        };
        assert!(is_struck(|n| n % 20 == 0));
        assert!(!is_struck(|n| n % 15 == 0), "its ordinary edges strike as well");
        // Every tenth lasts 300 ticks: no longer than four strays, where these last 100.
        let falls = (1..401)
            .map(|n| 2_000 * n + if n % 10 == 0 { 300 } else { 900 })
            .collect();
        let edges = [own(rises(|_| true), falls)];
        let (victim, row) = accused(&rises(|n| n % 20 == 0));
        let is_struck = |width: i64| {
            let victim = Victim {
                width,
                ..victim.clone()
            };
            only_where_struck_itself(&edges, &victim, &row, 1e9).is_some()
        };
        assert!(is_struck(100));
        assert!(!is_struck(20));
    }

    #[test]
    fn strikes_under_a_gate_come_in_runs() {
        let in_runs = |strikes: fn(i64) -> bool| {
            let edges = [own(rises(|_| true), Vec::new())];
            let (victim, row) = accused(&rises(strikes));
            comes_in_runs(&edges, &victim, &row)
        };
        assert!(in_runs(|n| n / 40 % 2 == 0 && n % 9 > 0));
        assert!(!in_runs(|n| n * 7_919 % 100 < 33));
    }
}
