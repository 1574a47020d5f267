//! Two contacts that strike each other are one trouble, as they are one finding (`analysis::findings::mutual`): what they share
//! does it both ways, and what mends it mends both.

use super::tally::Looked;
use crate::analysis::coupling::{Coupling, Standing};
use crate::report::compare::{EACH_OTHER, OccasionsRow, SeenRow, Trouble};

/// Victim and aggressor, each way, of the pairs of contacts that a run's findings tell of as striking each other though neither is
/// sure to: each goes along with the other's strays, and no other line does. Cost: pairs of couplings.
pub(super) fn told_as_such(run: &Looked) -> Vec<[usize; 2]> {
    let rows = &run.attribution.couplings;
    let is_contact = |line: usize| run.strays.bursts.iter().any(|burst| burst.line == line);
    let is_only = |row: &Coupling| rows.iter().filter(|other| other.victim == row.victim).count() == 1;
    let goes_along =
        |row: &&Coupling| row.standing == Standing::Companion && is_only(row) && is_contact(row.victim);
    let ways: Vec<[usize; 2]> = rows
        .iter()
        .filter(goes_along)
        .map(|row| [row.victim, row.aggressor])
        .collect();
    let is_answered = |way: &&[usize; 2]| ways.contains(&[way[1], way[0]]);
    ways.iter().filter(is_answered).copied().collect()
}

/// Makes one trouble of the two ways of each pair of contacts, in place of the first of them: what went wrong either way, of the
/// edges of either. `couplings`: those of all runs, and no other troubles. Cost: pairs of couplings × runs.
pub(super) fn join(looked: &[Looked], couplings: &mut Vec<Trouble>) {
    let is_contact = |name: &String| looked.iter().any(|run| run.bounces(name));
    let mut at = 0;
    while at < couplings.len() {
        let ways = couplings[at].lines.clone();
        let is_other_way = |other: &Trouble| other.lines.iter().rev().eq(&ways);
        let other = (at + 1..couplings.len()).find(|&other| is_other_way(&couplings[other]));
        if let Some(other) = other.filter(|_| ways.iter().all(is_contact)) {
            let other = couplings.remove(other);
            let one = &mut couplings[at];
            one.detail = EACH_OTHER.to_owned();
            // In the capture's order, as the finding names them.
            one.lines
                .sort_by_key(|name| looked.iter().find_map(|run| run.capture.line_index(name)));
            one.counts = both(&one.counts, &other.counts, |a, b| OccasionsRow {
                wrong: a.wrong + b.wrong,
                occasions: a.occasions + b.occasions,
            });
            one.seen = both(&one.seen, &other.seen, |a, b| SeenRow {
                // The coarser of the two says what could be missed.
                sampling_s: a.sampling_s.max(b.sampling_s),
                widths: [a.widths.clone(), b.widths.clone()].concat(),
            });
        }
        at += 1;
    }
}

/// Run by run.
fn both<T>(one: &[T], other: &[T], join: impl Fn(&T, &T) -> T) -> Vec<T> {
    one.iter().zip(other).map(|(a, b)| join(a, b)).collect()
}
