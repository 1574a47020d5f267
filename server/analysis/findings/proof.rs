//! How many repeats without a stray show that a change helped.

use super::words::count_of;
use crate::analysis::compare::{Counts, clean_needed_after};
use crate::analysis::coupling::{Coupling, Edge};

/// How many clean edges show what, with a colon before it: the numbers that the comparison asks for as well. Empty where no
/// number shows it.
pub(super) fn proof(c: &Coupling) -> String {
    let needed = clean_needed_after(Counts {
        strays: c.strays,
        opportunities: c.opportunities,
    });
    let (Some(fewer), Some(gone)) = (needed.fewer, needed.gone) else {
        return String::new();
    };
    let fewer = count_of(fewer, clean_noun(c.edge));
    format!(
        ": {fewer} in a row show that it helped, {gone} that at most a tenth of it is left (each with 95 % confidence)"
    )
}

/// An opportunity of that edge without a stray.
pub(super) fn clean_noun(edge: Edge) -> &'static str {
    match edge {
        Edge::Rise => "clean rise",
        Edge::Fall => "clean fall",
        Edge::Both => "clean edge",
    }
}
