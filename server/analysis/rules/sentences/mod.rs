//! What checked rules have to say.

mod exclusive;
mod latch;
mod limit;
mod logic;
mod sequence;
mod stay;
mod still;

pub use latch::{as_if_words as latch_as_if_words, slip_words};
pub use logic::as_if_words;
pub use sequence::{moved_between, suspicion_words};
pub use still::rested;

use super::{RuleResult, RuleResults};
use crate::analysis::findings::{Finding, Severity};
use crate::model::Capture;
use crate::model::units::{moment, seconds};
use crate::rule::{Demand, Rule};

/// One finding a broken rule; notes on rules that can't be told, that lack a line, or that never had anything to check;
/// stuck and bridged lines. In the order of the rules.
pub fn findings(capture: &Capture, rules: &[Rule], results: &RuleResults) -> Vec<Finding> {
    let mut found = Vec::new();
    for (rule, result) in rules.iter().zip(&results.rules) {
        let teller = Teller {
            capture,
            rule,
            result,
        };
        found.extend(teller.finding().map(|finding| (teller.is_late(), finding)));
    }
    // A part that is wrong comes before one that is only slow.
    found.sort_by_key(|(is_late, _)| *is_late);
    let mut found: Vec<Finding> = found.into_iter().map(|(_, finding)| finding).collect();
    found.extend(results.stuck.iter().filter_map(|s| still::stuck(capture, s)));
    found.extend(results.silenced.iter().map(|s| still::silenced(capture, s)));
    found.extend(results.bridged.iter().map(|b| still::bridged(capture, b)));
    found
}

/// One rule and what came of it.
struct Teller<'a> {
    capture: &'a Capture,
    rule: &'a Rule,
    result: &'a RuleResult,
}

impl Teller<'_> {
    /// Whether the part comes right and only later than allowed.
    fn is_late(&self) -> bool {
        self.result
            .table
            .as_ref()
            .is_some_and(|table| table.late.is_some())
    }

    fn finding(&self) -> Option<Finding> {
        let tally = &self.result.tally;
        if self.result.is_elsewhere {
            return None;
        }
        if !self.result.missing.is_empty() {
            return Some(self.missing());
        }
        if let Some((one, other)) = &self.result.apart {
            return Some(self.apart(one, other));
        }
        if tally.checked() == 0 {
            return Some(self.nothing_checked());
        }
        if tally.broken > 0 {
            return Some(match &self.rule.demand {
                Demand::Limit(limit) => limit::broken(self, limit),
                Demand::Logic(_) => logic::broken(self),
                Demand::Latch(latch) => latch::broken(self, latch),
                Demand::Sequence(sequence) => sequence::broken(self, sequence),
            });
        }
        (tally.cant_tell > 0).then(|| self.cant_tell())
    }

    fn topic(&self) -> &'static str {
        match &self.rule.demand {
            Demand::Limit(_) => "limit",
            Demand::Logic(_) | Demand::Latch(_) => "logic",
            Demand::Sequence(_) => "sequence",
        }
    }

    fn make(&self, severity: Severity, title: String, detail: String, try_next: Vec<String>) -> Finding {
        Finding {
            severity,
            topic: self.topic(),
            lines: self
                .result
                .lines
                .iter()
                .map(|&i| self.name(i).to_owned())
                .collect(),
            title,
            detail,
            try_next,
        }
    }

    fn missing(&self) -> Finding {
        let missing = self.result.missing.join(", ");
        self.make(
            Severity::Warning,
            format!(
                "The rule \"{}\" could not be checked: this capture has no {missing}",
                self.rule.name
            ),
            format!(
                "Line {} of the setup file names what was not recorded.",
                self.rule.setup_line
            ),
            vec![
                "Compare the rule's names with the list of lines; capitals and brackets count.".to_owned(),
                "Or clip a probe to the missing line and capture again.".to_owned(),
            ],
        )
    }

    fn apart(&self, one: &str, other: &str) -> Finding {
        self.make(
            Severity::Note,
            format!(
                "The rule \"{}\" is not judged: {one} and {other} were recorded on two clocks that nothing joins",
                self.rule.name
            ),
            format!(
                "Line {} of the setup file. What one of them does after the other, as the files' own times stand, says nothing of \
                 the machine.",
                self.rule.setup_line
            ),
            vec![
                "Name an irregular line that both files have: --align-on LINE (or LINE=LINE_IN_THE_OTHER), or the page Clocks."
                    .to_owned(),
                "Were both started by one trigger, say on the page Clocks that they ran on one clock.".to_owned(),
            ],
        )
    }

    fn nothing_checked(&self) -> Finding {
        let unknown = match self.result.tally.not_judged {
            0 => String::new(),
            n => format!(
                " {} could not be judged: a level was unknown, or the record too short.",
                occasions(n)
            ),
        };
        let short = match self.result.table.as_ref().map_or(0, |t| t.too_short) {
            0 => String::new(),
            n => format!(" All {n} stretches were shorter than the settling time."),
        };
        self.make(
            Severity::Note,
            format!("The rule \"{}\" never had anything to check", self.rule.name),
            format!(
                "Line {} of the setup file: the edges it waits for did not come.{unknown}{short}",
                self.rule.setup_line
            ),
            vec!["Capture longer, or while the machine does what the rule is about.".to_owned()],
        )
    }

    fn cant_tell(&self) -> Finding {
        let tally = &self.result.tally;
        let period = self.sample_s();
        self.make(
            Severity::Note,
            format!("Whether \"{}\" is kept can't be told at this sampling", self.rule.name),
            format!(
                "{} of {} lie within one sampling period ({}) of the limit; {} surely keep it, none surely breaks it.",
                tally.cant_tell,
                occasions(tally.checked()),
                seconds(period),
                tally.kept
            ),
            vec![format!(
                "Capture again at a shorter sampling period than {}: a tenth of the limit tells most cases apart.",
                seconds(period)
            )],
        )
    }

    /// The longest sampling period of the lines concerned, in seconds.
    fn sample_s(&self) -> f64 {
        let periods = self
            .result
            .lines
            .iter()
            .map(|&i| self.capture.lines[i].sample_ticks);
        self.capture.timebase.length_s(periods.fold(0.0, f64::max))
    }

    fn name(&self, line: usize) -> &str {
        &self.capture.lines[line].name
    }

    fn ticks(&self, ticks: f64) -> String {
        seconds(self.capture.timebase.length_s(ticks))
    }

    /// How often the rule was broken, kept, and left open.
    fn counts(&self) -> String {
        let tally = &self.result.tally;
        let mut text = format!("Broken in {} of {}", tally.broken, occasions(tally.checked()));
        if tally.cant_tell > 0 {
            text.push_str(&format!(
                "; {} more lie within one sampling period ({}) of the limit and can't be told",
                tally.cant_tell,
                seconds(self.sample_s())
            ));
        }
        text.push('.');
        if let Some(first) = tally.violations.first() {
            text.push_str(&format!(
                " The first at {}.",
                moment(self.capture.seconds(first.start))
            ));
        }
        text
    }
}

fn occasions(n: u64) -> String {
    if n == 1 {
        "1 occasion".to_owned()
    } else {
        format!("{n} occasions")
    }
}
