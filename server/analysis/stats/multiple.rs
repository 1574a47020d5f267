//! Many tests at once.

/// Benjamini–Hochberg q values in the order of the p values, capped at 1. `tests` is the number of tests tried,
/// which may exceed the p values given (the others then count as 1).
///
/// # Source
/// Benjamini and Hochberg (1995), J. R. Stat. Soc. B 57:289.
pub fn benjamini_hochberg(p: &[f64], tests: usize) -> Vec<f64> {
    let ln: Vec<f64> = p.iter().map(|p| p.ln()).collect();
    ln_benjamini_hochberg(&ln, tests)
        .into_iter()
        .map(f64::exp)
        .collect()
}

/// The same in natural logarithms, for p values that underflow.
fn ln_benjamini_hochberg(ln_p: &[f64], tests: usize) -> Vec<f64> {
    let tests = tests.max(ln_p.len()) as f64;
    let mut order: Vec<usize> = (0..ln_p.len()).collect();
    order.sort_by(|&a, &b| ln_p[a].total_cmp(&ln_p[b]));
    let mut q = vec![0.0; ln_p.len()];
    let mut least = 0.0f64;
    for (rank, &i) in order.iter().enumerate().rev() {
        least = least.min(ln_p[i] + (tests / (rank + 1) as f64).ln());
        q[i] = least;
    }
    q
}
