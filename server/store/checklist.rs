//! The checkout list: steps that the person writes or pastes, and how each went.

use serde::{Deserialize, Serialize};

use super::log::not_empty;
use super::{EntryId, Error, Kind};

/// How a step of the checklist ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    #[default]
    Open,
    Passed,
    Failed,
    Skipped,
}

impl Outcome {
    /// The words of the page.
    pub fn words(self) -> &'static str {
        match self {
            Outcome::Open => "not done yet",
            Outcome::Passed => "passed",
            Outcome::Failed => "failed",
            Outcome::Skipped => "skipped",
        }
    }
}

/// One step of the checkout list.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct Step {
    /// What to do.
    pub what: String,
    /// What to expect.
    pub expect: String,
    pub outcome: Outcome,
    /// When it was done.
    pub done_ms: Option<i64>,
    pub remark: String,
    /// Captures taken for it.
    pub captures: Vec<EntryId>,
}

impl Kind for Step {
    const KIND: &'static str = "step";

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.what, "what to do in this step")
    }
}

/// Steps out of a pasted list: one a line; bullets, numbers and boxes in front are dropped (`[x]` is a step
/// that passed). What follows a tab, `->`, `=>` or `→` is what to expect, and so is a line of its own that
/// begins with `expect:`.
///
/// # Errors
/// An `expect:` line with no step above it, or no step at all; the line is named.
pub fn read_checklist(text: &str) -> Result<Vec<Step>, Error> {
    let mut steps: Vec<Step> = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let (line, outcome) = without_bullet(line.trim());
        if line.is_empty() {
            continue;
        }
        if let Some(expect) = after_word(line, "expect:") {
            let Some(step) = steps.last_mut() else {
                let message = format!("line {}: \"expect:\" stands before the first step", number + 1);
                return Err(Error::Invalid(message));
            };
            if !step.expect.is_empty() {
                step.expect.push_str("; ");
            }
            step.expect.push_str(expect);
            continue;
        }
        let marks = ["\t", "->", "=>", "→"];
        let parting = marks
            .iter()
            .filter_map(|mark| Some((line.find(mark)?, mark.len())))
            .min();
        let (what, expect) = match parting {
            Some((at, length)) => (&line[..at], &line[at + length..]),
            None => (line, ""),
        };
        if what.trim().is_empty() {
            let message = format!(
                "line {}: expected what to do in front of what to expect",
                number + 1
            );
            return Err(Error::Invalid(message));
        }
        steps.push(Step {
            what: what.trim().to_owned(),
            expect: expect.trim().to_owned(),
            outcome,
            ..Step::default()
        });
    }
    if steps.is_empty() {
        return Err(Error::Invalid(
            "the list holds no step: write one a line".to_owned(),
        ));
    }
    Ok(steps)
}

/// The line without `-`, `*`, `•`, `12.`, `12)`, `[ ]` or `[x]` in front.
fn without_bullet(mut line: &str) -> (&str, Outcome) {
    let mut outcome = Outcome::Open;
    let digits = line.len() - line.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    if digits > 0
        && let Some(rest) = line[digits..].strip_prefix(['.', ')'])
        && rest.starts_with(char::is_whitespace)
    {
        line = rest.trim_start();
    }
    if let Some(rest) = line.strip_prefix(['-', '*', '•'])
        && (rest.is_empty() || rest.starts_with(char::is_whitespace))
    {
        line = rest.trim_start();
    }
    for (mark, means) in [
        ("[ ]", Outcome::Open),
        ("[x]", Outcome::Passed),
        ("[X]", Outcome::Passed),
    ] {
        if let Some(rest) = line.strip_prefix(mark) {
            line = rest.trim_start();
            outcome = means;
        }
    }
    (line, outcome)
}

fn after_word<'a>(line: &'a str, word: &str) -> Option<&'a str> {
    let front = line.get(..word.len())?;
    front
        .eq_ignore_ascii_case(word)
        .then(|| line[word.len()..].trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pasted_list_becomes_steps() {
        let text = "1. Meter +5 V with the boards out -> 4.75 to 5.25 V\r\n\n- [x] Fit the sequencer\n\
                    2) Press key 1\n   Expect: bell 1 strikes once\n* -12 V rail\tnegative at J1-3\n";
        let steps = read_checklist(text).unwrap();
        let read: Vec<_> = steps
            .iter()
            .map(|step| (step.what.as_str(), step.expect.as_str(), step.outcome))
            .collect();
        assert_eq!(
            read,
            [
                ("Meter +5 V with the boards out", "4.75 to 5.25 V", Outcome::Open),
                ("Fit the sequencer", "", Outcome::Passed),
                ("Press key 1", "bell 1 strikes once", Outcome::Open),
                ("-12 V rail", "negative at J1-3", Outcome::Open),
            ]
        );
    }

    #[test]
    fn a_mistake_names_its_line() {
        let told = |text| read_checklist(text).unwrap_err().to_string();
        assert!(told("\nexpect: light").starts_with("line 2"));
        assert!(told("do\n-> light").starts_with("line 2"));
        assert!(told(" \n").contains("no step"));
    }
}
