//! Lines that are at one voltage all the time, and stand between the thresholds together: two outputs on one wire.

use super::{Kind, OPEN_TTL_V, Trouble};
use crate::analysis::findings::{Finding, Severity};
use crate::model::{Capture, Line, Thresholds, TraceSamples};

/// Two probes on one wire read this near each other, in volts: what instruments are off, and the wire's own drop (no source).
const NEAR_V: f64 = 0.25;
/// For so much of the time: the rest is edges that come a sample apart (no source).
const TOGETHER: f64 = 0.95;

/// Lines on one wire change level together so often at least: a few changes may fall together by chance (no source).
const FEWEST_CHANGES: usize = 6;
/// So many of the changes of either are changes of both: noise gives one of them some alone (no source).
const CHANGES_SHARED: f64 = 0.8;
/// Changes this near each other are one: two channels of an instrument differ by less, and a slow edge meets two thresholds that
/// lie an instrument's error apart within it (no source).
const ONE_CHANGE_S: f64 = 100e-9;

/// Tells of each line that stands between the thresholds at times, and is good at others, which other such line is at its voltage
/// all the time and moves with it. Where the level is that of open inputs nothing is told: bus lines that nobody drives rest there
/// together; nor of two ends of one wire.
pub fn tell(capture: &Capture, troubles: &mut [Trouble], is_one_wire: &dyn Fn(usize, usize) -> bool) {
    let contends = |trouble: &Trouble| match trouble.kind {
        Kind::Between { stands_v, .. } => {
            trouble.has_good_low && !(OPEN_TTL_V.0..=OPEN_TTL_V.1).contains(&stands_v)
        }
        _ => false,
    };
    let which: Vec<usize> = (0..troubles.len())
        .filter(|&at| contends(&troubles[at]))
        .collect();
    for &at in &which {
        let line = troubles[at].line;
        let others = which.iter().map(|&other| troubles[other].line);
        let other = others
            .filter(|&other| other != line && !is_one_wire(line, other))
            .find(|&other| are_one(capture, line, other));
        if let Kind::Between { with, .. } = &mut troubles[at].kind {
            *with = other;
        }
    }
}

/// Pairs of lines in volts that move and are at one voltage all the time, the first before the second. Cost: linear in samples a
/// pair, where they are not mostly far less.
pub fn at_one_voltage(
    capture: &Capture,
    is_supply: &dyn Fn(&str) -> bool,
    is_one_wire: &dyn Fn(usize, usize) -> bool,
) -> Vec<(usize, usize)> {
    let moves = |line: &Line| !line.edges.is_empty() && line.same_as.is_none() && !is_supply(&line.name);
    let lines: Vec<usize> = (0..capture.lines.len())
        .filter(|&at| moves(&capture.lines[at]))
        .collect();
    let mut pairs = Vec::new();
    for (n, &a) in lines.iter().enumerate() {
        let after = lines[n + 1..].iter().filter(|&&b| !is_one_wire(a, b));
        let one = after.filter(|&&b| are_one(capture, a, b));
        pairs.extend(one.map(|&b| (a, b)));
    }
    pairs
}

/// Whether two lines are at one voltage and move together: of two that rest at one voltage nothing says that they are one wire.
/// Those sampled at other moments than each other are held to be two. Cost: linear in samples; far less where they differ.
fn are_one(capture: &Capture, a: usize, b: usize) -> bool {
    let (Some(a), Some(b)) = (&capture.lines[a].trace, &capture.lines[b].trace) else {
        return false;
    };
    let one_change = capture.timebase.ticks_of(ONE_CHANGE_S);
    let thresholds = [a.thresholds, b.thresholds];
    match (&a.samples, &b.samples) {
        (
            TraceSamples::Uniform {
                start, step, volts, ..
            },
            TraceSamples::Uniform {
                start: other_start,
                step: other_step,
                volts: other,
                ..
            },
        ) => {
            let (volts, other) = ((**volts).as_ref(), (**other).as_ref());
            let both = volts.iter().zip(other).map(|(a, b)| [*a, *b].map(f64::from));
            (start, step, volts.len()) == (other_start, other_step, other.len())
                && mostly_near(both.clone(), volts.len())
                && move_together(both, &|n| *step * n as i64, one_change, thresholds)
        }
        (
            TraceSamples::Steps { times, values },
            TraceSamples::Steps {
                times: other_times,
                values: other,
            },
        ) => {
            let both = values.iter().zip(other.iter()).map(|(a, b)| [*a, *b]);
            times == other_times
                && mostly_near(both.clone(), values.len())
                && move_together(both, &|n| times[n], one_change, thresholds)
        }
        _ => false,
    }
}

/// Whether nearly all of `n` pairs are close; a missing sample says nothing. Ends as soon as they are not.
fn mostly_near(both: impl Iterator<Item = [f64; 2]>, n: usize) -> bool {
    let may_differ = (1.0 - TOGETHER) * n as f64;
    let far = both.filter(|[a, b]| (a - b).abs() > NEAR_V);
    n > 0 && far.take(may_differ as usize + 1).count() as f64 <= may_differ
}

/// Whether most changes of either line are changes of both, to the same level and within `near` ticks.
fn move_together(
    both: impl Iterator<Item = [f64; 2]> + Clone,
    time_of: &dyn Fn(usize) -> i64,
    near: f64,
    thresholds: [Thresholds; 2],
) -> bool {
    let [of_a, of_b] = [0, 1].map(|which| changes(both.clone().map(|pair| pair[which]), thresholds[which]));
    let mut from = 0;
    let mut is_shared = |&(at, to_high): &(usize, bool)| {
        let apart = |other: usize| (time_of(other) - time_of(at)) as f64;
        from += of_b[from..]
            .iter()
            .take_while(|(other, _)| *other < at && apart(*other) < -near && at - other > 1)
            .count();
        let beside = of_b[from..]
            .iter()
            .take_while(|(other, _)| *other <= at + 1 || apart(*other) <= near);
        beside
            .into_iter()
            .any(|(_, other_to_high)| *other_to_high == to_high)
    };
    let shared = of_a.iter().filter(|change| is_shared(change)).count();
    shared >= FEWEST_CHANGES && shared as f64 >= CHANGES_SHARED * of_a.len().max(of_b.len()) as f64
}

/// Samples at which a line gets high, or comes down past the middle between its thresholds, and which of the two: a level that
/// two outputs fight over may lie right at the lower threshold.
fn changes(volts: impl Iterator<Item = f64>, thresholds: Thresholds) -> Vec<(usize, bool)> {
    let middle = (thresholds.low_v + thresholds.high_v) / 2.0;
    let mut is_high = None;
    let mut found = Vec::new();
    for (at, v) in volts.enumerate() {
        let now = match v {
            v if v >= thresholds.high_v => true,
            v if v <= middle => false,
            _ => continue,
        };
        if is_high.replace(now).is_some_and(|before| before != now) {
            found.push((at, now));
        }
    }
    found
}

/// Topics of findings that accuse a line.
const ACCUSES: [&str; 2] = ["coupling", "inseparable"];

/// Makes doubts of accusations whose victim is one of `pairs`: where two outputs meet on one wire they make short pulses as they
/// switch, one after the other, and whoever clocks them goes with all of these.
pub fn doubt(capture: &Capture, pairs: &[(usize, usize)], findings: &mut [Finding]) {
    let accuses = |f: &&mut Finding| f.severity == Severity::Fault && ACCUSES.contains(&f.topic);
    for finding in findings.iter_mut().filter(accuses) {
        let Some(victim) = finding.lines.first().and_then(|name| capture.line_index(name)) else {
            continue;
        };
        let other = pairs.iter().find_map(|&(a, b)| match victim {
            v if v == a => Some(b),
            v if v == b => Some(a),
            _ => None,
        });
        let Some(other) = other else {
            continue;
        };
        let [a, b] = [victim, other].map(|line| &capture.lines[line].name);
        finding.severity = Severity::Warning;
        finding.title = format!(
            "{}, and {b} is at {a}'s voltage all the time",
            finding.title.trim_end_matches('.')
        );
        finding.detail.push_str(&format!(
            " {a} and {b} are at one voltage throughout, as on one wire. Where two outputs meet, they make short pulses as they switch \
             one after the other, and whoever clocks them goes with all of these: nobody is accused of what a bridge may do."
        ));
        finding.try_next.insert(
            0,
            format!(
                "Power off, and meter from {a} to {b} first: near 0 Ω they are one wire. If that is not meant, take the bridge off and repeat; if it is, declare the link between them, and their strays are judged as one line's."
            ),
        );
    }
}
