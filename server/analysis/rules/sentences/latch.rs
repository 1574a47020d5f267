//! Sentences on latches that do not keep, or do not follow.

use super::Teller;
use super::logic::POWER_OFF;
use crate::analysis::findings::{Finding, Severity, count_of};
use crate::analysis::rules::latch::{Held, Instead};
use crate::model::units::seconds;
use crate::rule::Latch;

/// Slips that say something by the level they went to, and so many to the level that the data did not have that the enable can't
/// have brought them (an edge of the data may be a sample off).
const FEWEST_SLIPS: u64 = 6;
const FEWEST_OTHER: u64 = 2;
/// Of the slips, the part that is most of them.
const MOST: f64 = 0.8;

/// The finding of a latch that contradicts its rule; the result says how it went.
pub fn broken(teller: &Teller, latch: &Latch) -> Finding {
    let held = teller
        .result
        .held
        .as_ref()
        .expect("a checked latch has its counts");
    let names = |lines: &[usize]| {
        let names: Vec<&str> = lines.iter().map(|&line| teller.name(line)).collect();
        names.join(" ")
    };
    let (q, d, e) = (names(&held.outputs), names(&held.data), teller.name(held.enable));
    let (open, shut) = (latch.open_at.word(), latch.open_at.inverted().word());
    let slips = held.shut_wrong > 0;
    let mut title = match slips {
        true => format!(
            "{q} changes while {e} is {shut} and should keep it, in {} of {} stretches",
            held.shut_wrong, held.shut
        ),
        false => format!(
            "{q} does not follow {d} while {e} is {open}, in {} of {} stretches",
            held.open_wrong, held.open
        ),
    };
    if let Some(instead) = held.as_if {
        title.push_str(&format!(": as if {}", as_if_words(instead, e, latch)));
    }
    let mut detail = format!(
        "Rule \"{}\". {} While {e} was {open}, {q} did not follow {d} in {} of {} stretches; while it was {shut}, {q} did not keep \
         its level in {} of {}.",
        teller.rule.name,
        teller.counts(),
        held.open_wrong,
        held.open,
        held.shut_wrong,
        held.shut
    );
    if slips {
        detail.push(' ');
        detail.push_str(&slip_words(held.slips, held.to_data, held.to_other, &d));
        if held.after_data > 0 {
            detail.push_str(&format!(
                " {} came within {} of a change of {d}.",
                held.after_data,
                seconds(latch.settle_s)
            ));
        }
        if held.came_back > 0 {
            detail.push_str(&format!(
                " {} went back before {e} opened again: pulses, as strays on a wire are.",
                held.came_back
            ));
        }
    }
    let mut next = next(held, (&q, &d, e), latch);
    next.push(POWER_OFF.to_owned());
    teller.make(Severity::Fault, title, detail, next)
}

/// What the slips went to.
pub fn slip_words(slips: u64, to_data: u64, to_other: u64, data: &str) -> String {
    format!(
        "Of {} {to_data} went to the level that {data} had just then and {to_other} to the other one: an enable that opens for a \
         moment brings only the first kind, and by chance half would be.",
        count_of(slips, "such change")
    )
}

/// What one lasting fault would be, as the end of "as if …".
pub fn as_if_words(instead: Instead, enable: &str, latch: &Latch) -> String {
    match instead {
        Instead::AlwaysOpen => format!("{enable} were always {} at the part", latch.open_at.word()),
        Instead::AlwaysShut => format!(
            "{enable} were always {} at the part, or the output stuck",
            latch.open_at.inverted().word()
        ),
        Instead::OpensAtOther => format!("it opened while {enable} is {}", latch.open_at.inverted().word()),
    }
}

fn next(held: &Held, (q, d, e): (&str, &str, &str), latch: &Latch) -> Vec<String> {
    let shut = latch.open_at.inverted().word();
    match held.as_if {
        Some(Instead::AlwaysOpen | Instead::AlwaysShut) => {
            return vec![format!(
                "Probe {e} at the latch's own pin: the line moves where it was captured, so look for an open pin, socket or joint \
                 between (an open TTL input reads high)."
            )];
        }
        Some(Instead::OpensAtOther) => {
            return vec![
                "Compare the part's type, and the rule's open_at, with the drawing: an enable of the other sense gives just this."
                    .to_owned(),
            ];
        }
        None => {}
    }
    if held.shut_wrong == 0 {
        return vec![format!(
            "Look at {q}, {d} and {e} at the part's own pins with a scope: a slow output, a weak level at the enable, or a settling \
             time that is shorter than the data sheet's."
        )];
    }
    let told = held.to_data + held.to_other;
    let share = |part: u64, of: u64| part as f64 >= MOST * of as f64;
    let mut next = Vec::new();
    let enable_alone = held.to_other < FEWEST_OTHER && told >= FEWEST_SLIPS;
    if held.slips > 0 && share(held.came_back, held.slips) {
        next.push(format!(
            "{q} goes back each time: look for what its wire runs beside, and probe {q} at the latch's own pin. A latch that slipped \
             would stay."
        ));
    } else if enable_alone && share(held.after_data, held.slips) {
        next.push(format!(
            "Measure {e} at the latch's own pin while it should be {shut}: a level that is not surely {shut} there (an open pin, a \
             weak driver, a bad ground) lets changes of {d} through."
        ));
    } else if enable_alone {
        next.push(format!(
            "Look at {e} at the latch's own pin, sampled as finely as you can: a spike that the capture does not show opens the latch \
             for a moment. See what the enable's wire runs beside."
        ));
    } else if held.to_other >= FEWEST_OTHER {
        next.push(format!(
            "{} of {told} went to the level that {d} did not have, so spikes on {e} can't be all of it: capture the part's supply at \
             its own pins, any clear or preset input, and {q} at the part's pin, and look what happens when {q} slips.",
            held.to_other
        ));
    } else {
        next.push(format!(
            "Look at {e}, at any clear or preset input and at the supply at the latch's own pins when {q} slips: a spike on the enable \
             opens it, a dip of the supply makes it forget."
        ));
    }
    next.push(format!("Trigger on {q} while {e} is {shut}."));
    next
}
