//! What to do with the change as a whole: one piece of advice, whatever the verdicts on its parts.
//!
//! Only what is told decides: a trouble that got worse by more than luck speaks against the change, one that got better for it,
//! and what is undecided for neither.

use super::judged::{Judged, what};
use crate::analysis::compare::Verdict;

/// Troubles named in the advice; the others are counted.
const NAMED: usize = 3;

/// What a verdict says of the change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Outcome {
    Better,
    /// None since, and too few went by to say that it is gone, or it was away before the change too.
    NoneSoFar,
    Worse,
    /// An earlier condition showed it too.
    Back,
    Same,
    Open,
}

fn outcome(j: &Judged) -> Outcome {
    match j.judgement.verdict {
        // What came and went before the change may have gone by itself.
        Verdict::Gone if !j.is_gone_for_good() => Outcome::NoneSoFar,
        Verdict::Gone | Verdict::Reduced => Outcome::Better,
        Verdict::Worse if j.is_back() => Outcome::Back,
        Verdict::Worse => Outcome::Worse,
        _ if j.is_shallower() => Outcome::Better,
        _ if j.is_deeper() => Outcome::Worse,
        Verdict::Unchanged => Outcome::Same,
        Verdict::Undecided => Outcome::Open,
    }
}

/// What to do with the change, in one to three sentences; empty where no trouble was seen, or no verdict can be given.
pub fn advice(judged: &[Judged]) -> String {
    let seen: Vec<&Judged> = judged
        .iter()
        .filter(|j| j.is_seen() && !j.is_one_recording())
        .collect();
    let of =
        |wanted: Outcome| -> Vec<&Judged> { seen.iter().copied().filter(|j| outcome(j) == wanted).collect() };
    let (better, so_far, worse) = (of(Outcome::Better), of(Outcome::NoneSoFar), of(Outcome::Worse));
    let (back, same, open) = (of(Outcome::Back), of(Outcome::Same), of(Outcome::Open));
    let undecided = match open.is_empty() {
        true => String::new(),
        false => format!(
            " Not to be told yet, and so no ground to undo it: {}.",
            named(&open)
        ),
    };
    let on_trial = match so_far.is_empty() {
        true => String::new(),
        false => format!(" Capture on before you call it mended: {}.", named(&so_far)),
    };
    let gained: Vec<&Judged> = better.iter().chain(&so_far).copied().collect();
    match () {
        () if !gained.is_empty() && !worse.is_empty() => format!(
            "The change does two things. Better by more than luck: {}. Worse by more than luck: {}. Leave it in while you look for \
             what it does to the second; only if that can't be mended, undo it and mend the first another way.{on_trial}",
            named(&gained),
            named(&worse)
        ),
        () if !better.is_empty() => format!(
            "Leave the change in. Better by more than luck: {}.{on_trial}{undecided}",
            named(&better)
        ),
        () if !so_far.is_empty() => {
            format!("Leave the change in for now.{on_trial}{undecided}")
        }
        () if !worse.is_empty() => format!(
            "Undo the change and capture again. Worse by more than luck: {}; if that falls back, the change did it.",
            named(&worse)
        ),
        () if !back.is_empty() => format!(
            "This change need not have brought back what an earlier condition showed too ({}): see first what the two have in common.",
            named(&back)
        ),
        () if !open.is_empty() => {
            "Nothing is better or worse by more than luck: leave the change as it is, and capture on before you judge it.".to_owned()
        }
        () if !same.is_empty() => {
            "The change makes no difference that shows: whether it stays in or not, try the next thing on the findings.".to_owned()
        }
        () => String::new(),
    }
}

/// The troubles, the first of them by name.
fn named(list: &[&Judged]) -> String {
    let mut words: Vec<String> = list.iter().take(NAMED).map(|j| what(j.trouble)).collect();
    match list.len().saturating_sub(NAMED) {
        0 => {}
        1 => words.push("1 more".to_owned()),
        more => words.push(format!("{more} more")),
    }
    words.join("; ")
}
