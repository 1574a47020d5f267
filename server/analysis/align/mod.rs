//! Alignment: brings the clock of one instrument to that of another by edges both recorded.
//!
//! time in A = time in B × (1 + drift) + offset
//!
//! 1. Candidates (`candidates`): blocks of edges of A vote for offsets with the edges of B whose pulse is as wide;
//!    n·ln n, nothing about the offset need be known, and drift up to [`MAX_DRIFT`] is allowed for.
//! 2. Growing (`grow`): from a block the match is widened step by step, the line through the matched edges
//!    refitted at each, until it covers all that both recorded.
//! 3. Rivals: candidates from several places of the overlap are grown as well. If one that is not the same
//!    alignment explains nearly as many edges, the pair is ambiguous and refused.
//! 4. The least-squares line through all matched edges gives offset, drift and standard errors (`fit`).
//!
//! Correlating binned trains by Fourier transform was considered and dropped: bins wide enough for drift cannot
//! tell the periods of a nearly regular line apart, and fine ones cost more than the votes.
//!
//! An edge stamped by the first sample that shows it happened half a period earlier on average, on each
//! instrument by its own period; both are taken out before anything else.

mod candidates;
mod fit;
mod grow;
mod sentences;
mod several;
mod skew;
mod step;

#[cfg(test)]
mod tests;

use crate::model::{Capture, Level};

use super::stats::tails::ln_binomial_upper;
use grow::{Growth, grow};

pub use fit::{LineFit, fit_line};
pub use sentences::{by_hand, exact, finding};
pub use several::align_several;
pub use skew::{ChannelSkew, channel_skews};
pub use step::{step_of, with_steps};

/// Largest relative difference of two clocks that is looked for. Crystals stay within 100 ppm each; the rest is
/// room for ceramic resonators that were trimmed badly. Common practice, no source.
pub const MAX_DRIFT: f64 = 5e-4;

/// One line's edges as an instrument saw them.
#[derive(Clone, Debug)]
pub struct Edges {
    /// Seconds after `origin_s`, ascending, half a sample taken out.
    pub times: Vec<f64>,
    /// Whether each edge rises.
    pub rises: Vec<bool>,
    /// Seconds of one sample (or tick) of the instrument.
    pub sample_s: f64,
    /// Seconds of the zero of `times` on the capture's own clock.
    pub origin_s: f64,
}

impl Edges {
    /// The edges of line `index` of a capture.
    pub fn of(capture: &Capture, index: usize) -> Edges {
        let line = &capture.lines[index];
        let base = capture.timebase;
        let sample = match line.sample_ticks > 0.0 || line.interpolated {
            true => line.sample_ticks,
            false => step_of(capture),
        };
        let late = if line.interpolated { 0.0 } else { 0.5 * sample };
        let tick = base.tick_s();
        let start = line.edges.first().map_or(0, |e| e.0);
        let times = line
            .edges
            .iter()
            .map(|e| base.length_s((e.0 - start) as f64 - late))
            .collect();
        let mut rises = Vec::with_capacity(line.edges.len());
        for segment in line.segments() {
            let mut high = segment.first == Level::High;
            for _ in segment.edges {
                high = !high;
                rises.push(high);
            }
        }
        rises.resize(line.edges.len(), true);
        Edges {
            times,
            rises,
            sample_s: sample.max(1.0) * tick,
            origin_s: base.origin_s + base.length_s(start as f64),
        }
    }

    fn inverted(&self) -> Edges {
        Edges {
            rises: self.rises.iter().map(|r| !r).collect(),
            ..self.clone()
        }
    }
}

/// How B's clock lies to A's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alignment {
    /// At time 0 of B's clock.
    pub offset_s: f64,
    pub offset_se_s: f64,
    pub drift_ppm: f64,
    pub drift_se_ppm: f64,
    /// Middle of the matched edges on B's clock, and the standard error of B's time there on A's clock.
    pub middle_s: f64,
    pub middle_se_s: f64,
    /// Edges of A with a counterpart in B.
    pub matched: usize,
    /// Edges inside what both recorded that have no counterpart.
    pub unmatched_a: usize,
    pub unmatched_b: usize,
    /// Standard deviation of the matched edges about the line.
    pub residual_s: f64,
    /// The line is upside down in B.
    pub inverted: bool,
}

/// Edges with a counterpart, and those of either capture without one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Matched {
    pub pairs: usize,
    pub unmatched_a: usize,
    pub unmatched_b: usize,
}

impl Alignment {
    /// What a line through (time in B, time in A − time in B), counted from each capture's origin, says of the clocks.
    fn of_line(fit: &fit::LineFit, a: &Edges, b: &Edges, matched: Matched) -> Alignment {
        let zero = -b.origin_s;
        Alignment {
            offset_s: a.origin_s - b.origin_s + fit.at(zero),
            offset_se_s: fit.se_at(zero),
            drift_ppm: fit.slope * 1e6,
            drift_se_ppm: fit.slope_se * 1e6,
            middle_s: b.origin_s + fit.middle,
            middle_se_s: fit.intercept_se,
            matched: matched.pairs,
            unmatched_a: matched.unmatched_a,
            unmatched_b: matched.unmatched_b,
            residual_s: fit.residual,
            inverted: false,
        }
    }

    /// The identity: one clock.
    pub const SAME_CLOCK: Alignment = Alignment {
        offset_s: 0.0,
        offset_se_s: 0.0,
        drift_ppm: 0.0,
        drift_se_ppm: 0.0,
        middle_s: 0.0,
        middle_se_s: 0.0,
        matched: 0,
        unmatched_a: 0,
        unmatched_b: 0,
        residual_s: 0.0,
        inverted: false,
    };

    /// Whether nothing moves: neither an offset nor a drift, which moves everything but one moment.
    pub fn is_same_clock(&self) -> bool {
        self.offset_s == 0.0 && self.drift_ppm == 0.0
    }

    /// A time on B's clock, on A's.
    pub fn time_in_a(&self, time_in_b: f64) -> f64 {
        time_in_b * (1.0 + self.drift_ppm * 1e-6) + self.offset_s
    }
}

/// Why two captures could not be aligned.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Error {
    #[error("{which} has {edges} edges on the shared line; at least {least} are needed to align")]
    TooFewEdges {
        which: &'static str,
        edges: usize,
        least: usize,
    },
    #[error(
        "the two do not share enough edges on this line to tell how their clocks lie ({matched} edges fit at best)"
    )]
    NothingShared { matched: usize },
    #[error(
        "the line is too regular to tell how the clocks lie: at least {rivals} other offsets fit as well, the nearest \
         {shift} away; name an irregular line both captured"
    )]
    Ambiguous { rivals: usize, shift: String },
}

/// Fewer edges than this tell nothing.
const LEAST_EDGES: usize = 4;
/// A rival that explains this share of the best one's edges, and of its own overlap, makes a pair ambiguous.
const RIVAL: f64 = 0.6;
/// So many rivals settle that a pair is ambiguous.
const ENOUGH_RIVALS: usize = 4;
/// Least share of the sparser line's edges in the overlap that must match.
const LEAST_SHARE: f64 = 0.25;
/// Least evidence: the logarithm of the chance that blind edges match so well at any offset.
const LN_CHANCE: f64 = -20.0;

/// Aligns B to A by one line's edges in each. Cost: n·ln n.
///
/// # Errors
/// [`Error`], when too few edges are shared, or several offsets fit.
pub fn align(a: &Edges, b: &Edges) -> Result<Alignment, Error> {
    let (inverted, growth) = several::grown(a, b)?;
    Ok(Alignment {
        inverted,
        ..growth.finish(a, b)
    })
}

fn align_upright(a: &Edges, b: &Edges) -> Result<Growth, Error> {
    let index = candidates::Index::new(b);
    let mut best: Option<Growth> = None;
    let mut most = 0;
    // Blocks from the middle outwards: the overlap may lie anywhere. The first convincing growth ends the search;
    // whether another is as good is asked below.
    'search: for block in candidates::blocks(a.times.len(), 16) {
        for candidate in index.candidates(a, block, 24) {
            let Some(growth) = grow(a, b, &candidate) else {
                continue;
            };
            most = most.max(growth.matched());
            if is_evident(a, b, &growth) && best.as_ref().is_none_or(|g| growth.score() > g.score()) {
                best = Some(growth);
            }
            if best.as_ref().is_some_and(|g| g.share() > 0.75) {
                break 'search;
            }
        }
    }
    let mut best = best.ok_or(Error::NothingShared { matched: most })?;
    // Rivals, from several places inside what both recorded.
    let mut rivals: Vec<Growth> = Vec::new();
    let overlap = best.overlap_a.clone();
    'rivals: for part in candidates::blocks(overlap.len(), 5) {
        let block = overlap.start + part.start..overlap.start + part.end;
        for candidate in index.candidates(a, block, 12) {
            if candidate.is_near(&best) || rivals.iter().any(|r| candidate.is_near(r)) {
                continue;
            }
            let Some(growth) = grow(a, b, &candidate) else {
                continue;
            };
            if growth.is_same(&best) || rivals.iter().any(|r| growth.is_same(r)) {
                continue;
            }
            rivals.push(growth);
            if rivals.iter().filter(|r| r.is_rival(&best, RIVAL)).count() == ENOUGH_RIVALS {
                break 'rivals;
            }
        }
    }
    if let Some(better) = (0..rivals.len()).max_by(|&x, &y| rivals[x].score().total_cmp(&rivals[y].score()))
        && rivals[better].score() > best.score()
        && is_evident(a, b, &rivals[better])
    {
        std::mem::swap(&mut best, &mut rivals[better]);
    }
    let close: Vec<&Growth> = rivals.iter().filter(|r| r.is_rival(&best, RIVAL)).collect();
    if !close.is_empty() {
        let shifts = close.iter().map(|r| r.shift(&best).abs());
        let shift = shifts.fold(f64::INFINITY, f64::min);
        return Err(Error::Ambiguous {
            rivals: close.len(),
            shift: crate::model::units::seconds(shift),
        });
    }
    Ok(best)
}

/// Whether so many edges would not match by chance at any offset.
fn is_evident(a: &Edges, b: &Edges, growth: &Growth) -> bool {
    if growth.matched() < LEAST_EDGES || growth.share() < LEAST_SHARE {
        return false;
    }
    let length = growth.length().max(f64::MIN_POSITIVE);
    let (na, nb) = (growth.overlap_a.len(), growth.overlap_b.len());
    let window = 2.0 * growth.tolerance;
    let chance = -(-(na.max(nb) as f64) * 0.5 * window / length).exp_m1();
    let span = |e: &Edges| e.times[e.times.len() - 1] - e.times[0];
    // Offsets tried, and the slopes tried at each.
    let tries = (span(a) + span(b)) / window * (1.0 + MAX_DRIFT * length / window);
    let n = na.min(nb).max(growth.matched()) as u64;
    ln_binomial_upper(growth.matched() as u64, n, chance.min(1.0)) + tries.max(1.0).ln() < LN_CHANCE
}
