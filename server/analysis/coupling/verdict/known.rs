//! What is known of one victim level's rows before they are judged.

use super::clocked;
use super::clues::Clue;
use super::company;
use super::drift;
use super::hazard::{self, Gate};
use super::never_alone::{self, Kind, Shows};
use super::one_lag;
use super::parts::{self, Ground};
use super::phase;
use super::races::{self, Race};
use super::rest;
use super::scattered;
use super::succession;
use super::too_early;
use super::trials;
use super::untimely::Untimely;
use super::which_edges;
use crate::analysis::coupling::examine::{Case, explains};
use crate::analysis::coupling::fit::copies;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::in_volts::heights;
use crate::analysis::coupling::suspects::victims;
use crate::analysis::coupling::{Coupling, Edge};

/// What was found out of one victim level's rows before it is judged.
#[derive(Clone, Debug)]
pub struct Known {
    /// What shows accused lines to be a part of what strikes, beside what stands here by itself.
    pub clues: Vec<Clue>,
    /// A line whose rises and falls both strike ([`one_lag::by_either_edge`]), and lines of which one polarity goes with
    /// all of these edges.
    pub by_either_edge: Option<(usize, Vec<usize>)>,
    /// Beside which line's edges the only accused line strikes otherwise than without them ([`super::company`]).
    pub company: Option<company::Shown>,
    /// Strikes of an accused line come in runs ([`super::trials`]).
    pub in_runs: bool,
    /// The accused lines look like a part of one that carries no probe ([`super::parts`]).
    pub part: Option<Ground>,
    /// A row's line, and its edges that come after the strays they would cause ([`super::untimely`]).
    pub untimely: Option<Untimely>,
    /// A line and its edges after which strays come at lags that drift.
    pub drifts: Option<(usize, Edge)>,
    /// Strikes against their edge come with edges of the same kind ([`super::never_alone`]).
    pub kind: Option<Kind>,
    /// The victim is a gate that glitches ([`super::hazard`]).
    pub gate: Option<Gate>,
    /// The strays look like a race of the victim's own logic ([`super::races`]).
    pub race: Option<Race>,
    /// Whose step the strays and the victim's own edges are of (likewise).
    pub step: Option<usize>,
    /// The rows explain (nearly) all strays.
    pub explains: bool,
    /// Other strays of the victim convict every accused line ([`super::super::joined::established`]).
    pub is_convicted: bool,
}

/// Share of the strikes that come with edges of the accused's kind, where a shared lead is thought of.
const OF_ITS_KIND: f64 = 0.4;

impl Case<'_> {
    /// What the rows, the strays and the levels show before the victim is judged.
    pub fn known(&self, rows: &[Coupling]) -> Known {
        let (victim, edges, lines) = (self.victim, self.bench.edges, self.lines());
        let either = one_lag::by_either_edge(edges, victim, rows).map(|line| {
            let times = edges[line].either();
            let accused = copies::Accused::by_either(rows, &times);
            let copies = accused.map_or(Vec::new(), |a| self.copies(&a));
            let mut alike: Vec<usize> = copies.iter().map(|c| c.line).collect();
            // A twin is beside every row.
            let beside = |row: &Coupling, other: usize| {
                row.aggressor == other || row.inseparable_from.contains(&other)
            };
            let twins = self
                .lines()
                .into_iter()
                .filter(|&other| rows.iter().all(|row| beside(row, other)));
            alike.extend(twins);
            alike.sort_unstable();
            alike.dedup();
            alike.retain(|&other| other != line);
            (line, alike)
        });
        let second = self.bench.capture.timebase.ticks_of(1.0);
        let company = match rows {
            [row] => {
                let after = company::after(rows::edges_of(edges, row), self.reach.hi, second);
                company::that_matters(edges, victim, row, &lines, [self.bench.instants.span, after])
            }
            _ => None,
        };
        let volts = self.bench.capture.lines[victim.line].trace.is_some();
        let strays = self.bench.strays;
        let are_runts = heights::are_runts(victim.strays.iter().map(|&at| &strays.strays[at]));
        let is_convicted = !rows.is_empty() && rows.iter().all(|row| self.is_known(row));
        Known {
            clues: self.clues(rows, &lines),
            drifts: rows
                .iter()
                .find(|row| drift::drifts(victim, row, self.misplaced(row), second))
                .map(|row| (row.aggressor, row.edge)),
            untimely: rows.iter().find_map(|row| self.untimely(row)),
            kind: (!is_convicted).then(|| self.kind(rows, &lines)).flatten(),
            race: (!is_convicted && !self.are_partial)
                .then(|| {
                    let before = races::before_answers(self.bench.answering, victim, rows);
                    // What another line passes on is no race of the victim's own.
                    let is_own = |row: &&Coupling| self.followed(row).is_empty();
                    before.or_else(|| {
                        let rows: Vec<Coupling> = rows.iter().filter(is_own).cloned().collect();
                        races::find(edges, strays, victim, &rows, &lines, (volts, are_runts), second)
                            .or_else(|| clocked::find(self.bench.capture, strays, edges, victim, &rows))
                    })
                })
                .flatten(),
            step: (!self.are_partial)
                .then(|| races::step_of(edges, victim, &lines, second))
                .flatten(),
            explains: explains(victim, rows),
            is_convicted,
            company,
            by_either_edge: either,
            in_runs: rows.iter().any(|row| trials::comes_in_runs(edges, victim, row)),
            part: parts::ground(edges, victim, rows, &lines, self.reach.hi, second),
            gate: (!self.are_partial)
                .then(|| {
                    let (capture, strays) = (self.bench.capture, self.bench.strays);
                    hazard::find(capture, strays, edges, victim, &lines, &self.reach)
                })
                .flatten(),
        }
    }

    /// What shows accused lines to be a part of what strikes.
    fn clues(&self, rows: &[Coupling], lines: &[usize]) -> Vec<Clue> {
        let (victim, edges) = (self.victim, self.bench.edges);
        let second = self.bench.capture.timebase.ticks_of(1.0);
        let mut clues: Vec<Clue> = Vec::new();
        clues.extend(rows.iter().find_map(Clue::of_volts));
        clues.extend(self.keeps_distance(rows));
        if let [row] = rows {
            let near = [self.bench.instants.span, self.reach.hi];
            clues.extend(company::of_many_matters(edges, victim, row, lines, near));
            let capture = self.bench.capture;
            clues.extend(trials::whose_level_matters(capture, edges, victim, row, lines));
        }
        clues.extend(rows.iter().find_map(|row| self.only_some(row)));
        clues.extend(rows.iter().find_map(|row| self.ill_timed(rows, row)));
        let is_kept_without = |row: &&Coupling| {
            phase::is_kept_without(edges, victim, rows, row, lines, &self.reach, &self.distances)
        };
        clues.extend(
            rows.iter()
                .find(is_kept_without)
                .map(|row| Clue::StepWithout { line: row.aggressor }),
        );
        let mut struck = rows.iter();
        clues.extend(struck.find_map(|row| trials::only_where_struck_itself(edges, victim, row, second)));
        clues.extend(rest::keeps_step(edges, victim, rows, lines).then_some(Clue::RestKeepsStep));
        clues
    }

    /// Who switches the accused's way as it strikes, where that is so of enough strikes of the rows.
    fn kind(&self, rows: &[Coupling], lines: &[usize]) -> Option<Kind> {
        let (edges, span) = (self.bench.edges, self.bench.instants.span);
        let against = rows
            .iter()
            .filter(|row| never_alone::against(self.victim, row).is_some());
        let are_several = against.count() > 1;
        let kinds = rows.iter().filter_map(|row| {
            let kind = never_alone::with_its_kind(edges, self.victim, row, lines, span, are_several)?;
            let is_open = kind.shows == Shows::NeverAlone;
            let mut others = rows.iter().filter(|other| other.aggressor == row.aggressor);
            let is_convicted = is_open
                && others.any(|other| {
                    never_alone::strikes_by_itself(edges, self.victim, (row, other), lines, span)
                });
            (!is_convicted).then_some((row.strays, kind))
        });
        let mut kinds: Vec<(u64, Kind)> = kinds.collect();
        let strikes: u64 = kinds.iter().map(|kind| kind.0).sum();
        let all: u64 = rows.iter().map(|row| row.strays).sum();
        kinds.sort_by_key(|(strays, kind)| (kind.shows != Shows::MoreTogether, std::cmp::Reverse(*strays)));
        if !kinds.is_empty() && strikes as f64 > OF_ITS_KIND * all as f64 {
            return Some(kinds.swap_remove(0).1);
        }
        never_alone::several(self.victim, rows)
    }

    /// Whether strays begin before the row's edges, or at lags that scatter, where these and the strays are known by one
    /// instrument's levels.
    fn ill_timed(&self, rows: &[Coupling], row: &Coupling) -> Option<Clue> {
        let capture = self.bench.capture;
        let [victim, accused] = [row.victim, row.aggressor].map(|line| &capture.lines[line]);
        let are_levels = victim.trace.is_none() && accused.trace.is_none();
        (are_levels && victim.capture == accused.capture)
            .then(|| {
                let second = capture.timebase.ticks_of(1.0);
                too_early::of(self.bench.edges, self.victim, rows, row, second)
                    .or_else(|| scattered::of(row, self.victim.unit, second))
            })
            .flatten()
    }

    /// Which of the row's edges strike, where it is not any of them. Where sampling shows only some of the strays, which ones
    /// depends on its phase.
    fn only_some(&self, row: &Coupling) -> Option<Clue> {
        if !victims::are_all_seen(self.bench.strays, self.victim) {
            return None;
        }
        let apart = row.lag.high.abs() + self.victim.width as f64 + self.victim.unit;
        which_edges::only_some(self.bench.edges, self.victim, row, apart)
    }

    /// Whether the only row's strikes avoid each other. Where sampling shows only some of the strays, which ones depends on
    /// its phase; where several strike, on the others.
    fn keeps_distance(&self, rows: &[Coupling]) -> Option<Clue> {
        let [row] = rows else { return None };
        if !victims::are_all_seen(self.bench.strays, self.victim) {
            return None;
        }
        let times = self.bench.edges[row.aggressor].of(row.occurrences[0].polarity);
        let struck = row
            .occurrences
            .iter()
            .filter_map(|o| times.binary_search(&o.at).ok());
        let reach = row.lag.high.ceil() as i64 + self.victim.guard;
        succession::keeps_distance(
            times,
            &self
                .victim
                .opportunities_apart(times, row.lag.estimate.round() as i64),
            &struck.collect::<Vec<_>>(),
            reach,
        )
        .map(|(together, expected)| Clue::KeepsDistance {
            line: row.aggressor,
            edge: row.edge,
            together,
            expected,
        })
    }
}
