//! Who did it: which line's edges cause a victim's strays, how often they strike, and how sure that is.
//!
//! For each victim and stray level the strays are a point process ([`model`]); suspects are chosen by
//! likelihood ([`select`]); what is left standing is counted over opportunities, against chance by exact
//! coverage, and against the lines that merely switch together with the accused.
//!
//! [`judge::judge`] settles what is a stray and asks [`attribute`] who did it, anew each time something falls away. The files
//! in the order in which these two call them; those that several need stand where they are needed first.
//!
//! | what is no stray, or is one of another kind | |
//! | --- | --- |
//! | `answering` | before an own edge that answers another line |
//! | `set_off` | what a line does as it is told, by another line's stray |
//! | `crowds`, `apart`, `scatter`, `part_signs` | short pulses that fill a level: parted from its job by a gap, by how they scatter, or by signs of a part |
//! | `whole_pulses`, `crowd_parts` | crowds that another line's whole pulses bring; the shorter part of a crowd |
//! | `mirrored` | strays of the other level, after what strikes is switched back |
//! | `answers`, `let_through`, `turns` | a line's job: one after each edge of another, let through by a gate, or in turns with long ones |
//! | `own`, `register` | begun as the line's long ones are, as those of a register are |
//! | `slices` | a level between two strays, taken for one |
//! | `echo` | at one time after the line's own edges |
//!
//! | whom and what to ask | |
//! | --- | --- |
//! | `able`, `victims` | own edges without strays; each line at each level at which it shows strays, and when it could |
//! | `instants` | moments at which lines switched, and who did |
//! | `sweep`, `left_out` | what each suspect's edges could have struck, and which of them lie beside the victim's own |
//! | `examine` | one victim level, from its strays to a verdict: calls all that follows up to the doubts |
//!
//! | what is no evidence | |
//! | --- | --- |
//! | `downstream`, `not_brought` | edges of one polarity that the victim brings about, and what speaks against it |
//! | `reacting` | lines that the victim clocks |
//! | `excused` | strays that follow the accused where the victim was switching |
//! | `unrecorded` | strays while the accused was not recorded |
//!
//! | evidence | |
//! | --- | --- |
//! | `evidence`, `lags` | a suspect's edges before the strays, and the window of lags that tells most |
//! | `select`, `model` | which suspects the strays need, by the likelihood of a point process |
//! | `preferences`, `beside` | which of explanations that fit nearly alike; what strays beside own edges say of it |
//! | `rows`, `missed`, `never_struck` | counts, chance and intervals; strikes between samples, edges that could not strike |
//! | `copies`, `passed_on`, `lost` | who fits as well: copies of the accused, struck lines before it, pulses between samples |
//!
//! | doubts: is it the accused, or what it goes along with? | |
//! | --- | --- |
//! | `known` | what is asked of one level's rows, before the verdict |
//! | `clues`, `company`, `trials`, `succession` | counts that show a part of what strikes: by company, by another line's level, by order |
//! | `phase`, `rest` | strays at the accused's step or lag without it |
//! | `drift`, `untimely` | lags that drift, or that no coupling has |
//! | `never_alone` | strikes against their edge, along with edges of the same kind |
//! | `races`, `part_like`, `input` | a race of the victim's own logic |
//! | `one_lag` | two causes that keep one lag; rises and falls of one line |
//! | `parts`, `toggled` | a gated copy, or what something unseen toggles |
//! | `hazard` | a gate that glitches as its captured inputs switch |
//! | `context`, `stories`, `rival_models`, `dose` | the verdict: a captured line, a hidden one, or how many switch at once, told on the same instants |
//! | `alone` | accused whose edges come at times of their own, apart from the doubt |
//! | `hints` | whom too few strays point to |
//! | `established` | a line that some strays convict is the likelier cause of the others |
//!
//! | what is said | |
//! | --- | --- |
//! | `doubts` | from verdicts to what is not captured, what is a gate's, which rows lose their standing |
//! | `pulls`, `leads`, `together` | all levels of a victim, and several victims, taken together |
//! | `other_edge` | the other edge of a convicted line, beside the victim's own edges |
//! | `causes` | causes of the strays left out, once it is known who strikes |
//! | `few` | rows with too few strikes to accuse anybody |
//!
//! `all_pairs` is for exports only, `fixtures` for tests.

pub mod able;
pub mod all_pairs;
mod alone;
mod answering;
pub mod answers;
mod apart;
mod beside;
mod causes;
pub mod clues;
mod company;
mod context;
mod copies;
mod crowd_parts;
pub mod crowds;
mod dose;
mod doubts;
mod downstream;
mod drift;
pub mod echo;
mod established;
mod evidence;
mod examine;
mod excused;
pub mod few;
#[cfg(test)]
pub mod fixtures;
mod hazard;
pub mod hints;
mod input;
mod instants;
pub mod judge;
mod known;
pub mod lags;
mod leads;
mod left_out;
mod let_through;
mod lost;
mod mirrored;
mod missed;
mod model;
pub mod never_alone;
mod never_struck;
mod not_brought;
mod one_lag;
mod other_edge;
pub mod own;
mod part_like;
mod part_signs;
pub mod parts;
mod passed_on;
mod phase;
mod preferences;
mod pulls;
pub mod races;
mod reacting;
mod register;
mod rest;
mod rival_models;
mod rows;
mod scatter;
mod select;
mod set_off;
mod slices;
mod stories;
mod succession;
mod sweep;
mod together;
mod toggled;
mod trials;
mod turns;
mod unrecorded;
pub mod untimely;
pub mod victims;
mod whole_pulses;

use std::collections::BTreeMap;

use crate::analysis::parallel::{both, on_all_cores};
use crate::analysis::stats::multiple::benjamini_hochberg;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Polarity, TraceSamples};

pub use context::Contrast;
pub use copies::CopyOf;
use examine::Bench;
pub use lags::LagHistogram;
use select::Suspect;

/// Bounds a person can set. Lengths in ticks of the capture.
#[derive(Clone, Debug, Default)]
pub struct CouplingOptions {
    /// Longest lag from an aggressor's edge to a stray; else [`LONGEST_LAG_S`] and two samples.
    pub longest_lag: Option<f64>,
}

/// Longest lag looked at: cable delay and the time constants of TTL-era lines.
pub const LONGEST_LAG_S: f64 = 120e-9;
/// How early a stray may seem: thresholds differ between lines (to −6.5 ns in circuit simulation).
pub const EARLIEST_LAG_S: f64 = 7e-9;
/// Least width of a lag window.
const NARROWEST_WINDOW_S: f64 = 5e-9;
/// Couplings stand at this false discovery rate (Benjamini–Hochberg).
const Q_LIMIT: f64 = 0.01;

/// Polarity of the edges that strike.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edge {
    Rise,
    Fall,
    Both,
}

impl Edge {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Edge::Rise => "rise",
            Edge::Fall => "fall",
            Edge::Both => "both",
        }
    }
}

impl From<Polarity> for Edge {
    fn from(polarity: Polarity) -> Edge {
        match polarity {
            Polarity::Rise => Edge::Rise,
            Polarity::Fall => Edge::Fall,
        }
    }
}

/// How much a coupling claims.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// An accusation.
    Clear,
    /// Other captured lines fit the same strays as well.
    Inseparable,
    /// More likely a line not captured that switches along with this one.
    Companion,
}

impl Standing {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Clear => "clear",
            Standing::Inseparable => "inseparable",
            Standing::Companion => "companion",
        }
    }
}

/// An estimate with its 95 % interval, both ends closed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    pub estimate: f64,
    pub low: f64,
    pub high: f64,
}

/// One strike: an aggressor's edge and the stray it caused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Occurrence {
    /// Time of the aggressor's edge in ticks.
    pub at: i64,
    pub polarity: Polarity,
    /// Position in [`Strays::strays`].
    pub stray: usize,
    /// Stray's start minus edge, in ticks.
    pub lag: i64,
}

/// A suspect that was considered and cleared, with the counts that clear it.
#[derive(Clone, Debug, PartialEq)]
pub struct RuledOut {
    pub line: usize,
    pub edge: Edge,
    /// Strays that follow it in all, and those that follow it and not the accused.
    pub strays: u64,
    pub strays_alone: u64,
    /// Its opportunities in all, and those at which the accused did not switch.
    pub opportunities: u64,
    pub opportunities_alone: u64,
}

/// A line whose edges go with a victim's strays.
#[derive(Clone, Debug)]
pub struct Coupling {
    pub victim: usize,
    pub aggressor: usize,
    pub edge: Edge,
    /// Levels of the strays.
    pub levels: Vec<Level>,
    pub strays: u64,
    pub opportunities: u64,
    pub expected_by_chance: f64,
    pub p_value: f64,
    pub q_value: f64,
    pub strike_rate: Estimate,
    /// Strikes that sampling lets through are fewer: the estimated rate of all strikes, seen or not.
    pub corrected_rate: Option<f64>,
    /// In ticks.
    pub lag: Estimate,
    pub standing: Standing,
    pub inseparable_from: Vec<usize>,
    /// Those of these that switch along at one distance.
    pub copies: Vec<CopyOf>,
    /// Those of these whose own strays come before, which may pass them on.
    pub passed_on: Vec<usize>,
    /// Strays of the victim at these levels in all.
    pub victim_strays: u64,
    pub histogram: LagHistogram,
    pub occurrences: Vec<Occurrence>,
    /// Most tempting first.
    pub ruled_out: Vec<RuledOut>,
    /// Share of the strikes that ended with the aggressor's next edge: a bridge or short follows the pulse.
    pub follows_pulse: f64,
    /// A line whose edges go with nearly all of the victim's strays and of its own edges ([`races::step_of`]).
    pub step: Option<usize>,
}

/// What caused a stray.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cause {
    /// Position in [`Attribution::couplings`].
    pub coupling: usize,
    pub polarity: Polarity,
    pub lag: i64,
}

/// Strays of one line that no captured line explains.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncaptured {
    pub victim: usize,
    /// Strays without a captured cause, of all the victim's strays.
    pub strays: u64,
    pub of: u64,
    /// Captured lines whose edges go with them in part.
    pub companions: Vec<usize>,
    /// What shows that the first of these does not strike by itself.
    pub contrast: Option<Contrast>,
    /// A line and polarity whose edges seem to pull the victim both ways, at one lag: no single edge does.
    pub both_ways: Option<(usize, Edge)>,
    /// A line that seems to lift the victim as it falls, and another that seems to dip it as it rises.
    pub against: Option<[(usize, Edge); 2]>,
    /// Another victim's strays that come with those that fit no captured line.
    pub together: Option<together::Together>,
    /// What shows that captured lines are only a part of it.
    pub part: Option<parts::Ground>,
    /// Lines that switch the accused's way as it strikes, which it may share a lead with.
    pub kind: Option<never_alone::Kind>,
    /// A line and its edges that come after the strays they would cause, or long before them.
    pub untimely: Option<untimely::Untimely>,
    /// A line and its edges after which strays come at lags that drift ([`drift`]).
    pub drifts: Option<(usize, Edge)>,
    /// What else shows captured lines to be only a part of it.
    pub clues: Vec<clues::Clue>,
    /// A line whose edges go with nearly all of the strays and of the victim's own edges ([`races::step_of`]).
    pub step: Option<usize>,
}

/// Strays that grow likelier with the number of lines that switch at once, or that one line's edges bring to several
/// victims at the same moments (then the curve is empty).
#[derive(Clone, Debug, PartialEq)]
pub struct SharedSupply {
    pub victims: Vec<usize>,
    pub lines: Vec<usize>,
    pub edge: Edge,
    /// For each number of lines that switched at once: instants and strays.
    pub curve: Vec<DosePoint>,
}

/// Strays that are the victim's own: it is a gate of captured lines that switch almost together.
#[derive(Clone, Debug, PartialEq)]
pub struct Hazard {
    pub victim: usize,
    pub inputs: Vec<usize>,
    /// Levels of the strays that it makes.
    pub levels: Vec<Level>,
    /// Strays that come where several of these switched, of all the victim's strays.
    pub strays: u64,
    pub of: u64,
}

/// Strays of one level of a victim that look like a race of its own logic.
#[derive(Clone, Debug, PartialEq)]
pub struct RaceOf {
    pub victim: usize,
    pub level: Level,
    pub strays: u64,
    pub race: races::Race,
}

/// One point of a dose curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DosePoint {
    /// How many lines switched at once.
    pub switched: usize,
    pub instants: u64,
    pub strays: u64,
}

/// Who did it.
#[derive(Clone, Debug, Default)]
pub struct Attribution {
    pub couplings: Vec<Coupling>,
    /// One a stray, in the order of [`Strays::strays`]; only clear couplings count as causes.
    pub causes: Vec<Option<Cause>>,
    /// Strays (ascending positions) beside an edge of their line's own that follow a line about which a doubt is left, as
    /// those that are counted do.
    pub beside: Vec<usize>,
    pub uncaptured: Vec<Uncaptured>,
    pub shared: Vec<SharedSupply>,
    pub hazards: Vec<Hazard>,
    /// Strays that look like a race of their line's own logic.
    pub races: Vec<RaceOf>,
    /// Lines whose strays keep their distance to the line's own edges ([`judge::judge`]).
    pub echoes: Vec<echo::Echo>,
    /// Positions of couplings with too few strays to accuse anybody, and how many are put down to them ([`few`]).
    pub few: BTreeMap<usize, u64>,
    /// Of victims whose strays are too few to point to anybody alone.
    pub hints: Vec<hints::Hint>,
    /// Short pulses that were taken for a line's job ([`judge::judge`]).
    pub answers: Vec<answers::Answers>,
    /// Short pulses that begin as their line's long ones do (likewise).
    pub own: Vec<own::Own>,
    /// Short pulses of which nothing shows whether they are a line's job (likewise).
    pub unsure: Vec<crowds::Unsure>,
    /// Pairs of victim level and suspect polarity that were tried.
    pub pairs_tried: usize,
}

/// With fewer strays than this nobody is accused: two may always meet by chance what a model does not know.
pub const FEWEST_STRIKES: u64 = 3;
/// Gain in ln likelihood a suspect must bring beyond what pays for the number tried.
const GAIN: f64 = 11.0;
/// Rivals nearer than this in ln likelihood can't be told apart.
const RIVAL_MARGIN: f64 = 4.6;

/// Of two edges of one line the nearer is taken unless the other is better by so much: which of them counts as an
/// opportunity near an edge of the victim's own makes a few nats of difference.
const NEARER_MARGIN: f64 = 12.0;

/// Attributes every stray it can. Cost: linear in edges for each victim level, times the suspects.
pub fn attribute(capture: &Capture, strays: &Strays, options: &CouplingOptions) -> Attribution {
    let mut attribution = Attribution {
        causes: vec![None; strays.strays.len()],
        ..Attribution::default()
    };
    if strays.strays.is_empty() {
        return attribution;
    }
    let edges = able::own_edges(capture, strays);
    let answering = answering::find(capture, strays, &edges);
    let victims = victims::of(capture, strays, &edges, &answering);
    if victims.is_empty() {
        return attribution;
    }
    let tried: usize = victims.iter().map(|v| suspects_of(capture, v.line).count()).sum();
    attribution.pairs_tried = tried;
    let mut p_values: Vec<f64> = Vec::new();
    let mut found: Vec<Coupling> = Vec::new();
    let mut judged: Vec<doubts::Judged> = Vec::new();
    let span = instants::span(capture, strays);
    let untwinned = (0..capture.lines.len()).filter(|&l| capture.lines[l].same_as.is_none());
    let (instants, chances) = both(
        || instants::Instants::gather(&edges, untwinned, span),
        || {
            let reach = |victim: &select::Victim| examine::reach(capture, options, victim);
            victims::chances(capture, strays, &edges, &victims, reach)
        },
    );
    let bench = Bench {
        capture,
        strays,
        whole: &edges,
        edges: &edges,
        instants: &instants,
        answering: &answering,
        options,
    };
    let all: Vec<usize> = (0..victims.len()).collect();
    let mut examined = on_all_cores(&all, |&at| bench.examine(&victims[at], &chances[at], &[]));
    let again = established::levels(&victims, &examined);
    let anew = on_all_cores(&again, |(at, known)| {
        bench.examine(&victims[*at], &chances[*at], known)
    });
    for ((at, _), anew) in again.iter().zip(anew) {
        examined[*at] = anew;
    }
    let less: Vec<Option<select::Victim>> = examined.iter_mut().map(|of| of.less.take()).collect();
    let mut apart: Vec<Coupling> = Vec::new();
    for ((victim, less), of) in victims.iter().zip(&less).zip(examined) {
        attribution.hints.extend(of.hint);
        p_values.extend(of.rows.iter().map(|row| row.p_value));
        found.extend(of.rows.clone());
        apart.extend(of.apart);
        judged.push(doubts::Judged {
            victim: less.as_ref().unwrap_or(victim),
            table: of.table,
            rows: of.rows,
            verdict: of.verdict,
        });
    }
    p_values.extend(apart.iter().map(|row| row.p_value));
    let q_values = benjamini_hochberg(&p_values, tried);
    for (row, q) in found.iter_mut().chain(&mut apart).zip(q_values) {
        row.q_value = q;
    }
    found.retain(|row| row.q_value <= Q_LIMIT);
    doubts::settle(&judged, &mut found, &mut attribution, span);
    found.extend(apart.into_iter().filter(|row| row.q_value <= Q_LIMIT));
    let more = other_edge::rows(capture, strays, &edges, &found);
    found.extend(more);
    attribution.couplings = rows::joined(found);
    for row in &mut attribution.couplings {
        // Either edge is known to half a sample.
        let half = 0.5 * (grain(capture, strays, row.victim) + grain(capture, strays, row.aggressor));
        rows::no_finer_than(row, half);
    }
    let struck_together = leads::struck_together(&attribution.couplings);
    attribution.shared.extend(struck_together);
    for (index, coupling) in attribution.couplings.iter().enumerate() {
        if coupling.standing != Standing::Clear {
            continue;
        }
        for strike in &coupling.occurrences {
            attribution.causes[strike.stray] = Some(Cause {
                coupling: index,
                polarity: strike.polarity,
                lag: strike.lag,
            });
        }
    }
    causes::explain_the_rest(capture, strays, &edges, &mut attribution);
    few::withdraw(&mut attribution);
    attribution
}

/// Lines that may be suspected of a victim's strays, with each polarity.
fn suspects_of(capture: &Capture, victim: usize) -> impl Iterator<Item = Suspect> + '_ {
    let twin_of = |line: usize| capture.lines[line].same_as.unwrap_or(line);
    (0..capture.lines.len())
        .filter(move |&line| {
            line != victim
                && twin_of(line) != twin_of(victim)
                && capture.lines[line].same_as.is_none()
                && !capture.lines[line].edges.is_empty()
        })
        .flat_map(|line| [Polarity::Rise, Polarity::Fall].map(|polarity| Suspect { line, polarity }))
}

/// How finely a line's edges are known, in ticks: its sampling period, of volts the period that edges are interpolated
/// in; 0 where they are exact to the tick.
fn grain(capture: &Capture, strays: &Strays, line: usize) -> f64 {
    let of = &capture.lines[line];
    let volts = of.trace.as_ref().map_or(0.0, |trace| match trace.samples {
        TraceSamples::Uniform { step, .. } if of.interpolated => step as f64,
        _ => 0.0,
    });
    strays.sampling[line].max(volts)
}
