//! What was found under each condition of a session: its newest run's report, and what its other runs show besides.

use std::collections::HashSet;
use std::sync::Arc;

use crate::report::inspect::{Finding, InspectReport, Severity, finding_keys};
use crate::report::text::{headline, headline_sentences};
use crate::store::{EntryId, SessionId, Store, Under};
use crate::workflow::condition_runs::RunFound;
use crate::workflow::session::Held;

use super::alike::Names;
use super::error::Failure;
use super::opened::Opened;
use super::state::App;
use super::work::{kept_runs, scope, scope_of};

/// What was found under one condition.
pub struct Answer {
    pub condition: Option<EntryId>,
    /// The condition's name.
    pub title: String,
    /// The newest that is kept, whether or not something changed since; `None`: nobody looked yet.
    pub report: Option<InspectReport>,
    /// The key of each finding of the report.
    pub keys: Vec<String>,
    /// The condition's runs, the newest, which the report is of, last; empty where there is one.
    pub runs: Vec<RunFound>,
    /// Lines that moved by themselves in any of its runs.
    pub moved: Vec<String>,
    /// Findings are left out that a person holds to be no fault.
    pub has_set_aside: bool,
    /// Of each of the runs whether some of its own are.
    pub set_aside_in: Vec<bool>,
}

impl Answer {
    /// The kept report of a condition, with the keys of its findings. `runs`: its runs, the newest last.
    pub fn new(under: &Under, report: Option<InspectReport>, mut runs: Vec<RunFound>) -> Answer {
        let moved = runs.iter().flat_map(|run| run.moved.iter().cloned()).collect();
        if runs.len() < 2 {
            runs.clear();
        }
        Answer {
            condition: under.condition,
            title: under.title.clone(),
            keys: report
                .iter()
                .flat_map(|report| finding_keys(&report.findings))
                .collect(),
            report,
            runs,
            moved,
            has_set_aside: false,
            set_aside_in: Vec::new(),
        }
    }

    /// All that is told of under it: the newest run's report, and those of all runs.
    pub fn reports(&self) -> impl Iterator<Item = &InspectReport> {
        let runs = self.runs.iter().map(|run| &run.report);
        self.report.iter().chain(runs)
    }

    /// What was found under the condition in a sentence or two.
    pub fn headline(&self) -> Option<String> {
        let says = headline_over(self.report.as_ref()?, &self.runs).join(" ");
        Some(match self.has_set_aside {
            true => of_the_rest(&says),
            false => says,
        })
    }

    /// The same without the findings of these keys, which a person set aside.
    pub fn without(&self, aside: &HashSet<&String>) -> Answer {
        let report = self.report.as_ref().map(|report| open_only(report, aside));
        let lacks = |report: &InspectReport| {
            finding_keys(&report.findings)
                .iter()
                .any(|key| aside.contains(key))
        };
        let runs = self.runs.iter().map(|run| RunFound {
            report: open_only(&run.report, aside),
            ..run.clone()
        });
        Answer {
            condition: self.condition,
            title: self.title.clone(),
            keys: report
                .iter()
                .flat_map(|report| finding_keys(&report.findings))
                .collect(),
            report,
            runs: runs.collect(),
            moved: self.moved.clone(),
            has_set_aside: self.reports().any(lacks),
            set_aside_in: self.runs.iter().map(|run| lacks(&run.report)).collect(),
        }
    }
}

/// A headline over what is left where findings were set aside.
pub fn of_the_rest(says: &str) -> String {
    let says = says.replace("Nothing looks wrong", "Nothing else looks wrong");
    says.replace(
        "Nothing is shown to be wrong",
        "Nothing else is shown to be wrong",
    )
}

/// The report without the findings of these keys.
pub fn open_only(report: &InspectReport, aside: &HashSet<&String>) -> InspectReport {
    let keys = finding_keys(&report.findings);
    let of_key = report.findings.iter().zip(&keys);
    let open = of_key.filter(|(_, key)| !aside.contains(key));
    InspectReport {
        findings: open.map(|(finding, _)| finding.clone()).collect(),
        ..report.clone()
    }
}

/// Troubles of runs that are not shown and that the shown run's `report` does not tell of, those of the newest run first.
pub fn only_elsewhere<'a>(report: &InspectReport, runs: &'a [RunFound]) -> Vec<&'a Finding> {
    let names = Names::over(runs.iter().map(|run| &run.report).chain([report]));
    let mut told = names.keys(report);
    let mut all = Vec::new();
    for run in runs.iter().rev().filter(|run| !run.is_shown) {
        for (finding, key) in run.report.findings.iter().zip(names.keys(&run.report)) {
            if finding.severity != Severity::Note && !told.contains(&key) {
                told.push(key);
                all.push(finding);
            }
        }
    }
    all
}

/// What was found in the shown run, and in other runs of the condition where they show what it does not: a run may be
/// too short to show it. A sentence each, or one for each run; never empty.
pub fn headline_over(report: &InspectReport, runs: &[RunFound]) -> Vec<String> {
    /// Runs told of beside the shown one.
    const MOST: usize = 2;
    let Some(shown) = runs.iter().find(|run| run.is_shown) else {
        return headline_sentences(report);
    };
    /// Titles told of each of them.
    const MOST_TITLES: usize = 2;
    let names = Names::over(runs.iter().map(|run| &run.report).chain([report]));
    let mut told = names.keys(report);
    let mut besides: Vec<(&RunFound, Vec<&str>)> = Vec::new();
    let mut is_worse = false;
    let proves = |findings: &[Finding]| findings.iter().any(|f| f.severity == Severity::Fault);
    for run in runs.iter().rev().filter(|run| !run.is_shown) {
        let mut titles = Vec::new();
        for (finding, key) in run.report.findings.iter().zip(names.keys(&run.report)) {
            if finding.severity != Severity::Note && !told.contains(&key) {
                told.push(key);
                titles.push(finding.title.as_str());
                is_worse |= finding.severity == Severity::Fault && !proves(&report.findings);
            }
        }
        if !titles.is_empty() {
            besides.push((run, titles));
        }
    }
    if besides.is_empty() {
        return headline_sentences(report);
    }
    // "No fault is proved" is not the first that is said where another run proves one.
    let is_trouble = !is_worse && report.findings.iter().any(|f| f.severity != Severity::Note);
    let mut all: Vec<String> = Vec::new();
    for (run, titles) in besides.iter().take(MOST) {
        let more = match titles.len().saturating_sub(MOST_TITLES) {
            0 => String::new(),
            more => format!("; and {more} more"),
        };
        let first = titles[..titles.len().min(MOST_TITLES)].join("; ");
        let says = match is_trouble {
            true => format!(" besides: {first}{more}."),
            false => format!(": {}", headline(&run.report)),
        };
        all.push(format!("In {} ({}){says}", run.files, run.size));
    }
    if let further @ 1.. = besides.len().saturating_sub(MOST) {
        all.push(format!("More in {further} other runs."));
    }
    let own = format!("In {} ({}): {}", shown.files, shown.size, headline(report));
    all.insert(if is_trouble { 0 } else { all.len() }, own);
    all
}

/// What is kept of each condition with captures, in their order: the newest one last.
///
/// # Errors
/// The disk's own.
pub fn kept_answers(store: &Store, id: SessionId) -> Result<Vec<Answer>, Failure> {
    let answer = |under: &Under| {
        let kept = store.latest_report(id, &scope_of(under.condition))?;
        // An answer that an older program kept in another shape is worked out again when the session is opened.
        let report: Option<InspectReport> = kept.and_then(|text| serde_json::from_str(&text).ok());
        let mut runs = kept_runs(store, id, under.condition)?;
        // The runs may have been looked at anew since, in another one than the newest.
        let newest = runs.last_mut().map(|run| {
            run.is_shown = true;
            run.report.clone()
        });
        // What is kept of a run tells not its single strays; what an older program kept of it, not its lines either.
        let report = match (newest, report) {
            (Some(newest), Some(whole)) => Some(InspectReport {
                lines: match newest.lines.is_empty() {
                    true => whole.lines,
                    false => newest.lines.clone(),
                },
                strays: whole.strays,
                couplings: whole.couplings,
                ..newest
            }),
            (newest, report) => newest.or(report),
        };
        Ok(Answer::new(under, report, runs))
    };
    store.captures_by_condition(id)?.iter().map(answer).collect()
}

/// The newest answer that is kept of the condition in hand, whether or not something changed since.
///
/// # Errors
/// The disk's own.
pub fn present_report(store: &Store, id: SessionId) -> Result<Option<InspectReport>, Failure> {
    let held = Held::present(store, id)?;
    let text = store.latest_report(id, &scope(&held))?;
    // An answer that an older program kept in another shape is worked out again when the session is opened.
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}

impl App {
    /// Looks again at every condition of which what is kept does not hold any more, or that nobody looked at; one that
    /// can't be read keeps nobody from the rest.
    ///
    /// # Errors
    /// The disk's own.
    pub async fn look_where_outdated(self: &Arc<App>, id: SessionId) -> Result<(), Failure> {
        let app = self.clone();
        let outdated = tokio::task::spawn_blocking(move || {
            let mut all = app.store.captures_by_condition(id)?;
            let mut failed = None;
            all.retain(|under| {
                let held = Held::these(&app.store, id, under.captures.clone());
                let scope = scope_of(under.condition);
                let is_kept = held.and_then(|held| app.store.has_report(id, &scope, &held.key()));
                !is_kept.unwrap_or_else(|error| {
                    failed = Some(error);
                    true
                })
            });
            failed.map_or(Ok(all), Err)
        });
        for under in outdated.await?? {
            // What can't be read is told where it is looked at.
            let _ = self.opened_under(id, under).await;
        }
        Ok(())
    }

    /// Captures under one condition of a session, read and inspected as they are stored now.
    ///
    /// # Errors
    /// None can be read: the sentence says why.
    pub async fn opened_under(self: &Arc<App>, id: SessionId, under: Under) -> Result<Arc<Opened>, Failure> {
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            let held = Held::these(&app.store, id, under.captures)?;
            app.look_aside(id, &held)
        })
        .await?
    }
}
