//! Sentences about couplings: the accused, the doubtful, the shared lead, the line nobody clipped a probe to.

use super::words::{count_of, edges_word, list, percent, small, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::answers::Answers;
use crate::analysis::coupling::{
    Attribution, Contrast, CopyOf, Coupling, DosePoint, Edge, Hazard, RuledOut, SharedSupply, Standing,
    Uncaptured,
};
use crate::analysis::stats::power::clean_opportunities;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::{Capture, Level, Polarity};

/// Share of strikes that follow the aggressor's whole pulse from which a bridge is named.
const FOLLOWS: f64 = 0.7;
/// Where it may be that so many opportunities are followed by a pulse, those may be answers.
const NEARLY_EVERY: f64 = 0.9;

pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<Finding> {
    let mut findings: Vec<Finding> = attribution
        .shared
        .iter()
        .map(|shared| shared_supply(capture, attribution, shared))
        .collect();
    for coupling in &attribution.couplings {
        let is_shared =
            |s: &SharedSupply| s.victims.contains(&coupling.victim) && s.lines.contains(&coupling.aggressor);
        if attribution.shared.iter().any(is_shared) {
            continue; // Said once for all its victims.
        }
        if attribution.hazards.iter().any(|h| h.victim == coupling.victim) {
            continue; // Said as the gate's own.
        }
        findings.push(match coupling.standing {
            Standing::Clear => accused(capture, strays, coupling),
            Standing::Inseparable => inseparable(capture, coupling),
            Standing::Companion => continue, // Said with the uncaptured cause.
        });
    }
    findings.extend(attribution.hazards.iter().map(|h| hazard(capture, h)));
    findings.extend(attribution.answers.iter().map(|a| answers(capture, a)));
    findings.extend(
        attribution
            .uncaptured
            .iter()
            .map(|u| uncaptured(capture, attribution, u)),
    );
    findings
}

fn name(capture: &Capture, line: usize) -> String {
    capture.lines[line].name.clone()
}

fn names(capture: &Capture, lines: &[usize]) -> Vec<String> {
    lines.iter().map(|&l| name(capture, l)).collect()
}

/// "STEP falling", "STEP rising", "STEP switching".
fn switching(capture: &Capture, line: usize, edge: Edge) -> String {
    let doing = match edge {
        Edge::Rise => "rising",
        Edge::Fall => "falling",
        Edge::Both => "switching",
    };
    format!("{} {doing}", name(capture, line))
}

fn edges_of(edge: Edge) -> &'static str {
    match edge {
        Edge::Rise => edges_word(Polarity::Rise),
        Edge::Fall => edges_word(Polarity::Fall),
        Edge::Both => "edges",
    }
}

/// "43 % of falls strike (33–54 %) · by chance 0.3 expected · lag 13 ns (10–15 ns)".
fn figures(capture: &Capture, c: &Coupling) -> String {
    let rate = &c.strike_rate;
    let time = |ticks: f64| span(&capture.timebase, ticks);
    format!(
        "{} of {} {} strike: {} % ({}–{} %) · by chance {} expected · lag {} ({} to {})",
        c.strays,
        c.opportunities,
        edges_of(c.edge),
        percent(rate.estimate),
        percent(rate.low),
        percent(rate.high),
        small(c.expected_by_chance),
        time(c.lag.estimate),
        time(c.lag.low),
        time(c.lag.high),
    )
}

fn accused(capture: &Capture, strays: &Strays, c: &Coupling) -> Finding {
    let victim = name(capture, c.victim);
    let aggressor = name(capture, c.aggressor);
    let title = format!(
        "{victim}: {} of {} follow {}",
        c.strays,
        count_of(c.victim_strays, "stray pulse"),
        switching(capture, c.aggressor, c.edge)
    );
    let mut detail = vec![figures(capture, c) + "."];
    detail.extend(mechanism(capture, strays, c));
    detail.extend(seen(capture, strays, c));
    detail.extend(c.ruled_out.iter().take(2).map(|r| why_cleared(capture, c, r)));
    let clean = clean_opportunities(c.strike_rate.low.max(1e-6), 0.95);
    let proof = clean.map_or(String::new(), |n| {
        format!(
            ": {} without a stray would settle it",
            count_of(n, clean_noun(c.edge))
        )
    });
    let follows = c.follows_pulse >= FOLLOWS;
    let mut try_next = vec![if follows {
        format!(
            "With the power off, look for a bridge or short between {aggressor} and {victim}, and ring the two out against each other; then repeat{proof}."
        )
    } else {
        format!("Lead {aggressor}'s wire away from {victim} and repeat{proof}.")
    }];
    if !follows {
        try_next.push(format!(
            "If it helps: a ground wire between the two (joined at both ends), a stronger pull-up or a driver nearer to {victim}, or slower edges on {aggressor}."
        ));
    }
    if c.strike_rate.high >= NEARLY_EVERY && strays.limits[c.victim].origin == LimitOrigin::Inferred {
        let longest = c.occurrences.iter().map(|o| strays.strays[o.stray].width.0).max();
        let least = span(&capture.timebase, longest.unwrap_or(0) as f64 / 2.0);
        try_next.push(format!(
            "If {victim} answers {aggressor} on purpose, they are no strays: say what is too narrow for {victim} in the setup (narrow_below, say \"{least}\")."
        ));
    }
    try_next.push(format!(
        "A line without a probe that switches along with {aggressor} would look the same: lift {aggressor} at its driver; if {victim} still shows strays, it is another."
    ));
    try_next.push(CAUTION.to_string());
    Finding {
        severity: Severity::Fault,
        topic: "coupling",
        lines: vec![victim, aggressor],
        title,
        detail: detail.join(" "),
        try_next,
    }
}

fn clean_noun(edge: Edge) -> &'static str {
    match edge {
        Edge::Rise => "clean rise",
        Edge::Fall => "clean fall",
        Edge::Both => "clean edge",
    }
}

/// What the strays look like: evidence, never more.
fn mechanism(capture: &Capture, _strays: &Strays, c: &Coupling) -> Option<String> {
    let aggressor = name(capture, c.aggressor);
    if c.follows_pulse >= FOLLOWS {
        return Some(format!(
            "The strays last as long as {aggressor}'s own pulse ({} % of them): that is what a bridge or short does.",
            percent(c.follows_pulse)
        ));
    }
    let one_level = match c.levels.as_slice() {
        [level] => Some(*level),
        _ => None,
    };
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

/// What sampling lets through.
fn seen(capture: &Capture, strays: &Strays, c: &Coupling) -> Option<String> {
    let sampling = strays.sampling[c.victim];
    let corrected = c.corrected_rate?;
    Some(format!(
        "Most of these strays are one sample wide ({}), so others fell between samples: at an estimate {} % strike in truth. A faster instrument would see the width.",
        span(&capture.timebase, sampling),
        percent(corrected)
    ))
}

/// "BEAT switches with STEP on 81 % of its falls; once STEP is allowed for it explains none."
/// Why a suspect was cleared, with the counts that clear it.
pub fn why_cleared(capture: &Capture, c: &Coupling, r: &RuledOut) -> String {
    let other = name(capture, r.line);
    let accused = name(capture, c.aggressor);
    let together = 1.0 - r.opportunities_alone as f64 / r.opportunities.max(1) as f64;
    let alone = if r.opportunities_alone == 0 {
        format!(
            "it never switched without {accused}, and struck at {} of {} {}",
            r.strays,
            r.opportunities,
            edges_of(r.edge)
        )
    } else if r.strays_alone == 0 {
        format!(
            "in {} without {accused} it struck none",
            count_of(
                r.opportunities_alone,
                clean_noun(r.edge).trim_start_matches("clean ")
            )
        )
    } else {
        format!(
            "without {accused} it goes with {} of {} {}",
            r.strays_alone,
            r.opportunities_alone,
            edges_of(r.edge)
        )
    };
    format!(
        "{other} switches with {accused} on {} % of its {}; {alone}.",
        percent(together),
        edges_of(r.edge)
    )
}

/// Why the others fit as well, and what would tell them apart.
fn how_alike(capture: &Capture, c: &Coupling, needed: u64) -> String {
    let mut said: Vec<String> = c.copies.iter().map(|copy| is_copy(capture, c, copy)).collect();
    let is_copied = |line: &&usize| c.copies.iter().any(|copy| copy.line == **line);
    if c.inseparable_from.iter().any(|line| !is_copied(&line)) {
        said.push("The others fit as well, because they switched at the same moments.".to_owned());
    }
    said.push(format!(
        "About {} at which one switches without the others would tell them apart.",
        count_of(needed, "more edge")
    ));
    said.join(" ")
}

/// "FAR_END goes with STEP at each strike, 12 ns later and upside down: …"
fn is_copy(capture: &Capture, c: &Coupling, copy: &CopyOf) -> String {
    let (other, accused) = (name(capture, copy.line), name(capture, c.aggressor));
    let when = match copy.delay {
        0 => "at the same moment".to_owned(),
        late if late > 0 => format!("{} later", span(&capture.timebase, late as f64)),
        early => format!("{} earlier", span(&capture.timebase, -early as f64)),
    };
    let (turned, what) = if copy.inverted {
        (" and the other way round", "an inverter or a gate between them")
    } else {
        ("", "a buffer between them, or two ends of one wire,")
    };
    format!(
        "{other} switches with {accused} at each strike, {when}{turned}: {what} does that, and whichever strikes, the strays follow both."
    )
}

fn try_apart(capture: &Capture, c: &Coupling, victim: &str, suspects: &[String]) -> Vec<String> {
    let mut try_next = Vec::new();
    if let Some(copy) = c.copies.first() {
        let (other, accused) = (name(capture, copy.line), &suspects[0]);
        try_next.push(format!(
            "Lifting a wire at its driver may stop both. Lead {accused}'s wire away from {victim}, {other}'s left as it is, and repeat: if {victim} is clean, it was {accused}; else lead {other}'s away instead."
        ));
        try_next.push(format!(
            "If {accused} and {other} are two ends of one wire they are one suspect: put one of the two probes on a line that runs beside {victim} instead."
        ));
    } else {
        try_next.push(format!(
            "Lift {}'s wire at its driver and repeat: if {victim} is clean, it was that one; else the others.",
            suspects[0]
        ));
    }
    try_next
        .push("Or let the machine run through work that moves one of them and not the others.".to_string());
    try_next.push(CAUTION.to_string());
    try_next
}

fn inseparable(capture: &Capture, c: &Coupling) -> Finding {
    let victim = name(capture, c.victim);
    let mut suspects = vec![c.aggressor];
    suspects.extend(&c.inseparable_from);
    let suspects = names(capture, &suspects);
    let mut lines = vec![victim.clone()];
    lines.extend(suspects.iter().cloned());
    let rate = c.strike_rate.estimate.max(1e-6);
    let needed = (3.0 / rate).ceil() as u64;
    Finding {
        severity: Severity::Fault,
        topic: "inseparable",
        title: format!(
            "{victim}: its stray pulses follow {}, and this capture can't tell which",
            list(&suspects)
        ),
        detail: format!("{}. {}", figures(capture, c), how_alike(capture, c, needed)),
        try_next: try_apart(capture, c, &victim, &suspects),
        lines,
    }
}

fn answers(capture: &Capture, a: &Answers) -> Finding {
    let (line, to) = (name(capture, a.line), name(capture, a.to));
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let level = match a.level {
        Level::Low => "low",
        _ => "high",
    };
    Finding {
        severity: Severity::Note,
        topic: "stray",
        title: format!(
            "{line}: its short {level} pulses answer {} every time and are taken for its job",
            switching(capture, a.to, a.edge)
        ),
        detail: format!(
            "{} of {} {} are followed by one after {}, {} to {} wide. A coupled stray is left out now and then; these never are, and they are long enough to be read.",
            a.answered,
            a.opportunities,
            edges_of(a.edge),
            time(a.lag),
            time(a.widths[0] as f64),
            time(a.widths[2] as f64),
        ),
        try_next: vec![format!(
            "If {line} is not meant to answer {to}, they are strays: say narrow_below = \"{}\" for {line} in the setup, and they are counted as such.",
            time(a.limit)
        )],
        lines: vec![line, to],
    }
}

fn hazard(capture: &Capture, h: &Hazard) -> Finding {
    let victim = name(capture, h.victim);
    let [a, b] = h.inputs.map(|line| name(capture, line));
    Finding {
        severity: Severity::Fault,
        topic: "inseparable",
        title: format!("{victim}: its stray pulses come when {a} and {b} switch almost together"),
        detail: format!(
            "{} of {} lie between an edge of {a} and one of {b}. Once both are at rest their levels settle {victim}'s, as of a gate with these two inputs; while one has switched and the other has not, that gate shows the level of these pulses (a hazard). So neither induces them.",
            h.strays,
            count_of(h.of, "stray pulse"),
        ),
        try_next: vec![
            format!(
                "If what reads {victim} looks at it only well after both have switched, these pulses do no harm; if it counts or latches on {victim}, take it through a flip-flop, or make {a} and {b} never change at one step."
            ),
            format!(
                "To be sure that it is the gate: hold {a} still (at its driver) and let {b} go on: {victim} must be clean then."
            ),
            CAUTION.to_string(),
        ],
        lines: vec![victim, a, b],
    }
}

fn uncaptured(capture: &Capture, attribution: &Attribution, u: &Uncaptured) -> Finding {
    let victim = name(capture, u.victim);
    let companions = names(capture, &u.companions);
    let mut detail: Vec<String> = Vec::new();
    let rows = attribution.couplings.iter().filter(|c| c.victim == u.victim);
    let goes: Vec<String> = rows
        .take(3)
        .map(|c| {
            format!(
                "{} goes with {} of them ({} of its {} {})",
                name(capture, c.aggressor),
                c.strays,
                c.strays,
                c.opportunities,
                edges_of(c.edge)
            )
        })
        .collect();
    if !goes.is_empty() {
        detail.push(format!("{}.", list(&goes)));
    }
    if let Some((line, edge)) = u.both_ways {
        detail.push(format!(
            "After the same {} of {} the line is lifted where it is low and dipped where it is high; what one edge induces pulls one way.",
            edges_of(edge),
            name(capture, line)
        ));
    }
    if let Some(contrast) = &u.contrast {
        detail.push(differs(capture, contrast));
    }
    if u.strays > 0 && !goes.is_empty() {
        let share = u.strays as f64 / u.of.max(1) as f64;
        detail.push(format!(
            "{} of {} ({} %) come without any of these.",
            u.strays,
            count_of(u.of, "stray pulse"),
            percent(share)
        ));
    }
    detail.push(
        "So the cause is more likely a line that carries no clip and switches along with them.".to_string(),
    );
    let mut lines = vec![victim.clone()];
    lines.extend(companions.iter().cloned());
    let along = match companions.first() {
        Some(first) => format!("when {first} does"),
        None => "in the machine's step".to_string(),
    };
    let mut try_next = Vec::new();
    if let Some(first) = companions.first() {
        try_next.push(format!(
            "Cheapest: lift {first}'s wire at its driver and repeat. If {victim} still shows strays, {first} only switches along."
        ));
    }
    try_next.push(format!(
        "Move one clip: put a spare channel on a line that runs beside {victim} in its cable or connector and switches {along}, an enable, a load or an output of the same step, and repeat."
    ));
    try_next.push(CAUTION.to_string());
    Finding {
        severity: Severity::Fault,
        topic: "uncaptured-cause",
        title: if companions.is_empty() {
            format!(
                "{victim}: no captured line causes its {}",
                count_of(u.of, "stray pulse")
            )
        } else {
            format!(
                "{victim}: no captured line causes its {}; something that switches along with {} does",
                count_of(u.of, "stray pulse"),
                list(&companions)
            )
        },
        lines,
        detail: detail.join(" "),
        try_next,
    }
}

/// "FOLLOW_A falling strikes 12 of 20 times when FOLLOW_B switches too, 1 of 40 when not: …"
fn differs(capture: &Capture, c: &Contrast) -> String {
    format!(
        "{} brings a stray {} of {} times when {} as well, and {} of {} when not: a line that strikes by itself would strike alike.",
        switching(capture, c.line, c.edge),
        c.with.1,
        c.with.0,
        switches(capture, c.other, c.other_edge),
        c.without.1,
        c.without.0
    )
}

/// "STEP falls", "STEP rises", "STEP switches".
fn switches(capture: &Capture, line: usize, edge: Edge) -> String {
    let does = match edge {
        Edge::Rise => "rises",
        Edge::Fall => "falls",
        Edge::Both => "switches",
    };
    format!("{} {does}", name(capture, line))
}

fn shared_supply(capture: &Capture, attribution: &Attribution, shared: &SharedSupply) -> Finding {
    let victims = names(capture, &shared.victims);
    let sources = names(capture, &shared.lines);
    let mut lines = victims.clone();
    lines.extend(sources.iter().cloned());
    let (title, detail) = if shared.curve.is_empty() {
        struck_together(capture, attribution, shared)
    } else {
        dosed(capture, shared)
    };
    Finding {
        severity: Severity::Fault,
        topic: "shared-supply",
        title,
        detail,
        lines,
        try_next: vec![
            format!(
                "Scope between the 0 V pin of the chip that drives {} and the 0 V pin of the one that reads {}, clip on the machine's 0 V only: a spike at these moments is the shared lead.",
                sources.first().map_or("them", String::as_str),
                victims.first().map_or("the victim", String::as_str)
            ),
            "Add a second ground wire and a supply wire straight from that board to the supply, and a capacitor at the pins of the drivers, then repeat.".to_string(),
            CAUTION.to_string(),
        ],
    }
}

/// Title and detail where the number of lines matters.
fn dosed(capture: &Capture, shared: &SharedSupply) -> (String, String) {
    let doing = match shared.edge {
        Edge::Rise => "rise",
        Edge::Fall => "fall",
        Edge::Both => "switch",
    };
    let point = |p: &DosePoint| {
        let share = p.strays as f64 / p.instants.max(1) as f64;
        format!(
            "{} at once: {} of {} ({} %)",
            p.switched,
            p.strays,
            p.instants,
            percent(share)
        )
    };
    let curve: Vec<String> = shared.curve.iter().map(point).collect();
    (
        format!(
            "{}: stray pulses come when several of {} {doing} at once",
            list(&names(capture, &shared.victims)),
            list(&names(capture, &shared.lines))
        ),
        format!(
            "The more of them {doing} together the likelier a stray: {}. No single one is to blame: a ground or supply lead that they share is.",
            curve.join("; ")
        ),
    )
}

/// Title and detail where one line's edges strike several victims at once.
fn struck_together(capture: &Capture, attribution: &Attribution, shared: &SharedSupply) -> (String, String) {
    let source = names(capture, &shared.lines).join(", ");
    let rows = attribution
        .couplings
        .iter()
        .filter(|c| shared.victims.contains(&c.victim) && shared.lines.contains(&c.aggressor));
    let rows: Vec<String> = rows
        .map(|c| format!("{}: {}", name(capture, c.victim), figures(capture, c)))
        .collect();
    (
        format!(
            "{} show stray pulses at the same moments, after {}",
            list(&names(capture, &shared.victims)),
            shared
                .lines
                .first()
                .map_or(source.clone(), |&l| switching(capture, l, shared.edge))
        ),
        format!(
            "{}. Wires that lie side by side are struck each by itself; these are struck together, so a ground or supply lead that they share with {source} is the likelier way.",
            rows.join("; ")
        ),
    )
}
