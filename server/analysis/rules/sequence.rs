//! A bus that must step by a rule at each strobe: every step is compared, and a wrong one told by what happened instead.

use std::collections::HashMap;

use super::Names;
use super::edges::{Edges, common_span, is_blind};
use super::reach::{self, Stamp, Verdict};
use super::tally::{Limits, MOST_LISTED, Occasion, Tally};
use crate::analysis::coupling::able::gallop;
use crate::model::{Level, Line, Ticks};
use crate::rule::{Sequence, Step};

/// What a bus did where it should have stepped by its rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Instead {
    /// Counted, or shifted, in the other direction.
    OtherWay,
    /// Did the step twice.
    Twice,
    /// Kept its value.
    NotAtAll,
    /// Became 0.
    Cleared,
    /// Right but for one bit (position from the least significant, 0) that never moves.
    BitStuck(usize),
    /// Right but for one bit.
    BitWrong(usize),
    Other,
}

/// One explanation that fits all steps better than the rule as declared does.
#[derive(Clone, Debug, PartialEq)]
pub enum Suspicion {
    OtherWay,
    /// The bits are in reverse order.
    Reversed,
    /// Two bits are swapped (positions from the least significant, 0).
    Swapped(usize, usize),
    /// One bit never moves, and all is well in the others.
    Stuck(usize),
}

/// How the steps of a sequence went.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tale {
    /// Lines of the bus, most significant first (positions in the capture).
    pub bus: Vec<usize>,
    pub steps: u64,
    pub wrong: u64,
    /// How often each thing happened instead, most frequent first.
    pub instead: Vec<(Instead, u64)>,
    /// What would explain at least [`EXPLAINS`] of the steps, where the rule as declared does not.
    pub suspicion: Option<(Suspicion, u64)>,
    /// Lines with an edge between the strobe and the reading of a wrong step: (line, wrong steps with one, all steps with one).
    pub company: Vec<(usize, u64, u64)>,
}

/// A suspicion must explain this share of the steps; the rule as declared must explain less than [`SPOILT`].
/// No source: round numbers that leave room for a few steps spoilt by strays.
pub const EXPLAINS: f64 = 0.95;
const SPOILT: f64 = 0.8;

/// What a step needs beside the value before it.
struct Rule {
    bits: usize,
    mask: u64,
    modulus: Option<u64>,
    kind: Kind,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Up,
    Down,
    Left,
    Right,
    Load,
    Hold,
    Clear,
}

/// The value before the strobe, the value it brought in (serial bit or loaded value), and the value after.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Taken {
    before: u64,
    input: u64,
    after: u64,
}

impl Rule {
    fn expected(&self, before: u64, input: u64) -> u64 {
        let last = self.modulus.map_or(self.mask, |m| m - 1);
        match self.kind {
            Kind::Up if before >= last => 0,
            Kind::Up => before + 1,
            Kind::Down if before == 0 => last,
            Kind::Down => before - 1,
            Kind::Left => ((before << 1) & self.mask) | input,
            Kind::Right => (before >> 1) | (input << (self.bits - 1)),
            Kind::Load => input,
            Kind::Hold => before,
            Kind::Clear => 0,
        }
    }

    fn other_way(&self) -> Option<Rule> {
        let kind = match self.kind {
            Kind::Up => Kind::Down,
            Kind::Down => Kind::Up,
            Kind::Left => Kind::Right,
            Kind::Right => Kind::Left,
            _ => return None,
        };
        Some(Rule { kind, ..*self })
    }

    fn instead(&self, taken: Taken, still: u64) -> Instead {
        let Taken { before, input, after } = taken;
        let expected = self.expected(before, input);
        let moves = !matches!(self.kind, Kind::Hold | Kind::Clear | Kind::Load);
        let wrong = after ^ expected;
        if wrong.is_power_of_two() && wrong & still != 0 {
            return Instead::BitStuck(wrong.trailing_zeros() as usize);
        }
        if after == before {
            return Instead::NotAtAll;
        }
        if self
            .other_way()
            .is_some_and(|other| other.expected(before, input) == after)
        {
            return Instead::OtherWay;
        }
        if moves && self.expected(expected, input) == after {
            return Instead::Twice;
        }
        if after == 0 {
            return Instead::Cleared;
        }
        if wrong.is_power_of_two() {
            return Instead::BitWrong(wrong.trailing_zeros() as usize);
        }
        Instead::Other
    }
}

/// A cursor over the levels of several lines; times asked for must not decrease.
struct Cursor<'a> {
    lines: Vec<&'a Line>,
    next: Vec<usize>,
    /// Bit i is the level of the line i places from the end (the last line is the least significant).
    value: u64,
}

impl<'a> Cursor<'a> {
    fn new(lines: Vec<&'a Line>) -> Cursor<'a> {
        let mut value = 0;
        for line in &lines {
            value = value << 1 | u64::from(line.first == Level::High);
        }
        Cursor {
            next: vec![0; lines.len()],
            lines,
            value,
        }
    }

    /// The value after all edges before `time` (`closed`: and at it).
    fn at(&mut self, time: Ticks, closed: bool) -> u64 {
        let places = self.lines.len();
        for (i, line) in self.lines.iter().enumerate() {
            let edges = &line.edges;
            let mut next = self.next[i];
            while edges
                .get(next)
                .is_some_and(|&e| e < time || (closed && e == time))
            {
                next += 1;
            }
            if next != self.next[i] {
                let bit = 1u64 << (places - 1 - i);
                match line.level_after(next - 1) {
                    Level::High => self.value |= bit,
                    _ => self.value &= !bit,
                }
                self.next[i] = next;
            }
            if !line.flips.is_empty() {
                let bit = 1u64 << (places - 1 - i);
                match line.known_level_at(if closed { time } else { Ticks(time.0 - 1) }) {
                    Level::High => self.value |= bit,
                    _ => self.value &= !bit,
                }
            }
        }
        self.value
    }
}

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
    let mut seen: HashMap<Taken, u64> = HashMap::new();
    let mut wrong_spans: Vec<(Ticks, Ticks, Taken)> = Vec::new();
    let mut tale = Tale {
        bus,
        ..Tale::default()
    };
    let mut windows = Vec::new();
    let strobes = Edges::of(strobe, sequence.strobe.polarity);
    for i in 0..strobes.len() {
        let time = strobes.get(i).expect("within the list");
        let before = before_at.at(time, false);
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
                let after = late_at.at(next, false);
                (after, after, next)
            }
        };
        if is_blind(&all, Ticks(time.0 - 1), Ticks(until.0 - 1)) {
            tally.not_judged += 1;
            continue;
        }
        windows.push((time, until));
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
        *seen.entry(taken).or_default() += 1;
        if verdict == Verdict::Kept {
            tally.kept += 1;
            continue;
        }
        if verdict == Verdict::Breached {
            tale.wrong += 1;
            wrong_spans.push((time, until, taken));
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
    let mut wrong: HashMap<Taken, u64> = HashMap::new();
    for (_, _, taken) in &wrong_spans {
        *wrong.entry(*taken).or_default() += 1;
    }
    let mut instead: HashMap<Instead, u64> = HashMap::new();
    for (taken, count) in wrong {
        *instead.entry(rule.instead(taken, still)).or_default() += count;
    }
    tale.instead = instead.into_iter().collect();
    tale.instead
        .sort_by_key(|&(what, n)| (std::cmp::Reverse(n), what));
    tale.suspicion = suspicion(&rule, &seen, &tale, still);
    tale.company = company(names, (&parts, &watch), &windows, &wrong_spans);
    Some((tally, tale))
}

/// The one explanation that fits nearly all steps, where the rule as declared does not.
fn suspicion(rule: &Rule, seen: &HashMap<Taken, u64>, tale: &Tale, still: u64) -> Option<(Suspicion, u64)> {
    if tale.steps == 0 || (tale.steps - tale.wrong) as f64 >= SPOILT * tale.steps as f64 {
        return None;
    }
    let needed = (EXPLAINS * tale.steps as f64).ceil() as u64;
    let fits = |map: &dyn Fn(u64) -> u64, rule: &Rule, ignore: u64| -> u64 {
        let right = seen.iter().filter(|(t, _)| {
            let (before, after) = (map(t.before), map(t.after));
            let input = if rule.kind == Kind::Load {
                map(t.input)
            } else {
                t.input
            };
            (rule.expected(before, input) ^ after) & !ignore == 0
        });
        right.map(|(_, n)| n).sum()
    };
    let same = |v: u64| v;
    let bits = rule.bits;
    if let Some(other) = rule.other_way() {
        let n = fits(&same, &other, 0);
        if n >= needed {
            return Some((Suspicion::OtherWay, n));
        }
    }
    // Loading moves no bit, so only what comes out of it can be permuted.
    if rule.kind == Kind::Load {
        let n = seen
            .iter()
            .filter(|(t, _)| reverse(t.after, bits) == t.input)
            .map(|(_, n)| n)
            .sum();
        if n >= needed {
            return Some((Suspicion::Reversed, n));
        }
        for (i, j) in (0..bits).flat_map(|i| (i + 1..bits).map(move |j| (i, j))) {
            let n = seen
                .iter()
                .filter(|(t, _)| swap(t.after, i, j) == t.input)
                .map(|(_, n)| n)
                .sum();
            if n >= needed {
                return Some((Suspicion::Swapped(i, j), n));
            }
        }
    } else if bits > 1 {
        let n = fits(&|v| reverse(v, bits), rule, 0);
        if n >= needed {
            return Some((Suspicion::Reversed, n));
        }
        for (i, j) in (0..bits).flat_map(|i| (i + 1..bits).map(move |j| (i, j))) {
            let n = fits(&|v| swap(v, i, j), rule, 0);
            if n >= needed {
                return Some((Suspicion::Swapped(i, j), n));
            }
        }
    }
    for bit in (0..bits).filter(|b| still >> b & 1 == 1) {
        let n = fits(&same, rule, 1 << bit);
        if n >= needed && bits > 1 {
            return Some((Suspicion::Stuck(bit), n));
        }
    }
    None
}

fn reverse(value: u64, bits: usize) -> u64 {
    value.reverse_bits() >> (64 - bits)
}

fn swap(value: u64, i: usize, j: usize) -> u64 {
    let differ = (value >> i ^ value >> j) & 1;
    value ^ (differ << i | differ << j)
}

/// Which other lines had an edge while wrong steps were taken: the watched ones, and those that moved in at least half of
/// the wrong steps and at most half as often in the right ones (no source: round numbers to keep the list short).
fn company(
    names: &Names,
    (parts, watch): (&[usize], &[usize]),
    windows: &[(Ticks, Ticks)],
    wrong: &[(Ticks, Ticks, Taken)],
) -> Vec<(usize, u64, u64)> {
    let mut company = Vec::new();
    if wrong.is_empty() {
        return company;
    }
    for (i, line) in names.capture.lines.iter().enumerate() {
        if parts.contains(&i) {
            continue;
        }
        let in_wrong = moved(line, wrong.iter().map(|w| (w.0, w.1)));
        let tempting = 2 * in_wrong >= wrong.len();
        if in_wrong == 0 || !(tempting || watch.contains(&i)) {
            continue;
        }
        let in_all = moved(line, windows.iter().copied());
        let right = windows.len() - wrong.len();
        let rarer_when_right = 2 * (in_all - in_wrong) * wrong.len() <= in_wrong * right;
        if watch.contains(&i) || rarer_when_right {
            company.push((i, in_wrong as u64, in_all as u64));
        }
    }
    company
}

/// In how many of the stretches (starts ascending and closed, ends open) the line has an edge.
fn moved(line: &Line, stretches: impl Iterator<Item = (Ticks, Ticks)>) -> usize {
    let mut at = 0;
    stretches
        .filter(|&(start, end)| {
            at += gallop(&line.edges[at..], |&t| t < start);
            line.edges.get(at).is_some_and(|&t| t < end)
        })
        .count()
}

/// A value in binary, most significant bit first.
pub fn binary(value: u64, bits: usize) -> String {
    format!("{value:0bits$b}")
}

/// What happened instead, as part of a sentence.
pub fn instead_words(instead: Instead, lines: &[Line], bus: &[usize]) -> String {
    let name = |bit: usize| {
        bus.iter()
            .rev()
            .nth(bit)
            .map_or("?", |&i| lines[i].name.as_str())
            .to_owned()
    };
    match instead {
        Instead::OtherWay => "it went the other way".to_owned(),
        Instead::Twice => "it stepped twice".to_owned(),
        Instead::NotAtAll => "it did not step at all".to_owned(),
        Instead::Cleared => "it was cleared".to_owned(),
        Instead::BitStuck(bit) => format!("{} did not follow; it never moves", name(bit)),
        Instead::BitWrong(bit) => format!("{} alone is wrong", name(bit)),
        Instead::Other => "it jumped".to_owned(),
    }
}
