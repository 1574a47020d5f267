//! A bus that must step by a rule at each strobe: every step is compared, and a wrong one told by what happened instead.

mod between;
mod company;
mod cursor;
mod direction;
mod step;
mod suspicion;

use std::collections::HashMap;

use super::Names;
use super::edges::{Edges, common_span, is_blind};
use super::quick::Quick;
use super::reach::{self, Stamp, Verdict};
use super::tally::{Limits, MOST_LISTED, Occasion, Tally, Violation};
use crate::model::{Level, Line, Ticks};
use crate::rule::{Rule as AnyRule, Sequence, Step};

pub use company::{Company, CompanyStrays, going, link};
pub use direction::Direction;
pub use step::{Instead, instead_words};
pub use suspicion::{EXPLAINS, Suspicion};

use between::{Between, Move, other_strobes, rests_between};
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
    /// How the line that says up or down stood at the wrong steps.
    pub direction: Option<Direction>,
    /// How often a counter moved between the reading of a step and the next strobe, where that was not judged: it goes to
    /// values then that no step leads to, as a load or a clear takes it.
    pub moved_between: u64,
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
        Step::Count { direction, .. } => std::slice::from_ref(direction),
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
            Step::Count { up, .. } => Kind::UpAt(u64::from(up == Level::High)),
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
    /// Read after a settling time: the next strobe (open), and the value just before it.
    next: Option<(Ticks, u64)>,
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
                next: None,
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
            next: (doubtful_to < limit).then(|| {
                let last = self.before.at(limit, false);
                self.carried = next.map(|_| last);
                (limit, last)
            }),
        })
    }
}

/// The steps of a sequence so far, judged one by one.
struct Steps<'a> {
    lines: &'a [Line],
    rule: Rule,
    /// A 1 for each bit of the bus that never moves.
    still: u64,
    /// The evidence of a step: strobe, then bus.
    place: Vec<usize>,
    tally: Tally,
    seen: Seen,
    tale: Tale,
    windows: Vec<Window>,
    /// What moves the bus between its strobes: strobes of other rules, and moves that none of them explains.
    others: Vec<Ticks>,
    between: Between,
}

impl Steps<'_> {
    /// What the step at a strobe brings in beside the value before it.
    fn input(&self, read: &Reading, time: Ticks, inputs: &mut Option<Cursor>) -> u64 {
        match (&self.rule.kind, inputs) {
            (_, Some(inputs)) => inputs.at(time, false),
            // Without a serial input the bit shifted in is whatever came.
            (Kind::Left, None) => read.late & 1,
            (Kind::Right, None) => read.late >> (self.rule.bits - 1),
            (_, None) => 0,
        }
    }

    /// Judges the step of the strobe at `time`.
    fn judge(&mut self, time: Ticks, read: &Reading, input: u64) {
        let expected = self.rule.expected(read.before, input);
        let verdict = match (read.early == expected, read.late == expected) {
            (true, true) => Verdict::Kept,
            (false, false) => Verdict::Broken,
            _ => Verdict::CantTell,
        };
        let taken = Taken {
            before: read.before,
            input,
            after: read.late,
        };
        let is_wrong = verdict == Verdict::Broken;
        let times = self.seen.entry(taken).or_default();
        times.all += 1;
        times.wrong += u64::from(is_wrong);
        self.tale.steps += 1;
        self.tale.wrong += u64::from(is_wrong);
        self.windows.push(Window {
            start: time,
            end: read.until,
            is_wrong,
        });
        match verdict {
            Verdict::Kept => {
                self.tally.kept += 1;
                self.look_on(time, read, input);
            }
            _ => self.tell(verdict, time, read.until, taken),
        }
    }

    /// Looks whether a step that was read right is left before the next strobe.
    fn look_on(&mut self, time: Ticks, read: &Reading, input: u64) {
        let Some((until, after)) = read.next.filter(|next| next.1 != read.late) else {
            return;
        };
        let bus = self.tale.bus.iter().map(|&line| &self.lines[line]);
        let told = self.others.partition_point(|&other| other < time);
        let is_told = self.others.get(told).is_some_and(|&other| other < until);
        if rests_between(&self.rule)
            && !is_told
            && !is_blind(&bus.collect::<Vec<_>>(), read.until, Ticks(until.0 - 1))
        {
            let moved = Move {
                step: self.windows.len() - 1,
                from: read.until,
                until,
                before: read.late,
                after,
            };
            self.between.add(&self.rule, input, moved);
        }
    }

    /// Takes the steps after which the bus moved on without a strobe for broken, if it does nothing else between its strobes.
    fn judge_between(&mut self) {
        let between = std::mem::take(&mut self.between);
        if !between.is_unbidden() {
            self.tale.moved_between = between.steps.len() as u64 + between.jumps;
            return;
        }
        let bits = self.rule.bits;
        for moved in &between.steps {
            let window = &mut self.windows[moved.step];
            window.is_wrong = true;
            let edges = self.tale.bus.iter().map(|&line| &self.lines[line].edges);
            let firsts =
                edges.filter_map(|edges| edges.get(edges.partition_point(|&e| e < moved.from)).copied());
            let at = firsts.min().unwrap_or(moved.from);
            self.tally.kept -= 1;
            self.tally.list(Verdict::Broken, || Violation {
                start: window.start,
                end: Ticks(at.0 + 1),
                at,
                lines: self.place.clone(),
                measured: None,
                what: Some(format!(
                    "at {} after a right step, {} before the next strobe: {}",
                    binary(moved.before, bits),
                    binary(moved.after, bits),
                    instead_words(Instead::Unbidden, self.lines, &self.tale.bus)
                )),
                side: None,
            });
        }
        self.tally.sort();
        let moves = between.steps.len() as u64;
        self.tale.wrong += moves;
        self.tale.instead.push((Instead::Unbidden, moves));
        self.tale
            .instead
            .sort_by_key(|&(what, n)| (std::cmp::Reverse(n), what));
    }

    /// Counts a step that is not by the rule, and lists it while there is room.
    fn tell(&mut self, verdict: Verdict, start: Ticks, end: Ticks, taken: Taken) {
        let list = match verdict {
            Verdict::Broken => &self.tally.violations,
            _ => &self.tally.doubtful,
        };
        // Words only for what will be listed: a rule may be broken at every one of millions of steps.
        let what = (list.len() < MOST_LISTED).then(|| {
            let bits = self.rule.bits;
            format!(
                "from {} expected {}, found {}: {}",
                binary(taken.before, bits),
                binary(self.rule.expected(taken.before, taken.input), bits),
                binary(taken.after, bits),
                instead_words(self.rule.instead(taken, self.still), self.lines, &self.tale.bus)
            )
        });
        let occasion = Occasion {
            start,
            end,
            lines: &self.place,
        };
        self.tally.count(verdict, None, occasion, what);
    }
}

/// Checks one sequence; what another of `rules` does to the same bus is no fault of it. Cost: linear in the edges of bus and
/// strobe.
pub(super) fn check(names: &mut Names, sequence: &Sequence, rules: &[AnyRule]) -> Option<(Tally, Tale)> {
    let capture = names.capture;
    let Parts {
        bus,
        inputs,
        watch,
        strobe_index,
        strobe,
    } = parts(names, sequence)?;
    let lines = |of: &[usize]| of.iter().map(|&i| &capture.lines[i]).collect::<Vec<&Line>>();
    let (bus_lines, input_lines) = (lines(&bus), lines(&inputs));
    let mut all = bus_lines.clone();
    all.extend(&input_lines);
    all.push(strobe);
    let place: Vec<usize> = std::iter::once(strobe_index).chain(bus.iter().copied()).collect();
    // What says up or down is looked at in wrong steps as what is watched is.
    let says_where = match sequence.step {
        Step::Count { .. } => inputs.first().copied(),
        _ => None,
    };
    let is_part = |input: &&usize| says_where != Some(**input);
    let parts: Vec<usize> = place
        .iter()
        .chain(inputs.iter().filter(is_part))
        .copied()
        .collect();
    let watch: Vec<usize> = watch.into_iter().chain(says_where).collect();

    let widest = bus_lines
        .iter()
        .map(|l| Stamp::of(l).early + Stamp::of(l).late)
        .fold(0.0, f64::max);
    let doubt = widest.max(strobe.sample_ticks);
    let mut steps = Steps {
        lines: &capture.lines,
        rule: rule_of(sequence, bus.len()),
        still: bus_lines.iter().fold(0, |s, l| {
            s << 1 | u64::from(l.edges.is_empty() && l.first.is_known())
        }),
        place,
        tally: Tally::new(Limits::default(), doubt),
        seen: Seen::default(),
        tale: Tale {
            bus,
            ..Tale::default()
        },
        windows: Vec::new(),
        others: Vec::new(),
        between: Between::default(),
    };
    if sequence.settle_s.is_some() {
        steps.others = other_strobes(capture, (sequence, &steps.tale.bus), rules);
    }
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
    let mut inputs = (!input_lines.is_empty()).then(|| Cursor::new(input_lines));
    let strobes = Edges::of(strobe, sequence.strobe.polarity);
    for i in 0..strobes.len() {
        let time = strobes.get(i).expect("within the list");
        let Some(read) = reader.read(time, strobes.get(i + 1)) else {
            break;
        };
        let input = steps.input(&read, time, &mut inputs);
        if is_blind(&all, Ticks(time.0 - 1), Ticks(read.until.0 - 1)) {
            steps.tally.not_judged += 1;
            continue;
        }
        steps.judge(time, &read, input);
    }
    steps.tale.instead = instead_of(&steps.rule, &steps.seen, steps.still);
    steps.tale.suspicion = suspicion::suspicion(&steps.rule, &steps.seen, &steps.tale, steps.still);
    steps.judge_between();
    let Steps {
        tally,
        mut tale,
        mut windows,
        ..
    } = steps;
    if tale.instead.iter().any(|&(what, _)| what == Instead::Unbidden) {
        // Right steps are looked at for as long as those are in which the bus moved on.
        let starts: Vec<Ticks> = windows.iter().skip(1).map(|w| w.start).collect();
        for (window, next) in windows.iter_mut().zip(starts) {
            window.end = next;
        }
    }
    let settle = sequence
        .settle_s
        .map(|s| reach::limit_ticks(&capture.timebase, s));
    tale.direction = says_where.map(|line| direction::direction(capture, line, &windows, settle));
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
