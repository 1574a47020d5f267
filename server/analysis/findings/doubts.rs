//! Sentences about what is not accused: lines that fit alike, a gate's own glitch, answers.

use super::coupling::{edges_of, figures, name, names, stray_noun, switching};
use super::pulses;
use super::tally::{self, Tally, beside_own};
use super::words::{count_of, list, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::legitimate::answers::{Answers, How};
use crate::analysis::coupling::legitimate::own::Own;
use crate::analysis::coupling::{CopyOf, Coupling, Hazard};
use crate::analysis::strays::Strays;
use crate::model::Capture;

/// Why the others fit as well, and what would tell them apart.
fn how_alike(capture: &Capture, c: &Coupling, needed: u64) -> String {
    let mut said: Vec<String> = c.copies.iter().map(|copy| is_copy(capture, c, copy)).collect();
    let is_copied = |line: &&usize| c.copies.iter().any(|copy| copy.line == **line);
    let passing = passing_on(capture, c);
    let victim = name(capture, c.victim);
    said.extend(passing.iter().map(|source| {
        format!(
            "{source}'s own stray pulses come just before these, and {victim} follows {source}'s edges: {source} may pass on what strikes it, \
             and then {} need not strike {victim} at all.",
            name(capture, c.aggressor)
        )
    }));
    let is_told = |line: &&usize| is_copied(line) || c.passed_on.contains(line);
    if c.inseparable_from.iter().any(|line| !is_told(&line)) {
        said.push("The others fit as well, because they switched at the same moments.".to_owned());
    }
    said.push(format!(
        "About {} at which one switches without the others would tell them apart.",
        count_of(needed, "more edge")
    ));
    said.join(" ")
}

/// Lines whose strays the victim may pass on, by name.
fn passing_on(capture: &Capture, c: &Coupling) -> Vec<String> {
    let of = c
        .passed_on
        .iter()
        .filter(|line| c.inseparable_from.contains(line));
    of.map(|&line| name(capture, line)).collect()
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
    let these = format!("the strays at {}'s edges", suspects[0]);
    try_next.extend(passing_on(capture, c).first().map(|source| {
        format!(
            "Keep the strays from {source} first: if those of {victim} go with them, they were passed on."
        )
    }));
    if let Some(copy) = c.copies.first() {
        let (other, accused) = (name(capture, copy.line), &suspects[0]);
        try_next.push(format!(
            "Lifting a wire at its driver may stop both. Lead {accused}'s wire away from {victim}, {other}'s left as it is, and repeat: if {these} stop, it was {accused}; else lead {} away instead{}.",
            match c.copies.len() {
                1 => format!("{other}'s"),
                _ => "the others'".to_owned(),
            },
            if c.copies.len() > 1 { ", one at a time" } else { "" },
        ));
        if !copy.inverted {
            try_next.push(format!(
                "If {accused} and {other} are two ends of one wire they are one suspect: put one of the two probes on a line that runs beside {victim} instead."
            ));
        }
    } else {
        try_next.push(format!(
            "Lift {}'s wire at its driver and repeat: if {these} stop, it was that one; else the others, one at a time.",
            suspects[0]
        ));
    }
    try_next
        .push("Or let the machine run through work that moves one of them and not the others.".to_string());
    try_next.push(CAUTION.to_string());
    try_next
}

/// Lines that fit the same strays equally well.
pub fn inseparable(capture: &Capture, strays: &Strays, c: &Coupling, tally: &Tally) -> Finding {
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
            "{victim}: {} of {} follow {}, and this capture can't tell which",
            tally.put_down,
            count_of(tally.of, &stray_noun(strays, c, tally.of)),
            list(&suspects)
        ),
        detail: format!("{}. {}", figures(capture, c), how_alike(capture, c, needed)),
        try_next: try_apart(capture, c, &victim, &suspects),
        lines,
    }
}

/// Short pulses that answer another line, taken for driven.
pub fn answers(capture: &Capture, a: &Answers) -> Finding {
    let (line, to) = (name(capture, a.line), name(capture, a.to));
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let level = a.level.word();
    let edge = switching(capture, a.to, a.edge);
    let wide = format!(
        "{} to {} wide",
        time(a.widths[0] as f64),
        time(a.widths[2] as f64)
    );
    let lag = time(a.lag);
    let (title, detail) = match &a.how {
        How::EveryTime => (
            format!("{line}: its short {level} pulses answer {edge} every time and are taken for its job"),
            format!(
                "{} of {} {} are followed by one after {lag}, {wide}. A coupled stray is left out now and then; these never are, and they are long enough to be read.",
                a.answered,
                a.opportunities,
                edges_of(a.edge),
            ),
        ),
        How::While { levels } => {
            let held: Vec<String> = levels
                .iter()
                .map(|(other, level)| format!("{} is {}", name(capture, *other), level.word()))
                .collect();
            let held = held.join(" and ");
            (
                format!(
                    "{line}: its short {level} pulses come with {edge} while {held}, and are taken for its job"
                ),
                format!(
                    "Of the {} that come while {held}, {} of {} are followed by one after {lag}, {wide}; hardly any is otherwise. A coupled stray comes now and then and asks no select: these are what a gate lets through.",
                    edges_of(a.edge),
                    a.answered,
                    a.opportunities,
                ),
            )
        }
        How::InTurn { long } => (
            format!(
                "{line}: its short {level} pulses take turns with its long ones, one for each {to}, and are taken for its job"
            ),
            format!(
                "From one {edge} to the next there is one {level} pulse in (nearly) all of {} cycles: {} short ones, {wide}, and {long} long ones, after the same times (middle {lag}). A stray would come besides the long ones.",
                a.opportunities, a.answered,
            ),
        ),
    };
    let meant = match &a.how {
        How::InTurn { .. } => format!(
            "If {line} is never meant to be that short, look for what ends it early; if they are strays,"
        ),
        _ => format!("If {line} is not meant to answer {to}, they are strays:"),
    };
    Finding {
        severity: Severity::Note,
        topic: "stray",
        title,
        detail,
        try_next: vec![format!(
            "{meant} say narrow_below = \"{}\" for {line} in the setup, and they are counted as such.",
            time(a.limit)
        )],
        lines: vec![line, to],
    }
}

/// Short pulses that begin as the line's long ones do.
pub fn own(capture: &Capture, strays: &Strays, o: &Own) -> Finding {
    let (line, to) = (name(capture, o.line), name(capture, o.to));
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let level = o.level.word();
    Finding {
        severity: Severity::Note,
        topic: "stray",
        title: format!(
            "{line}: its short {level} pulses follow {} as its long ones do, and are taken for its job",
            switching(capture, o.to, o.edge)
        ),
        detail: format!(
            "{} begin {} to {} after {} of {to}, and so do {} of {} longer ones. A neighbour's edge strikes whatever the line's own logic does.",
            count_of(pulses::own(capture, strays, o).pulses.len() as u64, "short one"),
            time(o.lags.0),
            time(o.lags.1),
            edges_of(o.edge),
            o.long,
            o.of_long,
        ),
        try_next: vec![format!(
            "If {to} does not drive {line}, not even by way of a register or a gate, they are strays{}",
            match strays.limits[o.line].of(o.level) {
                // Others of the level are counted as strays already.
                Some(limit) => format!(
                    ": the limit inferred for {line} ({}) leaves them out only because they begin as its long ones do, and holds for them as well once the setup says it.",
                    span(&capture.timebase, limit)
                ),
                None => format!(
                    ": say narrow_below = \"{}\" for {line} in the setup, and they are counted as such.",
                    span(&capture.timebase, o.limit)
                ),
            }
        )],
        lines: vec![line, to],
    }
}

/// A gate that glitches by itself.
pub fn hazard(capture: &Capture, strays: &Strays, h: &Hazard) -> Finding {
    let victim = name(capture, h.victim);
    let inputs: Vec<String> = h.inputs.iter().map(|&line| name(capture, line)).collect();
    let listed = list(&inputs);
    let [both, how_many, others] = match inputs.len() {
        2 => ["both are", "these two inputs", "neither induces"],
        _ => ["all are", "these inputs", "none of them induces"],
    };
    let held = &inputs[..inputs.len().saturating_sub(1)];
    Finding {
        severity: Severity::Warning,
        topic: "inseparable",
        title: format!("{victim}: its stray pulses come when {listed} switch almost together"),
        detail: format!(
            "{} of {} lie between edges of these.{} Once {both} at rest their levels settle {victim}'s, as of a gate with {how_many}; while one has switched and another has not, that gate shows the level of these pulses (a hazard). So {others} them.",
            h.strays,
            count_of(h.of, "stray pulse"),
            beside_own(tally::listed(strays, h.victim), h.of, &victim)
                .map_or(String::new(), |more| format!(" {more}")),
        ),
        try_next: vec![
            format!(
                "If what reads {victim} looks at it only well after they have switched, these pulses do no harm; if it counts or latches on {victim}, take it through a flip-flop, or make {listed} never change at one step."
            ),
            format!(
                "To be sure that it is the gate: hold {} still (at the driver) and let {} go on: {victim} must be clean then.",
                list(held),
                inputs.last().map_or("the rest", String::as_str),
            ),
            CAUTION.to_string(),
        ],
        lines: std::iter::once(victim).chain(inputs).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Edge;
    use crate::analysis::strays::{LimitOrigin, NarrowLimit};
    use crate::model::{Level, Line, Ticks, TimeSpan};

    #[test]
    fn where_a_limit_stands_already_nobody_is_told_to_get_one() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let capture = Capture::in_nanoseconds("limits", span, ["TALLY", "STEP"].map(line).to_vec());
        let own = Own {
            line: 0,
            level: Level::High,
            to: 1,
            edge: Edge::Rise,
            short: 9,
            long: 8,
            of_long: 9,
            lags: (10, 12),
            limit: 60.0,
        };
        let told = |high: Option<f64>| {
            let limit = NarrowLimit {
                low: Some(20.0),
                high,
                origin: LimitOrigin::Inferred,
            };
            let strays = Strays {
                limits: vec![limit; 2],
                sampling: vec![0.0; 2],
                ..Strays::default()
            };
            super::own(&capture, &strays, &own).try_next.remove(0)
        };
        assert!(
            told(None).contains("say narrow_below = \"60 ns\""),
            "{}",
            told(None)
        );
        assert!(!told(Some(60.0)).contains("narrow_below"), "{}", told(Some(60.0)));
        assert!(told(Some(60.0)).contains("the limit inferred for TALLY (60 ns)"));
    }
}
