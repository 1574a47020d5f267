//! The sheet to read, as ready strings: worst first, each finding with its figures and what to try next.

use std::collections::HashSet;

use crate::analysis::align::step_of;
use crate::analysis::findings::CAUTION;
use crate::model::units::{Bound, seconds_bound};
use crate::report::inspect::{CouplingRow, Finding, LagHistogram, Severity, finding_keys};
use crate::report::text::{engineering, seconds};
use crate::store::{EntryId, SessionId};
use crate::workflow::condition_runs::RunFound;
use crate::workflow::unreadable;

use super::answers::{headline_over, of_the_rest, open_only};
use super::asked::{RAIL, narrow_form, rail_form};
use super::finding_state::StateView;
use super::occurrences::{occurrences, told};
use super::opened::Opened;

/// Height of the tallest bar, and width of the whole histogram, in its own units.
const BAR_HEIGHT: f64 = 42.0;
const HISTOGRAM_WIDTH: f64 = 230.0;

/// An answer, worded for a page.
pub struct Sheet {
    /// Never empty.
    pub headline: Vec<Said>,
    /// What is looked at, short: which run of how many, files, lines, length.
    pub brief: String,
    /// Files, lines, length, resolution.
    pub facts: String,
    pub findings: Vec<FindingView>,
    pub warnings: Vec<String>,
}

/// One finding of the sheet.
pub struct FindingView {
    pub id: String,
    /// From 1, worst first.
    pub number: usize,
    /// `fault`, `warning` or `note`.
    pub severity: &'static str,
    pub title: Vec<Part>,
    pub detail: Vec<Part>,
    /// Where its lines are, by the harness sheet.
    pub places: Vec<String>,
    pub histogram: Option<Histogram>,
    pub ruled_out: Vec<String>,
    pub try_next: Vec<String>,
    /// How many moments the diagram can go to.
    pub occurrences: usize,
    pub caption: String,
    /// It asks for something to be said in the setup.
    pub wants_setup: bool,
    /// It tells that nothing stray was found.
    pub is_nothing_stray: bool,
    /// It asks for a supply to be declared: the form for that, filled in as far as it says; empty: it does not.
    pub declares: String,
    /// It asks for the width below which a line's pulses are strays: the form for that, filled in likewise; empty: it does not.
    pub narrows: String,
    /// The capture that it says can't be read.
    pub unreadable: Option<CaptureLink>,
    /// What the person holds of it; `None` where that is not known here.
    pub state: Option<StateView>,
}

/// Where the reading of a capture can be said otherwise, and what puts it into the bin.
pub struct CaptureLink {
    pub file: String,
    pub page: String,
    pub entry: String,
    /// Whether saying how to read it may help.
    pub may_be_read: bool,
}

impl CaptureLink {
    /// Addresses of a stored capture.
    pub fn new(session: SessionId, capture: EntryId, file: &str) -> CaptureLink {
        CaptureLink {
            file: file.to_owned(),
            page: format!("/sessions/{session}/captures/{capture}"),
            entry: format!("/api/sessions/{session}/entries/capture/{capture}"),
            may_be_read: true,
        }
    }
}

/// A sentence of the headline.
pub struct Said {
    /// `count` (how many things are wrong), `first` or `further`.
    pub kind: &'static str,
    pub parts: Vec<Part>,
}

/// A piece of a sentence; names of lines stand out.
pub struct Part {
    pub text: String,
    pub is_line: bool,
}

/// Lags as bars.
pub struct Histogram {
    pub bars: Vec<Bar>,
    pub low: String,
    pub middle: String,
    pub high: String,
    /// The same in words, for who does not see it.
    pub words: String,
}

/// One bar; lengths and places in the drawing's own units.
pub struct Bar {
    pub x: String,
    pub y: String,
    pub width: String,
    pub height: String,
    pub count: u64,
}

/// The sheet of a session; `aside`: keys of findings that a person holds to be no fault, which the headline leaves out. Cost:
/// linear in strays for each finding.
pub fn sheet(opened: &Opened, aside: &HashSet<&String>) -> Sheet {
    let of_runs = opened.runs.iter().flat_map(|run| &run.report.findings);
    let of_runs = of_runs.flat_map(|finding| &finding.lines);
    let own = opened.capture.lines.iter().map(|line| &line.name);
    let names: Vec<&str> = own.chain(of_runs).map(String::as_str).collect();
    let report = &opened.report;
    let warnings = report.captures.iter().flat_map(|capture| {
        capture
            .warnings
            .iter()
            .map(move |warning| format!("{}: {warning}", capture.file))
    });
    let mut unreadable = opened.unreadable.iter();
    let views = report.findings.iter().enumerate().map(|(i, finding)| {
        let mut view = finding_view(opened, finding, i + 1, &names);
        if finding.topic == unreadable::TOPIC && !finding.is_of_time_unit() {
            let capture = unreadable.next();
            view.unreadable = capture.map(|u| CaptureLink {
                may_be_read: u.may_be_read(),
                ..CaptureLink::new(opened.id, u.capture, &u.file)
            });
        }
        view
    });
    let facts = facts(opened);
    Sheet {
        headline: said(&headline_of_open(opened, aside), &names),
        brief: brief(opened, &facts),
        facts: facts.join(" · "),
        findings: views.collect(),
        warnings: warnings.collect(),
    }
}

fn headline_of_open(opened: &Opened, aside: &HashSet<&String>) -> Vec<String> {
    if aside.is_empty() {
        return headline_over(&opened.report, &opened.runs);
    }
    let report = open_only(&opened.report, aside);
    let runs = opened.runs.iter().map(|run| RunFound {
        report: open_only(&run.report, aside),
        ..run.clone()
    });
    let says = headline_over(&report, &runs.collect::<Vec<_>>());
    let of_runs = opened.runs.iter().map(|run| &run.report);
    let mut keys = of_runs
        .chain([&opened.report])
        .flat_map(|report| finding_keys(&report.findings));
    match keys.any(|key| aside.contains(&key)) {
        true => says.iter().map(|says| of_the_rest(says)).collect(),
        false => says,
    }
}

/// Which sentence is read first: not how many things are wrong, but the first of them.
fn said(sentences: &[String], names: &[&str]) -> Vec<Said> {
    let counts = |says: &String| {
        let last = says.ends_with(" looks wrong.") || says.ends_with(" look wrong.");
        last && says.split_whitespace().count() == 4
    };
    let first = usize::from(sentences.len() > 1 && sentences.first().is_some_and(counts));
    let view = |(at, says): (usize, &String)| Said {
        kind: match at.cmp(&first) {
            std::cmp::Ordering::Less => "count",
            std::cmp::Ordering::Equal => "first",
            std::cmp::Ordering::Greater => "further",
        },
        parts: parts(says, names),
    };
    sentences.iter().enumerate().map(view).collect()
}

/// The first of the facts; where there are several runs, which of them these are of.
fn brief(opened: &Opened, facts: &[String]) -> String {
    /// Files, lines and length.
    const FIRST: usize = 3;
    let facts = facts[..facts.len().min(FIRST)].join(" · ");
    match opened.runs.iter().position(|run| run.is_shown) {
        Some(at) if opened.runs.len() > 1 => format!("run {} of {}: {facts}", at + 1, opened.runs.len()),
        _ => facts,
    }
}

fn facts(opened: &Opened) -> Vec<String> {
    let captures = &opened.report.captures;
    let lines = opened.capture.lines.len();
    let mut facts = vec![match captures.as_slice() {
        [one] => one.file.clone(),
        many => format!("{} captures", many.len()),
    }];
    facts.push(if lines == 1 {
        "1 line".to_owned()
    } else {
        format!("{lines} lines")
    });
    facts.push(seconds(opened.capture.timebase.length_s(opened.length() as f64)));
    let periods = periods(opened);
    let each = |say: &dyn Fn(f64) -> String, files: bool| {
        let word = |(period_s, file): &(f64, String)| match files && periods.len() > 1 {
            true => format!("{} in {file}", say(*period_s)),
            false => say(*period_s),
        };
        periods.iter().map(word).collect::<Vec<String>>().join(" and ")
    };
    if !periods.is_empty() {
        facts.push(each(&|period_s| engineering(1.0 / period_s, "S/s"), false));
        let known = each(&|period_s| format!("±{}", seconds(period_s / 2.0)), true);
        facts.push(format!("edges known to {known}"));
    }
    facts
}

/// Each instrument's own sampling period in seconds, the finest first, and the files that have it.
fn periods(opened: &Opened) -> Vec<(f64, String)> {
    let files = &opened.report.captures;
    // One capture's own edges show it where its reader did not know it; of several it was settled when they were joined.
    let step = match files.len() {
        1 => step_of(&opened.capture),
        _ => 0.0,
    };
    let mut periods: Vec<(f64, Vec<&str>)> = Vec::new();
    for line in &opened.capture.lines {
        let ticks = match line.sample_ticks > 0.0 || line.interpolated {
            true => line.sample_ticks,
            false => step,
        };
        let file = files.get(line.capture).map_or("", |row| row.file.as_str());
        if ticks <= 0.0 {
            continue;
        }
        let alike = |(other, _): &&mut (f64, Vec<&str>)| (*other - ticks).abs() < 1e-6 * ticks;
        match periods.iter_mut().find(alike) {
            Some((_, named)) if named.contains(&file) => {}
            Some((_, named)) => named.push(file),
            None => periods.push((ticks, vec![file])),
        }
    }
    periods.sort_by(|a, b| a.0.total_cmp(&b.0));
    let length = |ticks: f64| opened.capture.timebase.length_s(ticks);
    let named = periods
        .into_iter()
        .map(|(ticks, files)| (length(ticks), files.join(", ")));
    named.collect()
}

fn finding_view(opened: &Opened, finding: &Finding, number: usize, names: &[&str]) -> FindingView {
    let coupling = match finding.lines.as_slice() {
        [victim, aggressor, ..] => {
            let rows = &opened.report.couplings;
            rows.iter()
                .find(|row| row.victim == *victim && row.aggressor == *aggressor)
        }
        _ => None,
    };
    let list = occurrences(opened, finding);
    let said = || std::iter::once(&finding.detail).chain(&finding.try_next);
    FindingView {
        id: finding.id.clone(),
        number,
        severity: match finding.severity {
            Severity::Fault => "fault",
            Severity::Warning => "warning",
            Severity::Note => "note",
        },
        title: parts(&finding.title, names),
        detail: parts(&finding.detail, names),
        places: Vec::new(),
        histogram: coupling.and_then(|row| Some(histogram(row, row.lag_histogram.as_ref()?))),
        ruled_out: coupling.map_or(Vec::new(), |row| {
            // What the detail says already is not said again.
            let reasons = row.ruled_out.iter().map(|out| out.reason.clone());
            reasons.filter(|reason| !tells(&finding.detail, reason)).collect()
        }),
        // The page says the cautions once, and what is to be off at each list.
        try_next: finding
            .try_next
            .iter()
            .filter(|step| *step != CAUTION)
            .cloned()
            .collect(),
        occurrences: list.len(),
        caption: list
            .get(told(opened, finding))
            .map_or(String::new(), |drawn| drawn.caption.clone()),
        wants_setup: said().any(|text| {
            text.contains("the setup") && !text.contains("page Source and far end") && !text.contains(RAIL)
        }),
        is_nothing_stray: finding.topic == "stray" && finding.lines.is_empty(),
        declares: match said().find(|text| text.contains(RAIL)) {
            Some(text) => rail_form(opened, finding, text),
            None => String::new(),
        },
        narrows: narrow_form(finding, said()),
        unreadable: None,
        state: None,
    }
}

/// Whether a detail says why a line was cleared: as it is said there, or in one sentence with that line's other edges.
fn tells(detail: &str, reason: &str) -> bool {
    let pieces = || {
        let (who, rest) = reason
            .split_once(" % of its ")
            .map(|(before, rest)| (before.rsplit_once(" on "), rest))?;
        let ((who, percent), edges) = (who?, rest.split(';').next()?);
        let (_, said) = detail.split_once(who)?;
        let said = said.split(';').next()?;
        Some(said.contains(&format!("{percent} % of its {edges}")))
    };
    detail.contains(reason) || pieces() == Some(true)
}

fn histogram(row: &CouplingRow, lags: &LagHistogram) -> Histogram {
    let falls = match row.edge.as_str() {
        "rise" => "rises",
        "fall" => "falls",
        _ => "switches",
    };
    let words = format!(
        "{} strays by their lag after {} {falls}: median {}, from {} to {}.",
        lags.counts.iter().sum::<u64>(),
        row.aggressor,
        seconds(row.lag_s.median),
        seconds_bound(row.lag_s.low, Bound::Lower),
        seconds_bound(row.lag_s.high, Bound::Upper)
    );
    bars(lags, format!("lag after {} {falls}", row.aggressor), words)
}

/// The bars of a histogram; `middle` stands under it, `words` say the same to who does not see it.
pub fn bars(lags: &LagHistogram, middle: String, words: String) -> Histogram {
    let most = lags.counts.iter().copied().max().unwrap_or(0).max(1);
    let step = HISTOGRAM_WIDTH / lags.counts.len().max(1) as f64;
    let bars = lags
        .counts
        .iter()
        .enumerate()
        .filter(|(_, count)| **count > 0)
        .map(|(i, &count)| {
            // One stray among thousands still shows.
            let height = (BAR_HEIGHT * count as f64 / most as f64).max(2.0);
            Bar {
                x: format!("{:.1}", i as f64 * step),
                y: format!("{:.1}", BAR_HEIGHT - height),
                width: format!("{:.1}", (step - 1.0).max(1.0)),
                height: format!("{height:.1}"),
                count,
            }
        });
    Histogram {
        bars: bars.collect(),
        low: seconds(lags.start_s),
        middle,
        high: seconds(lags.start_s + lags.bin_s * lags.counts.len() as f64),
        words,
    }
}

/// Splits a sentence at the names of lines, longest name first where one starts another.
fn parts(sentence: &str, names: &[&str]) -> Vec<Part> {
    let is_word = |letter: Option<char>| letter.is_some_and(|c| c.is_alphanumeric() || c == '_');
    let mut parts = Vec::new();
    let mut plain_from = 0;
    let mut at = 0;
    while at < sentence.len() {
        let rest = &sentence[at..];
        let found = if is_word(sentence[..at].chars().next_back()) {
            None
        } else {
            let here = names.iter().filter(|name| {
                !name.is_empty() && rest.starts_with(**name) && !is_word(rest[name.len()..].chars().next())
            });
            here.max_by_key(|name| name.len())
        };
        if let Some(name) = found {
            if plain_from < at {
                parts.push(Part {
                    text: sentence[plain_from..at].to_owned(),
                    is_line: false,
                });
            }
            parts.push(Part {
                text: (*name).to_owned(),
                is_line: true,
            });
            at += name.len();
            plain_from = at;
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    if plain_from < sentence.len() {
        parts.push(Part {
            text: sentence[plain_from..].to_owned(),
            is_line: false,
        });
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_lines_stand_out_whole_and_longest_first() {
        let split = parts("STEP and STEP_2 and MISSTEP, then STEP.", &["STEP", "STEP_2"]);
        let shown: Vec<String> = split
            .iter()
            .map(|p| {
                if p.is_line {
                    format!("[{}]", p.text)
                } else {
                    p.text.clone()
                }
            })
            .collect();
        assert_eq!(shown.concat(), "[STEP] and [STEP_2] and MISSTEP, then [STEP].");
    }
}
