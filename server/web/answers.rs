//! What was found under each condition of a session, and each trouble over all of them.
//!
//! A finding is the same trouble under another condition when its key is the same (`report::inspect::finding_keys`):
//! its topic and lines. What a person holds of it is said once, for all conditions.

use std::sync::{Arc, PoisonError};

use crate::report::inspect::{Finding, InspectReport, finding_keys};
use crate::store::{EntryId, SessionId, Store, Under};
use crate::workflow::session::Held;

use super::error::Failure;
use super::opened::Opened;
use super::state::App;
use super::work::{PRESENT, look, scope_of};

/// Earlier conditions kept open in memory, over all sessions.
const MOST_EARLIER: usize = 4;

/// What was found under one condition.
pub struct Answer {
    pub condition: Option<EntryId>,
    /// The condition's name.
    pub title: String,
    /// The newest that is kept, whether or not something changed since; `None`: nobody looked yet.
    pub report: Option<InspectReport>,
    /// The key of each finding of the report.
    pub keys: Vec<String>,
}

impl Answer {
    /// The kept report of a condition, with the keys of its findings.
    pub fn new(under: &Under, report: Option<InspectReport>) -> Answer {
        Answer {
            condition: under.condition,
            title: under.title.clone(),
            keys: report
                .iter()
                .flat_map(|report| finding_keys(&report.findings))
                .collect(),
            report,
        }
    }
}

/// What is kept of each condition with captures, in their order: the newest one last.
///
/// # Errors
/// The disk's own.
pub fn kept_answers(store: &Store, id: SessionId) -> Result<Vec<Answer>, Failure> {
    let answer = |under: &Under| {
        let kept = store.latest_report(id, &scope_of(under.condition))?;
        // An answer that an older program kept in another shape is worked out again when the session is opened.
        let report = kept.and_then(|text| serde_json::from_str(&text).ok());
        Ok(Answer::new(under, report))
    };
    store.captures_by_condition(id)?.iter().map(answer).collect()
}

/// The newest answer on the present captures that is kept, whether or not something changed since.
///
/// # Errors
/// The disk's own.
pub fn present_report(store: &Store, id: SessionId) -> Result<Option<InspectReport>, Failure> {
    let text = store.latest_report(id, PRESENT)?;
    // An answer that an older program kept in another shape is worked out again when the session is opened.
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}

/// One trouble over all conditions.
pub struct Standing {
    pub key: String,
    /// Which of the answers tells of it last, and where in that.
    pub answer: usize,
    pub finding: usize,
    /// Which of the answers tell of it, in their order.
    pub under: Vec<usize>,
}

impl Standing {
    /// The finding as the last answer that tells of it has it.
    pub fn finding<'a>(&self, answers: &'a [Answer]) -> Option<&'a Finding> {
        answers
            .get(self.answer)?
            .report
            .as_ref()?
            .findings
            .get(self.finding)
    }

    /// Whether the newest answer tells of it.
    pub fn is_present(&self, answers: &[Answer]) -> bool {
        answers.iter().rposition(|answer| answer.report.is_some()) == Some(self.answer)
    }

    /// Under which conditions it was found and under which it was not; empty where only one was looked at.
    pub fn says(&self, answers: &[Answer]) -> String {
        let names = |found: bool| {
            let those = answers.iter().enumerate();
            let those =
                those.filter(|(i, answer)| answer.report.is_some() && self.under.contains(i) == found);
            those
                .map(|(_, answer)| format!("\"{}\"", answer.title))
                .collect::<Vec<_>>()
                .join(", ")
        };
        match (names(true), names(false)) {
            _ if answers.iter().filter(|answer| answer.report.is_some()).count() < 2 => String::new(),
            (found, none) if none.is_empty() => format!("found under {found}"),
            (found, none) => format!("found under {found}, not under {none}"),
        }
    }
}

/// Every finding of any condition once: those of the newest answer in their order, then earlier ones.
pub fn standings(answers: &[Answer]) -> Vec<Standing> {
    let mut all: Vec<Standing> = Vec::new();
    for (number, answer) in answers.iter().enumerate().rev() {
        for (finding, key) in answer.keys.iter().enumerate() {
            match all.iter_mut().find(|standing| standing.key == *key) {
                Some(standing) => standing.under.insert(0, number),
                None => all.push(Standing {
                    key: key.clone(),
                    answer: number,
                    finding,
                    under: vec![number],
                }),
            }
        }
    }
    all
}

impl App {
    /// Captures under one condition of a session, read and inspected as they are stored now.
    ///
    /// # Errors
    /// None can be read: the sentence says why.
    pub async fn opened_under(self: &Arc<App>, id: SessionId, under: Under) -> Result<Arc<Opened>, Failure> {
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            let held = Held::these(&app.store, id, under.captures)?;
            let key = held.key();
            if let Some(opened) = app.in_memory(id).filter(|opened| opened.key == key) {
                return Ok(opened);
            }
            let earlier = || app.earlier.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(opened) = earlier()
                .iter()
                .find(|opened| opened.id == id && opened.key == key)
            {
                return Ok(opened.clone());
            }
            let opened = Arc::new(look(&app, id, &held, &|_| ())?);
            let mut list = earlier();
            if list.len() >= MOST_EARLIER {
                list.remove(0);
            }
            list.push(opened.clone());
            Ok(opened)
        })
        .await?
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(title: &str, keys: &[&str]) -> Answer {
        let report = InspectReport {
            schema: String::new(),
            captures: Vec::new(),
            lines: Vec::new(),
            strays: Vec::new(),
            couplings: Vec::new(),
            links: Vec::new(),
            findings: Vec::new(),
            proposals: Vec::new(),
            permutations: Vec::new(),
            rules: Vec::new(),
            rails: Vec::new(),
            waveforms: Vec::new(),
        };
        Answer {
            condition: None,
            title: title.to_owned(),
            report: Some(report),
            keys: keys.iter().map(|key| (*key).to_owned()).collect(),
        }
    }

    #[test]
    fn a_trouble_is_told_once_with_the_conditions_it_stood_under() {
        let answers = [
            answer("as found", &["a", "b"]),
            Answer {
                report: None,
                ..answer("never looked at", &[])
            },
            answer("clear moved", &["c", "b"]),
        ];
        let all = standings(&answers);
        let told: Vec<(&str, usize, usize, bool, String)> = all
            .iter()
            .map(|s| {
                (
                    s.key.as_str(),
                    s.answer,
                    s.finding,
                    s.is_present(&answers),
                    s.says(&answers),
                )
            })
            .collect();
        assert_eq!(
            told,
            [
                (
                    "c",
                    2,
                    0,
                    true,
                    "found under \"clear moved\", not under \"as found\"".to_owned()
                ),
                (
                    "b",
                    2,
                    1,
                    true,
                    "found under \"as found\", \"clear moved\"".to_owned()
                ),
                (
                    "a",
                    0,
                    0,
                    false,
                    "found under \"as found\", not under \"clear moved\"".to_owned()
                ),
            ]
        );
        assert_eq!(standings(&answers[..1])[0].says(&answers[..1]), "");
    }
}
