//! The compare report as text.

use super::lines::capture_text;
use super::{Align, Style, Table, printable, wrapped};
use crate::report::compare::{CompareReport, RatioRow, TroubleCompareRow};

/// Verdicts in sentences, then the counts they rest on.
pub fn compare_text(report: &CompareReport, style: Style) -> String {
    let mut text = String::new();
    for (word, rows) in [("before", &report.before), ("after", &report.after)] {
        for row in rows {
            text.push_str(&format!("{word}: {}", capture_text(row, style)));
        }
    }
    text.push('\n');
    let seen = |r: &&TroubleCompareRow| r.before.wrong + r.after.wrong > 0;
    let others: Vec<(&str, &TroubleCompareRow)> = [
        ("never sent: ", &report.extras),
        ("bounce of ", &report.bounces),
        ("broken: ", &report.limits),
    ]
    .into_iter()
    .flat_map(|(word, rows)| rows.iter().filter(seen).map(move |r| (word, r)))
    .collect();
    if report.couplings.is_empty() && report.links.is_empty() && others.is_empty() {
        text.push_str(
            "No coupling, bounce or broken limit stands on either side, and no link is declared: there is nothing to \
             compare.\n",
        );
        return text;
    }
    let said = report.couplings.iter().map(|r| (&r.verdict, &r.says));
    let said = said.chain(report.links.iter().map(|r| (&r.verdict, &r.says)));
    for (verdict, says) in said.chain(others.iter().map(|(_, r)| (&r.verdict, &r.says))) {
        let word = match verdict.as_str() {
            "worse" | "unchanged" => style.fault(verdict),
            "gone" => style.advice(verdict),
            _ => style.warning(verdict),
        };
        text.push_str(&format!("{word}\n{}", wrapped(&printable(says), 96, 4)));
    }
    let mut table = Table::new(&[
        ("what", Align::Left),
        ("before", Align::Right),
        ("after", Align::Right),
        ("ratio (95 %)", Align::Left),
        ("p", Align::Right),
        ("at most now", Align::Right),
        ("verdict", Align::Left),
    ]);
    for r in &report.couplings {
        table.row(vec![
            format!("{} by {} ({})", r.victim, r.aggressor, r.edge),
            format!("{} of {}", r.before.strays, r.before.opportunities),
            format!("{} of {}", r.after.strays, r.after.opportunities),
            ratio(&r.rate_ratio),
            format!("{:.2e}", r.p_value),
            format!("{:.2} %", r.after_upper_bound * 100.0),
            r.verdict.clone(),
        ]);
    }
    for r in &report.links {
        table.row(vec![
            format!("lost {} to {}", r.from, r.to),
            format!("{} of {}", r.before.missing, r.before.sent),
            format!("{} of {}", r.after.missing, r.after.sent),
            ratio(&r.loss_ratio),
            format!("{:.2e}", r.p_value),
            format!("{:.2} %", r.after_upper_bound * 100.0),
            r.verdict.clone(),
        ]);
    }
    for (word, r) in others {
        table.row(vec![
            format!("{word}{}", r.name),
            format!("{} of {}", r.before.wrong, r.before.occasions),
            format!("{} of {}", r.after.wrong, r.after.occasions),
            ratio(&r.rate_ratio),
            format!("{:.2e}", r.p_value),
            format!("{:.2} %", r.after_upper_bound * 100.0),
            r.verdict.clone(),
        ]);
    }
    text.push_str(&format!("\n{}", table.render(0)));
    text
}

fn ratio(row: &RatioRow) -> String {
    let end = |value: Option<f64>, none: &str| value.map_or(none.to_owned(), |v| format!("{v:.3}"));
    format!(
        "{} ({:.3}–{})",
        end(row.estimate, "–"),
        row.low,
        end(row.high, "∞")
    )
}
