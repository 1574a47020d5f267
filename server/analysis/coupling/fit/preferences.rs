//! Of explanations that the strays allow alike, or nearly, which is taken: the plainer one, the nearer edge, the line that is
//! known to strike.

use super::evidence::Evidence;
use super::model::{LagWindow, Model};
use super::select::{Chosen, Explanation, Reach, Victim, fits, propose, without};

/// Both polarities of one line that strike alike may be one polarity of another: the rises and falls of a counter's first
/// bit together are the clock's edges. One suspect is taken for two where it costs less than `threshold`, which the second
/// has to bring; two polarities that strike alike are one thing already, and another must come within `margin` of them.
pub fn prefer_one_for_two(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &mut Explanation,
    reach: &Reach,
    [threshold, margin]: [f64; 2],
) {
    while let Some((model, chosen, ln_likelihood)) =
        one_for_two(victim, evidence, explanation, reach, [threshold, margin])
    {
        explanation.model = model;
        explanation.chosen = chosen;
        explanation.ln_likelihood = ln_likelihood;
        for at in 0..explanation.chosen.len() {
            explanation.chosen[at].gain = ln_likelihood - without(&explanation.model, at).1;
        }
    }
}

/// Strike probabilities of two polarities are alike within this many standard errors of their difference.
const ALIKE: f64 = 2.0;

/// Whether terms `a` and `b` strike equally often, as far as their opportunities tell.
fn strike_alike(model: &Model, a: usize, b: usize) -> bool {
    let variance = |at: usize| model.terms[at].p * (1.0 - model.terms[at].p) / model.terms[at].count.max(1.0);
    let difference = model.terms[a].p - model.terms[b].p;
    difference * difference <= ALIKE * ALIKE * (variance(a) + variance(b))
}

fn one_for_two(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &Explanation,
    reach: &Reach,
    [threshold, margin]: [f64; 2],
) -> Option<(Model, Vec<Chosen>, f64)> {
    let line_of = |at: usize| evidence[explanation.chosen[at].evidence].suspect.line;
    let count = explanation.chosen.len();
    let pairs = (0..count).flat_map(|a| (a + 1..count).map(move |b| (a, b)));
    let strays = victim.times.len();
    for (a, b) in pairs.filter(|&(a, b)| line_of(a) == line_of(b)) {
        let mut less = explanation.model.clone();
        less.terms.remove(b);
        less.terms.remove(a);
        less.fit();
        let mut kept = explanation.chosen.clone();
        kept.remove(b);
        kept.remove(a);
        let ln_rate: Vec<f64> = (0..strays).map(|k| less.rate(k).max(1e-300).ln()).collect();
        let dear = match strike_alike(&explanation.model, a, b) {
            true => margin,
            false => threshold,
        };
        let mut best: Option<(f64, Model, Chosen)> = None;
        for (index, e) in evidence.iter().enumerate() {
            let taken = explanation.chosen.iter().any(|c| c.evidence == index);
            if taken || e.count == 0 || e.pairs.is_empty() {
                continue;
            }
            let proposals = propose(victim, e, &ln_rate, reach);
            for (_, window) in proposals {
                let mut with = less.clone();
                with.terms.push(e.term(&window, strays));
                let reached = with.fit();
                let wins = best.as_ref().is_none_or(|(r, ..)| reached > *r);
                if wins && explanation.ln_likelihood - reached < dear {
                    let chosen = Chosen {
                        evidence: index,
                        window,
                        gain: 0.0,
                    };
                    best = Some((reached, with, chosen));
                }
            }
        }
        if let Some((reached, model, chosen)) = best {
            kept.push(chosen);
            return Some((model, kept, reached));
        }
    }
    None
}

/// Both polarities of the other line have no more opportunities than this share of the chosen one's: what clears the clock
/// is its edges without the line.
const FEWER_EDGES: f64 = 0.7;
/// Share of a suspect's strays that both polarities of another line must have edges near, to be taken for it.
const BOTH_COVER: f64 = 0.9;

/// The edges of a clock go with everything that it clocks: where one polarity of a line was chosen, but both polarities of
/// another explain the same strays better by `margin`, striking alike, these are taken for it.
pub fn prefer_two_for_one(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &mut Explanation,
    reach: &Reach,
    margin: f64,
) {
    // Where several strike, they divide the strays among them in many ways.
    let [chosen] = explanation.chosen.as_slice() else {
        return;
    };
    let strays = victim.times.len();
    let alone = &evidence[chosen.evidence];
    let none = Model::new(strays, victim.time);
    let ln_rate: Vec<f64> = (0..strays).map(|k| none.rate(k).max(1e-300).ln()).collect();
    let belong: f64 = (0..strays).map(|k| explanation.model.shares(k)[1]).sum();
    let mut best: Option<(f64, Model, Vec<Chosen>)> = None;
    for first in 0..evidence.len().saturating_sub(1) {
        let pair = [&evidence[first], &evidence[first + 1]];
        let [line, other] = pair.map(|e| e.suspect.line);
        let covers = pair.iter().map(|e| e.pairs.len()).sum::<usize>() as f64;
        let edges = pair.iter().map(|e| e.opportunities(&chosen.window)).sum::<f64>();
        let is_suspect = line == other && line != alone.suspect.line && pair.iter().all(|e| e.count > 0);
        if !is_suspect
            || covers < BOTH_COVER * belong
            || edges > FEWER_EDGES * alone.opportunities(&chosen.window)
        {
            continue;
        }
        let mut with = none.clone();
        let mut both: Vec<Chosen> = Vec::new();
        for (evidence, e) in pair.iter().enumerate().map(|(n, e)| (first + n, e)) {
            if let Some((_, window)) = propose(victim, e, &ln_rate, reach).into_iter().next() {
                with.terms.push(e.term(&window, strays));
                both.push(Chosen {
                    evidence,
                    window,
                    gain: 0.0,
                });
            }
        }
        let reached = with.fit();
        let wins = best.as_ref().is_none_or(|(r, ..)| reached > *r);
        let better = reached - explanation.ln_likelihood > margin;
        if wins && better && both.len() == 2 && strike_alike(&with, 0, 1) {
            best = Some((reached, with, both));
        }
    }
    let Some((reached, model, mut both)) = best else {
        return;
    };
    for (at, chosen) in both.iter_mut().enumerate() {
        chosen.gain = reached - without(&model, at).1;
    }
    *explanation = Explanation {
        chosen: both,
        model,
        ln_likelihood: reached,
    };
}

/// Where a line's pulses are of one width its rise and its fall fit the same strays: the edge nearer to them in
/// time is taken, since a coupled stray follows within nanoseconds of its cause; an edge that comes after them (by more than `early`
/// ticks on the mean) only where the other is no cause either (`may_be_cause`, by a mean lag in ticks).
pub fn prefer_nearer_edges(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &mut Explanation,
    reach: &Reach,
    [margin, early]: [f64; 2],
    may_be_cause: impl Fn(f64) -> bool,
) {
    let distance = |e: usize, window: &LagWindow| {
        let mean = evidence[e].mean_lag(window);
        let is_odd = mean < -early || !may_be_cause(mean);
        (is_odd, (window.lo + window.hi).abs())
    };
    for at in 0..explanation.chosen.len() {
        let chosen = explanation.chosen[at].clone();
        let line = evidence[chosen.evidence].suspect.line;
        let strikes: f64 = (0..victim.times.len())
            .map(|k| explanation.model.shares(k)[at + 1])
            .sum();
        // How wide lags scatter within a sample is no evidence: two windows that differ by no more are alike.
        let blurred = |window: &LagWindow| {
            let wider = (window.hi - window.lo) - (chosen.window.hi - chosen.window.lo);
            let heights = chosen.window.density(chosen.window.lo) / window.density(window.lo);
            match wider as f64 <= victim.unit.max(1.0) {
                true => strikes * heights.ln().max(0.0),
                false => 0.0,
            }
        };
        let most = margin + strikes * std::f64::consts::LN_2;
        let nearer = fits(victim, evidence, explanation, at, reach, most)
            .into_iter()
            .find(|(e, window, loss)| {
                evidence[*e].suspect.line == line
                    && distance(*e, window) < distance(chosen.evidence, &chosen.window)
                    && *loss < margin + blurred(window)
            });
        if let Some((index, window, loss)) = nearer {
            explanation.replace(at, evidence, index, window, loss, victim.times.len());
        }
    }
}

/// Takes a suspect that `is_known` (by its line and the middle of its lag window, in ticks) to strike this victim for each
/// chosen one that it fits as well as, within `margin` of ln likelihood.
pub fn prefer_known(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &mut Explanation,
    reach: &Reach,
    margin: f64,
    is_known: impl Fn(usize, f64) -> bool,
) {
    for at in 0..explanation.chosen.len() {
        let chosen = explanation.chosen[at].clone();
        let line = evidence[chosen.evidence].suspect.line;
        if is_known(line, chosen.window.middle()) {
            continue;
        }
        let known = fits(victim, evidence, explanation, at, reach, margin)
            .into_iter()
            .find(|(e, window, _)| is_known(evidence[*e].suspect.line, window.middle()));
        if let Some((index, window, loss)) = known {
            explanation.replace(at, evidence, index, window, loss, victim.times.len());
        }
    }
}
