//! The rival stories of a table, fitted: lines that strike by themselves, a hidden one, and a dose, and by how much one must win.

use super::dose::{self, Dose};
use super::rival_models::{self, Fitted};
use crate::analysis::coupling::suspects::instants::{Table, key};
use crate::analysis::coupling::{Coupling, Edge};

/// Price of a key in ln likelihood, beyond ln of the number tried.
const PRICE: f64 = 4.0;
/// The hidden story need not win for a doubt: it is enough that it comes this near (ln likelihood, keys paid for).
pub const NEAR: f64 = 6.0;
/// The dose must beat the captured lines by this much; where a single victim shows it, by more: several lines that go along
/// with a hidden one look much the same.
const DOSE_MARGIN: f64 = 6.0;
const DOSE_MARGIN_ALONE: f64 = 14.0;

/// Both stories of a table, fitted.
pub struct Stories {
    pub captured: Fitted,
    pub hidden: Fitted,
    pub price: f64,
}

impl Stories {
    /// Both, fitted to the instants of `table` from the lines of `rows` on. Cost: as of [`rival_models`].
    pub fn of(table: &Table, rows: &[Coupling]) -> Stories {
        let price = PRICE + (keys_seen(table).max(1) as f64).ln();
        Stories {
            captured: rival_models::captured(table, &known_keys(rows), price),
            hidden: rival_models::hidden(table, &known_keys(rows), price),
            price,
        }
    }
}

/// The keys of the rows, each once, ascending.
pub fn known_keys(rows: &[Coupling]) -> Vec<usize> {
    let mut keys: Vec<usize> = rows.iter().map(|r| key(r.aggressor, r.edge)).collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

fn keys_seen(table: &Table) -> usize {
    let mut seen = vec![false; table.keys];
    for pattern in &table.patterns {
        table.who(pattern).for_each(|k| seen[k] = true);
    }
    seen.iter().filter(|s| **s).count()
}

/// By how much (ln likelihood) a dose must beat the other stories.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DoseOf {
    OneVictim,
    SeveralVictims,
    /// Strikes go against their edges and come with others of the kind: it is enough that it comes near.
    Kind,
}

/// One level of a victim, its counts and what was found for it.
pub type OfLevel<'a> = (&'a Table, &'a [Coupling]);

/// ln likelihood, keys paid for, of the best story without a dose: told of all levels at once, or of each by itself. A line lifts
/// what is low by one edge and dips what is high by the other: which level the victim had at an instant is known, and what goes along
/// with it is no dose.
fn best(table: &Table, rows: &[Coupling], levels: &[OfLevel]) -> f64 {
    let worth = |table: &Table, rows: &[Coupling]| {
        let stories = Stories::of(table, rows);
        let hidden = stories.hidden.worth(stories.price);
        hidden.max(stories.captured.worth(stories.price))
    };
    let together = worth(table, rows);
    match levels.len() {
        0 | 1 => together,
        _ => together.max(levels.iter().map(|(table, rows)| worth(table, rows)).sum()),
    }
}

/// The dose that explains a victim's strays better than lines by themselves and than a hidden one, if any.
/// `table`: all levels of the victim, or of several; `rows`: what was found for them; `levels`: each of the victim's levels, if they
/// are one victim's.
pub fn shared(table: &Table, rows: &[Coupling], levels: &[OfLevel], of: DoseOf) -> Option<Dose> {
    let dose = dose::find(table)?;
    let margin = match of {
        DoseOf::OneVictim => DOSE_MARGIN_ALONE,
        DoseOf::SeveralVictims => DOSE_MARGIN,
        DoseOf::Kind => -NEAR,
    };
    // A curve for each level, of the same lines.
    let of_levels = match levels.len() {
        0 | 1 => f64::NEG_INFINITY,
        _ => dose::worth_of_levels(levels.iter().map(|(table, _)| *table), &dose),
    };
    (dose.worth.max(of_levels) > best(table, rows, levels) + margin).then_some(dose)
}

/// The dose of a lead that dips a victim's high level as outputs rise, and lifts its low one as they fall, if that explains both better
/// than lines by themselves and than a hidden one. `table`: both levels; `against`: the same with rises for falls of the low one
/// ([`Table::against`]); `rows`: what was found for them; `levels`: each of them.
pub fn both_ways(table: &Table, against: &Table, rows: &[Coupling], levels: &[OfLevel]) -> Option<Dose> {
    let dose = dose::find(against).filter(|dose| dose.edge == Edge::Rise)?;
    (dose.worth > best(table, rows, levels) + DOSE_MARGIN).then_some(dose)
}

/// By how much (ln likelihood) the best story of these strays alone beats a dose that was found elsewhere, whose lines cost
/// nothing more.
pub fn against(table: &Table, rows: &[Coupling], dose: &Dose) -> f64 {
    let stories = Stories::of(table, rows);
    let best = stories
        .hidden
        .worth(stories.price)
        .max(stories.captured.worth(stories.price));
    best - dose::told(table, dose)
}
