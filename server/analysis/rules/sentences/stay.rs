//! Sentences on a line that left its level too near to another's edge: each side of the edge has its own limit.

use super::Teller;
use super::limit::edge;
use crate::analysis::rules::tally::{Side, SideTally, Violation};
use crate::model::Level;
use crate::rule::EdgeOf;

/// What the worst of the violations shows, against the limit that it breaks, and how often the rule is broken.
pub(super) fn title(
    teller: &Teller,
    worst: &Violation,
    (line, level): (&str, Level),
    strobe: &EdgeOf,
) -> String {
    let (must, is) = (level.word(), level.inverted().word());
    let edge = edge(strobe);
    let value = worst
        .measured
        .map_or_else(String::new, |(ticks, _)| teller.ticks(ticks as f64));
    let title = match worst.side {
        Some((Side::After, limit)) => format!(
            "{line} goes {is} {value} after {edge}; it must stay {must} for {} after it",
            teller.ticks(limit)
        ),
        Some((Side::Before, limit)) => format!(
            "{line} is {is} until {value} before {edge}; it must be {must} for {} before it",
            teller.ticks(limit)
        ),
        _ => format!("{line} is {is} at {edge}; it must be {must} then"),
    };
    let tally = &teller.result.tally;
    format!("{title} (broken {} of {})", tally.broken, times(tally.checked()))
}

fn times(n: u64) -> String {
    match n {
        1 => "1 time".to_owned(),
        n => format!("{n} times"),
    }
}

/// The counts of each side.
pub(super) fn sides(teller: &Teller) -> String {
    let told = teller.result.tally.sides.iter().map(|side| one(teller, side));
    told.collect()
}

fn one(teller: &Teller, side: &SideTally) -> String {
    let shortest = match side.smallest {
        Some(0) => ", and as the edge came".to_owned(),
        Some(ticks) => format!(", at the shortest {}", teller.ticks(ticks as f64)),
        None => ", and never left its level there".to_owned(),
    };
    format!(
        " {} the edge ({} asked): broken {}, kept {}{shortest}.",
        match side.side {
            Side::Before => "Before",
            _ => "After",
        },
        teller.ticks(side.limit),
        side.broken,
        side.kept
    )
}
