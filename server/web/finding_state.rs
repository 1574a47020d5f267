//! What the person holds of a finding, as the pages show and ask it.

use serde_json::json;

use crate::store::{FindingState, Verdict};

/// Said where a finding is held to be fixed and the newest capture shows it.
pub const STILL_SHOWS: &str = "marked as fixed, and the newest capture still shows it: capture again after the mend, or open \
                               it again";

/// A finding's state, ready for its form.
pub struct StateView {
    pub key: String,
    pub title: String,
    /// The state in words.
    pub words: &'static str,
    pub cause: String,
    pub remark: String,
    /// What is to be said beside the state: [`STILL_SHOWS`], or nothing.
    pub still: &'static str,
    pub choices: Vec<Choice>,
    /// What the page shows of it, as JSON that goes along with what is typed.
    pub was: String,
    /// Somebody said something of it.
    pub is_said: bool,
}

/// What is held of a finding that is called by any of `keys`: of several that said by the foremost of them.
pub fn state_of<'a>(
    keys: &[String],
    states: impl IntoIterator<Item = &'a FindingState>,
) -> Option<&'a FindingState> {
    let place = |state: &&FindingState| keys.iter().position(|key| *key == state.finding);
    let known = states.into_iter().filter(|state| place(state).is_some());
    known.min_by_key(place)
}

/// Whether a finding tells how clocks were joined.
pub fn is_of_clocks(topic: &str) -> bool {
    topic == "alignment"
}

/// Whether a finding is about the machine, which can be mended: clocks are joined on the page Clocks, and then no note tells of
/// them. That nothing stray was found, which is about no line, is no trouble either.
pub fn takes_a_state(topic: &str, lines: &[String]) -> bool {
    !is_of_clocks(topic) && (topic != "stray" || !lines.is_empty())
}

/// One state to choose.
pub struct Choice {
    pub word: String,
    pub words: &'static str,
    pub is_set: bool,
}

impl StateView {
    /// The state of a finding that is called by any of `keys`, the first of which it is set by; open where nobody said
    /// anything.
    pub fn of<'a>(
        keys: &[String],
        title: &str,
        states: impl IntoIterator<Item = &'a FindingState>,
    ) -> StateView {
        let state = state_of(keys, states);
        let now = state.map(|state| state.state).unwrap_or_default();
        let all = [
            Verdict::Open,
            Verdict::Suspected,
            Verdict::Confirmed,
            Verdict::Fixed,
            Verdict::NotAFault,
        ];
        let choice = |verdict: Verdict| Choice {
            word: json!(verdict).as_str().unwrap_or_default().to_owned(),
            words: verdict.words(),
            is_set: verdict == now,
        };
        StateView {
            key: keys.first().cloned().unwrap_or_default(),
            title: title.to_owned(),
            words: now.words(),
            cause: state.map(|state| state.cause.clone()).unwrap_or_default(),
            remark: state.map(|state| state.remark.clone()).unwrap_or_default(),
            still: "",
            choices: all.map(choice).into(),
            was: json!({ "was": state.cloned().unwrap_or_default() }).to_string(),
            is_said: state.is_some(),
        }
    }

    /// The same, told that the newest capture still shows it.
    pub fn shown_still(self, shows: bool) -> StateView {
        let still = match shows && self.words == Verdict::Fixed.words() {
            true => STILL_SHOWS,
            false => "",
        };
        StateView { still, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_trouble_has_no_state() {
        let of = |topic: &str, lines: &[&str]| {
            let lines: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
            takes_a_state(topic, &lines)
        };
        assert!(!of("stray", &[]) && !of("alignment", &["A", "B"]));
        assert!(of("stray", &["CLEAR_N"]) && of("reading", &[]));
    }
}
