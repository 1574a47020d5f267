//! What a person said of two instruments' clocks in an earlier run, done again for the next one where its edges agree: nobody
//! joins every run of an evening by hand.

use std::collections::BTreeSet;

use crate::analysis::align::Alignment;
use crate::model::Capture;

use super::{Apart, Member, brought};

/// How an earlier capture of the session was brought to another's clock, as a person said.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// Lines that did it: `LINE`, or `LINE=LINE_HERE`.
    pub on: Vec<String>,
    /// The file whose clock it was, and the one that was brought there.
    pub files: [String; 2],
    /// Both by position among the captures given, where they are among them.
    pub pair: Option<[usize; 2]>,
}

/// A habit that was tried on a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// The lines, the right way round for the capture.
    pub on: Vec<String>,
    pub files: [String; 2],
    /// Why it does not hold here; `None`: it does.
    pub trouble: Option<String>,
}

impl Tried {
    /// What is to be said of it, a sentence or two. `file`: the capture it was tried on.
    pub fn says(&self, file: &str) -> String {
        let ([first, other], on) = (&self.files, self.on.join(", "));
        match &self.trouble {
            None => format!(
                "Nobody said so of {file}: it was done as {other} was brought to the clock of {first} before, and the edges agree. If \
                 they were not recorded together, say on the page Clocks that {file} is a run of its own."
            ),
            Some(trouble) => format!(
                "As {other} was brought to the clock of {first} before, {on} was tried for {file} as well, and does not hold: {}.",
                trouble.trim_end_matches('.')
            ),
        }
    }

    /// Why `capture` begins a run of its own where it does not hold. `with`: position of `first`, the capture it was tried against.
    pub(super) fn apart(&self, capture: &Capture, first: &Capture, with: usize) -> Apart {
        Apart {
            says: format!(
                "{} does not fit {} in time, and is taken as another run. {}",
                capture.file,
                first.file,
                self.says(&capture.file)
            ),
            with,
            on: self.on.clone(),
        }
    }
}

/// The first of `habits` that fits `capture` and the run of `group`, with the alignment where it holds. One that fits and does
/// not hold is given where no other holds. `None`: none fits. Cost: an alignment for each that fits.
pub(super) fn as_before(
    captures: &[Capture],
    group: &[Member],
    capture: &Capture,
    habits: &[Habit],
) -> Option<(Tried, Option<Alignment>)> {
    let mut failed = None;
    for habit in habits {
        for is_turned in [false, true] {
            let Some(on) = fitting(captures, group, capture, habit, is_turned) else {
                continue;
            };
            let found = brought(captures, group, capture, &on).and_then(holds);
            let tried = Tried {
                on,
                files: habit.files.clone(),
                trouble: found.as_ref().err().cloned(),
            };
            match found {
                Ok(alignment) => return Some((tried, Some(alignment))),
                Err(_) => failed = failed.or(Some((tried, None))),
            }
        }
    }
    failed
}

/// What a person would look at once more is not done for them.
fn holds(found: Alignment) -> Result<Alignment, String> {
    let lost = found.unmatched_a + found.unmatched_b;
    match found.matched > lost {
        true => Ok(found),
        false => Err(format!(
            "{} edges match, and {lost} have no counterpart.",
            found.matched
        )),
    }
}

/// The habit's lines for this capture, where it takes the place of the one that was brought (or, turned, of the other) and the
/// run has the other and not this one yet.
fn fitting(
    captures: &[Capture],
    group: &[Member],
    capture: &Capture,
    habit: &Habit,
    is_turned: bool,
) -> Option<Vec<String>> {
    let of_group = || group.iter().map(|member| &captures[member.position]);
    let has = |capture: &Capture, name: &str| capture.line_index(name).is_some();
    // Named once, a line is on both.
    let names: Vec<(String, String)> = habit.on.iter().map(|on| ends_of(on)).collect();
    let names: Vec<(String, String)> = match is_turned {
        true => names.into_iter().map(|(there, here)| (here, there)).collect(),
        false => names,
    };
    let member = of_group().find(|other| names.iter().all(|(there, _)| has(other, there)))?;
    if !names.iter().all(|(_, here)| has(capture, here)) {
        return None;
    }
    // By two names of the line it is plain which is which; else by all lines of each.
    let is_by_name = names.iter().any(|(there, here)| {
        there != here && !has(capture, there) && of_group().all(|other| !has(other, here))
    });
    let lines = |capture: &Capture| -> BTreeSet<String> {
        capture.lines.iter().map(|line| line.name.clone()).collect()
    };
    let is_by_lines = || {
        habit.pair.is_some_and(|[with, brought]| {
            let (there, here) = match is_turned {
                true => (&captures[brought], &captures[with]),
                false => (&captures[with], &captures[brought]),
            };
            let own = lines(capture);
            own == lines(here) && lines(member) == lines(there) && of_group().all(|other| lines(other) != own)
        })
    };
    let words = |(there, here): (String, String)| match there == here {
        true => there,
        false => format!("{there}={here}"),
    };
    (is_by_name || is_by_lines()).then(|| names.into_iter().map(words).collect())
}

/// The two names of `LINE=LINE_HERE`, or one name for both.
fn ends_of(on: &str) -> (String, String) {
    match on.split_once('=') {
        Some((there, here)) => (there.trim().to_owned(), here.trim().to_owned()),
        None => (on.trim().to_owned(), on.trim().to_owned()),
    }
}
