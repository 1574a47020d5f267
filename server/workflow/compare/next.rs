//! What to do after a verdict.

use super::judged::{Judged, amount, share_bound};
use crate::analysis::stats::intervals::CONFIDENCE;
use crate::analysis::stats::power::clean_opportunities;
use crate::model::units::Bound;

/// What to try next, in a sentence.
pub(super) fn what_next(j: &Judged) -> String {
    if let Some(still) = j.still.as_ref() {
        return format!(
            "See first that {still} still works: it never switched in the captures after the change."
        );
    }
    if let Some(line) = j.left_out.as_ref() {
        return format!("See first to the level of {line}, as its finding says, and capture again.");
    }
    let next = match j.judgement.verdict.word() {
        "gone" => match more_to_be_sure(j) {
            Some(more) => {
                return format!(
                    "Leave the change in. So few went by that up to {} may still go wrong: capture on until {} more did; if \
                     all are clean, at most a tenth of it is left.",
                    share_bound(j.judgement.after_upper_bound, j.trouble.slot_s, Bound::Upper),
                    amount(j.trouble, more)
                );
            }
            None => "Leave the change in, and mark the finding as fixed in the bench log.",
        },
        _ if j.is_one_recording() => {
            "Capture again under each condition: this recording stands on both sides."
        }
        "reduced" => {
            "It helped, and is not the whole of it: keep the change and try the next thing on the finding."
        }
        "worse" if j.is_new() => {
            "The change may have brought this: undo it and capture again, to see whether it goes."
        }
        "worse" if j.is_back() => {
            "It was there under an earlier condition too, so this change need not have brought it: what is common to the two?"
        }
        "worse" => "Undo the change and capture again: if this falls back, the change does harm.",
        _ if j.judgement.may_be_worse() && j.before.strays > 0 => {
            "It is no better, and may be worse: undo the change, or capture on to see which, and try the next thing on the finding."
        }
        "unchanged" => {
            "No difference shows. If the change was meant for this, try the next thing on the finding."
        }
        _ if j.before.strays + j.after.strays == 0 => "Nothing to do.",
        _ if j.after.opportunities == 0 => {
            "Capture as it is now while the machine does what it did before: nothing went by that could go wrong."
        }
        _ if j.before.opportunities == 0 => {
            "Capture as it was before while the machine does what it does now: nothing went by that could go wrong."
        }
        _ if j.after.strays > 0 => match j.judgement.needed_at_this_rate {
            Some(n) => {
                return format!(
                    "It goes on. At the rate of now {} more would tell whether it got less: capture on that long, or try the next thing on \
                     the finding.",
                    amount(j.trouble, n - j.after.opportunities)
                );
            }
            None => {
                "It goes on about as before: try the next thing on the finding. Where few strays show, a finer sampling shows more of them."
            }
        },
        _ => match j.judgement.opportunities_needed {
            Some(n) if n > j.after.opportunities => {
                return format!(
                    "Capture on as it is now until {} more went by: if all are clean, it is settled.",
                    amount(j.trouble, n - j.after.opportunities)
                );
            }
            _ => "Capture longer under both conditions.",
        },
    };
    next.to_owned()
}

/// How many more clean occasions show that at most a tenth of the rate before is left; `None` where that is shown. A
/// tenth: common practice, no source.
fn more_to_be_sure(j: &Judged) -> Option<u64> {
    const LEFT: f64 = 0.1;
    let before = j.before.strays as f64 / j.before.opportunities.max(1) as f64;
    let needed = clean_opportunities(before * LEFT, CONFIDENCE)?;
    Some(needed.saturating_sub(j.after.opportunities)).filter(|more| *more > 0)
}
