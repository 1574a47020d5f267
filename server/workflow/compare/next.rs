//! What to do about one trouble after its verdict. What to do with the change as a whole is said once (`advice`).

use super::judged::{Judged, amount, share_bound};
use super::says::as_much;
use crate::analysis::compare::clean_needed_after;
use crate::model::units::Bound;
use crate::report::compare::TroubleKind;

/// What to try next, in a sentence or two. Says nothing of keeping or undoing the change.
pub(super) fn what_next(j: &Judged) -> String {
    if let Some(still) = j.still.as_ref() {
        return format!(
            "See first that {still} still works: it never switched in the captures after the change."
        );
    }
    if let Some(line) = j.left_out.as_ref() {
        return format!("See first to the level of {line}, as its finding says, and capture again.");
    }
    if j.is_unlike && !j.is_one_recording() {
        return "See first what differs between the runs of one condition (what was played, how warm it was, which clips sat where); \
                where something was changed between them, name a condition for each. Then capture each as often again."
            .to_owned();
    }
    match j.judgement.verdict.word() {
        "gone" => gone(j),
        _ if j.is_one_recording() => {
            "Capture again under each condition: this recording stands on both sides.".to_owned()
        }
        "reduced" => "It is not the whole of it: try the next thing on the finding.".to_owned(),
        "worse" if j.is_back() => {
            "It was there under an earlier condition too, so this change need not have brought it: what is common to the two?"
                .to_owned()
        }
        "worse" => {
            "See what the change put near these lines or loosened there: a wire beside them, a joint, a connector, a ground."
                .to_owned()
        }
        "unchanged" if j.is_shallower() => shallower().to_owned(),
        "unchanged" => {
            "No difference shows. If the change was meant for this, try the next thing on the finding.".to_owned()
        }
        _ => undecided(j),
    }
}

/// None came after. Names the number that [`crate::analysis::compare::Judgement::opportunities_needed`] holds.
fn gone(j: &Judged) -> String {
    match j.judgement.opportunities_needed {
        Some(n) => format!(
            "Capture on until {} went by in all, {}: if all are clean, at most a tenth of it is left. Until then up to {} may \
             still go wrong.",
            amount(j.trouble, n),
            more(j, n),
            share_bound(j.judgement.after_upper_bound, j.trouble.slot_s, Bound::Upper),
        ),
        None => "Mark the finding as fixed in the bench log.".to_owned(),
    }
}

/// "138 more", or "2.1 s more" of what is counted over time, until so many went by in all.
fn more(j: &Judged, in_all: u64) -> String {
    let more = in_all.saturating_sub(j.after.opportunities);
    match j.trouble.slot_s {
        Some(_) => format!("{} more", amount(j.trouble, more)),
        None => format!("{more} more"),
    }
}

/// It dips as often, and less deep.
fn shallower() -> &'static str {
    "It dips less deep, and still out of its limits: go on that way, with more of it or the next thing on the finding."
}

fn undecided(j: &Judged) -> String {
    let judgement = &j.judgement;
    let (before, after) = (j.before, j.after);
    if before.strays + after.strays == 0 {
        return "It shows on neither side, so these captures can't tell what the change did to it: to see whether it is mended, \
                compare with captures in which it was seen."
            .to_owned();
    }
    if after.opportunities == 0 {
        let clean = match judgement.opportunities_needed {
            Some(n) => format!(
                " {} without one would show that it is fewer.",
                amount(j.trouble, n)
            ),
            None => String::new(),
        };
        return format!(
            "Capture as it is now while the machine does what it did before: nothing went by that could go wrong.{clean}"
        );
    }
    if before.opportunities == 0 {
        return "Capture as it was before while the machine does what it does now: nothing went by that could go wrong."
            .to_owned();
    }
    if after.strays == 0 {
        return match judgement.opportunities_needed {
            Some(n) if n > after.opportunities => {
                let gone = clean_needed_after(before).gone.filter(|gone| *gone > n);
                let gone = gone.map_or(String::new(), |gone| {
                    format!(
                        " {} in all would show that at most a tenth of it is left.",
                        amount(j.trouble, gone)
                    )
                });
                format!(
                    "Capture on as it is now until {} went by in all, {}: if all are clean, it is fewer.{gone}",
                    amount(j.trouble, n),
                    more(j, n)
                )
            }
            _ => "Capture longer under both conditions.".to_owned(),
        };
    }
    if j.is_shallower() {
        return shallower().to_owned();
    }
    let capture_on = match (judgement.needed_at_this_rate, judgement.longer_on_both) {
        (Some(n), _) => format!(
            "It goes on. Capture on as it is now until {} went by in all, {}, to tell at the rate of now whether it got less",
            amount(j.trouble, n),
            more(j, n)
        ),
        (None, Some(by)) => format!(
            "It goes on. Capture {} as much under both conditions to tell the rates of now apart",
            as_much(by)
        ),
        (None, None) => "It goes on about as before".to_owned(),
    };
    format!("{capture_on}; or try the next thing on the finding.{}", hint(j))
}

/// What shows more of it in the same time.
fn hint(j: &Judged) -> &'static str {
    match j.trouble.kind {
        TroubleKind::Coupling | TroubleKind::Stray => {
            " Where few strays show, a finer sampling shows more of them."
        }
        TroubleKind::Rail => {
            " How deep it goes tells sooner than how often: scope it at the board's own supply pins, on a finer scale."
        }
        _ => "",
    }
}
