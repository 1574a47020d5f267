//! Every rule of the setup file, checked on every edge: limits, logic, sequences; and lines that are stuck or bridged.
//!
//! Each rule is one walk over the sorted edges of the lines it names: linear in their number. A measured
//! interval carries the uncertainty of its sampling ([`reach`]); what lies within it is counted apart.

mod apart;
pub mod edges;
pub mod latch;
mod limits;
pub mod logic;
mod quick;
mod reach;
pub mod sentences;
pub mod sequence;
mod silenced;
mod stuck;
mod tally;

pub use apart::set_apart;
pub use latch::Held;
pub use logic::{AsIf, Late, Row, TruthTable};
pub use reach::{Reach, Verdict};
pub use sentences::findings;
pub use sequence::{Company, CompanyStrays, Direction, Instead, Suspicion, Tale};
pub use silenced::Silenced;
pub use stuck::{Bridged, Stuck};
pub use tally::{Limits, Margins, Side, SideTally, Tally, Violation};

use crate::analysis::coupling::Attribution;
use crate::analysis::parallel::on_all_cores;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Line};
use crate::rule::{Demand, Limit, Rule};

/// What came of all rules on one capture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RuleResults {
    /// One result a rule, in the order given.
    pub rules: Vec<RuleResult>,
    pub stuck: Vec<Stuck>,
    pub silenced: Vec<Silenced>,
    pub bridged: Vec<Bridged>,
}

/// What came of one rule.
#[derive(Clone, Debug, PartialEq)]
pub struct RuleResult {
    /// Positions in the capture of the lines the rule names, each once.
    pub lines: Vec<usize>,
    /// Names that are neither a line nor a bus of the capture: then nothing was checked.
    pub missing: Vec<String>,
    /// Two of its lines that were recorded on clocks which nothing joins: then nothing was judged.
    pub apart: Option<(String, String)>,
    /// What comes of it is told of another capture.
    pub is_elsewhere: bool,
    pub tally: Tally,
    /// How the steps of a sequence went.
    pub tale: Option<Tale>,
    /// What a part did, by input combination.
    pub table: Option<TruthTable>,
    /// How a latch went.
    pub held: Option<Held>,
}

/// Checks all rules, and looks for stuck and bridged lines. `same_signal`: pairs of names declared to be one signal seen
/// twice (links), which are no bridges.
///
/// Cost: per rule linear in the edges of its lines (times their number, where several are merged); two threads.
pub fn check(capture: &Capture, rules: &[Rule], same_signal: &[(String, String)]) -> RuleResults {
    RuleResults {
        rules: check_rules(capture, rules),
        stuck: stuck::stuck(capture),
        silenced: silenced::silenced(capture),
        bridged: stuck::bridged(capture, same_signal),
    }
}

/// Checks the rules alone.
pub fn check_rules(capture: &Capture, rules: &[Rule]) -> Vec<RuleResult> {
    on_all_cores(rules, |rule| check_among(capture, rule, rules))
}

/// Finds the strays in the wrong steps of sequences, and what caused them: a stray on the other count input, say. See
/// [`sequence::link`].
pub fn link_strays(capture: &Capture, results: &mut RuleResults, strays: &Strays, attribution: &Attribution) {
    for result in &mut results.rules {
        if let Some(tale) = &mut result.tale {
            sequence::link(capture, tale, &mut result.tally, strays, attribution);
        }
    }
}

/// Checks one rule as if there were no other.
pub fn check_one(capture: &Capture, rule: &Rule) -> RuleResult {
    check_among(capture, rule, &[])
}

/// Checks one of `rules`.
fn check_among(capture: &Capture, rule: &Rule, rules: &[Rule]) -> RuleResult {
    let mut names = Names {
        capture,
        lines: Vec::new(),
        missing: Vec::new(),
    };
    match &rule.demand {
        Demand::Limit(limit) => {
            let tally = limits::check(&mut names, limit);
            names.result(tally, None, None)
        }
        Demand::Logic(logic) => {
            let (tally, table) = logic::check(&mut names, logic).unzip();
            names.result(tally, None, table)
        }
        Demand::Latch(latch) => {
            let (tally, held) = latch::check(&mut names, latch).unzip();
            RuleResult {
                held,
                ..names.result(tally, None, None)
            }
        }
        Demand::Sequence(sequence) => {
            let (tally, tale) = sequence::check(&mut names, sequence, rules).unzip();
            names.result(tally, tale, None)
        }
    }
}

/// Turns names into lines, and remembers both those it used and those it did not find.
struct Names<'a> {
    capture: &'a Capture,
    lines: Vec<usize>,
    missing: Vec<String>,
}

impl<'a> Names<'a> {
    /// The line called `name`.
    fn line(&mut self, name: &str) -> Option<(usize, &'a Line)> {
        let found = self.capture.line_index(name);
        self.remember(name, found.as_slice());
        found.map(|i| (i, &self.capture.lines[i]))
    }

    /// The lines called by `names`; a bus stands for its bits, most significant first.
    fn all(&mut self, names: &[String]) -> Option<Vec<usize>> {
        let mut all = Vec::new();
        for name in names {
            let bus = self.capture.buses.iter().find(|b| b.name == *name);
            let found = match (self.capture.line_index(name), bus) {
                (Some(line), _) => vec![line],
                (None, Some(bus)) => bus.bits.clone(),
                (None, None) => Vec::new(),
            };
            self.remember(name, &found);
            all.extend(found);
        }
        self.missing.is_empty().then_some(all)
    }

    fn remember(&mut self, name: &str, found: &[usize]) {
        if found.is_empty() && !self.missing.iter().any(|m| m == name) {
            self.missing.push(name.to_owned());
        }
        for &line in found {
            if !self.lines.contains(&line) {
                self.lines.push(line);
            }
        }
    }

    fn result(self, tally: Option<Tally>, tale: Option<Tale>, table: Option<TruthTable>) -> RuleResult {
        RuleResult {
            lines: self.lines,
            missing: self.missing,
            apart: None,
            is_elsewhere: false,
            tally: tally.unwrap_or_else(|| Tally::new(Limits::default(), 1.0)),
            tale,
            table,
            held: None,
        }
    }
}

impl Limit {
    /// The limits in ticks of the capture.
    fn in_ticks(&self, capture: &Capture) -> Limits {
        let ticks = |s: f64| reach::limit_ticks(&capture.timebase, s);
        let (at_least, at_most) = match self {
            Limit::PulseWidth { bounds, .. }
            | Limit::Answer { bounds, .. }
            | Limit::Delay { bounds, .. }
            | Limit::Period { bounds, .. } => (bounds.at_least_s, bounds.at_most_s),
            Limit::Setup { at_least_s, .. }
            | Limit::Hold { at_least_s, .. }
            | Limit::Recovery { at_least_s, .. } => (Some(*at_least_s), None),
            // Where each side has another limit, none is that of the rule: see [`Tally::sides`].
            Limit::Stay {
                before_s, after_s, ..
            } => {
                let longer = before_s.max(*after_s);
                let is_one = before_s == after_s || before_s.min(*after_s) == 0.0;
                (is_one.then_some(longer), None)
            }
            Limit::Exclusive { at_most_s, .. } => (None, Some(*at_most_s)),
        };
        Limits {
            at_least: at_least.map(ticks),
            at_most: at_most.map(ticks),
        }
    }
}
