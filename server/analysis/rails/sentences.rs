//! What checked rails have to say.

use super::assumed::AboutZero;
use super::{Cause, Excursion, RailResult};
use crate::analysis::findings::{Finding, Severity, edges_word, small};
use crate::model::Capture;
use crate::model::units::{engineering, moment, p_is, percent_to_tenths, seconds, three_digits};
use crate::rule::{Rail, Reading};

/// TTL parts are specified for a supply within 5 %, those for the widest range within 10 % (from memory of their data
/// books: 4.5 V to 5.5 V).
const FAR: f64 = 0.1;

const CAUTION: &str =
    "Measure at low voltage only; anything on the mains side of the supply is for a qualified person.";

/// One finding a rail that left its tolerance, dropped too much, or was not captured.
pub fn findings(capture: &Capture, rails: &[Rail], results: &[RailResult]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (rail, result) in rails.iter().zip(results) {
        found.extend(not_checked(rail, result));
        found.extend(excursions(capture, rail, result));
        found.extend(dropped(rail, result));
        found.extend(
            result
                .readings_outside
                .iter()
                .map(|&at| metered(rail, &rail.readings[at])),
        );
    }
    found
}

/// One warning for each supply that rests near 0 V.
pub fn about_zero(found: &[AboutZero]) -> Vec<Finding> {
    let warning = |of: &AboutZero| {
        let name = &of.line;
        Finding {
            severity: Severity::Warning,
            topic: "rail",
            lines: vec![name.clone()],
            title: format!("{name} rests at {}: is its channel AC-coupled?", volts(of.rest_v)),
            detail: format!(
                "By its name it is a supply, and a supply that is on is nowhere near 0 V. A channel that passes no direct voltage \
                 shows only how it moves: here down to {} and up to {}. So it was not held against any limits.",
                volts(of.smallest_v),
                volts(of.largest_v)
            ),
            try_next: vec![
                "Set the channel to DC coupling and repeat: then each dip is held against what the supply should be.".to_owned(),
                format!("If {name} is at 0 V by the meter too, it is off, or its wire is open."),
                CAUTION.to_owned(),
            ],
        }
    };
    found.iter().map(warning).collect()
}

fn volts(value: f64) -> String {
    engineering(value, "V")
}

/// `lines`: those beside the rail.
fn make(
    rail: &Rail,
    severity: Severity,
    mut lines: Vec<String>,
    (title, detail): (String, String),
    mut try_next: Vec<String>,
) -> Finding {
    lines.insert(0, rail.line.clone());
    try_next.push(CAUTION.to_owned());
    Finding {
        severity,
        topic: "rail",
        lines,
        title,
        detail,
        try_next,
    }
}

fn not_checked(rail: &Rail, result: &RailResult) -> Option<Finding> {
    // A rail that only the meter knows is not missed in the capture.
    let is_metered_only = rail.setup_line.is_none() && !rail.readings.is_empty();
    let missing = result.missing.as_ref().filter(|_| !is_metered_only)?;
    let title = format!(
        "The rail {} could not be checked: this capture has no volts of {missing}",
        rail.line
    );
    let line = rail
        .setup_line
        .map_or("A part".to_owned(), |n| format!("Line {n}"));
    let detail = format!("{line} of the setup file names it.");
    let next = vec!["Record it as an analog column, in volts.".to_owned()];
    Some(make(rail, Severity::Warning, Vec::new(), (title, detail), next))
}

fn excursions(capture: &Capture, rail: &Rail, result: &RailResult) -> Option<Finding> {
    let name = &rail.line;
    let worst = worst(rail, &result.excursions)?;
    let (low, high) = rail.allowed_v();
    let company = match &result.cause {
        Some(cause) if worst.is_dip => company(capture, cause),
        _ => String::new(),
    };
    let title = format!(
        "{name} {} to {}{company}; it should stay between {} and {}",
        if worst.is_dip { "sags" } else { "rises" },
        volts(worst.extreme_v),
        volts(low),
        volts(high)
    );
    let dips = result.excursions.iter().filter(|e| e.is_dip).count();
    let longest = result
        .excursions
        .iter()
        .map(|e| (e.end - e.start).0)
        .max()
        .unwrap_or(0);
    let first = &result.excursions[0];
    let mut detail = format!(
        "{} of {} excursions are dips; the longest lasts {}; the first is at {}{}. Mean {}, smallest {}, largest {}, \
         ripple {} rms; outside for {} % of the time.",
        dips,
        result.excursions.len(),
        seconds(capture.timebase.length_s(longest as f64)),
        moment(capture.seconds(first.start)),
        furthest(capture, first, worst),
        volts(result.mean_v),
        volts(result.smallest_v),
        volts(result.largest_v),
        volts(result.ripple_rms_v),
        percent_to_tenths(result.outside)
    );
    if rail.setup_line.is_none() {
        detail.push_str(&format!(
            " Taken as a supply of {} by its name and level; [rail.\"{name}\"] in the setup file says what it should \
             be.",
            volts(rail.nominal_v)
        ));
    }
    let mut lines = Vec::new();
    if let Some(cause) = &result.cause {
        detail.push_str(&evidence(capture, cause));
        let suspects = std::iter::once(&cause.line).chain(&cause.inseparable);
        lines.extend(suspects.map(|&line| capture.lines[line].name.clone()));
    }
    let next = vec![
        format!(
            "Measure {name} at the supply and at the board at once: a difference is dropped in the wire."
        ),
        "Add a reservoir capacitor beside what switches, or feed it by a wire of its own.".to_owned(),
    ];
    // What nobody said how far it may go is a fault where no part of the family is specified to work.
    let nominal = rail.nominal_v.abs();
    let far = |volts: f64| (volts.abs() - nominal).abs() > FAR * nominal;
    let is_fault = rail.setup_line.is_some() || far(result.smallest_v) || far(result.largest_v);
    let severity = if is_fault {
        Severity::Fault
    } else {
        Severity::Warning
    };
    Some(make(rail, severity, lines, (title, detail), next))
}

/// Whom the dips go with, for the title: " after LIFT, or DAMP, rises (12 of 14 dips)".
fn company(capture: &Capture, cause: &Cause) -> String {
    let line = &capture.lines[cause.line].name;
    let verb = edges_word(cause.polarity);
    let or = match cause.inseparable.len() {
        0 => String::new(),
        1 => format!(", or {}", capture.lines[cause.inseparable[0]].name),
        n => format!(", or one of {n} others"),
    };
    format!(" after {line}{or} {verb} ({} of {} dips)", cause.dips, cause.of)
}

/// The counts behind that, for the detail.
fn evidence(capture: &Capture, cause: &Cause) -> String {
    let line = &capture.lines[cause.line].name;
    let mut text = format!(
        " {} of {} dips begin within {} after a {} of {line} ({} expected by chance, {}).",
        cause.dips,
        cause.of,
        seconds(capture.timebase.length_s(cause.within)),
        cause.polarity.word(),
        small(cause.expected),
        p_is(cause.p_value)
    );
    if !cause.inseparable.is_empty() {
        let names: Vec<&str> = cause
            .inseparable
            .iter()
            .map(|&l| capture.lines[l].name.as_str())
            .collect();
        text.push_str(&format!(
            " The record can't tell {line} from {}: they switch along with it.",
            names.join(", ")
        ));
    }
    text
}

fn dropped(rail: &Rail, result: &RailResult) -> Option<Finding> {
    let ((mean, largest), limit) = (result.drop_v?, rail.max_drop_v?);
    if largest <= limit {
        return None;
    }
    let supply = rail.supply_end.clone().unwrap_or_default();
    let title = format!(
        "{} is lost between {supply} and {}; at most {} is allowed",
        volts(largest),
        rail.line,
        volts(limit)
    );
    let detail = format!("Mean drop {}, largest {}.", volts(mean), volts(largest));
    let next = vec![
        "Look for a thin wire or a warm, oxidised contact on the way; measure across each joint.".to_owned(),
    ];
    Some(make(rail, Severity::Warning, vec![supply], (title, detail), next))
}

fn metered(rail: &Rail, reading: &Reading) -> Finding {
    let (name, (low, high)) = (&rail.line, rail.allowed_v());
    let title = format!(
        "The meter read {} for {name} at {}; it should be between {} and {}",
        volts(reading.volts),
        reading.at,
        volts(low),
        volts(high)
    );
    let mut detail = "A meter shows the mean: short dips come on top of it.".to_owned();
    if rail.setup_line.is_none() {
        detail.push_str(&format!(
            " ±{:.0} % of {} is taken as allowed; [rail.\"{name}\"] in the setup file says it otherwise.",
            100.0 * rail.tolerance,
            volts(rail.nominal_v)
        ));
    }
    /// A meter that shows so many times what it should was read in another unit, or probed another rail.
    const ANOTHER_UNIT: f64 = 10.0;
    let times = reading.volts / rail.nominal_v;
    if times >= ANOTHER_UNIT || (times > 0.0 && times <= 1.0 / ANOTHER_UNIT) {
        detail.push_str(&format!(
            " It is {} times the {} that were said for it: is the unit of both right?",
            three_digits(times),
            volts(rail.nominal_v)
        ));
    }
    let next = vec!["Measure again from the supply outwards until the drop appears.".to_owned()];
    make(rail, Severity::Fault, Vec::new(), (title, detail), next)
}

/// The excursion furthest from what the supply should be.
fn worst<'a>(rail: &Rail, excursions: &'a [Excursion]) -> Option<&'a Excursion> {
    let far = |e: &&Excursion| (e.extreme_v - rail.nominal_v).abs();
    // Of equals the first.
    excursions.iter().rev().max_by(|a, b| far(a).total_cmp(&far(b)))
}

/// Where the furthest excursion is, in a sentence that has told of the `first`; nothing where that is the one.
fn furthest(capture: &Capture, first: &Excursion, worst: &Excursion) -> String {
    if worst == first {
        return String::new();
    }
    format!(
        ", the {} ({}) at {}",
        if worst.is_dip { "deepest" } else { "furthest" },
        volts(worst.extreme_v),
        moment(capture.seconds(worst.start))
    )
}

/// One warning for each line that nobody declared, looks like a supply and left its tolerance: a proposal, no accusation.
/// `rails` and `results`: as many, of [`super::assumed::proposed`].
pub fn proposed(capture: &Capture, rails: &[Rail], results: &[RailResult]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (rail, result) in rails.iter().zip(results) {
        let Some(worst) = worst(rail, &result.excursions) else {
            continue;
        };
        let name = &rail.line;
        let dips = result.excursions.iter().filter(|e| e.is_dip).count();
        let goes_with = result.cause.as_ref().map_or(String::new(), |c| {
            format!(
                " {} of {} dips begin within {} after a {} of {}.",
                c.dips,
                c.of,
                seconds(capture.timebase.length_s(c.within)),
                c.polarity.word(),
                capture.lines[c.line].name
            )
        });
        found.push(Finding {
            severity: Severity::Warning,
            topic: "rail",
            lines: vec![name.clone()],
            title: format!(
                "{name} looks like a supply of {} that {} to {}; nobody declared it",
                volts(rail.nominal_v),
                if worst.is_dip { "sags" } else { "rises" },
                volts(worst.extreme_v)
            ),
            detail: format!(
                "It never switches and stays near {}, and leaves ±{:.0} % of it {} ({} of them dips), the first at {}{}.{goes_with} \
                 A signal that rested all the time looks the same.",
                volts(rail.nominal_v),
                100.0 * rail.tolerance,
                if result.excursions.len() == 1 {
                    "once".to_owned()
                } else {
                    format!("{} times", result.excursions.len())
                },
                dips,
                moment(capture.seconds(result.excursions[0].start)),
                furthest(capture, &result.excursions[0], worst),
            ),
            try_next: vec![
                format!(
                    "If it is a supply, declare it in the setup file, [rail.\"{name}\"] with nominal = \"{} V\" and tolerance = \"{:.0} %\": then every dip is judged.",
                    rail.nominal_v,
                    100.0 * rail.tolerance
                ),
                CAUTION.to_owned(),
            ],
        });
    }
    found
}
