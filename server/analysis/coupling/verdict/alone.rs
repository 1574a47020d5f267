//! An accused line whose edges come at times of their own, where what is doubtful concerns the other strays.
//!
//! Two causes may strike one victim. If one of them is in doubt, a hidden line's or a shared lead's say, its strays say nothing of
//! a line that switches independently of it: that line is judged by its own strays, and the others without them.

use super::context::Verdict;
use super::parts;
use super::phase;
use crate::analysis::coupling::examine::{Case, Examined};
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{Rest, any_within, time_near};
use crate::analysis::coupling::suspects::victims::Chances;
use crate::analysis::coupling::{Coupling, Standing};
use crate::analysis::stats::tails::binomial_upper;

/// Strikes by which a line is judged alone.
const FEWEST: u64 = 12;
/// Share of its edges that others' may come beside, and the chance at or below which that is no chance if it is so many times as often.
const BESIDE: f64 = 0.5;
const CHANCE: f64 = 0.01;
const OFTENER: f64 = 1.3;

/// What the victim shows where one accused line is judged apart from the others, if there is one that the doubt does not concern.
/// `told`: what is thought of all together. Cost: that of two more examinations for each line with strikes enough.
pub fn judge(case: &Case, chances: &Chances, told: &Examined) -> Option<Examined> {
    let is_captured = matches!(told.verdict, Verdict::Captured);
    if !is_captured && !matches!(told.verdict, Verdict::Hidden(_)) {
        return None;
    }
    let mut lines: Vec<usize> = told.rows.iter().map(|row| row.aggressor).collect();
    lines.sort_unstable();
    lines.dedup();
    if lines.len() < 2 {
        return None;
    }
    let strikes = |line: usize| -> u64 {
        let of_line = told.rows.iter().filter(|row| row.aggressor == line);
        of_line.map(|row| row.strays).sum()
    };
    lines.sort_by_key(|&line| std::cmp::Reverse(strikes(line)));
    lines.into_iter().find_map(|line| {
        let of_line: Vec<&Coupling> = told.rows.iter().filter(|row| row.aggressor == line).collect();
        let is_plain = strikes(line) >= FEWEST
            && of_line.iter().all(|row| row.standing == Standing::Clear)
            && is_independent(case, &told.rows, line)
            && !of_line.iter().any(|row| is_left_out(case, &told.rows, row));
        if !is_plain {
            return None;
        }
        let only = part_of(case.victim, &of_line, true);
        let alone = case.bench.examine(&only, chances, case.known);
        let is_convicted = matches!(alone.verdict, Verdict::Captured)
            && !alone.rows.is_empty()
            && alone
                .rows
                .iter()
                .all(|row| row.aggressor == line && row.standing == Standing::Clear);
        if !is_convicted {
            return None;
        }
        let less = part_of(case.victim, &of_line, false);
        let mut others = case.bench.examine(&less, chances, case.known);
        if others.rows.iter().any(|row| row.aggressor == line) {
            return None;
        }
        // Where all are accused, what the rest shows counts only if it speaks of a hidden cause, and not by that line.
        let speaks_of_others = match &others.verdict {
            Verdict::Hidden(hidden) => {
                !hidden.companions.contains(&line) && hidden.contrast.as_ref().is_none_or(|c| c.other != line)
            }
            _ => false,
        };
        if is_captured && !speaks_of_others {
            return None;
        }
        others.apart.extend(of_line.into_iter().cloned());
        others.less.get_or_insert(less);
        Some(others)
    })
}

/// The victim with the strays of these rows only, or without them.
fn part_of(victim: &Victim, rows: &[&Coupling], with: bool) -> Victim {
    let mut of: Vec<usize> = rows
        .iter()
        .flat_map(|row| row.occurrences.iter().map(|o| o.stray))
        .collect();
    of.sort_unstable();
    victim.only(|at| of.binary_search(&victim.strays[at]).is_ok() == with)
}

/// Whether the line switches beside edges of the other accused, and these beside its own, no oftener than chance has it.
fn is_independent(case: &Case, rows: &[Coupling], line: usize) -> bool {
    let edges = case.bench.edges;
    let (Some(first), Some(last)) = (case.victim.rests.first(), case.victim.rests.last()) else {
        return false;
    };
    let whole = Rest {
        start: first.start,
        end: last.end,
    };
    let during = |line: usize| -> Vec<i64> {
        let times = edges[line].either();
        times
            .into_iter()
            .filter(|t| (whole.start..whole.end).contains(t))
            .collect()
    };
    let own = during(line);
    let mut others: Vec<usize> = rows.iter().map(|row| row.aggressor).collect();
    others.sort_unstable();
    others.dedup();
    others.into_iter().filter(|&other| other != line).all(|other| {
        let others = during(other);
        let [of, beside] = [&own, &others];
        is_by_chance(of, beside, whole, case.reach.hi) && is_by_chance(beside, of, whole, case.reach.hi)
    })
}

/// Whether times lie within `reach` ticks of other times as often as chance has it, and not mostly. Both ascending, inside `whole`.
fn is_by_chance(times: &[i64], others: &[i64], whole: Rest, reach: i64) -> bool {
    let is_beside = |&&at: &&i64| any_within(others, at - reach, at + reach);
    let beside = times.iter().filter(is_beside).count() as u64;
    let of = times.len() as u64;
    let covered = time_near(others, &[whole], -reach, reach + 1) / (whole.end - whole.start) as f64;
    let is_chance = binomial_upper(beside, of, covered.min(1.0)) > CHANCE
        || beside as f64 <= OFTENER * covered * of as f64;
    is_chance && beside as f64 <= BESIDE * of as f64
}

/// Whether strays that nobody explains come where the row's line leaves an edge out, or at its moment of the step.
fn is_left_out(case: &Case, rows: &[Coupling], row: &Coupling) -> bool {
    let (edges, victim) = (case.bench.edges, case.victim);
    let lines = case.lines();
    let alone: Vec<Coupling> = rows
        .iter()
        .filter(|r| r.aggressor == row.aggressor)
        .cloned()
        .collect();
    parts::left_out(edges, victim, rows, row, case.reach.hi).is_some()
        || parts::left_out(edges, victim, &alone, row, case.reach.hi).is_some()
        || phase::is_kept_without(edges, victim, rows, row, &lines, &case.reach, &case.distances)
        || phase::is_kept_without(edges, victim, &alone, row, &lines, &case.reach, &case.distances)
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::{Attribution, Standing};
    use crate::demo::random::Random;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// A line without a clip dips PEG in CLOCK's step; SEL repeats the share `shown` of its edges. With `floats`, FLOAT dips it too and
    /// keeps no step.
    fn told(shown: f64, floats: bool) -> Attribution {
        let (mut clock, mut sel, mut float) = (Vec::new(), Vec::new(), Vec::new());
        let mut dips: Vec<[i64; 2]> = Vec::new();
        let mut random = Random::new(7);
        let mut chance = |of: f64| random.chance(of);
        for n in 1..1_200i64 {
            let at = 2_000 * n;
            clock.extend([at, at + 1_000]);
            let hidden = chance(0.3);
            if hidden && chance(shown) {
                sel.extend([at + 300, at + 900]);
            }
            if hidden && chance(0.4) {
                dips.push([at + 310 + n % 3, at + 335 + n % 9]);
            }
            if n % 4 == 0 {
                let at = at + 1_200 + 4_157 * n % 1_999;
                float.extend([at, at + 700]);
                if floats && chance(0.4) {
                    dips.push([at + 8 + n % 3, at + 36 + n % 9]);
                }
            }
        }
        dips.sort_unstable();
        dips.dedup_by(|b, a| b[0] < a[1] + 70);
        float.sort_unstable();
        let span = TimeSpan::new(Ticks(0), Ticks(2_410_000));
        let line = |name: &str, first: Level, edges: Vec<i64>| {
            Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("CLOCK", Level::Low, clock),
            line("SEL", Level::Low, sel),
            line("FLOAT", Level::Low, float),
            line("PEG", Level::High, dips.concat()),
        ];
        fixtures::attributed(lines, 2_410_000, &[(3, 60.0)]).1
    }

    #[test]
    fn a_line_that_keeps_no_step_is_judged_apart_from_a_doubt_about_the_step() {
        let told = told(0.65, true);
        let standing = |line: usize| {
            let mut rows = told.couplings.iter();
            rows.find(|row| row.aggressor == line).map(|row| row.standing)
        };
        assert_eq!(standing(2), Some(Standing::Clear));
        assert_ne!(standing(1), Some(Standing::Clear));
        let doubt = &told.uncaptured[0];
        let of_float: u64 = told
            .couplings
            .iter()
            .filter(|c| c.aggressor == 2)
            .map(|c| c.strays)
            .sum();
        assert!(
            of_float > 50 && doubt.of > 50 && !doubt.companions.contains(&2),
            "{doubt:?}"
        );
    }

    #[test]
    fn few_strays_that_all_keep_the_accused_s_step_without_it_are_enough() {
        let told = told(0.93, false);
        assert!(told.couplings.iter().all(|row| row.standing != Standing::Clear));
        let doubt = &told.uncaptured[0];
        assert!((doubt.strays as f64) < 0.12 * doubt.of as f64, "{doubt:?}");
    }

    /// Eight outputs follow WRITE's falls, two of them without a clip, and dip PEG the likelier the more of them fall; EYE dips it by
    /// itself. Who is clear of what.
    fn accused_beside_a_dose(seed: u64) -> Vec<usize> {
        let mut random = Random::new(seed);
        let (mut write, mut eye) = (Vec::new(), Vec::new());
        let mut data: Vec<Vec<i64>> = vec![Vec::new(); 8];
        let mut dips: Vec<[i64; 2]> = Vec::new();
        for n in 1..700i64 {
            let at = 3_000 * n;
            write.extend([at, at + 1_000]);
            let mut falling = Vec::new();
            for line in &mut data {
                let is_high = line.len() % 2 == 1;
                if random.chance(0.5) {
                    let moment = at + 15 + (random.unit() * 25.0) as i64;
                    line.push(moment);
                    falling.extend(is_high.then_some(moment));
                }
            }
            let share = [0.0, 0.0, 0.0, 0.08, 0.35, 0.7, 0.9, 0.9, 0.9][falling.len()];
            let mut dip = |from: i64, random: &mut Random| {
                let start = from + 6 + (random.unit() * 5.0) as i64;
                dips.push([start, start + 12 + (random.unit() * 25.0) as i64]);
            };
            if random.chance(share) {
                falling.sort_unstable();
                dip(falling[falling.len() / 2], &mut random);
            }
            if random.chance(0.5) {
                let at = at + 300 + (random.unit() * 2_000.0) as i64;
                eye.extend([at, at + 200]);
                if random.chance(0.45) {
                    dip(at, &mut random);
                }
            }
        }
        dips.sort_unstable();
        dips.dedup_by(|b, a| b[0] < a[1] + 70);
        let span = TimeSpan::new(Ticks(0), Ticks(2_110_000));
        let line = |name: &str, first: Level, edges: Vec<i64>| {
            Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
        };
        let mut lines = vec![line("WRITE_N", Level::High, write), line("EYE", Level::Low, eye)];
        let captured = data.into_iter().take(6).enumerate();
        lines.extend(captured.map(|(n, edges)| line(&format!("D{n}"), Level::Low, edges)));
        lines.push(line("PEG", Level::High, dips.concat()));
        let peg = lines.len() - 1;
        let (_, told) = fixtures::attributed(lines, 2_110_000, &[(peg, 60.0)]);
        let clear = told
            .couplings
            .iter()
            .filter(|row| row.standing == Standing::Clear);
        let mut lines: Vec<usize> = clear.map(|row| row.aggressor).collect();
        lines.dedup();
        lines
    }

    #[test]
    fn a_dose_beside_a_line_that_strikes_accuses_nobody_else() {
        for seed in 1..=3 {
            assert_eq!(accused_beside_a_dose(seed), [1], "{seed}");
        }
    }
}
