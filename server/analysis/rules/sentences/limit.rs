//! Sentences on broken limits.

use super::exclusive::Together;
use super::{Teller, stay};
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::rules::tally::{Limits, Violation};
use crate::model::units::engineering;
use crate::model::{Level, Polarity};
use crate::rule::{Demand, EdgeOf, Limit};

/// The worst violation of a limit, as sentences need it.
struct Worst<'a> {
    teller: &'a Teller<'a>,
    worst: &'a Violation,
    limits: Limits,
    /// What was measured, in ticks; `None`: nothing came at all.
    measured: Option<f64>,
    /// How the overlaps are spread, of lines that must not be at a level together.
    together: Option<Together>,
}

/// The worst violation in words, the counts, and what to try.
pub fn broken(teller: &Teller, limit: &Limit) -> Finding {
    let tally = &teller.result.tally;
    let worst = worst(&tally.limits, &tally.violations);
    let told = Worst {
        teller,
        worst,
        limits: tally.limits,
        measured: worst.measured.map(|(value, _)| value as f64),
        together: match limit {
            Limit::Exclusive { level, at_most_s, .. } => Some(Together::of(teller, *level, *at_most_s)),
            _ => None,
        },
    };
    let doubt = match worst.measured {
        Some((_, reach)) if reach.below.max(reach.above) > 0.0 => {
            format!(" Measured to ± {}.", teller.ticks(reach.below.max(reach.above)))
        }
        _ => String::new(),
    };
    // Of a line that must stay the title says it all.
    let is_told = worst.side.is_some();
    let what = worst.what.as_ref().filter(|_| !is_told);
    let what = what.map_or(String::new(), |w| format!(" The worst: {w}."));
    let spread = match &told.together {
        Some(together) => together.detail(teller),
        None => by_line(teller) + &stay::sides(teller),
    };
    let detail = format!(
        "Rule \"{}\". {}{spread}{doubt}{what}",
        teller.rule.name,
        teller.counts(),
    );
    let next = match &told.together {
        Some(together) => together.next(teller),
        None => vec![try_next(limit, told.is_short()).to_owned()],
    };
    let may_be_meant = told.together.as_ref().is_some_and(Together::may_be_meant);
    let severity = match may_be_meant {
        true => Severity::Warning,
        false => Severity::Fault,
    };
    teller.make(severity, sentence_case(told.title(limit)), detail, next)
}

/// How many of the violations are each data line's, most first, where a setup or hold time is asked of several.
fn by_line(teller: &Teller) -> String {
    let data = match &teller.rule.demand {
        Demand::Limit(Limit::Setup { .. } | Limit::Hold { .. }) => &teller.result.tally.violations,
        _ => return String::new(),
    };
    let mut counts: Vec<(usize, u64)> = Vec::new();
    for line in data.iter().filter_map(|violation| violation.lines.first()) {
        match counts.iter_mut().find(|(of, _)| of == line) {
            Some((_, n)) => *n += 1,
            None => counts.push((*line, 1)),
        }
    }
    // The lines of the rule without a violation, of which there are more than the strobe, make the count worth telling too.
    if teller.result.lines.len() < 3 {
        return String::new();
    }
    counts.sort_by_key(|&(_, n)| std::cmp::Reverse(n));
    let told: Vec<String> = counts
        .iter()
        .map(|&(line, n)| format!("{} {n}", teller.name(line)))
        .collect();
    let listed = match teller.result.tally.broken > data.len() as u64 {
        true => format!("Of the first {}", data.len()),
        false => "By line".to_owned(),
    };
    format!(" {listed}: {}.", told.join(", "))
}

impl Worst<'_> {
    /// Whether it is the lower limit that was broken.
    fn is_short(&self) -> bool {
        self.measured
            .zip(self.limits.at_least)
            .is_some_and(|(m, l)| m < l)
    }

    fn value(&self) -> String {
        self.measured
            .map_or_else(|| "no time at all".to_owned(), |m| self.teller.ticks(m))
    }

    /// The limit that was broken.
    fn needs(&self) -> String {
        let (bound, limit) = match self.is_short() {
            true => ("at least", self.limits.at_least),
            false => ("at most", self.limits.at_most),
        };
        let limit = limit.map_or_else(|| "?".to_owned(), |ticks| self.teller.ticks(ticks));
        format!("{bound} {limit}")
    }

    /// The name of line `i` of the evidence.
    fn line(&self, i: usize) -> &str {
        self.worst
            .lines
            .get(i)
            .map_or("?", |&line| self.teller.name(line))
    }

    fn title(&self, limit: &Limit) -> String {
        let (value, needs, line) = (self.value(), self.needs(), |i| self.line(i));
        match limit {
            Limit::PulseWidth { line, level, .. } => {
                let during = level.map_or("still", Level::word);
                let how = if self.is_short() { "only" } else { "as long as" };
                format!("{line} is {during} for {how} {value}; the limit is {needs}")
            }
            Limit::Setup { strobe, .. } => format!(
                "{} changes {value} before {}; the setup time is {needs}",
                line(0),
                edge(strobe)
            ),
            Limit::Hold { strobe, .. } => format!(
                "{} changes {value} after {}; the hold time is {needs}",
                line(0),
                edge(strobe)
            ),
            Limit::Recovery { release, strobe, .. } => format!(
                "{} comes {value} after {}; the recovery time is {needs}",
                edge(strobe),
                edge(release)
            ),
            Limit::Stay {
                line, level, strobe, ..
            } => stay::title(self.teller, self.worst, (line, *level), strobe),
            Limit::Exclusive { level, .. } => match &self.together {
                Some(together) => together.title(self.teller, *level, (line(0), line(1)), &value),
                None => format!("{} and {} are {} together", line(0), line(1), level.word()),
            },
            Limit::Answer { from, to, .. } => {
                let how = match self.measured {
                    None => "does not come".to_owned(),
                    Some(_) => format!("comes {value}"),
                };
                format!(
                    "{} {how} after {}; it must come within {needs}",
                    edge(to),
                    edge(from)
                )
            }
            Limit::Delay { from, to, .. } => format!(
                "{} comes {value} after {}; the limit is {needs}",
                edge(to),
                edge(from)
            ),
            Limit::Period { of, as_frequency, .. } => self.period_title(of, *as_frequency),
        }
    }

    fn period_title(&self, of: &EdgeOf, as_frequency: bool) -> String {
        let limit = match (as_frequency, self.is_short()) {
            (false, _) => format!("the limit of the period is {}", self.needs()),
            (true, true) => frequency("most", self.teller, self.limits.at_least),
            (true, false) => frequency("least", self.teller, self.limits.at_most),
        };
        let again = match self.measured {
            Some(ticks) if as_frequency => format!("{} ({})", self.value(), hertz(self.teller, ticks)),
            _ => self.value(),
        };
        format!("{} comes again after {again}; {limit}", edge(of))
    }
}

/// What to try; `is_short` tells whether it is the lower limit that was broken.
fn try_next(limit: &Limit, is_short: bool) -> &'static str {
    match limit {
        Limit::PulseWidth { .. } if is_short => {
            "Look whether the short pulses are the sender's own or strays that something induces: see the couplings."
        }
        Limit::PulseWidth { .. } => {
            "Look what should end the pulse: follow the line that resets or clocks it."
        }
        Limit::Setup { .. } => {
            "Follow the data back: a slow gate or a long wire in its path, or a strobe that comes early."
        }
        Limit::Hold { .. } => {
            "Look whether the strobe comes late over a longer wire than the data; delay the data or shorten the strobe's way."
        }
        Limit::Recovery { .. } => {
            "Release the control with the clock's other edge, or through a stage clocked by it."
        }
        Limit::Stay { .. } => {
            "Look at both lines at the part's own pins: an input left open or a stray on it does the same."
        }
        Limit::Exclusive { .. } => "Look at what decides between them, at its own pins.",
        Limit::Answer { .. } => {
            "Follow the way from cause to answer and see on which line it gets lost or late."
        }
        Limit::Delay { .. } => {
            "Compare with the sum of the data sheets' delays on the way; a slow edge or a missing pull-up adds to it."
        }
        Limit::Period { .. } => {
            "Look for an extra or a missing edge at that moment before you suspect the oscillator."
        }
    }
}

/// A title that begins with an article, with a capital; one that begins with a line's name as it is.
fn sentence_case(title: String) -> String {
    match ["the ", "an "].iter().any(|article| title.starts_with(article)) {
        true => title[..1].to_uppercase() + &title[1..],
        false => title,
    }
}

/// The limit of a frequency, from the period of it that bounds the other way.
fn frequency(bound: &str, teller: &Teller, period: Option<f64>) -> String {
    let limit = period.map_or_else(|| "?".to_owned(), |ticks| hertz(teller, ticks));
    format!("the frequency must be at {bound} {limit}")
}

/// The frequency of which `ticks` are one period.
fn hertz(teller: &Teller, ticks: f64) -> String {
    engineering(1.0 / teller.capture.timebase.length_s(ticks), "Hz")
}

/// The violation furthest from its limit; one without any value is worst of all.
fn worst<'a>(limits: &Limits, violations: &'a [Violation]) -> &'a Violation {
    let excess = |violation: &Violation| violation.excess(limits).unwrap_or(f64::INFINITY);
    // Of equals the first.
    violations
        .iter()
        .rev()
        .max_by(|a, b| excess(a).total_cmp(&excess(b)))
        .expect("a broken rule lists a violation")
}

/// "the rise of STEP".
pub(super) fn edge(of: &EdgeOf) -> String {
    match of.polarity {
        Some(Polarity::Rise) => format!("the rise of {}", of.line),
        Some(Polarity::Fall) => format!("the fall of {}", of.line),
        None => format!("an edge of {}", of.line),
    }
}
