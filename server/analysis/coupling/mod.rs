//! Who did it: which line's edges cause a victim's strays, how often they strike, and how sure that is.
//!
//! For each victim and stray level the strays are a point process ([`fit::model`]); suspects are chosen by
//! likelihood ([`fit::select`]); what is left standing is counted over opportunities, against chance by exact
//! coverage, and against the lines that merely switch together with the accused.
//!
//! [`judge::judge`] settles what is a stray and asks [`attribute`] who did it, anew each time something falls
//! away. Each folder's `mod.rs` lists its files in the order of use.
//!
//! | folder | |
//! | --- | --- |
//! | `legitimate/` | what is no stray though it is short |
//! | `suspects/` | whom to ask, and when; edges that are no evidence |
//! | `fit/` | which suspects the strays need, and the counts that go with them |
//! | `in_volts/` | what the victim's volts tell beyond its edges |
//! | `verdict/` | is it the accused, or what it goes along with? |
//! | `joined/` | levels and victims taken together, and what is said of them |
//!
//! `attribution` has what comes out. `examine` takes one victim level from its strays to a verdict and calls all that lies
//! in `fit/` and `verdict/`. `all_pairs` is for exports only, `fixtures` for tests.

pub mod all_pairs;
pub mod attribution;
mod examine;
pub mod fit;
#[cfg(test)]
pub mod fixtures;
pub mod in_volts;
pub mod joined;
pub mod judge;
pub mod legitimate;
pub mod suspects;
pub mod verdict;

use crate::analysis::parallel::{both, on_all_cores};
use crate::analysis::stats::multiple::benjamini_hochberg;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Polarity, TraceSamples};

use attribution::Cause;
pub use attribution::{
    Attribution, Contrast, CopyOf, Coupling, DosePoint, Edge, Estimate, Hazard, LagHistogram, Occurrence,
    RaceOf, RuledOut, SharedSupply, Standing, Uncaptured,
};
use examine::Bench;
use fit::twice::Second;
use fit::{rows, select};
use joined::{causes, established, few, leads, other_edge, standing};
use legitimate::answering;
use select::Suspect;
use suspects::{able, instants, victims};

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
    let mut judged: Vec<standing::Judged> = Vec::new();
    let span = instants::span(capture, strays);
    let untwinned = (0..capture.lines.len()).filter(|&l| capture.lines[l].same_as.is_none());
    let (instants, chances) = both(
        || instants::Instants::gather(&edges, untwinned, span),
        || {
            let reach = |victim: &select::Victim| {
                let misplaced = most_misplaced(capture, strays, victim.line);
                examine::reach(capture, options, victim, misplaced)
            };
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
        is_lenient: false,
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
    let mut seconds: Vec<Second> = Vec::new();
    for ((victim, less), of) in victims.iter().zip(&less).zip(examined) {
        attribution.hints.extend(of.hint);
        p_values.extend(of.rows.iter().map(|row| row.p_value));
        found.extend(of.rows.clone());
        apart.extend(of.apart);
        seconds.extend(of.seconds);
        judged.push(standing::Judged {
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
    standing::settle(&judged, &mut found, &mut attribution, span);
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
    causes::explain_the_seconds(&seconds, strays, &mut attribution);
    causes::explain_the_rest(capture, strays, &edges, &mut attribution);
    few::withdraw(strays, &mut attribution);
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

/// How far moments of two lines may lie beside each other's, in ticks, beyond what thresholds of one instrument do. Where volts of one
/// capture stand beside another capture's edges, a stray begins where it leaves one threshold, and an edge at the first sample
/// past the other instrument's; clocks are brought together to less than that. 0 within a capture, and between levels.
fn misplaced(capture: &Capture, strays: &Strays, [a, b]: [usize; 2]) -> f64 {
    let [of_a, of_b] = [a, b].map(|line| &capture.lines[line]);
    match of_a.capture != of_b.capture && (of_a.trace.is_some() || of_b.trace.is_some()) {
        true => grain(capture, strays, a) + grain(capture, strays, b),
        false => 0.0,
    }
}

/// The most of this beside any suspect of `victim`.
fn most_misplaced(capture: &Capture, strays: &Strays, victim: usize) -> f64 {
    let suspects = suspects_of(capture, victim).map(|s| misplaced(capture, strays, [victim, s.line]));
    suspects.fold(0.0, f64::max)
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
