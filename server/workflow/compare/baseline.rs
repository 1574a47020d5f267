//! Which earlier condition a change is judged against where nobody chose one.

use super::judged::{judge_all, sum_over, tally, what};
use crate::analysis::compare::Verdict;
use crate::report::compare::{Tallies, Trouble};

/// An earlier condition that a later one is laid against.
#[derive(Debug, PartialEq)]
pub struct Baseline<'a> {
    /// Its position.
    pub at: usize,
    /// What was last shown there: clean since, by no more than luck. None where the condition just before is taken as it is.
    pub shown: Option<&'a Trouble>,
}

/// The condition to lay that of position `after` against; `conditions` are the runs of each, in their order.
///
/// That is the one before it, unless that one is clean by luck: a trouble that went wrong under an earlier condition did not
/// show there, and no count since shows that it is fewer. Then it is the last condition in which such a trouble was shown, for
/// what mends it would seem to mend nothing beside what never showed it. Where anything was proved to be better or worse in
/// between, that change would be put down to this one: then it stays at the one before. None for the first condition.
///
/// Cost: a comparison of each condition since with the one that is taken.
pub fn baseline<'a>(tallies: &'a Tallies, conditions: &[Vec<usize>], after: usize) -> Option<Baseline<'a>> {
    let before = after.checked_sub(1)?;
    let wrong = |trouble: &Trouble, at: usize| sum_over(trouble, &conditions[at]).wrong > 0;
    let last_shown_at = |at: usize| {
        tallies.troubles.iter().find(|trouble| {
            wrong(trouble, at)
                && !(at + 1..after).any(|later| wrong(trouble, later))
                && sum_over(trouble, &conditions[after]).occasions > 0
        })
    };
    let is_proved = |at: usize, later: usize| {
        let judged = judge_all(tallies, &conditions[at], &conditions[later]);
        judged.iter().any(|j| {
            matches!(
                j.judgement.verdict,
                Verdict::Gone | Verdict::Reduced | Verdict::Worse
            )
        })
    };
    let earlier = (0..before).rev().find_map(|at| {
        let shown = last_shown_at(at)?;
        let stood_still = !(at + 1..after).any(|later| is_proved(at, later));
        stood_still.then_some(Baseline {
            at,
            shown: Some(shown),
        })
    });
    Some(earlier.unwrap_or(Baseline {
        at: before,
        shown: None,
    }))
}

/// Why a condition before the last one was taken: `taken` and `passed` are its name and that of the one just before the
/// change, which counts the runs `since`.
pub fn says_why(trouble: &Trouble, (taken, passed): (&str, &str), since: &[usize]) -> String {
    let sum = sum_over(trouble, since);
    let luck = match sum.occasions {
        0 => format!("nothing went by under \"{passed}\" that could show it"),
        _ => format!(
            "{} under \"{passed}\" may be luck",
            tally(sum.wrong, sum.occasions, trouble.slot_s)
        ),
    };
    format!(
        "Laid against \"{taken}\", where {} was last shown, and not against \"{passed}\": {luck}.",
        what(trouble)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::compare::{OccasionsRow, TroubleKind};

    /// Troubles of one line each, counted (wrong, occasions) under as many conditions of one run.
    fn tallies(troubles: &[&[(u64, u64)]]) -> (Tallies, Vec<Vec<usize>>) {
        let runs = troubles[0].len();
        let trouble = |(at, counts): (usize, &&[(u64, u64)])| Trouble {
            kind: TroubleKind::Limit,
            lines: Vec::new(),
            detail: format!("limit {at}"),
            counts: counts
                .iter()
                .map(|&(wrong, occasions)| OccasionsRow { wrong, occasions })
                .collect(),
            slot_s: None,
            seen: Vec::new(),
        };
        let tallies = Tallies {
            runs: vec![Vec::new(); runs],
            lines: vec![Vec::new(); runs],
            troubles: troubles.iter().enumerate().map(trouble).collect(),
            ..Tallies::default()
        };
        (tallies, (0..runs).map(|run| vec![run]).collect())
    }

    fn at(troubles: &[&[(u64, u64)]]) -> (usize, bool) {
        let (tallies, conditions) = tallies(troubles);
        let taken = baseline(&tallies, &conditions, conditions.len() - 1).unwrap();
        (taken.at, taken.shown.is_some())
    }

    /// Fisher's exact test of 14 of 914 against 0 of 158 gives p = 0.244 (the hypergeometric terms summed in Python's
    /// whole numbers): luck.
    #[test]
    fn a_condition_that_was_clean_by_luck_is_passed_over() {
        assert_eq!(at(&[&[(14, 914), (0, 158), (0, 3000)]]), (0, true));
        // Two of them, and one that could not have shown it.
        assert_eq!(at(&[&[(14, 914), (0, 158), (0, 0), (0, 3000)]]), (0, true));
        // It still shows there.
        assert_eq!(at(&[&[(14, 914), (2, 158), (0, 3000)]]), (1, false));
    }

    #[test]
    fn what_was_proved_in_between_is_not_put_down_to_the_last_change() {
        assert_eq!(at(&[&[(14, 914), (0, 3000), (0, 3000)]]), (1, false));
        assert_eq!(
            at(&[
                &[(14, 914), (0, 158), (0, 3000)],
                &[(400, 900), (0, 900), (0, 900)]
            ]),
            (1, false)
        );
        assert_eq!(
            at(&[
                &[(14, 914), (0, 158), (0, 3000)],
                &[(400, 900), (390, 900), (0, 900)]
            ]),
            (0, true)
        );
    }

    #[test]
    fn what_is_not_watched_any_more_takes_nothing_back() {
        assert_eq!(at(&[&[(14, 914), (0, 158), (0, 0)]]), (1, false));
        let (tallies, conditions) = tallies(&[&[(14, 914), (0, 158)]]);
        assert_eq!(baseline(&tallies, &conditions, 0), None);
    }

    #[test]
    fn it_is_said_which_was_taken_and_why() {
        let (tallies, _) = tallies(&[&[(14, 914), (0, 158), (0, 0)]]);
        let says = |since: usize| says_why(&tallies.troubles[0], ("as found", "reseated"), &[since]);
        assert_eq!(
            says(1),
            "Laid against \"as found\", where \"limit 0\" broken was last shown, and not against \"reseated\": 0 of 158 under \
             \"reseated\" may be luck."
        );
        assert!(says(2).ends_with("nothing went by under \"reseated\" that could show it."));
    }
}
