//! A line that is convicted by some of a victim's strays is the likelier cause of its others.
//!
//! Rises that lift a line are told from what switches along with them more easily than falls that dip it, or the other way
//! round. Where one edge of a line stands accused clearly and the strays after its other edge fit another line as well, at
//! the lag of the first, no second culprit is needed: these strays are looked at again with that in mind.

use crate::analysis::coupling::examine::Examined;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::verdict::context::Verdict;
use crate::analysis::coupling::{Coupling, Standing};

/// A line that strikes the victim for certain, and its lag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Established {
    pub line: usize,
    /// In ticks, both ends of its interval closed.
    pub lag: (f64, f64),
    /// Strikes that convict it.
    pub strays: u64,
}

/// Strikes that convict a line.
const FEWEST: u64 = 6;
/// So many times the strays of a level convict a line there too, against a hidden one that tells these no better.
const MANY: u64 = 10;
/// So many strays, and half as many as are doubted, convict it against a ground that is slight.
const SOLID: u64 = 15;
/// Lags that differ by no more than this share, and two samples, may be those of rises and falls of one line.
const LAGS_DIFFER: f64 = 0.5;

impl Established {
    /// Whether a row of `line` at `lag` may be the same coupling; `unit`: a sample, in ticks.
    pub fn is(&self, line: usize, lag: f64, unit: f64) -> bool {
        let slack = 2.0 * unit + LAGS_DIFFER * self.lag.1.abs();
        line == self.line && lag >= self.lag.0 - slack && lag <= self.lag.1 + slack
    }
}

/// The victim levels to look at again (positions in `victims`), each with what other strays of its line establish: those of
/// whose rows some can't be told from one that is established. Cost: rows of each victim line squared.
pub fn levels(victims: &[Victim], examined: &[Examined]) -> Vec<(usize, Vec<Established>)> {
    let convicted = |line: usize| -> Vec<Established> {
        let of_line = victims
            .iter()
            .zip(examined)
            .filter(|(victim, _)| victim.line == line);
        let rows = of_line
            .filter(|(_, of)| matches!(of.verdict, Verdict::Captured))
            .flat_map(|(_, of)| &of.rows);
        let clear = rows.filter(|row| row.standing == Standing::Clear && row.strays >= FEWEST);
        let established = clear.map(|row| Established {
            line: row.aggressor,
            lag: (row.lag.low, row.lag.high),
            strays: row.strays,
        });
        established.collect()
    };
    let mut again = Vec::new();
    for (at, (victim, of)) in victims.iter().zip(examined).enumerate() {
        let is_doubted = matches!(of.verdict, Verdict::Hidden(_) | Verdict::Either(_));
        let open = |row: &&Coupling| is_doubted || row.standing == Standing::Inseparable;
        if !of.rows.iter().any(|row| open(&row)) {
            continue;
        }
        let mut known = convicted(victim.line);
        let is_asked = |one: &Established| {
            of.rows
                .iter()
                .filter(open)
                .any(|row| row.aggressor == one.line || row.inseparable_from.contains(&one.line))
        };
        known.retain(is_asked);
        // A few strays that something hidden would tell about as well weigh little against many of the other level; what a line
        // that never switches this way by itself does is shown by its other edges.
        let is_hidden = matches!(&of.verdict, Verdict::Hidden(hidden) if hidden.kind.is_none());
        let is_slight = matches!(&of.verdict, Verdict::Hidden(hidden) if hidden.is_slight);
        let few = victim.times.len() as u64;
        known.retain(|one| {
            !is_hidden
                || one.strays >= MANY * few
                || is_slight && one.strays >= SOLID && 2 * one.strays >= few
        });
        // Of two that are established neither is preferred.
        known.dedup_by_key(|one| one.line);
        if known.len() == 1 {
            again.push((at, known));
        }
    }
    again
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use crate::analysis::coupling::{CouplingOptions, Edge, Standing, attribute};
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    /// What is said of PEG, the last of the lines: HOLD's rises lift it in the first half, where it is low (`lifts`), and its falls dip it in
    /// the second, each time but every third. `other(n, rise, fall)`: edges of another line at HOLD's n-th pulse.
    fn said(lifts: bool, other: impl Fn(i64, i64, i64) -> Option<[i64; 2]>) -> Vec<(usize, Edge, Standing)> {
        let span = TimeSpan::new(Ticks(0), Ticks(1_300_000));
        let (mut hold, mut others, mut peg) = (Vec::new(), Vec::new(), vec![605_500]);
        for n in 0..120i64 {
            let at = 10_000 * n + 6_000 + 89 * (n % 7);
            let fall = at + 3_000 + 131 * (n % 5);
            hold.extend([at, fall]);
            others.extend(other(n, at, fall).into_iter().flatten());
            let struck = if n < 60 { at } else { fall };
            if n % 3 != 0 && (lifts || n >= 60) {
                peg.extend([struck + 15, struck + 35 + n % 9]);
            }
        }
        peg.sort_unstable();
        let line = |name: &str, edges: &[i64]| {
            let edges = edges.iter().copied().map(Ticks).collect();
            Line::digital(name, Level::Low, edges, span)
        };
        let lines = vec![line("HOLD", &hold), line("OTHER", &others), line("PEG", &peg)];
        let capture = Capture::in_nanoseconds("both", span, lines);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(2, 60.0)]),
            ..StrayOptions::default()
        };
        let attribution = attribute(&capture, &find(&capture, &options), &CouplingOptions::default());
        let rows = attribution.couplings.iter();
        rows.map(|c| (c.aggressor, c.edge, c.standing)).collect()
    }

    #[test]
    fn a_line_whose_rises_are_convicted_is_the_cause_after_its_falls() {
        // The other line falls with HOLD each time.
        let falls_along = |n: i64, rise: i64, fall: i64| Some([rise + 1_100 + 57 * (n % 11), fall]);
        assert_eq!(said(true, falls_along), [(0, Edge::Both, Standing::Clear)]);
        // The falls alone leave it open.
        let [(_, Edge::Fall, Standing::Inseparable)] = said(false, falls_along)[..] else {
            panic!("{:?}", said(false, falls_along));
        };
    }

    #[test]
    fn what_chance_may_tell_of_one_level_does_not_outweigh_the_other() {
        // The other line rises at seven falls that bring nothing.
        let mutes =
            |n: i64, _: i64, fall: i64| ((60..81).contains(&n) && n % 3 == 0).then_some([fall, fall + 1_500]);
        assert_eq!(said(true, mutes), [(0, Edge::Both, Standing::Clear)]);
        assert_eq!(said(false, mutes), [(0, Edge::Fall, Standing::Companion)]);
    }
}
