//! What a shared ground or supply lead strikes: victims whose strays follow how many lines switch at once, and those struck
//! together by one aggressor.

use super::standing::Judged;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::instants::Table;
use crate::analysis::coupling::verdict::context::Verdict;
use crate::analysis::coupling::verdict::dose::{self, Dose};
use crate::analysis::coupling::verdict::never_alone::{self, Kind, Shows};
use crate::analysis::coupling::verdict::stories::{self, DoseOf};
use crate::analysis::coupling::{Coupling, Edge, SharedSupply, Standing};
use crate::analysis::parallel::on_all_cores;
use crate::model::Level;

/// A victim line whose strays follow a dose: the counts of all its levels, and the dose.
pub(super) struct Dosed {
    pub(super) line: usize,
    table: Table,
    dose: Dose,
    /// Whether the table counts rises for falls where the victim is low ([`Table::against`]).
    both_ways: bool,
}

/// Victims with fewer strays than this are not asked whether they share a lead with others.
const FEWEST_POOLED: f64 = 5.0;
/// A victim's own strays may speak against the lead that all of them together show by so much (ln likelihood).
const AGAINST: f64 = 3.0;

/// The victim lines that leads strike, each with its dose.
pub(super) fn found(judged: &[Judged]) -> Vec<Dosed> {
    let mut dosed = dosed(judged);
    dosed.retain(|d| dose::is_plain(&d.dose.curve));
    add_struck_alike(judged, &mut dosed);
    dosed
}

/// Each victim line that a dose explains: by its own strays, or by those of all doubtful victims together, which tell more
/// of a lead that strikes them all.
fn dosed(judged: &[Judged]) -> Vec<Dosed> {
    let mut lines: Vec<usize> = judged.iter().map(|j| j.victim.line).collect();
    lines.dedup();
    let of_line = |line: &usize| -> (usize, Table, Vec<Coupling>) {
        let levels: Vec<&Judged> = judged.iter().filter(|j| j.victim.line == *line).collect();
        let table = Table::joined(&levels.iter().map(|j| &j.table).collect::<Vec<_>>());
        (*line, table, levels.iter().flat_map(|j| j.rows.clone()).collect())
    };
    let own = |line: usize| {
        let (_, table, rows) = of_line(&line);
        let levels = || judged.iter().filter(|j| j.victim.line == line);
        let kinds: Vec<&Kind> = levels().filter_map(kind).collect();
        let of = match kinds.is_empty() {
            true => DoseOf::OneVictim,
            false => DoseOf::Kind,
        };
        let shown = || {
            let kind = kinds.iter().find(|kind| kind.shows == Shows::MoreTogether)?;
            let lines: Vec<usize> = kind.company.iter().copied().chain([kind.line]).collect();
            Some(dose::measured(&table, &lines, kind.polarity.into()))
        };
        let each: Vec<stories::OfLevel> = levels().map(|j| (&j.table, j.rows.as_slice())).collect();
        let alike = stories::shared(&table, &rows, &each, of).or_else(shown);
        let levels: Vec<(Level, &Table)> = levels().map(|j| (j.victim.level, &j.table)).collect();
        let against = (levels.len() > 1).then(|| Table::against(&levels));
        let both_ways = against.and_then(|against| {
            let dose = stories::both_ways(&table, &against, &rows, &each)?;
            // A lead strikes each level so: what one edge does to one of them is no lead, whatever befalls the other.
            let shows = |level: &(Level, &Table)| {
                dose::is_plain(&dose::measured(&Table::against(&[*level]), &dose.lines, dose.edge).curve)
            };
            if !levels.iter().all(shows) {
                return None;
            }
            let is_better = alike
                .as_ref()
                .is_none_or(|alike| dose.worth > alike.worth + AGAINST);
            is_better.then_some((against, dose))
        });
        if let Some((table, dose)) = both_ways {
            return Some(Dosed {
                line,
                table,
                dose,
                both_ways: true,
            });
        }
        Some(Dosed {
            line,
            table,
            dose: alike?,
            both_ways: false,
        })
    };
    let own = on_all_cores(&lines, |&line| own(line));
    let mut dosed: Vec<Dosed> = own.into_iter().flatten().collect();
    let is_doubtful = |line: &&usize| {
        let mut levels = judged.iter().filter(|j| j.victim.line == **line);
        dosed.iter().any(|d| d.line == **line) || levels.any(|j| matches!(j.verdict, Verdict::Hidden(_)))
    };
    let doubtful: Vec<(usize, Table, Vec<Coupling>)> = lines
        .iter()
        .filter(is_doubtful)
        .map(of_line)
        .filter(|(_, table, _)| table.totals().1 >= FEWEST_POOLED)
        .collect();
    if doubtful.len() < 2 {
        return dosed;
    }
    let pooled = Table::joined(&doubtful.iter().map(|d| &d.1).collect::<Vec<_>>());
    let rows: Vec<Coupling> = doubtful.iter().flat_map(|d| d.2.clone()).collect();
    let Some(together) = stories::shared(&pooled, &rows, &[], DoseOf::SeveralVictims) else {
        return dosed;
    };
    for (line, table, rows) in doubtful {
        let against = stories::against(&table, &rows, &together);
        if against <= AGAINST {
            let dose = dose::measured(&table, &together.lines, together.edge);
            dosed.retain(|d| d.line != line);
            dosed.push(Dosed {
                line,
                table,
                dose,
                both_ways: false,
            });
        }
    }
    dosed
}

/// Adds victims that only lines of a known lead strike, each against its edge: the lead strikes them as well, with fewer lines.
fn add_struck_alike(judged: &[Judged], dosed: &mut Vec<Dosed>) {
    let mut more = Vec::new();
    let mut lines: Vec<usize> = judged.iter().map(|j| j.victim.line).collect();
    lines.dedup();
    lines.retain(|line| dosed.iter().all(|d| d.line != *line));
    for line in lines {
        let levels: Vec<&Judged> = judged.iter().filter(|j| j.victim.line == line).collect();
        let rows: Vec<(&Victim, &Coupling)> = levels
            .iter()
            .flat_map(|j| j.rows.iter().map(|row| (j.victim, row)))
            .collect();
        let lead = dosed.iter().find(|d| {
            let is_of_lead = |(victim, row): &(&Victim, &Coupling)| {
                d.dose.lines.contains(&row.aggressor) && never_alone::against(victim, row).is_some()
            };
            !rows.is_empty() && rows.iter().all(is_of_lead)
        });
        if let Some(lead) = lead {
            let table = Table::joined(&levels.iter().map(|j| &j.table).collect::<Vec<_>>());
            let dose = dose::measured(&table, &lead.dose.lines, lead.dose.edge);
            more.push(Dosed {
                line,
                table,
                dose,
                both_ways: false,
            });
        }
    }
    dosed.extend(more);
    dosed.sort_by_key(|d| d.line);
}

/// Who switches the accused's way as it strikes.
fn kind<'a>(one: &'a Judged) -> Option<&'a Kind> {
    match &one.verdict {
        Verdict::Hidden(hidden) => hidden.kind.as_ref(),
        _ => None,
    }
}

/// Whether the row's aggressor strikes other lines at the same moments, as many as a shared lead takes.
pub fn shares_a_lead(row: &Coupling, judged: &[Judged]) -> bool {
    let rows = judged.iter().flat_map(|j| &j.rows);
    let mut victims: Vec<usize> = rows
        .filter(|other| (other.aggressor, other.edge) == (row.aggressor, row.edge))
        .filter(|other| other.victim != row.victim && together(row, other) >= TOGETHER)
        .map(|other| other.victim)
        .collect();
    victims.sort_unstable();
    victims.dedup();
    victims.len() + 1 >= FEWEST_VICTIMS
}

/// Victims of one aggressor from which on a shared lead is said.
const FEWEST_VICTIMS: usize = 3;
/// Share of the rarer victim's strikes that come together with the other's.
const TOGETHER: f64 = 0.7;

/// Aggressors whose edges strike several victims at the same moments: wires that lie side by side are struck each by
/// itself, a lead that they share carries all of them at once.
pub fn struck_together(couplings: &[Coupling]) -> Vec<SharedSupply> {
    let clear = || couplings.iter().filter(|c| c.standing == Standing::Clear);
    let mut suspects: Vec<(usize, Edge)> = clear().map(|c| (c.aggressor, c.edge)).collect();
    suspects.sort_unstable();
    suspects.dedup();
    let of_suspect = |(aggressor, edge): (usize, Edge)| {
        let rows: Vec<&Coupling> = clear()
            .filter(|c| c.aggressor == aggressor && c.edge == edge)
            .collect();
        let joins = |a: &&&Coupling| {
            let others = rows.iter().filter(|b| b.victim != a.victim);
            others.filter(|b| together(a, b) >= TOGETHER).count() + 1 >= FEWEST_VICTIMS
        };
        let joined: Vec<&&Coupling> = rows.iter().filter(joins).collect();
        (joined.len() >= FEWEST_VICTIMS).then(|| SharedSupply {
            victims: joined.iter().map(|c| c.victim).collect(),
            lines: vec![aggressor],
            edge,
            curve: Vec::new(),
        })
    };
    suspects.into_iter().filter_map(of_suspect).collect()
}

/// Share of the rarer one's strikes at which the other was struck as well.
fn together(a: &Coupling, b: &Coupling) -> f64 {
    let (few, many) = if a.occurrences.len() <= b.occurrences.len() {
        (a, b)
    } else {
        (b, a)
    };
    let both = few
        .occurrences
        .iter()
        .filter(|o| many.occurrences.binary_search_by_key(&o.at, |m| m.at).is_ok())
        .count();
    both as f64 / few.occurrences.len().max(1) as f64
}

/// Doses whose lines overlap are one lead.
pub(super) fn shared(dosed: &[Dosed]) -> Vec<SharedSupply> {
    let mut groups: Vec<Vec<&Dosed>> = Vec::new();
    for one in dosed {
        let same = groups
            .iter_mut()
            .find(|g| g.iter().any(|d| overlap(&d.dose.lines, &one.dose.lines)));
        match same {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    groups.iter().map(|group| pooled(group)).collect()
}

fn overlap(a: &[usize], b: &[usize]) -> bool {
    let common = a.iter().filter(|l| b.contains(l)).count();
    2 * common >= a.len().min(b.len())
}

fn pooled(group: &[&Dosed]) -> SharedSupply {
    let victims: Vec<usize> = group.iter().map(|d| d.line).collect();
    let mut lines: Vec<usize> = group.iter().flat_map(|d| d.dose.lines.clone()).collect();
    lines.sort_unstable();
    lines.dedup();
    let all = lines.clone();
    lines.retain(|l| {
        let named = group.iter().filter(|d| d.dose.lines.contains(l)).count();
        2 * named >= group.len() && !victims.contains(l)
    });
    // Each output may hang on the lead that the others share.
    if lines.len() < 2 {
        lines = all;
    }
    let edge = group[0].dose.edge;
    let edge = if group.iter().all(|d| d.dose.edge == edge) {
        edge
    } else {
        Edge::Both
    };
    // What goes both ways is counted by itself, as far as it goes.
    let both_ways = group.iter().any(|d| d.both_ways);
    let counted = group.iter().filter(|d| d.both_ways == both_ways);
    let table = Table::joined(&counted.map(|d| &d.table).collect::<Vec<_>>());
    let by = if both_ways { Edge::Rise } else { edge };
    SharedSupply {
        victims,
        curve: dose::measured(&table, &lines, by).curve,
        lines,
        edge: if both_ways { Edge::Both } else { edge },
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::{CouplingOptions, attribute};
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Line, Ticks, TimeSpan};

    /// STEP rises 80 times; two of three rises strike all victims at once, 15 ticks later: they are low for the first half of
    /// the time and high for the second.
    fn struck(victims: usize) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(900_000));
        let half = 405_500;
        let (mut step, mut struck) = (Vec::new(), vec![half]);
        for n in 0..80i64 {
            let at = 10_000 * n + 6_000 + 89 * (n % 7);
            step.extend([at, at + 3_000]);
            if n % 3 != 0 {
                struck.extend([at + 15, at + 35 + n % 9]);
            }
        }
        struck.sort_unstable();
        let line = |name: String, edges: &[i64]| {
            Line::digital(
                &name,
                Level::Low,
                edges.iter().copied().map(Ticks).collect(),
                span,
            )
        };
        let named = (0..victims).map(|v| line(format!("PEG_{v}"), &struck));
        Capture::in_nanoseconds(
            "shared",
            span,
            std::iter::once(line("STEP".to_owned(), &step))
                .chain(named)
                .collect(),
        )
    }

    #[test]
    fn pulls_both_ways_are_a_hidden_line_s_or_of_a_lead_that_several_share() {
        let told = |victims: usize| {
            let capture = struck(victims);
            let narrow_below: BTreeMap<usize, f64> = (1..=victims).map(|v| (v, 60.0)).collect();
            let options = StrayOptions {
                narrow_below,
                ..StrayOptions::default()
            };
            let strays = find(&capture, &options);
            let attribution = attribute(&capture, &strays, &CouplingOptions::default());
            let clear = attribution
                .couplings
                .iter()
                .filter(|c| c.standing == Standing::Clear)
                .count();
            (clear, attribution.uncaptured.len(), attribution.shared.len())
        };
        assert_eq!(told(1), (0, 1, 0));
        assert_eq!(told(3), (3, 0, 1));
    }

    /// PEG_0 is dipped where two of three outputs rise at once; PEG_1 by OUT_0's rises alone, or by STEP's.
    fn on_a_lead(by_output: bool) -> Vec<Vec<usize>> {
        let span = TimeSpan::new(Ticks(0), Ticks(2_500_000));
        let (mut outputs, mut step, mut pegs) =
            ([const { Vec::new() }; 3], Vec::new(), [vec![500], vec![500]]);
        for n in 0..240i64 {
            let at = 10_000 * n + 6_000 + 89 * (n % 7);
            let is_up = [n % 2 == 0, n % 3 == 0, n % 5 < 2];
            for (output, _) in outputs.iter_mut().zip(is_up).filter(|(_, up)| *up) {
                output.extend([at, at + 3_000]);
            }
            step.extend([at + 4_000, at + 4_500]);
            if is_up.iter().filter(|up| **up).count() > 1 {
                pegs[0].extend([at + 15, at + 35 + n % 9]);
            }
            let hits = if by_output { is_up[0] } else { true };
            if hits && n % 7 < 4 {
                let from = if by_output { at } else { at + 4_000 };
                pegs[1].extend([from + 15, from + 35 + n % 9]);
            }
        }
        let line = |name: &str, edges: &[i64]| {
            Line::digital(name, Level::Low, edges.iter().copied().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("PEG_0", &pegs[0]),
            line("PEG_1", &pegs[1]),
            line("OUT_0", &outputs[0]),
            line("OUT_1", &outputs[1]),
            line("OUT_2", &outputs[2]),
            line("STEP", &step),
        ];
        let capture = Capture::in_nanoseconds("on a lead", span, lines);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0), (1, 60.0)]),
            ..StrayOptions::default()
        };
        let attribution = attribute(&capture, &find(&capture, &options), &CouplingOptions::default());
        attribution
            .shared
            .into_iter()
            .map(|shared| shared.victims)
            .collect()
    }

    #[test]
    fn who_a_line_of_a_known_lead_strikes_against_its_edge_hangs_on_it_too() {
        assert_eq!(on_a_lead(true), [[0, 1]]);
        assert_eq!(on_a_lead(false), [[0]], "STEP is not on that lead");
    }

    #[test]
    fn a_victim_hangs_on_a_lead_only_if_all_that_strike_it_do() {
        let lead = |lines: [usize; 2]| Dosed {
            line: 8,
            table: Table::counted(&[(&[10, 11], 9.0, 3.0)], 30),
            dose: Dose {
                lines: lines.to_vec(),
                edge: Edge::Fall,
                worth: 0.0,
                curve: Vec::new(),
            },
            both_ways: false,
        };
        let victim = fixtures::victim(0, Vec::new(), Vec::new());
        let struck_by = |aggressors: [usize; 2]| {
            let rows = aggressors.map(|line| fixtures::row([0, line], Edge::Fall, 20, Vec::new(), 90));
            let judged = Judged {
                victim: &victim,
                table: Table::counted(&[(&[10, 11], 9.0, 3.0)], 30),
                rows: rows.to_vec(),
                verdict: Verdict::Captured,
            };
            let mut dosed = vec![lead([1, 2]), lead([3, 4])];
            add_struck_alike(&[judged], &mut dosed);
            dosed.iter().any(|d| d.line == 0)
        };
        assert!(struck_by([3, 4]));
        assert!(!struck_by([5, 3]), "line 5 is on neither");
        assert!(!struck_by([1, 3]), "one on each");
    }

    /// PEG is dipped while it is high where two of three outputs rise at once, and lifted while it is low where two fall at once; or
    /// (not `by_law`) the other way about in its low half: where two rise.
    fn both_ways(by_law: bool) -> Vec<(Vec<usize>, Edge)> {
        let span = TimeSpan::new(Ticks(0), Ticks(4_900_000));
        let half = 2_405_000;
        let (mut outputs, mut peg) = ([const { Vec::new() }; 3], vec![half]);
        let mut levels = [false; 3];
        for n in 0..480i64 {
            let at = 10_000 * n + 6_000 + 89 * (n % 7);
            let next = [n * 7_919 % 13 < 6, n * 104_729 % 11 < 5, n * 1_299_709 % 17 < 8];
            let count = |up: bool| (0..3).filter(|&l| levels[l] != next[l] && next[l] == up).count();
            let (rose, fell) = (count(true), count(false));
            for (line, edges) in outputs.iter_mut().enumerate() {
                if levels[line] != next[line] {
                    edges.push(at);
                }
            }
            levels = next;
            let strikes = if at > half || !by_law { rose } else { fell };
            if strikes > 1 && n % 5 < 4 {
                peg.extend([at + 15, at + 35 + n % 9]);
            }
        }
        peg.sort_unstable();
        let line = |name: &str, edges: &[i64]| {
            Line::digital(name, Level::Low, edges.iter().copied().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("PEG", &peg),
            line("OUT_0", &outputs[0]),
            line("OUT_1", &outputs[1]),
            line("OUT_2", &outputs[2]),
        ];
        let capture = Capture::in_nanoseconds("both ways", span, lines);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let attribution = attribute(&capture, &find(&capture, &options), &CouplingOptions::default());
        let shared = attribution.shared.into_iter();
        shared.map(|shared| (shared.lines, shared.edge)).collect()
    }

    #[test]
    fn a_lead_dips_what_is_high_as_outputs_rise_and_lifts_what_is_low_as_they_fall() {
        assert_eq!(both_ways(true), [(vec![1, 2, 3], Edge::Both)]);
        assert_eq!(both_ways(false), [(vec![1, 2, 3], Edge::Rise)]);
    }
}
