//! Edges that a victim's strays bring about, seen beside the edges of an accused line.
//!
//! What a struck clear line resets falls some time after the stray. Beside the accused line's edges it falls with a stray and never
//! without one, and so seems to be what the accused needs for company, or one of several lines that share a lead. [`super::downstream`]
//! knows those that follow the victim's edges one by one; a decoder behind a counter, or a counter that few strays find high, doesn't.
//! Five signs together show an effect, each of the line and its edges of one polarity:
//! - they come after the stray's start, (nearly) every time, and mostly later than a cause of it could seem to come;
//! - as long after the accused line's edges they come with a stray, (nearly) never without; or each stray that finds the line able
//!   is followed by one, and many strays find it at the other level;
//! - strays are followed so oftener than other edges of the accused line's are, beyond chance;
//! - at that other level the accused strikes as often: a line that a hidden culprit moves along with would be there only while
//!   the culprit can't strike; nor do they come oftener where the victim can't be struck, as such a line's would.
//!
//! Of a victim that is known to bring about other edges, a few such edges show it as well; so do several lines with a few each.

use super::able::{OwnEdges, Rest, any_within, first_from, last_to};
use super::downstream::Downstream;
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::{Suspect, Victim};
use crate::analysis::stats::fisher::fisher;

/// Edges behind strays, at least, and strays that found the line at the other level; of a victim that brings about others.
const FEWEST: [usize; 2] = [3, 2];
const FEWEST_MORE: [usize; 2] = [1, 0];
/// Lines with a few such edges each, at least, and what they have together.
const FEWEST_LINES: usize = 3;
const FEWEST_TOGETHER: [usize; 2] = [5, 5];
/// Strays that find the line at the other level where edges come without strays as well; and their share in any case: those of another
/// cause may find a hidden culprit's copy there.
const UNABLE: usize = 4;
const UNABLE_SHARE: f64 = 0.15;
/// Share of the edges behind strays that may come earlier, and that may come without a stray.
const EXCEPT: f64 = 0.05;
const WITHOUT: f64 = 0.01;
/// Chance at or below which the accused strikes otherwise at one level of the line than at the other (common practice, no source).
const OTHERWISE: f64 = 0.01;
/// Chance at or below which edges follow strays that follow other edges of the accused as often: where each stray that finds the line able
/// is followed, and where some are.
const CHANCE_OF_ALL: f64 = 0.02;
const CHANCE: f64 = 1e-3;
/// What comes so long after a stray is not looked for: a counter, a decoder behind it and a register behind that are faster.
const LATEST_S: f64 = 250e-9;

/// The edges of `suspects` that strays of `rows` bring about. `possible`: so long after a stray's start an edge may still seem to
/// have caused it; `span`: how far edges of one moment lie apart; both in ticks; `second`: ticks in a second; `brings_more`: whether the
/// victim is known to bring about edges of others. Cost: strays × suspects × log of the edges, and of those that follow strays the
/// accused line's edges × log of theirs.
pub fn of(
    edges: &[OwnEdges],
    suspects: &[Suspect],
    victim: &Victim,
    rows: &[Coupling],
    [possible, span]: [i64; 2],
    second: f64,
    brings_more: bool,
) -> Downstream {
    let latest = (LATEST_S * second).ceil() as i64;
    let is_accused = |suspect: &Suspect| rows.iter().any(|row| row.aggressor == suspect.line);
    let found = |fewest: [usize; 2]| {
        let shown = |suspect: Suspect| {
            let beside = Beside {
                times: edges[suspect.line].of(suspect.polarity),
                opposite: edges[suspect.line].of(suspect.polarity.opposite()),
                possible,
                span,
                latest,
                unit: victim.unit.floor() as i64,
                fewest,
            };
            let shown = rows
                .iter()
                .find_map(|row| beside.shown(victim, rows::edges_of(edges, row), row))?;
            Some((suspect, shown))
        };
        let of_others = suspects.iter().filter(|suspect| !is_accused(suspect));
        of_others
            .copied()
            .filter_map(shown)
            .collect::<Vec<(Suspect, Shown)>>()
    };
    let few = found(FEWEST_MORE);
    let together = |at: usize| few.iter().map(|(_, shown)| shown.counts[at]).sum::<usize>();
    let mut lines: Vec<usize> = few.iter().map(|(suspect, _)| suspect.line).collect();
    lines.dedup();
    let are_several = lines.len() >= FEWEST_LINES && (0..2).all(|at| together(at) >= FEWEST_TOGETHER[at]);
    let strays: usize = few.iter().map(|(_, shown)| shown.strays).sum();
    let are_shown = are_several && together(1) as f64 >= UNABLE_SHARE * strays as f64;
    let is_one_shown = || {
        let found = found(FEWEST);
        found
            .iter()
            .any(|(_, shown)| shown.counts[1] as f64 >= UNABLE_SHARE * shown.strays as f64)
    };
    let effects = match few.is_empty() || brings_more || are_shown || is_one_shown() {
        true => few,
        false => Vec::new(),
    };
    // What comes at that time without a stray goes as well: else the rest would seem to keep strays away.
    let kept = |(suspect, shown): (Suspect, Shown)| {
        let is_left = |&time: &i64| {
            !any_within(&victim.times, time - latest, time - 1)
                && !any_within(shown.accused, time - shown.longest, time - shown.least)
        };
        let times = edges[suspect.line].of(suspect.polarity).iter().copied();
        (suspect, times.filter(is_left).collect())
    };
    Downstream {
        some: effects.into_iter().map(kept).collect(),
        ..Downstream::default()
    }
}

/// What shows edges to be an effect.
struct Shown<'a> {
    /// The accused line's edges, and how long after these they come, in ticks.
    accused: &'a [i64],
    least: i64,
    longest: i64,
    /// How many follow strays, and how many strays found the line at the other level.
    counts: [usize; 2],
    /// Strays looked at.
    strays: usize,
}

/// A line's edges of one polarity and the other ones, beside those of an accused line.
struct Beside<'a> {
    times: &'a [i64],
    opposite: &'a [i64],
    possible: i64,
    span: i64,
    latest: i64,
    /// A sample, in ticks; 0 where edges are known better.
    unit: i64,
    fewest: [usize; 2],
}

impl Beside<'_> {
    /// What shows the edges to be an effect of the row's strays, if it does. `accused`: edges of the row's line.
    fn shown<'e>(&self, victim: &Victim, accused: &'e [i64], row: &Coupling) -> Option<Shown<'e>> {
        let (mut early, mut soon) = (0, 0);
        // When they come, counted from the accused line's edge.
        let mut late: Vec<i64> = Vec::new();
        // Strays that found the line able to follow, and those that did not.
        let mut struck = [0u64; 2];
        // What comes in the sample of the stray's start may come after it.
        let after = 1 - self.unit.min(1);
        for strike in &row.occurrences {
            let stray = strike.at + strike.lag;
            early += usize::from(any_within(self.times, strike.at - self.span, stray + after - 1));
            if let Some(next) = first_from(self.times, stray + after).filter(|&t| t <= stray + self.latest) {
                soon += usize::from(next <= stray + self.possible);
                late.push(next - strike.at);
            }
            struck[usize::from(!self.is_able(stray + after - 1))] += 1;
        }
        let most = EXCEPT * late.len() as f64;
        let [fewest, unable] = self.fewest;
        let found_unable = struck[1] as usize;
        if late.len() < fewest || 2 * soon > late.len() || early as f64 > most || found_unable < unable {
            return None;
        }
        let (least, longest) = (*late.iter().min()?, *late.iter().max()?);
        let follow = late.len() as f64 >= (1.0 - EXCEPT) * struck[0] as f64;
        let many_unable = found_unable as f64 >= UNABLE_SHARE * row.occurrences.len() as f64;
        let may_come_without = follow && found_unable >= UNABLE && many_unable;
        let mut at: Vec<i64> = row.occurrences.iter().map(|o| o.at).collect();
        at.sort_unstable();
        let lag = row.lag.estimate.round() as i64;
        let mut edges = [0u64; 2];
        let mut without = 0u64;
        let comes = |edge: i64| any_within(self.times, edge + least, edge + longest);
        let opportunities = victim.opportunities(accused);
        for &edge in opportunities.iter().flat_map(|range| &accused[range.clone()]) {
            edges[usize::from(!self.is_able(edge + lag + after - 1))] += 1;
            if at.binary_search(&edge).is_err() && comes(edge) {
                without += 1;
                if !may_come_without && without as f64 > WITHOUT * late.len() as f64 {
                    return None;
                }
            }
        }
        let [of_able, of_unable] = [0, 1].map(|at| edges[at].max(struck[at]));
        let followed = late.len() as u64;
        let unstruck = of_able.saturating_sub(struck[0]).max(without);
        let by_chance = fisher(followed, struck[0].max(followed), without, unstruck).greater();
        if by_chance > if follow { CHANCE_OF_ALL } else { CHANCE } {
            return None;
        }
        let unstruck = (of_able + of_unable).saturating_sub(struck[0] + struck[1]);
        let [deaf, of_deaf] = self.where_deaf(victim, accused, [least, longest]);
        if deaf > 0 && fisher(deaf, of_deaf, without, unstruck.max(without)).greater() <= OTHERWISE {
            return None;
        }
        let strikes_alike = fisher(struck[0], of_able, struck[1], of_unable).two_sided() > OTHERWISE;
        strikes_alike.then_some(Shown {
            accused,
            least,
            longest,
            counts: [late.len(), found_unable],
            strays: row.occurrences.len(),
        })
    }

    /// Edges of the accused line at which the victim can't be struck: after how many of them these come, from `least` to `longest` ticks
    /// later, and how many there are. What the victim's own edges bring about is no sign of either, and not counted.
    fn where_deaf(&self, victim: &Victim, accused: &[i64], [least, longest]: [i64; 2]) -> [u64; 2] {
        let opportunities = victim.opportunities(accused);
        let mut ranges = opportunities.iter().peekable();
        let [mut come, mut all] = [0u64; 2];
        for (index, &edge) in accused.iter().enumerate() {
            while ranges.next_if(|range| range.end <= index).is_some() {}
            let is_opportunity = ranges.peek().is_some_and(|range| range.contains(&index));
            if !is_opportunity && !switches(victim, edge - self.span, edge + longest) {
                all += 1;
                come += u64::from(self.is_able(edge) && any_within(self.times, edge + least, edge + longest));
            }
        }
        [come, all]
    }

    /// Whether the line's level at `time` allows one of its edges.
    fn is_able(&self, time: i64) -> bool {
        match (last_to(self.times, time), last_to(self.opposite, time)) {
            (Some(own), Some(other)) => other > own,
            (None, None) => {
                let next = first_from(self.times, time);
                next.is_some_and(|own| first_from(self.opposite, time).is_none_or(|other| own < other))
            }
            (own, _) => own.is_none(),
        }
    }
}

/// Whether an own edge of the victim's lies from `from` to `to`, both ends closed.
fn switches(victim: &Victim, from: i64, to: i64) -> bool {
    let next = victim.rests.partition_point(|rest| rest.end < from);
    let begins_or_ends = |rest: &Rest| [rest.start, rest.end].iter().any(|at| (from..=to).contains(at));
    victim.rests[next..].iter().take(2).any(begins_or_ends)
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::{Edge, Standing, fixtures};
    use crate::demo::random::Random;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    const STEPS: i64 = 800;
    const END: i64 = 10_000 * (STEPS + 1);

    /// STEP falls 800 times; 4 later CLEAR_N dips at those of `struck`. Five counters rise and fall by themselves elsewhere in
    /// the step; where `is_cleared` the dip lets those fall that are high, else they fall by themselves just after STEP at the struck
    /// steps only, and are high there each time. The standing of STEP's falls, and the lines that are said to share a lead.
    fn told(struck: impl Fn(i64) -> bool, is_cleared: bool) -> (Option<Standing>, Vec<usize>) {
        let span = TimeSpan::new(Ticks(0), Ticks(END));
        let mut dice = Random::new(7);
        let (mut step, mut clear) = (Vec::new(), Vec::new());
        let mut counters: [Vec<i64>; 5] = Default::default();
        let is_high = |edges: &Vec<i64>| edges.len() % 2 == 1;
        for n in 1..STEPS {
            let at = 10_000 * n + 89 * (n % 7);
            step.extend([at, at + 4_000]);
            if struck(n) {
                clear.extend([at + 4, at + 30 + n % 13]);
            }
            for counter in counters.iter_mut() {
                let falls = struck(n) && is_high(counter);
                if falls {
                    counter.push(at + 38 + (dice.draw() % 5) as i64);
                }
                let is_for_next = !is_cleared && (struck(n + 1) || struck(n));
                if !falls
                    && (dice.unit() < 0.4 || is_for_next && !is_high(counter))
                    && !(is_for_next && is_high(counter))
                {
                    counter.push(at + 6_000 + (dice.draw() % 900) as i64);
                }
            }
            if n % 90 == 17 {
                clear.extend([at + 8_000, at + 9_500]);
            }
        }
        let line = |name: &str, first: Level, edges: Vec<i64>| {
            Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
        };
        let mut lines = vec![
            line("STEP", Level::High, step),
            line("CLEAR_N", Level::High, clear),
        ];
        lines.extend(counters.into_iter().map(|edges| line("Q", Level::Low, edges)));
        let (_, told) = fixtures::attributed(lines, END, &[(1, 60.0)]);
        let of_step = told
            .couplings
            .iter()
            .find(|c| c.aggressor == 0 && c.edge == Edge::Fall);
        let shared = told.shared.into_iter().flat_map(|lead| lead.lines).collect();
        (of_step.map(|row| row.standing), shared)
    }

    #[test]
    fn counters_that_few_strays_clear_share_no_lead_with_what_strikes() {
        assert_eq!(
            told(|n| n * 37 % 809 < 7, true),
            (Some(Standing::Clear), Vec::new())
        );
    }

    #[test]
    fn lines_that_fall_at_each_stray_and_are_never_low_there_may_be_what_strikes() {
        let (standing, shared) = told(|n| n * 37 % 809 < 7, false);
        assert!(
            standing != Some(Standing::Clear) || !shared.is_empty(),
            "{standing:?}"
        );
    }

    /// A line without a probe falls with STEP at one step in ten and strikes each time that CLEAR_N is high, which it is half the
    /// time; three captured lines repeat it later and longer, so that some strikes find them low.
    #[test]
    fn lines_that_fall_as_often_while_the_victim_is_low_are_no_effect() {
        let span = TimeSpan::new(Ticks(0), Ticks(END));
        let mut dice = Random::new(11);
        let (mut step, mut clear) = (Vec::new(), Vec::new());
        let mut copies: [Vec<i64>; 3] = Default::default();
        for n in 1..STEPS {
            let at = 10_000 * n + 89 * (n % 7);
            step.extend([at, at + 4_000]);
            if n % 12 == 0 {
                clear.push(at + 7_000);
            }
            if dice.unit() < 0.1 {
                if n / 12 % 2 == 0 && n % 12 != 0 {
                    clear.extend([at + 4, at + 30 + n % 13]);
                }
                for (later, copy) in (1..).zip(copies.iter_mut()) {
                    let falls = at + 15 + 20 * later;
                    if copy.last().is_none_or(|&rise| rise < at) {
                        copy.extend([falls, falls + 35_000]);
                    }
                }
            }
        }
        clear.sort_unstable();
        let line = |name: &str, first: Level, mut edges: Vec<i64>| {
            edges.sort_unstable();
            Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
        };
        let mut lines = vec![
            line("STEP", Level::High, step),
            line("CLEAR_N", Level::Low, clear),
        ];
        lines.extend(copies.into_iter().map(|edges| line("Q", Level::High, edges)));
        let (strays, told) = fixtures::attributed(lines, END, &[(1, 60.0)]);
        assert!(strays.strays.len() > 20, "{strays:?}");
        let is_clear = |c: &&super::Coupling| c.aggressor == 0 && c.standing == Standing::Clear;
        assert!(
            !told.couplings.iter().any(|c| is_clear(&c)),
            "{:?}",
            told.couplings
        );
    }
}
