//! Does a captured line strike by itself, or does it only switch along with what strikes?
//!
//! Once suspects are chosen, stories are told on the same switching instants ([`super::rival_models`],
//! [`super::dose`]). Only where captured lines that strike by themselves tell it best is anybody accused: a single
//! captured culprit makes the hidden story name that same line and nobody else. Where it names others instead,
//! the cause is a line without a probe, or the number of lines that switch at once.

use super::clues::Clue;
use super::hazard::Gate;
use super::known::Known;
use super::never_alone::Kind;
use super::one_lag;
use super::parts::Ground;
use super::races::Race;
use super::rival_models::{self, Fitted};
use super::stories::{NEAR, Stories, known_keys};
use super::untimely::Untimely;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::OwnEdges;
use crate::analysis::coupling::suspects::instants::{self, Instants, Table, key, line_of};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::fisher::fisher;

/// The same where several captured lines explain (nearly) all strays.
const NEAR_TO_SEVERAL: f64 = 2.0;
/// Two stories with as many keys as each other, and this near, are the same told with a twin.
const TWIN: f64 = 0.3;
/// A hidden story that wins by less than this, keys paid for, is one that chance tells of one victim in some hundreds.
const SLIGHT: f64 = 4.0;
/// The same of a contrast: one that chance brings as seldom as this, or more seldom, is firm.
const FIRM: f64 = 1e-5;
/// A hidden story that only adds to the captured one must win by this much.
const EXTENDED: f64 = 2.0;
/// With fewer strays than this nothing is concluded.
const FEWEST: usize = 5;

/// What the instants say about one victim level.
#[derive(Clone, Debug)]
pub enum Verdict {
    /// Captured lines that strike by themselves explain the strays as well as anything.
    Captured,
    /// The victim makes them itself, as captured lines switch almost together.
    Hazard(Gate),
    /// They look like a race of its own logic.
    Race(Race),
    /// These lines tell the strays as well as those that were chosen.
    Either(Vec<usize>),
    /// The strays depend on who switches in a way that no captured line explains by itself.
    Hidden(Hidden),
}

/// A hidden cause.
#[derive(Clone, Debug)]
pub struct Hidden {
    /// Lines whose switching makes a stray likelier, most telling first.
    pub companions: Vec<usize>,
    pub contrast: Option<Contrast>,
    /// What shows that the accused are only a part of it.
    pub part: Option<Ground>,
    /// Lines that switch the accused's way as it strikes, which it may share a lead with.
    pub kind: Option<Kind>,
    /// A line and its edges that come after the strays they would cause.
    pub untimely: Option<Untimely>,
    /// A line and its edges after which strays come at lags that drift.
    pub drifts: Option<(usize, Edge)>,
    /// What else shows accused lines to be a part of it.
    pub clues: Vec<Clue>,
    /// Whose step the strays and the victim's own edges are of.
    pub step: Option<usize>,
    /// Chance may well have made what shows it, one victim in some hundreds.
    pub is_slight: bool,
}

/// How often strays come after a line's edges when another line switches as well, and when not: a line that
/// strikes by itself would strike alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Contrast {
    pub line: usize,
    pub edge: Edge,
    pub other: usize,
    pub other_edge: Edge,
    /// Instants, and those with a stray.
    pub with: (u64, u64),
    pub without: (u64, u64),
}

/// The instants at which a victim was able, and what is known of them. `silent`: keys of edges that say nothing;
/// `latest`: longest lag looked at.
pub fn table(
    instants: &Instants,
    victim: &Victim,
    rows: &[Coupling],
    silent: &[usize],
    lines: usize,
    latest: i64,
) -> Table {
    let lag = rows.iter().map(|r| r.lag.high).fold(0.0, f64::max).ceil() as i64;
    let after = lag + 2 * victim.guard;
    Table::of(
        instants,
        victim,
        &homes(instants, victim, rows, latest),
        silent,
        3 * lines,
        after,
    )
}

/// What one victim level is judged by.
pub struct Seen<'a> {
    pub instants: &'a Instants,
    pub edges: &'a [OwnEdges],
    pub table: &'a Table,
    pub victim: &'a Victim,
    /// What was found for it so far.
    pub rows: &'a [Coupling],
    pub known: &'a Known,
}

impl Seen<'_> {
    /// Judges the victim level.
    pub fn verdict(&self) -> Verdict {
        if self.victim.times.len() < FEWEST {
            return Verdict::Captured;
        }
        if let Some(gate) = &self.known.gate {
            return Verdict::Hazard(gate.clone());
        }
        let verdict = match &self.known.race {
            Some(race) if race.is_plain() => return Verdict::Race(race.clone()),
            _ => self.told(),
        };
        match (&self.known.race, verdict) {
            (Some(race), Verdict::Captured | Verdict::Either(_)) => Verdict::Race(race.clone()),
            (_, verdict) => verdict,
        }
    }

    /// The verdict that the stories of the table and what is known of the rows give.
    fn told(&self) -> Verdict {
        let (table, rows, known) = (self.table, self.rows, self.known);
        let stories = Stories::of(table, rows);
        let chosen = known_keys(rows);
        let nearness = stories.hidden.worth(stories.price) - stories.captured.worth(stories.price);
        let captured_is = |line: usize| stories.captured.keys.iter().all(|&key| line_of(key) == line);
        // Who switches at each of that line's edges tells as much as the line does; so does a copy of it.
        let tells = |line: usize, copies: &[usize]| {
            let is_of = |key: usize| line_of(key) == line || copies.contains(&line_of(key));
            let mut of_line = stories.hidden.keys.iter().map(|&k| is_of(k));
            let names_others = stories.hidden.weights.iter().any(|&weight| weight > 0.0);
            of_line.clone().all(|own| own)
                || of_line.any(|own| own) && nearness < NEAR
                || (!names_others || captured_is(line)) && nearness < 0.0
                || nearness <= -NEAR
        };
        match &known.by_either_edge {
            Some(_)
                if known
                    .clues
                    .iter()
                    .any(|clue| matches!(clue, Clue::StaysStill { .. }))
                    || known.part.is_some()
                    || known.kind.is_some()
                    || known.untimely.is_some()
                    || known.drifts.is_some() => {}
            Some((line, copies)) if tells(*line, copies) && copies.is_empty() => return Verdict::Captured,
            Some((line, copies)) if tells(*line, copies) => return Verdict::Either(copies.clone()),
            _ => {}
        }
        let mut clues = known.clues.clone();
        clues.extend(self.clues_of_rows());
        let more = stories.captured.keys.iter().filter(|key| !chosen.contains(key));
        clues.extend(more.copied().find_map(|other| self.needs_company(other)));
        let shown_firmly = !clues.is_empty()
            || known.part.is_some()
            || known.kind.is_some()
            || known.untimely.is_some()
            || known.drifts.is_some()
            || known.company.is_some_and(|shown| shown.chance <= FIRM);
        let told_otherwise = shown_firmly || known.company.is_some() && !known.is_convicted;
        let extends = extends(table, &stories.captured, &stories.hidden);
        let same = same_keys(&stories.captured, &stories.hidden)
            || known.explains && is_part_of(&stories.hidden, &stories.captured)
            || (extends && nearness < EXTENDED)
            || (nearness.abs() < TWIN && stories.captured.keys.len() == stories.hidden.keys.len())
            || nearness < -NEAR
            || known.explains && lines_of(rows) > 1 && nearness < -NEAR_TO_SEVERAL;
        if !told_otherwise && (same || (rows.is_empty() && nearness <= 0.0)) {
            return Verdict::Captured;
        }
        // As many keys, and neither story clearly better: which captured line it is can't be told, nothing hidden is needed.
        if !told_otherwise && stories.captured.keys.len() == stories.hidden.keys.len() && nearness < NEAR {
            let is_contrived = known.explains && nearness < EXTENDED && !strikes_alone(&stories.hidden);
            return match known.is_convicted || is_contrived {
                true => Verdict::Captured,
                false => Verdict::Either(telling(&stories.hidden)),
            };
        }
        if !told_otherwise && known.is_convicted && nearness < SLIGHT {
            return Verdict::Captured;
        }
        let mut companions = telling(&stories.hidden);
        let level = clues.iter().find_map(|clue| match clue {
            Clue::Level { other, .. } => Some(*other),
            _ => None,
        });
        let besides = known
            .company
            .map(|shown| shown.contrast.other)
            .into_iter()
            .chain(level);
        for line in besides {
            if !companions.contains(&line) {
                companions.push(line);
            }
        }
        Verdict::Hidden(Hidden {
            companions,
            contrast: contrast(table, &stories.hidden, rows).or(known.company.map(|shown| shown.contrast)),
            part: known.part,
            kind: known.kind.clone(),
            untimely: known.untimely,
            drifts: known.drifts,
            step: known.step,
            clues,
            is_slight: !shown_firmly && nearness < SLIGHT,
        })
    }

    /// A line that the rows leave out and that strikes at the lag of one of them, whether it switches there or not.
    fn needs_company(&self, other: usize) -> Option<Clue> {
        let mut others = self.rows.iter().filter(|row| line_of(other) != row.aggressor);
        let row = others.find(|row| one_lag::with_and_without(self.instants, self.victim, row, other))?;
        Some(Clue::OneLag {
            line: row.aggressor,
            other: line_of(other),
        })
    }

    /// What the rows beside each other show: that they strike as one, or one way by both edges.
    fn clues_of_rows(&self) -> Vec<Clue> {
        let Seen {
            instants,
            edges,
            table,
            victim,
            rows,
            known,
        } = *self;
        let mut clues: Vec<Clue> = Vec::new();
        if !known.in_runs && strike_as_one(table, rows) {
            let mut lines: Vec<usize> = rows.iter().map(|row| row.aggressor).collect();
            lines.sort_unstable();
            lines.dedup();
            clues.push(Clue::AsOne { lines });
        }
        clues.extend(strikes_both_ways(rows).map(|line| Clue::OneWay { line }));
        let opposite = |row: &&Coupling| one_lag::opposite_edges_too(edges, victim, rows, row);
        clues.extend(rows.iter().find(opposite).map(|row| Clue::OppositeEdges {
            line: row.aggressor,
            edge: row.edge,
        }));
        let nested = one_lag::nested(edges, victim, rows, 2 * instants.span);
        clues.extend(nested.map(|[line, other]| Clue::OneLag { line, other }));
        clues
    }
}

/// How many lines the rows accuse.
fn lines_of(rows: &[Coupling]) -> usize {
    let mut lines: Vec<usize> = rows.iter().map(|row| row.aggressor).collect();
    lines.sort_unstable();
    lines.dedup();
    lines.len()
}

/// A row with so small a part of another's strike rate may be its stragglers.
const STRAGGLERS: f64 = 0.15;

/// The line of which both polarities were found to strike towards one level, if one is: a coupled edge pulls one way, and its
/// opposite the other way.
fn strikes_both_ways(rows: &[Coupling]) -> Option<usize> {
    let both = rows.iter().find(|a| {
        let alike = |b: &Coupling| b.strike_rate.estimate >= STRAGGLERS * a.strike_rate.estimate;
        rows.iter()
            .any(|b| a.aggressor == b.aggressor && a.edge != b.edge && alike(b))
    });
    both.map(|row| row.aggressor)
}

/// One chance for two, three and more accused lines must tell the instants better by so much (ln likelihood): that so many strike
/// one victim is seldom the truth.
const AS_ONE: [f64; 3] = [6.0, -1.0, -2.0];

/// Whether several accused lines strike no oftener where they switch together than where one does: what each strikes by
/// itself adds up there; a line without a probe that they all go along with strikes once. What lets all of them through now and
/// then looks alike, but comes in runs.
fn strike_as_one(table: &Table, rows: &[Coupling]) -> bool {
    let keys = known_keys(rows);
    let least = match lines_of(rows) {
        0 | 1 => return false,
        several => AS_ONE[several.min(4) - 2],
    };
    rival_models::one_chance(table, &keys) - rival_models::noisy_or(table, &keys).ln_likelihood > least
}

/// Whether the hidden story only adds to the captured one: it speaks of the same lines' edges, or of those that are missing
/// exactly where these come (at a clock's rises, when its falls are what strikes).
fn extends(table: &Table, captured: &Fitted, hidden: &Fitted) -> bool {
    let is_told = |&key: &usize| {
        let mut spoken = hidden.keys.iter().zip(&hidden.weights);
        spoken.any(|(&other, weight)| {
            key == other
                || *weight < 0.0
                    && table.among(&[key, other], &[]).0 == 0
                    && table.among(&[], &[key, other]).0 == 0
        })
    };
    captured.keys.iter().all(is_told)
}

fn same_keys(a: &Fitted, b: &Fitted) -> bool {
    a.keys.len() == b.keys.len() && a.keys.iter().all(|k| b.keys.contains(k))
}

/// Whether the hidden story speaks of nothing but edges that the captured one lets strike, and each makes a stray likelier.
fn is_part_of(hidden: &Fitted, captured: &Fitted) -> bool {
    let is_told = |(key, weight): (&usize, &f64)| captured.keys.contains(key) && *weight > 0.0;
    hidden.keys.iter().zip(&hidden.weights).all(is_told)
}

/// Whether the hidden story is one that captured lines could tell as well, each striking by one kind of edge.
fn strikes_alone(hidden: &Fitted) -> bool {
    let strikes = |(key, weight): (&usize, &f64)| *weight > 0.0 && instants::edge_of(*key) != Edge::Both;
    hidden.keys.iter().zip(&hidden.weights).all(strikes)
}

/// The instant of each stray: that of the edge it was put down to, else the last one that had begun.
fn homes(instants: &Instants, victim: &Victim, rows: &[Coupling], latest: i64) -> Vec<Option<usize>> {
    let mut homes: Vec<Option<usize>> = victim
        .times
        .iter()
        .map(|&t| {
            let i = instants.begun_by(t + victim.unit.ceil() as i64)?;
            (t - instants.last(i) <= latest).then_some(i)
        })
        .collect();
    for strike in rows.iter().flat_map(|r| &r.occurrences) {
        if let Ok(k) = victim.strays.binary_search(&strike.stray) {
            homes[k] = instants.begun_by(strike.at);
        }
    }
    homes
}

/// Lines with a positive weight, most telling first.
fn telling(hidden: &Fitted) -> Vec<usize> {
    let mut keys: Vec<(f64, usize)> = hidden
        .weights
        .iter()
        .zip(&hidden.keys)
        .filter(|(w, _)| **w > 0.0)
        .map(|(w, k)| (*w, line_of(*k)))
        .collect();
    keys.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut lines: Vec<usize> = Vec::new();
    for (_, line) in keys {
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines
}

/// Chance at or below which two counts are shown as different.
const DIFFER: f64 = 0.01;

/// The plainest pair of counts against the line with most strikes, if one is plain.
fn contrast(table: &Table, hidden: &Fitted, rows: &[Coupling]) -> Option<Contrast> {
    let accused = rows.iter().max_by_key(|r| r.strays)?;
    let own = key(accused.aggressor, accused.edge);
    let rate = |(n, y): (u64, u64)| (y as f64 + 0.5) / (n as f64 + 1.0);
    let mut best: Option<(f64, Contrast)> = None;
    for &other in hidden.keys.iter().filter(|k| line_of(**k) != accused.aggressor) {
        let contrast = Contrast {
            line: accused.aggressor,
            edge: accused.edge,
            other: line_of(other),
            other_edge: instants::edge_of(other),
            with: table.among(&[own, other], &[]),
            without: table.among(&[own], &[other]),
        };
        let size = (rate(contrast.with) / rate(contrast.without)).ln().abs();
        let (with, without) = (contrast.with, contrast.without);
        let differ = fisher(with.1, with.0, without.1, without.0).two_sided() <= DIFFER;
        if differ && with.0 >= 3 && without.0 >= 3 && best.is_none_or(|(s, _)| size > s) {
            best = Some((size, contrast));
        }
    }
    best.map(|(_, contrast)| contrast)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_story_without_a_clock_s_rises_is_one_of_its_falls() {
        // A clock (keys 0 and 1) rises at some instants and falls at the others; line 1 (keys 3 and 4) goes along at times.
        let table = |rows: &[(&[u32], f64, f64)]| Table::counted(rows, 6);
        let clocked = table(&[(&[0], 50.0, 0.0), (&[1], 30.0, 10.0), (&[1, 3], 20.0, 1.0)]);
        let story = |keys: &[usize], weights: &[f64]| Fitted {
            keys: keys.to_vec(),
            weights: weights.to_vec(),
            base: 0.0,
            ln_likelihood: 0.0,
        };
        let falls = story(&[1], &[0.3]);
        assert!(extends(&clocked, &falls, &story(&[1, 3], &[5.0, -2.0])));
        assert!(extends(&clocked, &falls, &story(&[0, 3], &[-8.0, -2.0])));
        assert!(!extends(&clocked, &falls, &story(&[0, 3], &[8.0, -2.0])));
        assert!(!extends(&clocked, &falls, &story(&[3], &[-2.0])));
        // Where other instants are as well, no rise is not a fall.
        let more = table(&[(&[0], 50.0, 0.0), (&[1], 30.0, 10.0), (&[3], 20.0, 1.0)]);
        assert!(!extends(&more, &falls, &story(&[0, 3], &[-8.0, -2.0])));
    }

    #[test]
    fn event_coincidence_by_the_published_formula() {
        // Donges, Schleussner, Siegmund, Donner 2016, EPJ ST 225:471; the authors' code gives these values for A 1.2,
        // 5.1, 9.05; B 1, 5, 9, 13; window 0.25 in 20: 3 of 3 and 3 of 4.
        use crate::analysis::stats::tails::binomial_upper;
        let coincide = |window: f64, events: i32| 1.0 - (1.0 - window / 20.0).powi(events);
        let precursor = binomial_upper(3, 3, coincide(0.25, 4));
        let trigger = binomial_upper(3, 4, coincide(0.25, 3));
        assert!(
            (precursor / 0.00011815601167126714 - 1.0).abs() < 1e-10,
            "{precursor}"
        );
        assert!((trigger / 0.0001975152583331566 - 1.0).abs() < 1e-10, "{trigger}");
    }
}
