//! What became of a trouble under a condition that does not tell of it: gone, not captured there, or still there and told
//! otherwise. A line that still has strays is never said to be rid of them because what brings them is in doubt.

use crate::model::units::count_of;
use crate::report::inspect::{CouplingRow, Finding, InspectReport, Severity, StrayRow};

use super::alike::name_in;
use super::answers::Answer;
use super::not_judged::is_not_judged;

/// Topics of findings about strays of their first line.
const OF_STRAYS: [&str; 5] = [
    "coupling",
    "inseparable",
    "uncaptured-cause",
    "shared-supply",
    "stray",
];

/// Topic of contacts that bounce. Bursts do not stand out between strays, whoever brings those.
pub const BOUNCE: &str = "bounce";

/// Where nothing is found on a line any more, so large a share of its strays may be left: the page Before and after calls
/// that much as good as gone.
const MOST_LEFT: f64 = 0.1;

/// What became of a trouble.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Its lines were captured, and it is not found.
    Gone,
    /// Its line still shows strays, its own or such as hide its bounce: a sentence without its full stop.
    Remains(String),
    /// Not all lines that it was found on were captured.
    NotCaptured,
    /// A link or a rule whose lines were recorded there on clocks that nothing joins.
    NotJudged,
    /// It rests on no captured line, as a meter's reading: nothing is to be said.
    Unsaid,
}

/// What became under `now` of a finding of `before`, which `now` does not tell of. `place`: "here" or "there".
pub fn fate(finding: &Finding, before: &InspectReport, now: &Answer, place: &str) -> Fate {
    let Some(report) = &now.report else {
        return Fate::Unsaid;
    };
    // What an older program kept of a run has no lines: it was found, so they were captured.
    let was_captured = |line: &String| before.lines.is_empty() || is_captured(before, line);
    if !finding.lines.is_empty() && !finding.lines.iter().any(was_captured) {
        return Fate::Unsaid;
    }
    if is_not_judged(finding, before, report) {
        return Fate::NotJudged;
    }
    let there = Finding {
        lines: finding
            .lines
            .iter()
            .map(|line| name_in(report, before, line))
            .collect(),
        ..finding.clone()
    };
    let mut both = finding.lines.iter().zip(&there.lines);
    if both.any(|(line, there)| was_captured(line) && !is_captured(report, there)) {
        // Captures that nothing joins are runs of their own: that of the sending end tells.
        return match now.reports().any(|other| is_not_judged(finding, before, other)) {
            true => Fate::NotJudged,
            false => Fate::NotCaptured,
        };
    }
    let all = now.runs.iter().map(|run| &run.report);
    let mut all = std::iter::once(report).chain(all);
    all.find_map(|report| remains((finding, before), (&there, report), place))
        .map_or(Fate::Gone, Fate::Remains)
}

/// Whether a line, or a bus by its bits, was captured.
fn is_captured(report: &InspectReport, line: &str) -> bool {
    let is_bit = |name: &str| {
        name.strip_prefix(line)
            .is_some_and(|rest| rest.trim_start().starts_with('['))
    };
    let mut all = report.lines.iter().map(|row| row.line.as_str());
    all.any(|name| name == line || is_bit(name))
}

fn strays<'a>(report: &'a InspectReport, line: &'a str) -> impl Iterator<Item = &'a StrayRow> {
    let all = report.strays.iter();
    // A contact that bounces does so by itself.
    all.filter(move |stray| stray.line == line && stray.kind != "bounce")
}

/// `was`: the finding where it was told; `is`: the same by the names of the other answer, and that.
fn remains(was: (&Finding, &InspectReport), is: (&Finding, &InspectReport), place: &str) -> Option<String> {
    let (finding, now) = is;
    let victim = finding.lines.first()?;
    if finding.topic == BOUNCE {
        return strays(now, victim).next().map(|_| {
            format!("{victim} may bounce as before: that can't be told {place}, beside its strays")
        });
    }
    let is_of_strays = |finding: &Finding| OF_STRAYS.contains(&finding.topic.as_str());
    let told = now
        .findings
        .iter()
        .filter(|other| is_of_strays(other) && other.severity != Severity::Note)
        .find(|other| other.lines.first() == Some(victim));
    // Too few strays to say anything of are what a cure may leave.
    let is_told = told.is_some_and(|other| other.topic != "stray");
    if !is_of_strays(finding) || (!is_told && share_left(was, is) <= MOST_LEFT) {
        return None;
    }
    let does = match strays(now, victim)
        .map(|stray| stray.level.as_str())
        .collect::<Vec<_>>()
    {
        levels if levels.is_empty() => "still shows strays",
        levels if levels.iter().all(|level| *level == "low") => "still dips",
        levels if levels.iter().all(|level| *level == "high") => "is still lifted",
        _ => "still shows strays",
    };
    let because = match told {
        Some(other) if other.severity == Severity::Fault && other.topic == "coupling" => {
            let by = other.lines.get(1).map_or("another line", String::as_str);
            format!("and {place} {by} is found to bring it")
        }
        _ => format!("but what brings it is in doubt {place}"),
    };
    let counts = counts(was, is);
    Some(format!("{victim} {does}{counts}, {because}"))
}

/// Strays of the finding's line now as a share of those before, for as many edges of the line that brought them; infinite
/// where there were none.
fn share_left(was: (&Finding, &InspectReport), is: (&Finding, &InspectReport)) -> f64 {
    let rate = |(finding, report): (&Finding, &InspectReport)| {
        let count = finding
            .lines
            .first()
            .map_or(0, |line| strays(report, line).count());
        let mut rows = report.lines.iter();
        let row = rows.find(|row| Some(&row.line) == finding.lines.get(1));
        count as f64 / row.map_or(1, |row| row.edges.max(1)) as f64
    };
    match rate(is) {
        0.0 => 0.0,
        now => now / rate(was),
    }
}

/// Strays that are left on the line of a finding that is gone: ` (2 stray pulses of CLEAR_N are left)`, or nothing.
pub fn left(finding: &Finding, now: &InspectReport) -> String {
    let victim = finding
        .lines
        .first()
        .filter(|_| OF_STRAYS.contains(&finding.topic.as_str()));
    match victim.map(|victim| (victim, strays(now, victim).count())) {
        None | Some((_, 0)) => String::new(),
        Some((victim, 1)) => format!(" (one stray pulse of {victim} is left)"),
        Some((victim, count)) => format!(" ({count} stray pulses of {victim} are left)"),
    }
}

/// ` (150 stray pulses, 599 opportunities; 161 and 599 before)`; empty where neither is known. The strays are all that the line
/// shows, so there may be more of them than opportunities for the one suspect.
fn counts(was: (&Finding, &InspectReport), is: (&Finding, &InspectReport)) -> String {
    let row = |(finding, report): (&Finding, &InspectReport)| {
        let (victim, aggressor) = (finding.lines.first()?, finding.lines.get(1)?);
        let is_it = |row: &&CouplingRow| row.victim == *victim && row.aggressor == *aggressor;
        let row = report.couplings.iter().find(is_it)?;
        Some((row.victim_strays, row.opportunities))
    };
    let pulses = |count: u64| count_of(count, "stray pulse");
    if let (Some((now, occasions)), Some((before, occasions_before))) = (row(is), row(was)) {
        return format!(
            " ({}, {}; {before} and {occasions_before} before)",
            pulses(now),
            opportunities(occasions)
        );
    }
    let count = |(finding, report): (&Finding, &InspectReport)| {
        finding
            .lines
            .first()
            .map_or(0, |victim| strays(report, victim).count())
    };
    match (count(is), count(was)) {
        (0, _) => String::new(),
        (now, 0) => format!(" ({})", pulses(now as u64)),
        (now, before) => format!(" ({}; {before} before)", pulses(now as u64)),
    }
}

fn opportunities(count: u64) -> String {
    match count {
        1 => "1 opportunity".to_owned(),
        count => format!("{count} opportunities"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report(strays: u64, kind: &str) -> InspectReport {
        let stray = |n: u64| {
            serde_json::json!({"line": "CLEAR_N", "start_s": n as f64 * 1e-6, "width_s": 2e-8, "level": "low", "kind": kind,
                               "aggressor": null, "edge": null, "lag_s": null})
        };
        let mut coupling = serde_json::json!({
            "victim": "CLEAR_N", "aggressor": "STEP", "edge": "fall", "strays": 4, "opportunities": 5,
            "expected_by_chance": 0.1, "p_value": 1e-6, "q_value": 1e-5,
            "strike_rate": {"estimate": 0.8, "low": 0.3, "high": 0.99},
            "lag_s": {"median": 1e-8, "low": 1e-8, "high": 1e-8}, "standing": "companion", "inseparable_from": [],
            "ruled_out": [], "strays_beside": 0});
        coupling["victim_strays"] = strays.into();
        serde_json::from_value(serde_json::json!({
            "schema": "", "captures": [], "links": [],
            "lines": [{"line": "CLEAR_N", "capture": "a.csv", "source": "analog", "edges": 40, "narrow_below_s": null,
                       "narrow_from": "none"}],
            "strays": (0..strays).map(stray).collect::<Vec<_>>(), "couplings": [coupling],
            "findings": [{"id": "F1", "severity": "warning", "topic": "uncaptured-cause", "lines": ["CLEAR_N"], "title": "t",
                          "detail": "", "try_next": []}]}))
        .unwrap()
    }

    fn finding() -> Finding {
        let text = r#"{"id": "F1", "severity": "fault", "topic": "coupling", "lines": ["CLEAR_N", "STEP"], "title": "t",
                       "detail": "", "try_next": []}"#;
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn runts_are_left_as_well_and_no_more_are_told_than_could_be() {
        let (finding, before, now) = (finding(), report(9, "pulse"), report(6, "runt"));
        let says = remains((&finding, &before), (&finding, &now), "there").unwrap();
        assert_eq!(
            says,
            "CLEAR_N still dips (6 stray pulses, 5 opportunities; 9 and 5 before), but what brings it is in doubt there"
        );
        assert_eq!(left(&finding, &now), " (6 stray pulses of CLEAR_N are left)");
    }
}
