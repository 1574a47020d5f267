//! What is known of one victim level's rows before they are judged.

use super::company::Shown as ContrastShown;
use super::copies;
use super::examine::{Case, explains};
use super::hazard::{self, Gate};
use super::never_alone::{self, Kind, Shows};
use super::parts::{self, Ground};
use super::races::{self, Race};
use super::untimely::{self, Untimely};
use super::{Coupling, Edge, company, drift, one_lag, phase, rest, rows, succession, victims};

/// What was found out of one victim level's rows before it is judged.
#[derive(Clone, Debug)]
pub struct Known {
    /// One of the rows does ([`keeps_distance`]).
    pub keeps_distance: bool,
    /// A line whose rises and falls both strike ([`one_lag::by_either_edge`]), and lines of which one polarity goes with
    /// all of these edges.
    pub by_either_edge: Option<(usize, Vec<usize>)>,
    /// Strays come at an accused line's moment of the step and without it ([`super::phase`]).
    pub in_step_without: bool,
    /// Beside which line's edges the only accused line strikes otherwise than without them ([`super::company`]).
    pub company: Option<ContrastShown>,
    /// It strikes otherwise where many lines switch with it than where few do (likewise).
    pub goes_with_many: bool,
    /// By which line's level it strikes or not (likewise).
    pub level: Option<usize>,
    /// An accused line strikes only where it shows short pulses itself (likewise).
    pub is_struck: bool,
    /// Strikes of an accused line come in runs ([`super::company`]).
    pub in_runs: bool,
    /// Strays that nobody accused explains keep the lag to other lines ([`super::rest`]).
    pub rest_keeps_step: bool,
    /// The accused lines look like a part of one that carries no probe ([`super::parts`]).
    pub part: Option<Ground>,
    /// A row's line, and its edges that come after the strays they would cause ([`super::before`]).
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
    /// Other strays of the victim convict every accused line ([`super::established`]).
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
        let is_kept_without = |row: &Coupling| {
            phase::is_kept_without(edges, victim, rows, row, &lines, &self.reach, &self.distances)
        };
        let second = self.bench.capture.timebase.ticks_of(1.0);
        let is_struck = |row: &Coupling| company::only_where_struck_itself(edges, victim, row, second);
        let company = match rows {
            [row] => {
                let after = company::after(rows::edges_of(edges, row), self.reach.hi, second);
                company::that_matters(edges, victim, row, &lines, [self.bench.instants.span, after])
            }
            _ => None,
        };
        let goes_with_many = match rows {
            [row] => company::of_many_matters(
                edges,
                victim,
                row,
                &lines,
                [self.bench.instants.span, self.reach.hi],
            ),
            _ => false,
        };
        let level = match rows {
            [row] => company::whose_level_matters(self.bench.capture, edges, victim, row, &lines),
            _ => None,
        };
        let volts = self.bench.capture.lines[victim.line].trace.is_some();
        let is_convicted = !rows.is_empty() && rows.iter().all(|row| self.is_known(row));
        Known {
            drifts: rows
                .iter()
                .find(|row| drift::drifts(victim, row, second))
                .map(|row| (row.aggressor, row.edge)),
            untimely: rows
                .iter()
                .find_map(|row| untimely::find(edges, victim, row, volts, second)),
            kind: (!is_convicted).then(|| self.kind(rows, &lines)).flatten(),
            race: (!is_convicted)
                .then(|| races::find(edges, self.bench.strays, victim, rows, &lines, (volts, second)))
                .flatten(),
            step: races::step_of(edges, victim, &lines, second),
            explains: explains(victim, rows),
            is_convicted,
            company,
            goes_with_many,
            level,
            is_struck: rows.iter().any(is_struck),
            keeps_distance: self.keeps_distance(rows),
            by_either_edge: either,
            in_step_without: rows.iter().any(is_kept_without),
            in_runs: rows.iter().any(|row| company::comes_in_runs(edges, victim, row)),
            rest_keeps_step: rest::keeps_step(edges, victim, rows, &lines),
            part: parts::ground(edges, victim, rows, &lines, self.reach.hi, second),
            gate: hazard::find(
                self.bench.capture,
                self.bench.strays,
                edges,
                victim,
                &lines,
                &self.reach,
            ),
        }
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
            Some((row.strays, kind))
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

    /// Whether the only row's strikes avoid each other. Where sampling shows only some of the strays, which ones depends on
    /// its phase; where several strike, on the others.
    fn keeps_distance(&self, rows: &[Coupling]) -> bool {
        let [row] = rows else { return false };
        if !victims::are_all_seen(self.bench.strays, self.victim) {
            return false;
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
    }
}
