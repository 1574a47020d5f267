//! Strays that look like a race of the victim's own logic, whoever seems to bring them.
//!
//! A decoder or an adder whose inputs settle one after the other puts out short pulses (hazards) at the steps at which it
//! switches for good. Where all inputs are captured, levels tell ([`super::hazard`]); where some are not, these signs do:
//! - a row looks like what a part makes ([`part_like`]);
//! - each of the victim's own cycles has the same number of strays, one or more: a counter's states come round;
//! - the accused edge seems to come after the stray, if only within sampling, and the victim's own edges come at its instants or at
//!   those of a line that goes with the strays: both are driven by a third.
//!
//! Each has other explanations now and then, so what is said is a doubt. Tried and dropped: levels of up to five captured
//! lines that decide together whether a stray comes; where they did, one of the signs above held as well.

use super::input;
use super::part_like;
use crate::analysis::coupling::fit::rows::edges_of;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::legitimate::answering::Answering;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within, gallop};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::strays::Strays;

/// What shows that strays may be a race, in the order in which it is asked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sign {
    /// So many strays in each of so many of the victim's cycles, of all of them.
    EachCycle { strays: u64, cycles: u64, of: u64 },
    /// The accused strikes at so many of its opportunities.
    EveryTime { strikes: u64, of: u64 },
    /// The accused edge comes so much later than the stray, in ticks.
    Late { by: f64 },
    /// All strays have one width, in ticks.
    OneWidth { least: i64, most: i64 },
    /// They come before edges that answer the accused's, and have one width as far as samples tell, in ticks.
    BeforeAnswers { least: i64, most: i64 },
    /// So many of the victim's own edges, of all, follow the accused's after the same time, as a gate's do its input's.
    Input { own: u64, of: u64 },
    /// So many of the victim's own pulses of the strays' level, of all, begin as these do: mean lags of strays and of own ones, in ticks.
    Clocked { own: u64, of: u64, lags: [f64; 2] },
    /// So many last as long as the accused's own pulses, upside down.
    Inverted { strikes: u64 },
}

/// Strays of one victim level that may be a race.
#[derive(Clone, Debug, PartialEq)]
pub struct Race {
    pub sign: Sign,
    /// Whose edges they come with, most telling first; with what edge where one is accused.
    pub lines: Vec<usize>,
    pub edge: Option<Edge>,
    /// Whether the victim's own edges are of the same step.
    pub in_step: bool,
}

impl Race {
    /// Whether it is told before what else may be doubtful about its victim: its sign is of the victim's own cycles or step.
    pub fn is_plain(&self) -> bool {
        match self.sign {
            Sign::EachCycle { .. } | Sign::Inverted { .. } => true,
            Sign::EveryTime { .. } | Sign::Late { .. } => self.in_step,
            Sign::OneWidth { .. }
            | Sign::BeforeAnswers { .. }
            | Sign::Input { .. }
            | Sign::Clocked { .. } => false,
        }
    }
}

/// Edges that logic makes switch at one step lie within this of each other: a few gates' delays (5 to 22 ns each, from memory of
/// TTL data books), and a sample and a half.
const STEP_S: f64 = 60e-9;
const STEP_SAMPLES: f64 = 1.5;
/// Share of the strikes and of the victim's own edges that one line goes with, where both are of one step; or of the own edges
/// that the accused edges alone go with.
const BOTH: f64 = 0.5;
const BY_ACCUSED: f64 = 0.2;
/// A row with a smaller share of the strays than this doesn't speak for them.
const SPEAKS: f64 = 0.5;
/// Share of the victim's cycles with one number of strays, and how many cycles at least.
const ALIKE: f64 = 0.85;
const FEWEST_CYCLES: usize = 12;
/// Share of the strays and of the victim's own edges, of which there are so many at least, that one line goes with where all are of
/// one step; and of the time that its edges may cover.
const NEARLY_ALL: f64 = 0.9;
const FEWEST_OWN: usize = 12;
const MOSTLY_REST: f64 = 0.5;
/// Samples by which the accused edge comes after the stray on the mean.
const LATE: f64 = 0.9;

/// What shows that a victim level's strays may be a race, if anything does. `rows`: what was found for it; `lines`: those looked
/// at; `volts`: whether the victim was captured as volts; `are_runts`: whether its strays reach no threshold of
/// the other level there; `second`: ticks in a second. Cost: linear in the victim's own
/// edges, and for each row its edges and strikes × log of the edges of each line.
pub fn find(
    edges: &[OwnEdges],
    strays: &Strays,
    victim: &Victim,
    rows: &[Coupling],
    lines: &[usize],
    (volts, are_runts): (bool, bool),
    second: f64,
) -> Option<Race> {
    if let Some(sign) = each_cycle(&edges[victim.line], victim) {
        let mut most: Vec<&Coupling> = rows.iter().collect();
        most.sort_by_key(|row| std::cmp::Reverse(row.strays));
        return Some(Race {
            sign,
            lines: most.iter().map(|row| row.aggressor).collect(),
            edge: None,
            in_step: false,
        });
    }
    let step = step(victim, second);
    let speaks = |row: &&Coupling| row.strays as f64 >= SPEAKS * victim.times.len() as f64;
    rows.iter().filter(speaks).find_map(|row| {
        let alone = match volts {
            true => None,
            false => part_like::sign(edges, strays, victim, row, second),
        };
        let input = input::sign(edges, victim, row, second).filter(|_| !are_runts);
        if let Some(sign) = input {
            return Some(Race {
                sign,
                lines: vec![row.aggressor],
                edge: Some(row.edge),
                in_step: true,
            });
        }
        // In volts a fixed coupling strikes every time, and leaves no whole pulses.
        let every_time = || match are_runts {
            true => None,
            false => part_like::strikes_every_time(edges, victim, row),
        };
        let sign = alone
            .or_else(every_time)
            .or_else(|| comes_late(victim, row, volts))?;
        let with = one_step(edges, victim, row, lines, step);
        if alone.is_none() && with.is_none() {
            return None;
        }
        Some(Race {
            sign,
            lines: [Some(row.aggressor), with.flatten()]
                .into_iter()
                .flatten()
                .collect(),
            edge: Some(row.edge),
            in_step: with.is_some(),
        })
    })
}

/// What shows that strays before answers of the victim's may be a race of the answering part: all have one width.
pub fn before_answers(answering: &[Answering], victim: &Victim, rows: &[Coupling]) -> Option<Race> {
    let answers = answering
        .iter()
        .find(|a| a.line == victim.line && a.from != victim.level)?;
    let [least, most] = answers.one_width?;
    let is_asked = |row: &&Coupling| row.aggressor == answers.to.0;
    let row = rows.iter().find(is_asked)?;
    Some(Race {
        sign: Sign::BeforeAnswers { least, most },
        lines: vec![row.aggressor],
        edge: Some(row.edge),
        in_step: true,
    })
}

/// Whether (nearly) all of the victim's cycles, from one own rise to the next, have the same number of strays.
fn each_cycle(own: &OwnEdges, victim: &Victim) -> Option<Sign> {
    let of = own.rises.len().saturating_sub(1);
    if of < FEWEST_CYCLES || (victim.times.len() as f64) < ALIKE * of as f64 {
        return None;
    }
    let mut begun = 0;
    let mut until = |time: i64| {
        let before = begun;
        begun += gallop(&victim.times[begun..], |&t| t < time);
        begun - before
    };
    until(own.rises[0]);
    let mut counts: Vec<usize> = own.rises[1..].iter().map(|&rise| until(rise)).collect();
    counts.sort_unstable();
    let most = counts.chunk_by(|a, b| a == b).max_by_key(|alike| alike.len())?;
    let strays = most[0] as u64;
    (strays > 0 && most.len() as f64 >= ALIKE * of as f64).then_some(Sign::EachCycle {
        strays,
        cycles: most.len() as u64,
        of: of as u64,
    })
}

fn comes_late(victim: &Victim, row: &Coupling, volts: bool) -> Option<Sign> {
    let lags = row.occurrences.iter().map(|o| o.lag as f64).sum::<f64>();
    let by = -lags / row.occurrences.len().max(1) as f64;
    // Volts leave the victim's threshold while the accused is on its way to its own: a few nanoseconds are no sign there.
    (!volts && by > LATE * victim.unit).then_some(Sign::Late { by })
}

/// Whether the victim's own edges are of the accused's step: `Some(None)` by the accused edges alone, or with the line that goes
/// with enough of both. `step`: how near, in ticks.
fn one_step(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    lines: &[usize],
    step: i64,
) -> Option<Option<usize>> {
    let own = edges[victim.line].either();
    let by_accused = [edges_of(edges, row), &[]];
    if may_be_near(by_accused, &own, step, BY_ACCUSED) && share_near(by_accused, &own, step) >= BY_ACCUSED {
        return Some(None);
    }
    let mut strikes: Vec<i64> = row.occurrences.iter().map(|o| o.at + o.lag).collect();
    strikes.sort_unstable();
    let line = line_of_both(edges, &own, &strikes, lines, (step, BOTH))?;
    Some((line != row.aggressor).then_some(line))
}

/// The line whose edges go with (nearly) all of the victim's strays and of its own edges, if one does that is mostly at rest: the
/// victim switches for good at the instants of its strays, and what its own part does then looks like what is induced.
/// Cost: linear in the victim's own edges and strays, × log of the edges of each line.
pub fn step_of(edges: &[OwnEdges], victim: &Victim, lines: &[usize], second: f64) -> Option<usize> {
    let own = edges[victim.line].either();
    if own.len() < FEWEST_OWN || victim.times.is_empty() {
        return None;
    }
    let step = step(victim, second);
    let line = line_of_both(edges, &own, &victim.times, lines, (step, NEARLY_ALL))?;
    let covered = 2.0 * step as f64 * (edges[line].rises.len() + edges[line].falls.len()) as f64;
    let whole = (own[own.len() - 1] - own[0]).max(1) as f64;
    (covered <= MOSTLY_REST * whole).then_some(line)
}

/// How near edges of one step are, in ticks.
fn step(victim: &Victim, second: f64) -> i64 {
    (STEP_S * second).max(STEP_SAMPLES * victim.unit) as i64
}

fn line_of_both(
    edges: &[OwnEdges],
    own: &[i64],
    strays: &[i64],
    lines: &[usize],
    (step, least): (i64, f64),
) -> Option<usize> {
    let goes_with = |&line: &usize| {
        let times = [edges[line].rises.as_slice(), &edges[line].falls];
        let mut of = [strays, own].into_iter();
        if !of.clone().all(|of| may_be_near(times, of, step, least)) {
            return None;
        }
        let both = of.try_fold(1.0f64, |share, of| {
            let both = share.min(share_near(times, of, step));
            (both >= least).then_some(both)
        });
        Some((both?, line))
    };
    let with = lines.iter().filter_map(goes_with);
    Some(with.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))?.1)
}

/// Whether `time` lies within `step` of an edge: rises and falls, or either, ascending.
fn is_near(times: [&[i64]; 2], time: i64, step: i64) -> bool {
    times
        .into_iter()
        .any(|times| any_within(times, time - step, time + step))
}

/// So many of the times, evenly taken, show that a line is far from the share asked for: five standard deviations of theirs.
const LOOKED_AT: usize = 64;
const FAR_BELOW: f64 = 0.3;

/// Whether a look at a few of `of` leaves it open that `least` of them lie within `step` of an edge. Most lines go with nothing.
fn may_be_near(times: [&[i64]; 2], of: &[i64], step: i64, least: f64) -> bool {
    let few = of.iter().step_by((of.len() / LOOKED_AT).max(1));
    let (all, near) = few.fold((0usize, 0usize), |(all, near), &at| {
        (all + 1, near + usize::from(is_near(times, at, step)))
    });
    all < LOOKED_AT || near as f64 >= (least - FAR_BELOW) * all as f64
}

/// Share of `of` (ascending) that lie within `step` of an edge. Cost: linear in both.
fn share_near(times: [&[i64]; 2], of: &[i64], step: i64) -> f64 {
    let mut from = [0, 0];
    let near = of.iter().filter(|&&at| {
        let mut is_near = false;
        for (times, from) in times.iter().zip(&mut from) {
            *from += gallop(&times[*from..], |&t| t < at - step);
            is_near |= times.get(*from).is_some_and(|&t| t <= at + step);
        }
        is_near
    });
    near.count() as f64 / of.len().max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Occurrence;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::model::Polarity;

    const VICTIM: usize = 0;
    const ACCUSED: usize = 1;
    const CLOCK: usize = 2;

    /// CLOCK rises each 10,000 ticks, the accused 25 after each of its rises; the victim rises and falls for good after every
    /// eighth, `own_late` ticks later, and shows a stray `lag` after the accused edges that `strikes` picks.
    fn machine(own_late: i64, lag: i64, strikes: impl Fn(i64) -> bool) -> (Vec<OwnEdges>, Victim, Coupling) {
        let steps = || (1..=320i64).map(|n| (n, 10_000 * n));
        let of = |late: i64| steps().map(move |(_, at)| at + late).collect::<Vec<i64>>();
        let own = |phase: i64| {
            let own = steps().filter(|(n, _)| n % 8 == phase);
            own.map(|(_, at)| at + own_late).collect::<Vec<i64>>()
        };
        let line = |rises: Vec<i64>, falls: Vec<i64>| OwnEdges { rises, falls };
        let edges = vec![
            line(own(0), own(1)),
            line(of(25), of(5_025)),
            line(of(0), of(5_000)),
        ];
        let struck: Vec<i64> = steps()
            .filter(|(n, _)| !matches!(n % 8, 0 | 1) && strikes(*n))
            .map(|(_, at)| at + 25)
            .collect();
        let occurrences = struck.iter().enumerate().map(|(stray, &at)| Occurrence {
            stray,
            at,
            polarity: Polarity::Rise,
            lag,
        });
        let rests = edges[VICTIM].falls.iter().zip(&edges[VICTIM].rises);
        let rests = rests.map(|(&start, &end)| Rest { start, end }).collect();
        let victim = fixtures::victim(VICTIM, struck.iter().map(|at| at + lag).collect(), rests);
        let row = fixtures::row([VICTIM, ACCUSED], Edge::Rise, lag, occurrences.collect(), 240);
        (edges, victim, row)
    }

    fn sign(own_late: i64, lag: i64, strikes: impl Fn(i64) -> bool) -> Option<Sign> {
        let (edges, victim, row) = machine(own_late, lag, strikes);
        let strays = fixtures::strays(&victim, |n| 20 + n % 17);
        let found = find(
            &edges,
            &strays,
            &victim,
            &[row],
            &[ACCUSED, CLOCK],
            (false, false),
            1e9,
        );
        found.map(|race| race.sign)
    }

    /// Half of the steps, in no order.
    fn at_random(n: i64) -> bool {
        n * 7_919 % 101 < 50
    }

    #[test]
    fn a_race_strikes_every_time_or_as_often_in_each_cycle_or_before_the_accused() {
        assert!(matches!(
            sign(30, 9, |n| n % 8 == 4),
            Some(Sign::EachCycle { strays: 1, .. })
        ));
        assert!(matches!(sign(30, -9, at_random), Some(Sign::Late { by }) if by == 9.0));
        // Volts leave one threshold before the accused's cross the other.
        let (edges, victim, row) = machine(30, -2, at_random);
        let strays = fixtures::strays(&victim, |n| 20 + n % 17);
        let row = std::slice::from_ref(&row);
        let found = |volts: bool| {
            find(
                &edges,
                &strays,
                &victim,
                row,
                &[ACCUSED, CLOCK],
                (volts, false),
                1e9,
            )
        };
        assert!(found(false).is_some());
        assert_eq!(found(true), None);
    }

    #[test]
    fn what_strikes_now_and_then_or_out_of_step_is_none() {
        assert_eq!(sign(30, 9, at_random), None);
        assert_eq!(
            sign(4_000, -9, at_random),
            None,
            "the victim switches at other times"
        );
    }

    #[test]
    fn a_line_strikes_every_time_where_its_edges_are_the_victim_s_step() {
        // The accused rises with every other step only, so that no cycle is like the next.
        let (mut edges, mut victim, mut row) = machine(30, 9, |_| true);
        let is_kept = |at: i64| at_random(at / 10_000);
        edges[ACCUSED].rises.retain(|&at| is_kept(at));
        row.occurrences.retain(|o| is_kept(o.at));
        victim.times.retain(|&t| is_kept(t));
        let strays = fixtures::strays(&victim, |n| 20 + n % 17);
        let row = std::slice::from_ref(&row);
        let found_of = |edges: &[OwnEdges], volts: bool, are_runts: bool| {
            let lines = [ACCUSED, CLOCK];
            find(edges, &strays, &victim, row, &lines, (volts, are_runts), 1e9)
        };
        let found = |edges: &[OwnEdges], volts: bool| found_of(edges, volts, false);
        let race = found(&edges, false).expect("a race");
        assert!(
            matches!(race.sign, Sign::EveryTime { strikes, of } if strikes == of) && race.in_step,
            "{race:?}"
        );
        assert!(found(&edges, true).is_some_and(|race| race.in_step));
        assert_eq!(found_of(&edges, true, true), None, "a coupling that is fixed");
        edges[VICTIM].rises.iter_mut().for_each(|t| *t += 3_000);
        edges[VICTIM].falls.iter_mut().for_each(|t| *t += 3_000);
        // Out of step it may still be a part's answer; of volts it is no wonder.
        assert!(found(&edges, false).is_some_and(|race| !race.in_step));
        assert_eq!(found(&edges, true), None);
    }

    #[test]
    fn strays_of_the_victim_s_own_step_are_told() {
        let (edges, victim, _) = machine(30, 9, at_random);
        assert_eq!(step_of(&edges, &victim, &[ACCUSED, CLOCK], 1e9), Some(ACCUSED));
        let (edges, victim, _) = machine(3_000, 9, at_random);
        assert_eq!(step_of(&edges, &victim, &[ACCUSED, CLOCK], 1e9), None);
    }
}
