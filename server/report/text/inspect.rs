//! The inspect report as text: the answer first, the evidence under it.

use std::collections::HashMap;

use super::lines::capture_text;
use super::{Align, Style, Table, printable, seconds, wrapped};
use crate::model::units::{Bound, engineering, p_value, percent_bound, percent_to_tenths, seconds_bound};
use crate::report::inspect::{CouplingRow, Finding, InspectReport, LineRow, LinkRow, Severity, StrayRow};
use crate::report::rails::RailRow;
use crate::report::rules::RuleRow;

/// Why a title may count more strays than the table of couplings.
const BESIDE: &str = "\"strays\" of \"of\" edges make the rate. \"beside\" are further strays put down to the same edges, most \
                      beside an edge of the victim's own, where no rate can be taken; titles count both.";
/// Width of the sentences; tables may be wider.
const WIDTH: usize = 96;

/// Findings worst first, then the tables they rest on.
pub fn inspect_text(report: &InspectReport, style: Style) -> String {
    let mut text = String::new();
    for capture in &report.captures {
        text.push_str(&capture_text(capture, style));
    }
    text.push('\n');
    text.push_str(&style.bold(wrapped(&headline(report), WIDTH, 0).trim_end()));
    text.push_str("\n\n");
    // What findings end with alike, as the cautions, stands under the first of them and holds for all.
    let mut endings: Vec<&String> = Vec::new();
    for finding in &report.findings {
        let ending = finding.try_next.last();
        let is_said = ending.is_some_and(|ending| endings.contains(&ending));
        let said = finding.try_next.len() - usize::from(is_said);
        text.push_str(&finding_text(report, finding, style, said));
        text.push('\n');
        endings.extend(ending);
    }
    let tables = [
        ("Couplings", couplings(&report.couplings)),
        ("Links", links(&report.links)),
        ("Rules", rules(&report.rules)),
        ("Rails", rails(&report.rails)),
        ("Lines", lines(report)),
    ];
    for (heading, table) in tables {
        if !table.is_empty() {
            text.push_str(&format!("{}\n{}", style.bold(heading), table.render(2)));
            let has_more = report.couplings.iter().any(|row| row.strays_beside > 0);
            if heading == "Couplings" && has_more {
                text.push_str(&wrapped(BESIDE, WIDTH, 2));
            }
            text.push('\n');
        }
    }
    text.truncate(text.trim_end().len());
    text.push('\n');
    text
}

/// A title inside a sentence: small, unless it begins with a name.
fn inside(title: &str) -> String {
    const WORDS: [&str; 4] = ["The ", "Nothing ", "No ", "One "];
    match WORDS.iter().any(|word| title.starts_with(word)) {
        true => title[..1].to_lowercase() + &title[1..],
        false => title.to_owned(),
    }
}

/// The first of these titles, and how many more there are.
fn first_few(titles: &[&str]) -> String {
    let first: Vec<String> = titles[..titles.len().min(FIRST)]
        .iter()
        .map(|title| inside(title))
        .collect();
    let first = first.join("; ");
    match titles.len().saturating_sub(FIRST) {
        0 => first,
        more => format!("{first}; and {more} more"),
    }
}

/// What is wrong, or that nothing was found, in a few sentences: [`headline_sentences`] as one text.
pub fn headline(report: &InspectReport) -> String {
    headline_sentences(report).join(" ")
}

/// What is wrong, or that nothing was found: how many faults there are, then the first of them, a sentence each. A sentence
/// before them where a file names no unit of its times. Never empty.
pub fn headline_sentences(report: &InspectReport) -> Vec<String> {
    let mut units = report.findings.iter().filter(|f| f.is_of_time_unit());
    let mut said: Vec<String> = match (units.next(), units.count()) {
        (None, _) => Vec::new(),
        (Some(first), 0) => vec![format!("{}.", first.title)],
        (Some(first), more) => vec![format!("{} (so for {more} more).", first.title)],
    };
    said.extend(found(report));
    if report
        .findings
        .iter()
        .all(|f| f.severity == Severity::Note || f.is_of_time_unit())
        && let Some(rested) = report.findings.iter().find(|f| f.is_of_rested_lines())
    {
        said.push(rested.title.clone());
    }
    said
}

fn found(report: &InspectReport) -> Vec<String> {
    let of = |severity: Severity| {
        let findings = report.findings.iter().filter(move |f| f.severity == severity);
        findings.filter(|f| !f.is_of_time_unit())
    };
    let warnings = of(Severity::Warning).count();
    // That nothing was found is a note as well, and the only one without lines.
    let open: Vec<&str> = of(Severity::Note)
        .filter(|f| f.topic == "stray" && !f.lines.is_empty())
        .map(|f| f.title.trim_end_matches('.'))
        .collect();
    let said = match of(Severity::Fault).count() {
        0 if warnings == 0 && !open.is_empty() => format!(
            "Nothing is shown to be wrong, but look at this: {}.",
            first_few(&open)
        ),
        0 if warnings == 0 && is_unjudged(report) => {
            "Nothing looks wrong, but little could be judged: no line's pulse widths tell what is too narrow for it.".to_owned()
        }
        0 if warnings == 0 => "Nothing looks wrong in this capture.".to_owned(),
        0 if warnings == 1 => match of(Severity::Warning).next() {
            // Where nothing moves nothing was tried.
            Some(only) if only.topic == "reading" && only.lines.is_empty() => format!("{}.", only.title),
            Some(only) => format!(
                "No fault is proved, but look at this: {}.",
                inside(only.title.trim_end_matches('.'))
            ),
            None => String::new(),
        },
        0 => {
            let titles: Vec<&str> = of(Severity::Warning)
                .map(|f| f.title.trim_end_matches('.'))
                .collect();
            format!("No fault is proved, but look at this: {}.", first_few(&titles))
        }
        n => {
            let mut said = vec![match n {
                1 => "One thing looks wrong.".to_owned(),
                n => format!("{} things look wrong.", count_word(n)),
            }];
            said.extend(of(Severity::Fault).take(NAMED).map(|fault| format!("{}.", plainly(fault))));
            said.extend(match n.saturating_sub(NAMED) {
                0 => None,
                1 => Some("And one more.".to_owned()),
                more => Some(format!("And {} more.", count_word(more).to_lowercase())),
            });
            return said;
        }
    };
    vec![said]
}

/// A fault in one short sentence, without its full stop: who does what to whom before the counts, and no limit behind a
/// semicolon, which the finding itself tells.
fn plainly(fault: &Finding) -> String {
    let title = fault.title.trim_end_matches('.');
    if let ("coupling", [victim, aggressor]) = (fault.topic.as_str(), fault.lines.as_slice())
        && let Some(counts) = title.strip_prefix(&format!("{victim}: "))
        && let Some((pulses, who)) = counts.split_once(" follow ")
        && let Some(doing @ (" falling" | " rising" | " switching")) = who.strip_prefix(aggressor.as_str())
    {
        return format!("{aggressor}{doing} disturbs {victim}: {pulses} follow it");
    }
    let is_named_so = fault.lines.iter().any(|line| line.contains("; "));
    match title.split_once("; ") {
        Some((first, _)) if !is_named_so => first.to_owned(),
        _ => title.to_owned(),
    }
}

/// Warnings, and faults, that are named.
const FIRST: usize = 2;
const NAMED: usize = 2;

/// A small count as a word, capital first: `Two`.
pub fn count_word(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven",
        "Twelve",
    ];
    WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// A finding with the first `advised` of its advice.
fn finding_text(report: &InspectReport, finding: &Finding, style: Style, advised: usize) -> String {
    let severity = match finding.severity {
        Severity::Fault => style.fault("fault"),
        Severity::Warning => style.warning("warning"),
        Severity::Note => "note".to_owned(),
    };
    let mut text = format!(
        "{} {severity}: {}\n",
        finding.id,
        style.bold(&printable(&finding.title))
    );
    let detail = match example(report, finding) {
        // Beside a page's sentence stands a figure of it.
        Some(one) => format!("{} {one}", finding.detail),
        None => finding.detail.clone(),
    };
    text.push_str(&wrapped(&detail, WIDTH, 4));
    for advice in &finding.try_next[..advised] {
        let lines = wrapped(advice, WIDTH, 6);
        text.push_str(&format!("    {} {}", style.advice(">"), lines.trim_start()));
    }
    text
}

/// One strike of a clear coupling, to find it by: the one whose lag is nearest to the middle.
/// "For one: STEP falls at 0.356 866 465 s, and CLEAR_N goes low 15 ns later."
fn example(report: &InspectReport, finding: &Finding) -> Option<String> {
    let [victim, aggressor] = finding.lines.as_slice() else {
        return None;
    };
    let is_row = |c: &&CouplingRow| (&c.victim, &c.aggressor) == (victim, aggressor) && c.standing == "clear";
    let row = report
        .couplings
        .iter()
        .find(is_row)
        .filter(|_| finding.topic == "coupling")?;
    let strikes = report.strays.iter().filter(|s| &s.line == victim);
    let strikes = strikes.filter(|s| s.aggressor.as_ref() == Some(aggressor));
    let off = |s: &&StrayRow| (s.lag_s.unwrap_or(f64::INFINITY) - row.lag_s.median).abs();
    let one = strikes.min_by(|a, b| off(a).total_cmp(&off(b)))?;
    let lag = one.lag_s?;
    let does = match one.edge.as_deref()? {
        "rise" => "rises",
        _ => "falls",
    };
    // To the nanosecond, the digits by threes.
    let digits = format!("{:.9}", one.start_s - lag);
    let (whole, parts) = digits.split_once('.')?;
    let at = format!("{whole}.{} {} {} s", &parts[..3], &parts[3..6], &parts[6..]);
    Some(format!(
        "For one: {} {does} at {at}, and {} goes {} {} later.",
        printable(aggressor),
        printable(victim),
        one.level,
        seconds(lag)
    ))
}

fn couplings(rows: &[CouplingRow]) -> Table {
    let mut table = Table::new(&[
        ("victim", Align::Left),
        ("aggressor", Align::Left),
        ("edge", Align::Left),
        ("strays", Align::Right),
        ("of", Align::Right),
        ("beside", Align::Right),
        ("by chance", Align::Right),
        ("strike rate (95 %)", Align::Left),
        ("lag (95 %)", Align::Left),
        ("q", Align::Right),
        ("standing", Align::Left),
    ]);
    for row in rows {
        let rate = &row.strike_rate;
        table.row(vec![
            row.victim.clone(),
            row.aggressor.clone(),
            row.edge.clone(),
            row.strays.to_string(),
            row.opportunities.to_string(),
            row.strays_beside.to_string(),
            format!("{:.2}", row.expected_by_chance),
            format!(
                "{} % ({}–{})",
                percent_to_tenths(rate.estimate),
                percent_bound(rate.low, Bound::Lower),
                percent_bound(rate.high, Bound::Upper)
            ),
            format!(
                "{} ({} to {})",
                seconds(row.lag_s.median),
                seconds_bound(row.lag_s.low, Bound::Lower),
                seconds_bound(row.lag_s.high, Bound::Upper)
            ),
            p_value(row.q_value),
            in_words(&row.standing).to_owned(),
        ]);
    }
    table
}

/// A row's standing in words that nobody takes for "cleared".
fn in_words(standing: &str) -> &str {
    match standing {
        "clear" => "does it",
        "inseparable" => "it or another",
        "companion" => "goes along",
        other => other,
    }
}

fn rules(rows: &[RuleRow]) -> Table {
    let mut table = Table::new(&[
        ("rule", Align::Left),
        ("verdict", Align::Left),
        ("kept", Align::Right),
        ("broken", Align::Right),
        ("can't tell", Align::Right),
        ("smallest", Align::Right),
        ("largest", Align::Right),
    ]);
    for row in rows {
        let [least, most] = row
            .worded(row.smallest_s, row.largest_s)
            .map(|v| v.unwrap_or_else(|| "–".to_owned()));
        table.row(vec![
            row.name.clone(),
            row.verdict.clone(),
            row.kept.to_string(),
            row.broken.to_string(),
            row.cant_tell.to_string(),
            least,
            most,
        ]);
    }
    table
}

fn rails(rows: &[RailRow]) -> Table {
    let mut table = Table::new(&[
        ("rail", Align::Left),
        ("verdict", Align::Left),
        ("mean", Align::Right),
        ("smallest", Align::Right),
        ("largest", Align::Right),
        ("excursions", Align::Right),
    ]);
    for row in rows {
        let value = |v: Option<f64>| v.map_or("–".into(), |v| engineering(v, "V"));
        table.row(vec![
            row.rail.clone(),
            row.verdict.clone(),
            value(row.mean_v),
            value(row.smallest_v),
            value(row.largest_v),
            row.excursions.len().to_string(),
        ]);
    }
    table
}

fn links(rows: &[LinkRow]) -> Table {
    let mut table = Table::new(&[
        ("from", Align::Left),
        ("to", Align::Left),
        ("verdict", Align::Left),
        ("sent", Align::Right),
        ("arrived", Align::Right),
        ("missing", Align::Right),
        ("extra", Align::Right),
        ("delay", Align::Left),
        ("better match", Align::Left),
    ]);
    for row in rows {
        table.row(vec![
            row.from.clone(),
            row.to.clone(),
            row.verdict.clone(),
            row.sent.to_string(),
            row.arrived.to_string(),
            row.missing_s.len().to_string(),
            row.extra_s.len().to_string(),
            row.delay_s.map_or("–".into(), |d| {
                format!(
                    "{} ({} to {})",
                    seconds(d.median),
                    seconds_bound(d.low, Bound::Lower),
                    seconds_bound(d.high, Bound::Upper)
                )
            }),
            row.better_match.as_ref().map_or("–".into(), |b| b.line.clone()),
        ]);
    }
    table
}

/// "60 ns"; "low 60 ns, high 45 ns" or "low 60 ns" where the levels have limits of their own.
fn narrow_below(line: &LineRow) -> String {
    match (line.narrow_below_low_s, line.narrow_below_high_s) {
        (Some(low), Some(high)) if low != high => format!("low {}, high {}", seconds(low), seconds(high)),
        (Some(low), None) => format!("low {}", seconds(low)),
        (None, Some(high)) => format!("high {}", seconds(high)),
        _ => line.narrow_below_s.map_or("–".into(), seconds),
    }
}

fn lines(report: &InspectReport) -> Table {
    let mut table = Table::new(&[
        ("line", Align::Left),
        ("edges", Align::Right),
        ("narrow below", Align::Right),
        ("from", Align::Left),
        ("strays", Align::Right),
    ]);
    let mut strays_of: HashMap<&str, usize> = HashMap::new();
    for stray in &report.strays {
        *strays_of.entry(&stray.line).or_default() += 1;
    }
    for line in &report.lines {
        let strays = strays_of.get(line.line.as_str()).copied().unwrap_or(0);
        table.row(vec![
            line.line.clone(),
            line.edges.to_string(),
            narrow_below(line),
            line.narrow_from.clone(),
            if strays == 0 {
                "–".into()
            } else {
                strays.to_string()
            },
        ]);
    }
    table
}

/// Whether no line has a limit, and nothing else was asked of the lines.
fn is_unjudged(report: &InspectReport) -> bool {
    let moves = report.lines.iter().any(|row| row.edges > 0);
    let limits = report.lines.iter().any(|row| row.narrow_from != "none");
    moves && !limits && report.links.is_empty() && report.rules.is_empty() && report.rails.is_empty()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(severity: Severity, title: &str) -> Finding {
        Finding {
            id: "F1".into(),
            severity,
            topic: "stray".into(),
            lines: vec![],
            title: title.into(),
            detail: String::new(),
            try_next: vec![],
        }
    }

    #[test]
    fn lines_that_never_moved_are_asked_about_behind_what_is_right() {
        let rested = Finding {
            topic: "stuck".into(),
            lines: vec!["LAMP_ARC".into()],
            ..finding(Severity::Note, "LAMP_ARC never moved in 3 s: was it meant to?")
        };
        let mut report = InspectReport::empty();
        report.findings.push(rested);
        assert_eq!(
            headline(&report),
            "Nothing looks wrong in this capture. LAMP_ARC never moved in 3 s: was it meant to?"
        );
        report.findings.push(finding(Severity::Fault, "STEP is dead"));
        assert_eq!(headline(&report), "One thing looks wrong. STEP is dead.");
    }

    #[test]
    fn the_headline_names_the_faults() {
        let mut report = InspectReport::empty();
        assert_eq!(headline(&report), "Nothing looks wrong in this capture.");
        let row = |narrow_from: &str| LineRow {
            line: "STEP".into(),
            capture: String::new(),
            source: crate::model::Source::Digital,
            edges: 5,
            narrow_below_s: None,
            narrow_below_low_s: None,
            narrow_below_high_s: None,
            narrow_from: narrow_from.into(),
        };
        report.lines = vec![row("none")];
        assert!(headline(&report).contains("little could be judged"));
        report.lines.push(row("inferred"));
        assert_eq!(headline(&report), "Nothing looks wrong in this capture.");
        report.findings = vec![finding(Severity::Warning, "BELL[4] never moves")];
        assert_eq!(
            headline(&report),
            "No fault is proved, but look at this: BELL[4] never moves."
        );
        report.findings = vec![finding(Severity::Warning, "A rings."); 4];
        assert_eq!(
            headline(&report),
            "No fault is proved, but look at this: A rings; A rings; and 2 more."
        );
        report.findings = vec![
            finding(Severity::Fault, "A dips"),
            finding(Severity::Fault, "B is lost."),
        ];
        assert_eq!(headline(&report), "Two things look wrong. A dips. B is lost.");
        report.findings[0].topic = "coupling".into();
        report.findings[0].lines = vec!["A".into(), "B".into()];
        report.findings[0].title = "A: 97 of 99 stray pulses follow B falling".into();
        report.findings[1].title =
            "B changes 3 ns after the rise of A; the hold time is at least 5 ns".into();
        report.findings.push(finding(Severity::Fault, "C is lost"));
        assert_eq!(
            headline(&report),
            "Three things look wrong. B falling disturbs A: 97 of 99 stray pulses follow it. B changes 3 ns after the rise \
             of A. And one more."
        );
        report.findings = vec![
            finding(Severity::Fault, "A dips"),
            finding(Severity::Fault, "B is lost."),
        ];
        let mut unit = finding(
            Severity::Warning,
            "a.vcd names no time unit: all times below suppose 1 ns",
        );
        unit.topic = "reading".into();
        report.findings.insert(0, unit.clone());
        assert_eq!(
            headline(&report),
            "a.vcd names no time unit: all times below suppose 1 ns. Two things look wrong. A dips. B is lost."
        );
        report.findings = vec![unit.clone(), unit];
        assert_eq!(
            headline(&report),
            "a.vcd names no time unit: all times below suppose 1 ns (so for 1 more). Nothing looks wrong in this capture."
        );
    }
}
