//! Each trouble of a session once, over all its conditions.
//!
//! A finding is the same trouble under another condition when its key is the same (`report::inspect::finding_keys`):
//! its topic and lines. What a person holds of it is said once, for all conditions.

use crate::report::inspect::{Finding, InspectReport, Severity, finding_keys};
use crate::workflow::condition_runs::RunFound;

use super::alike::Names;
use super::answers::Answer;
use super::remains::{BOUNCE, Fate, fate};

/// One trouble over all conditions.
pub struct Standing {
    /// What it is called where it is told of last.
    pub key: String,
    /// All that it is called, that first: a line may have its scopes before its name in the file of one condition and not in
    /// that of another.
    pub keys: Vec<String>,
    /// What it is called by the plain names of its lines.
    alike: String,
    /// Which of the answers tells of it last, and where in that.
    pub answer: usize,
    /// The run of that answer whose figures are told; `None`: the newest, which its report is of.
    pub run: Option<usize>,
    pub finding: usize,
    /// Whether that answer's newest run tells of it as well.
    pub in_newest: bool,
    /// Which of the answers tell of it, in their order.
    pub under: Vec<usize>,
}

impl Standing {
    /// The report that tells of it last.
    pub fn report<'a>(&self, answers: &'a [Answer]) -> Option<&'a InspectReport> {
        let answer = answers.get(self.answer)?;
        match self.run {
            Some(run) => Some(&answer.runs.get(run)?.report),
            None => answer.report.as_ref(),
        }
    }

    /// The finding as the last answer that tells of it has it.
    pub fn finding<'a>(&self, answers: &'a [Answer]) -> Option<&'a Finding> {
        self.report(answers)?.findings.get(self.finding)
    }

    /// Whether the newest answer tells of it, in any run.
    pub fn is_present(&self, answers: &[Answer]) -> bool {
        answers.iter().rposition(|answer| answer.report.is_some()) == Some(self.answer)
    }

    /// Under which conditions it was found and under which it was not, and in which run, where there are several.
    pub fn says(&self, answers: &[Answer]) -> String {
        let all = [self.says_condition(answers), self.says_run(answers)];
        let all: Vec<String> = all.into_iter().filter(|says| !says.is_empty()).collect();
        all.join("; ")
    }

    /// Takes the figures of run `at` of the answer it stands in, where that has far more to show of it than the run whose figures it
    /// has: the newest run may be a short one.
    fn take_if_weightier(&mut self, answer: &Answer, at: usize, finding: usize) {
        let newest = answer.runs.len().saturating_sub(1);
        let of = |number: usize, finding: usize| {
            let run = answer.runs.get(number)?;
            let report = answer.report.as_ref().filter(|_| number == newest);
            let found = report.unwrap_or(&run.report).findings.get(finding)?;
            let shows = run.shows.get(&found.title).copied().unwrap_or(0);
            Some((found.severity, shows))
        };
        let (own, there) = (of(self.run.unwrap_or(newest), self.finding), of(at, finding));
        if let (Some((own, shows)), Some((severity, more))) = (own, there)
            && severity <= own
            && more >= WEIGHTIER * shows.max(1)
        {
            (self.run, self.finding) = (Some(at), finding);
        }
    }

    /// In which run it was found, where not in the newest; which run a note speaks of.
    fn says_run(&self, answers: &[Answer]) -> String {
        let runs = answers.get(self.answer).map_or(&[][..], |answer| &answer.runs);
        let (Some(newest), Some(finding)) = (runs.last(), self.finding(answers)) else {
            return String::new();
        };
        if finding.severity == Severity::Note {
            return format!("seen in {}, the newest run", newest.files);
        }
        // A meter's reading stands in the bench log, and in no run.
        let is_captured = |run: &RunFound| {
            let lines = || run.report.lines.iter().map(|row| &row.line);
            lines().next().is_none()
                || finding
                    .lines
                    .iter()
                    .any(|line| lines().any(|other| other == line))
        };
        if finding.topic == "rail" && !runs.iter().any(is_captured) {
            return "a meter's reading".to_owned();
        }
        let tells = |run: &&RunFound| {
            let keys = finding_keys(&run.report.findings);
            keys.iter().any(|key| self.keys.contains(key))
        };
        let (found, not): (Vec<&RunFound>, Vec<&RunFound>) = runs.iter().partition(tells);
        let of = self.run.and_then(|run| runs.get(run)).unwrap_or(newest);
        let figures = match found.len() {
            0 | 1 => String::new(),
            _ => format!("; its figures are those of {}", of.files),
        };
        match not.is_empty() {
            true => format!("found in each of the {} runs{figures}", runs.len()),
            false => format!(
                "found in {}, not in {}{figures}",
                named_runs(&found, newest),
                named_runs(&not, newest)
            ),
        }
    }

    /// What became of it under a condition that was looked at and does not tell of it.
    pub fn fate(&self, answers: &[Answer], number: usize, place: &str) -> Option<Fate> {
        let now = answers.get(number).filter(|answer| answer.report.is_some())?;
        if self.under.contains(&number) {
            return None;
        }
        Some(match (self.finding(answers), self.report(answers)) {
            (Some(finding), Some(before)) => fate(finding, before, now, place),
            _ => Fate::Gone,
        })
    }

    /// What became of it under the newest condition that was looked at; `None` where it stands there.
    pub fn fate_now(&self, answers: &[Answer]) -> Option<Fate> {
        let newest = answers.iter().rposition(|answer| answer.report.is_some())?;
        self.fate(answers, newest, "there")
    }

    /// Whether the newest run of the newest condition that was looked at still shows it, or strays of its line.
    pub fn still_shows(&self, answers: &[Answer]) -> bool {
        match self.is_present(answers) {
            true => self.in_newest,
            // What hides a bounce is none.
            false => {
                let is_bounce = self.finding(answers).is_some_and(|f| f.topic == BOUNCE);
                !is_bounce && matches!(self.fate_now(answers), Some(Fate::Remains(_)))
            }
        }
    }

    fn says_condition(&self, answers: &[Answer]) -> String {
        let looked: Vec<(usize, &Answer)> = answers
            .iter()
            .enumerate()
            .filter(|(_, answer)| answer.report.is_some())
            .collect();
        if looked.len() < 2 {
            return String::new();
        }
        let is_bounce = self.finding(answers).is_some_and(|f| f.topic == BOUNCE);
        let (mut found, mut none, mut unseen, mut told) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let mut unjudged = Vec::new();
        for (number, answer) in looked {
            let title = format!("\"{}\"", answer.title);
            match self.fate(answers, number, "there") {
                None => found.push(title),
                Some(Fate::Gone) => none.push(title),
                Some(Fate::NotCaptured) => unseen.push(title),
                Some(Fate::NotJudged) => unjudged.push(title),
                Some(Fate::Unsaid) => {}
                // Told of later than it was otherwise: "before" would be the wrong way round.
                Some(Fate::Remains(_)) if number < self.answer && !is_bounce => {
                    told.push(format!("under {title} its strays were told of otherwise"));
                }
                Some(Fate::Remains(says)) => told.push(format!("under {title} {says}")),
            }
        }
        let mut says = format!("found under {}", found.join(", "));
        for (words, titles) in [
            ("not under", none),
            ("not captured under", unseen),
            ("not judged under", unjudged),
        ] {
            if !titles.is_empty() {
                says += &format!(", {words} {}", titles.join(", "));
            }
        }
        for other in told {
            says += &format!("; {other}");
        }
        says
    }
}

/// A run that has this many times as much to show of a trouble is told of instead of a newer one. No source: a round number.
const WEIGHTIER: u64 = 2;

/// Runs by their files, each with how much it has to show.
fn named_runs(runs: &[&RunFound], newest: &RunFound) -> String {
    /// Runs that are named; of more their number is said, and the newest stands last.
    const MOST: usize = 4;
    let left_out = runs.len().saturating_sub(MOST);
    let name = |run: &&RunFound| match std::ptr::eq(*run, newest) {
        true => format!("{}, the newest run ({})", run.files, run.size),
        false => format!("{} ({})", run.files, run.size),
    };
    let mut names: Vec<String> = runs[left_out..].iter().map(name).collect();
    if left_out > 0 {
        names.insert(0, format!("{left_out} earlier runs"));
    }
    match names.pop() {
        Some(last) if !names.is_empty() => format!("{} and {last}", names.join(", ")),
        last => last.unwrap_or_default(),
    }
}

/// Every finding of any condition once: those of the newest answer in their order, then earlier ones.
pub fn standings(answers: &[Answer]) -> Vec<Standing> {
    let names = Names::over(answers.iter().flat_map(Answer::reports));
    let mut all: Vec<Standing> = Vec::new();
    for (number, answer) in answers.iter().enumerate().rev() {
        let from = all.len();
        let findings = answer.report.iter().flat_map(|report| names.keys(report));
        let alike = findings.map(Some).chain(std::iter::repeat(None));
        let own = answer.keys.iter().cloned().zip(alike).enumerate();
        let own =
            own.map(|(finding, (key, alike))| (None, finding, alike.unwrap_or_else(|| key.clone()), key));
        let mut told: Vec<(Option<usize>, usize, String, String)> = own.collect();
        // Of earlier runs what is wrong: a newer one that shows nothing may have been too short.
        for (at, run) in answer.runs.iter().enumerate().rev().skip(1) {
            let findings = &run.report.findings;
            let keys = finding_keys(findings).into_iter().zip(names.keys(&run.report));
            let troubles = keys
                .enumerate()
                .filter(|(finding, _)| findings[*finding].severity != Severity::Note);
            told.extend(troubles.map(|(finding, (key, alike))| (Some(at), finding, alike, key)));
        }
        for (run, finding, alike, key) in told {
            let Some(standing) = all.iter_mut().find(|standing| standing.alike == alike) else {
                all.push(Standing {
                    keys: vec![key.clone()],
                    key,
                    alike,
                    answer: number,
                    in_newest: run.is_none(),
                    run,
                    finding,
                    under: vec![number],
                });
                continue;
            };
            if !standing.keys.contains(&key) {
                standing.keys.push(key);
            }
            if let (Some(at), true) = (run, standing.answer == number) {
                standing.take_if_weightier(answer, at, finding);
            }
            if standing.under.first() != Some(&number) {
                standing.under.insert(0, number);
            }
        }
        all[from..].sort_by_key(|standing| {
            let finding = standing.finding(answers);
            finding.map(|finding| (!finding.is_of_time_unit(), finding.severity))
        });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(title: &str, keys: &[&str]) -> Answer {
        Answer {
            condition: None,
            title: title.to_owned(),
            report: Some(InspectReport::empty()),
            keys: keys.iter().map(|key| (*key).to_owned()).collect(),
            runs: Vec::new(),
            moved: Vec::new(),
            has_set_aside: false,
            set_aside_in: Vec::new(),
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
