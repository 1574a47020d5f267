//! The compare report as text.

use super::lines::capture_text;
use super::{Align, Style, Table, printable, seconds, wrapped};
use crate::model::units::{Bound, p_value, per_time, percent_bound, ratio, three_digits_bound};
use crate::report::compare::{
    CompareReport, CountsRow, EACH_OTHER, JudgedRow, LossRow, OccasionsRow, RatioRow, TroubleCompareRow,
};

/// How many went wrong, of how many, and the seconds of one of these where they are stretches of time.
type Of = (u64, u64, Option<f64>);

/// What, how many of how many before and after, the ratio, what is concluded.
type Row<'r> = (String, Of, Of, &'r RatioRow, &'r JudgedRow);

/// Verdicts in sentences, then the counts they rest on.
pub fn compare_text(report: &CompareReport, style: Style) -> String {
    let mut text = String::new();
    for (word, rows) in [("before", &report.before), ("after", &report.after)] {
        for row in rows {
            text.push_str(&format!("{word}: {}", capture_text(row, style)));
        }
    }
    for note in &report.notes {
        text.push_str(&format!("{} {}\n", style.warning("note:"), printable(note)));
    }
    if !report.advice.is_empty() {
        text.push_str(&wrapped(&printable(&report.advice), 96, 0));
    }
    text.push('\n');
    let seen = |r: &&TroubleCompareRow| r.before.wrong + r.after.wrong > 0;
    let others: Vec<(&str, &TroubleCompareRow)> = [
        ("never sent: ", &report.extras),
        ("bounce of ", &report.bounces),
        ("broken: ", &report.limits),
        ("strays on ", &report.strays),
        ("out of limits: ", &report.rails),
    ]
    .into_iter()
    .flat_map(|(word, rows)| rows.iter().filter(seen).map(move |r| (word, r)))
    .collect();
    if report.couplings.is_empty() && report.links.is_empty() && others.is_empty() {
        text.push_str(
            "No coupling, stray, bounce, broken limit or rail out of its limits stands on either side, and no link is \
             declared: there is nothing to compare.\n",
        );
        return text;
    }
    let rows = rows(report, others);
    for (.., judged) in &rows {
        let verdict = verdict(judged);
        let word = match verdict {
            "worse" | "unchanged" => style.fault(verdict),
            "gone" => style.advice(verdict),
            _ => style.warning(verdict),
        };
        text.push_str(&format!("{word}\n{}", wrapped(&printable(&judged.says), 96, 4)));
        if !judged.next.is_empty() {
            let next = format!("Next: {}", printable(&judged.next));
            text.push_str(&wrapped(&next, 96, 4));
        }
    }
    text.push_str(&format!("\n{}", table(rows).render(0)));
    text
}

/// The verdict's word; none that may be by chance is not called gone.
fn verdict(judged: &JudgedRow) -> &str {
    match judged.verdict.as_str() {
        "gone" if !judged.is_backed => "none so far",
        word => word,
    }
}

/// All that was compared; `others`: what is neither coupling nor link, with the word before its name.
fn rows<'r>(report: &'r CompareReport, others: Vec<(&str, &'r TroubleCompareRow)>) -> Vec<Row<'r>> {
    let mut rows: Vec<Row> = Vec::new();
    for r in &report.couplings {
        let of = |c: &CountsRow| (c.strays, c.opportunities, None);
        let what = match r.edge.as_str() {
            EACH_OTHER => format!("{} and {}, either by the other", r.victim, r.aggressor),
            edge => format!("{} by {} ({edge})", r.victim, r.aggressor),
        };
        rows.push((what, of(&r.before), of(&r.after), &r.rate_ratio, &r.judged));
    }
    for r in &report.links {
        let of = |c: &LossRow| (c.missing, c.sent, None);
        let what = format!("lost {} to {}", r.from, r.to);
        rows.push((what, of(&r.before), of(&r.after), &r.loss_ratio, &r.judged));
    }
    for (word, r) in others {
        let of = |c: &OccasionsRow| (c.wrong, c.occasions, r.slot_s);
        let what = format!("{word}{}", r.name);
        rows.push((what, of(&r.before), of(&r.after), &r.rate_ratio, &r.judged));
    }
    rows
}

fn table(rows: Vec<Row>) -> Table {
    let mut table = Table::new(&[
        ("what", Align::Left),
        ("before", Align::Right),
        ("after", Align::Right),
        ("ratio (95 %)", Align::Left),
        ("p", Align::Right),
        ("at most now", Align::Right),
        ("verdict", Align::Left),
    ]);
    for (what, before, after, of_rates, judged) in rows {
        let counts = |(wrong, of, slot): Of| match slot {
            Some(slot) => format!("{wrong} in {}", seconds(of as f64 * slot)),
            None => format!("{wrong} of {of}"),
        };
        let most = match after.2 {
            _ if after.1 == 0 => "–".to_owned(),
            Some(slot) => {
                let (value, _, unit) = per_time(judged.after_upper_bound / slot);
                format!("{} {unit}", three_digits_bound(value, Bound::Upper))
            }
            None => format!("{} %", percent_bound(judged.after_upper_bound, Bound::Upper)),
        };
        table.row(vec![
            what,
            counts(before),
            counts(after),
            ratio(of_rates.estimate, of_rates.low, of_rates.high),
            match judged.p_value {
                _ if before.1 == 0 || after.1 == 0 => "–".to_owned(),
                p => p_value(p),
            },
            most,
            verdict(judged).to_owned(),
        ]);
    }
    table
}
