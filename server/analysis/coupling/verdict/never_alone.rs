//! Strikes against their edge that come with other lines' edges of the same kind: outputs that share a lead.
//!
//! The current of outputs that fall together lifts the 0 V of their board, and that of outputs that rise together dips its
//! supply (Johnson & Graham, High-Speed Digital Design, 1993, chapter 2): a rise seems to dip the victim, a fall to lift it,
//! which capacitance does not do. A line that falls only where others fall, as the last of a counter's bits, gets the blame
//! of all of them: what it does by itself the record does not show.

use super::one_lag::is_one;
use super::trials::{Trial, trials};
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::fisher::fisher;
use crate::model::{Level, Polarity};

/// Chance at or below which the row strikes oftener where more lines switch its way, all numbers tried allowed for.
const CHANCE: f64 = 1e-3;
/// With at most this many others an edge is taken to come by itself; where several lines strike one victim against their edges,
/// only without any.
const ALONE: usize = 1;
/// So many strikes are to be expected of the edges by themselves, if they strike as often as all do, before it is said that they
/// do.
const EXPECTED: f64 = 3.0;
/// All that a clock latches comes with it, and more of it where something without a probe is latched as well. Of the busiest line
/// it says something only if many bring strays at this share of its edges at least, and few at no more than this.
const MANY_STRIKE: f64 = 0.5;
const FEW_STRIKE: f64 = 0.15;
/// Company is who comes with this share of the strikes.
const OFTEN: f64 = 0.2;
/// A clock goes with everything: the busiest line is no company where it has so many times the accused's edges.
const CLOCK: usize = 4;

/// Lines that switch the accused's way as it strikes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kind {
    pub line: usize,
    pub polarity: Polarity,
    pub company: Vec<usize>,
    pub shows: Shows,
}

/// What speaks for a lead that lines share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shows {
    /// The accused strikes oftener, beyond chance, where more of them switch its way.
    MoreTogether,
    /// It hardly ever switches without any of them.
    NeverAlone,
    /// Each of them strikes the victim against its edge.
    Several,
}

/// The kind of edge by which the row strikes against it: a rise that dips, a fall that lifts. None where an inverted copy
/// of the line, which pulls the other way, fits as well.
pub fn against(victim: &Victim, row: &Coupling) -> Option<Polarity> {
    if row.copies.iter().any(|copy| copy.inverted) {
        return None;
    }
    match (row.edge, victim.level) {
        (Edge::Rise, Level::Low) => Some(Polarity::Rise),
        (Edge::Fall, Level::High) => Some(Polarity::Fall),
        _ => None,
    }
}

/// The lines whose edges of the same kind come with the row's strikes, if what it strikes by itself does not show. `lines`: those
/// that are asked about; `span`: edges so near belong together, in ticks; `is_one_of_several`: others strike the victim so as well.
/// None for a stray that its edge pulls its own way. Cost: for each line, the accused edges × log of its own.
pub fn with_its_kind(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
    span: i64,
    is_one_of_several: bool,
) -> Option<Kind> {
    let polarity = against(victim, row)?;
    let others_at_most = if is_one_of_several { 0 } else { ALONE };
    let own = edges[row.aggressor].of(polarity).len();
    let busiest = lines.iter().copied().max_by_key(|&line| edges[line].rises.len());
    let is_clock =
        |line: usize| Some(line) == busiest && edges[line].of(polarity).len() >= CLOCK * own.max(1);
    let others: Vec<usize> = lines
        .iter()
        .copied()
        .filter(|&line| line != row.aggressor && line != victim.line && !is_clock(line))
        // What can't be told from the accused is no company.
        .filter(|line| !row.inseparable_from.contains(line))
        .collect();
    let comes_with = |line: usize, time: i64| any_within(edges[line].of(polarity), time - span, time + span);
    // By how many others switch its way: edges and strikes.
    let mut counts = vec![(0u64, 0u64); others.len() + 1];
    let mut with_strikes = vec![0u64; others.len()];
    for Trial { time, hit } in trials(edges, victim, row) {
        let beside: Vec<usize> = (0..others.len())
            .filter(|&at| comes_with(others[at], time))
            .collect();
        let count = &mut counts[beside.len()];
        count.0 += 1;
        count.1 += u64::from(hit);
        beside.iter().for_each(|&at| with_strikes[at] += u64::from(hit));
    }
    let sum = |of: &[(u64, u64)]| of.iter().fold((0, 0), |all, c| (all.0 + c.0, all.1 + c.1));
    let all = sum(&counts);
    let cuts: Vec<usize> = (1..counts.len()).filter(|&at| sum(&counts[at..]).0 > 0).collect();
    let is_busiest = busiest.is_none_or(|line| edges[line].rises.len() <= edges[row.aggressor].rises.len());
    let rises = |&at: &usize| {
        let (few, many) = (sum(&counts[..at]), sum(&counts[at..]));
        let share = |of: (u64, u64)| of.1 as f64 / of.0.max(1) as f64;
        let is_plain = share(many) >= MANY_STRIKE && share(few) <= FEW_STRIKE;
        (is_plain || !is_busiest)
            && fisher(many.1, many.0, few.1, few.0).greater() * cuts.len() as f64 <= CHANCE
    };
    let alone = sum(&counts[..counts.len().min(others_at_most + 1)]);
    let is_open =
        (is_one_of_several || !is_busiest) && (alone.0 as f64) * (all.1 as f64) < EXPECTED * all.0 as f64;
    let (shows, fewest) = match cuts.iter().any(rises) {
        true => (Shows::MoreTogether, 1),
        false => (Shows::NeverAlone, others_at_most + 1),
    };
    if all.1 == 0 || !is_open && shows == Shows::NeverAlone {
        return None;
    }
    let company = others.iter().zip(&with_strikes);
    let company = company.filter(|(_, strikes)| **strikes as f64 >= OFTEN * all.1 as f64);
    let company: Vec<usize> = company.map(|(line, _)| *line).collect();
    (company.len() >= fewest).then_some(Kind {
        line: row.aggressor,
        polarity,
        company,
        shows,
    })
}

/// Strikes of the opposite edge by itself that say something, and the chance at or below which it strikes more seldom so.
const BY_ITSELF: u64 = 6;
const SELDOM: f64 = 0.05;

/// Whether `other`, the row of the same line's opposite edges, strikes after the lag of `row` where no other line switches, and
/// as often as it does in company: what outputs share a lead for needs several of them, and gives edges and their opposites
/// opposite signs. `span`: edges so near belong together, in ticks. Cost: for each line, those edges × log of its own.
pub fn strikes_by_itself(
    edges: &[OwnEdges],
    victim: &Victim,
    (row, other): (&Coupling, &Coupling),
    lines: &[usize],
    span: i64,
) -> bool {
    let lags = |row: &Coupling| -> Vec<f64> { row.occurrences.iter().map(|o| o.lag as f64).collect() };
    if row.edge == other.edge || !is_one(&lags(row), &lags(other), victim.unit) {
        return false;
    }
    let others = || {
        lines
            .iter()
            .filter(|&&line| line != row.aggressor && line != victim.line)
    };
    let is_alone = |time: i64| {
        let switches = |line: usize, polarity| any_within(edges[line].of(polarity), time - span, time + span);
        !others().any(|&line| switches(line, Polarity::Rise) || switches(line, Polarity::Fall))
    };
    let (mut alone, mut along) = ((0, 0), (0, 0));
    for Trial { time, hit } in trials(edges, victim, other) {
        let count = if is_alone(time) { &mut alone } else { &mut along };
        count.0 += 1;
        count.1 += u64::from(hit);
    }
    alone.1 >= BY_ITSELF && fisher(along.1, along.0, alone.1, alone.0).greater() > SELDOM
}

/// The lines of `rows`, if these are several that all strike against their edges, and by one kind of edge: that each is coupled
/// magnetically is less likely than that they share a lead.
pub fn several(victim: &Victim, rows: &[Coupling]) -> Option<Kind> {
    let polarity = against(victim, rows.first()?)?;
    let strongest = rows.iter().max_by_key(|row| row.strays)?;
    let mut company: Vec<usize> = rows.iter().map(|row| row.aggressor).collect();
    company.sort_unstable();
    company.dedup();
    company.retain(|&line| line != strongest.aggressor);
    let are_alike = rows.iter().all(|row| against(victim, row) == Some(polarity));
    (are_alike && !company.is_empty()).then_some(Kind {
        line: strongest.aggressor,
        polarity,
        company,
        shows: Shows::Several,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::{CopyOf, Occurrence};

    const END: i64 = 900_000;

    /// Rises 2,000 ticks apart, those of 400 that `which` tells.
    fn rises(which: impl Fn(i64) -> bool) -> Vec<i64> {
        (1..401).filter(|&n| which(n)).map(|n| 2_000 * n).collect()
    }

    /// Whom line 0's rises share a lead with, that dip PEG at `strikes`; lines 1 to 3 rise at `others`, line 4 is a clock.
    fn shared(
        own: fn(i64) -> bool,
        strikes: fn(i64) -> bool,
        others: [fn(i64) -> bool; 3],
        is_one_of_several: bool,
    ) -> Option<(Vec<usize>, Shows)> {
        let (victim, row) = accused(&rises(|n| own(n) && strikes(n)));
        let line = |rises: Vec<i64>| OwnEdges {
            rises,
            falls: Vec::new(),
        };
        let mut edges = vec![line(rises(own))];
        edges.extend(others.map(|other| line(rises(other).iter().map(|t| t + 20).collect())));
        edges.push(line((1..2_000).map(|n| 400 * n).collect()));
        let kind = with_its_kind(&edges, &victim, &row, &[0, 1, 2, 3, 4], 40, is_one_of_several);
        kind.map(|kind| (kind.company, kind.shows))
    }

    fn accused(struck: &[i64]) -> (Victim, Coupling) {
        let times = struck.iter().map(|t| t + 30).collect();
        let victim = Victim {
            level: Level::Low,
            ..fixtures::victim(5, times, vec![Rest { start: 0, end: END }])
        };
        let occurrences = struck.iter().enumerate().map(|(stray, &at)| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray,
            lag: 30,
        });
        let row = fixtures::row([5, 0], Edge::Rise, 30, occurrences.collect(), 400);
        (victim, row)
    }

    const SECOND: fn(i64) -> bool = |n| n % 2 == 0;
    const NEVER: fn(i64) -> bool = |_| false;

    #[test]
    fn what_strikes_oftener_the_more_rise_together_shares_a_lead() {
        let others = [SECOND, |n| n % 4 == 0, |n| n % 8 == 0];
        let found = shared(|_| true, |n| n % 4 == 0, others, false);
        assert_eq!(found, Some((vec![1, 2, 3], Shows::MoreTogether)));
        let alike = shared(|_| true, |n| n % 3 == 0, others, false);
        assert_eq!(alike, None, "it strikes as often by itself");
    }

    #[test]
    fn what_never_rises_by_itself_is_left_open() {
        // As the last bit of a counter that counts down.
        let last = |n| n % 8 == 0;
        let counter = [SECOND, |n| n % 4 == 0, NEVER];
        let found = shared(last, |n| n % 24 != 0, counter, false);
        assert_eq!(found, Some((vec![1, 2], Shows::NeverAlone)));
        // With a single other at each edge; of several lines that strike so each may be blamed for it.
        let one = [SECOND, NEVER, NEVER];
        assert_eq!(shared(last, |n| n % 24 != 0, one, false), None);
        assert_eq!(
            shared(last, |n| n % 24 != 0, one, true),
            Some((vec![1], Shows::NeverAlone))
        );
    }

    #[test]
    fn a_line_whose_other_edge_strikes_alone_needs_no_lead() {
        // A strobe rises with the clock (line 1) and falls 139 ticks later; every third of its falls strikes.
        let own = OwnEdges {
            rises: rises(|_| true),
            falls: rises(|_| true).iter().map(|t| t + 139).collect(),
        };
        let along = |others: Vec<i64>| {
            let clock = OwnEdges {
                rises: rises(|_| true),
                falls: others,
            };
            [own.clone(), clock]
        };
        let by_itself = |others: Vec<i64>, strikes: fn(i64) -> bool, lag: i64| {
            let (_, row) = accused(&rises(|n| n % 2 == 0));
            let struck: Vec<i64> = rises(strikes).iter().map(|t| t + 139).collect();
            let (victim, fall) = accused(&struck);
            let occurrences = fall.occurrences.iter().map(|o| Occurrence {
                polarity: Polarity::Fall,
                lag,
                ..*o
            });
            let fall = Coupling {
                edge: Edge::Fall,
                occurrences: occurrences.collect(),
                ..fall
            };
            strikes_by_itself(&along(others), &victim, (&row, &fall), &[0, 1], 40)
        };
        let third: fn(i64) -> bool = |n| n % 3 == 0;
        assert!(by_itself(Vec::new(), third, 30));
        assert!(!by_itself(Vec::new(), third, 60), "after another lag");
        assert!(!by_itself(Vec::new(), |n| n % 100 == 0, 30), "four strikes");
        let every = |which: fn(i64) -> bool| rises(which).iter().map(|t| t + 150).collect::<Vec<i64>>();
        assert!(!by_itself(every(|_| true), third, 30), "never alone either");
        assert!(by_itself(every(|n| n % 4 == 0), third, 30));
        assert!(
            !by_itself(every(|n| n % 6 == 0), |n| n % 6 == 0 || n % 50 == 1, 30),
            "hardly alone"
        );
    }

    #[test]
    fn of_the_busiest_line_more_company_says_little() {
        // Line 0 is the busiest of those asked about; it strikes one time in six by itself, one in three with two others.
        let (victim, row) = accused(&rises(|n| if n % 2 == 0 { n % 6 == 0 } else { n % 12 == 1 }));
        let line = |rises: Vec<i64>| OwnEdges {
            rises,
            falls: Vec::new(),
        };
        let edges = [line(rises(|_| true)), line(rises(SECOND)), line(rises(SECOND))];
        assert_eq!(with_its_kind(&edges, &victim, &row, &[0, 1, 2], 40, false), None);
        let (victim, row) = accused(&rises(|n| n % 4 != 1 && n % 4 != 3));
        let found = with_its_kind(&edges, &victim, &row, &[0, 1, 2], 40, false);
        assert!(found.is_some_and(|kind| kind.shows == Shows::MoreTogether));
    }

    #[test]
    fn several_lines_against_their_edges_may_share_a_lead() {
        let (victim, row) = accused(&rises(|n| n % 4 == 0));
        let other = |aggressor: usize, edge: Edge| Coupling {
            aggressor,
            edge,
            strays: 5,
            ..row.clone()
        };
        let found = several(
            &victim,
            &[other(3, Edge::Rise), row.clone(), other(2, Edge::Rise)],
        );
        let found = found.expect("a lead");
        assert_eq!((found.line, found.company), (0, vec![2, 3]));
        assert_eq!(
            several(&victim, &[row.clone(), other(2, Edge::Fall)]),
            None,
            "one pulls its own way"
        );
        assert_eq!(several(&victim, std::slice::from_ref(&row)), None);
    }

    #[test]
    fn what_pulls_its_own_way_shares_nothing() {
        let (victim, row) = accused(&rises(|n| n % 4 == 0));
        assert_eq!(against(&victim, &row), Some(Polarity::Rise));
        let lifted = Victim {
            level: Level::High,
            ..victim.clone()
        };
        assert_eq!(against(&lifted, &row), None);
        let copied = Coupling {
            copies: vec![CopyOf {
                line: 3,
                inverted: true,
                delay: 12,
            }],
            ..row
        };
        assert_eq!(against(&victim, &copied), None, "its inverse pulls the other way");
    }
}
