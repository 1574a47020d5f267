//! Whether the accused line's edges strike alike with and without another line's switching beside them.
//!
//! What strikes by itself strikes as often whoever else switches. A line without a probe, latched by the accused clock,
//! switches at some of its edges only; a captured line that goes along with it shows at which. [`super::context`] asks
//! this of lines that switch at the same instant; here they may follow the accused for as long as a stray may.

use super::able::OwnEdges;
use super::context::Contrast;
use super::rows::edges_of;
use super::select::Victim;
use super::{Coupling, Edge};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::runs::runs;
use crate::model::{Capture, Level, Polarity, Ticks};

/// Chance, all lines and edges allowed for, at or below which company matters; where the accused is the busiest line, with which
/// all that it latches goes along, and where it is another.
const CHANCE_OF_CLOCK: f64 = 2e-3;
const CHANCE: f64 = 3e-4;
/// The busiest line's edges, to this share.
const BUSIEST: f64 = 0.9;
/// Edges of the accused with company, and without, from which on anything is concluded.
const FEWEST: u64 = 3;
/// The same where lines are counted, whichever they are: edges with few and with many.
const MANY_CHANCE_OF_CLOCK: f64 = 1e-4;
const MANY_CHANCE: f64 = 2e-5;
const FEWEST_MANY: u64 = 10;
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
/// What follows a clock belongs to one of its edges up to this share of the usual distance between them, and no longer than
/// this.
const OF_INTERVAL: f64 = 0.4;
const LONGEST_S: f64 = 400e-9;

/// How long after an accused edge another belongs to it, in ticks: `reach`, or longer where the accused edges are far apart.
/// `second`: ticks in a second. Cost: linear in the edges.
pub fn after(times: &[i64], reach: i64, second: f64) -> i64 {
    let mut between: Vec<i64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    if between.is_empty() {
        return reach;
    }
    let middle = between.len() / 2;
    let (_, usual, _) = between.select_nth_unstable(middle);
    reach.max((OF_INTERVAL * *usual as f64).min(LONGEST_S * second) as i64)
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
) -> Option<usize> {
    let trials = trials(edges, victim, row);
    // Well before: what the accused edge itself switches says nothing, and which of two edges less than a sample apart came
    // first says when between two samples they came, on which it depends whether sampling shows the stray.
    let before = (BEFORE * victim.unit).ceil() as i64;
    let others = lines.iter().copied().filter(|&line| line != row.aggressor);
    let tried = others.clone().count().max(1) as f64;
    let chance_of = |line: usize| {
        let record = &capture.lines[line];
        let mut counts = [(0u64, 0u64); 2];
        let (mut changes, mut last) = (0, None);
        for &Trial { time, hit } in &trials {
            let high = record.level_at(Ticks(time - before)) == Level::High;
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
        (says && less <= SHUT * more).then(|| fisher(low.1, low.0, high.1, high.0).two_sided())
    };
    let tested = others.filter_map(|line| Some((chance_of(line)?, line)));
    let (chance, line) = tested.min_by(|a, b| a.0.total_cmp(&b.0))?;
    (chance * tried <= LEVEL_CHANCE).then_some(line)
}

/// A pulse shorter than this, or than so many times a stray of the victim, may be a stray of the accused line's own, though nothing
/// calls it so.
const SHORT_S: f64 = 150e-9;
const AS_SHORT: f64 = 4.0;
/// Strikes at edges without a short pulse beside, as a share of those with one: an edge or two may strike by chance.
const STRAGGLE: f64 = 0.05;

/// Standard deviations by which runs are fewer than chance has them where a gate opens and closes.
const RUNS: f64 = 5.0;

/// Whether the row's strikes come in runs, as where the victim floats now and then or a gate lets them through. Cost: linear in
/// the accused edges.
pub fn comes_in_runs(edges: &[OwnEdges], victim: &Victim, row: &Coupling) -> bool {
    let outcomes: Vec<bool> = trials(edges, victim, row).iter().map(|trial| trial.hit).collect();
    runs(&outcomes, 0.0).is_some_and(|z| z < -RUNS)
}

/// Whether the accused strikes where it shows a short pulse itself, and (nearly) never at its lasting edges: then both are struck
/// by something else. What strikes does so whatever pulse its edge begins. `second`: ticks in a second. Cost: linear in the
/// accused line's edges.
pub fn only_where_struck_itself(edges: &[OwnEdges], victim: &Victim, row: &Coupling, second: f64) -> bool {
    let all = edges[row.aggressor].either();
    let trials = trials(edges, victim, row);
    // How long the shorter of the levels beside the edge lasts.
    let beside = |time: i64| {
        let at = all.partition_point(|&t| t < time);
        let before = at.checked_sub(1).map_or(i64::MAX, |b| time - all[b]);
        all.get(at + 1).map_or(before, |next| before.min(next - time))
    };
    [SHORT_S * second, AS_SHORT * victim.width as f64]
        .into_iter()
        .any(|short| {
            // Of edges beside a short pulse, and of the others: opportunities and strikes.
            let mut counts = [(0u64, 0u64); 2];
            for Trial { time, hit } in &trials {
                let count = &mut counts[usize::from(beside(*time) as f64 >= short)];
                count.0 += 1;
                count.1 += u64::from(*hit);
            }
            let [with, without] = counts;
            let share = |of: (u64, u64)| of.1 as f64 / of.0.max(1) as f64;
            without.0 >= FEWEST
                && share(without) <= STRAGGLE * share(with)
                && fisher(with.1, with.0, without.1, without.0).greater() <= CHANCE
        })
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

/// Whether the accused switches (nearly) as often as any of `lines`, as a clock does.
fn is_busiest(edges: &[OwnEdges], row: &Coupling, lines: &[usize]) -> bool {
    let busiest = lines.iter().map(|&line| edges[line].rises.len()).max();
    edges[row.aggressor].rises.len() as f64 >= BUSIEST * busiest.unwrap_or(0) as f64
}

/// Whether one of `times` lies in `[time − before, time + after]`; none where that hangs on a sample: how an edge near either end
/// is rounded goes with whether sampling shows the stray.
fn switches(times: &[i64], time: i64, [before, after]: [i64; 2], unit: f64) -> Option<bool> {
    let slack = if unit > 1.0 { unit.ceil() as i64 } else { 1 };
    let is_any = |from: i64, to: i64| {
        let next = times.get(times.partition_point(|&t| t < from));
        next.is_some_and(|&t| t <= to)
    };
    let is_within = is_any(time - before + slack, time + after - slack);
    let may_be = is_any(time - before - slack, time + after + slack);
    (is_within == may_be).then_some(is_within)
}

/// Whether either of two is so, as far as is known.
fn either(a: Option<bool>, b: Option<bool>) -> Option<bool> {
    match (a, b) {
        (Some(true), _) | (_, Some(true)) => Some(true),
        (Some(false), Some(false)) => Some(false),
        _ => None,
    }
}

/// A contrast, and the chance of one as plain among all that were looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    pub contrast: Contrast,
    pub chance: f64,
}

/// The line beside whose edges the row strikes most differently from how it strikes without them, if that is no chance.
/// `lines`: those that are asked about; `before`, `after`: how long before and after the accused edge another belongs to
/// it, in ticks. Cost: for each line, the accused edges × log of its own.
pub fn that_matters(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
    [before, after]: [i64; 2],
) -> Option<Shown> {
    let trials = trials(edges, victim, row);
    let at_most = match is_busiest(edges, row, lines) {
        true => CHANCE_OF_CLOCK,
        false => CHANCE,
    };
    let others = lines.iter().filter(|&&line| line != row.aggressor);
    let tried = (3 * others.clone().count()).max(1) as f64;
    let mut best: Option<(f64, Contrast)> = None;
    for &other in others {
        let beside =
            |time: i64, polarity| switches(edges[other].of(polarity), time, [before, after], victim.unit);
        let switched = |time: i64| {
            let [rises, falls] = [Polarity::Rise, Polarity::Fall].map(|p| beside(time, p));
            [rises, falls, either(rises, falls)]
        };
        let mut counts = [[(0u64, 0u64); 2]; 3];
        for &Trial { time, hit } in &trials {
            for (count, with) in counts.iter_mut().zip(switched(time)) {
                let Some(with) = with else { continue };
                let count = &mut count[usize::from(!with)];
                count.0 += 1;
                count.1 += u64::from(hit);
            }
        }
        for ([with, without], other_edge) in counts.into_iter().zip([Edge::Rise, Edge::Fall, Edge::Both]) {
            if with.0 < FEWEST || without.0 < FEWEST {
                continue;
            }
            let chance = fisher(with.1, with.0, without.1, without.0).two_sided();
            if chance * tried <= at_most && best.as_ref().is_none_or(|(least, _)| chance < *least) {
                let contrast = Contrast {
                    line: row.aggressor,
                    edge: row.edge,
                    other,
                    other_edge,
                    with,
                    without,
                };
                best = Some((chance, contrast));
            }
        }
    }
    best.map(|(chance, contrast)| Shown {
        contrast,
        chance: (chance * tried).min(1.0),
    })
}

/// Whether the row strikes otherwise where many lines switch beside the accused edge than where few do, if that is no chance:
/// the lines of a bus that a hidden strobe or enable takes along tell of it together where none does alone. Arguments
/// and cost as of [`that_matters`].
pub fn of_many_matters(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
    [before, after]: [i64; 2],
) -> bool {
    let trials = trials(edges, victim, row);
    let others: Vec<usize> = lines
        .iter()
        .copied()
        .filter(|&line| line != row.aggressor)
        .collect();
    // By how many lines switch: opportunities and strikes.
    let mut counts = vec![(0u64, 0u64); others.len() + 1];
    for &Trial { time, hit } in &trials {
        let beside = |line: usize| {
            let [rises, falls] = [Polarity::Rise, Polarity::Fall]
                .map(|polarity| switches(edges[line].of(polarity), time, [before, after], victim.unit));
            either(rises, falls)
        };
        // Where one hangs on a sample, so does the number.
        let switch: Option<usize> = others.iter().map(|&line| beside(line).map(usize::from)).sum();
        let Some(switch) = switch else { continue };
        let count = &mut counts[switch];
        count.0 += 1;
        count.1 += u64::from(hit);
    }
    let all = counts.iter().fold((0, 0), |all, c| (all.0 + c.0, all.1 + c.1));
    let mut few = (0, 0);
    let mut chances = Vec::new();
    for count in &counts {
        few = (few.0 + count.0, few.1 + count.1);
        let many = (all.0 - few.0, all.1 - few.1);
        if count.0 > 0 && few.0 >= FEWEST_MANY && many.0 >= FEWEST_MANY {
            chances.push(fisher(few.1, few.0, many.1, many.0).two_sided());
        }
    }
    let tried = chances.len() as f64;
    let at_most = match is_busiest(edges, row, lines) {
        true => MANY_CHANCE_OF_CLOCK,
        false => MANY_CHANCE,
    };
    chances.into_iter().any(|chance| chance * tried <= at_most)
}

#[cfg(test)]
mod tests {
    use super::super::Occurrence;
    use super::super::able::Rest;
    use super::super::fixtures;
    use super::*;
    use crate::model::{Line, TimeSpan};

    const END: i64 = 900_000;

    /// A victim struck 30 ticks after each of `struck`, and the row that accuses line 0's rises of it.
    fn accused(struck: &[i64]) -> (Victim, Coupling) {
        let victim = fixtures::victim(
            2,
            struck.iter().map(|t| t + 30).collect(),
            vec![Rest { start: 0, end: END }],
        );
        let occurrences = struck.iter().enumerate().map(|(stray, &at)| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray,
            lag: 30,
        });
        let row = fixtures::row([2, 0], Edge::Rise, 30, occurrences.collect(), 400);
        (victim, row)
    }

    fn own(rises: Vec<i64>, falls: Vec<i64>) -> OwnEdges {
        OwnEdges { rises, falls }
    }

    /// Rises of a clock, one every 2,000 ticks, of those that `which` keeps.
    fn rises(which: impl Fn(i64) -> bool) -> Vec<i64> {
        (1..401).filter(|&n| which(n)).map(|n| 2_000 * n).collect()
    }

    #[test]
    fn a_clock_that_strikes_only_where_another_line_follows_has_company() {
        // The other follows every second rise 70 ticks later.
        let follows = (1..201).map(|n| 4_000 * n + 70).collect();
        let edges = [own(rises(|_| true), Vec::new()), own(follows, Vec::new())];
        let contrast = |strikes: fn(i64) -> bool| {
            let (victim, row) = accused(&rises(strikes));
            that_matters(&edges, &victim, &row, &[0, 1], [40, 120])
        };
        let found = contrast(|n| n % 4 == 0).expect("company");
        assert_eq!(
            (found.contrast.other, found.contrast.with, found.contrast.without),
            (1, (200, 100), (200, 0))
        );
        assert_eq!(
            contrast(|n| n % 3 == 0),
            None,
            "it strikes alike with and without"
        );
    }

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
        assert_eq!(let_through(|n| (n - 1) / 5 % 2 == 1 && n % 2 == 0), Some(1));
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
    fn a_line_that_strikes_only_with_its_own_short_pulses_is_struck_as_well() {
        // Every tenth pulse lasts 40 ticks, the others 900.
        let falls = (1..401)
            .map(|n| 2_000 * n + if n % 10 == 0 { 40 } else { 900 })
            .collect();
        let edges = [own(rises(|_| true), falls)];
        let is_struck = |strikes: fn(i64) -> bool| {
            let (victim, row) = accused(&rises(strikes));
            only_where_struck_itself(&edges, &victim, &row, 1e9)
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
            only_where_struck_itself(&edges, &victim, &row, 1e9)
        };
        assert!(is_struck(100));
        assert!(!is_struck(20));
    }

    /// What a capture of four lines shows that switch 20 ticks after the clock's rises, where `switches(rise, line)` says.
    fn goes_with_many(switches: fn(i64, i64) -> bool, strikes: fn(i64) -> bool) -> bool {
        let mut edges = vec![own(rises(|_| true), Vec::new())];
        edges.extend((1..5).map(|line| {
            let times = rises(|n| switches(n, line)).iter().map(|t| t + 20).collect();
            own(times, Vec::new())
        }));
        let (victim, row) = accused(&rises(strikes));
        of_many_matters(&edges, &victim, &row, &[0, 1, 2, 3, 4], [40, 120])
    }

    #[test]
    fn a_bus_tells_of_what_takes_it_along_where_none_of_its_lines_does() {
        // A strobe at every second rise takes each line along half the time, another way at each rise.
        let bus = |n: i64, line: i64| n % 2 == 0 && ((n / 2) >> (line - 1)) % 2 == 1;
        assert!(goes_with_many(bus, |n| n % 4 == 0));
        assert!(
            !goes_with_many(bus, |n| n % 3 == 0),
            "it strikes alike with many and few"
        );
    }

    #[test]
    fn an_edge_at_the_end_of_the_time_looked_at_hangs_on_a_sample() {
        let switches = |edge: i64| switches(&[edge], 1_000, [40, 120], 10.0);
        assert_eq!([switches(970), switches(1_000), switches(1_109)], [Some(true); 3]);
        assert_eq!([switches(940), switches(1_131)], [Some(false); 2]);
        assert_eq!(
            [switches(955), switches(965), switches(1_115), switches(1_125)],
            [None; 4]
        );
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
