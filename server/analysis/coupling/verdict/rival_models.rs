//! Two stories about a victim's strays, told on the same switching instants and compared.
//!
//! *Captured*: each of some captured lines strikes by itself, with a probability of its own, beside a leak:
//! noisy-OR, P = 1 − (1 − b)·Π(1 − pⱼ) (Pearl 1988, section 4.3; leak Henrion 1989). The captured lines that
//! merely switch along change nothing then.
//!
//! *Hidden*: a line without a probe strikes, and the captured ones tell more or less well when it switches. If
//! they do so independently of each other given that it does, the chance that it switched is logistic in who
//! else did (naive Bayes), so logit P = b + Σ wⱼ. The same form with equal weights is a dose: a stray grows
//! likelier with the number of lines that switch at once.
//!
//! A single captured culprit fits both equally well. A companion's strike rate depends on who else switches, which
//! no captured line that strikes by itself does.

use crate::analysis::coupling::Edge;
use crate::analysis::coupling::suspects::instants::{Table, edge_of};

/// Rounds of EM or Newton at most; both are done long before.
const ROUNDS: usize = 200;
const DONE: f64 = 1e-7;
/// Keeps a logistic weight finite where a line alone decides.
const RIDGE: f64 = 2e-3;
const MOST_FEATURES: usize = 10;
/// Candidates fitted fully at each step; the others scored lower.
const FITTED: usize = 4;
const TINY: f64 = 1e-12;

/// A fitted story.
#[derive(Clone, Debug)]
pub struct Fitted {
    /// Keys that speak in it.
    pub keys: Vec<usize>,
    /// For each key: strike probability (captured) or weight (hidden).
    pub weights: Vec<f64>,
    /// Leak (captured) or logit of the chance when none of the keys switches (hidden).
    pub base: f64,
    pub ln_likelihood: f64,
}

impl Fitted {
    /// ln likelihood less `price` for each key.
    pub fn worth(&self, price: f64) -> f64 {
        self.ln_likelihood - price * self.keys.len() as f64
    }
}

fn positions(table: &Table, keys: &[usize]) -> Vec<usize> {
    let mut at = vec![usize::MAX; table.keys];
    keys.iter().enumerate().for_each(|(i, &k)| at[k] = i);
    at
}

/// Logarithm of p^struck · (1 − p)^(count − struck), without the binomial coefficient; p is kept off 0 and 1.
pub(in crate::analysis::coupling) fn ln_binomial(struck: f64, count: f64, p: f64) -> f64 {
    let p = p.clamp(TINY, 1.0 - TINY);
    let hit = if struck > 0.0 { struck * p.ln() } else { 0.0 };
    let miss = count - struck;
    hit + if miss > 0.0 { miss * (-p).ln_1p() } else { 0.0 }
}

/// Which of some keys switched, as bits; how many instants; how many of them struck.
type Group = (u128, f64, f64);
/// Keys that a story has at most: a bit each. What is asked for stays far below (two levels of [`super::super::fit::select`]'s terms
/// and [`MOST_FEATURES`]; twice the lines of a dose).
const MOST_KEYS: usize = u128::BITS as usize;

/// The patterns that differ in none of `keys`, counted together, by which of them hold. Cost: patterns × keys × log of the
/// lines that switch.
fn grouped(table: &Table, keys: &[usize]) -> Vec<Group> {
    debug_assert!(keys.len() <= MOST_KEYS);
    // At most instants none of the keys switched: these need no sorting.
    let mut groups: Vec<Group> = Vec::new();
    let (mut count, mut struck, mut any) = (0.0, 0.0, false);
    for pattern in &table.patterns {
        let holds = |(i, key): (usize, &usize)| u128::from(table.holds(pattern, *key)) << i;
        match keys.iter().enumerate().map(holds).fold(0, |all, bit| all | bit) {
            0 => {
                any = true;
                count += pattern.count;
                struck += pattern.struck;
            }
            bits => groups.push((bits, pattern.count, pattern.struck)),
        }
    }
    groups.extend(any.then_some((0, count, struck)));
    groups.sort_unstable_by_key(|g| g.0);
    groups.dedup_by(|next, first| {
        let same = next.0 == first.0;
        if same {
            first.1 += next.1;
            first.2 += next.2;
        }
        same
    });
    groups
}

/// Positions of the bits that are set.
fn bits(mut mask: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let at = (mask != 0).then(|| mask.trailing_zeros() as usize)?;
        mask &= mask - 1;
        Some(at)
    })
}

/// The noisy-OR of `keys` (at most 128) fitted by EM. Cost: a look at the patterns for each key; rounds × the different
/// sets of keys that switched.
pub fn noisy_or(table: &Table, keys: &[usize]) -> Fitted {
    let groups = grouped(table, keys);
    let (count, struck) = table.totals();
    let mut base = (0.1 * struck / count.max(1.0)).max(TINY);
    let mut counts = vec![0.0; keys.len()];
    let mut hits = vec![0.0; keys.len()];
    for &(who, n, y) in &groups {
        for i in bits(who) {
            counts[i] += n;
            hits[i] += y;
        }
    }
    let mut p: Vec<f64> = hits
        .iter()
        .zip(&counts)
        .map(|(h, n)| (0.7 * h / n.max(1.0)).clamp(1e-6, 0.99))
        .collect();
    let mut before = f64::NEG_INFINITY;
    for _ in 0..ROUNDS {
        let mut shares = vec![0.0; keys.len()];
        let mut leaked = 0.0;
        let mut now = 0.0;
        for &(who, n, y) in &groups {
            let quiet = bits(who).fold(1.0 - base, |quiet, i| quiet * (1.0 - p[i]));
            let chance = (1.0 - quiet).clamp(TINY, 1.0 - TINY);
            now += ln_binomial(y, n, chance);
            if y > 0.0 {
                leaked += y * base / chance;
                bits(who).for_each(|i| shares[i] += y * p[i] / chance);
            }
        }
        if (now - before).abs() < DONE {
            before = now;
            break;
        }
        before = now;
        base = (leaked / count.max(1.0)).clamp(TINY, 1.0 - TINY);
        for ((p, share), n) in p.iter_mut().zip(&shares).zip(&counts) {
            *p = (share / n.max(1.0)).clamp(1e-9, 1.0 - 1e-6);
        }
    }
    Fitted {
        keys: keys.to_vec(),
        weights: p,
        base,
        ln_likelihood: before,
    }
}

/// ln likelihood of one chance at whatever instants any of `keys` (at most 128) switched, however many of them did, and
/// another where none: a line without a probe that all of them go along with strikes no oftener where two do. Cost: a
/// look at the patterns for each key.
pub fn one_chance(table: &Table, keys: &[usize]) -> f64 {
    let (mut with, mut without) = ((0.0, 0.0), (0.0, 0.0));
    for (who, count, struck) in grouped(table, keys) {
        let side = if who == 0 { &mut without } else { &mut with };
        side.0 += count;
        side.1 += struck;
    }
    let told = |(count, struck): (f64, f64)| ln_binomial(struck, count, struck / f64::max(count, 1.0));
    told(with) + told(without)
}

/// The best captured story: `known` first, then keys that bring at least `price` each; last, those that bring less
/// are dropped.
pub fn captured(table: &Table, known: &[usize], price: f64) -> Fitted {
    let mut best = noisy_or(table, known);
    while best.keys.len() < known.len() + MOST_FEATURES {
        let next = first_best(further(table, &best, known).into_iter().map(|key| {
            let mut keys = best.keys.clone();
            keys.push(key);
            noisy_or(table, &keys)
        }));
        match next {
            Some(next) if next.ln_likelihood - best.ln_likelihood >= price => best = next,
            _ => break,
        }
    }
    loop {
        let less = (0..best.keys.len())
            .map(|i| {
                let mut keys = best.keys.clone();
                keys.remove(i);
                noisy_or(table, &keys)
            })
            .max_by(|a, b| a.ln_likelihood.total_cmp(&b.ln_likelihood));
        match less {
            Some(less) if best.ln_likelihood - less.ln_likelihood < price => best = less,
            _ => return best,
        }
    }
}

/// Keys that a captured story may take up next: slope of ln likelihood where they start to strike, and its curvature.
fn further(table: &Table, story: &Fitted, preferred: &[usize]) -> Vec<usize> {
    let at = positions(table, &story.keys);
    let mut slope = vec![0.0; table.keys];
    let mut bend = vec![0.0; table.keys];
    for pattern in &table.patterns {
        let who = || table.who(pattern);
        let quiet: f64 = who()
            .filter_map(|k| story.weights.get(at[k]))
            .map(|p| 1.0 - p)
            .product();
        let p = (1.0 - (1.0 - story.base) * quiet).clamp(1e-9, 1.0 - 1e-9);
        let up = pattern.struck * (1.0 - p) / p - (pattern.count - pattern.struck);
        let information = pattern.count * (1.0 - p) / p;
        for key in who() {
            slope[key] += up;
            bend[key] += information;
        }
    }
    best_of(table, [&story.keys, preferred], [&slope, &bend], Story::Captured)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Story {
    Captured,
    Hidden,
}

/// The first of those that fit best: what is equal but for rounding stands in the order of preference.
fn first_best(stories: impl Iterator<Item = Fitted>) -> Option<Fitted> {
    stories.reduce(
        |best, next| match is_more(next.ln_likelihood, best.ln_likelihood) {
            true => next,
            false => best,
        },
    )
}

/// Whether `a` is more than `b` by more than rounding.
fn is_more(a: f64, b: f64) -> bool {
    a - b > 1e-7 * (1.0 + b.abs())
}

/// Keys with the steepest standardised slopes; of those that are equal, as where one line is toggled by one edge of another, first
/// the `preferred`, then single edges, so that the order of the lines in a file tells nothing. A captured line can only add strays, and
/// does so by one polarity at a time (a rise lifts or dips, a fall does the opposite).
fn best_of(
    table: &Table,
    [taken, preferred]: [&[usize]; 2],
    [slope, bend]: [&[f64]; 2],
    story: Story,
) -> Vec<usize> {
    let fits = |k: usize| story == Story::Hidden || slope[k] > 0.0 && edge_of(k) != Edge::Both;
    let score = |k: usize| slope[k] * slope[k] / bend[k];
    let rank = |k: &usize| (!preferred.contains(k), edge_of(*k) == Edge::Both);
    let mut keys: Vec<usize> = (0..table.keys)
        .filter(|&k| bend[k] > 1e-12 && !taken.contains(&k) && fits(k))
        .collect();
    keys.sort_by(|&a, &b| score(b).total_cmp(&score(a)));
    for equal in keys.chunk_by_mut(|&a, &b| !is_more(score(a), score(b))) {
        equal.sort_by_key(rank);
    }
    keys.truncate(FITTED);
    keys
}

/// The logistic model of `keys`, fitted by Newton's method with a slight ridge.
fn logistic(table: &Table, keys: &[usize]) -> Fitted {
    let (count, struck) = table.totals();
    let mean = ((struck + 0.5) / (count + 1.0)).clamp(1e-9, 1.0 - 1e-9);
    let mut weights = vec![0.0; keys.len() + 1];
    weights[keys.len()] = (mean / (1.0 - mean)).ln();
    // The last feature is always there: the base.
    let rows: Vec<(Vec<usize>, f64, f64)> = grouped(table, keys)
        .into_iter()
        .map(|(who, n, y)| (bits(who).chain([keys.len()]).collect(), n, y))
        .collect();
    fit_logistic(&rows, &mut weights);
    let base = weights.pop().unwrap_or(0.0);
    let ln_likelihood = rows
        .iter()
        .map(|(x, n, y)| {
            let eta: f64 = base + x.iter().filter_map(|&i| weights.get(i)).sum::<f64>();
            ln_binomial(*y, *n, 1.0 / (1.0 + (-eta).exp()))
        })
        .sum();
    Fitted {
        keys: keys.to_vec(),
        weights,
        base,
        ln_likelihood,
    }
}

/// Newton's method with halved steps; `weights`: one a feature.
fn fit_logistic(rows: &[(Vec<usize>, f64, f64)], weights: &mut [f64]) {
    let size = weights.len();
    let value = |w: &[f64]| {
        let fit: f64 = rows
            .iter()
            .map(|(x, n, y)| {
                let eta: f64 = x.iter().map(|&i| w[i]).sum();
                // y·eta − n·ln(1 + e^eta), without overflow.
                y * eta - n * (eta.max(0.0) + (-eta.abs()).exp().ln_1p())
            })
            .sum();
        fit - 0.5 * RIDGE * w.iter().map(|w| w * w).sum::<f64>()
    };
    let mut now = value(weights);
    for _ in 0..40 {
        let mut slope: Vec<f64> = weights.iter().map(|w| -RIDGE * w).collect();
        let mut bend = vec![0.0; size * size];
        (0..size).for_each(|i| bend[i * size + i] = RIDGE);
        for (x, n, y) in rows {
            let eta: f64 = x.iter().map(|&i| weights[i]).sum();
            let p = 1.0 / (1.0 + (-eta).exp());
            let information = n * p * (1.0 - p);
            for &i in x {
                slope[i] += y - n * p;
                for &j in x {
                    bend[i * size + j] += information;
                }
            }
        }
        let Some(step) = solve(bend, slope) else { return };
        let mut part = 1.0;
        loop {
            let tried: Vec<f64> = weights.iter().zip(&step).map(|(w, s)| w + part * s).collect();
            let reached = value(&tried);
            if reached >= now {
                weights.copy_from_slice(&tried);
                if reached - now < DONE {
                    return;
                }
                now = reached;
                break;
            }
            part *= 0.5;
            if part < 1e-6 {
                return;
            }
        }
    }
}

/// Solves the symmetric system `matrix`·x = `right` by elimination; `None` where it is singular.
fn solve(mut matrix: Vec<f64>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let size = right.len();
    for column in 0..size {
        let pivot = (column..size).max_by(|&a, &b| {
            matrix[a * size + column]
                .abs()
                .total_cmp(&matrix[b * size + column].abs())
        })?;
        if matrix[pivot * size + column].abs() < 1e-14 {
            return None;
        }
        if pivot != column {
            (0..size).for_each(|j| matrix.swap(pivot * size + j, column * size + j));
            right.swap(pivot, column);
        }
        for row in column + 1..size {
            let factor = matrix[row * size + column] / matrix[column * size + column];
            if factor != 0.0 {
                (column..size).for_each(|j| matrix[row * size + j] -= factor * matrix[column * size + j]);
                right[row] -= factor * right[column];
            }
        }
    }
    for row in (0..size).rev() {
        let known: f64 = (row + 1..size).map(|j| matrix[row * size + j] * right[j]).sum();
        right[row] = (right[row] - known) / matrix[row * size + row];
    }
    Some(right)
}

/// The best hidden story: keys that bring at least `price` each, one after the other; of those that tell the same, `known`.
pub fn hidden(table: &Table, known: &[usize], price: f64) -> Fitted {
    let mut best = logistic(table, &[]);
    while best.keys.len() < MOST_FEATURES {
        let at = positions(table, &best.keys);
        let mut slope = vec![0.0; table.keys];
        let mut bend = vec![0.0; table.keys];
        for pattern in &table.patterns {
            let who = || table.who(pattern);
            let eta: f64 = best.base + who().filter_map(|k| best.weights.get(at[k])).sum::<f64>();
            let p = 1.0 / (1.0 + (-eta).exp());
            for key in who() {
                slope[key] += pattern.struck - pattern.count * p;
                bend[key] += pattern.count * p * (1.0 - p);
            }
        }
        let next = best_of(table, [&best.keys, known], [&slope, &bend], Story::Hidden);
        let next = first_best(next.into_iter().map(|key| {
            let mut keys = best.keys.clone();
            keys.push(key);
            logistic(table, &keys)
        }));
        match next {
            Some(next) if next.ln_likelihood - best.ln_likelihood >= price => best = next,
            _ => return best,
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Keys of three lines that rise.
    const COLD: u32 = 0;
    const FLU: u32 = 3;
    const MALARIA: u32 = 6;
    const NONE_OF_THEM: u32 = 9;

    #[test]
    fn noisy_or_is_the_textbook_s() {
        // Russell & Norvig, Artificial Intelligence: A Modern Approach, the fever network: causes 0.4, 0.8, 0.9
        // without leak give 0.88, 0.94, 0.98 in pairs and 0.988 together.
        let n = 1e6;
        let table = Table::counted(
            &[
                (&[COLD], n, 0.4 * n),
                (&[FLU], n, 0.8 * n),
                (&[MALARIA], n, 0.9 * n),
                (&[COLD, FLU], n, 0.88 * n),
                (&[COLD, MALARIA], n, 0.94 * n),
                (&[FLU, MALARIA], n, 0.98 * n),
                (&[COLD, FLU, MALARIA], n, 0.988 * n),
                // None of the three: without a leak nothing happens.
                (&[NONE_OF_THEM], 10.0 * n, 0.0),
            ],
            12,
        );
        let fitted = noisy_or(&table, &[0, 3, 6]);
        for (p, known) in fitted.weights.iter().zip([0.4, 0.8, 0.9]) {
            assert!((p - known).abs() < 2e-3, "{fitted:?}");
        }
        assert!(fitted.base < 2e-3, "{fitted:?}");
    }

    #[test]
    fn the_logistic_fit_of_one_key_is_its_share() {
        let table = Table::counted(&[(&[COLD], 200.0, 60.0), (&[FLU], 800.0, 8.0)], 9);
        let fitted = logistic(&table, &[0]);
        let chance = |eta: f64| 1.0 / (1.0 + (-eta).exp());
        assert!((chance(fitted.base) - 0.01).abs() < 1e-3, "{fitted:?}");
        assert!(
            (chance(fitted.base + fitted.weights[0]) - 0.3).abs() < 3e-3,
            "{fitted:?}"
        );
    }

    #[test]
    fn a_culprit_by_itself_is_named_by_both_stories() {
        // Line 0 strikes at 0.3 whether or not line 1 switches as well.
        let table = Table::counted(
            &[
                (&[COLD], 100.0, 30.0),
                (&[COLD, FLU], 200.0, 60.0),
                (&[FLU], 400.0, 0.0),
            ],
            9,
        );
        assert_eq!(captured(&table, &[0], 7.0).keys, vec![0]);
        assert_eq!(hidden(&table, &[], 7.0).keys, vec![0]);
    }

    #[test]
    fn two_that_strike_do_so_more_often_together() {
        // Chances of 0.4 and 0.4 make 0.64 together; of a hidden line with both, 0.4.
        let told = |together: f64| {
            let table = Table::counted(
                &[
                    (&[COLD], 100.0, 40.0),
                    (&[FLU], 100.0, 40.0),
                    (&[COLD, FLU], 100.0, 100.0 * together),
                    (&[NONE_OF_THEM], 1_000.0, 0.0),
                ],
                12,
            );
            one_chance(&table, &[0, 3]) - noisy_or(&table, &[0, 3]).ln_likelihood
        };
        assert!(told(0.64) < -3.0, "{}", told(0.64));
        assert!(told(0.4) > 3.0, "{}", told(0.4));
        // 40·ln 0.4 + 60·ln 0.6.
        let alone = Table::counted(&[(&[COLD], 100.0, 40.0), (&[NONE_OF_THEM], 1_000.0, 0.0)], 12);
        assert!((one_chance(&alone, &[0]) + 67.301_166_700_925_64).abs() < 1e-6);
    }

    #[test]
    fn companions_of_a_hidden_culprit_are_needed_together() {
        // Either line alone is seldom along with the culprit; both together mostly are.
        let table = Table::counted(
            &[
                (&[COLD], 200.0, 4.0),
                (&[FLU], 200.0, 4.0),
                (&[COLD, FLU], 60.0, 40.0),
            ],
            9,
        );
        let price = 7.0;
        let (told, other) = (captured(&table, &[0, 3], price), hidden(&table, &[0, 3], price));
        assert!(other.worth(price) > told.worth(price) + 5.0, "{told:?} {other:?}");
    }

    /// A counter's bit is toggled by the falls of the one before: which of the two stands first in the file tells nothing.
    #[test]
    fn of_two_that_tell_the_same_the_one_that_is_known_is_taken_wherever_it_stands() {
        for [falls, toggled] in [[1, 5], [4, 2]] {
            let other = 6;
            let both = [falls.min(toggled), falls.max(toggled)];
            let with = [both[0], both[1], other];
            let table = Table::counted(
                &[(&both, 60.0, 20.0), (&with, 20.0, 14.0), (&[other], 300.0, 2.0)],
                9,
            );
            let hidden = hidden(&table, &[falls as usize], 5.0);
            assert!(hidden.keys.contains(&(falls as usize)), "{:?}", hidden.keys);
            assert!(!hidden.keys.contains(&(toggled as usize)), "{:?}", hidden.keys);
        }
    }
}
