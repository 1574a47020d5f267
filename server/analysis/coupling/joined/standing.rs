//! From verdicts on victim levels to what is said: whose cause was not captured, what is a gate's, and which rows lose their standing.

use super::leads;
use super::pulls;
use super::together::{self, Together};
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::instants::Table;
use crate::analysis::coupling::verdict::context::{Hidden, Verdict};
use crate::analysis::coupling::verdict::races::{Race, Sign};
use crate::analysis::coupling::{Attribution, Coupling, Edge, Hazard, RaceOf, Standing, Uncaptured};

/// Lines named as switching along, at most.
const COMPANIONS_NAMED: usize = 4;

/// One victim level with its verdict.
pub struct Judged<'a> {
    pub victim: &'a Victim,
    pub table: Table,
    pub rows: Vec<Coupling>,
    pub verdict: Verdict,
}

/// Turns verdicts into findings: rows of doubtful victims lose their standing, a hidden cause is said once a
/// victim, a shared lead once for all its victims. `span`: strays so near come together, in ticks.
pub fn settle(judged: &[Judged], found: &mut [Coupling], attribution: &mut Attribution, span: i64) {
    let dosed = leads::found(judged);
    let together = together::without_the_accused(judged, span);
    let mut lose = |line: usize| {
        found
            .iter_mut()
            .filter(|row| row.victim == line)
            .for_each(|row| row.standing = Standing::Companion);
    };
    dosed.iter().for_each(|d| lose(d.line));
    let mut hidden: Vec<usize> = judged
        .iter()
        .filter(|j| {
            // A gate glitches both ways.
            let is_gate = |line: usize| {
                let mut levels = judged.iter().filter(|other| other.victim.line == line);
                levels.any(|other| matches!(other.verdict, Verdict::Hazard(_)))
            };
            matches!(j.verdict, Verdict::Hidden(_))
                || !is_gate(j.victim.line)
                    && (pulls::both_ways(j.victim, judged).is_some()
                        || pulls::against_both_ways(j.victim.line, judged).is_some()
                        || together.contains_key(&j.victim.line))
        })
        .map(|j| j.victim.line)
        .filter(|line| dosed.iter().all(|d| d.line != *line))
        .collect();
    hidden.dedup();
    hidden.iter().for_each(|&line| lose(line));
    attribution.hazards = hazards(judged);
    for one in judged {
        let Verdict::Hazard(gate) = &one.verdict else {
            continue;
        };
        // What strikes at other moments than the gate's own is no less its aggressor.
        let is_gate_s = |row: &&mut Coupling| {
            let of = row.occurrences.iter();
            let made = of.filter(|o| gate.strays.binary_search(&o.stray).is_ok()).count();
            row.victim == one.victim.line
                && row.levels == [one.victim.level]
                && made as f64 >= MOSTLY * row.occurrences.len() as f64
        };
        found.iter_mut().filter(is_gate_s).for_each(|row| {
            rows::join_suspects(row, &gate.inputs);
        });
    }
    for one in judged {
        let Verdict::Race(race) = &one.verdict else {
            continue;
        };
        if is_convicted(one, race, judged) || pulls_both_ways_as_a_neighbour(one, judged) {
            continue;
        }
        let rows = found.iter_mut().filter(|row| row.victim == one.victim.line);
        for row in rows.filter(|row| row.levels == [one.victim.level]) {
            rows::join_suspects(row, &race.lines);
            if row.standing == Standing::Clear {
                row.standing = Standing::Companion;
            }
        }
        let is_told = hidden.contains(&one.victim.line) || dosed.iter().any(|d| d.line == one.victim.line);
        if !is_told {
            attribution.races.push(RaceOf {
                victim: one.victim.line,
                level: one.victim.level,
                strays: one.victim.times.len() as u64,
                race: race.clone(),
            });
        }
    }
    for one in judged {
        let Verdict::Either(lines) = &one.verdict else {
            continue;
        };
        let rows = found.iter_mut().filter(|row| row.victim == one.victim.line);
        for row in rows.filter(|row| row.levels.contains(&one.victim.level)) {
            rows::join_suspects(row, lines);
        }
    }
    attribution.uncaptured = hidden
        .iter()
        .map(|&l| uncaptured(l, judged, found, together.get(&l)))
        .collect();
    attribution.shared = leads::shared(&dosed);
}

/// Lags of a line's rises and falls that are one, in samples and share.
const ONE_LAG: (f64, f64) = (2.0, 0.25);

/// Whether one width is all that speaks of a race, and at the victim's other level the same line's other edge strikes at the same lag, with
/// one width at most: a neighbour's rises lift and its falls dip, or the other way round; few parts make a pulse each way.
fn pulls_both_ways_as_a_neighbour(one: &Judged, judged: &[Judged]) -> bool {
    let plain = |judged: &Judged| -> Option<(usize, Edge, f64)> {
        match (&judged.verdict, judged.rows.as_slice()) {
            (Verdict::Race(race), [row]) => {
                let is_one_width = matches!(race.sign, Sign::OneWidth { .. } | Sign::BeforeAnswers { .. });
                is_one_width.then_some((row.aggressor, row.edge, row.lag.estimate))
            }
            (Verdict::Captured, [row]) => Some((row.aggressor, row.edge, row.lag.estimate)),
            _ => None,
        }
    };
    let Some((line, edge, lag)) = plain(one) else {
        return false;
    };
    let mut others = judged
        .iter()
        .filter(|other| other.victim.line == one.victim.line && other.victim.level != one.victim.level);
    others.any(|other| {
        plain(other).is_some_and(|(accused, other_edge, other_lag)| {
            let near = ONE_LAG.0 * one.victim.unit + ONE_LAG.1 * lag.abs();
            accused == line && other_edge != edge && (lag - other_lag).abs() <= near
        })
    })
}

/// Whether all that are accused of this level's strays are found to strike the victim at its other level, by themselves; where the
/// doubt is about what one line's edges begin, whether that line is.
fn is_convicted(one: &Judged, race: &Race, judged: &[Judged]) -> bool {
    let mut others = judged.iter().filter(|other| {
        other.victim.line == one.victim.line
            && other.victim.level != one.victim.level
            && matches!(other.verdict, Verdict::Captured)
    });
    let strikes = |other: &Judged, line: usize| other.rows.iter().any(|row| row.aggressor == line);
    let is_of_one = matches!(race.sign, Sign::Clocked { .. });
    let is_asked = |row: &&Coupling| !is_of_one || race.lines.contains(&row.aggressor);
    let rows: Vec<&Coupling> = one.rows.iter().filter(is_asked).collect();
    !rows.is_empty() && others.any(|other| rows.iter().all(|row| strikes(other, row.aggressor)))
}

/// A row with so many of its strikes among a gate's glitches is that gate's doing.
const MOSTLY: f64 = 0.5;

/// The glitches of gates, once a victim: those of its levels are counted together, and the inputs of both named.
fn hazards(judged: &[Judged]) -> Vec<Hazard> {
    let mut hazards: Vec<Hazard> = Vec::new();
    for one in judged {
        let Verdict::Hazard(gate) = &one.verdict else {
            continue;
        };
        let levels = judged.iter().filter(|j| j.victim.line == one.victim.line);
        let of: u64 = levels.map(|j| j.victim.times.len() as u64).sum();
        match hazards.iter_mut().find(|h| h.victim == one.victim.line) {
            Some(known) => {
                known.levels.push(one.victim.level);
                known.strays += gate.strays.len() as u64;
                known.inputs.extend(&gate.inputs);
                known.inputs.sort_unstable();
                known.inputs.dedup();
            }
            None => hazards.push(Hazard {
                victim: one.victim.line,
                inputs: gate.inputs.clone(),
                levels: vec![one.victim.level],
                strays: gate.strays.len() as u64,
                of,
            }),
        }
    }
    hazards
}

fn uncaptured(line: usize, judged: &[Judged], found: &[Coupling], together: Option<&Together>) -> Uncaptured {
    let of_line = || judged.iter().filter(|j| j.victim.line == line);
    let of: u64 = of_line().map(|j| j.victim.times.len() as u64).sum();
    let rows = || found.iter().filter(|row| row.victim == line);
    let with: u64 = rows().map(|row| row.strays).sum();
    let hidden: Vec<&Hidden> = of_line()
        .filter_map(|j| match &j.verdict {
            Verdict::Hidden(hidden) => Some(hidden),
            _ => None,
        })
        .collect();
    let mut companions: Vec<usize> = Vec::new();
    let mut rows: Vec<&Coupling> = rows().collect();
    rows.sort_by_key(|row| std::cmp::Reverse(row.strays));
    let named = rows
        .iter()
        .map(|row| row.aggressor)
        .chain(hidden.iter().flat_map(|h| h.companions.iter().copied()));
    for companion in named {
        if !companions.contains(&companion) && companions.len() < COMPANIONS_NAMED {
            companions.push(companion);
        }
    }
    Uncaptured {
        victim: line,
        strays: of.saturating_sub(with),
        of,
        companions,
        contrast: hidden.iter().find_map(|h| h.contrast),
        part: hidden.iter().find_map(|h| h.part),
        kind: hidden.iter().find_map(|h| h.kind.clone()),
        drifts: hidden.iter().find_map(|h| h.drifts),
        clues: hidden.iter().flat_map(|h| h.clues.iter().cloned()).collect(),
        untimely: hidden.iter().find_map(|h| h.untimely),
        step: hidden.iter().find_map(|h| h.step),
        against: pulls::against_both_ways(line, judged),
        together: together.copied(),
        both_ways: of_line().find_map(|j| pulls::both_ways(j.victim, judged)),
    }
}
