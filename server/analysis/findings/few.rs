//! Sentences about lines that too few strays follow for an accusation.

use super::coupling::{figures, name, stray_noun, switching};
use super::words::count_of;
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::joined::few::FEWEST_TO_ACCUSE;
use crate::analysis::strays::Strays;
use crate::model::Capture;

/// One finding a coupling of `attribution.few`. `follow`: strays put down to it, of the `all` that are listed at its levels.
pub fn finding(capture: &Capture, strays: &Strays, c: &Coupling, follow: u64, all: u64) -> Finding {
    let victim = name(capture, c.victim);
    let aggressor = name(capture, c.aggressor);
    let noun = stray_noun(strays, c, all);
    let others = all.saturating_sub(follow);
    let rest = match others {
        0 => String::new(),
        n => format!(" {} without it.", come(n)),
    };
    Finding {
        severity: Severity::Warning,
        topic: "coupling",
        lines: vec![victim.clone(), aggressor.clone()],
        title: format!(
            "{victim}: {} of {} follow {}, too few to accuse it",
            follow,
            count_of(all, &noun),
            switching(capture, c.aggressor, c.edge)
        ),
        detail: format!(
            "{}.{rest} Chance hardly makes them meet, but a line without a clip that struck as often, while {aggressor} switched along, looks the same: with fewer than {FEWEST_TO_ACCUSE} strays nobody is accused.",
            figures(capture, c)
        ),
        try_next: vec![
            format!(
                "Capture longer, or repeat the step, until {} of them or more are in hand.",
                2 * FEWEST_TO_ACCUSE
            ),
            format!(
                "Put spare channels on lines that switch along with {aggressor}, and on {victim}'s neighbours in the cable."
            ),
            format!("Lead {aggressor}'s wire away from {victim}, and repeat. {CAUTION}"),
        ],
    }
}

fn come(n: u64) -> String {
    match n {
        1 => "1 comes".to_owned(),
        n => format!("{n} come"),
    }
}
