//! Which suspects a victim's strays need: added one at a time by the gain in ln likelihood, dropped when the
//! others can do without them.

use std::ops::Range;

use super::evidence::Evidence;
use super::lags;
use super::model::{LagWindow, Model};
use crate::analysis::coupling::suspects::able::{self, Able, Rest};
use crate::model::{Level, Polarity};

/// A line and the polarity of its edges.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Suspect {
    pub line: usize,
    pub polarity: Polarity,
}

impl Suspect {
    /// Position among the columns of all lines' rises and falls.
    pub fn column(&self) -> usize {
        2 * self.line + usize::from(self.polarity == Polarity::Fall)
    }
}

/// One victim at one stray level.
#[derive(Clone, Debug)]
pub struct Victim {
    pub line: usize,
    pub level: Level,
    /// Starts of the strays, ascending ticks.
    pub times: Vec<i64>,
    /// Positions of these in the list of all strays.
    pub strays: Vec<usize>,
    /// When the line rested at the other level: able to show a stray.
    pub rests: Vec<Rest>,
    /// Length of these in ticks.
    pub time: f64,
    /// Larger of the sampling period and one tick.
    pub unit: f64,
    /// Strays nearer than this to an edge of the line's own are left out, in ticks: the line was itself switching.
    pub guard: i64,
    /// How long a stray of the middle kind lasts, in ticks.
    pub width: i64,
}

impl Victim {
    /// The victim with those of its strays, by their place in its lists, that are kept; its rests stay. Cost: linear in the strays.
    pub fn only(&self, is_kept: impl Fn(usize) -> bool) -> Victim {
        let kept: Vec<usize> = (0..self.times.len()).filter(|&at| is_kept(at)).collect();
        Victim {
            times: kept.iter().map(|&at| self.times[at]).collect(),
            strays: kept.iter().map(|&at| self.strays[at]).collect(),
            ..self.clone()
        }
    }

    /// When the victim could show a stray: not while it switches itself.
    pub fn able(&self) -> Able<'_> {
        Able {
            rests: &self.rests,
            slack: self.unit.ceil() as i64,
        }
    }

    /// The edges (ascending) that were opportunities, as ranges of indices, ascending.
    pub fn opportunities(&self, edges: &[i64]) -> Vec<Range<usize>> {
        let slack = self.able().slack;
        able::opportunities(edges, &self.rests, -slack, slack)
    }

    /// Those of them after which a stray that comes `lag` ticks later would be counted: not beside an edge of the victim's own.
    pub fn opportunities_apart(&self, edges: &[i64], lag: i64) -> Vec<Range<usize>> {
        let (from, to) = (lag - self.guard, lag + self.width + self.guard);
        able::opportunities(edges, &self.rests, from, to)
    }
}

/// Lags that are looked at, in ticks, both ends closed, and the least width of a lag window.
#[derive(Clone, Copy, Debug)]
pub struct Reach {
    pub lo: i64,
    pub hi: i64,
    pub narrowest: f64,
}

/// A suspect that the strays need.
#[derive(Clone, Debug)]
pub struct Chosen {
    /// Position in the list of evidence.
    pub evidence: usize,
    pub window: LagWindow,
    /// Gain in ln likelihood over the model without it.
    pub gain: f64,
}

/// The model with what was chosen; `model.terms` are in the order of `chosen`.
#[derive(Clone, Debug)]
pub struct Explanation {
    pub chosen: Vec<Chosen>,
    pub model: Model,
    pub ln_likelihood: f64,
}

impl Explanation {
    /// Puts another suspect, whose fit is worse by `loss` of ln likelihood, in the place of `chosen[at]`.
    pub(super) fn replace(
        &mut self,
        at: usize,
        evidence: &[Evidence],
        index: usize,
        window: LagWindow,
        loss: f64,
        strays: usize,
    ) {
        let gain = self.chosen[at].gain - loss;
        self.model.terms[at] = evidence[index].term(&window, strays);
        self.ln_likelihood = self.model.fit();
        self.chosen[at] = Chosen {
            evidence: index,
            window,
            gain,
        };
    }
}

const WINDOWS_TRIED: usize = 4;
const MOST_TERMS: usize = 12;

/// Builds the explanation of a victim's strays. `threshold`: gain in ln likelihood a suspect must bring.
pub fn explain(victim: &Victim, evidence: &[Evidence], reach: &Reach, threshold: f64) -> Explanation {
    explain_without(victim, evidence, reach, threshold, &[])
}

/// Explanations tried in place of one that leaves a doubt.
const OTHERS_TRIED: usize = 5;

/// An explanation by other lines that tells the strays better by `margin` of ln likelihood, each suspect paid for by
/// `threshold`, if there is one. Suspects are taken one at a time, the most telling first: a clock that goes with what two
/// lines do may stand in their way. Cost: a few times that of [`explain`].
pub fn otherwise(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &Explanation,
    reach: &Reach,
    [threshold, margin]: [f64; 2],
) -> Option<Explanation> {
    let worth = |e: &Explanation| e.ln_likelihood - threshold * e.chosen.len() as f64;
    let lines_of = |e: &Explanation| -> Vec<usize> {
        let chosen = e.chosen.iter();
        chosen.map(|c| evidence[c.evidence].suspect.line).collect()
    };
    let mut without = lines_of(explanation);
    let mut best: Option<Explanation> = None;
    for _ in 0..OTHERS_TRIED {
        let other = explain_without(victim, evidence, reach, threshold, &without);
        if other.chosen.is_empty() {
            break;
        }
        without.extend(lines_of(&other));
        let known = best.as_ref().map_or(worth(explanation) + margin, worth);
        if worth(&other) > known {
            best = Some(other);
        }
    }
    best
}

/// As [`explain`], suspecting none of the lines `spared`.
fn explain_without(
    victim: &Victim,
    evidence: &[Evidence],
    reach: &Reach,
    threshold: f64,
    spared: &[usize],
) -> Explanation {
    let strays = victim.times.len();
    let mut model = Model::new(strays, victim.time);
    let mut ln_likelihood = model.ln_likelihood();
    let mut chosen: Vec<Chosen> = Vec::new();
    while chosen.len() < MOST_TERMS {
        let ln_rate: Vec<f64> = (0..strays).map(|k| model.rate(k).max(1e-300).ln()).collect();
        let mut best: Option<(f64, usize, LagWindow, Model)> = None;
        let mut rough: Vec<(f64, usize, LagWindow)> = Vec::new();
        for (index, e) in evidence.iter().enumerate() {
            let is_chosen = chosen.iter().any(|c| c.evidence == index);
            if e.count == 0 || e.pairs.is_empty() || is_chosen || spared.contains(&e.suspect.line) {
                continue;
            }
            let proposals = propose(victim, e, &ln_rate, reach);
            rough.extend(proposals.into_iter().map(|(gain, window)| (gain, index, window)));
        }
        rough.sort_by(|a, b| b.0.total_cmp(&a.0));
        for &(gain, index, window) in rough.iter().take(24) {
            if gain + 0.5 * strays as f64 + 20.0 < threshold {
                break;
            }
            let mut with = model.clone();
            with.terms.push(evidence[index].term(&window, strays));
            let reached = with.fit();
            if best.as_ref().is_none_or(|(b, ..)| reached > *b) {
                best = Some((reached, index, window, with));
            }
        }
        let Some((reached, index, window, with)) = best else {
            break;
        };
        if reached - ln_likelihood < threshold {
            break;
        }
        chosen.push(Chosen {
            evidence: index,
            window,
            gain: reached - ln_likelihood,
        });
        model = with;
        ln_likelihood = reached;
        drop_needless(&mut chosen, &mut model, &mut ln_likelihood, threshold);
    }
    for at in 0..chosen.len() {
        let known = (&chosen[at], &without(&model, at).0);
        let Some((both, with, reached)) = by_both_edges(victim, evidence, reach, known) else {
            continue;
        };
        let is_free = |one: &Chosen| chosen.iter().all(|c| c.evidence != one.evidence);
        if is_free(&both[0]) && reached - ln_likelihood >= threshold {
            let [other, same] = both;
            chosen.remove(at);
            chosen.extend([other, same]);
            (model, ln_likelihood) = (with, reached);
            break;
        }
    }
    for (at, suspect) in chosen.iter_mut().enumerate() {
        suspect.gain = ln_likelihood - without(&model, at).1;
    }
    Explanation {
        chosen,
        model,
        ln_likelihood,
    }
}

/// What a chosen suspect's strays come to where its line's other edge strikes them and its own edge strikes others: a pulse of one
/// width puts strays at one time after either of its edges, and an edge that was taken for the other's, with its one lag window,
/// can't be put down to what it strikes itself. `chosen`, and the model without it. The other edge comes first.
fn by_both_edges(
    victim: &Victim,
    evidence: &[Evidence],
    reach: &Reach,
    (chosen, less): (&Chosen, &Model),
) -> Option<([Chosen; 2], Model, f64)> {
    let strays = victim.times.len();
    let own = evidence[chosen.evidence].suspect;
    let is_other = |e: &Evidence| e.suspect.line == own.line && e.suspect.polarity != own.polarity;
    let other = evidence
        .iter()
        .position(|e| is_other(e) && e.count > 0 && !e.pairs.is_empty())?;
    let mut model = less.clone();
    let mut best_of = |index: usize| {
        let ln_rate: Vec<f64> = (0..strays).map(|k| model.rate(k).max(1e-300).ln()).collect();
        let (_, window) = propose(victim, &evidence[index], &ln_rate, reach)
            .into_iter()
            .next()?;
        model.terms.push(evidence[index].term(&window, strays));
        let reached = model.fit();
        let chosen = Chosen {
            evidence: index,
            window,
            gain: 0.0,
        };
        Some((chosen, reached))
    };
    let (first, _) = best_of(other)?;
    let (second, reached) = best_of(chosen.evidence)?;
    (second.window.middle().abs() < chosen.window.middle().abs()).then_some(([first, second], model, reached))
}

/// The model without one term, fitted anew, and the ln likelihood it reaches.
pub(super) fn without(model: &Model, at: usize) -> (Model, f64) {
    let mut less = model.clone();
    less.terms.remove(at);
    let reached = less.fit();
    (less, reached)
}

fn drop_needless(chosen: &mut Vec<Chosen>, model: &mut Model, ln_likelihood: &mut f64, threshold: f64) {
    while chosen.len() > 1 {
        let losses = (0..chosen.len()).map(|at| (at, without(model, at)));
        let Some((at, (less, reached))) = losses.max_by(|a, b| a.1.1.total_cmp(&b.1.1)) else {
            return;
        };
        if *ln_likelihood - reached >= threshold {
            return;
        }
        chosen.remove(at);
        *model = less;
        *ln_likelihood = reached;
    }
}

/// The lag windows that would bring a suspect most, best first, each with its gain in ln likelihood over `ln_rate` (one a
/// stray).
pub(super) fn propose(
    victim: &Victim,
    e: &Evidence,
    ln_rate: &[f64],
    reach: &Reach,
) -> Vec<(f64, LagWindow)> {
    lags::propose(
        &e.pairs,
        ln_rate,
        |window| e.opportunities(window),
        victim.unit,
        reach.narrowest,
        WINDOWS_TRIED,
    )
}

/// Suspects on other lines that explain the strays of `chosen[at]` as well, within `margin` of ln likelihood.
pub fn rivals(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &Explanation,
    at: usize,
    reach: &Reach,
    margin: f64,
) -> Vec<(usize, LagWindow, f64)> {
    let accused = evidence[explanation.chosen[at].evidence].suspect.line;
    let mut found = fits(victim, evidence, explanation, at, reach, margin);
    found.retain(|(e, ..)| evidence[*e].suspect.line != accused);
    found
}

/// Share of a suspect's strays that another must have edges near, to explain them as well.
const FITS_AT_LEAST: f64 = 0.5;

/// Suspects that explain the strays of `chosen[at]` as well, within `margin` of ln likelihood.
pub(super) fn fits(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &Explanation,
    at: usize,
    reach: &Reach,
    margin: f64,
) -> Vec<(usize, LagWindow, f64)> {
    let strays = victim.times.len();
    let (less, _) = without(&explanation.model, at);
    let ln_rate: Vec<f64> = (0..strays).map(|k| less.rate(k).max(1e-300).ln()).collect();
    let mut found = Vec::new();
    let belong = (0..strays).map(|k| explanation.model.shares(k)[at + 1]);
    let fewest = FITS_AT_LEAST * belong.sum::<f64>();
    for (index, e) in evidence.iter().enumerate() {
        // Each stray that is left unexplained costs several nats: more than the margin, where many are.
        let few = (e.pairs.len() as f64) < fewest;
        if e.count == 0 || few || explanation.chosen.iter().any(|c| c.evidence == index) {
            continue;
        }
        let proposals = propose(victim, e, &ln_rate, reach);
        // A twin of the accused fits with the very window of the accused.
        let own = (f64::INFINITY, explanation.chosen[at].window);
        let mut best: Option<(f64, LagWindow)> = None;
        for (gain, window) in proposals.into_iter().chain([own]) {
            if gain + 20.0 < explanation.chosen[at].gain - margin {
                continue;
            }
            let mut with = less.clone();
            with.terms.push(e.term(&window, strays));
            let reached = with.fit();
            if best.is_none_or(|(b, _)| reached > b) {
                best = Some((reached, window));
            }
        }
        if let Some((reached, window)) = best
            && explanation.ln_likelihood - reached < margin
        {
            found.push((index, window, explanation.ln_likelihood - reached));
        }
    }
    found.sort_by(|a, b| a.2.total_cmp(&b.2));
    found
}
