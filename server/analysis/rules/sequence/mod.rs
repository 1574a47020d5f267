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
    /// Steps judged, and those that were not by the rule.
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

/// What a sequence names, found in the capture. Positions in the capture, most significant first.
struct Parts<'a> {
    bus: Vec<usize>,
    inputs: Vec<usize>,
    watch: Vec<usize>,
    strobe_index: usize,
    strobe: &'a Line,
}

/// Finds the parts; what is missing, or does not fit, is noted in `names`.
fn parts<'a>(names: &mut Names<'a>, sequence: &Sequence) -> Option<Parts<'a>> {
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
    Some(Parts {
        bus,
        inputs,
        watch,
        strobe_index,
        strobe,
    })
}

/// The rule for a bus of `bits`.
fn rule_of(sequence: &Sequence, bits: usize) -> Rule {
    let mask = if bits == 64 { u64::MAX } else { (1 << bits) - 1 };
    Rule {
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
    }
}

/// Reads a bus strobe by strobe.
struct Reader<'a> {
    before: Cursor<'a>,
    early: Cursor<'a>,
    late: Cursor<'a>,
    /// Read up to the next strobe, a step ends with the value that the next one begins with.
    carried: Option<u64>,
    /// From the strobe to the reading, in ticks; without it the bus is read at the next strobe.
    settle: Option<f64>,
    /// A doubt of one sampling period about when the bus was read, as for any interval.
    doubt: f64,
    end_of_record: Ticks,
}

/// One step as it was read.
struct Reading {
    before: u64,
    /// As early, and as late, as the bus may have been read.
    early: u64,
    late: u64,
    /// When it was read; open.
    until: Ticks,
}

impl Reader<'_> {
    /// The step of the strobe at `time`; `None` where the record ends before it can be read. Strobes ascend.
    fn read(&mut self, time: Ticks, next: Option<Ticks>) -> Option<Reading> {
        let before = match self.carried.take() {
            Some(before) => before,
            None => self.before.at(time, false),
        };
        let Some(settle) = self.settle else {
            let next = next?;
            let after = self.before.at(next, false);
            self.carried = Some(after);
            return Some(Reading {
                before,
                early: after,
                late: after,
                until: next,
            });
        };
        let due = Ticks(time.0.saturating_add(settle.ceil() as i64));
        let limit = next.unwrap_or(Ticks(self.end_of_record.0.saturating_add(1)));
        if due >= limit && next.is_none() {
            return None;
        }
        let doubtful_from = Ticks(due.0 - self.doubt.floor() as i64).max(time);
        let doubtful_to = Ticks(due.0.saturating_add(self.doubt.ceil() as i64));
        // Nothing that the next strobe does belongs to this step.
        let early = if doubtful_from < limit {
            self.early.at(doubtful_from, true)
        } else {
            self.early.at(limit, false)
        };
        let late = if self.doubt == 0.0 {
            early
        } else {
            self.late.at(doubtful_to.min(limit), false)
        };
        Some(Reading {
            before,
            early,
            late,
            until: due.min(limit),
        })
    }
}

/// Checks one sequence. Cost: linear in the edges of bus and strobe.
pub(super) fn check(names: &mut Names, sequence: &Sequence) -> Option<(Tally, Tale)> {
    let capture = names.capture;
    let Parts {
        bus,
        inputs,
        watch,
        strobe_index,
        strobe,
    } = parts(names, sequence)?;
    let bits = bus.len();
    let rule = rule_of(sequence, bits);
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

    let widest = bus_lines
        .iter()
        .map(|l| Stamp::of(l).early + Stamp::of(l).late)
        .fold(0.0, f64::max);
    let doubt = widest.max(strobe.sample_ticks);
    let mut reader = Reader {
        before: Cursor::new(bus_lines.clone()),
        early: Cursor::new(bus_lines.clone()),
        late: Cursor::new(bus_lines),
        carried: None,
        settle: sequence
            .settle_s
            .map(|s| reach::limit_ticks(&capture.timebase, s)),
        doubt,
        end_of_record: common_span(&all).end,
    };
    let mut input_at = Cursor::new(input_lines);
    let mut tally = Tally::new(Limits::default(), doubt);
    let mut seen = Seen::default();
    let mut tale = Tale {
        bus,
        ..Tale::default()
    };
    let mut windows = Vec::new();
    let strobes = Edges::of(strobe, sequence.strobe.polarity);
    for i in 0..strobes.len() {
        let time = strobes.get(i).expect("within the list");
        let Some(read) = reader.read(time, strobes.get(i + 1)) else {
            break;
        };
        let (before, late) = (read.before, read.late);
        let input = match (&rule.kind, inputs.is_empty()) {
            // Without a serial input the bit shifted in is whatever came.
            (Kind::Left, true) => late & 1,
            (Kind::Right, true) => late >> (bits - 1),
            (_, true) => 0,
            (_, false) => input_at.at(time, false),
        };
        if is_blind(&all, Ticks(time.0 - 1), Ticks(read.until.0 - 1)) {
            tally.not_judged += 1;
            continue;
        }
        let expected = rule.expected(before, input);
        let verdict = match (read.early == expected, late == expected) {
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
            end: read.until,
            is_wrong,
        });
        if verdict == Verdict::Kept {
            tally.kept += 1;
            continue;
        }
        let list = if is_wrong {
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
        let occasion = Occasion {
            start: time,
            end: read.until,
            lines: &place,
        };
        tally.count(verdict, None, occasion, what);
    }
    tale.instead = instead_of(&rule, &seen, still);
    tale.suspicion = suspicion::suspicion(&rule, &seen, &tale, still);
    tale.company = company(names, (&parts, &watch), &windows, tale.wrong);
    Some((tally, tale))
}

/// What happened instead in the wrong steps, and how often; most frequent first.
fn instead_of(rule: &Rule, seen: &Seen, still: u64) -> Vec<(Instead, u64)> {
    let mut counts: HashMap<Instead, u64> = HashMap::new();
    for (taken, times) in seen.iter().filter(|(_, times)| times.wrong > 0) {
        *counts.entry(rule.instead(*taken, still)).or_default() += times.wrong;
    }
    let mut instead: Vec<(Instead, u64)> = counts.into_iter().collect();
    instead.sort_by_key(|&(what, n)| (std::cmp::Reverse(n), what));
    instead
}

/// A value in binary, most significant bit first.
pub fn binary(value: u64, bits: usize) -> String {
    format!("{value:0bits$b}")
}
