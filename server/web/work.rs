//! Reading and analysing a session's captures in the background, with word of how far it is.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use tokio::sync::watch;

use crate::ingest::Progress;
use crate::setup::Setup;
use crate::store::{EntryId, SessionId, Store};
use crate::workflow::condition_runs::{RunFound, inspect_runs};
use crate::workflow::earlier::Told;
use crate::workflow::metered::with_readings;
use crate::workflow::session::{Held, RunTallies, tally_all};
use crate::workflow::unreadable::{AllRead, NotRead, Unreadable};

use crate::report::inspect::InspectReport;
use crate::report::text::taken_over;

use super::answers::only_elsewhere;
use super::before::{is_quiet, keep_told, look_before};
use super::error::{Failure, sentence};
use super::opened::Opened;
use super::state::App;

/// How far the work on a session is.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    Step(Step),
    Ready,
    /// A sentence for the person.
    Failed(String),
}

/// A step of the work.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    pub says: String,
    /// How much of this step is done, 0 to 1; null when it can't be told.
    pub share: Option<f64>,
}

/// What is worked out of a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Job {
    /// What is wrong, from the present captures.
    Look,
    /// What every trouble came to in every run.
    Count,
}

/// The work that is going on, by session.
#[derive(Default)]
pub struct Work {
    going: Mutex<HashMap<(SessionId, Job), watch::Receiver<Stage>>>,
}

impl App {
    /// Starts reading the session's captures, unless that is going on or done. The answer tells how far it is.
    pub fn start_work(self: &Arc<App>, id: SessionId) -> watch::Receiver<Stage> {
        self.start(id, Job::Look)
    }

    /// Starts counting every trouble in every run of the session, unless that is going on or done.
    pub fn start_counting(self: &Arc<App>, id: SessionId) -> watch::Receiver<Stage> {
        self.start(id, Job::Count)
    }

    fn start(self: &Arc<App>, id: SessionId, job: Job) -> watch::Receiver<Stage> {
        let mut going = self.work.going.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(receiver) = going.get(&(id, job)) {
            return receiver.clone();
        }
        let first = Stage::Step(Step {
            says: "Looking at the captures".to_owned(),
            share: None,
        });
        let (sender, receiver) = watch::channel(first);
        going.insert((id, job), receiver.clone());
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            // A panic in a reader must not leave the page waiting.
            let work = std::panic::AssertUnwindSafe(|| match job {
                Job::Look => open(&app, id, &sender),
                Job::Count => count(&app, id, &sender),
            });
            let done = match std::panic::catch_unwind(work) {
                Ok(Ok(())) => Stage::Ready,
                Ok(Err(failure)) => Stage::Failed(failure.sentence),
                Err(_) => Stage::Failed(Failure::ours("reading a session broke off").sentence),
            };
            if job == Job::Look {
                // A disk that can't keep it is told of elsewhere.
                let _ = app.remember(id, &done);
            }
            app.work
                .going
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .remove(&(id, job));
            sender.send_replace(done);
        });
        receiver
    }

    /// Keeps that a look at the session's newest condition failed, or that it did not.
    fn remember(&self, id: SessionId, done: &Stage) -> Result<(), Failure> {
        let newest = self.newest(id)?.map(|held| held.key());
        if self.present_key(id)? != newest {
            return Ok(());
        }
        let (key, sentence) = match done {
            Stage::Failed(sentence) => (self.present_key(id)?.unwrap_or_default(), sentence.as_str()),
            _ if self.store.latest_report(id, FAILED)?.is_none() => return Ok(()),
            _ => (String::new(), ""),
        };
        let json = serde_json::to_string(sentence).map_err(Failure::ours)?;
        let none = crate::store::Summary::default();
        let changed_ms = self.store.session(id)?.changed_ms;
        Ok(self
            .store
            .save_report(id, FAILED, &key, changed_ms, &json, &none)?)
    }

    /// Sessions whose newest captures could not be read when they were looked at last, if those are still the same, and why.
    pub fn troubles(&self) -> Result<HashMap<SessionId, String>, Failure> {
        let mut all = HashMap::new();
        for (id, key) in self.store.report_keys(FAILED)? {
            if key.is_empty() || self.newest(id)?.map(|held| held.key()).as_ref() != Some(&key) {
                continue;
            }
            let kept = self.store.load_report(id, FAILED, &key)?;
            let sentence = kept.and_then(|json| serde_json::from_str(&json).ok());
            all.extend(sentence.map(|sentence| (id, sentence)));
        }
        Ok(all)
    }

    /// Whether what is kept of the newest condition's findings rests on something else than what is stored now.
    pub fn is_outdated(&self, id: SessionId) -> Result<bool, Failure> {
        let key = self.newest(id)?.map(|held| held.key()).unwrap_or_default();
        Ok(!self.store.has_report(id, NEWEST, &key)?)
    }

    /// The captures under the newest condition that has any, whichever is looked at; `None` without captures.
    fn newest(&self, id: SessionId) -> Result<Option<Held>, Failure> {
        let all = self.store.captures_by_condition(id)?;
        let held = all
            .last()
            .map(|newest| Held::under(&self.store, id, newest.condition, None));
        Ok(held.transpose()?)
    }

    /// The session as it is in memory, for a window of the diagram; read and analysed first where it is not there.
    ///
    /// # Errors
    /// There is no such session, it has no capture yet, or its captures can't be read.
    pub async fn opened(self: &Arc<App>, id: SessionId) -> Result<Arc<Opened>, Failure> {
        if let Some(opened) = self.in_memory(id) {
            return Ok(opened);
        }
        let opened = self.opened_now(id).await?;
        opened.ok_or_else(|| Failure::no_capture(id))
    }

    /// The session read and analysed as it is stored now, waiting for that if need be; `None` without captures.
    ///
    /// # Errors
    /// There is no such session, or its captures can't be read: the sentence says why.
    pub async fn opened_now(self: &Arc<App>, id: SessionId) -> Result<Option<Arc<Opened>>, Failure> {
        let app = self.clone();
        let Some(key) = tokio::task::spawn_blocking(move || app.present_key(id)).await?? else {
            return Ok(None);
        };
        if let Some(opened) = self.in_memory(id).filter(|opened| opened.key == key) {
            return Ok(Some(opened));
        }
        let mut stages = self.start_work(id);
        let stage = stages.wait_for(|stage| !matches!(stage, Stage::Step(_))).await;
        match stage.map_err(Failure::ours)?.clone() {
            Stage::Failed(sentence) => Err(Failure::wrong(sentence)),
            _ => Ok(self.in_memory(id)),
        }
    }

    /// The counts of every run as they are stored now, waiting for that if need be; `None` without captures.
    ///
    /// # Errors
    /// As [`App::opened_now`].
    pub async fn counted_now(self: &Arc<App>, id: SessionId) -> Result<Option<RunTallies>, Failure> {
        let app = self.clone();
        if let Some(done) = tokio::task::spawn_blocking(move || app.counted(id)).await?? {
            return Ok(Some(done));
        }
        let mut stages = self.start_counting(id);
        let stage = stages.wait_for(|stage| !matches!(stage, Stage::Step(_))).await;
        if let Stage::Failed(sentence) = stage.map_err(Failure::ours)?.clone() {
            return Err(Failure::wrong(sentence));
        }
        let app = self.clone();
        tokio::task::spawn_blocking(move || app.counted(id)).await?
    }

    /// The counts of every run, if they are kept and nothing changed since.
    pub fn counted(&self, id: SessionId) -> Result<Option<RunTallies>, Failure> {
        let held = Held::all(&self.store, id)?;
        let kept = self.store.load_report(id, RUNS, &held.key())?;
        // What an older program kept in another shape is counted again.
        Ok(kept.and_then(|json| serde_json::from_str(&json).ok()))
    }

    /// What the session's answer rests on, as it is stored now; `None` without captures.
    pub fn present_key(&self, id: SessionId) -> Result<Option<String>, Failure> {
        let held = Held::present(&self.store, id)?;
        Ok((!held.captures.is_empty()).then(|| held.key()))
    }
}

fn open(app: &App, id: SessionId, sender: &watch::Sender<Stage>) -> Result<(), Failure> {
    let mut held = Held::present(&app.store, id)?;
    if held.captures.is_empty() {
        return Err(Failure::no_capture(id));
    }
    let key = held.key();
    if app.in_memory(id).is_some_and(|opened| opened.key == key) {
        return Ok(());
    }
    // What was undone may have left another answer in the store: that of what is held is kept anew then.
    let is_kept = app.store.has_report(id, &scope(&held), &key)?;
    let opened = match app.found(id, |opened| is_kept && opened.key == key) {
        Some(opened) => opened,
        None => {
            let tell = |step: Step| {
                sender.send_replace(Stage::Step(step));
            };
            let mut opened = look(app, id, &held, &tell)?;
            if is_quiet(&opened.report) && look_before(app, id, &held, &tell)? {
                held = Held::present(&app.store, id)?;
                opened = look(app, id, &held, &tell)?;
            }
            Arc::new(opened)
        }
    };
    keep_for_start(app, id, &held, &opened)?;
    app.keep(opened);
    Ok(())
}

/// Keeps what the start page says of the session, where the newest condition was looked at: what a person looks up in an
/// earlier one, or in an earlier run, changes nothing of how the machine stands.
///
/// # Errors
/// The disk's own.
pub(super) fn keep_for_start(app: &App, id: SessionId, held: &Held, opened: &Opened) -> Result<(), Failure> {
    let Some(mut newest) = app.newest(id)? else {
        return Ok(());
    };
    let key = newest.key();
    newest.run = held.run;
    if newest.key() != held.key() {
        return Ok(());
    }
    let mut runs = opened.runs.clone();
    let last = runs.len().saturating_sub(1);
    for (at, run) in runs.iter_mut().enumerate() {
        run.is_shown = at == last;
    }
    let report = match opened.runs.last().filter(|run| !run.is_shown) {
        Some(newest) => &newest.report,
        None => &opened.report,
    };
    let json = serde_json::to_string(report).map_err(Failure::ours)?;
    let mut summary = summary(report, &runs);
    let conditions = app.store.captures_by_condition(id)?;
    if let ([_, .., last], Some(headline)) = (&conditions[..], &mut summary.headline) {
        *headline = format!("under \"{}\": {headline}", last.title);
    }
    Ok(app
        .store
        .save_report(id, NEWEST, &key, held.changed_ms, &json, &summary)?)
}

/// Reads captures of a session, all under one condition, and inspects them, unless the answer that is kept still holds;
/// keeps what was found under the condition.
///
/// # Errors
/// None can be read: the sentences of all. The setup is not right, or the disk failed.
pub(super) fn look(
    app: &App,
    id: SessionId,
    held: &Held,
    tell: &(dyn Fn(Step) + Sync),
) -> Result<Opened, Failure> {
    let key = held.key();
    let (setup, read) = read_all(app, held, &|says, share| tell(Step { says, share }))?;
    let setup = with_readings(setup, held.readings());
    let scope = scope(held);
    let known = app.store.load_report(id, &scope, &key)?;
    let known = known.and_then(|json| serde_json::from_str(&json).ok());
    let is_known = known.is_some();
    if !is_known {
        tell(Step {
            says: "Looking for what is wrong".to_owned(),
            share: None,
        });
    }
    let kept = kept_runs(&app.store, id, held.condition())?;
    let keys = |runs: &[RunFound]| runs.iter().map(|run| run.key.clone()).collect::<Vec<_>>();
    let kept_keys = keys(&kept);
    let one = inspect_runs(held, read, &setup, known, kept)
        .ok_or_else(|| Failure::missing("capture in this session"))?;
    if keys(&one.runs) != kept_keys {
        let json = serde_json::to_string(&one.runs).map_err(Failure::ours)?;
        let none = crate::store::Summary::default();
        app.store.save_report(
            id,
            &runs_scope_of(held.condition()),
            "",
            held.changed_ms,
            &json,
            &none,
        )?;
    }
    let mut titles = held.conditions.iter();
    let title = titles.find(|entry| Some(entry.id) == held.condition());
    let title = title.map_or("no condition named", |entry| entry.value.title.as_str());
    let told = Told::together(title, one.runs.iter().map(|run| &run.told));
    keep_told(app, id, held, &told)?;
    let report = one.report;
    if !is_known {
        let json = serde_json::to_string(&report).map_err(Failure::ours)?;
        app.store
            .save_report(id, &scope, &key, held.changed_ms, &json, &summary(&report, &[]))?;
    }
    let title = app.store.session(id)?.body.title;
    let mut opened = Opened::new(id, title, one.capture, report, key);
    opened.condition = held.condition();
    opened.run = held.run;
    opened.captures = held.captures.clone();
    opened.clocks = one.placed;
    opened.unreadable = one.unreadable;
    if one.runs.len() > 1 {
        opened.runs = one.runs;
    }
    Ok(opened)
}

/// Scope under which the answer on the newest condition is kept, for the start page.
const NEWEST: &str = "all";

/// Scope under which the answer on the captures under one condition is kept.
pub(super) fn scope_of(condition: Option<EntryId>) -> String {
    condition.map_or_else(|| "under none".to_owned(), |id| format!("under {id}"))
}

/// Scope under which the answer on what is held is kept.
pub(super) fn scope(held: &Held) -> String {
    match held.run {
        Some(run) => format!("run {run}"),
        None => scope_of(held.condition()),
    }
}

/// Scope under which is kept why the present captures could not be read.
const FAILED: &str = "failed";

/// Scope under which is kept what is wrong in each run of a condition.
fn runs_scope_of(condition: Option<EntryId>) -> String {
    format!("runs {}", scope_of(condition))
}

/// What is kept of each run of a condition, the newest last.
///
/// # Errors
/// The disk's own.
pub(super) fn kept_runs(
    store: &Store,
    id: SessionId,
    condition: Option<EntryId>,
) -> Result<Vec<RunFound>, Failure> {
    let text = store.latest_report(id, &runs_scope_of(condition))?;
    // What an older program kept in another shape is worked out again when the session is opened.
    Ok(text
        .and_then(|text| serde_json::from_str(&text).ok())
        .unwrap_or_default())
}

/// Scope under which the counts of all runs are kept.
const RUNS: &str = "runs";

fn count(app: &App, id: SessionId, sender: &watch::Sender<Stage>) -> Result<(), Failure> {
    if app.counted(id)?.is_some() {
        return Ok(());
    }
    let held = Held::all(&app.store, id)?;
    let (setup, read) = read_all(app, &held, &|says, share| {
        sender.send_replace(Stage::Step(Step { says, share }));
    })?;
    sender.send_replace(Stage::Step(Step {
        says: "Counting every trouble in every run".to_owned(),
        share: None,
    }));
    let counted = tally_all(&held, read, &setup);
    let json = serde_json::to_string(&counted).map_err(Failure::ours)?;
    let none = crate::store::Summary::default();
    Ok(app
        .store
        .save_report(id, RUNS, &held.key(), held.changed_ms, &json, &none)?)
}

/// Reads captures as was said of them; `tell` hears what goes on, and how much of it is done. Captures that can't be
/// read are told beside those that can.
///
/// # Errors
/// None can be read: the sentences of all. The setup is not right, or the disk failed.
fn read_all(
    app: &App,
    held: &Held,
    tell: &(dyn Fn(String, Option<f64>) + Sync),
) -> Result<(Setup, AllRead), Failure> {
    let setup =
        Setup::parse(&held.setup, "the session's setup").map_err(|error| Failure::wrong(sentence(&error)))?;
    let count = held.captures.len();
    let mut all = AllRead::default();
    for (index, entry) in held.captures.iter().enumerate() {
        let of_all = match count {
            1 => String::new(),
            _ => format!(" ({} of {count})", index + 1),
        };
        let says = format!("Reading {}{of_all}", entry.value.file);
        tell(says.clone(), Some(0.0));
        let teller = Teller { tell, says };
        all.captures
            .push(match held.read(&app.store, index, &setup, &teller) {
                Ok(capture) => Some(capture),
                Err(error @ NotRead::ThisTime(_)) => return Err(Failure::wrong(sentence(&error))),
                Err(error @ NotRead::AsItIs(_)) => {
                    all.unreadable.push(Unreadable {
                        capture: entry.id,
                        file: entry.value.file.clone(),
                        sentence: sentence(&error),
                    });
                    None
                }
            });
    }
    if !all.unreadable.is_empty() && all.unreadable.len() == count {
        let sentences: Vec<&str> = all.unreadable.iter().map(|u| u.sentence.as_str()).collect();
        return Err(Failure::wrong(sentences.join(" ")));
    }
    Ok((setup, all))
}

/// Counts over the report and what other `runs` of the condition tell besides.
fn summary(report: &InspectReport, runs: &[RunFound]) -> crate::store::Summary {
    use crate::report::inspect::Severity;
    let besides = only_elsewhere(report, runs);
    let all = || report.findings.iter().chain(besides.iter().copied());
    let count = |severity| all().filter(|finding| finding.severity == severity).count() as u64;
    let (faults, warnings) = (count(Severity::Fault), count(Severity::Warning));
    let clean = Some(taken_over::clean(report)).filter(|clean| faults + warnings == 0 && !clean.is_empty());
    crate::store::Summary {
        faults,
        warnings,
        // The first of the worst.
        headline: clean.or_else(|| {
            let worst = all().min_by_key(|finding| finding.severity);
            worst.map(|finding| finding.title.clone())
        }),
    }
}

/// Tells the page how far the reader is.
struct Teller<'a> {
    tell: &'a (dyn Fn(String, Option<f64>) + Sync),
    says: String,
}

impl Progress for Teller<'_> {
    fn bytes(&self, done: u64, total: Option<u64>) {
        let share = total
            .filter(|&total| total > 0)
            .map(|total| done as f64 / total as f64);
        (self.tell)(self.says.clone(), share);
    }
}
