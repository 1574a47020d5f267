//! Runs of one side that are not alike: one shows all of a trouble, and the others none of it.
//!
//! Counts of a side add up, as if its runs were one. Where the trouble comes and goes between runs of one condition, what made it
//! come or go is not the change alone, and the person is told so.

use super::judged::amount;
use crate::report::compare::{Tallies, Trouble};

/// Where all of them would fall into one run by chance more often than this, nothing is said (no source).
const CHANCE: f64 = 0.01;

/// A sentence on a side of which one run alone shows the trouble, though by chance the others would show it too; `None` where its
/// runs are alike, or that can't be told. `word`: "before" or "after". Cost: linear in the runs.
///
/// # Source
/// Given their sum, counts of one rate fall into a run by its share of the occasions (Przyborowski and Wilenski 1940 for times;
/// for events that are drawn without putting back the chance is smaller still).
pub(super) fn says(tallies: &Tallies, trouble: &Trouble, side: &[usize], word: &str) -> Option<String> {
    let counted = side
        .iter()
        .filter_map(|&run| Some((run, trouble.counts.get(run)?)));
    let counted: Vec<_> = counted.filter(|(_, row)| row.occasions > 0).collect();
    let mut wrong = counted.iter().filter(|(_, row)| row.wrong > 0);
    let (&(run, row), None) = (wrong.next()?, wrong.next()) else {
        return None;
    };
    let all: u64 = counted.iter().map(|(_, row)| row.occasions).sum();
    let others = all - row.occasions;
    let chance = (row.occasions as f64 / all as f64).powf(row.wrong as f64);
    if others == 0 || chance > CHANCE {
        return None;
    }
    let files = tallies.runs.get(run).into_iter().flatten();
    let files: Vec<&str> = files.map(|row| row.file.as_str()).collect();
    let (of, rest) = match counted.len() {
        2 => ("two".to_owned(), "the other".to_owned()),
        n => (n.to_string(), format!("the other {}", n - 1)),
    };
    Some(format!(
        " All {} {word} came in one of the {of} runs ({}), and none in {rest} ({}): what differs between these runs may be what \
         brings it.",
        row.wrong,
        files.join(" with "),
        amount(trouble, others)
    ))
}
