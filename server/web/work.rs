//! Reading and analysing a session's captures in the background, with word of how far it is.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use tokio::sync::watch;

use crate::ingest::Progress;
use crate::model::Capture;
use crate::setup::Setup;
use crate::store::{SessionId, report_key};
use crate::workflow::inspect::{Inspection, Question, inspect};

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

/// The work that is going on, by session.
#[derive(Default)]
pub struct Work {
    going: Mutex<HashMap<SessionId, watch::Receiver<Stage>>>,
}

impl App {
    /// Starts reading the session's captures, unless that is going on or done. The answer tells how far it is.
    pub fn start_work(self: &Arc<App>, id: SessionId) -> watch::Receiver<Stage> {
        let mut going = self.work.going.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(receiver) = going.get(&id) {
            return receiver.clone();
        }
        let first = Stage::Step(Step {
            says: "Looking at the captures".to_owned(),
            share: None,
        });
        let (sender, receiver) = watch::channel(first);
        going.insert(id, receiver.clone());
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            // A panic in a reader must not leave the page waiting.
            let work = std::panic::AssertUnwindSafe(|| open(&app, id, &sender));
            let done = match std::panic::catch_unwind(work) {
                Ok(Ok(())) => Stage::Ready,
                Ok(Err(failure)) => Stage::Failed(failure.sentence),
                Err(_) => Stage::Failed(Failure::ours("reading a session broke off").sentence),
            };
            app.work
                .going
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .remove(&id);
            sender.send_replace(done);
        });
        receiver
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

    /// What the session's answer rests on, as it is stored now; `None` without captures.
    pub fn present_key(&self, id: SessionId) -> Result<Option<String>, Failure> {
        let session = self.store.session(id)?;
        let captures = self.store.present_captures(id)?;
        Ok((!captures.is_empty()).then(|| report_key(&captures, &session.body.setup)))
    }
}

fn open(app: &App, id: SessionId, sender: &watch::Sender<Stage>) -> Result<(), Failure> {
    let session = app.store.session(id)?;
    let entries = app.store.present_captures(id)?;
    if entries.is_empty() {
        return Err(Failure::missing(format!("capture in session {id} yet")));
    }
    let key = report_key(&entries, &session.body.setup);
    if app.in_memory(id).is_some_and(|opened| opened.key == key) {
        return Ok(());
    }
    let setup = Setup::parse(&session.body.setup, "the session's setup")
        .map_err(|error| Failure::wrong(sentence(&error)))?;
    let mut captures = Vec::with_capacity(entries.len());
    for (index, entry) in entries.iter().enumerate() {
        let of_all = if entries.len() > 1 {
            format!(" ({} of {})", index + 1, entries.len())
        } else {
            String::new()
        };
        let teller = Teller {
            sender,
            says: format!("Reading {}{of_all}", entry.value.file),
        };
        teller.tell(Some(0.0));
        let path = app.store.original_path(&entry.value.digest)?;
        let options = crate::workflow::read::read_options(&setup);
        let capture = crate::ingest::read_file_as(&path, &entry.value.file, &options, &teller)
            .map_err(|error| Failure::wrong(sentence(&error)))?;
        captures.push(capture);
    }
    Teller {
        sender,
        says: "Looking for what is wrong".to_owned(),
    }
    .tell(None);
    let inspection = together_or_newest(captures, &setup)?;
    let json = serde_json::to_string(&inspection.report).map_err(Failure::ours)?;
    app.store
        .save_report(id, "all", &key, &json, &summary(&inspection.report))?;
    app.keep(Opened::new(
        id,
        session.body.title,
        inspection.capture,
        inspection.report,
        key,
    ));
    Ok(())
}

/// All captures on one clock; where they can't be brought to one, the newest alone, with a warning that says so.
fn together_or_newest(captures: Vec<Capture>, setup: &Setup) -> Result<Inspection, Failure> {
    let question = Question {
        setup,
        align_on: None,
    };
    let newest = captures.last().cloned();
    let count = captures.len();
    let wrong = |error: anyhow::Error| Failure::wrong(format!("{error:#}"));
    match (inspect(captures, &question), newest) {
        (Err(error), Some(mut newest)) if count > 1 => {
            newest.warn(format!(
                "{} earlier captures under this condition are not looked at with it: {error:#}",
                count - 1
            ));
            inspect(vec![newest], &question).map_err(wrong)
        }
        (inspection, _) => inspection.map_err(wrong),
    }
}

fn summary(report: &crate::report::inspect::InspectReport) -> crate::store::Summary {
    use crate::report::inspect::Severity;
    let count = |severity| {
        report
            .findings
            .iter()
            .filter(|finding| finding.severity == severity)
            .count() as u64
    };
    crate::store::Summary {
        faults: count(Severity::Fault),
        warnings: count(Severity::Warning),
        headline: report.findings.first().map(|finding| finding.title.clone()),
    }
}

/// Tells the page how far the reader is.
struct Teller<'a> {
    sender: &'a watch::Sender<Stage>,
    says: String,
}

impl Teller<'_> {
    fn tell(&self, share: Option<f64>) {
        self.sender.send_replace(Stage::Step(Step {
            says: self.says.clone(),
            share,
        }));
    }
}

impl Progress for Teller<'_> {
    fn bytes(&self, done: u64, total: Option<u64>) {
        self.tell(
            total
                .filter(|&total| total > 0)
                .map(|total| done as f64 / total as f64),
        );
    }
}
