//! The joint model of one victim level: strays as a point process.
//!
//! A stray appears by itself at a background rate, or because an edge of a suspect strikes: each opportunity
//! of suspect j strikes with probability pⱼ, and the stray follows after a lag of density fⱼ. With qⱼ =
//! pⱼ/(1 − pⱼ), Nⱼ opportunities and able time T the likelihood of strays at t₁ … tₙ is
//!
//! e^(−μT) · Πⱼ (1 − pⱼ)^Nⱼ · Πₖ [ μ + Σⱼ qⱼ Σₑ fⱼ(tₖ − e) ]
//!
//! exact as long as no two strikes fall into one stray. Opportunities that did not strike speak through
//! N·ln(1 − p): that term clears the innocent companion. Fitted by EM (Dempster, Laird, Rubin 1977).
//!
//! The lag density is flat with soft shoulders: the lag's shape inside one sample is no evidence. (A narrow
//! bell was tried elsewhere, and made one capture in sixteen wrong.)

/// Flat from `lo` to `hi` (ticks, both ends closed), with shoulders that fall off linearly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagWindow {
    pub lo: i64,
    pub hi: i64,
    /// Length of each shoulder in ticks.
    pub shoulder: f64,
    /// The steps that lags come in, in ticks: the larger of the sampling period and one tick.
    unit: f64,
}

impl LagWindow {
    /// The window over the lags `lo..=hi`; `unit` is the larger of the sampling period and one tick.
    pub fn new(lo: i64, hi: i64, unit: f64) -> LagWindow {
        LagWindow {
            lo,
            hi,
            shoulder: unit.max(0.5 * (hi - lo) as f64),
            unit,
        }
    }

    /// Density at lag `lag`, per tick. Over lags a unit apart it sums to one a unit, however short the ticks are.
    pub fn density(&self, lag: i64) -> f64 {
        let outside = (self.lo - lag).max(lag - self.hi).max(0) as f64;
        let height = 1.0 / ((self.hi - self.lo) as f64 + self.unit + self.shoulder);
        height * (1.0 - outside / (self.shoulder + self.unit)).max(0.0)
    }

    /// The middle of the window, in ticks.
    pub fn middle(&self) -> f64 {
        0.5 * (self.lo + self.hi) as f64
    }

    /// Lags with any density, both ends closed.
    pub fn reach(&self) -> (i64, i64) {
        let shoulder = whole_units(self.shoulder, self.unit);
        (self.lo - shoulder, self.hi + shoulder)
    }

    /// Whether a stray at `lag` ticks after the edge counts as brought by it.
    pub fn contains(&self, lag: i64) -> bool {
        let (lo, hi) = self.reach();
        lo <= lag && lag <= hi
    }
}

/// The shortest length of whole `unit`s (each at least a tick) that is no shorter than `length`, in whole ticks: what is
/// rounded so is as long in seconds whatever the ticks are.
pub fn whole_units(length: f64, unit: f64) -> i64 {
    // A length of whole units stays so: what floating point adds to a count is no unit.
    const ROUNDING: f64 = 1e-9;
    ((length / unit - ROUNDING).ceil() * unit).round() as i64
}

/// One suspect in the model.
#[derive(Clone, Debug)]
pub struct Term {
    /// Opportunities.
    pub count: f64,
    /// Strike probability.
    pub p: f64,
    /// For each stray: the summed lag density of the suspect's edges before it.
    pub density: Vec<f64>,
}

impl Term {
    fn odds(&self) -> f64 {
        self.p / (1.0 - self.p)
    }
}

/// Strays of one victim level, explained by a background and terms.
#[derive(Clone, Debug)]
pub struct Model {
    pub strays: usize,
    /// Able time in ticks.
    pub time: f64,
    /// Background strays a tick.
    pub background: f64,
    pub terms: Vec<Term>,
}

const ROUNDS: usize = 60;
/// Gain in log likelihood below which the fit is done.
const DONE: f64 = 1e-6;

impl Model {
    /// Only the background. `time` > 0.
    pub fn new(strays: usize, time: f64) -> Model {
        Model {
            strays,
            time,
            background: strays as f64 / time,
            terms: Vec::new(),
        }
    }

    /// The model's rate at stray `k`.
    pub fn rate(&self, k: usize) -> f64 {
        self.background + self.terms.iter().map(|t| t.odds() * t.density[k]).sum::<f64>()
    }

    /// ln of the likelihood.
    pub fn ln_likelihood(&self) -> f64 {
        let chance: f64 = (0..self.strays).map(|k| self.rate(k).max(1e-300).ln()).sum();
        let quiet: f64 = self.terms.iter().map(|t| t.count * (-t.p).ln_1p()).sum();
        chance + quiet - self.background * self.time
    }

    /// Fits background and strike probabilities by EM; returns ln of the likelihood.
    pub fn fit(&mut self) -> f64 {
        let mut before = f64::NEG_INFINITY;
        for _ in 0..ROUNDS {
            let mut shares = vec![0.0; self.terms.len()];
            let mut own = 0.0;
            for k in 0..self.strays {
                let rate = self.rate(k).max(1e-300);
                own += self.background / rate;
                for (share, term) in shares.iter_mut().zip(&self.terms) {
                    *share += term.odds() * term.density[k] / rate;
                }
            }
            // A background of none would forbid strays nobody explains: half a stray is always left.
            self.background = own.max(0.5) / self.time;
            for (share, term) in shares.iter().zip(&mut self.terms) {
                term.p = (share / term.count).min(1.0 - 0.5 / (term.count + 1.0));
            }
            let now = self.ln_likelihood();
            if (now - before).abs() < DONE {
                return now;
            }
            before = now;
        }
        before
    }

    /// Shares of stray `k`: the background's first, then each term's; they sum to 1.
    pub fn shares(&self, k: usize) -> Vec<f64> {
        let rate = self.rate(k).max(1e-300);
        let mut shares = vec![self.background / rate];
        shares.extend(self.terms.iter().map(|t| t.odds() * t.density[k] / rate));
        shares
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lag_density_integrates_to_one() {
        let window = LagWindow::new(5, 24, 10.0);
        let total: f64 = (-100..200).map(|lag| window.density(lag)).sum();
        assert!((total - 1.0).abs() < 0.05, "{total}");
    }

    #[test]
    fn a_companion_is_cleared_by_its_clean_opportunities() {
        // 20 strays, all after the guilty line's edges (40 opportunities); the companion switched along at
        // all of these, and 400 more times without a stray.
        let term = |count: f64| Term {
            count,
            p: 0.1,
            density: vec![0.05; 20],
        };
        let alone = |terms: Vec<Term>| {
            let mut model = Model::new(20, 1e9);
            model.terms = terms;
            model.fit()
        };
        let guilty = alone(vec![term(40.0)]);
        let companion = alone(vec![term(440.0)]);
        let both = alone(vec![term(40.0), term(440.0)]);
        assert!(guilty > companion + 20.0);
        assert!(both < guilty + 0.1);
    }

    #[test]
    fn strike_probability_of_a_lone_suspect_is_strays_over_opportunities() {
        let mut model = Model::new(30, 1e12);
        model.terms.push(Term {
            count: 120.0,
            p: 0.5,
            density: vec![0.02; 30],
        });
        model.fit();
        assert!((model.terms[0].p - 0.25).abs() < 1e-3);
    }
}
