//! What the harness sheet adds to a report: where a finding's lines are, whether they run side by side, what
//! runs beside a victim, and which clip to move next.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::harness::{Captured, Clips, Harness, Move, and_more_places};
use crate::report::inspect::{Finding, InspectReport};

/// Most neighbours that one sentence lists.
const MOST_LISTED: usize = 6;
/// Most clips to move that are advised at once.
const MOST_MOVES: usize = 4;

/// Topics whose victim may be struck by a line that was not captured.
const WITHOUT_CAUSE: [&str; 3] = ["uncaptured-cause", "stray", "inseparable"];

/// What the sheet says of one finding.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct FindingPlaces {
    /// The finding's id.
    pub finding: String,
    /// Sentences, in the order to be read.
    pub sentences: Vec<String>,
}

/// Sentences on each finding that the sheet has something to say of.
pub fn of_findings(harness: &Harness, clips: &Clips, report: &InspectReport) -> Vec<FindingPlaces> {
    let captured = captured_signals(harness, clips, report);
    let places = report.findings.iter().map(|finding| FindingPlaces {
        finding: finding.id.clone(),
        sentences: sentences(harness, clips, finding, &captured, report),
    });
    places.filter(|places| !places.sentences.is_empty()).collect()
}

/// Which clips to move where next, for the victims whose cause is not among the captured lines.
pub fn moves(harness: &Harness, clips: &Clips, report: &InspectReport) -> Vec<Move> {
    let victims: Vec<String> = report
        .findings
        .iter()
        .filter(|finding| WITHOUT_CAUSE.contains(&finding.topic.as_str()))
        .filter_map(|finding| finding.lines.first().cloned())
        .collect();
    let named: BTreeSet<&str> = report
        .findings
        .iter()
        .flat_map(|finding| &finding.lines)
        .map(String::as_str)
        .collect();
    let ends: BTreeSet<&str> = report
        .links
        .iter()
        .flat_map(|link| [&*link.from, &*link.to])
        .collect();
    let lines = report.lines.iter().map(|row| Captured {
        line: row.line.clone(),
        edges: row.edges,
        is_needed: named.contains(row.line.as_str()) || ends.contains(row.line.as_str()),
    });
    harness.advise(&victims, &lines.collect::<Vec<_>>(), clips, MOST_MOVES)
}

fn sentences(
    harness: &Harness,
    clips: &Clips,
    finding: &Finding,
    captured: &BTreeSet<String>,
    report: &InspectReport,
) -> Vec<String> {
    let mut sentences = Vec::new();
    let mut lines: Vec<&String> = Vec::new();
    finding.lines.iter().for_each(|line| {
        if !lines.contains(&line) {
            lines.push(line);
        }
    });
    let placed: Vec<String> = lines
        .into_iter()
        .take(MOST_LISTED)
        .filter_map(|line| Some(format!("{line} is at {}", harness.place(line, clips)?)))
        .collect();
    if !placed.is_empty() {
        sentences.push(format!("{}.", placed.join("; ")));
    }
    let Some(victim) = finding.lines.first() else {
        return sentences;
    };
    if finding.topic == "coupling"
        && let Some(aggressor) = finding.lines.get(1)
        && harness.place(aggressor, clips).is_some()
        && harness.place(victim, clips).is_none()
    {
        sentences.push(format!(
            "{victim} is not on the harness sheet: put it there, and the sheet tells whether the two run side by side."
        ));
    } else if finding.topic == "coupling"
        && let Some(aggressor) = finding.lines.get(1)
        && harness.place(aggressor, clips).is_some()
    {
        let beside = harness.side_by_side(victim, aggressor, clips);
        sentences.push(match beside.first() {
            Some(first) => format!(
                "They run side by side {} at {} {}{}.",
                first.order.words(),
                first.own.board,
                first.own.connector,
                and_more_places(beside.len())
            ),
            None => {
                "The harness sheet does not show them side by side: look where else they come close, such \
                     as the backplane or a board."
                    .to_owned()
            }
        });
    }
    // What an older program kept of a run does not tell its lines: it can't be said what was not captured.
    let is_known = !report.lines.is_empty();
    if is_known && (finding.topic == "coupling" || WITHOUT_CAUSE.contains(&finding.topic.as_str())) {
        let mut unseen: Vec<String> = Vec::new();
        for beside in harness.neighbours(victim, clips) {
            let told = format!("{} ({})", beside.neighbour.signal, beside.neighbour.place());
            if !captured.contains(&beside.neighbour.signal) && !unseen.contains(&told) {
                unseen.push(told);
            }
        }
        if !unseen.is_empty() {
            let more = unseen.len().saturating_sub(MOST_LISTED);
            unseen.truncate(MOST_LISTED);
            let more = if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            };
            sentences.push(format!(
                "Beside {victim} and not captured: {}{more}.",
                unseen.join(", ")
            ));
        }
    }
    sentences
}

/// Signals of the pins on which a captured line is.
fn captured_signals(harness: &Harness, clips: &Clips, report: &InspectReport) -> BTreeSet<String> {
    let pins = report
        .lines
        .iter()
        .flat_map(|row| harness.pins_of(&row.line, clips));
    pins.map(|pin| harness.pins()[pin].signal.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Source;
    use crate::report::inspect::{LineRow, Severity};

    fn report(lines: &[(&str, u64)], findings: &[(&str, &[&str])]) -> InspectReport {
        let line = |(name, edges): &(&str, u64)| LineRow {
            line: (*name).to_owned(),
            capture: "a.vcd".to_owned(),
            source: Source::Digital,
            edges: *edges,
            narrow_below_s: None,
            narrow_below_low_s: None,
            narrow_below_high_s: None,
            narrow_from: "none".to_owned(),
        };
        let finding = |(i, (topic, lines)): (usize, &(&str, &[&str]))| Finding {
            id: format!("F{}", i + 1),
            severity: Severity::Fault,
            topic: (*topic).to_owned(),
            lines: lines.iter().map(|line| (*line).to_owned()).collect(),
            title: String::new(),
            detail: String::new(),
            try_next: Vec::new(),
        };
        InspectReport {
            lines: lines.iter().map(line).collect(),
            findings: findings.iter().enumerate().map(finding).collect(),
            ..InspectReport::empty()
        }
    }

    #[test]
    fn findings_get_their_places_and_neighbours() {
        let sheet = "board,connector,pin,signal,neighbours\nsequencer,J2,11,STEP,ribbon\n\
                     sequencer,J2,12,CLEAR_N,\nsequencer,J2,13,LAMP,\npanel,J5,1,KEY_1,\n";
        let harness = Harness::parse(sheet, "h.csv").unwrap();
        let clips = Clips::default();
        let lines = [("STEP", 900), ("CLEAR_N", 40), ("KEY_1", 0)];
        let told = |topic, of: &[&str]| {
            let report = report(&lines, &[(topic, of)]);
            let mut places = of_findings(&harness, &clips, &report);
            (
                if places.is_empty() {
                    Vec::new()
                } else {
                    places.remove(0).sentences
                },
                moves(&harness, &clips, &report),
            )
        };
        let (sentences, advised) = told("coupling", &["CLEAR_N", "STEP"]);
        assert_eq!(
            sentences,
            [
                "CLEAR_N is at sequencer J2-12; STEP is at sequencer J2-11.",
                "They run side by side on the ribbon at sequencer J2.",
                "Beside CLEAR_N and not captured: LAMP (sequencer J2-13).",
            ]
        );
        assert_eq!(advised, []);
        let (sentences, _) = told("coupling", &["CLEAR_N", "KEY_1"]);
        assert!(sentences[1].starts_with("The harness sheet does not show them side by side"));
        let (_, advised) = told("uncaptured-cause", &["CLEAR_N"]);
        assert_eq!(
            (advised[0].from.as_deref(), advised[0].to.as_str()),
            (Some("KEY_1"), "sequencer J2-13")
        );
        assert_eq!(told("stuck", &["NOWHERE"]).0, [""; 0]);
        // A report without its lines tells nothing of what was not captured.
        let bare = report(&[], &[("coupling", &["CLEAR_N", "STEP"])]);
        assert_eq!(of_findings(&harness, &clips, &bare)[0].sentences.len(), 2);
    }
}
