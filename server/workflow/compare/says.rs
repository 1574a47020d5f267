//! A verdict in a sentence: with its counts, and where it is open with what may still be and how much more would tell.

use super::judged::{amount, noun, share_bound, tally, what};
use crate::analysis::compare::{Counts, Judgement, Verdict};
use crate::model::units::{Bound, p_is, seconds, three_digits, three_digits_bound};
use crate::report::compare::{EACH_OTHER, Trouble, TroubleKind};

/// Below it a difference is more than chance alone brings in one comparison.
const CHANCE: f64 = 0.05;

/// What is said of a trouble that both sides could show. `is_known`: an earlier condition showed it too.
pub(super) fn says(
    trouble: &Trouble,
    before: Counts,
    after: Counts,
    (judged, is_known): (&Judgement, bool),
) -> String {
    let (what, slot) = (what(trouble), trouble.slot_s);
    let of = |counts: Counts| tally(counts.strays, counts.opportunities, slot);
    if before.opportunities == 0 || after.opportunities == 0 {
        return no_occasion(trouble, before, after, judged);
    }
    let counts = match slot {
        Some(_) => format!("{} before, {} after", of(before), of(after)),
        None => format!("{} {} before, {} after", of(before), noun(trouble), of(after)),
    };
    let most = share_bound(judged.after_upper_bound, slot, Bound::Upper);
    let bound = match (trouble.kind, slot) {
        (TroubleKind::Coupling, _) if trouble.detail == EACH_OTHER => {
            format!("one now strikes the other at most {most} of the time")
        }
        (TroubleKind::Coupling, _) => format!("it now strikes at most {most} of the time"),
        (_, Some(_)) => format!("at most {most} now"),
        _ => format!("at most {most} of the {} now", noun(trouble)),
    };
    match judged.verdict {
        Verdict::Gone if judged.is_backed => {
            format!("{what}: gone ({counts}); with 95 % confidence {bound}.")
        }
        Verdict::Gone => format!(
            "{what}: none so far ({counts}), and too few went by to call it gone for good: with 95 % confidence {bound}."
        ),
        Verdict::Reduced => format!("{what}: fewer, but not gone ({counts})."),
        Verdict::Worse if before.strays == 0 && is_known => {
            format!("{what}: back again ({counts}), as it was under an earlier condition.")
        }
        Verdict::Worse if before.strays == 0 => format!("{what}: new since the change ({counts})."),
        Verdict::Worse => format!("{what}: worse ({counts})."),
        Verdict::Unchanged if judged.p_value < CHANCE => format!(
            "{what}: no difference shown that is worth the name ({counts}); that the rate was halved is ruled out."
        ),
        Verdict::Unchanged => format!("{what}: no change ({counts}); that the rate was halved is ruled out."),
        Verdict::Undecided if before.strays + after.strays == 0 => {
            format!("{what}: none on either side ({counts}); with 95 % confidence {bound}.")
        }
        Verdict::Undecided => {
            let head = match (before.strays, is_known) {
                (0, true) => "none just before, and seen under an earlier condition",
                (0, false) => "not seen before, but so few may be chance",
                _ => "can't be told yet",
            };
            let may_be = may_be(judged, after.strays);
            format!(
                "{what}: {head} ({counts}); {may_be}{}.",
                wants(trouble, after, judged)
            )
        }
    }
}

/// A side had nothing that could go wrong.
fn no_occasion(trouble: &Trouble, before: Counts, after: Counts, judged: &Judgement) -> String {
    let of = |counts: Counts| tally(counts.strays, counts.opportunities, trouble.slot_s);
    let side = match (before.opportunities, after.opportunities) {
        (0, 0) => "either side",
        (0, _) => "the captures before",
        _ => "the captures after",
    };
    let clean = match judged.opportunities_needed {
        Some(n) => format!("; {} without one would show that it is fewer", amount(trouble, n)),
        None => String::new(),
    };
    format!(
        "{}: can't be compared, {side} had no {} ({} before, {} after){clean}.",
        what(trouble),
        noun(trouble),
        of(before),
        of(after)
    )
}

/// What the rate may have done, by the ends of the ratio's interval. Where they leave out that nothing changed and the exact test
/// does not, that is not ruled out: the test decides, and the nearer end is "as often as before".
fn may_be(judged: &Judgement, strays_after: u64) -> String {
    let times = |value: f64, bound: Bound| three_digits_bound(value, bound);
    let ratio = &judged.ratio;
    let chance = match judged.p_value < CHANCE {
        true => format!(
            "the exact test gives {}, which is not enough where so many rules are compared at once",
            p_is(judged.p_value)
        ),
        false => format!("the exact test gives {}", p_is(judged.p_value)),
    };
    match (ratio.low, ratio.high) {
        (_, Some(high)) if high < 1.0 && strays_after == 0 => {
            format!("it may still come as often as before ({chance})")
        }
        (low, Some(high)) if high < 1.0 => format!(
            "it may come anywhere from {} times as often as before to as often ({chance})",
            times(low, Bound::Lower)
        ),
        (low, Some(high)) if low > 1.0 => format!(
            "it may come anywhere from as often as before ({chance}) to {} times as often",
            times(high, Bound::Upper)
        ),
        (low, None) if low > 1.0 => {
            format!("it may come as often as before ({chance}), or any number of times more often")
        }
        (_, Some(high)) if strays_after == 0 => format!(
            "it may still come up to {} times as often as before",
            times(high, Bound::Upper)
        ),
        (low, Some(high)) => format!(
            "it may come anywhere from {} to {} times as often as before",
            times(low, Bound::Lower),
            times(high, Bound::Upper)
        ),
        (low, None) if low > 0.0 => format!(
            "it may come {} times as often as before or more",
            times(low, Bound::Lower)
        ),
        (_, None) => "how much more often it comes has no bound yet".to_owned(),
    }
}

/// How much more would tell, after what may be.
fn wants(trouble: &Trouble, after: Counts, judged: &Judgement) -> String {
    let more = |n: u64| more_of(trouble, n.saturating_sub(after.opportunities));
    match judged {
        Judgement {
            opportunities_needed: Some(n),
            ..
        } if after.strays == 0 && *n > after.opportunities => {
            format!("; {} without one would show that it is fewer", more(*n))
        }
        Judgement {
            needed_at_this_rate: Some(n),
            ..
        } => format!("; at the rate of now {} would tell", more(*n)),
        Judgement {
            longer_on_both: Some(by),
            ..
        } => format!(
            "; at these rates {} as much on both sides would tell",
            as_much(*by)
        ),
        _ => "; more than a hundred times as much on both sides would be needed to tell".to_owned(),
    }
}

/// So many occasions more: "12 more pulses", or "3.4 s more" of what is counted over time.
fn more_of(trouble: &Trouble, occasions: u64) -> String {
    match trouble.slot_s {
        Some(slot) => format!("{} more", seconds(occasions as f64 * slot)),
        None => format!("{occasions} more {}", noun(trouble)),
    }
}

/// "about 3 times", rounded up to a tenth, or to a whole from ten on.
pub(super) fn as_much(by: f64) -> String {
    let rounded = match by {
        by if by < 10.0 => (by * 10.0).ceil() / 10.0,
        by => by.ceil(),
    };
    format!("about {} times", three_digits(rounded))
}
