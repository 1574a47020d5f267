//! What wrong levels have to say.

use super::{BY_VOLTS, Kind, OPEN_TTL_V, Trouble};
use crate::analysis::findings::{CAUTION, Finding, Severity, list, span};
use crate::model::units::{count_of, percent_to_tenths};
use crate::model::{Capture, Level};

/// What a scope's own volts may be off, in volts: some 3 % of a reading of 3 V (common practice, no source). A level nearer
/// than this to its threshold may be good.
const SCOPE_OFF_V: f64 = 0.1;

/// One finding a line; lines whose probes are set wrong in the same way, and lines that stand or float together, share one.
pub fn findings(capture: &Capture, troubles: &[Trouble]) -> Vec<Finding> {
    let mut found = Vec::new();
    for is_tenfold in [true, false] {
        let of_factor =
            |t: &&Trouble| matches!(t.kind, Kind::Factor { is_tenfold: it, .. } if it == is_tenfold);
        let lines: Vec<&Trouble> = troubles.iter().filter(of_factor).collect();
        found.extend(factor(capture, &lines, is_tenfold));
    }
    let about_zero = |t: &&Trouble| matches!(t.kind, Kind::AboutZero { .. });
    let lines: Vec<&Trouble> = troubles.iter().filter(about_zero).collect();
    found.extend(swings_about_zero(capture, &lines));
    let of_others = |t: &&Trouble| matches!(t.kind, Kind::Other { .. });
    let lines: Vec<&Trouble> = troubles.iter().filter(of_others).collect();
    found.extend(other(capture, &lines));
    for trouble in troubles {
        found.extend(match &trouble.kind {
            Kind::Factor { .. } | Kind::AboutZero { .. } | Kind::Other { .. } => None,
            Kind::Open { .. } => open(capture, trouble),
            Kind::Weak { .. } => weak(capture, trouble),
            Kind::Between { with: None, .. } => between(capture, trouble),
            // Told once of all.
            Kind::Bus { lines, .. } if lines.first() != Some(&trouble.line) => None,
            Kind::Bus { .. } => bus(capture, trouble),
            Kind::Between {
                with: Some(other), ..
            } => {
                // Told once of the two.
                let is_told = *other < trouble.line
                    && troubles
                        .iter()
                        .any(|t| t.line == *other && t.stands_beside(trouble.line));
                (!is_told).then(|| together(capture, trouble, *other)).flatten()
            }
        });
    }
    found
}

impl Trouble {
    fn stands_beside(&self, line: usize) -> bool {
        matches!(self.kind, Kind::Between { with: Some(other), .. } if other == line)
    }
}

fn name(capture: &Capture, line: usize) -> String {
    capture.lines[line].name.clone()
}

fn names(capture: &Capture, troubles: &[&Trouble]) -> Vec<String> {
    troubles.iter().map(|t| name(capture, t.line)).collect()
}

/// To a hundredth: what eight bits of a scope give.
fn volts(value: f64) -> String {
    let text = format!("{:.2}", value.abs());
    let short = text.trim_end_matches('0').trim_end_matches('.');
    let sign = if value < 0.0 && short != "0" {
        "\u{2212}"
    } else {
        ""
    };
    format!("{sign}{short} V")
}

/// Who sets a threshold, after "that".
fn asked_by(trouble: &Trouble) -> String {
    match trouble.family.as_str() {
        BY_VOLTS => "the setup file asks for".to_owned(),
        family => format!("{family} inputs need"),
    }
}

fn as_said(name: &str) -> String {
    format!(
        "If other levels are right for {name}, say its family, or low and high in volts, under [line.{name:?}] in the setup file."
    )
}

fn factor(capture: &Capture, lines: &[&Trouble], is_tenfold: bool) -> Option<Finding> {
    let first = lines.first()?;
    let Kind::Factor { low_v, high_v, .. } = first.kind else {
        return None;
    };
    let (all, of) = (names(capture, lines), name(capture, first.line));
    let (factor, logic, told) = match is_tenfold {
        true => (
            "Ten times",
            0.1,
            "the probe is at ×1 and the scope takes it for ×10",
        ),
        false => (
            "A tenth of",
            10.0,
            "the probe is at ×10 and the scope takes it for ×1",
        ),
    };
    let what = match is_tenfold {
        true => "a tenth of that",
        false => "ten times that",
    };
    Some(Finding {
        severity: Severity::Warning,
        topic: "limit",
        title: format!(
            "The levels of {} stand at {} and {}: is the probe's ×10 setting told to the scope?",
            list(&all),
            volts(low_v),
            volts(high_v)
        ),
        detail: format!(
            "{factor} what logic has: {what} is {} and {} ({of}). So it looks as if {told}. Strays and runts go by volts, so \
             nothing is judged of {}.",
            volts(low_v * logic),
            volts(high_v * logic),
            list(&all)
        ),
        try_next: vec![
            "Set the channel's probe factor to what the switch on the probe says, and capture again."
                .to_owned(),
            said_in_setup(&of, "really has such levels"),
            CAUTION.to_owned(),
        ],
        lines: all,
    })
}

/// What to do where a line's levels are as they should be.
fn said_in_setup(of: &str, what: &str) -> String {
    format!(
        "If {of} {what}, say low and high in volts under [line.{of:?}] in the setup file: they are taken as said."
    )
}

fn swings_about_zero(capture: &Capture, lines: &[&Trouble]) -> Option<Finding> {
    let first = lines.first()?;
    let Kind::AboutZero { low_v, high_v } = first.kind else {
        return None;
    };
    let (all, of) = (names(capture, lines), name(capture, first.line));
    let (swing, channel) = match all.len() {
        1 => ("swings", "the channel"),
        _ => ("swing", "each channel"),
    };
    Some(Finding {
        severity: Severity::Warning,
        topic: "limit",
        title: format!("{} {swing} about 0 V: is {channel} AC-coupled?", list(&all)),
        detail: format!(
            "{of} stands at {} and {}, and its mean is near 0 V. Logic of one supply has no level below 0 V; a channel that passes \
             no direct voltage shows any line so. Its thresholds don't hold there, so nothing is judged of {}.",
            volts(low_v),
            volts(high_v),
            list(&all)
        ),
        try_next: vec![
            "Set the channel to DC coupling, and capture again.".to_owned(),
            said_in_setup(&of, "is meant to swing about 0 V"),
            CAUTION.to_owned(),
        ],
        lines: all,
    })
}

fn other(capture: &Capture, lines: &[&Trouble]) -> Option<Finding> {
    let first = lines.first()?;
    let Kind::Other { low_v, high_v } = first.kind else {
        return None;
    };
    let (all, of) = (names(capture, lines), name(capture, first.line));
    let asks = match all.len() {
        1 => "Is",
        _ => "Are",
    };
    let (low_limit, high_limit) = (first.thresholds.low_v, first.thresholds.high_v);
    Some(Finding {
        severity: Severity::Warning,
        topic: "limit",
        title: format!(
            "{asks} {} logic of {}? {of} stands at {} and {}",
            list(&all),
            first.family,
            volts(low_v),
            volts(high_v)
        ),
        detail: format!(
            "Nobody said what it is. Inputs of {} need {} or less and {} or more. Its levels are clean, and its swing is of another \
             kind: a balanced pair, a driver of a higher voltage, a measured value or another family stands so. Its thresholds \
             don't hold there, so nothing is judged of {}.",
            first.family,
            volts(low_limit),
            volts(high_limit),
            list(&all)
        ),
        try_next: vec![
            as_said(&of),
            "See that the channel's probe factor is what the switch on the probe says.".to_owned(),
            format!(
                "If {of} is meant to be {}, one of its levels is wrong: say so in the setup file, and it is told as a fault.",
                first.family
            ),
            CAUTION.to_owned(),
        ],
        lines: all,
    })
}

fn open(capture: &Capture, trouble: &Trouble) -> Option<Finding> {
    let Kind::Open {
        rest_v,
        least_v,
        most_v,
        share,
    } = trouble.kind
    else {
        return None;
    };
    let of = name(capture, trouble.line);
    let sits = match (OPEN_TTL_V.0..=OPEN_TTL_V.1).contains(&rest_v) {
        true => "an open TTL input, or a wire that nothing drives, sits there",
        false => "no output stands there: the wire is open, or nothing drives it",
    };
    Some(Finding {
        severity: Severity::Fault,
        topic: "limit",
        title: format!("{of} rests at {}, between the thresholds: {sits}", volts(rest_v)),
        detail: format!(
            "It is between {} and {} for {} % of the record, and goes from {} to {}. Nothing holds it, so what switches beside \
             it moves it: stray pulses that are told of {of} come second.",
            volts(trouble.thresholds.low_v),
            volts(trouble.thresholds.high_v),
            percent_to_tenths(share),
            volts(least_v),
            volts(most_v)
        ),
        try_next: vec![
            format!(
                "Power off, and meter {of} from the pin that should drive it to the pin that reads it: a wire, joint, contact or socket is open, or nothing is wired to it."
            ),
            format!(
                "If {of} is a bus that parts take turns on, it may rest so between two turns: a pull-up keeps it high. See that its drivers are enabled when they should be."
            ),
            "An input that no part is to drive wants its resting level: to a high one through about 1 kΩ, to a low one straight to 0 V."
                .to_owned(),
            as_said(&of),
            CAUTION.to_owned(),
        ],
        lines: vec![of],
    })
}

fn weak(capture: &Capture, trouble: &Trouble) -> Option<Finding> {
    let Kind::Weak {
        level,
        stands_v,
        other_v,
        share,
        stretches,
        usual,
    } = trouble.kind
    else {
        return None;
    };
    let of = name(capture, trouble.line);
    let (is_high, threshold) = match level {
        Level::High => (true, trouble.thresholds.high_v),
        _ => (false, trouble.thresholds.low_v),
    };
    let short = (threshold - stands_v).abs();
    let (beyond, other, mut causes) = match is_high {
        true => (
            "below",
            "low",
            vec![
                "Count the inputs that it drives, and see whether another output pulls the wire down (a bridge to it, or two parts enabled at once).",
                "Where it has a pull-up: is it fitted, of the right value, and does its supply end have the supply?",
            ],
        ),
        false => (
            "above",
            "high",
            vec![
                "See whether another output or too strong a pull-up holds the wire up (a bridge, or two parts enabled at once).",
                "Meter from the 0 V pin of the part that drives it to the machine's 0 V while it works: a bad ground joint lifts every low of that part.",
            ],
        ),
    };
    causes.push("If it is as weak with nothing on it: the part's supply pin, then the part.");
    let severity = match short > SCOPE_OFF_V {
        true => Severity::Fault,
        false => Severity::Warning,
    };
    let mut try_next = vec![format!(
        "Hold the machine where {of} is {}, and meter it with its load and, once the load is lifted (power off for that), without: a level that comes right without has too much to drive.",
        level.word()
    )];
    try_next.extend(causes.into_iter().map(str::to_owned));
    try_next.push(
        "See that it is not the probe: its ground clip on the machine's 0 V nearby, its factor told to the scope.".to_owned(),
    );
    try_next.push(as_said(&of));
    try_next.push(CAUTION.to_owned());
    Some(Finding {
        severity,
        topic: "limit",
        title: format!(
            "{of}'s {} stands at {}, {beyond} the {} that {}",
            level.word(),
            volts(stands_v),
            volts(threshold),
            asked_by(trouble)
        ),
        detail: format!(
            "It never gets further: it stands there for {} % of the record, {}, half of them no longer than {}; its {other} is good at {}. {} are \
             missing, where a TTL output should have 0.4 V to spare. Parts may read it either way, and two of them may differ, so \
             nothing is judged of {of}: no neighbour is to blame for a level that stands.",
            percent_to_tenths(share),
            count_of(stretches as u64, "time"),
            span(&capture.timebase, usual),
            volts(other_v),
            volts(short)
        ),
        try_next,
        lines: vec![of],
    })
}

fn between(capture: &Capture, trouble: &Trouble) -> Option<Finding> {
    let Kind::Between { stands_v, .. } = trouble.kind else {
        return None;
    };
    let of = name(capture, trouble.line);
    let (title, first) = match (OPEN_TTL_V.0..=OPEN_TTL_V.1).contains(&stands_v) {
        true => (
            "nothing drives it there",
            format!(
                "See what should drive {of} at these moments, and whether it is enabled: an open TTL input, or a bus between two turns, stands there."
            ),
        ),
        false => (
            "two outputs may drive it, or one that is too weak",
            format!(
                "See whether another output is on {of}'s wire: a bridge to a neighbour, or two parts enabled at once. Put a channel on it."
            ),
        ),
    };
    Some(Finding {
        severity: Severity::Warning,
        topic: "limit",
        title: format!(
            "{of} stands at {} at times, between the thresholds: {title}",
            volts(stands_v)
        ),
        detail: stands(capture, trouble),
        try_next: vec![
            first,
            format!("Then the part that drives {of}: its supply and 0 V pins, its load, the part."),
            as_said(&of),
            CAUTION.to_owned(),
        ],
        lines: vec![of],
    })
}

fn bus(capture: &Capture, trouble: &Trouble) -> Option<Finding> {
    let Kind::Bus {
        rest_v,
        share,
        stretches,
        ref lines,
        gate,
    } = trouble.kind
    else {
        return None;
    };
    let all: Vec<String> = lines.iter().map(|&line| name(capture, line)).collect();
    let (goes, enabled) = match gate {
        Some((line, level)) => {
            let of = name(capture, line);
            (
                format!(" while {of} is {}", level.word()),
                format!("See that nothing reads them while {of} is {}.", level.word()),
            )
        }
        None => (
            " at times".to_owned(),
            "See that nothing reads them then, and that one driver is enabled whenever something does."
                .to_owned(),
        ),
    };
    Some(Finding {
        severity: Severity::Note,
        topic: "limit",
        title: format!(
            "{} float together at {}{goes}: a bus that nothing drives then",
            list(&all),
            volts(rest_v)
        ),
        detail: format!(
            "They rest between {} and {} at the same times, for {} % of the record, {}. That is no fault of a line: parts take turns \
             on a bus. Nothing that befalls them while they float is counted as a stray.",
            volts(trouble.thresholds.low_v),
            volts(trouble.thresholds.high_v),
            percent_to_tenths(share),
            count_of(stretches as u64, "time")
        ),
        try_next: vec![
            enabled,
            "Where something may read them then, pull-ups give them a level.".to_owned(),
            CAUTION.to_owned(),
        ],
        lines: all,
    })
}

/// How long, how often, and what is not counted for it.
fn stands(capture: &Capture, trouble: &Trouble) -> String {
    let Kind::Between {
        share,
        stretches,
        usual,
        ..
    } = trouble.kind
    else {
        return String::new();
    };
    format!(
        "Between {} and {} it stands for {} % of the record, {}, half of them no longer than {}. Parts may read that either \
         way. A level that stands is no stray, and is not counted as one.",
        volts(trouble.thresholds.low_v),
        volts(trouble.thresholds.high_v),
        percent_to_tenths(share),
        count_of(stretches as u64, "time"),
        span(&capture.timebase, usual)
    )
}

fn together(capture: &Capture, trouble: &Trouble, other: usize) -> Option<Finding> {
    let Kind::Between {
        stands_v,
        share,
        stretches,
        usual,
        ..
    } = trouble.kind
    else {
        return None;
    };
    let (a, b) = (name(capture, trouble.line), name(capture, other));
    Some(Finding {
        severity: Severity::Fault,
        topic: "limit",
        title: format!(
            "{a} and {b} stand at {} together, which is no good level: two outputs drive against each other",
            volts(stands_v)
        ),
        detail: format!(
            "They are at one voltage throughout, as on one wire. For {} % of the record, {}, half of them no longer than {}, that is \
             neither a good low level (a TTL output's is at most 0.5 V) nor a good high one: where one drives high and the other \
             low, neither wins. Nothing is judged of their pulses until they are apart.",
            percent_to_tenths(share),
            count_of(stretches as u64, "time"),
            span(&capture.timebase, usual)
        ),
        try_next: vec![
            format!(
                "Power off, and meter from {a} to {b}: near 0 Ω is a bridge. Look for a splash of solder, a bent pin or a swapped wire between them, and take it off."
            ),
            format!(
                "If they are meant to be one wire, only one output may drive at a time: see which parts on it are enabled when it stands at {}.",
                volts(stands_v)
            ),
            "Outputs that have fought may be weak since: repeat, and see that both levels are good."
                .to_owned(),
            CAUTION.to_owned(),
        ],
        lines: vec![a, b],
    })
}
