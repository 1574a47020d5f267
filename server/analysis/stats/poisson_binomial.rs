//! Upper tail of a sum of independent events of unequal probabilities.

/// ln P(X ≥ k) where X counts which of the independent events of probabilities `p` happen.
///
/// The probabilities are tilted so that k becomes the expected count, convolved, and tilted back: relative
/// precision holds however small the tail is. Cost: n × the spread of the tilted sum, (n·√n at worst).
///
/// # Source
/// Definition (convolution); exponential tilting: Esscher (1932).
pub fn ln_upper(k: u64, p: &[f64]) -> f64 {
    let n = p.len() as u64;
    if k == 0 {
        return 0.0;
    }
    let possible = p.iter().filter(|&&x| x > 0.0).count() as u64;
    if k > n || k > possible {
        return f64::NEG_INFINITY;
    }
    let certain = p.iter().filter(|&&x| x >= 1.0).count() as u64;
    if k <= certain {
        return 0.0;
    }
    let open: Vec<f64> = p.iter().copied().filter(|&x| x > 0.0 && x < 1.0).collect();
    let k = k - certain;
    let mean: f64 = open.iter().sum();
    if k as f64 <= mean {
        // The lower tail is the small one: P(X ≤ k − 1) = P(misses ≥ m − k + 1).
        let misses: Vec<f64> = open.iter().map(|x| 1.0 - x).collect();
        let m = misses.len() as u64;
        return super::ln_1m_exp(tilted(m - k + 1, &misses).min(0.0));
    }
    tilted(k, &open).min(0.0)
}

/// P(X ≥ k), see [`ln_upper`].
pub fn upper(k: u64, p: &[f64]) -> f64 {
    ln_upper(k, p).exp()
}

/// ln P(X ≥ k) for mean < k ≤ n and 0 < p < 1.
fn tilted(k: u64, p: &[f64]) -> f64 {
    if k == p.len() as u64 {
        return p.iter().map(|x| x.ln()).sum();
    }
    let tilt = find_tilt(k as f64, p);
    let grow = tilt.exp();
    let mut ln_mass = 0.0;
    // `mass[i]` is the tilted probability of `first + i`; ends that can no longer matter are cut off.
    let (mut mass, mut first) = (vec![1.0f64], 0u64);
    for &x in p {
        let all = 1.0 - x + x * grow;
        ln_mass += all.ln();
        let (hit, miss) = (x * grow / all, (1.0 - x) / all);
        mass.push(0.0);
        for i in (1..mass.len()).rev() {
            mass[i] = mass[i] * miss + mass[i - 1] * hit;
        }
        mass[0] *= miss;
        while mass.last().is_some_and(|&m| m < 1e-40) {
            mass.pop();
        }
        let cut = mass.iter().take_while(|&&m| m < 1e-40).count();
        if cut > 64 {
            mass.drain(..cut);
            first += cut as u64;
        }
    }
    let sum: f64 = mass
        .iter()
        .enumerate()
        .filter(|(i, _)| first + *i as u64 >= k)
        .map(|(i, m)| m * (-tilt * ((first + i as u64) - k) as f64).exp())
        .sum();
    ln_mass - tilt * k as f64 + sum.ln()
}

/// The tilt at which the expected count is `k`: bisection, the count rises with it.
fn find_tilt(k: f64, p: &[f64]) -> f64 {
    let expected = |tilt: f64| -> f64 {
        let grow = tilt.exp();
        p.iter().map(|x| x * grow / (1.0 - x + x * grow)).sum()
    };
    let (mut low, mut high) = (0.0, 1.0);
    while expected(high) < k && high < 600.0 {
        high *= 2.0;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if expected(middle) < k {
            low = middle
        } else {
            high = middle
        }
    }
    low
}
