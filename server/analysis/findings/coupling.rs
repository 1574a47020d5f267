//! Sentences about couplings: the accused, the doubtful, the shared lead, the line nobody clipped a probe to.

use super::others::{also_striking, also_struck};
use super::proof::{clean_noun, proof};
use super::shared_supply::shared_supply;
use super::tally::{Tally, listed};
use super::words::{count_of, edges_word, list, percent, small, span};
use super::{CAUTION, Finding, Severity};
use super::{clues, doubts, few, races, stretches, uncaptured, unsure};
use crate::analysis::coupling::in_volts::moved::Shows;
use crate::analysis::coupling::legitimate::USEFUL_S;
use crate::analysis::coupling::{
    Attribution, Coupling, Edge, Hazard, Occurrence, RuledOut, SharedSupply, Standing,
};
use crate::analysis::stats::order::at_shares;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::units::{Bound, bound_in_sentence};
use crate::model::{Capture, Level, Polarity};

/// Share of strikes that follow the aggressor's whole pulse from which a bridge is named.
const FOLLOWS: f64 = 0.7;
/// Where it may be that so many opportunities are followed by a pulse, those may be answers.
const NEARLY_EVERY: f64 = 0.9;

/// Findings on couplings, and on what keeps one from being named.
pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<Finding> {
    let mut findings: Vec<Finding> = attribution
        .shared
        .iter()
        .map(|shared| shared_supply(capture, attribution, shared))
        .collect();
    for (at, coupling) in attribution.couplings.iter().enumerate() {
        let is_shared =
            |s: &SharedSupply| s.victims.contains(&coupling.victim) && s.lines.contains(&coupling.aggressor);
        if attribution.shared.iter().any(is_shared) {
            continue; // Said once for all its victims.
        }
        if attribution.hazards.iter().any(|h| is_gate_s(coupling, h)) {
            continue; // Said as the gate's own.
        }
        if attribution
            .races
            .iter()
            .any(|r| r.victim == coupling.victim && coupling.levels == [r.level])
        {
            continue; // Said as a race.
        }
        findings.push(match coupling.standing {
            Standing::Clear => accused(
                capture,
                strays,
                attribution,
                coupling,
                &Tally::of(strays, attribution, at),
            ),
            Standing::Inseparable => {
                doubts::inseparable(capture, strays, coupling, &Tally::of(strays, attribution, at))
            }
            Standing::Companion if attribution.few.contains_key(&at) => {
                let tally = Tally::of(strays, attribution, at);
                few::finding(capture, strays, coupling, attribution.few[&at], tally.of)
            }
            Standing::Companion => continue, // Said with the uncaptured cause.
        });
    }
    findings.extend(
        attribution
            .hazards
            .iter()
            .map(|h| doubts::hazard(capture, strays, h)),
    );
    findings.extend(
        attribution
            .races
            .iter()
            .map(|r| races::finding(capture, strays, r)),
    );
    // What is open stands before what was decided.
    findings.extend(unsure::of(capture, strays, attribution));
    findings.extend(attribution.answers.iter().map(|a| doubts::answers(capture, a)));
    let own = attribution.own.iter();
    findings.extend(own.map(|o| doubts::own(capture, strays, o)));
    findings.extend(
        attribution
            .uncaptured
            .iter()
            .map(|u| uncaptured::uncaptured(capture, strays, attribution, u)),
    );
    findings
}

/// Whether what a row says is said with a gate's glitches.
fn is_gate_s(c: &Coupling, gate: &Hazard) -> bool {
    let is_suspect = |line: &usize| *line == c.aggressor || c.inseparable_from.contains(line);
    c.victim == gate.victim
        && c.standing == Standing::Inseparable
        && c.levels.iter().all(|level| gate.levels.contains(level))
        && gate.inputs.iter().all(is_suspect)
}

/// Widths of driven pulses are alike within this share, beyond what sampling does.
const ALIKE: f64 = 1.2;

/// Whether the strikes' widths (ascending, ticks) are as long and as alike as those of pulses that a part drives.
fn are_alike_and_useful(capture: &Capture, strays: &Strays, c: &Coupling, widths: &[i64]) -> bool {
    at_shares(widths, [0.1, 0.9]).is_some_and(|[first, last]| {
        first as f64 >= capture.timebase.ticks_of(USEFUL_S)
            && last as f64 <= ALIKE * first as f64 + 2.0 * strays.sampling[c.victim]
    })
}

/// "stray pulse", or "low stray pulse" where the line has more of the other level that are not in the count.
pub fn stray_noun(strays: &Strays, c: &Coupling, of: u64) -> String {
    match c.levels.as_slice() {
        [level] if listed(strays, c.victim) > of => format!("{} stray pulse", level.word()),
        _ => "stray pulse".to_owned(),
    }
}

/// Name of the line at position `line`.
pub fn name(capture: &Capture, line: usize) -> String {
    capture.lines[line].name.clone()
}

/// Names of the lines at these positions.
pub fn names(capture: &Capture, lines: &[usize]) -> Vec<String> {
    lines.iter().map(|&l| name(capture, l)).collect()
}

/// "STEP falling", "STEP rising", "STEP switching".
pub fn switching(capture: &Capture, line: usize, edge: Edge) -> String {
    let doing = match edge {
        Edge::Rise => "rising",
        Edge::Fall => "falling",
        Edge::Both => "switching",
    };
    format!("{} {doing}", name(capture, line))
}

/// "rises", "falls", "edges".
pub fn edges_of(edge: Edge) -> &'static str {
    match edge {
        Edge::Rise => edges_word(Polarity::Rise),
        Edge::Fall => edges_word(Polarity::Fall),
        Edge::Both => "edges",
    }
}

/// "43 % of falls strike (33–54 %) · by chance 0.3 expected · lag 13 ns (10–15 ns)".
pub fn figures(capture: &Capture, c: &Coupling) -> String {
    let rate = &c.strike_rate;
    let time = |ticks: f64| span(&capture.timebase, ticks);
    format!(
        "{} of {} {} strike: {} % ({}–{} %) · by chance {} expected · lag {} ({} to {})",
        c.strays,
        c.opportunities,
        edges_of(c.edge),
        percent(rate.estimate),
        bound_in_sentence(rate.low, Bound::Lower),
        bound_in_sentence(rate.high, Bound::Upper),
        small(c.expected_by_chance),
        time(c.lag.estimate),
        time(c.lag.low),
        time(c.lag.high),
    )
}

/// "They last 12 ns to 30 ns." `widths`: ascending, in ticks.
pub fn last(capture: &Capture, widths: &[i64]) -> Option<String> {
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let (least, most) = (time(*widths.first()?), time(*widths.last()?));
    Some(match least == most {
        true => format!("Each lasts {least}."),
        false => format!("They last {least} to {most}."),
    })
}

fn accused(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    c: &Coupling,
    tally: &Tally,
) -> Finding {
    let victim = name(capture, c.victim);
    let aggressor = name(capture, c.aggressor);
    let title = format!(
        "{victim}: {} of {} follow {}",
        tally.put_down,
        count_of(tally.of, &stray_noun(strays, c, tally.of)),
        switching(capture, c.aggressor, c.edge)
    );
    let mut widths: Vec<i64> = c
        .occurrences
        .iter()
        .map(|o| strays.strays[o.stray].width.0)
        .collect();
    widths.sort_unstable();
    let company = Company {
        also_struck: also_struck(capture, attribution, c),
        also_striking: also_striking(capture, attribution, c),
    };
    Finding {
        severity: Severity::Fault,
        topic: "coupling",
        title,
        detail: evidence(capture, strays, c, tally, &widths, &company).join(" "),
        try_next: what_to_try(capture, strays, c, [&victim, &aggressor], &widths, &company),
        lines: vec![victim, aggressor],
    }
}

/// Lines beside the victim and the accused that the same is found of.
struct Company {
    /// Whom else the accused strikes.
    also_struck: Option<String>,
    /// Who else strikes the victim.
    also_striking: Option<String>,
}

/// What the accusation rests on, a sentence each. `widths`: of the strays that are put down to the accused, in ticks, ascending.
fn evidence(
    capture: &Capture,
    strays: &Strays,
    c: &Coupling,
    tally: &Tally,
    widths: &[i64],
    company: &Company,
) -> Vec<String> {
    let mut detail = vec![figures(capture, c) + "."];
    detail.extend(last(capture, widths));
    detail.extend(by_polarity(c));
    if let Some(more) = tally.says(&name(capture, c.victim)) {
        detail.push(more);
    }
    detail.extend(stretches::told(capture, c));
    detail.extend(mechanism(capture, strays, c));
    detail.extend(moves_alike(capture, c));
    if let Some(others) = &company.also_struck {
        detail.push(format!(
            "The same {} strike {others} as well: what strikes several lines is as likely a supply or 0 V lead that they share, or the field of what {} switches, as a wire beside each.",
            edges_of(c.edge),
            name(capture, c.aggressor)
        ));
    }
    if let Some(others) = &company.also_striking {
        detail.push(format!(
            "{others} too: a line that several others strike is often the weak one, an input that nothing drives or that lacks its pull-up."
        ));
    }
    detail.extend(seen(capture, strays, c));
    detail.extend(c.step.map(|step| races::looks_alike(capture, c.victim, step)));
    // One that hardly ever switched along tempts nobody.
    let along = |r: &&RuledOut| {
        200 * (r.opportunities - r.opportunities_alone.min(r.opportunities)) >= r.opportunities
    };
    let along: Vec<&RuledOut> = c.ruled_out.iter().filter(along).collect();
    let mut told: Vec<usize> = Vec::new();
    for cleared in &along {
        if told.len() < MOST_CLEARED && !told.contains(&cleared.line) {
            told.push(cleared.line);
            let edges: Vec<&RuledOut> = along.iter().filter(|r| r.line == cleared.line).copied().collect();
            detail.extend(why_all_cleared(capture, c, &edges));
        }
    }
    detail
}

/// What proves it, what mends it, and how to see that it was another; the likeliest first. `widths`: as in [`evidence`].
fn what_to_try(
    capture: &Capture,
    strays: &Strays,
    c: &Coupling,
    [victim, aggressor]: [&str; 2],
    widths: &[i64],
    company: &Company,
) -> Vec<String> {
    let proof = proof(c);
    let follows = c.follows_pulse >= FOLLOWS;
    let pull = pull(strays, c);
    let mut try_next = vec![if follows && pull == Pull::Against {
        format!(
            "Look whether a gate that inverts {aggressor} drives {victim}, and what holds its enable; then repeat{proof}."
        )
    } else if follows {
        format!(
            "With the power off, look for a bridge or short between {aggressor} and {victim}, and ring the two out against each other; then repeat{proof}."
        )
    } else {
        format!("Lead {aggressor}'s wire away from {victim} and repeat{proof}.")
    }];
    if company.also_struck.is_some() && !follows {
        try_next.push(format!(
            "If {aggressor} switches a coil or a motor, see first that its diode or damper is whole, and scope between the 0 V pins of {aggressor}'s and {victim}'s boards at its {}, clip on the machine's 0 V only.",
            edges_of(c.edge)
        ));
    }
    if company.also_striking.is_some() && !follows {
        try_next.push(format!(
            "Before any wire is moved meter {victim}'s level at rest, at the pin that reads it: between the thresholds it floats; then find its driver or its pull-up."
        ));
    }
    if !follows && matches!(pull, Pull::Against | Pull::OneWay) {
        try_next.push(format!(
            "If it does not help: with the power off give {aggressor}'s and {victim}'s boards a second ground wire between their 0 V pins, and repeat."
        ));
    }
    if !follows {
        try_next.push(format!(
            "If it helps: a ground wire between the two (joined at both ends), a stronger pull-up or a driver nearer to {victim}, or slower edges on {aggressor}."
        ));
    }
    let may_be_meant = c.strike_rate.high >= NEARLY_EVERY || are_alike_and_useful(capture, strays, c, widths);
    if may_be_meant && strays.limits[c.victim].origin == LimitOrigin::Inferred {
        // Shorter than all of them.
        let [first, last] = [widths.first(), widths.last()].map(|w| w.copied().unwrap_or(0) as f64);
        let least = span(&capture.timebase, first.min(last / 2.0));
        let limits: Vec<String> = c
            .levels
            .iter()
            .filter_map(|&level| strays.limits[c.victim].of(level))
            .map(|limit| span(&capture.timebase, limit))
            .collect();
        try_next.push(format!(
            "If {victim} answers {aggressor} on purpose, they are no strays, and the limit inferred for {victim} ({}) is too long: say a shorter one in the setup, narrow_below = \"{least}\".",
            list(&limits)
        ));
    }
    try_next.push(format!(
        "A line without a probe that switches along with {aggressor} would look the same: {}; if {victim} shows as many strays as before, it is another (a machine that stops without {aggressor} shows none, and proves nothing).",
        lift(aggressor)
    ));
    try_next.push(CAUTION.to_string());
    try_next
}

/// How a wire is lifted for a test.
pub fn lift(line: &str) -> String {
    format!(
        "with motors and coils unplugged lift {line}'s wire at its driver, tie the inputs that it fed to their resting level, and repeat"
    )
}

/// That volts show the victim to move after each edge, whether it strikes or not.
fn moves_alike(capture: &Capture, c: &Coupling) -> Option<String> {
    let moved = c.moved.filter(|moved| moved.shows == Some(Shows::MovesAlike))?;
    let ([least, most], [others, _]) = (moved.by_strikes_v, moved.by_others_v);
    Some(format!(
        "In volts {victim} moves after the {} {edges} that bring no stray as well, all in all by {}: one crowd, of which the highest cross the threshold, as what a fixed neighbour induces.",
        moved.others,
        clues::between(least.min(others), most),
        victim = name(capture, c.victim),
        edges = edges_of(c.edge),
    ))
}

/// What is induced begins while the edge lasts, or as its wave runs along some metres of cable (common practice, no source).
const INDUCED_S: f64 = 50e-9;

/// What the strays look like: evidence, never more.
fn mechanism(capture: &Capture, strays: &Strays, c: &Coupling) -> Option<String> {
    let aggressor = name(capture, c.aggressor);
    if c.follows_pulse >= FOLLOWS {
        return Some(format!(
            "The strays last as long as {aggressor}'s own pulse ({} % of them{}.",
            percent(c.follows_pulse),
            match pull(strays, c) {
                Pull::Against => "), upside down: a gate that inverts does that, a bridge does not",
                _ => "): that is what a bridge or short does",
            }
        ));
    }
    if c.lag.low > capture.timebase.ticks_of(INDUCED_S) {
        return Some(format!(
            "That is later than what an edge induces: a part that {aggressor} sets off, with a clip or without, may do it."
        ));
    }
    let one_level = match c.levels.as_slice() {
        [level] => Some(*level),
        _ => None,
    };
    if c.edge == Edge::Both {
        return both_edges(strays, c, &aggressor);
    }
    match (c.edge, one_level) {
        (Edge::Rise, Some(Level::High)) | (Edge::Fall, Some(Level::Low)) => Some(
            "A rise lifts it or a fall dips it: that is how capacitance between neighbours acts.".to_string(),
        ),
        (Edge::Rise, Some(Level::Low)) | (Edge::Fall, Some(Level::High)) => Some(
            "The stray goes against the edge that causes it: a magnetic coupling or a shared ground does that, capacitance does not."
                .to_string(),
        ),
        _ => None,
    }
}

/// Share of the strikes that go one way from which on a mechanism shows.
const ONE_WAY: f64 = 0.9;

/// Which way strikes pull the victim.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Pull {
    /// The way of the edge: rises lift, falls dip.
    Along,
    Against,
    /// Rises and falls pull alike.
    OneWay,
    Mixed,
}

fn pull(strays: &Strays, c: &Coupling) -> Pull {
    let is_along = |o: &&Occurrence| {
        let high = strays.strays[o.stray].level == Level::High;
        high == (o.polarity == Polarity::Rise)
    };
    let along = c.occurrences.iter().filter(is_along).count() as f64 / c.occurrences.len().max(1) as f64;
    match c.levels.as_slice() {
        [_] if c.edge == Edge::Both => Pull::OneWay,
        _ if along >= ONE_WAY => Pull::Along,
        _ if along <= 1.0 - ONE_WAY => Pull::Against,
        _ => Pull::Mixed,
    }
}

/// "114 of these strikes follow rises, 30 falls."
fn by_polarity(c: &Coupling) -> Option<String> {
    let rises = c
        .occurrences
        .iter()
        .filter(|o| o.polarity == Polarity::Rise)
        .count();
    (c.edge == Edge::Both).then(|| {
        format!(
            "Of these strikes {rises} follow rises and {} falls.",
            c.occurrences.len() - rises
        )
    })
}

/// How rises and falls that both strike pull the line, and what does so.
fn both_edges(strays: &Strays, c: &Coupling, aggressor: &str) -> Option<String> {
    match (pull(strays, c), c.levels.as_slice()) {
        (Pull::OneWay, [level]) => Some(format!(
            "Its rises and its falls both {} it, which one coupled edge can't: a supply or ground that both use does that, and so would a line \
             without a probe that switches whenever {aggressor} does.",
            if *level == Level::High { "lift" } else { "dip" }
        )),
        (Pull::Along, _) => {
            Some("Its rises lift the line and its falls dip it: that is how capacitance between neighbours acts.".to_string())
        }
        (Pull::Against, _) => Some(
            "Its rises dip the line and its falls lift it: a magnetic coupling or a shared ground does that, capacitance does not."
                .to_string(),
        ),
        _ => None,
    }
}

/// What sampling lets through.
fn seen(capture: &Capture, strays: &Strays, c: &Coupling) -> Option<String> {
    let sampling = strays.sampling[c.victim];
    let corrected = c.corrected_rate?;
    Some(format!(
        "Nearly all of these strays are one sample wide ({}), so they may be shorter and others have fallen between samples: were they half a sample long, {} % would strike in truth. A faster instrument would see the width.",
        span(&capture.timebase, sampling),
        percent(corrected)
    ))
}

/// Lines that switch along with the accused and are told of as cleared.
const MOST_CLEARED: usize = 2;

/// Why one suspect was cleared, by one or more of its edges: in one sentence where none of them came with a stray alone.
fn why_all_cleared(capture: &Capture, c: &Coupling, edges: &[&RuledOut]) -> Vec<String> {
    let is_silent = |r: &&RuledOut| r.opportunities_alone > 0 && r.strays_alone == 0;
    let (Some(first), true) = (edges.first(), edges.len() > 1 && edges.iter().all(is_silent)) else {
        return edges.iter().map(|r| why_cleared(capture, c, r)).collect();
    };
    let list =
        |word: &dyn Fn(&RuledOut) -> String| edges.iter().map(|r| word(r)).collect::<Vec<_>>().join(" and ");
    vec![format!(
        "{} switches with {} on {}; none of the {} without {} brought a stray.",
        name(capture, first.line),
        name(capture, c.aggressor),
        list(&|r| format!("{} % of its {}", percent(together(r)), edges_of(r.edge))),
        list(&|r| alone(r)),
        name(capture, c.aggressor),
    )]
}

/// Share of a suspect's edges that came with the accused's.
fn together(r: &RuledOut) -> f64 {
    1.0 - r.opportunities_alone as f64 / r.opportunities.max(1) as f64
}

/// "12 falls": its edges without the accused's.
fn alone(r: &RuledOut) -> String {
    count_of(
        r.opportunities_alone,
        clean_noun(r.edge).trim_start_matches("clean "),
    )
}

/// Why a suspect was cleared, with the counts that clear it: "BEAT switches with STEP on 81 % of its falls; none of the 12
/// falls without STEP brought a stray."
pub fn why_cleared(capture: &Capture, c: &Coupling, r: &RuledOut) -> String {
    let other = name(capture, r.line);
    let accused = name(capture, c.aggressor);
    let why = if r.opportunities_alone == 0 {
        format!(
            "it never switched without {accused}, but {} of {} came without it",
            c.strays.saturating_sub(r.strays - r.strays_alone),
            count_of(c.strays, "such stray"),
        )
    } else if r.strays_alone == 0 {
        match r.opportunities_alone {
            1 => format!("{} without {accused} brought no stray", alone(r)),
            _ => format!("none of the {} without {accused} brought a stray", alone(r)),
        }
    } else {
        format!(
            "without {accused} {} of {} {} came with a stray",
            r.strays_alone,
            r.opportunities_alone,
            edges_of(r.edge)
        )
    };
    format!(
        "{other} switches with {accused} on {} % of its {}; {why}.",
        percent(together(r)),
        edges_of(r.edge)
    )
}
