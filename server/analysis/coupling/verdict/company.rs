//! Whether the accused line's edges strike alike with and without another line's switching beside them.
//!
//! What strikes by itself strikes as often whoever else switches. A line without a probe, latched by the accused clock,
//! switches at some of its edges only; a captured line that goes along with it shows at which. [`super::context`] asks
//! this of lines that switch at the same instant; here they may follow the accused for as long as a stray may.

use super::clues::Clue;
use super::context::Contrast;
use super::trials::{Trial, trials};
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::fisher::fisher;
use crate::model::Polarity;

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

/// Whether the accused switches (nearly) as often as any of `lines`, as a clock does.
fn is_busiest(edges: &[OwnEdges], row: &Coupling, lines: &[usize]) -> bool {
    let busiest = lines.iter().map(|&line| edges[line].rises.len()).max();
    edges[row.aggressor].rises.len() as f64 >= BUSIEST * busiest.unwrap_or(0) as f64
}

/// Whether one of `times` lies in `[time − before, time + after]`; none where that hangs on a sample: how an edge near either end
/// is rounded goes with whether sampling shows the stray.
fn switches(times: &[i64], time: i64, [before, after]: [i64; 2], unit: f64) -> Option<bool> {
    let slack = if unit > 1.0 { unit.ceil() as i64 } else { 1 };
    let is_within = any_within(times, time - before + slack, time + after - slack);
    let may_be = any_within(times, time - before - slack, time + after + slack);
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
) -> Option<Clue> {
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
    for (at_most, count) in counts.iter().enumerate() {
        few = (few.0 + count.0, few.1 + count.1);
        let many = (all.0 - few.0, all.1 - few.1);
        if count.0 > 0 && few.0 >= FEWEST_MANY && many.0 >= FEWEST_MANY {
            chances.push((
                fisher(few.1, few.0, many.1, many.0).two_sided(),
                at_most,
                few,
                many,
            ));
        }
    }
    let tried = chances.len() as f64;
    let limit = match is_busiest(edges, row, lines) {
        true => MANY_CHANCE_OF_CLOCK,
        false => MANY_CHANCE,
    };
    let (chance, at_most, few, many) = chances.into_iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
    (chance * tried <= limit).then_some(Clue::Crowd {
        line: row.aggressor,
        edge: row.edge,
        at_most,
        few,
        many,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures::{accused, own, rises};

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

    /// What a capture of four lines shows that switch 20 ticks after the clock's rises, where `switches(rise, line)` says.
    fn goes_with_many(switches: fn(i64, i64) -> bool, strikes: fn(i64) -> bool) -> bool {
        let mut edges = vec![own(rises(|_| true), Vec::new())];
        edges.extend((1..5).map(|line| {
            let times = rises(|n| switches(n, line)).iter().map(|t| t + 20).collect();
            own(times, Vec::new())
        }));
        let (victim, row) = accused(&rises(strikes));
        of_many_matters(&edges, &victim, &row, &[0, 1, 2, 3, 4], [40, 120]).is_some()
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
}
