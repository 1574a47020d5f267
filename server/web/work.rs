//! Reading and analysing a session's captures in the background, with word of how far it is.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use tokio::sync::watch;

use crate::ingest::Progress;
use crate::store::{Capture, Entry, SessionId, report_key};
use crate::workflow::inspect::{Question, inspect};

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

    /// What the session's answer rests on, as it is stored now; `None` without captures.
    pub fn present_key(&self, id: SessionId) -> Result<Option<String>, Failure> {
        let session = self.store.session(id)?;
        let captures: Vec<Entry<Capture>> = self.store.entries(id)?;
        Ok((!captures.is_empty()).then(|| report_key(&captures, &session.body.setup)))
    }
}

fn open(app: &App, id: SessionId, sender: &watch::Sender<Stage>) -> Result<(), Failure> {
    let session = app.store.session(id)?;
    let entries: Vec<Entry<Capture>> = app.store.entries(id)?;
    if entries.is_empty() {
        return Err(Failure::missing(format!("capture in session {id} yet")));
    }
    let key = report_key(&entries, &session.body.setup);
    if app.in_memory(id).is_some_and(|opened| opened.key == key) {
        return Ok(());
    }
    let setup = crate::setup::Setup::parse(&session.body.setup, "the session's setup")
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
    let inspection = inspect(
        captures,
        &Question {
            setup: &setup,
            align_on: None,
        },
    )
    .map_err(|error| Failure::wrong(format!("{error:#}")))?;
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
