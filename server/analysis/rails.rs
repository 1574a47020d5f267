//! Supply rails: how far they stray from nominal, when they dip, and whose switching the dips go with.

use super::stats::tails::binomial_upper;
use super::volts::Volts;
use crate::analysis::findings::{Finding, Severity};
use crate::model::units::{engineering, seconds};
use crate::model::{Capture, Polarity, Ticks};
use crate::rule::Rail;

/// A dip ends when the rail is back inside by this share of the tolerance (no source: keeps noise at the bound from cutting one
/// dip into many).
const BACK_INSIDE: f64 = 0.1;
/// A dip goes with an edge at most this many sampling periods before it (no source).
const NEAR_SAMPLES: f64 = 10.0;
/// Chance that is still called a cause, after allowing for the lines and polarities tried.
const LEVEL: f64 = 0.01;

/// A stretch outside the tolerance.
#[derive(Clone, Debug, PartialEq)]
pub struct Excursion {
    pub start: Ticks,
    pub end: Ticks,
    /// The value furthest from nominal.
    pub extreme_v: f64,
    /// Towards zero (a dip) or away from it.
    pub is_dip: bool,
}

/// The line whose edges the dips follow.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    pub line: usize,
    pub polarity: Polarity,
    /// Dips that begin within the window after such an edge, of all dips.
    pub dips: u64,
    pub of: u64,
    /// As many by chance, from the share of time the windows cover.
    pub expected: f64,
    pub p_value: f64,
}

/// What a rail did. Volts throughout.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RailResult {
    pub missing: Option<String>,
    pub samples: u64,
    pub mean_v: f64,
    pub smallest_v: f64,
    pub largest_v: f64,
    /// Root mean square of the distance from the mean.
    pub ripple_rms_v: f64,
    /// Share of the samples outside the tolerance.
    pub outside: f64,
    pub excursions: Vec<Excursion>,
    pub cause: Option<Cause>,
    /// Supply end minus this end, both towards nominal's sign: mean and largest.
    pub drop_v: Option<(f64, f64)>,
    /// Readings outside the tolerance: positions in the rail's list.
    pub readings_outside: Vec<usize>,
}

/// Checks all rails. Cost: linear in samples and edges, per rail.
pub fn check(capture: &Capture, rails: &[Rail]) -> Vec<RailResult> {
    rails.iter().map(|rail| check_one(capture, rail)).collect()
}

fn check_one(capture: &Capture, rail: &Rail) -> RailResult {
    let (low, high) = rail.allowed_v();
    let outside = |r: &usize| !(low..=high).contains(&rail.readings[*r].volts);
    let mut result = RailResult {
        readings_outside: (0..rail.readings.len()).filter(outside).collect(),
        ..RailResult::default()
    };
    let Some(volts) = Volts::named(capture, &rail.line).filter(|v| !v.is_empty()) else {
        result.missing = Some(rail.line.clone());
        return result;
    };
    let n = volts.volts.len() as f64;
    result.samples = volts.volts.len() as u64;
    result.mean_v = volts.volts.iter().sum::<f64>() / n;
    result.smallest_v = volts.volts.iter().copied().fold(f64::INFINITY, f64::min);
    result.largest_v = volts.volts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let squares: f64 = volts.volts.iter().map(|v| (v - result.mean_v).powi(2)).sum();
    result.ripple_rms_v = (squares / n).sqrt();
    result.outside = volts.volts.iter().filter(|v| !(low..=high).contains(*v)).count() as f64 / n;
    result.excursions = excursions(rail, &volts);
    result.cause = cause(capture, &volts, &result.excursions);
    if let Some(supply) = &rail.supply_end {
        match Volts::named(capture, supply).filter(|v| !v.is_empty()) {
            Some(supply) => result.drop_v = drop(&supply, &volts, rail.nominal_v.signum()),
            None => result.missing = Some(supply.clone()),
        }
    }
    result
}

fn excursions(rail: &Rail, volts: &Volts) -> Vec<Excursion> {
    let (low, high) = rail.allowed_v();
    let back = (high - low) / 2.0 * BACK_INSIDE;
    let mut found: Vec<Excursion> = Vec::new();
    let mut is_out = false;
    for (&time, &value) in volts.times.iter().zip(&volts.volts) {
        let time = Ticks(time as i64);
        if is_out {
            let current = found.last_mut().expect("an excursion is open");
            current.end = time;
            if value >= low + back && value <= high - back {
                is_out = false;
            } else if (value - rail.nominal_v).abs() > (current.extreme_v - rail.nominal_v).abs() {
                current.extreme_v = value;
            }
        } else if value < low || value > high {
            is_out = true;
            found.push(Excursion {
                start: time,
                end: time,
                extreme_v: value,
                is_dip: (value - rail.nominal_v) * rail.nominal_v.signum() < 0.0,
            });
        }
    }
    found
}

/// The line and polarity whose edges most dips follow, where chance does not explain it: each dip falls into a window
/// after an edge with the chance that the windows cover (binomial upper tail, times the number of suspects tried).
fn cause(capture: &Capture, volts: &Volts, excursions: &[Excursion]) -> Option<Cause> {
    let dips: Vec<f64> = excursions
        .iter()
        .filter(|e| e.is_dip)
        .map(|e| e.start.0 as f64)
        .collect();
    let (first, last) = (*volts.times.first()?, *volts.times.last()?);
    if dips.len() < 2 || last <= first {
        return None;
    }
    let window = NEAR_SAMPLES * (last - first) / (volts.times.len() as f64 - 1.0);
    let mut tried = 0.0;
    let mut best: Option<Cause> = None;
    for (index, line) in capture
        .lines
        .iter()
        .enumerate()
        .filter(|(_, l)| l.trace.is_none())
    {
        for polarity in [Polarity::Rise, Polarity::Fall] {
            let edges = crate::analysis::rules::edges::Edges::of(line, Some(polarity));
            if edges.is_empty() {
                continue;
            }
            tried += 1.0;
            let (mut covered, mut until, mut hit, mut next) = (0.0, first, 0u64, 0);
            for edge in edges.iter().map(|e| e.0 as f64) {
                let (start, end) = (edge.max(until), (edge + window).min(last));
                covered += (end - start).max(0.0);
                until = until.max(end);
                while next < dips.len() && dips[next] <= edge + window {
                    hit += u64::from(dips[next] >= edge);
                    next += 1;
                }
            }
            let share = (covered / (last - first)).clamp(0.0, 1.0);
            let of = dips.len() as u64;
            let p_value = binomial_upper(hit, of, share);
            if best.as_ref().is_none_or(|b| p_value < b.p_value) {
                best = Some(Cause {
                    line: index,
                    polarity,
                    dips: hit,
                    of,
                    expected: share * of as f64,
                    p_value,
                });
            }
        }
    }
    best.map(|b| Cause {
        p_value: (b.p_value * tried).min(1.0),
        ..b
    })
    .filter(|b| b.p_value <= LEVEL)
}

/// Mean and largest of supply minus board, at the board's moments.
fn drop(supply: &Volts, board: &Volts, sign: f64) -> Option<(f64, f64)> {
    let pairs = board.times.iter().zip(&board.volts);
    let drops: Vec<f64> = pairs
        .filter_map(|(&t, v)| Some((supply.at(t)? - v) * sign))
        .collect();
    let largest = drops.iter().copied().reduce(f64::max)?;
    Some((drops.iter().sum::<f64>() / drops.len() as f64, largest))
}

const CAUTION: &str =
    "Measure at low voltage only; anything on the mains side of the supply is for a qualified person.";

/// One finding a rail that left its tolerance, dropped too much, or was not captured.
pub fn findings(capture: &Capture, rails: &[Rail], results: &[RailResult]) -> Vec<Finding> {
    let mut found = Vec::new();
    for (rail, result) in rails.iter().zip(results) {
        let name = &rail.line;
        let volts = |v: f64| engineering(v, "V");
        let (low, high) = rail.allowed_v();
        let make = |severity, mut lines: Vec<String>, title, detail, mut try_next: Vec<String>| {
            lines.insert(0, name.clone());
            try_next.push(CAUTION.to_owned());
            Finding {
                severity,
                topic: "rail",
                lines,
                title,
                detail,
                try_next,
            }
        };
        // A rail that only the meter knows is not missed in the capture.
        let is_metered_only = rail.setup_line.is_none() && !rail.readings.is_empty();
        if let Some(missing) = result.missing.as_ref().filter(|_| !is_metered_only) {
            let title =
                format!("The rail {name} could not be checked: this capture has no volts of {missing}");
            let line = rail
                .setup_line
                .map_or("A part".to_owned(), |n| format!("Line {n}"));
            let detail = format!("{line} of the setup file names it.");
            let next = vec!["Record it as an analog column, in volts.".to_owned()];
            found.push(make(Severity::Warning, Vec::new(), title, detail, next));
        }
        if let Some(worst) = worst(rail, &result.excursions) {
            let dips = result.excursions.iter().filter(|e| e.is_dip).count();
            let company = match &result.cause {
                Some(c) if worst.is_dip => {
                    let (line, edge) = (&capture.lines[c.line].name, c.polarity);
                    let verb = if edge == Polarity::Rise { "rises" } else { "falls" };
                    format!(" after {line} {verb} ({} of {} dips)", c.dips, c.of)
                }
                _ => String::new(),
            };
            let title = format!(
                "{name} {} to {}{company}; it should stay between {} and {}",
                if worst.is_dip { "sags" } else { "rises" },
                volts(worst.extreme_v),
                volts(low),
                volts(high)
            );
            let longest = result
                .excursions
                .iter()
                .map(|e| (e.end - e.start).0)
                .max()
                .unwrap_or(0);
            let mut detail = format!(
                "{} of {} excursions are dips; the longest lasts {}, the first is at {}. Mean {}, smallest {}, largest {}, \
                 ripple {} rms; outside for {:.2} % of the time.",
                dips,
                result.excursions.len(),
                seconds(capture.timebase.length_s(longest as f64)),
                seconds(capture.seconds(result.excursions[0].start)),
                volts(result.mean_v),
                volts(result.smallest_v),
                volts(result.largest_v),
                volts(result.ripple_rms_v),
                100.0 * result.outside
            );
            if rail.setup_line.is_none() {
                detail.push_str(&format!(
                    " Taken as a supply of {} by its name and level; [rail.\"{name}\"] in the setup file says what it should be.",
                    volts(rail.nominal_v)
                ));
            }
            let mut lines = Vec::new();
            if let Some(cause) = &result.cause {
                let line = &capture.lines[cause.line].name;
                lines.push(line.clone());
                detail.push_str(&format!(
                    " {} of {} dips begin within {NEAR_SAMPLES} samples after a {} of {line} ({:.2} expected by chance, p = {:.2e}).",
                    cause.dips,
                    cause.of,
                    cause.polarity.word(),
                    cause.expected,
                    cause.p_value
                ));
            }
            let next = vec![
                format!(
                    "Measure {name} at the supply and at the board at once: a difference is dropped in the wire."
                ),
                "Add a reservoir capacitor beside what switches, or feed it by a wire of its own.".to_owned(),
            ];
            let severity = match rail.setup_line {
                Some(_) => Severity::Fault,
                None => Severity::Warning,
            };
            found.push(make(severity, lines, title, detail, next));
        }
        if let (Some((mean, largest)), Some(limit)) = (result.drop_v, rail.max_drop_v)
            && largest > limit
        {
            let supply = rail.supply_end.clone().unwrap_or_default();
            let title = format!(
                "{} is lost between {supply} and {name}; at most {} is allowed",
                volts(largest),
                volts(limit)
            );
            let detail = format!("Mean drop {}, largest {}.", volts(mean), volts(largest));
            let next = vec![
                "Look for a thin wire or a warm, oxidised contact on the way; measure across each joint."
                    .to_owned(),
            ];
            found.push(make(Severity::Warning, vec![supply], title, detail, next));
        }
        for &reading in &result.readings_outside {
            let reading = &rail.readings[reading];
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
            let next = vec!["Measure again from the supply outwards until the drop appears.".to_owned()];
            found.push(make(Severity::Fault, Vec::new(), title, detail, next));
        }
    }
    found
}

fn worst<'a>(rail: &Rail, excursions: &'a [Excursion]) -> Option<&'a Excursion> {
    let far = |e: &&Excursion| (e.extreme_v - rail.nominal_v).abs();
    excursions.iter().max_by(|a, b| far(a).total_cmp(&far(b)))
}
