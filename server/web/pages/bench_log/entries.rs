//! The entries of a session as the bench log shows them, ready for its template.

use serde_json::json;

use crate::model::units::{file_size, on_scale};
use crate::report::text::moment;
use crate::store::{
    Capture, Condition, Entry, EntryId, Outcome, Photograph, PulseMark, Reading, Remark, SessionId, Step,
    Store, as_typed,
};
use crate::web::error::Failure;

/// A capture of a condition.
pub(super) struct CaptureView {
    pub(super) id: i64,
    pub(super) file: String,
    pub(super) size: String,
    pub(super) added: String,
    pub(super) remark: String,
    pub(super) instrument: String,
    pub(super) conditions: Vec<ConditionChoice>,
    /// The capture as JSON, to be sent back with one thing changed.
    pub(super) json: String,
}

/// A remark with its time.
pub(super) struct RemarkView {
    pub(super) id: i64,
    pub(super) at: String,
    pub(super) text: String,
}

/// A pulse that was judged in the diagram.
pub(super) struct MarkedView {
    pub(super) id: i64,
    pub(super) at: String,
    pub(super) says: String,
}

/// A reading of a meter, as shown and as typed.
pub(super) struct ReadingView {
    pub(super) id: i64,
    pub(super) at: String,
    pub(super) rail: String,
    pub(super) nominal: String,
    pub(super) reading: String,
    pub(super) off: String,
    pub(super) wrong_sign: bool,
    pub(super) place: String,
    pub(super) remark: String,
    /// As they are typed; empty without a nominal.
    pub(super) nominal_value: String,
    pub(super) value: String,
    pub(super) unit: String,
    pub(super) conditions: Vec<ConditionChoice>,
    /// The reading as JSON, to be sent back with something changed.
    pub(super) json: String,
}

/// A condition to choose; none is one of them.
pub(super) struct ConditionChoice {
    /// Its number, or empty.
    pub(super) value: String,
    pub(super) words: String,
    pub(super) is_set: bool,
}

/// A photograph and its caption.
pub(super) struct PhotographView {
    pub(super) id: i64,
    pub(super) file: String,
    pub(super) caption: String,
    pub(super) json: String,
}

/// A step of the checklist.
pub(super) struct StepView {
    pub(super) id: i64,
    pub(super) number: usize,
    pub(super) what: String,
    pub(super) expect: String,
    pub(super) outcome: &'static str,
    /// Class: one word, and none that the page has for something else.
    pub(super) tone: &'static str,
    pub(super) done: String,
    pub(super) remark: String,
    pub(super) json: String,
    /// Captures that show it: all of the session's, and which are chosen.
    pub(super) captures: Vec<StepCapture>,
    /// JSON to send for each outcome.
    pub(super) choices: Vec<StepChoice>,
}

/// A capture that may show what a step came to.
pub(super) struct StepCapture {
    pub(super) id: i64,
    pub(super) file: String,
    pub(super) is_set: bool,
}

/// An outcome of a step to choose.
pub(super) struct StepChoice {
    pub(super) words: &'static str,
    pub(super) json: String,
    pub(super) is_set: bool,
}

/// An entry in the bin.
pub(super) struct BinnedView {
    pub(super) id: i64,
    pub(super) kind: &'static str,
    pub(super) what: String,
    pub(super) at: String,
}

/// No condition, and all there are.
pub(super) fn condition_choices(
    conditions: &[Entry<Condition>],
    now: Option<EntryId>,
) -> Vec<ConditionChoice> {
    let none = ConditionChoice {
        value: String::new(),
        words: "no condition named".to_owned(),
        is_set: now.is_none(),
    };
    let all = conditions.iter().map(|entry| ConditionChoice {
        value: entry.id.to_string(),
        words: entry.value.title.clone(),
        is_set: now == Some(entry.id),
    });
    std::iter::once(none).chain(all).collect()
}

/// A capture, with the conditions it may be put under.
pub(super) fn capture_view(entry: &Entry<Capture>, conditions: &[Entry<Condition>]) -> CaptureView {
    CaptureView {
        conditions: condition_choices(conditions, entry.value.condition),
        id: entry.id.0,
        file: entry.value.file.clone(),
        size: file_size(entry.value.size_bytes),
        added: moment(entry.created_ms),
        remark: entry.value.remark.clone(),
        instrument: entry.value.instrument.clone(),
        json: json!(entry.value).to_string(),
    }
}

/// A remark, at the time it tells of.
pub(super) fn remark_view(entry: &Entry<Remark>) -> RemarkView {
    RemarkView {
        id: entry.id.0,
        at: moment(entry.value.at_ms.unwrap_or(entry.created_ms)),
        text: entry.value.text.clone(),
    }
}

/// A judgement with its time.
pub(super) fn marked_view(entry: &Entry<PulseMark>, captures: &[Entry<Capture>]) -> MarkedView {
    MarkedView {
        id: entry.id.0,
        at: moment(entry.created_ms),
        says: mark_words(&entry.value, &file_of(captures, entry.value.capture)),
    }
}

/// A judgement as a sentence without its full stop. `file`: what the pulse's capture is called; its times are that file's
/// own, which the diagram may have brought to another clock.
pub(in crate::web::pages) fn mark_words(mark: &PulseMark, file: &str) -> String {
    let word = if mark.stray { "a stray" } else { "legitimate" };
    let file = match file {
        "" => "a capture in the bin",
        file => file,
    };
    let at = on_scale(mark.start_s, 1e-9);
    format!(
        "{} in {file}: the pulse from {at} on, by that file's own clock, is {word}",
        mark.line
    )
}

/// What a capture is called; empty where it is not among these.
fn file_of(captures: &[Entry<Capture>], id: EntryId) -> String {
    let entry = captures.iter().find(|entry| entry.id == id);
    entry.map(|entry| entry.value.file.clone()).unwrap_or_default()
}

/// A reading, with how far it is from its nominal value.
pub(super) fn reading_view(entry: &Entry<Reading>, conditions: &[Entry<Condition>]) -> ReadingView {
    let value = &entry.value;
    let unit = if value.unit.is_empty() { "V" } else { &value.unit };
    ReadingView {
        id: entry.id.0,
        at: moment(value.at_ms.unwrap_or(entry.created_ms)),
        rail: value.rail.clone(),
        nominal: value
            .nominal
            .map(|nominal| format!("{} {unit}", as_typed(nominal)))
            .unwrap_or_default(),
        reading: format!("{} {unit}", as_typed(value.reading)),
        off: value.off_words(),
        wrong_sign: value.has_wrong_sign(),
        place: value.place.clone(),
        remark: value.remark.clone(),
        nominal_value: value.nominal.map(as_typed).unwrap_or_default(),
        value: as_typed(value.reading),
        unit: unit.to_owned(),
        conditions: condition_choices(conditions, value.condition),
        json: json!(value).to_string(),
    }
}

/// A photograph, with the JSON to send back.
pub(super) fn photograph_view(entry: &Entry<Photograph>) -> PhotographView {
    PhotographView {
        id: entry.id.0,
        file: entry.value.file.clone(),
        caption: entry.value.caption.clone(),
        json: json!(entry.value).to_string(),
    }
}

/// The step at position `number` (from 1) of the checklist.
pub(super) fn step_view(number: usize, entry: &Entry<Step>, captures: &[Entry<Capture>]) -> StepView {
    let value = &entry.value;
    let choice = |outcome: Outcome| StepChoice {
        words: outcome.words(),
        json: json!(Step {
            outcome,
            ..value.clone()
        })
        .to_string(),
        is_set: value.outcome == outcome,
    };
    StepView {
        id: entry.id.0,
        number,
        what: value.what.clone(),
        expect: value.expect.clone(),
        outcome: value.outcome.words(),
        tone: match value.outcome {
            Outcome::Open => "open",
            Outcome::Passed => "passed",
            Outcome::Failed => "failed",
            Outcome::Skipped => "skipped",
        },
        done: value.done_ms.map(moment).unwrap_or_default(),
        remark: value.remark.clone(),
        json: json!(value).to_string(),
        captures: captures
            .iter()
            .map(|capture| StepCapture {
                id: capture.id.0,
                file: capture.value.file.clone(),
                is_set: value.captures.contains(&capture.id),
            })
            .collect(),
        choices: [Outcome::Passed, Outcome::Failed, Outcome::Skipped, Outcome::Open]
            .map(choice)
            .into(),
    }
}

/// What lies in the bin of a session, the newest first.
///
/// # Errors
/// The store's own.
pub(super) fn binned(store: &Store, id: SessionId) -> Result<Vec<BinnedView>, Failure> {
    let mut all = Vec::new();
    let mut put = |kind, id: EntryId, what: String, binned_ms: Option<i64>| {
        all.push((
            binned_ms,
            BinnedView {
                id: id.0,
                kind,
                what,
                at: binned_ms.map(moment).unwrap_or_default(),
            },
        ));
    };
    for entry in store.binned_entries::<Condition>(id)? {
        put("condition", entry.id, entry.value.title, entry.binned_ms);
    }
    for entry in store.binned_entries::<Capture>(id)? {
        put("capture", entry.id, entry.value.file, entry.binned_ms);
    }
    for entry in store.binned_entries::<Remark>(id)? {
        put("remark", entry.id, entry.value.text, entry.binned_ms);
    }
    for entry in store.binned_entries::<Reading>(id)? {
        put("reading", entry.id, entry.value.rail, entry.binned_ms);
    }
    let mut captures: Vec<Entry<Capture>> = store.entries(id)?;
    captures.extend(store.binned_entries(id)?);
    for entry in store.binned_entries::<PulseMark>(id)? {
        let says = mark_words(&entry.value, &file_of(&captures, entry.value.capture));
        put("pulse-mark", entry.id, says, entry.binned_ms);
    }
    for entry in store.binned_entries::<Photograph>(id)? {
        put("photograph", entry.id, entry.value.file, entry.binned_ms);
    }
    for entry in store.binned_entries::<Step>(id)? {
        put("step", entry.id, entry.value.what, entry.binned_ms);
    }
    all.sort_by_key(|(binned_ms, _)| std::cmp::Reverse(*binned_ms));
    Ok(all.into_iter().map(|(_, view)| view).collect())
}
