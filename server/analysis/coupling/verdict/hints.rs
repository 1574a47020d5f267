//! Whom too few strays point to: no accusation, but what a longer capture would have to confirm.

use crate::analysis::coupling::fit::evidence::Evidence;
use crate::analysis::coupling::fit::lags::Pair;
use crate::analysis::coupling::fit::model::LagWindow;
use crate::analysis::coupling::fit::select::{self, Reach, Suspect, Victim};
use crate::model::Level;

/// Strays that point to a line's edges, and don't suffice to accuse it.
#[derive(Clone, Debug, PartialEq)]
pub struct Hint {
    pub victim: usize,
    /// Level of the strays.
    pub level: Level,
    /// The best suspect, then those that fit as well, best first.
    pub suspects: Vec<Suspect>,
    /// Strays that follow the best one, of those that could tell.
    pub strays: u64,
    pub of: u64,
    /// Its edges at which the victim was able to show a stray.
    pub opportunities: u64,
    /// Least and greatest lag of these strays, in ticks.
    pub lags: (i64, i64),
    /// So many times as many strays, going on like that, would suffice.
    pub times: u64,
}

/// Gain in ln likelihood beyond what pays for the number of suspects, from which on a word is said: chance reaches it for
/// one victim in e⁴.
const WORTH_A_WORD: f64 = 4.0;
/// Share of the victim's strays that must follow.
const MOST: f64 = 0.5;
/// With fewer followers there is no pattern.
const FEWEST: u64 = 2;

/// The hint of one victim whose strays accuse nobody. `threshold`: the gain that an accusation takes; `margin`: rivals
/// nearer than this in ln likelihood can't be told apart. Cost: that of choosing one suspect.
pub fn of(
    victim: &Victim,
    evidence: &[Evidence],
    reach: &Reach,
    threshold: f64,
    margin: f64,
) -> Option<Hint> {
    let enough = WORTH_A_WORD + (evidence.len() as f64).max(1.0).ln();
    let mut explanation = select::explain(victim, evidence, reach, enough);
    // Only the first: what else might be in there is for later.
    explanation.chosen.truncate(1);
    explanation.model.terms.truncate(1);
    explanation.ln_likelihood = explanation.model.fit();
    let best = explanation.chosen.first()?;
    let accused = &evidence[best.evidence];
    let (strays, lags) = followers(&accused.pairs, &best.window)?;
    let of = victim.times.len() as u64;
    if strays < FEWEST || (strays as f64) < MOST * of as f64 {
        return None;
    }
    let rivals = select::rivals(victim, evidence, &explanation, 0, reach, margin);
    let others = rivals.iter().map(|(at, ..)| evidence[*at].suspect);
    Some(Hint {
        victim: victim.line,
        level: victim.level,
        suspects: std::iter::once(accused.suspect).chain(others).collect(),
        strays,
        of,
        opportunities: accused.count as u64,
        lags,
        times: (threshold / best.gain).ceil().max(2.0) as u64,
    })
}

/// How many strays have an edge before them with a lag in `window`, and the least and greatest of these lags.
fn followers(pairs: &[Pair], window: &LagWindow) -> Option<(u64, (i64, i64))> {
    let mut strays: Vec<usize> = Vec::new();
    let (mut least, mut most) = (i64::MAX, i64::MIN);
    for pair in pairs.iter().filter(|p| window.contains(p.lag)) {
        strays.push(pair.stray);
        (least, most) = (least.min(pair.lag), most.max(pair.lag));
    }
    strays.dedup();
    (!strays.is_empty()).then_some((strays.len() as u64, (least, most)))
}
