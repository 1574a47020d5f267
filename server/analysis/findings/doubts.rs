//! Sentences about what is not accused: lines that fit alike, a cause without a clip, a gate's own glitch, answers.

use super::coupling::{edges_of, figures, name, names, switching};
use super::words::{count_of, list, percent, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::answers::Answers;
use crate::analysis::coupling::crowds::Unsure;
use crate::analysis::coupling::own::Own;
use crate::analysis::coupling::parts::Ground;
use crate::analysis::coupling::{Attribution, Contrast, CopyOf, Coupling, Edge, Hazard, Uncaptured};
use crate::model::Capture;

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
pub fn own(capture: &Capture, o: &Own) -> Finding {
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
            count_of(o.short, "short one"),
            time(o.lags.0),
            time(o.lags.1),
            edges_of(o.edge),
            o.long,
            o.of_long,
        ),
        try_next: vec![format!(
            "If {to} does not drive {line}, not even by way of a register or a gate, they are strays: say narrow_below = \"{}\" for {line} in the setup, and they are counted as such.",
            span(&capture.timebase, o.limit)
        )],
        lines: vec![line, to],
    }
}

/// Pulses that are another line's from the first edge to the last: a gate, or two lines that touch.
fn whole_pulses(
    capture: &Capture,
    u: &Unsure,
    [line, other]: [&str; 2],
    (followers, of): (u64, u64),
) -> Finding {
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let [least, _, most] = u.crowd.widths.map(|w| time(w as f64));
    Finding {
        severity: Severity::Note,
        topic: "stray",
        title: format!(
            "{line} now and then shows {other}'s whole pulse; a gate lets it through or the two touch, this capture can't tell"
        ),
        detail: format!(
            "{} of {line}'s {} begin and end with a pulse of {other} ({least} to {most} wide); {of} pulses of {other} could have done so. {line} has longer pulses of its own, and no captured line's level shows what would let these through.",
            followers,
            count_of(u.crowd.of, &format!("{} pulse", u.crowd.level.word())),
        ),
        try_next: vec![
            format!(
                "Look at the wiring list: if a gate joins {other} to {line}, capture its enable as well; these pulses must come with it."
            ),
            format!(
                "If none does: with the power off and nothing stored, measure between {line} and {other}; look for a solder bridge, a bent pin, or two strands that touch when the board is moved."
            ),
            CAUTION.to_string(),
        ],
        lines: vec![line.to_owned(), other.to_owned()],
    }
}

/// Short pulses that may be strays or a line's job.
pub fn unsure(capture: &Capture, u: &Unsure) -> Finding {
    let crowd = &u.crowd;
    let line = name(capture, crowd.line);
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let level = crowd.level.word();
    let short = count_of(crowd.pulses, &format!("short {level} pulse"));
    let [least, middle, most] = crowd.widths.map(|w| time(w as f64));
    let wide = match least == most {
        true => format!("all {least} wide"),
        false => format!("{least} to {most} wide, half of them no longer than {middle}"),
    };
    let (title, why) = match u.follows {
        Some((to, edge, followers, of)) => (
            format!(
                "{line}: {} {}; strays or its job, this capture can't tell",
                match followers == crowd.pulses {
                    true => format!("{short} follow"),
                    false => format!("{followers} of {short} follow"),
                },
                switching(capture, to, edge)
            ),
            format!(
                "{followers} of them follow {} of {}, {of} of which could have brought one. {}",
                edges_of(edge),
                name(capture, to),
                match crowd.scatters {
                    _ if crowd.is_part => "A second part that drives it would do so as well.",
                    true => "That is so nearly always that they may be meant.",
                    false => "Their widths repeat, as those of pulses that a part drives.",
                }
            ),
        ),
        None => (
            format!("{line}: {short} may be strays or its job, which this capture can't tell"),
            match crowd.is_useless {
                true => "They are too short for most parts to heed, and follow no captured line often enough to name it.",
                false => "No captured line's edges bring them more often than chance does.",
            }
            .to_owned(),
        ),
    };
    let to = u.follows.map(|(to, ..)| name(capture, to));
    if let (true, Some((_, _, followers, of)), Some(other)) = (u.whole, u.follows, &to) {
        return whole_pulses(capture, u, [&line, other], (followers, of));
    }
    Finding {
        severity: match crowd.is_useless || crowd.scatters && u.follows.is_some() {
            true => Severity::Warning,
            false => Severity::Note,
        },
        topic: "stray",
        title,
        detail: format!(
            "{why} They are {wide}, and {} of {} {level} pulses of {line}: {}",
            crowd.pulses,
            crowd.of,
            match crowd.is_part {
                true =>
                    "too short for most parts to heed, and apart from its longer ones, which follow another line.",
                false => "its widths show no limit below which a pulse is stray.",
            },
        ),
        try_next: vec![
            format!(
                "If no part drives {line} with such pulses, say narrow_below = \"{}\" for {line} in the setup: they are then counted as strays, and whatever brings them is named.",
                time(crowd.limit)
            ),
            format!("If they are its job, say a narrow_below shorter than {least}."),
        ],
        lines: std::iter::once(line).chain(to).collect(),
    }
}

/// A gate that glitches by itself.
pub fn hazard(capture: &Capture, h: &Hazard) -> Finding {
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
            "{} of {} lie between edges of these. Once {both} at rest their levels settle {victim}'s, as of a gate with {how_many}; while one has switched and another has not, that gate shows the level of these pulses (a hazard). So {others} them.",
            h.strays,
            count_of(h.of, "stray pulse"),
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

/// A cause that no probe was on.
pub fn uncaptured(capture: &Capture, attribution: &Attribution, u: &Uncaptured) -> Finding {
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
    if let Some(part) = &u.part {
        detail.push(is_part(capture, part));
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
        title: who_or_behind(capture, u, &victim, &companions),
        lines,
        detail: detail.join(" "),
        try_next,
    }
}

/// "CLEAR_N: no captured line causes its 12 stray pulses; something that switches along with STEP does"
fn who_or_behind(capture: &Capture, u: &Uncaptured, victim: &str, companions: &[String]) -> String {
    let pulses = count_of(u.of, "stray pulse");
    let parts: Vec<usize> = match u.part {
        Some(Ground::LeftOut { line, .. } | Ground::Toggled { line }) => vec![line],
        Some(Ground::TakeTurns { lines, .. }) => lines.to_vec(),
        None => Vec::new(),
    };
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
        Ground::Toggled { line } => format!(
            "{0}'s rises and falls strike alike and one way, and it runs as evenly as a divider's output: what toggles {0} has an edge at each of them.",
            name(capture, *line)
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
