//! A bus that must step by a rule at each strobe: every step is compared, and a wrong one told by what happened instead.

mod company;
mod cursor;
mod step;
mod suspicion;

use std::collections::HashMap;

use super::Names;
use super::edges::{Edges, common_span, is_blind};
use super::quick::Quick;
use super::reach::{self, Stamp, Verdict};
use super::tally::{Limits, MOST_LISTED, Occasion, Tally};
use crate::model::{Line, Ticks};
use crate::rule::{Sequence, Step};

pub use company::{Company, CompanyStrays, going, link};
pub use step::{Instead, instead_words};
pub use suspicion::{EXPLAINS, Suspicion};

use company::{Window, company};
use cursor::Cursor;
use step::{Kind, Rule, Taken};

/// How the steps of a sequence went.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tale {
    /// Lines of the bus, most significant first (positions in the capture).
    pub bus: Vec<usize>,
    pub steps: u64,
    pub wrong: u64,
    /// How often each thing happened instead, most frequent first.
    pub instead: Vec<(Instead, u64)>,
    /// What would explain at least [`suspicion::EXPLAINS`] of the steps, where the rule as declared does not.
    pub suspicion: Option<(Suspicion, u64)>,
    /// Lines with an edge between the strobe and the reading of a wrong step.
    pub company: Vec<Company>,
}

/// How often a step was taken, and taken wrongly.
#[derive(Clone, Copy, Default)]
struct Times {
    all: u64,
    wrong: u64,
}

type Seen = HashMap<Taken, Times, Quick>;

/// Checks one sequence. Cost: linear in the edges of bus and strobe.
pub(super) fn check(names: &mut Names, sequence: &Sequence) -> Option<(Tally, Tale)> {
    let capture = names.capture;
    let bus = names.all(&sequence.bus);
    let input_names: &[String] = match &sequence.step {
        Step::Load { from } => from,
        Step::ShiftLeft { serial: Some(serial) } | Step::ShiftRight { serial: Some(serial) } => {
            std::slice::from_ref(serial)
        }
        _ => &[],
    };
    let inputs = names.all(input_names);
    let watch = names.all(&sequence.watch);
    let (strobe_index, strobe) = names.line(&sequence.strobe.line)?;
    let (bus, inputs, watch) = (bus?, inputs?, watch?);
    if bus.len() > 64 || inputs.len() > 64 {
        names.missing.push(format!(
            "a bus of at most 64 bits (it has {})",
            bus.len().max(inputs.len())
        ));
        return None;
    }
    let loads = matches!(sequence.step, Step::Load { .. });
    if loads && inputs.len() != bus.len() {
        names.missing.push(format!(
            "a bus of {} bits to load from (found {})",
            bus.len(),
            inputs.len()
        ));
        return None;
    }
    let bits = bus.len();
    let mask = if bits == 64 { u64::MAX } else { (1 << bits) - 1 };
    let rule = Rule {
        bits,
        mask,
        modulus: sequence.modulus.filter(|&m| m - 1 <= mask),
        kind: match sequence.step {
            Step::CountUp => Kind::Up,
            Step::CountDown => Kind::Down,
            Step::ShiftLeft { .. } => Kind::Left,
            Step::ShiftRight { .. } => Kind::Right,
            Step::Load { .. } => Kind::Load,
            Step::Hold => Kind::Hold,
            Step::Clear => Kind::Clear,
        },
    };
    let lines = |of: &[usize]| of.iter().map(|&i| &capture.lines[i]).collect::<Vec<&Line>>();
    let (bus_lines, input_lines) = (lines(&bus), lines(&inputs));
    let still = bus_lines.iter().fold(0, |s, l| {
        s << 1 | u64::from(l.edges.is_empty() && l.first.is_known())
    });
    let all: Vec<&Line> = bus_lines
        .iter()
        .chain(&input_lines)
        .copied()
        .chain([strobe])
        .collect();
    let place: Vec<usize> = std::iter::once(strobe_index).chain(bus.iter().copied()).collect();
    let parts: Vec<usize> = place.iter().chain(&inputs).copied().collect();

    // A doubt of one sampling period about when the bus was read, as for any interval.
    let widest = bus_lines
        .iter()
        .map(|l| Stamp::of(l).early + Stamp::of(l).late)
        .fold(0.0, f64::max);
    let doubt = widest.max(strobe.sample_ticks);
    let settle = sequence
        .settle_s
        .map(|s| reach::limit_ticks(&capture.timebase, s));
    let end_of_record = common_span(&all).end;

    let mut tally = Tally::new(Limits::default(), doubt);
    let (mut before_at, mut input_at) = (Cursor::new(bus_lines.clone()), Cursor::new(input_lines.clone()));
    let (mut early_at, mut late_at) = (Cursor::new(bus_lines.clone()), Cursor::new(bus_lines));
    // Read up to the next strobe, a step ends with the value that the next one begins with.
    let mut carried: Option<u64> = None;
    let mut seen = Seen::default();
    let mut tale = Tale {
        bus,
        ..Tale::default()
    };
    let mut windows = Vec::new();
    let strobes = Edges::of(strobe, sequence.strobe.polarity);
    for i in 0..strobes.len() {
        let time = strobes.get(i).expect("within the list");
        let before = carried.take().unwrap_or_else(|| before_at.at(time, false));
        let input = if inputs.is_empty() {
            0
        } else {
            input_at.at(time, false)
        };
        let next = strobes.get(i + 1);
        let (early, late, until) = match settle {
            Some(settle) => {
                let due = Ticks(time.0.saturating_add(settle.ceil() as i64));
                let limit = next.unwrap_or(Ticks(end_of_record.0.saturating_add(1)));
                if due >= limit && next.is_none() {
                    break;
                }
                let doubtful_from = Ticks(due.0 - doubt.floor() as i64).max(time);
                let doubtful_to = Ticks(due.0.saturating_add(doubt.ceil() as i64));
                // Nothing that the next strobe does belongs to this step.
                let early = if doubtful_from < limit {
                    early_at.at(doubtful_from, true)
                } else {
                    early_at.at(limit, false)
                };
                let late = if doubt == 0.0 {
                    early
                } else {
                    late_at.at(doubtful_to.min(limit), false)
                };
                (early, late, due.min(limit))
            }
            None => {
                let Some(next) = next else { break };
                let after = before_at.at(next, false);
                carried = Some(after);
                (after, after, next)
            }
        };
        if is_blind(&all, Ticks(time.0 - 1), Ticks(until.0 - 1)) {
            tally.not_judged += 1;
            continue;
        }
        let expected = match (&rule.kind, inputs.is_empty()) {
            // Without a serial input the bit shifted in is whatever came.
            (Kind::Left, true) => rule.expected(before, late & 1),
            (Kind::Right, true) => rule.expected(before, late >> (bits - 1)),
            _ => rule.expected(before, input),
        };
        let input = match (&rule.kind, inputs.is_empty()) {
            (Kind::Left, true) => late & 1,
            (Kind::Right, true) => late >> (bits - 1),
            _ => input,
        };
        let verdict = match (early == expected, late == expected) {
            (true, true) => Verdict::Kept,
            (false, false) => Verdict::Breached,
            _ => Verdict::CantTell,
        };
        tale.steps += 1;
        let taken = Taken {
            before,
            input,
            after: late,
        };
        let is_wrong = verdict == Verdict::Breached;
        let times = seen.entry(taken).or_default();
        times.all += 1;
        times.wrong += u64::from(is_wrong);
        tale.wrong += u64::from(is_wrong);
        windows.push(Window {
            start: time,
            end: until,
            is_wrong,
        });
        if verdict == Verdict::Kept {
            tally.kept += 1;
            continue;
        }
        let occasion = Occasion {
            start: time,
            end: until,
            lines: &place,
        };
        let list = if verdict == Verdict::Breached {
            &tally.violations
        } else {
            &tally.doubtful
        };
        // Words only for what will be listed: a rule may be broken at every one of millions of steps.
        let what = (list.len() < MOST_LISTED).then(|| {
            format!(
                "from {} expected {}, found {}: {}",
                binary(before, bits),
                binary(expected, bits),
                binary(late, bits),
                instead_words(rule.instead(taken, still), &capture.lines, &tale.bus)
            )
        });
        tally.count(verdict, None, occasion, what);
    }
    let mut instead: HashMap<Instead, u64> = HashMap::new();
    for (taken, times) in seen.iter().filter(|(_, times)| times.wrong > 0) {
        *instead.entry(rule.instead(*taken, still)).or_default() += times.wrong;
    }
    tale.instead = instead.into_iter().collect();
    tale.instead
        .sort_by_key(|&(what, n)| (std::cmp::Reverse(n), what));
    tale.suspicion = suspicion::suspicion(&rule, &seen, &tale, still);
    tale.company = company(names, (&parts, &watch), &windows, tale.wrong);
    Some((tally, tale))
}

/// A value in binary, most significant bit first.
pub fn binary(value: u64, bits: usize) -> String {
    format!("{value:0bits$b}")
}
