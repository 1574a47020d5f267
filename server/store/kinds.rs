//! Every kind of entry by its word: what comes from outside is one of them, and whole.

use serde_json::Value;

use super::checklist::Step;
use super::clocks::{ChannelSkews, Clock, ReadingSheet};
use super::conditions::InHand;
use super::diagram_view::DiagramView;
use super::log::{Capture, ClipList, Condition, FindingState, HarnessSheet, Reading, Remark};
use super::marks::PulseMark;
use super::photographs::Photograph;
use super::{Error, Kind};

/// Whether `body` is an entry of the kind with this word.
///
/// # Errors
/// [`Error::Invalid`]: no kind has that word, or the body is not one of it.
pub(super) fn check(word: &str, body: &Value) -> Result<(), Error> {
    fn of<K: Kind>(body: &Value) -> Result<(), Error> {
        let entry = serde_json::from_value::<K>(body.clone());
        entry
            .map_err(|error| Error::Invalid(format!("a {} in it can't be read: {error}", K::KIND)))?
            .check()
    }
    match word {
        Condition::KIND => of::<Condition>(body),
        InHand::KIND => of::<InHand>(body),
        Capture::KIND => of::<Capture>(body),
        Remark::KIND => of::<Remark>(body),
        Reading::KIND => of::<Reading>(body),
        FindingState::KIND => of::<FindingState>(body),
        HarnessSheet::KIND => of::<HarnessSheet>(body),
        ClipList::KIND => of::<ClipList>(body),
        Clock::KIND => of::<Clock>(body),
        ChannelSkews::KIND => of::<ChannelSkews>(body),
        ReadingSheet::KIND => of::<ReadingSheet>(body),
        Photograph::KIND => of::<Photograph>(body),
        DiagramView::KIND => of::<DiagramView>(body),
        Step::KIND => of::<Step>(body),
        PulseMark::KIND => of::<PulseMark>(body),
        _ => Err(Error::Invalid(format!(
            "it holds an entry of the kind \"{}\", which this Edgewitness does not know",
            word.escape_debug()
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reads the sources: a new kind that is not listed above could be archived and never restored.
    #[test]
    fn every_kind_is_listed() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/server/store");
        let mut words = Vec::new();
        for file in std::fs::read_dir(folder).unwrap() {
            let path = file.unwrap().path();
            let Ok(text) = std::fs::read_to_string(&path) else {
                continue;
            };
            let sayings = text.split("const KIND: &'static str = \"").skip(1);
            words.extend(sayings.filter_map(|rest| Some(rest.split_once('"')?.0.to_owned())));
        }
        // This test's own pattern is found as well: it ends before a quotation mark, so it gives the text between.
        words.retain(|word| word.bytes().all(|b| b.is_ascii_lowercase() || b == b'-'));
        assert!(words.len() >= 14, "{words:?}");
        for word in words {
            let told = check(&word, &Value::Null).unwrap_err().to_string();
            assert!(!told.contains("does not know"), "{word}: {told}");
        }
    }
}
