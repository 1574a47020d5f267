//! Dose: strays that grow likelier with the number of lines that switch at once.
//!
//! Outputs of one board share a supply or ground lead; its inductance lifts or dips the whole board by n·L·di/dt
//! (Johnson & Graham, High-Speed Digital Design, 1993, chapter 2). One line alone then does nothing and all
//! together do much, which is more than lines that strike by themselves can do: those follow a noisy-OR, whose
//! chance grows by less with each further line.

use super::rival_models::{ln_binomial, noisy_or};
use crate::analysis::coupling::suspects::instants::{Table, key, line_of};
use crate::analysis::coupling::{DosePoint, Edge};
use crate::analysis::stats::fisher::fisher;

/// Fewest lines that make a dose.
const FEWEST_LINES: usize = 3;
/// Gain in ln likelihood that a line must bring to be counted, among so many that may be chosen from; among more of them
/// some do by chance, the best of n by about ln n.
const LINE_PRICE: f64 = 1.5;
const LINES_PRICED: f64 = 16.0;
/// Chance at or below which more lines at once strike more often than fewer.
const DOSE_CHANCE: f64 = 1e-3;
/// Price of each step of the curve.
const STEP_PRICE: f64 = 2.0;
/// Lines looked at: those that go with the strays most.
const LINES_TRIED: usize = 60;
/// Price of a strike probability that is fitted for a line by itself (Akaike 1974).
const PARAMETER: f64 = 1.0;
/// The curve must beat lines that strike by themselves by this much.
const BEYOND_SINGLE: f64 = 3.0;

/// Lines whose number matters, and how.
#[derive(Clone, Debug)]
pub struct Dose {
    pub lines: Vec<usize>,
    pub edge: Edge,
    /// ln likelihood less the price of lines and steps.
    pub worth: f64,
    pub curve: Vec<DosePoint>,
}

/// The best dose of a table, if one fits better than the same lines by themselves.
pub fn find(table: &Table) -> Option<Dose> {
    [Edge::Both, Edge::Rise, Edge::Fall]
        .into_iter()
        .filter_map(|edge| grown(table, edge))
        .filter(|d| independent(table, d) >= FEWEST_LINES && does_more(d) && is_beyond_single(table, d))
        .max_by(|a, b| a.worth.total_cmp(&b.worth))
}

/// What a line costs: more where there are more to choose from.
fn line_price(table: &Table) -> f64 {
    let lines = (table.keys / 3) as f64;
    LINE_PRICE + (lines / LINES_PRICED).ln().max(0.0)
}

/// A line that switches at so large a share of the moments of the others counts them; it adds nothing.
const AT_ALL: f64 = 0.85;

/// How many of the dose's lines do not switch at (nearly) all moments at which any other does: a clock, and what it
/// toggles, go with whatever it latches.
fn independent(table: &Table, dose: &Dose) -> usize {
    let rows = rows(table, dose.edge, &dose.lines);
    let mut left = (1u64 << dose.lines.len()) - 1;
    loop {
        let is_clock = |&i: &usize| {
            let others = rows.iter().filter(|row| row.0 & left & !(1 << i) != 0);
            let (mut all, mut with) = (0.0, 0.0);
            for &(mask, count, _) in others {
                all += count;
                with += if mask & (1 << i) != 0 { count } else { 0.0 };
            }
            with >= AT_ALL * all
        };
        match bits(left).find(is_clock) {
            Some(clock) if left.count_ones() > 1 => left &= !(1 << clock),
            _ => return left.count_ones() as usize,
        }
    }
}

/// Whether more of the lines at once strike more often than fewer, by Fisher's exact test over the number that parts them
/// best, all numbers tried allowed for (Bonferroni): without that there is no dose, whatever else the lines tell. Where
/// always as many switch, moments without any stand in.
fn does_more(dose: &Dose) -> bool {
    let sum = |range: std::ops::Range<usize>| {
        let points = dose.curve.iter().filter(|point| range.contains(&point.switched));
        // A pattern may stand for more strikes than instants where strays crowd.
        points.fold((0, 0), |(n, y), point| {
            (n + point.instants, y + point.strays.min(point.instants))
        })
    };
    let most = dose.curve.iter().map(|point| point.switched).max().unwrap_or(0);
    // Lines of which never two switch at once share nothing that tells.
    if most < 2 {
        return false;
    }
    let parts = |from: usize, at: usize| (sum(at..most + 1), sum(from..at));
    let mut splits: Vec<_> = (2..=most).map(|at| parts(1, at)).collect();
    splits.retain(|(many, few)| many.0 > 0 && few.0 > 0);
    if splits.is_empty() {
        splits.push(parts(0, 1));
    }
    let tried = splits.len() as f64;
    let rises = |(many, few): &((u64, u64), (u64, u64))| {
        fisher(many.1, many.0, few.1, few.0).greater() * tried <= DOSE_CHANCE
    };
    splits.iter().any(rises)
}

/// Share of the strays that come where two and more of the lines switch.
const AT_TWO: f64 = 0.5;

/// Whether a curve is one of a dose that does most of the harm: two and more lines at once strike more often than one, and bring most
/// strays.
pub fn is_plain(curve: &[DosePoint]) -> bool {
    let sum = |range: std::ops::Range<usize>| {
        let points = curve.iter().filter(|point| range.contains(&point.switched));
        points.fold((0.0, 0.0), |(n, y), point| {
            (n + point.instants as f64, y + point.strays as f64)
        })
    };
    let (one, more, all) = (sum(1..2), sum(2..usize::MAX), sum(0..usize::MAX));
    let rate = |(count, strays): (f64, f64)| strays / f64::max(count, 1.0);
    rate(more) > rate(one) && more.1 >= AT_TWO * all.1
}

/// Whether the lines together do more than each by itself would.
fn is_beyond_single(table: &Table, dose: &Dose) -> bool {
    let keys: Vec<usize> = dose
        .lines
        .iter()
        .flat_map(|&l| match dose.edge {
            Edge::Both => vec![key(l, Edge::Rise), key(l, Edge::Fall)],
            edge => vec![key(l, edge)],
        })
        .collect();
    let single = noisy_or(table, &keys);
    let together = dose.worth + line_price(table) * dose.lines.len() as f64;
    together > single.worth(PARAMETER) + BEYOND_SINGLE
}

/// Lines that are all taken to begin with, in one of two tries.
const TAKEN_FIRST: usize = 16;

/// The lines whose number tells most: grown from none, and pared down from those that go with the strays most. Outputs of
/// one board that are latched together each tell little beyond the others; starting with all of them finds them.
fn grown(table: &Table, edge: Edge) -> Option<Dose> {
    let price = line_price(table);
    let candidates = candidates(table, edge);
    let rows = rows(table, edge, &candidates);
    let worth = |chosen: u64| steps(&counted(&rows, chosen)).0 - price * f64::from(chosen.count_ones());
    let all = (1u64 << candidates.len().min(TAKEN_FIRST)) - 1;
    let from_none = pared(added(0, candidates.len(), worth), worth);
    let from_all = pared(added(pared(all, worth), candidates.len(), worth), worth);
    let chosen = match worth(from_all) > worth(from_none) {
        true => from_all,
        false => from_none,
    };
    let lines: Vec<usize> = bits(chosen).map(|i| candidates[i]).collect();
    (!lines.is_empty()).then(|| measured(table, &lines, edge))
}

/// `chosen` with the lines (bits, of `count`) that make it worth more, the best one first.
fn added(mut chosen: u64, count: usize, worth: impl Fn(u64) -> f64) -> u64 {
    loop {
        let free = (0..count).filter(|i| chosen & (1 << i) == 0);
        let best = free
            .map(|i| (worth(chosen | 1 << i), i))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((more, i)) if more >= worth(chosen) => chosen |= 1 << i,
            _ => return chosen,
        }
    }
}

/// `chosen` without the lines without which it is worth more, the worst one first.
fn pared(mut chosen: u64, worth: impl Fn(u64) -> f64) -> u64 {
    loop {
        let worst = bits(chosen)
            .map(|i| (worth(chosen & !(1 << i)), i))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match worst {
            Some((more, i)) if more > worth(chosen) => chosen &= !(1 << i),
            _ => return chosen,
        }
    }
}

fn bits(mask: u64) -> impl Iterator<Item = usize> {
    (0..64).filter(move |i| mask & (1 << i) != 0)
}

/// The dose of given lines.
pub fn measured(table: &Table, lines: &[usize], edge: Edge) -> Dose {
    let counts = counted(&rows(table, edge, lines), u64::MAX);
    Dose {
        lines: lines.to_vec(),
        edge,
        worth: steps(&counts).0 - line_price(table) * lines.len() as f64,
        curve: counts
            .iter()
            .enumerate()
            .filter(|(_, (n, _))| *n > 0.0)
            .map(|(switched, (n, y))| DosePoint {
                switched,
                instants: *n as u64,
                strays: *y as u64,
            })
            .collect(),
    }
}

/// ln likelihood that a table gives the best curve over the number of the dose's lines that switched, its steps paid for.
pub fn told(table: &Table, dose: &Dose) -> f64 {
    steps(&counted(&rows(table, dose.edge, &dose.lines), u64::MAX)).0
}

/// What a dose is worth where each of these tables has a curve of its own.
pub fn worth_of_levels<'a>(tables: impl Iterator<Item = &'a Table>, dose: &Dose) -> f64 {
    let mut price = 0.0;
    let fit: f64 = tables
        .map(|table| {
            price = line_price(table);
            told(table, dose)
        })
        .sum();
    fit - price * dose.lines.len() as f64
}

/// Lines that go with the strays, most telling first.
fn candidates(table: &Table, edge: Edge) -> Vec<usize> {
    let (count, struck) = table.totals();
    let mean = struck / count.max(1.0);
    let mut slope = vec![0.0; table.keys];
    let mut bend = vec![0.0; table.keys];
    for pattern in &table.patterns {
        for k in table.who(pattern) {
            slope[k] += pattern.struck - pattern.count * mean;
            bend[k] += pattern.count * mean * (1.0 - mean);
        }
    }
    let mut lines: Vec<(f64, usize)> = (0..table.keys)
        .filter(|&k| k % 3 == key(0, edge) && slope[k] > 0.0 && bend[k] > 1e-9)
        .map(|k| (slope[k] * slope[k] / bend[k], line_of(k)))
        .collect();
    lines.sort_by(|a, b| b.0.total_cmp(&a.0));
    lines.truncate(LINES_TRIED);
    lines.into_iter().map(|(_, line)| line).collect()
}

/// For each pattern: which of `lines` (at most 64, by position) did `edge`; how many instants; how many struck.
fn rows(table: &Table, edge: Edge, lines: &[usize]) -> Vec<(u64, f64, f64)> {
    let mut position = vec![usize::MAX; table.keys];
    lines
        .iter()
        .enumerate()
        .for_each(|(i, &l)| position[key(l, edge)] = i);
    let mut rows: std::collections::BTreeMap<u64, (f64, f64)> = std::collections::BTreeMap::new();
    for pattern in &table.patterns {
        let mask = table
            .who(pattern)
            .filter(|&k| position[k] < 64)
            .fold(0u64, |mask, k| mask | 1 << position[k]);
        let row = rows.entry(mask).or_default();
        row.0 += pattern.count;
        row.1 += pattern.struck;
    }
    rows.into_iter().map(|(mask, (n, y))| (mask, n, y)).collect()
}

/// Instants and struck ones by how many of the chosen lines switched.
fn counted(rows: &[(u64, f64, f64)], chosen: u64) -> Vec<(f64, f64)> {
    let mut counts = Vec::new();
    for &(mask, n, y) in rows {
        let switched = (mask & chosen).count_ones() as usize;
        if counts.len() <= switched {
            counts.resize(switched + 1, (0.0, 0.0));
        }
        counts[switched].0 += n;
        counts[switched].1 += y;
    }
    counts
}

/// ln likelihood of the best rising curve through the counts, its steps paid for, and the curve's levels (pool
/// adjacent violators; Barlow, Bartholomew, Bremner, Brunk 1972).
fn steps(counts: &[(f64, f64)]) -> (f64, Vec<(f64, f64)>) {
    let mut pools: Vec<(f64, f64)> = Vec::new();
    for &(n, y) in counts.iter().filter(|c| c.0 > 0.0) {
        pools.push((n, y));
        while let [.., a, b] = pools.as_slice() {
            if a.1 / a.0 < b.1 / b.0 {
                break;
            }
            let joined = (a.0 + b.0, a.1 + b.1);
            pools.truncate(pools.len() - 2);
            pools.push(joined);
        }
    }
    let fit: f64 = pools.iter().map(|(n, y)| ln_binomial(*y, *n, y / n)).sum();
    (fit - STEP_PRICE * (pools.len() as f64 - 1.0).max(0.0), pools)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rising_curve_pools_what_falls() {
        let (_, pools) = steps(&[(10.0, 1.0), (10.0, 0.0), (10.0, 5.0)]);
        assert_eq!(pools, vec![(20.0, 1.0), (10.0, 5.0)]);
    }

    /// Counts at instants at which so many of four lines switched, each set of lines alike.
    fn table(chance: impl Fn(u32) -> f64) -> Table {
        let sets: Vec<Vec<u32>> = (1u32..16)
            .map(|set| {
                let lines = (0..4u32).filter(|l| set & (1 << l) != 0);
                lines.flat_map(|l| [3 * l, 3 * l + 2]).collect()
            })
            .collect();
        let rows: Vec<(&[u32], f64, f64)> = sets
            .iter()
            .map(|who| {
                (
                    who.as_slice(),
                    40.0,
                    (40.0 * chance(who.len() as u32 / 2)).round(),
                )
            })
            .collect();
        Table::counted(&rows, 12)
    }

    #[test]
    fn strays_that_need_several_lines_at_once_are_a_dose() {
        let dose = find(&table(|n| [0.0, 0.0, 0.1, 0.5, 0.9][n as usize])).expect("a dose");
        assert_eq!(dose.lines.len(), 4);
        let strays: Vec<u64> = dose.curve.iter().map(|p| p.strays).collect();
        assert_eq!(strays, vec![0, 24, 80, 36]);
    }

    /// What chance makes of one stray in a thousand instants, with two lines at once now and then.
    #[test]
    fn without_more_strikes_of_more_lines_there_is_no_dose() {
        let curve = |counts: &[(usize, u64, u64)]| Dose {
            lines: vec![0, 1, 2],
            edge: Edge::Rise,
            worth: 0.0,
            curve: counts
                .iter()
                .map(|&(switched, instants, strays)| DosePoint {
                    switched,
                    instants,
                    strays,
                })
                .collect(),
        };
        assert!(!does_more(&curve(&[(1, 10_124, 12), (2, 187, 0)])));
        assert!(!does_more(&curve(&[
            (1, 1000, 13),
            (2, 300, 11),
            (3, 200, 5),
            (4, 90, 2),
            (5, 40, 0)
        ])));
        assert!(does_more(&curve(&[
            (0, 9000, 3),
            (1, 1000, 0),
            (2, 300, 1),
            (3, 200, 15),
            (4, 90, 40)
        ])));
        assert!(
            !does_more(&curve(&[(0, 500, 10), (1, 500, 10)])),
            "never two at once"
        );
    }

    #[test]
    fn all_outputs_of_a_lead_are_found_though_none_tells_much_alone() {
        // Five outputs that switch independently at 45 of a hundred latches; each beyond the second brings a stray to a tenth.
        let rows: Vec<(Vec<u32>, f64, f64)> = (0u32..32)
            .map(|set| {
                let who: Vec<u32> = (0..5u32).filter(|l| set & (1 << l) != 0).map(|l| 3 * l).collect();
                let switched = who.len();
                let count =
                    (120.0 * 0.45f64.powi(switched as i32) * 0.55f64.powi(5 - switched as i32)).round();
                (
                    who,
                    count,
                    (0.1 * count * switched.saturating_sub(2) as f64).round(),
                )
            })
            .collect();
        let rows: Vec<(&[u32], f64, f64)> = rows.iter().map(|(w, n, y)| (w.as_slice(), *n, *y)).collect();
        let dose = find(&Table::counted(&rows, 15)).expect("a dose");
        assert_eq!(dose.lines.len(), 5);
    }

    #[test]
    fn a_clock_that_goes_with_every_line_adds_nothing() {
        let of = |lines: &[usize]| {
            let rows: Vec<(Vec<u32>, f64, f64)> = (1u32..8)
                .map(|set| {
                    let mut who: Vec<u32> =
                        (0..3u32).filter(|l| set & (1 << l) != 0).map(|l| 3 * l).collect();
                    who.push(9);
                    (who, 40.0, 4.0)
                })
                .collect();
            let rows: Vec<(&[u32], f64, f64)> = rows.iter().map(|(w, n, y)| (w.as_slice(), *n, *y)).collect();
            let table = Table::counted(&rows, 12);
            independent(&table, &measured(&table, lines, Edge::Rise))
        };
        assert_eq!(of(&[0, 1, 2]), 3);
        assert_eq!(of(&[0, 1, 3]), 2);
        assert_eq!(of(&[0, 1, 2, 3]), 3);
    }

    #[test]
    fn lines_that_strike_by_themselves_are_none() {
        assert!(find(&table(|n| 1.0 - 0.7f64.powi(n as i32))).is_none());
    }

    #[test]
    fn a_dose_does_most_of_the_harm_and_more_together_than_one_line() {
        let curve = |points: &[(usize, u64, u64)]| -> Vec<DosePoint> {
            let point = |&(switched, instants, strays): &(usize, u64, u64)| DosePoint {
                switched,
                instants,
                strays,
            };
            points.iter().map(point).collect()
        };
        assert!(is_plain(&curve(&[
            (0, 900, 1),
            (1, 200, 4),
            (2, 60, 12),
            (3, 20, 15)
        ])));
        // One line by itself brings them.
        assert!(!is_plain(&curve(&[(1, 1_311, 252), (2, 315, 0), (3, 3, 0)])));
        // Most come where none switches.
        assert!(!is_plain(&curve(&[
            (0, 5_687, 313),
            (1, 533, 0),
            (2, 154, 27),
            (3, 38, 6)
        ])));
    }
}
