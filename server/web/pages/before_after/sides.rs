//! Which runs of a session are laid against which, and how they are called.

use super::{Choice, RunChoice};
use crate::store::{Capture, Condition, Entry, EntryId, SessionId, Store};
use crate::web::api::compare::side_of;
use crate::web::error::Failure;
use crate::web::history::Point;
use crate::workflow::compare::{Judged, baseline, rate, says_why, sum_over, tally};
use crate::workflow::session::RunTallies;

/// What an address says of `key`.
fn value_of<'a>(query: &'a str, key: &str) -> Option<&'a str> {
    let pairs = query.split('&').filter_map(|part| part.split_once('='));
    let mut own = pairs.filter(|(name, value)| *name == key && !value.is_empty());
    own.next().map(|(_, value)| value)
}

/// The runs of a session, and which of them stand on either side.
pub(super) struct Sides<'a> {
    all: &'a RunTallies,
    captures: Vec<Entry<Capture>>,
    /// Conditions that have runs, in their order, with their titles.
    named: Vec<(Option<EntryId>, String)>,
    /// Positions of runs.
    pub before: Vec<usize>,
    pub after: Vec<usize>,
    /// Sides that were asked for and are not there, a sentence each.
    pub unknown: Vec<String>,
    /// Why the side before is not the condition just before, a sentence; empty where it is, or was asked for.
    pub passed_over: String,
}

impl<'a> Sides<'a> {
    /// The sides that `query` names, or the condition that it names (else the newest) against the one before it or the last in
    /// which its troubles were shown ([`baseline`]), the first against the one after it; of one condition, the last two runs.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn of(store: &Store, id: SessionId, all: &'a RunTallies, query: &str) -> Result<Sides<'a>, Failure> {
        let conditions: Vec<Entry<Condition>> = store.entries(id)?;
        let mut named = vec![(None, "no condition named".to_owned())];
        named.extend(
            conditions
                .iter()
                .map(|entry| (Some(entry.id), entry.value.title.clone())),
        );
        named.retain(|(condition, _)| all.runs.iter().any(|run| run.condition == *condition));
        let mut sides = Sides {
            all,
            captures: store.entries(id)?,
            named,
            before: side_of(query, "before", all),
            after: side_of(query, "after", all),
            unknown: Vec::new(),
            passed_over: String::new(),
        };
        for (key, side) in [("before", &sides.before), ("after", &sides.after)] {
            if let (Some(asked), true) = (value_of(query, key), side.is_empty()) {
                sides.unknown.push(format!(
                    "The address asks for {key}={asked}, and no run is called so: it may be in the bin, or not read. \
                     Compared is what is chosen above."
                ));
            }
        }
        let shown = value_of(query, "condition").and_then(|number| number.parse().ok().map(EntryId));
        let at = sides
            .named
            .iter()
            .position(|(condition, _)| shown.is_some() && *condition == shown);
        let second = at.unwrap_or(sides.named.len().saturating_sub(1)).max(1);
        if second < sides.named.len() && !sides.are_chosen() {
            let runs: Vec<Vec<usize>> = sides.named.iter().map(|(id, _)| sides.runs_of(*id)).collect();
            let first = baseline(&all.tallies, &runs, second).map_or(second - 1, |taken| {
                if let Some(trouble) = taken.shown {
                    let name = |at: usize| sides.named[at].1.as_str();
                    sides.passed_over =
                        says_why(trouble, (name(taken.at), name(second - 1)), &runs[second - 1]);
                }
                taken.at
            });
            (sides.before, sides.after) = (runs[first].clone(), runs[second].clone());
        }
        // Under one condition the newest run stands against the last one before it that shows much the same lines: what
        // only one of them captured can't be compared.
        if let ([(only, _)], true) = (&sides.named[..], !sides.are_chosen())
            && let [earlier @ .., second] = &sides.runs_of(*only)[..]
            && let Some(first) = earlier
                .iter()
                .rfind(|first| sides.show_the_same(**first, *second))
        {
            (sides.before, sides.after) = (vec![*first], vec![*second]);
        }
        Ok(sides)
    }

    /// Whether there is a run on either side.
    pub fn are_chosen(&self) -> bool {
        !self.before.is_empty() && !self.after.is_empty()
    }

    /// Whether two runs have more than half of the lines of each in common.
    fn show_the_same(&self, one: usize, other: usize) -> bool {
        let lines = |run: usize| self.all.tallies.lines.get(run).map_or(&[][..], Vec::as_slice);
        let (one, other) = (lines(one), lines(other));
        let shared = one.iter().filter(|line| other.contains(line)).count();
        shared * 2 > one.len().max(other.len())
    }

    fn runs_of(&self, condition: Option<EntryId>) -> Vec<usize> {
        (0..self.all.runs.len())
            .filter(|&run| self.all.runs[run].condition == condition)
            .collect()
    }

    /// The files of a run.
    fn files(&self, run: usize) -> String {
        let of = self.all.runs[run]
            .captures
            .iter()
            .filter_map(|id| self.captures.iter().find(|c| c.id == *id));
        of.map(|entry| entry.value.file.clone())
            .collect::<Vec<_>>()
            .join(" with ")
    }

    /// The files of all runs of a side.
    pub fn files_of(&self, side: &[usize]) -> String {
        side.iter()
            .map(|&run| self.files(run))
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// The condition that is the side, or its files.
    pub fn name(&self, side: &[usize]) -> String {
        let is_whole = |(condition, _): &&(Option<EntryId>, String)| self.runs_of(*condition) == side;
        let whole = self.named.iter().find(is_whole);
        whole.map_or_else(|| self.files_of(side), |(_, title)| title.clone())
    }

    /// The conditions as they can be chosen for a side.
    pub fn choices(&self, side: &[usize]) -> Vec<Choice> {
        let choice = |(condition, words): &(Option<EntryId>, String)| Choice {
            value: condition.map_or_else(|| "n".to_owned(), |id| format!("c{id}")),
            words: words.clone(),
            is_set: self.runs_of(*condition) == side,
        };
        self.named.iter().map(choice).collect()
    }

    /// The single runs as they can be chosen.
    pub fn run_choices(&self) -> Vec<RunChoice> {
        let choice = |run: usize| {
            let of = &self.all.runs[run];
            let condition = self.named.iter().find(|(id, _)| *id == of.condition);
            RunChoice {
                value: format!("r{}", of.captures.first().map_or(0, |id| id.0)),
                words: format!(
                    "{} ({})",
                    self.files(run),
                    condition.map_or("", |(_, title)| title)
                ),
                is_before: self.before.contains(&run),
                is_after: self.after.contains(&run),
            }
        };
        (0..self.all.runs.len()).map(choice).collect()
    }

    /// A trouble over all conditions, for its history.
    pub fn points(&self, judged: &Judged) -> Vec<Point> {
        let point = |(condition, title): &(Option<EntryId>, String)| {
            let own = self.runs_of(*condition);
            let sum = sum_over(judged.trouble, &own);
            Point {
                name: title.clone(),
                rate: rate(sum),
                counts: tally(sum.wrong, sum.occasions, judged.trouble.slot_s),
                is_clean: sum.wrong == 0,
                side: match () {
                    () if own == self.before => "before",
                    () if own == self.after => "after",
                    () => "",
                },
            }
        };
        self.named.iter().map(point).collect()
    }

    /// Under which earlier conditions a trouble that the side before lacks did go wrong: a sentence with a space before it, or
    /// nothing.
    pub fn earlier(&self, judged: &Judged) -> String {
        if judged.before.strays > 0 || !judged.is_known {
            return String::new();
        }
        let last = self.after.iter().copied().min().unwrap_or(0);
        let wrong = self.named.iter().filter_map(|(condition, title)| {
            let own: Vec<usize> = self
                .runs_of(*condition)
                .into_iter()
                .filter(|run| *run < last && !self.before.contains(run))
                .collect();
            let sum = sum_over(judged.trouble, &own);
            let counts = tally(sum.wrong, sum.occasions, judged.trouble.slot_s);
            (sum.wrong > 0).then(|| format!("{counts} under \"{title}\""))
        });
        match wrong.collect::<Vec<_>>() {
            none if none.is_empty() => String::new(),
            some => format!(" It isn't new: {}.", some.join(", ")),
        }
    }

    /// Where a trouble that neither side shows did go wrong: a sentence with a space before it, or nothing.
    pub fn elsewhere(&self, judged: &Judged) -> String {
        let trouble = judged.trouble;
        let wrong = self.named.iter().filter_map(|(condition, title)| {
            let sum = sum_over(trouble, &self.runs_of(*condition));
            let counts = tally(sum.wrong, sum.occasions, trouble.slot_s);
            (sum.wrong > 0).then(|| format!("{counts} under \"{title}\""))
        });
        match wrong.collect::<Vec<_>>() {
            none if none.is_empty() => String::new(),
            some => format!(" Elsewhere it went wrong: {}.", some.join(", ")),
        }
    }

    /// What is still wanted before anything can be compared.
    pub fn wants(&self) -> String {
        match (self.all.runs.len(), self.are_chosen()) {
            (0, _) => "No capture yet.",
            (_, true) => "",
            (1, _) => {
                "There is one run so far. Change one thing, name the new condition in the bench log, and capture the \
                 same lines again: then this page says whether it helped."
            }
            _ => "Choose a run or more for either side.",
        }
        .to_owned()
    }
}
