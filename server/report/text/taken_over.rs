//! Sentences about lines that are judged by an earlier condition's narrow limit.

use crate::model::units::{Bound, count_of, percent_bound, seconds};
use crate::report::inspect::{InspectReport, TakenOverRow};

/// Where more than this share of the opportunities may still bring a stray, so few show little: it is said.
const LITTLE: f64 = 0.05;

/// "CLEAR_N shows 0 strays in 450 opportunities under the limit taken from "as found"", without a full stop.
pub fn title(row: &TakenOverRow) -> String {
    counts(row, true)
}

/// `is_whole`: with the condition that the limit is from.
fn counts(row: &TakenOverRow, is_whole: bool) -> String {
    let strays = count_of(row.strays, "stray");
    let of = match row.opportunities {
        Some(1) => " in 1 opportunity".to_owned(),
        Some(count) => format!(" in {count} opportunities"),
        None => String::new(),
    };
    let little = match row.most {
        Some(most) if most > LITTLE => format!(
            ", and up to {} % of them may still bring one",
            percent_bound(most, Bound::Upper)
        ),
        _ => String::new(),
    };
    format!(
        "{} shows {strays}{of}{}{little}",
        row.line,
        match is_whole {
            true => format!(" under the limit taken from \"{}\"", row.condition),
            false => String::new(),
        }
    )
}

/// The same with the limit and what the counts allow to be said.
pub fn whole(row: &TakenOverRow) -> String {
    let narrow = format!(
        "{}; narrower than {} is one.",
        title(row),
        seconds(row.narrow_below_s)
    );
    let edges = match row.edge.as_deref() {
        Some("rise") => "rises",
        Some("fall") => "falls",
        _ => "edges",
    };
    match (&row.aggressor, row.most) {
        (Some(by), Some(most)) => format!(
            "{narrow} The opportunities are {edges} of {by}, which struck it then; with 95 % confidence at most {} % of them do now.",
            percent_bound(most, Bound::Upper)
        ),
        _ => narrow,
    }
}

/// The title of the first line that shows none, and how many more do, as one piece of a sentence; empty without such lines.
pub fn clean(report: &InspectReport) -> String {
    first_clean(report, true)
}

/// The same beside something else: without the condition that the limit is from.
pub fn clean_briefly(report: &InspectReport) -> String {
    first_clean(report, false)
}

fn first_clean(report: &InspectReport, is_whole: bool) -> String {
    let mut rows = report.taken_over.iter().filter(|row| row.strays == 0);
    let Some(first) = rows.next().map(|row| counts(row, is_whole)) else {
        return String::new();
    };
    match rows.count() {
        0 => first,
        more => format!("{first}; and {more} more like it"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn none_of_so_many_is_told_with_what_may_remain() {
        let row = TakenOverRow {
            line: "CLEAR_N".into(),
            condition: "as found".into(),
            narrow_below_s: 140e-9,
            aggressor: Some("STEP".into()),
            edge: Some("fall".into()),
            strays: 0,
            opportunities: Some(450),
            // 1 − 0.05^(1/450), Hanley and Lippman-Hand (1983).
            most: Some(0.006_634_8),
        };
        assert_eq!(
            whole(&row),
            "CLEAR_N shows 0 strays in 450 opportunities under the limit taken from \"as found\"; narrower than 140 ns is one. \
             The opportunities are falls of STEP, which struck it then; with 95 % confidence at most 0.67 % of them do now."
        );
        let few = TakenOverRow {
            opportunities: Some(22),
            // 1 − 0.05^(1/22).
            most: Some(0.127_295),
            ..row.clone()
        };
        assert!(
            title(&few).ends_with("\"as found\", and up to 12.8 % of them may still bring one"),
            "{}",
            title(&few)
        );
        let mut report = InspectReport::empty();
        assert_eq!(clean(&report), "");
        report.taken_over = vec![row; 3];
        report.taken_over[1].opportunities = None;
        assert_eq!(
            clean(&report),
            "CLEAR_N shows 0 strays in 450 opportunities under the limit taken from \"as found\"; and 2 more like it"
        );
    }
}
