//! Does a captured line strike by itself, or does it only switch along with what strikes?
//!
//! Once suspects are chosen, two stories are told on the same switching instants ([`super::rival_models`]). Where
//! the hidden one fits clearly better nobody is accused: the cause is a line without a probe, or the number of
//! lines that switch at once.

use super::instants::{Instants, Table};
use super::rival_models::{self, Fitted};
use super::select::Victim;
use super::Coupling;

/// Price of a key in ln likelihood beyond ln of the number tried: what the suspects' own selection pays is higher,
/// since an accusation weighs more than a doubt.
const PRICE: f64 = 4.0;
/// By how much (ln likelihood, keys paid for) the hidden story must beat the captured one.
const MARGIN: f64 = 3.0;
/// With fewer strays than this nothing is concluded.
const FEWEST: usize = 4;

/// What the instants say about one victim level.
#[derive(Clone, Debug)]
pub enum Verdict {
    /// Captured lines that strike by themselves explain the strays as well as anything.
    Captured,
    /// The strays depend on who switches in a way that no captured line explains by itself.
    Hidden(Hidden),
}

/// A hidden cause.
#[derive(Clone, Debug)]
pub struct Hidden {
    /// Keys whose switching makes a stray likelier, most telling first.
    pub companions: Vec<usize>,
    /// Gain in ln likelihood over the captured story, keys paid for.
    pub gain: f64,
}

/// Judges one victim level. `rows`: what was found for it so far.
pub fn judge(instants: &Instants, victim: &Victim, rows: &[Coupling], keys: usize, latest: i64) -> Verdict {
    if victim.times.len() < FEWEST {
        return Verdict::Captured;
    }
    let table = Table::of(instants, victim, &homes(instants, victim, rows, latest), keys);
    let known: Vec<usize> = known_keys(rows);
    let tried = instants_keys(&table);
    let price = PRICE + (tried.max(1) as f64).ln();
    let captured = rival_models::captured(&table, &known, price);
    let hidden = rival_models::hidden(&table, &[], price, 0.0);
    if std::env::var("EW_DEBUG").is_ok() {
        for (variant, price, keep) in [(0, 4.0, 12.0), (1, 4.0, 5.0), (1, 4.0, 3.0), (1, 3.0, 4.0)] {
            let price = price + (tried.max(1) as f64).ln();
            let captured = rival_models::captured(&table, &known, price);
            let hidden = rival_models::hidden(&table, if variant == 0 { &[] } else { &known }, price, if variant == 0 { 0.0 } else { keep });
            eprintln!(
                "ROW {{\"victim\":{},\"level\":\"{:?}\",\"strays\":{},\"apart\":{},\"instants\":{},\"patterns\":{},\"price\":{:.2},\"j1\":{:.2},\"k1\":{:?},\"w1\":{:.3?},\"leak\":{:.5},\"j2\":{:.2},\"k2\":{:?},\"w2\":{:.2?},\"b2\":{:.2},\"known\":{:?}}}",
                victim.line, victim.level, victim.times.len(), table.apart, table.totals().0, table.patterns.len(), price,
                captured.worth(price), captured.keys, captured.weights, captured.base,
                hidden.worth(price), hidden.keys, hidden.weights, hidden.base, known
            );
        }
    }
    let gain = hidden.worth(price) - captured.worth(price);
    if gain < MARGIN {
        return Verdict::Captured;
    }
    Verdict::Hidden(Hidden {
        companions: telling(&hidden),
        gain,
    })
}

/// The instant of each stray: that of the edge it was put down to, else the last one that had begun.
fn homes(instants: &Instants, victim: &Victim, rows: &[Coupling], latest: i64) -> Vec<Option<usize>> {
    let mut homes: Vec<Option<usize>> = victim
        .times
        .iter()
        .map(|&t| {
            let i = instants.begun_by(t + victim.unit.ceil() as i64)?;
            (t - instants.last[i] <= latest).then_some(i)
        })
        .collect();
    for strike in rows.iter().flat_map(|r| &r.occurrences) {
        if let Ok(k) = victim.strays.binary_search(&strike.stray) {
            homes[k] = instants.begun_by(strike.at);
        }
    }
    homes
}

fn known_keys(rows: &[Coupling]) -> Vec<usize> {
    let mut keys: Vec<usize> = rows
        .iter()
        .flat_map(|r| r.occurrences.first().map(|o| 2 * r.aggressor + usize::from(o.polarity == crate::model::Polarity::Fall)))
        .collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

fn instants_keys(table: &Table) -> usize {
    let mut seen = vec![false; table.keys];
    for pattern in &table.patterns {
        table.who(pattern).iter().for_each(|&k| seen[k as usize] = true);
    }
    seen.iter().filter(|s| **s).count()
}

fn telling(hidden: &Fitted) -> Vec<usize> {
    let mut keys: Vec<(f64, usize)> = hidden
        .weights
        .iter()
        .zip(&hidden.keys)
        .filter(|(w, _)| **w > 0.0)
        .map(|(w, k)| (*w, *k))
        .collect();
    keys.sort_by(|a, b| b.0.total_cmp(&a.0));
    keys.into_iter().map(|(_, k)| k).collect()
}
