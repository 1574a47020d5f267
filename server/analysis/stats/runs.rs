//! The runs test: whether outcomes of one kind follow each other oftener than chance has it.

/// How far the number of runs lies from what chance has, in standard deviations (below 0: fewer runs, outcomes keep
/// together); none where all outcomes are alike. `half`: a correction for continuity, towards the mean, in runs.
///
/// Wald and Wolfowitz, *On a Test Whether Two Samples are from the Same Population*, Ann. Math. Stat. 11 (1940), by the normal
/// approximation: a of one kind and b of the other make 2ab/n + 1 runs on average, with variance (m − 1)(m − 2)/(n − 1).
pub fn runs(outcomes: &[bool], half: f64) -> Option<f64> {
    let a = outcomes.iter().filter(|o| **o).count() as f64;
    let n = outcomes.len() as f64;
    let b = n - a;
    if a < 1.0 || b < 1.0 || n < 3.0 {
        return None;
    }
    let runs = 1.0 + outcomes.windows(2).filter(|pair| pair[0] != pair[1]).count() as f64;
    let mean = 2.0 * a * b / n + 1.0;
    let deviation = ((mean - 1.0) * (mean - 2.0) / (n - 1.0)).max(0.0).sqrt();
    Some((runs + half - mean) / deviation)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_statsmodels_s() {
        // statsmodels 0.15.0: sandbox.stats.runs.runstest_1samp(x, cutoff=0.5, correction=False).
        let mixed = [1, 1, 0, 1, 1, 1, 0, 0, 0, 0, 1, 0, 0, 1, 1, 1, 1, 0, 0, 1].map(|x| x == 1);
        let z = runs(&mixed, 0.0).expect("both kinds");
        assert!((z / -0.882_303_091_205_556_2 - 1.0).abs() < 1e-12, "{z}");
        let by_fives: Vec<bool> = (0..40).map(|i| i / 5 % 2 == 1).collect();
        let z = runs(&by_fives, 0.0).expect("both kinds");
        assert!((z / -4.164_701_290_861_719 - 1.0).abs() < 1e-12, "{z}");
        assert_eq!(runs(&[true; 9], 0.0), None);
    }
}
