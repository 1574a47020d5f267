//! Sentences on lines that were at a level together: which pairs, and how.

use super::Teller;
use crate::analysis::findings::count_of;
use crate::analysis::rules::edges::{common_span, pulses_at};
use crate::analysis::rules::tally::Violation;
use crate::model::{Level, Line};

/// Pairs told by name.
const PAIRS_TOLD: usize = 4;
/// So many lines, of which one at a time is at the level for about all the record, are outputs of a decoder.
const FEWEST_OF_DECODER: usize = 3;
const ABOUT_ALL: [f64; 2] = [0.9, 1.1];
/// Of the overlaps, the part that is nearly all of them.
const NEARLY_ALL: f64 = 0.8;

/// The overlaps that break the rule, as they are spread.
pub(super) struct Together {
    /// Pairs of lines, positions in the capture, and how often; most first.
    pairs: Vec<((usize, usize), u64)>,
    /// Overlaps in which the second line came and went while the first stayed, of those listed.
    beside: u64,
    listed: u64,
    is_decoder: bool,
}

impl Together {
    /// Of the violations of a rule on lines at `level`.
    pub(super) fn of(teller: &Teller, level: Level) -> Together {
        let violations = &teller.result.tally.violations;
        let mut pairs: Vec<((usize, usize), u64)> = Vec::new();
        for violation in violations {
            let [a, b] = violation.lines[..] else { continue };
            let pair = (a.min(b), a.max(b));
            match pairs.iter_mut().find(|(of, _)| *of == pair) {
                Some((_, n)) => *n += 1,
                None => pairs.push((pair, 1)),
            }
        }
        pairs.sort_by_key(|&(_, n)| std::cmp::Reverse(n));
        let comes_and_goes = |v: &&Violation| came_and_went(teller, v).is_some();
        let lines: Vec<&Line> = teller
            .result
            .lines
            .iter()
            .map(|&i| &teller.capture.lines[i])
            .collect();
        Together {
            pairs,
            beside: violations.iter().filter(comes_and_goes).count() as u64,
            listed: violations.len() as u64,
            is_decoder: lines.len() >= FEWEST_OF_DECODER && one_at_a_time(&lines, level),
        }
    }

    /// `value`: the longest overlap; `worst`: its two lines.
    pub(super) fn title(&self, teller: &Teller, level: Level, worst: (&str, &str), value: &str) -> String {
        let word = level.word();
        match self.pairs.len() {
            0 | 1 => format!("{} and {} are {word} together for {value}", worst.0, worst.1),
            n => format!(
                "Two of {} lines are {word} together {} times, in {n} different pairs; the longest, {} and {}, for {value}",
                teller.result.lines.len(),
                teller.result.tally.broken,
                worst.0,
                worst.1
            ),
        }
    }

    /// The pairs by name, and how the overlaps came about.
    pub(super) fn detail(&self, teller: &Teller) -> String {
        let mut text = String::new();
        if self.pairs.len() > 1 {
            let told = self.pairs.iter().take(PAIRS_TOLD);
            let told: Vec<String> = told
                .map(|&((a, b), n)| format!("{} and {} {n}", teller.name(a), teller.name(b)))
                .collect();
            let more = match self.pairs.len().saturating_sub(PAIRS_TOLD) {
                0 => String::new(),
                more => format!(", and {}", count_of(more as u64, "pair") + " more"),
            };
            text += &format!(" By pair: {}{more}.", told.join(", "));
        }
        if self.is_decoder {
            text += " One of them is on nearly all the time, as of a decoder.";
        }
        if self.beside > 0 {
            text += &format!(
                " In {} of {} the second came and went while the first stayed.",
                self.beside, self.listed
            );
        }
        text
    }

    /// What to try.
    pub(super) fn next(&self) -> Vec<String> {
        let beside = self.beside as f64 >= NEARLY_ALL * self.listed as f64;
        let handed_on = self.beside as f64 <= (1.0 - NEARLY_ALL) * self.listed as f64;
        let next = match (self.is_decoder, beside, handed_on) {
            (true, true, _) => [
                "Capture the decoder's inputs and its enables with these outputs: an input or enable that moves between the steps picks \
                 another output; where they rest, look at the second output at the decoder's own pin: its wire picks up strays.",
                "Where two decoders share the lines, look whether both can be enabled at once.",
            ],
            (true, _, true) => [
                "The next output comes before the last has gone, at the step itself: shut the decoder's enable while its inputs change, \
                 or let what reads the outputs wait until they have settled.",
                "An output that goes late is slow by its load or its pull-up: look at its edge with a scope.",
            ],
            (true, ..) => [
                "Capture the decoder's inputs and its enables with these outputs: inputs that change one after the other, or an enable \
                 that is open meanwhile, let two outputs show at once.",
                "Then look at the outputs at the decoder's own pins: what is not there is picked up on the wire.",
            ],
            (false, ..) => [
                "Look at what decides between them, at its own pins.",
                "Where they switch two outputs onto one wire, see to it first: both at once make heat and dips in the supply.",
            ],
        };
        next.map(str::to_owned).to_vec()
    }
}

/// The line that came later and left earlier, where there is one.
fn came_and_went(teller: &Teller, violation: &Violation) -> Option<usize> {
    let moves = |line: &usize, at| teller.capture.lines[*line].edges.binary_search(&at).is_ok();
    let both = |line: &&usize| moves(line, violation.start) && moves(line, violation.end);
    violation.lines.iter().find(both).copied()
}

/// Whether the lines' stretches at `level` fill about all that was recorded of them together.
fn one_at_a_time(lines: &[&Line], level: Level) -> bool {
    let span = common_span(lines);
    let at_level: i64 = lines
        .iter()
        .flat_map(|line| pulses_at(line, level))
        .map(|(start, end)| (end.min(span.end) - start.max(span.start)).0.max(0))
        .sum();
    let share = at_level as f64 / (span.end - span.start).0.max(1) as f64;
    (ABOUT_ALL[0]..=ABOUT_ALL[1]).contains(&share)
}
