//! Lines that are at one voltage all the time, and stand between the thresholds together: two outputs on one wire.

use super::{Kind, OPEN_TTL_V, Trouble};
use crate::analysis::findings::{Finding, Severity};
use crate::model::{Capture, Line, TraceSamples};

/// Two probes on one wire read this near each other, in volts: what instruments are off, and the wire's own drop (no source).
const NEAR_V: f64 = 0.25;
/// For so much of the time: the rest is edges that come a sample apart (no source).
const TOGETHER: f64 = 0.95;

/// Tells of each line that stands between the thresholds at times, and is good at others, which other such line is at its voltage
/// all the time. Where the level is that of open inputs nothing is told: bus lines that nobody drives rest there together; nor of
/// two ends of one wire.
pub fn tell(capture: &Capture, troubles: &mut [Trouble], is_one_wire: &dyn Fn(usize, usize) -> bool) {
    let contends = |trouble: &Trouble| match trouble.kind {
        Kind::Between { stands_v, .. } | Kind::Weak { stands_v, .. } => {
            trouble.has_good && !(OPEN_TTL_V.0..=OPEN_TTL_V.1).contains(&stands_v)
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
            .find(|&other| are_one(&capture.lines[line], &capture.lines[other]));
        if let Some(other) = other {
            troubles[at].stands_with(other);
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
        let one = after.filter(|&&b| are_one(&capture.lines[a], &capture.lines[b]));
        pairs.extend(one.map(|&b| (a, b)));
    }
    pairs
}

/// Whether two lines are at one voltage. Those sampled at other moments than each other are held to be two.
fn are_one(a: &Line, b: &Line) -> bool {
    let (Some(a), Some(b)) = (&a.trace, &b.trace) else {
        return false;
    };
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
            let are_beside = (start, step, volts.len()) == (other_start, other_step, other.len());
            are_beside
                && mostly_near(
                    volts.iter().zip(other).map(|(a, b)| f64::from(a - b)),
                    volts.len(),
                )
        }
        (
            TraceSamples::Steps { times, values },
            TraceSamples::Steps {
                times: other_times,
                values: other,
            },
        ) => {
            times == other_times
                && mostly_near(values.iter().zip(other.iter()).map(|(a, b)| a - b), values.len())
        }
        _ => false,
    }
}

/// Whether nearly all of `n` differences are small; a missing sample says nothing. Ends as soon as they are not.
fn mostly_near(differences: impl Iterator<Item = f64>, n: usize) -> bool {
    let may_differ = (1.0 - TOGETHER) * n as f64;
    let far = differences.filter(|d| d.abs() > NEAR_V);
    n > 0 && far.take(may_differ as usize + 1).count() as f64 <= may_differ
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

impl Trouble {
    fn stands_with(&mut self, other: usize) {
        if let Kind::Weak {
            stands_v,
            share,
            stretches,
            usual,
            ..
        } = self.kind
        {
            self.kind = Kind::Between {
                stands_v,
                share,
                stretches,
                usual,
                with: None,
            };
        }
        if let Kind::Between { with, .. } = &mut self.kind {
            *with = Some(other);
            self.is_told = true;
        }
    }
}
