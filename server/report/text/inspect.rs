//! The inspect report as text: the answer first, the evidence under it.

use std::collections::HashMap;

use super::headline::headline;
use super::lines::capture_text;
use super::{Align, Style, Table, printable, seconds, wrapped};
use crate::model::units::{
    Bound, engineering, moment, p_value, percent_bound, percent_to_tenths, seconds_bound,
};
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
/// "For one: STEP falls at 356.866465 ms, and CLEAR_N goes low 15 ns later."
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
    let at = moment(one.start_s - lag);
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
