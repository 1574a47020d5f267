//! Sentences on lines that were at a level together: which pairs, and how.

use super::Teller;
use crate::analysis::findings::count_of;
use crate::analysis::rules::edges::{common_span, pulses_at};
use crate::analysis::rules::tally::Violation;
use crate::model::units::{Bound, seconds_bound};
use crate::model::{Level, Line, Ticks};

/// Pairs told by name.
const PAIRS_TOLD: usize = 4;
/// So many lines, of which one at a time is at the level for about all the record, are outputs of a decoder.
const FEWEST_OF_DECODER: usize = 3;
const ABOUT_ALL: [f64; 2] = [0.9, 1.1];
/// Of the overlaps, the part that is nearly all of them.
const NEARLY_ALL: f64 = 0.8;
/// An overlap is a hand-over where the line that came first goes and the later one stays, and it lasts no longer than this share of
/// either line's stay (no source): what lasts longer is no passing on.
const SHORT: f64 = 0.1;
/// So many of them are a habit and not a slip (no source).
const FEWEST_HANDED: u64 = 3;

/// The overlaps that break the rule, as they are spread.
pub(super) struct Together {
    /// Pairs of lines, positions in the capture, and how often; most first.
    pairs: Vec<((usize, usize), u64)>,
    /// Overlaps in which the second line came and went while the first stayed, of those listed.
    beside: u64,
    listed: u64,
    is_decoder: bool,
    /// Those that are hand-overs.
    handed: u64,
    /// The longest of these, in ticks, and as long as it may truly be.
    longest: (f64, f64),
    /// Nobody said how long an overlap may be, and nearly every passing on is such a hand-over and nothing else is.
    may_be_meant: bool,
    /// Nobody said how long an overlap may be.
    is_strict: bool,
}

impl Together {
    /// Of the violations of a rule on lines at `level`. `at_most_s`: how long they may be there together.
    pub(super) fn of(teller: &Teller, level: Level, at_most_s: f64) -> Together {
        let tally = &teller.result.tally;
        let violations = &tally.violations;
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
        let handed: Vec<(f64, f64)> = violations.iter().filter_map(|v| hand_over(teller, v)).collect();
        let longest = handed.iter().copied();
        let longest = longest.fold((0.0, 0.0), |a: (f64, f64), b| (a.0.max(b.0), a.1.max(b.1)));
        let (handed, is_strict) = (handed.len() as u64, at_most_s == 0.0);
        let is_habit = (tally.broken + tally.cant_tell) as f64 >= NEARLY_ALL * tally.checked() as f64;
        Together {
            handed,
            longest,
            is_strict,
            may_be_meant: is_strict && handed == tally.broken && handed >= FEWEST_HANDED && is_habit,
            pairs,
            beside: violations.iter().filter(comes_and_goes).count() as u64,
            listed: violations.len() as u64,
            is_decoder: lines.len() >= FEWEST_OF_DECODER && one_at_a_time(&lines, level),
        }
    }

    /// Whether it may be how the lines are meant to hand on.
    pub(super) fn may_be_meant(&self) -> bool {
        self.may_be_meant
    }

    /// `value`: the longest overlap; `worst`: its two lines.
    pub(super) fn title(&self, teller: &Teller, level: Level, worst: (&str, &str), value: &str) -> String {
        let word = level.word();
        if self.may_be_meant {
            let who = match self.pairs[..] {
                [((a, b), _)] => format!("{} and {}", teller.name(a), teller.name(b)),
                _ => format!("Two of {} lines", teller.result.lines.len()),
            };
            return format!(
                "{who} are {word} together for up to {value}, at hand-overs only ({} of {}): is that meant?",
                self.handed, teller.result.tally.broken
            );
        }
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
        if self.handed > 0 {
            text += &format!(
                " {} of {} are hand-overs of at most {}: the first goes soon after the second came, and the second stays.",
                self.handed,
                self.listed,
                teller.ticks(self.longest.0)
            );
        }
        if self.beside > 0 {
            text += &format!(
                " In {} of {} the second came and went while the first stayed.",
                self.beside, self.listed
            );
        }
        text
    }

    /// What to try: what the rule does not say comes first.
    pub(super) fn next(&self, teller: &Teller) -> Vec<String> {
        let others = self.listed.saturating_sub(self.handed);
        let then = match (others, self.may_be_meant) {
            (_, true) => "then only longer overlaps break it".to_owned(),
            (1, _) => "then the other one stands alone".to_owned(),
            _ => format!("then the other {others} stand alone"),
        };
        let is_many = self.handed >= FEWEST_HANDED && self.handed > others;
        let proposal = (self.is_strict && is_many).then(|| {
            let most = teller.capture.timebase.length_s(self.longest.1);
            format!(
                "If they may hand over so, say it in the rule, At most on the page Limits and logic, at_most = \"{}\" in the setup \
                 file: {then}.",
                seconds_bound(most, Bound::Upper)
            )
        });
        proposal.into_iter().chain(self.whatever()).collect()
    }

    /// What to try, however long they may be together.
    fn whatever(&self) -> Vec<String> {
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

/// How long an overlap lasts, in ticks as measured and as it may truly be at most, where it is a hand-over.
fn hand_over(teller: &Teller, violation: &Violation) -> Option<(f64, f64)> {
    let [a, b] = violation.lines[..] else { return None };
    let (overlap, reach) = violation.measured?;
    // From its coming to its going, of the line that is at the level then.
    let stay = |line: usize| {
        let line = &teller.capture.lines[line];
        let next = line.edges.partition_point(|edge| *edge <= violation.start);
        let comes = next.checked_sub(1).map_or(line.span.start, |at| line.edges[at]);
        let goes = line.edges.get(next).copied().unwrap_or(line.span.end);
        (comes, goes)
    };
    let (first, second) = match stay(a).0 <= stay(b).0 {
        true => (stay(a), stay(b)),
        false => (stay(b), stay(a)),
    };
    let is_passed_on = first.0 < violation.start && first.1 == violation.end && second.1 > violation.end;
    let length = |(comes, goes): (Ticks, Ticks)| (goes - comes).0 as f64;
    let most = SHORT * length(first).min(length(second));
    let truly = overlap as f64 + reach.above;
    (is_passed_on && overlap as f64 <= most).then_some((overlap as f64, truly))
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
