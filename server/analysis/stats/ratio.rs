//! Interval of the ratio of two rates.

use super::normal::normal_quantile;

/// Ratio of the rate after to the rate before, with its interval. `None` stands for "no upper end".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// `None` where nothing struck before (0/0 or something/0).
    pub estimate: Option<f64>,
    /// 95 % interval, closed; no upper end where nothing struck before.
    pub low: f64,
    pub high: Option<f64>,
}

/// Miettinen–Nurminen score interval of (b/n2) / (a/n1); defined also with no strays on either side.
/// Bisection over ln ratio, 200 halvings at most.
///
/// # Source
/// Miettinen and Nurminen (1985), Statistics in Medicine 4:213, with the factor N/(N − 1); restricted maximum
/// likelihood in closed form as in Koopman (1984), Biometrics 40:513.
pub fn miettinen_nurminen(a: u64, n1: u64, b: u64, n2: u64, confidence: f64) -> Ratio {
    let none = Ratio {
        estimate: None,
        low: 0.0,
        high: None,
    };
    if a + b == 0 || n1 == 0 || n2 == 0 {
        return none;
    }
    let z = normal_quantile(0.5 * (1.0 + confidence));
    let (fa, f1, fb, f2) = (a as f64, n1 as f64, b as f64, n2 as f64);
    // Whether the ratio e^t is inside the interval.
    let inside = |t: f64| {
        let ratio = t.exp();
        let (qa, qb, qc) = ((f1 + f2) * ratio, f2 * ratio + fb + f1 + fa * ratio, fa + fb);
        // The smaller root of qa·p² − qb·p + qc = 0, without cancellation.
        let p1 = 2.0 * qc / (qb + (qb * qb - 4.0 * qa * qc).max(0.0).sqrt());
        let p2 = (p1 * ratio).min(1.0);
        let factor = (f1 + f2) / (f1 + f2 - 1.0).max(1.0);
        let variance = (p2 * (1.0 - p2) / f2 + ratio * ratio * p1 * (1.0 - p1).max(0.0) / f1) * factor;
        let difference = fb / f2 - ratio * fa / f1;
        difference * difference <= z * z * variance
    };
    let edge = |mut within: f64, mut without: f64| {
        for _ in 0..200 {
            let middle = 0.5 * (within + without);
            if inside(middle) {
                within = middle
            } else {
                without = middle
            }
        }
        within.exp()
    };
    const FAR: f64 = 60.0;
    let estimate = (a > 0).then(|| (fb / f2) / (fa / f1));
    let start = match estimate {
        Some(r) if r > 0.0 => r.ln(),
        Some(_) => -FAR,
        None => FAR,
    };
    let low = if b == 0 { 0.0 } else { edge(start, -FAR) };
    let high = (a > 0).then(|| edge(start, FAR));
    Ratio { estimate, low, high }
}
