//! Sentences about what is not accused: lines that fit alike, a cause without a clip, a gate's own glitch, answers.

use super::coupling::{edges_of, figures, name, names, switching};
use super::pulses;
use super::tally::{self, beside_own};
use super::words::{count_of, list, percent, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::answers::Answers;
use crate::analysis::coupling::never_alone::{Kind, Shows};
use crate::analysis::coupling::own::Own;
use crate::analysis::coupling::parts::Ground;
use crate::analysis::coupling::{Attribution, Contrast, CopyOf, Coupling, Edge, Hazard, Uncaptured};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Polarity};

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

/// Lines that fit the same strays equally well.
pub fn inseparable(capture: &Capture, c: &Coupling) -> Finding {
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

/// Short pulses that answer another line, taken for driven.
pub fn answers(capture: &Capture, a: &Answers) -> Finding {
    let (line, to) = (name(capture, a.line), name(capture, a.to));
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let level = a.level.word();
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

/// Lines named with what they fit, at most.
const NAMED: usize = 3;

/// A cause that no probe was on.
pub fn uncaptured(capture: &Capture, strays: &Strays, attribution: &Attribution, u: &Uncaptured) -> Finding {
    let victim = name(capture, u.victim);
    let companions = names(capture, &u.companions);
    let mut detail: Vec<String> = Vec::new();
    let rows = || attribution.couplings.iter().filter(|c| c.victim == u.victim);
    let mut goes: Vec<String> = rows()
        .take(NAMED)
        .map(|c| {
            format!(
                "{} fits {} of them best (of its {} {})",
                name(capture, c.aggressor),
                c.strays,
                c.opportunities,
                edges_of(c.edge)
            )
        })
        .collect();
    let others: u64 = rows().skip(NAMED).map(|c| c.strays).sum();
    if others > 0 {
        goes.push(format!("other lines {others}"));
    }
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
    if let Some([(lifts, falls), (dips, rises)]) = u.against {
        detail.push(format!(
            "{} of {} seem to lift it and {} of {} to dip it, each against its edge. A line without a probe that rises at the first and falls at the second would pull each way as capacitance does.",
            edges_of(falls),
            name(capture, lifts),
            edges_of(rises),
            name(capture, dips)
        ));
    }
    if let Some((line, edge)) = u.late {
        detail.push(format!(
            "They begin before {}'s {}, by more than sampling and thresholds explain; what an edge induces comes after it.",
            name(capture, line),
            edges_of(edge)
        ));
    }
    if let Some(part) = part_of(u) {
        detail.push(is_part(capture, part));
    }
    if let Some(kind) = &u.kind {
        detail.push(comes_with_its_kind(capture, kind));
    }
    if let Some(contrast) = &u.contrast {
        detail.push(differs(capture, contrast));
    }
    if u.strays > 0 && !goes.is_empty() {
        let share = u.strays as f64 / u.of.max(1) as f64;
        detail.push(format!(
            "{} of {} ({} %) fit no captured line.",
            u.strays,
            count_of(u.of, "stray pulse"),
            percent(share)
        ));
    }
    let all = tally::listed(strays, u.victim);
    detail.extend(beside_own(all, u.of, &victim));
    let so = match &u.kind {
        Some(kind) => format!(
            "So it may be {}, or what they share, or a line that carries no clip and switches along with them.",
            name(capture, kind.line)
        ),
        None => "So the cause is more likely a line that carries no clip and switches along with them."
            .to_string(),
    };
    detail.push(so);
    let mut lines = vec![victim.clone()];
    lines.extend(companions.iter().cloned());
    let along = match companions.first() {
        Some(first) => format!("when {first} does"),
        None => "in the machine's step".to_string(),
    };
    let mut try_next = Vec::new();
    if let Some(kind) = &u.kind {
        let accused = name(capture, kind.line);
        try_next.push(format!(
            "Scope between the 0 V pin of the chip that drives {accused} and the 0 V pin of the one that reads {victim}, then likewise at their supply pins, clip on the machine's 0 V only: a spike at these moments is a lead that {accused} and {} share.",
            list(&names(capture, &kind.company))
        ));
    }
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
        title: match sharing(attribution, u) {
            Some(kind) => format!(
                "{victim}: {}, or a lead that it shares with {}, causes its {}",
                name(capture, kind.line),
                list(&names(capture, &kind.company)),
                count_of(all, "stray pulse")
            ),
            None => who_or_behind(capture, u, all, &victim, &companions),
        },
        lines,
        detail: detail.join(" "),
        try_next,
    }
}

/// The lines that look like a part of one without a probe.
fn part_lines(part: &Ground) -> Vec<usize> {
    match part {
        Ground::LeftOut { line, .. } | Ground::Toggled { line, .. } => vec![*line],
        Ground::TakeTurns { lines, .. } => lines.to_vec(),
    }
}

/// What shows lines to be a part of one without a probe, where no other line goes along as well: then they are no more than
/// some of many.
fn part_of(u: &Uncaptured) -> Option<&Ground> {
    let is_all = |part: &&Ground| {
        let lines = part_lines(part);
        u.companions.iter().all(|line| lines.contains(line))
    };
    u.part.as_ref().filter(is_all)
}

/// "CLEAR_N: no captured line causes its 12 stray pulses; something that switches along with STEP does"
fn who_or_behind(capture: &Capture, u: &Uncaptured, all: u64, victim: &str, companions: &[String]) -> String {
    let pulses = count_of(all, "stray pulse");
    let parts = part_of(u).map_or(Vec::new(), part_lines);
    match (parts.len(), companions.is_empty()) {
        (0, true) => format!("{victim}: no captured line causes its {pulses}"),
        (0, false) => format!(
            "{victim}: no captured line causes its {pulses}; something that switches along with {} does",
            list(companions)
        ),
        (many, _) => format!(
            "{victim}: {}, or a line without a probe behind {}, causes its {pulses}",
            list(&names(capture, &parts)),
            if many > 1 { "them" } else { "it" }
        ),
    }
}

/// Who brings most of the strays, if what it does by itself does not show.
fn sharing<'a>(attribution: &Attribution, u: &'a Uncaptured) -> Option<&'a Kind> {
    let kind = u.kind.as_ref()?;
    let rows = attribution.couplings.iter().filter(|c| c.victim == u.victim);
    let strikes: u64 = rows.filter(|c| c.aggressor == kind.line).map(|c| c.strays).sum();
    (2 * strikes > u.of && part_of(u).is_none()).then_some(kind)
}

/// "BEAT_2 hardly ever rises without BEAT_0 and BEAT_1, …"
fn comes_with_its_kind(capture: &Capture, kind: &Kind) -> String {
    let [does, pulls, lead] = match kind.polarity {
        Polarity::Rise => ["rises", "a rise that dips a line", "supply lead"],
        Polarity::Fall => ["falls", "a fall that lifts a line", "0 V lead"],
    };
    let (line, others) = (name(capture, kind.line), list(&names(capture, &kind.company)));
    let how = match kind.shows {
        Shows::MoreTogether => format!("{line} strikes oftener where more of {others} go the same way"),
        Shows::NeverAlone => format!("{line} hardly ever {does} without any of {others}"),
        Shows::Several => format!("{line} and {others} all strike as each {does}"),
    };
    format!(
        "{how}, and {pulls} is what a {lead} does that such outputs share. What {line} does by itself this capture does not show."
    )
}

/// "CLOCK_Q0's rises and falls strike alike and one way, …"
fn is_part(capture: &Capture, part: &Ground) -> String {
    match part {
        Ground::LeftOut { line, edge, without } => format!(
            "{} of them come where one of {}'s {} would be due and is left out, and none near the others: so a gated copy of a line looks.",
            without,
            name(capture, *line),
            edges_of(*edge)
        ),
        Ground::TakeTurns { lines: [a, b], .. } => format!(
            "{} and {} strike after the same lag and equally often, and never switch near each other: so two gated copies of one line look.",
            name(capture, *a),
            name(capture, *b)
        ),
        Ground::Toggled { line, next: None } => format!(
            "{0}'s rises and falls strike alike and one way, and it runs as evenly as a divider's output: what toggles {0} has an edge at each of them.",
            name(capture, *line)
        ),
        Ground::Toggled {
            line,
            next: Some(next),
        } => format!(
            "{0}'s rises and falls strike alike and one way, and {1} is toggled by one of them as a counter's next bit is: what toggles {0} has an edge at each of them.",
            name(capture, *line),
            name(capture, *next)
        ),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
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

    #[test]
    fn a_lead_is_named_where_most_strays_come_with_their_kind() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let names = ["CLEAR_N", "BEAT_2", "BEAT_1", "BEAT_0"];
        let capture = Capture::in_nanoseconds("leads", span, names.map(line).to_vec());
        let doubt = |shows: Shows, late: Option<(usize, Edge)>, of_kind: u64| {
            let uncaptured = Uncaptured {
                victim: 0,
                strays: 0,
                of: 20,
                companions: vec![1],
                contrast: None,
                both_ways: None,
                against: None,
                part: None,
                kind: Some(Kind {
                    line: 1,
                    polarity: Polarity::Rise,
                    company: vec![2, 3],
                    shows,
                }),
                late,
            };
            let strikes = |line: usize, strays: u64| {
                let mut row = fixtures::row([0, line], Edge::Rise, 10, Vec::new(), 30);
                row.strays = strays;
                row
            };
            let attribution = Attribution {
                couplings: vec![strikes(1, of_kind), strikes(2, 20 - of_kind)],
                ..Attribution::default()
            };
            self::uncaptured(&capture, &Strays::default(), &attribution, &uncaptured)
        };
        let most = doubt(Shows::NeverAlone, None, 19);
        assert!(
            most.title
                .starts_with("CLEAR_N: BEAT_2, or a lead that it shares with BEAT_1 and BEAT_0, causes")
        );
        assert!(
            most.detail
                .contains("BEAT_2 hardly ever rises without any of BEAT_1 and BEAT_0")
        );
        assert!(most.try_next[0].contains("supply pins"));
        let few = doubt(Shows::MoreTogether, Some((1, Edge::Rise)), 4);
        assert!(few.title.contains("no captured line causes"), "{}", few.title);
        assert!(
            few.detail
                .contains("strikes oftener where more of BEAT_1 and BEAT_0 go the same way")
        );
        assert!(few.detail.contains("They begin before BEAT_2's rises"));
    }
}
