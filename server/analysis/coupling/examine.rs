//! One victim level looked at: from its strays to the rows of suspects and what is thought of them.

use crate::analysis::coupling::fit::beside::Witnesses;
use crate::analysis::coupling::fit::copies::{self, Distances};
use crate::analysis::coupling::fit::evidence::Evidence;
use crate::analysis::coupling::fit::lost;
use crate::analysis::coupling::fit::model::{LagWindow, whole_units};
use crate::analysis::coupling::fit::nearby;
use crate::analysis::coupling::fit::passed_on;
use crate::analysis::coupling::fit::preferences;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::{self, Explanation, Reach, Suspect, Victim};
use crate::analysis::coupling::fit::twice;
use crate::analysis::coupling::in_volts::heights;
use crate::analysis::coupling::in_volts::moved::{self, Moved};
use crate::analysis::coupling::joined::established::Established;
use crate::analysis::coupling::legitimate::answering::Answering;
use crate::analysis::coupling::suspects::able::OwnEdges;
use crate::analysis::coupling::suspects::downstream::{self, Downstream, Told};
use crate::analysis::coupling::suspects::effects;
use crate::analysis::coupling::suspects::excused;
use crate::analysis::coupling::suspects::instants::{Instants, Table, keys_of, line_of};
use crate::analysis::coupling::suspects::reacting::Follower;
use crate::analysis::coupling::suspects::unrecorded;
use crate::analysis::coupling::suspects::victims::{self, Chances};
use crate::analysis::coupling::verdict::alone;
use crate::analysis::coupling::verdict::context::{self, Verdict};
use crate::analysis::coupling::verdict::hints::{self, Hint};
use crate::analysis::coupling::verdict::one_lag;
use crate::analysis::coupling::verdict::untimely;
use crate::analysis::coupling::{
    Coupling, CouplingOptions, EARLIEST_LAG_S, Edge, FEWEST_STRIKES, GAIN, LONGEST_LAG_S, NARROWEST_WINDOW_S,
    NEARER_MARGIN, RIVAL_MARGIN, misplaced, most_misplaced, suspects_of,
};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Polarity};

#[cfg(test)]
mod tests;

/// What all victims are looked at with.
pub struct Bench<'a> {
    pub capture: &'a Capture,
    pub strays: &'a Strays,
    /// Each line's own edges, by its position in the capture; and these without what the victim in hand brings about.
    pub whole: &'a [OwnEdges],
    pub edges: &'a [OwnEdges],
    pub instants: &'a Instants,
    pub answering: &'a [Answering],
    pub options: &'a CouplingOptions,
    /// Whether edges of other captures are let seem as late as they may be misplaced ([`Bench::examine`]).
    pub is_lenient: bool,
}

/// Share of the strays that an explanation may leave open where it takes the place of a doubt.
const LEFT_OPEN: f64 = 0.05;

/// Share of the strikes up to which a line's tell nothing of the others'.
const MINOR: f64 = 0.2;

/// Whether rows explain (nearly) all strays.
pub fn explains(victim: &Victim, rows: &[Coupling]) -> bool {
    rows::unexplained(victim, rows).count() as f64 <= LEFT_OPEN * victim.times.len() as f64
}

/// What one victim level shows.
pub struct Examined {
    /// Suspects that the strays need, most telling first.
    pub rows: Vec<Coupling>,
    /// The instants at which the victim was able.
    pub table: Table,
    pub verdict: Verdict,
    /// Where the strays are too few for a row.
    pub hint: Option<Hint>,
    /// Rows that are judged by themselves ([`alone`]), and the victim without their strays, which the rest is about.
    pub apart: Vec<Coupling>,
    pub less: Option<Victim>,
    /// Strays that came behind others of the same edges, and are not in the rows.
    pub seconds: Vec<twice::Second>,
}

/// One victim level with whom it may suspect.
pub struct Case<'a> {
    pub bench: &'a Bench<'a>,
    pub victim: &'a Victim,
    pub reach: Reach,
    pub distances: Distances,
    /// Keys of edges that follow the victim's, strays included: they are no evidence.
    silent: Vec<usize>,
    /// Keys of which some do.
    partly: Vec<usize>,
    suspects: Vec<Suspect>,
    /// How far moments of lines of other captures may be misplaced, in ticks.
    misplaced: f64,
    /// Whether the strays stop short of the line's other level, as no part's do.
    pub are_partial: bool,
    pub known: &'a [Established],
    witnesses: Witnesses,
}

impl Bench<'_> {
    /// Looks at one victim level. `chances`: what every suspect could have done; `known`: lines that other strays of this victim
    /// convict. Cost: strays and edges near them, times the suspects.
    ///
    /// Where lines of several captures were brought to one clock, a line of the victim's own capture that explains all is not asked about
    /// again beside what others show a sample later.
    pub fn examine(&self, victim: &Victim, chances: &Chances, known: &[Established]) -> Examined {
        let told = self.examine_as_it_is(victim, chances, known);
        let is_settled = matches!(told.verdict, Verdict::Captured)
            && !told.rows.is_empty()
            && explains(victim, &told.rows);
        if self.is_lenient || is_settled || most_misplaced(self.capture, self.strays, victim.line) == 0.0 {
            return told;
        }
        let lenient = Bench {
            is_lenient: true,
            ..*self
        };
        lenient.examine_as_it_is(victim, chances, known)
    }

    /// How far moments of lines of other captures are let be misplaced beside the victim's, in ticks.
    fn misplaced(&self, victim: &Victim) -> f64 {
        match self.is_lenient {
            true => most_misplaced(self.capture, self.strays, victim.line),
            false => 0.0,
        }
    }

    fn examine_as_it_is(&self, victim: &Victim, chances: &Chances, known: &[Established]) -> Examined {
        let second = self.capture.timebase.ticks_of(1.0);
        let distances = [
            Distances::new(victim, second).steady,
            -reach(self.capture, self.options, victim, self.misplaced(victim)).lo,
        ];
        let (capture, strays) = (self.capture, self.strays);
        let mut downstream = downstream::of(capture, strays, self.whole, victim, distances, second);
        let told = self.without(&downstream, victim, chances, known);
        let suspects: Vec<Suspect> = suspects_of(capture, victim.line).collect();
        let lengths = [distances[1], self.instants.span];
        let brings_more = !downstream.is_empty();
        let effects = effects::of(
            self.whole,
            &suspects,
            victim,
            &told.rows,
            lengths,
            second,
            brings_more,
        );
        match downstream.extend(effects) {
            true => self.without(&downstream, victim, chances, known),
            false => told,
        }
    }

    /// Looks at one victim level without the edges that are told to be brought about by it.
    fn without(
        &self,
        told: &Downstream,
        victim: &Victim,
        chances: &Chances,
        known: &[Established],
    ) -> Examined {
        if told.is_empty() {
            let bench = Bench {
                edges: self.whole,
                ..*self
            };
            return bench.examine_without(&Told::default(), victim, chances, known);
        }
        let (edges, told) = told.without(self.whole);
        let bench = Bench {
            edges: &edges,
            ..*self
        };
        bench.examine_without(&told, victim, chances, known)
    }

    /// Looks at one victim level as [`Bench::examine`] does, where the edges `downstream` are told to be brought about by the
    /// victim.
    fn examine_without(
        &self,
        downstream: &Told,
        victim: &Victim,
        chances: &Chances,
        known: &[Established],
    ) -> Examined {
        let case = Case::new(self, victim, (&chances.followers, downstream), known);
        let evidence: Vec<Evidence> = case
            .suspects
            .iter()
            .map(|&s| {
                let (count, left_out) = (chances.counts[s.column()], &chances.left_out[s.column()]);
                Evidence::gather(victim, s, &self.edges[s.line], &case.reach, count, left_out)
            })
            .collect();
        let threshold = GAIN + (2.0 * evidence.len() as f64).max(1.0).ln();
        let explanation = case.explain(&evidence, threshold);
        if let Some(less) = excused::without(victim, self.edges, &evidence, &explanation) {
            return self.examine(&less, chances, known);
        }
        if let Some(less) = unrecorded::without(self.capture, victim, &evidence, &explanation, &case.reach) {
            let reach = |victim: &Victim| reach(self.capture, self.options, victim, self.misplaced(victim));
            let less = std::slice::from_ref(&less);
            let chances = victims::chances(self.capture, self.strays, self.edges, less, reach);
            return self.examine(&less[0], &chances[0], known);
        }
        if let Some((less, seconds)) = twice::without(
            victim,
            self.edges,
            &evidence,
            &explanation,
            (&case.reach, &twice::behind(self.capture, self.strays, victim)),
        ) {
            let mut told = self.examine(&less, chances, known);
            told.seconds.extend(seconds);
            told.less.get_or_insert(less);
            return told;
        }
        let mut told = case.told(&evidence, &explanation);
        if matches!(told.verdict, Verdict::Hidden(_) | Verdict::Either(_)) {
            let margins = [threshold, RIVAL_MARGIN];
            let other = select::otherwise(victim, &evidence, &explanation, &case.reach, margins);
            let other = other.map(|other| case.told(&evidence, &other));
            told = other
                .filter(|other| matches!(other.verdict, Verdict::Captured) && explains(victim, &other.rows))
                .unwrap_or(told);
        }
        if let Some(apart) = alone::judge(&case, chances, &told) {
            return apart;
        }
        if told.rows.is_empty() {
            told.hint = hints::of(victim, &evidence, &case.reach, threshold, RIVAL_MARGIN);
        }
        told
    }
}

/// The lags looked at. `misplaced`: how far moments of other lines may lie beside, in ticks.
pub fn reach(capture: &Capture, options: &CouplingOptions, victim: &Victim, misplaced: f64) -> Reach {
    let ticks = |seconds: f64| capture.timebase.ticks_of(seconds);
    let longest = ticks(LONGEST_LAG_S) + 2.0 * victim.unit;
    Reach {
        lo: -whole_units(ticks(EARLIEST_LAG_S) + victim.unit + misplaced, victim.unit),
        hi: whole_units(options.longest_lag.unwrap_or(longest), victim.unit),
        narrowest: ticks(NARROWEST_WINDOW_S),
    }
}

impl<'a> Case<'a> {
    fn new(
        bench: &'a Bench<'a>,
        victim: &'a Victim,
        (followers, downstream): (&[Follower], &Told),
        known: &'a [Established],
    ) -> Case<'a> {
        let misplaced = bench.misplaced(victim);
        let reach = reach(bench.capture, bench.options, victim, misplaced);
        let distances = Distances::new(victim, bench.capture.timebase.ticks_of(1.0));
        let lags = [reach.hi, -reach.lo];
        let reacting = followers
            .iter()
            .filter(|f| f.reacts(bench.capture, bench.whole, victim, lags));
        let reacting: Vec<usize> = reacting.map(|follower| follower.line).collect();
        let suspects = suspects_of(bench.capture, victim.line)
            .filter(|s| !reacting.contains(&s.line) && !downstream.all.contains(s));
        let of_lines = reacting.iter().flat_map(|&line| keys_of(line));
        let silent = of_lines.chain(downstream::keys(&downstream.all)).collect();
        let own = &bench.edges[victim.line];
        let listed = victim.strays.iter().map(|&at| &bench.strays.strays[at]);
        Case {
            misplaced,
            are_partial: heights::are_partial(bench.capture, victim.line, victim.level, listed),
            witnesses: Witnesses::of(bench.capture, bench.strays, own, victim),
            suspects: suspects.collect(),
            bench,
            victim,
            reach,
            distances,
            silent,
            partly: downstream::keys(&downstream.some).collect(),
            known,
        }
    }

    /// Lines that may be suspected, each once.
    pub fn lines(&self) -> Vec<usize> {
        let mut lines: Vec<usize> = self.suspects.iter().map(|s| s.line).collect();
        lines.dedup();
        lines
    }

    /// How much later than a stray's start its cause may seem to come, in ticks.
    fn earliest(&self) -> f64 {
        untimely::earliest(self.victim.unit, self.bench.capture.timebase.ticks_of(1.0)) + self.misplaced
    }

    /// How long after its cause a stray may come, in ticks.
    fn latest(&self) -> f64 {
        untimely::latest(self.victim.unit, self.bench.capture.timebase.ticks_of(1.0))
    }

    /// Whether a mean lag, in ticks, is none that a coupling has.
    fn is_untimely(&self, lag: f64) -> bool {
        lag < -self.earliest() || lag > self.latest()
    }

    /// Whether a row's strays come before its edges or long after them, on the mean.
    pub fn untimely(&self, row: &Coupling) -> Option<untimely::Untimely> {
        let Bench { capture, edges, .. } = *self.bench;
        let volts = capture.lines[self.victim.line].trace.is_some();
        let second = capture.timebase.ticks_of(1.0);
        untimely::find(edges, self.victim, row, (volts, self.misplaced(row)), second)
    }

    /// How far the row's edges may lie beside the victim's, in ticks, as they were captured.
    pub fn misplaced(&self, row: &Coupling) -> f64 {
        let Bench { capture, strays, .. } = *self.bench;
        match self.bench.is_lenient {
            true => misplaced(capture, strays, [self.victim.line, row.aggressor]),
            false => 0.0,
        }
    }

    fn explain(&self, evidence: &[Evidence], threshold: f64) -> Explanation {
        let (victim, reach) = (self.victim, &self.reach);
        let mut explanation = select::explain(victim, evidence, reach, threshold);
        let margins = [threshold, RIVAL_MARGIN];
        preferences::prefer_one_for_two(victim, evidence, &mut explanation, reach, margins);
        preferences::prefer_two_for_one(victim, evidence, &mut explanation, reach, NEARER_MARGIN);
        let capture = self.bench.capture;
        let volts = capture.lines[victim.line].trace.is_some();
        let early = untimely::early(volts, capture.timebase.ticks_of(1.0)) + self.misplaced;
        let margins = [NEARER_MARGIN, early];
        let may_be_cause = |lag: f64| !self.is_untimely(lag);
        preferences::prefer_nearer_edges(victim, evidence, &mut explanation, reach, margins, may_be_cause);
        let is_known =
            |line: usize, lag: f64| self.known.iter().any(|known| known.is(line, lag, victim.unit));
        preferences::prefer_known(victim, evidence, &mut explanation, reach, RIVAL_MARGIN, is_known);
        let may_be_cause = |_, lag: f64| may_be_cause(lag);
        preferences::prefer_known(
            victim,
            evidence,
            &mut explanation,
            reach,
            RIVAL_MARGIN,
            may_be_cause,
        );
        explanation
    }

    /// What an explanation comes to: its rows, and what is thought of them.
    fn told(&self, evidence: &[Evidence], explanation: &Explanation) -> Examined {
        let rows = self.with_copies(self.rows(evidence, explanation));
        self.told_of(self.without_minor_untimely(rows))
    }

    /// The rows but those that come at no time that a coupling has, and are few: what they show says nothing of the others.
    fn without_minor_untimely(&self, mut rows: Vec<Coupling>) -> Vec<Coupling> {
        let all: u64 = rows.iter().map(|row| row.strays).sum();
        rows.retain(|row| row.strays as f64 > MINOR * all as f64 || self.untimely(row).is_none());
        rows
    }

    /// What is thought of rows.
    fn told_of(&self, mut rows: Vec<Coupling>) -> Examined {
        let (bench, victim) = (self.bench, self.victim);
        let lines = bench.capture.lines.len();
        let is_accused = |key: &&usize| rows.iter().any(|row| row.aggressor == line_of(**key));
        let partly = self.partly.iter().filter(|key| !is_accused(key));
        let silent: Vec<usize> = self.silent.iter().chain(partly).copied().collect();
        let table = context::table(bench.instants, victim, &rows, &silent, lines, self.reach.hi);
        let moved: Vec<Option<Moved>> = rows
            .iter()
            .map(|row| moved::of(bench.capture, bench.edges, victim, row, &self.lines()))
            .collect();
        rows.iter_mut()
            .zip(moved)
            .for_each(|(row, moved)| row.moved = moved);
        let known = self.known(&rows);
        rows.iter_mut().for_each(|row| row.step = known.step);
        let seen = context::Seen {
            instants: bench.instants,
            edges: bench.edges,
            table: &table,
            victim,
            rows: &rows,
            known: &known,
        };
        let verdict = seen.verdict();
        Examined {
            rows,
            table,
            verdict,
            hint: None,
            apart: Vec::new(),
            less: None,
            seconds: Vec::new(),
        }
    }

    /// The rows that stand by themselves, each with the lines that fit as well.
    fn rows(&self, evidence: &[Evidence], explanation: &Explanation) -> Vec<Coupling> {
        let (victim, edges) = (self.victim, self.bench.edges);
        let mut rows: Vec<Coupling> = Vec::new();
        for at in 0..explanation.chosen.len() {
            let chosen = &explanation.chosen[at];
            let accused = (evidence[chosen.evidence].suspect, &chosen.window);
            let mut rivals = select::rivals(victim, evidence, explanation, at, &self.reach, RIVAL_MARGIN);
            let is_off = |window: &LagWindow| self.is_untimely(window.middle());
            rivals.retain(|(_, window, _)| is_off(&chosen.window) || !is_off(window));
            rivals.retain(|(other, window, loss)| {
                let other = (evidence[*other].suspect, window);
                loss + self.witnesses.prefer(edges, accused, other) < RIVAL_MARGIN
            });
            let row = rows::coupling(
                self.bench.strays,
                victim,
                edges,
                evidence,
                explanation,
                at,
                &rivals,
            );
            rows.push(if self.is_known(&row) {
                rows::coupling(self.bench.strays, victim, edges, evidence, explanation, at, &[])
            } else {
                row
            });
        }
        rows.retain(|row| row.strays >= FEWEST_STRIKES);
        let span = self.bench.instants.span;
        let stragglers = rows
            .iter()
            .map(|row| one_lag::is_straggler(edges, victim, &rows, row, span));
        let mut stragglers = stragglers.collect::<Vec<bool>>().into_iter();
        rows.retain(|_| stragglers.next() == Some(false));
        self.without_crowded(rows, evidence)
    }

    /// The rows that stand out against the strays nearby. What a row explained that does not is among these for the others.
    fn without_crowded(&self, mut rows: Vec<Coupling>, evidence: &[Evidence]) -> Vec<Coupling> {
        let may_be_row = |e: &&Evidence| e.pairs.len() as u64 >= FEWEST_STRIKES;
        let open = (&self.reach, evidence.iter().filter(may_be_row).count().max(1));
        loop {
            let stands_out =
                |row: &Coupling| nearby::stand_out(self.bench.edges, self.victim, &rows, row, open);
            let standing: Vec<bool> = rows.iter().map(stands_out).collect();
            if standing.iter().all(|stands| *stands) {
                return rows;
            }
            let mut standing = standing.into_iter();
            rows.retain(|_| standing.next() == Some(true));
        }
    }

    /// Whether other strays of the victim convict the row's line at its lag.
    pub fn is_known(&self, row: &Coupling) -> bool {
        let unit = self.victim.unit;
        self.known
            .iter()
            .any(|known| known.is(row.aggressor, row.lag.estimate, unit))
    }

    /// The suspects that switch as the accused does, after one time.
    pub fn copies(&self, accused: &copies::Accused) -> Vec<crate::analysis::coupling::CopyOf> {
        let suspects = self.suspects.iter().map(|s| (s.line, s.polarity));
        copies::of(
            self.bench.edges,
            self.victim,
            accused,
            &self.reach,
            suspects,
            &self.distances,
        )
    }

    /// Whether strays beside the victim's own edges clear a line that copies the accused.
    fn is_cleared(&self, row: &Coupling, copy: &crate::analysis::coupling::CopyOf) -> bool {
        let Some(first) = row.occurrences.first() else {
            return false;
        };
        let lags = || row.occurrences.iter().map(|o| o.lag);
        let (least, most) = (lags().min().unwrap_or(0), lags().max().unwrap_or(0));
        let opposite = first.polarity.opposite();
        let window = |delay: i64| LagWindow::new(least - delay, most - delay, self.victim.unit);
        let accused = Suspect {
            line: row.aggressor,
            polarity: first.polarity,
        };
        let other = Suspect {
            line: copy.line,
            polarity: match copy.inverted {
                true => opposite,
                false => first.polarity,
            },
        };
        let (own, others) = (window(0), window(copy.delay));
        let edges = self.bench.edges;
        self.witnesses.prefer(edges, (accused, &own), (other, &others)) >= RIVAL_MARGIN
    }

    /// Lines that the victim follows and whose strays come before the row's.
    pub fn followed(&self, row: &Coupling) -> Vec<usize> {
        let distances = [self.reach.hi, self.distances.steady];
        let Bench {
            capture,
            strays,
            edges,
            ..
        } = *self.bench;
        passed_on::that_are_followed(capture, strays, edges, row, distances, self.victim.unit)
    }

    /// The rows with the lines that copy the accused, or pass on what strikes it, beside them.
    fn with_copies(&self, mut rows: Vec<Coupling>) -> Vec<Coupling> {
        let (capture, strays) = (self.bench.capture, self.bench.strays);
        for row in rows.iter_mut().filter(|row| !self.is_known(row)) {
            let edges = self.bench.edges;
            let keeps_its_lag = |row: &Coupling, other: &crate::analysis::coupling::RuledOut| {
                let times = edges[other.line].of(match other.edge {
                    Edge::Fall => Polarity::Fall,
                    _ => Polarity::Rise,
                });
                let (near, accused) = ((0, self.bench.instants.span), copies::Accused::of(row, edges));
                copies::follows_the_accused(times, &accused, self.victim, near, &self.distances)
            };
            rows::doubt_constant_company(row, keeps_its_lag);
            let mut copies = self.copies(&copies::Accused::of(row, self.bench.edges));
            copies.retain(|copy| !self.is_cleared(row, copy));
            rows::join_suspects(row, &copies.iter().map(|c| c.line).collect::<Vec<_>>());
            row.copies = copies;
            let distances = [self.reach.hi, self.distances.steady];
            let unit = self.victim.unit;
            let others = passed_on::lines(capture, strays, self.bench.edges, row, distances, unit);
            rows::join_suspects(row, &others);
            row.passed_on = others;
            let span = self.bench.instants.span;
            let lost =
                lost::with_lost_pulses(strays, self.bench.edges, self.victim, row, &self.lines(), span);
            rows::join_suspects(row, &lost);
        }
        rows
    }
}
