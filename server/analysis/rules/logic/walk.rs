//! Through all edges of a part's lines in time order: each stretch of still inputs is compared with what the outputs did.

use std::collections::HashMap;

use super::super::edges::{Merge, common_span, is_blind};
use super::super::quick::Quick;
use super::super::reach::{Stamp, Verdict};
use super::super::tally::{Limits, MOST_LISTED, Occasion, Tally};
use super::late::Stretch;
use super::{Expected, Function};
use crate::model::{Capture, Level, Line, Ticks};

/// Different values kept per row.
const MOST_VALUES: usize = 16;

/// What the stretches of one combination of inputs showed.
#[derive(Default)]
pub(super) struct Count {
    /// Stretches judged, and those that contradict for certain.
    pub seen: u64,
    pub wrong: u64,
    /// Values of the outputs at the end of the stretches (the first wrong one, in wrong stretches), and how often.
    pub found: Vec<(u64, u64)>,
}

/// The outcome of a walk.
pub(super) struct Walked {
    pub tally: Tally,
    /// By combination of inputs, the first input the most significant bit.
    pub counts: HashMap<u64, Count, Quick>,
    /// Stretches too short for the settling time.
    pub too_short: u64,
    /// How the first contradicting stretches went.
    pub contradicting: Vec<Stretch>,
}

/// The worst that the outputs did in a stretch.
#[derive(Clone, Copy)]
struct Wrong {
    verdict: Verdict,
    from: Ticks,
    to: Ticks,
    /// The outputs, the first the most significant bit.
    found: u64,
}

struct Walk<'a> {
    capture: &'a Capture,
    /// Positions in the capture.
    inputs: &'a [usize],
    outputs: &'a [usize],
    /// The lines themselves: inputs, then outputs.
    lines: Vec<&'a Line>,
    /// The evidence of an occasion: outputs, then inputs.
    place: Vec<usize>,
    /// Settling time in ticks.
    settle: f64,
    /// How far an interval between two edges may be from the true one, in ticks.
    doubt: f64,
    has_stretches: bool,
    has_flips: bool,

    /// Levels of the inputs and of the outputs now, the first the most significant bit.
    combination: u64,
    output: u64,
    /// What the combination demands.
    expected: Expected,
    /// Since when the inputs are still, and since when the outputs are as well.
    start: Ticks,
    since: Ticks,
    wrong: Option<Wrong>,
    /// When the outputs were wrong for the last time in this stretch (open end).
    last_wrong: Ticks,
    walked: Walked,
}

/// Walks through what all of `inputs` and `outputs` (positions in the capture) recorded, with a settling time of `settle`
/// ticks. Nothing is judged where one of them begins with an unknown level. Cost: edges × lines.
pub(super) fn walk(
    capture: &Capture,
    inputs: &[usize],
    outputs: &[usize],
    function: &mut Function,
    settle: f64,
) -> Walked {
    let of = |places: &[usize]| places.iter().map(|&i| &capture.lines[i]).collect::<Vec<&Line>>();
    let lines: Vec<&Line> = of(inputs).into_iter().chain(of(outputs)).collect();
    let stamps = lines.iter().map(|line| Stamp::of(line));
    let doubt = stamps.map(|s| s.early + s.late).fold(0.0, f64::max);
    let mut walked = Walked {
        tally: Tally::new(Limits::default(), doubt),
        counts: HashMap::default(),
        too_short: 0,
        contradicting: Vec::new(),
    };
    if lines.iter().any(|line| line.first == Level::Unknown) {
        walked.tally.not_judged += 1;
        return walked;
    }
    let span = common_span(&lines);
    let combination = levels(capture, inputs, None);
    let walk = Walk {
        place: outputs.iter().chain(inputs).copied().collect(),
        has_stretches: lines.iter().any(|line| !line.stretches.is_empty()),
        has_flips: lines.iter().any(|line| !line.flips.is_empty()),
        combination,
        output: levels(capture, outputs, None),
        expected: function.expected(combination),
        start: span.start,
        since: span.start,
        wrong: None,
        last_wrong: span.start,
        capture,
        inputs,
        outputs,
        lines,
        settle,
        doubt,
        walked,
    };
    walk.through(Ticks(span.end.0.saturating_add(1)), function)
}

/// Levels of `lines` at `time` (`None`: before their first edges) as a word, the first line the most significant bit.
fn levels(capture: &Capture, lines: &[usize], time: Option<Ticks>) -> u64 {
    lines.iter().fold(0u64, |word, &i| {
        let line = &capture.lines[i];
        let level = time.map_or(line.first, |t| line.known_level_at(t));
        word << 1 | u64::from(level == Level::High)
    })
}

impl<'a> Walk<'a> {
    /// Takes all edges before `end`, which ends the last stretch.
    fn through(mut self, end: Ticks, function: &mut Function) -> Walked {
        let columns = self.lines.iter().map(|line| &line.edges[..]).collect();
        let mut merge = Merge::new(columns).peekable();
        loop {
            let next = merge.peek().copied().filter(|(time, _)| *time < end);
            let time = next.map_or(end, |(time, _)| time);
            self.compare(time);
            let input_moves = next.is_none_or(|(_, which)| which < self.inputs.len());
            if input_moves && time > self.start {
                self.end_stretch(time);
            }
            let Some((time, which)) = next else {
                return self.walked;
            };
            merge.next();
            self.step(time, which);
            // Edges at one moment belong together: the value in between is nobody's.
            if merge.peek().is_none_or(|(t, _)| *t > time) {
                self.expected = function.expected(self.combination);
            }
        }
    }

    /// Inputs settled by then have had their time, in ticks.
    fn due(&self) -> f64 {
        self.start.0 as f64 + self.settle
    }

    /// From `since` to `time` neither inputs nor outputs moved: were the outputs as they should be?
    fn compare(&mut self, time: Ticks) {
        if time <= self.since || (self.output ^ self.expected.ones) & self.expected.known == 0 {
            return;
        }
        self.last_wrong = time;
        let (until, due, doubt) = (time.0 as f64, self.due(), self.doubt);
        let verdict = if (doubt > 0.0 && until - doubt >= due) || until - doubt > due {
            Verdict::Broken
        } else if until + doubt > due {
            Verdict::CantTell
        } else {
            Verdict::Kept
        };
        let before = self.wrong.map_or(Verdict::Kept, |wrong| wrong.verdict);
        if before.worse(verdict) != before {
            self.wrong = Some(Wrong {
                verdict,
                from: self.since.max(Ticks(due.ceil() as i64)).min(time),
                to: time,
                found: self.output,
            });
        }
    }

    /// The stretch of still inputs ends at `time`.
    fn end_stretch(&mut self, time: Ticks) {
        let wrong = self.wrong.take();
        if (time.0 as f64) <= self.due() {
            self.walked.too_short += 1;
            return;
        }
        let is_dark = self.has_stretches && is_blind(&self.lines, self.start, Ticks(time.0 - 1));
        if is_dark || self.expected.known == 0 {
            self.walked.tally.not_judged += 1;
            return;
        }
        let count = self.walked.counts.entry(self.combination).or_default();
        count.seen += 1;
        count.wrong += u64::from(wrong.is_some_and(|w| w.verdict == Verdict::Broken));
        let found = wrong.map_or(self.output, |w| w.found);
        match count.found.iter().position(|(value, _)| *value == found) {
            Some(i) => count.found[i].1 += 1,
            None if count.found.len() < MOST_VALUES => count.found.push((found, 1)),
            None => {}
        }
        match wrong {
            Some(wrong) => {
                self.keep(&wrong, time);
                self.tell(wrong);
            }
            None => self.walked.tally.kept += 1,
        }
    }

    /// Keeps how a stretch that contradicts went, up to its end at `time`.
    fn keep(&mut self, wrong: &Wrong, time: Ticks) {
        if wrong.verdict == Verdict::Broken && self.walked.contradicting.len() < MOST_LISTED {
            self.walked.contradicting.push(Stretch {
                length: time - self.start,
                wrong_for: self.last_wrong - self.start,
                wrong_when_due: wrong.from.0 as f64 <= self.due().ceil(),
            });
        }
    }

    /// Counts a stretch that contradicts, and lists it while there is room.
    fn tell(&mut self, wrong: Wrong) {
        let tally = &mut self.walked.tally;
        let list = match wrong.verdict {
            Verdict::Broken => &tally.violations,
            _ => &tally.doubtful,
        };
        let (inputs, outputs) = (self.inputs.len(), self.outputs.len());
        let (combination, expected, found) = (self.combination, self.expected.value, wrong.found);
        let what = (list.len() < MOST_LISTED).then(|| {
            format!("inputs {combination:0inputs$b}: expected {expected}, found {found:0outputs$b}")
        });
        let occasion = Occasion {
            start: wrong.from,
            end: wrong.to,
            lines: &self.place,
        };
        tally.count(wrong.verdict, None, occasion, what);
    }

    /// Line `which` (inputs, then outputs) has an edge at `time`.
    fn step(&mut self, time: Ticks, which: usize) {
        let bit_of = |i: usize, n: usize| 1u64 << (n - 1 - i);
        self.since = time;
        if which < self.inputs.len() {
            self.combination ^= bit_of(which, self.inputs.len());
            self.start = time;
        } else {
            self.output ^= bit_of(which - self.inputs.len(), self.outputs.len());
        }
        if self.has_flips {
            self.combination = levels(self.capture, self.inputs, Some(time));
            self.output = levels(self.capture, self.outputs, Some(time));
        }
    }
}
