//! What is said where the exact test and the interval of the ratio differ, and where nothing was seen.
//!
//! p values and ends by the formulas of Fisher (1935) and of Miettinen and Nurminen (1985), worked out anew in Python: 1 of 100
//! against 7 of 105 gives p = 0.066 and 1.096 to 41.4, 5 of 90 against none of 70 p = 0.068 and 0 to 0.964, none of 50 against 5
//! of 60 p = 0.062 and from 1.12 on.

use edgewitness::report::compare::{OccasionsRow, Tallies, Trouble, TroubleKind};
use edgewitness::workflow::compare::judge_all;

/// What is said, and what comes next, of a rule broken (so often, of so many) before and after.
fn told(before: (u64, u64), after: (u64, u64)) -> (String, String) {
    let counts = [before, after].map(|(wrong, occasions)| OccasionsRow { wrong, occasions });
    let tallies = Tallies {
        runs: vec![Vec::new(); 2],
        lines: vec![Vec::new(); 2],
        troubles: vec![Trouble {
            kind: TroubleKind::Loss,
            lines: vec!["OUT".to_owned(), "IN".to_owned()],
            detail: String::new(),
            counts: counts.into(),
            slot_s: None,
            seen: Vec::new(),
        }],
        ..Tallies::default()
    };
    let judged = &judge_all(&tallies, &[0], &[1])[0];
    assert_eq!(judged.judgement.verdict.word(), "undecided");
    (judged.says.clone(), judged.next())
}

#[test]
fn what_cant_be_told_yet_may_be_as_often_as_before() {
    let (says, _) = told((1, 100), (7, 105));
    assert!(
        says.contains("it may come anywhere from as often as before (the exact test gives p = 0.066) to 41.4 times as often"),
        "{says}"
    );
    let (says, _) = told((5, 90), (0, 70));
    assert!(
        says.contains("it may still come as often as before (the exact test gives p = 0.068)"),
        "{says}"
    );
    let (says, _) = told((0, 50), (5, 60));
    assert!(
        says.contains("it may come as often as before (the exact test gives p = 0.062), or any number of times more often"),
        "{says}"
    );
    // Where the interval holds "as before" it is said as it is.
    let (says, _) = told((4, 90), (0, 70));
    assert!(
        says.contains("it may still come up to 1.21 times as often as before"),
        "{says}"
    );
}

#[test]
fn what_neither_side_shows_is_not_told_as_done() {
    let (says, next) = told((0, 90), (0, 70));
    assert!(says.contains("none on either side"), "{says}");
    assert!(
        next.contains("compare with captures in which it was seen") && !next.contains("Nothing to do"),
        "{next}"
    );
}
