//! Strays and who did them, where widths alone don't decide what is a stray.

use super::{Attribution, CouplingOptions, answers, attribute, crowds, own, whole_pulses};
use crate::analysis::strays::{self, StrayOptions, Strays};
use crate::model::Capture;

/// Strays and their causes: with pulses that are another line's whole pulses ([`whole_pulses`]), with crowds of short pulses
/// that another line brings ([`crowds`]), and without those that are somebody's answer ([`answers`]) or the line's own
/// ([`own`]). Cost: those of [`strays::find`] and [`attribute`], and once more each for every one of these that there is.
pub fn judge(capture: &Capture, options: &StrayOptions, coupling: &CouplingOptions) -> (Strays, Attribution) {
    let mut strays = strays::find(capture, options);
    let whole = whole_pulses::limits(capture, &strays, options);
    let mut with_whole = options.clone();
    if !whole.is_empty() {
        with_whole.taken_over.extend(whole);
        strays = strays::find(capture, &with_whole);
    }
    let options = &with_whole;
    let crowds = crowds::find(capture, &strays, options);
    let settled = crowds::settle(capture, &strays, crowds, options, coupling);
    if !settled.limits.is_empty() {
        let mut options = options.clone();
        options.taken_over.extend(settled.limits);
        strays = strays::find(capture, &options);
    }
    let mut attribution = attribute(capture, &strays, coupling);
    let answers = answers::of(capture, &strays, &attribution);
    if !answers.is_empty() {
        for answer in &answers {
            answers::leave_out(&mut strays, answer, options);
        }
        attribution = attribute(capture, &strays, coupling);
        attribution.answers = answers;
    }
    let own = own::of(capture, &strays, &attribution);
    if !own.is_empty() {
        for own in &own {
            own::leave_out(&mut strays, own, &attribution, options);
        }
        let answers = std::mem::take(&mut attribution.answers);
        attribution = attribute(capture, &strays, coupling);
        attribution.answers = answers;
        attribution.own = own;
    }
    attribution.unsure = settled.unsure;
    (strays, attribution)
}

/// Whether [`judge`] may find other limits than the widths alone give. Cost: linear in strays and in the edges of lines
/// without a limit.
pub fn may_differ(capture: &Capture, strays: &Strays, options: &StrayOptions) -> bool {
    answers::are_possible(capture, strays)
        || own::are_possible(capture, strays)
        || !whole_pulses::limits(capture, strays, options).is_empty()
        || !crowds::find(capture, strays, options).is_empty()
}
