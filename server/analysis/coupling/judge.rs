//! Strays and who did them, where widths alone don't decide what is a stray.

use crate::analysis::coupling::in_volts::heights;
use crate::analysis::coupling::joined::each_other;
use crate::analysis::coupling::legitimate::answering;
use crate::analysis::coupling::legitimate::answers;
use crate::analysis::coupling::legitimate::begun_late;
use crate::analysis::coupling::legitimate::crowds;
use crate::analysis::coupling::legitimate::crowds_settled;
use crate::analysis::coupling::legitimate::echo;
use crate::analysis::coupling::legitimate::majority;
use crate::analysis::coupling::legitimate::mirrored;
use crate::analysis::coupling::legitimate::own;
use crate::analysis::coupling::legitimate::set_off;
use crate::analysis::coupling::legitimate::slices;
use crate::analysis::coupling::legitimate::taken_out;
use crate::analysis::coupling::legitimate::whole_pulses;
use crate::analysis::coupling::{Attribution, CouplingOptions, attribute};
use crate::analysis::strays::{self, StrayKind, StrayOptions, Strays};
use crate::model::{Capture, Level};

/// Strays and their causes: with crowds of short pulses that another line brings ([`crowds`]), those of hand controls that set
/// each other off ([`each_other`]) and those that an accused line's other edges bring ([`mirrored`]), and without those that are
/// somebody's answer ([`answers`]) or the line's own ([`own`], [`begun_late`]) or most of what it shows ([`majority`]); with what
/// stays open, whole pulses of another line among it ([`whole_pulses`]). Cost: those of [`strays::find`] and [`attribute`], and once more each for crowds, answers and own
/// pulses where there are any.
pub fn judge(capture: &Capture, options: &StrayOptions, coupling: &CouplingOptions) -> (Strays, Attribution) {
    let find = |options: &StrayOptions| {
        let mut strays = strays::find(capture, options);
        answering::exchange(capture, &mut strays);
        let mut told = set_off::of(capture, &strays);
        told.retain(|own| may_be_its_job(capture, &strays, own.line, own.level));
        for own in &told {
            taken_out::leave_out(capture, &mut strays, own, &Attribution::default(), options);
        }
        (strays, told)
    };
    let (mut strays, mut told) = find(options);
    let crowds = crowds::find(capture, &strays, options);
    let settled = crowds_settled::settle(capture, &strays, crowds, options, coupling);
    let mut with_limits = options.clone();
    let mut limits = each_other::limits(capture, &strays, options);
    limits.extend(settled.limits);
    if !limits.is_empty() {
        with_limits.taken_over.extend(limits);
        (strays, told) = find(&with_limits);
    }
    let mut attribution = attribute(capture, &strays, coupling);
    let mirrored = mirrored::limits(capture, &strays, &attribution, options);
    if !mirrored.is_empty() {
        with_limits.taken_over.extend(mirrored);
        (strays, told) = find(&with_limits);
        attribution = attribute(capture, &strays, coupling);
    }
    let mut answers = answers::of(capture, &strays, &attribution);
    answers.retain(|answer| may_be_its_job(capture, &strays, answer.line, answer.level));
    if !answers.is_empty() {
        for answer in &answers {
            answers::leave_out(&mut strays, answer, options);
        }
        attribution = attribute(capture, &strays, coupling);
        attribution.answers = answers;
    }
    let mut own = own::of(capture, &strays, &attribution);
    let late = begun_late::of(capture, &strays, &attribution).into_iter();
    let is_new = |late: &own::Own| !own.iter().any(|o| (o.line, o.level) == (late.line, late.level));
    let late: Vec<own::Own> = late.filter(is_new).collect();
    own.extend(late);
    own.retain(|own| may_be_its_job(capture, &strays, own.line, own.level));
    if !own.is_empty() {
        for own in &own {
            taken_out::leave_out(capture, &mut strays, own, &attribution, options);
        }
        let answers = std::mem::take(&mut attribution.answers);
        attribution = attribute(capture, &strays, coupling);
        attribution.answers = answers;
        attribution.own = own;
    }
    let mut asked = majority::of(capture, &strays, &attribution, options);
    asked.retain(|u| may_be_its_job(capture, &strays, u.crowd.line, u.crowd.level));
    if !asked.is_empty() {
        for unsure in &asked {
            majority::leave_out(&mut strays, unsure, options);
        }
        let (answers, own) = (attribution.answers, attribution.own);
        attribution = attribute(capture, &strays, coupling);
        (attribution.answers, attribution.own) = (answers, own);
    }
    attribution.own.splice(0..0, told);
    let whole = whole_pulses::find(capture, &strays, options);
    attribution.unsure = settled.unsure;
    attribution.unsure.extend(asked);
    for one in whole {
        let is_told = |u: &crowds::Unsure| (u.crowd.line, u.crowd.level) == (one.crowd.line, one.crowd.level);
        if !attribution.unsure.iter().any(is_told) {
            attribution.unsure.push(one);
        }
    }
    slices::exchange(capture, &mut strays, &attribution);
    echo::tell(capture, &strays, &mut attribution);
    attribution.each_other = each_other::of(capture, &strays, &attribution);
    (strays, attribution)
}

/// Whether the narrow pulses of a line and level may be what it is there for: its volts go the whole way, as far as they are known.
fn may_be_its_job(capture: &Capture, strays: &Strays, line: usize, level: Level) -> bool {
    let pulses = strays.of_line(line).iter();
    !heights::are_partial(
        capture,
        line,
        level,
        pulses.filter(|s| s.kind == StrayKind::Pulse),
    )
}

/// Whether [`judge`] may find other limits than the widths alone give. Cost: linear in strays and in the edges of lines
/// without a limit.
pub fn may_differ(capture: &Capture, strays: &Strays, options: &StrayOptions) -> bool {
    let mut lines = 0..capture.lines.len();
    answers::are_possible(capture, strays)
        || answering::are_possible(capture, strays)
        || lines.any(|line| mirrored::is_open(strays, options, line))
        || own::are_possible(capture, strays)
        || majority::are_possible(capture, strays, options)
        || !crowds::find(capture, strays, options).is_empty()
        || !each_other::limits(capture, strays, options).is_empty()
}
