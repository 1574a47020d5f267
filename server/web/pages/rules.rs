//! Limits and logic: truth tables and sequences with contradictions first, then limits and rails; and a form for new rules.

use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde_json::json;

use super::Places;
use super::heading::{Heading, open};
use crate::analysis::rules::sentences::moved_between;
use crate::analysis::rules::sentences::slip_words;
use crate::model::units::{engineering, moment, percent_to_tenths, seconds};
use crate::report::inspect::InspectReport;
use crate::report::rails::RailRow;
use crate::report::rules::{Company, LatchRow, MarginHistogram, RuleRow, SideRow, TruthTable, ViolationRow};
use crate::rule::Rail;
use crate::setup::Setup;
use crate::store::{Action, SessionId};
use crate::web::api::log::with_store;
use crate::web::error::PageFailure;
use crate::web::shown::Shown;
use crate::web::state::App;

/// How long the page waits for captures that are being read; then it says so and looks again by itself.
const PATIENCE: Duration = Duration::from_millis(1500);
/// Violations told per rule; the interface for programs has them all.
const MOST_VIOLATIONS: usize = 20;
/// Rows told per truth table.
const MOST_ROWS: usize = 64;

/// The page's name among the places.
const HERE: &str = "Limits and logic";

#[derive(Template)]
#[template(path = "pages/rules.html")]
struct RulesPage {
    places: Places,
    id: i64,
    heading: Heading,
    /// No capture yet.
    is_empty: bool,
    /// Captures are being read.
    is_reading: bool,
    /// Why they could not be read.
    trouble: String,
    tables: Vec<RuleView>,
    latches: Vec<RuleView>,
    sequences: Vec<RuleView>,
    limits: Vec<RuleView>,
    rails: Vec<RailView>,
    /// Names to choose from.
    lines: Vec<String>,
    /// What undoing would undo.
    undo: Option<Action>,
}

struct RuleView {
    name: String,
    verdict: String,
    is_broken: bool,
    counts: String,
    limit: String,
    /// Smallest and largest value, and the spread of the margins.
    spread: String,
    margins: Vec<BinView>,
    /// The sides of an edge, each with its own limit.
    sides: Vec<SideView>,
    table: Option<TableView>,
    notes: Vec<String>,
    violations: Vec<ViolationView>,
    more: usize,
    /// What takes it out of the setup, as JSON.
    json: String,
}

struct ViolationView {
    text: String,
    /// The moment in the diagram.
    path: String,
}

struct SideView {
    side: &'static str,
    text: String,
    margins: Vec<BinView>,
}

struct BinView {
    margin: String,
    count: u64,
}

struct TableView {
    inputs: Vec<String>,
    outputs: String,
    rows: Vec<RowView>,
    more: usize,
}

struct RowView {
    inputs: Vec<char>,
    expected: String,
    found: String,
    seen: String,
    is_wrong: bool,
}

struct RailView {
    name: String,
    is_broken: bool,
    allowed: String,
    measured: String,
    outside: String,
    cause: String,
    /// What takes it out of the setup, as JSON; empty where the setup does not declare it.
    json: String,
}

/// The page; it waits a moment for the check.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Html<String>, PageFailure> {
    let session = SessionId(id);
    open(&app, session, &shown, HERE).await?;
    // The rules are checked as they stand now, and the page waits for that as long as a person would.
    let (mut is_reading, mut trouble, mut opened) = (false, String::new(), None);
    match tokio::time::timeout(PATIENCE, app.opened_now(session)).await {
        Ok(Ok(found)) => opened = found,
        Ok(Err(failure)) => trouble = failure.sentence,
        Err(_) => is_reading = true,
    }
    let html = with_store(app, move |store| {
        let setup = store.session(session)?.body.setup;
        let declared = Setup::parse(&setup, "the setup").map_or(Vec::new(), |setup| setup.rails);
        // Where the moments of its violations are.
        let at = match &opened {
            Some(opened) => format!("/sessions/{session}?{}", opened.which().query()),
            None => format!("/sessions/{session}?"),
        };
        let shown_here = opened.as_deref().map(|opened| (&opened.report, at.as_str()));
        let mut page = RulesPage {
            is_reading,
            trouble,
            undo: store
                .actions(session, 50)?
                .into_iter()
                .find(|action| !action.undone)
                // What else was done last is undone where it was done.
                .filter(|action| {
                    ["rule ", "rail ", "setup "]
                        .iter()
                        .any(|own| action.what.starts_with(own))
                }),
            ..view(session, shown_here, &declared)
        };
        page.places = page.places.following(&shown)?;
        let which = opened.as_deref().map(|opened| opened.which());
        page.heading =
            Heading::of(store, session, which.or(shown.which()?), HERE)?.with_runs(opened.as_deref(), HERE);
        Ok(page.render()?)
    });
    Ok(Html(html.await?))
}

fn company_words(company: &Company) -> String {
    let Company {
        line,
        wrong_steps,
        right_steps,
        strays,
    } = company;
    let mut words = format!("{line} moved during {wrong_steps} wrong and {right_steps} right steps.");
    for strays in strays {
        let steps = strays.steps;
        words += &match &strays.aggressor {
            Some(aggressor) => {
                let edge = strays.edge.as_deref().unwrap_or_default();
                format!(" In {steps} wrong ones it shows a stray that goes with the {edge} of {aggressor}.")
            }
            None => format!(" In {steps} wrong ones it shows a stray whose cause is not known."),
        };
    }
    words
}

/// `shown`: the report, and the address that its moments are shown at.
fn view(id: SessionId, shown: Option<(&InspectReport, &str)>, declared: &[Rail]) -> RulesPage {
    let (report, at) = (shown.map(|(report, _)| report), shown.map_or("", |(_, at)| at));
    let rows = report.map_or(&[][..], |r| &r.rules);
    let of = |wanted: &dyn Fn(&str) -> bool| {
        let mut views: Vec<RuleView> = rows
            .iter()
            .filter(|r| wanted(&r.kind))
            .map(|r| rule(at, r))
            .collect();
        views.sort_by_key(|v| !v.is_broken);
        views
    };
    RulesPage {
        places: Places::of(id, HERE),
        id: id.0,
        heading: Heading::none(),
        is_empty: report.is_none(),
        is_reading: false,
        trouble: String::new(),
        tables: of(&|kind| kind == "logic"),
        latches: of(&|kind| kind == "latch"),
        sequences: of(&|kind| kind == "sequence"),
        limits: of(&|kind| !["logic", "latch", "sequence"].contains(&kind)),
        rails: report
            .map_or(&[][..], |r| &r.rails)
            .iter()
            .map(|row| rail(row, declared.iter().any(|rail| rail.line == row.rail)))
            .collect(),
        lines: report
            .map_or(&[][..], |r| &r.lines)
            .iter()
            .map(|l| l.line.clone())
            .collect(),
        undo: None,
    }
}

fn rule(at: &str, row: &RuleRow) -> RuleView {
    let verdict = match row.verdict.as_str() {
        "broken" => "broken",
        "kept" => "kept",
        "cant-tell" => "can't be told at this sampling",
        "not-judged" => "not judged",
        _ => "never had anything to check",
    };
    let mut notes = Vec::new();
    if row.verdict == "not-judged" {
        notes.push(format!(
            "{} were recorded on clocks that nothing joins: name on the page Clocks an irregular line that the captures share.",
            row.lines.join(", ")
        ));
    }
    if !row.missing.is_empty() {
        notes.push(format!("This capture has no {}.", row.missing.join(", ")));
    }
    if let Some(table) = &row.truth_table {
        notes.extend(
            table
                .as_if
                .as_ref()
                .map(|words| format!("It behaves as if {words}.")),
        );
        notes.extend(table.late_s.map(|late| {
            format!(
                "It comes right in the end every time, up to {} after its inputs: a slow part, a heavily loaded output, or a \
                 settling time that is too short.",
                seconds(late)
            )
        }));
        if table.now_and_then {
            notes.push("It fails now and then, with inputs that are right at other times: a marginal part or contact.".to_owned());
        }
        if table.never > 0 {
            notes.push(format!("{} combinations were never seen.", table.never));
        }
    }
    if let Some(steps) = &row.steps {
        let suspicion = steps.suspicion.as_ref();
        notes.extend(
            suspicion.map(|s| format!("{} of {} steps are right with {}.", s.count, steps.steps, s.value)),
        );
        notes.extend(steps.instead.iter().map(|i| format!("{} × {}", i.count, i.value)));
        notes.extend((steps.moved_between > 0).then(|| moved_between(steps.moved_between)));
        notes.extend(steps.direction.as_ref().filter(|_| steps.wrong > 0).map(|told| {
            format!(
                "At the wrong steps {} was high in {} and low in {}; in {} of them it had an edge in the {} before.",
                told.line,
                told.wrong_high,
                told.wrong_low,
                told.edge_before,
                seconds(told.within_s)
            )
        }));
        notes.extend(steps.company.iter().map(company_words));
    }
    notes.extend(row.latch.iter().flat_map(latch_notes));
    let limit = match row.worded(row.at_least_s, row.at_most_s) {
        [Some(least), Some(most)] => format!("{least} to {most}"),
        [Some(least), None] => format!("at least {least}"),
        [None, Some(most)] => format!("at most {most}"),
        [None, None] => String::new(),
    };
    let is_sided = !row.sides.is_empty();
    let spread = match row.worded(row.smallest_s, row.largest_s) {
        [Some(least), Some(most)] if !is_sided => format!("{least} to {most}"),
        _ => String::new(),
    };
    RuleView {
        name: row.name.clone(),
        verdict: verdict.to_owned(),
        is_broken: row.verdict == "broken",
        counts: format!(
            "{} kept, {} broken, {} can't be told",
            row.kept, row.broken, row.cant_tell
        ),
        limit: if is_sided { String::new() } else { limit },
        spread,
        margins: match &row.margins {
            Some(histogram) if !is_sided => margins(histogram),
            _ => Vec::new(),
        },
        sides: row.sides.iter().map(side).collect(),
        table: row.truth_table.as_ref().map(table),
        notes,
        violations: row
            .violations
            .iter()
            .take(MOST_VIOLATIONS)
            .map(|v| violation(at, v))
            .collect(),
        more: (row.broken as usize).saturating_sub(MOST_VIOLATIONS),
        json: json!({ "name": row.name, "setup_line": row.setup_line }).to_string(),
    }
}

fn side(row: &SideRow) -> SideView {
    let spread = match (row.smallest_s, row.largest_s) {
        (Some(least), Some(most)) => format!("measured {} to {}", seconds(least), seconds(most)),
        _ => "it never leaves its level there".to_owned(),
    };
    let side = if row.side == "before" { "Before" } else { "After" };
    SideView {
        side,
        text: format!(
            "{side} the edge: {} kept, {} broken, {} can't be told; the limit is at least {}; {spread}.",
            row.kept,
            row.broken,
            row.cant_tell,
            seconds(row.at_least_s)
        ),
        margins: margins(&row.margins),
    }
}

fn latch_notes(row: &LatchRow) -> Vec<String> {
    let mut notes: Vec<String> = Vec::new();
    notes.extend(
        row.as_if
            .as_ref()
            .map(|words| format!("It behaves as if {words}.")),
    );
    notes.push(format!(
        "It did not follow in {} of {} stretches with {} open, and did not keep its level in {} of {} with it shut.",
        row.open_wrong, row.open, row.enable, row.shut_wrong, row.shut
    ));
    if row.slips > 0 {
        notes.push(slip_words(
            row.slips,
            row.to_data,
            row.to_other,
            &row.data.join(" "),
        ));
    }
    notes
}

/// The bins that hold something, nearest to the limit and beyond it first.
fn margins(histogram: &MarginHistogram) -> Vec<BinView> {
    let bins = histogram.counts.iter().enumerate().filter(|(_, n)| **n > 0);
    let mut views: Vec<BinView> = bins
        .map(|(i, &count)| BinView {
            margin: format!(
                "{} to {}",
                seconds(histogram.start_s + i as f64 * histogram.bin_s),
                seconds(histogram.start_s + (i + 1) as f64 * histogram.bin_s)
            ),
            count,
        })
        .collect();
    let end = histogram.start_s + histogram.counts.len() as f64 * histogram.bin_s;
    if histogram.below > 0 {
        views.insert(
            0,
            BinView {
                margin: format!("below {}", seconds(histogram.start_s)),
                count: histogram.below,
            },
        );
    }
    if histogram.above > 0 {
        views.push(BinView {
            margin: format!("{} and more", seconds(end)),
            count: histogram.above,
        });
    }
    views
}

fn table(table: &TruthTable) -> TableView {
    let rows = table.rows.iter().take(MOST_ROWS).map(|row| RowView {
        inputs: row.inputs.chars().collect(),
        expected: row.expected.clone(),
        found: match row.seen {
            0 => "never seen".to_owned(),
            _ => row
                .found
                .iter()
                .map(|f| format!("{} ({} ×)", f.value, f.count))
                .collect::<Vec<_>>()
                .join(", "),
        },
        seen: format!("{} of {}", row.wrong, row.seen),
        is_wrong: row.wrong > 0,
    });
    TableView {
        inputs: table.inputs.clone(),
        outputs: table.outputs.join(" "),
        rows: rows.collect(),
        more: table.rows.len().saturating_sub(MOST_ROWS),
    }
}

fn violation(at: &str, row: &ViolationRow) -> ViolationView {
    let mut text = format!("At {}", moment(row.start_s));
    if let (Some(measured), Some(low), Some(high)) = (row.measured_s, row.low_s, row.high_s) {
        text.push_str(&format!(": {}", seconds(measured)));
        if let (Some(limit), Some(side)) = (row.limit_s, &row.side) {
            text.push_str(&format!(" of {} {side} the edge", seconds(limit)));
        }
        let [low, high] = [low, high].map(seconds);
        // What rounds to one value is known as well as it is told.
        if low != high {
            text.push_str(&format!(" (truly {low} to {high})"));
        }
    }
    if let Some(what) = &row.what {
        text.push_str(&format!(": {what}"));
    }
    // The evidence in the middle fifth of the view.
    let span_s = (5.0 * (row.end_s - row.start_s)).max(1e-9);
    let at_s = (row.start_s + row.end_s - span_s) / 2.0;
    ViolationView {
        text,
        path: format!("{at}&at_s={at_s:e}&span_s={span_s:e}"),
    }
}

fn rail(row: &RailRow, is_declared: bool) -> RailView {
    let volts = |v: f64| engineering(v, "V");
    let measured = match (row.mean_v, row.smallest_v, row.largest_v) {
        (Some(mean), Some(low), Some(high)) => {
            format!("{} to {}, mean {}", volts(low), volts(high), volts(mean))
        }
        _ => "not in this capture".to_owned(),
    };
    RailView {
        json: match is_declared {
            true => json!({ "name": row.rail, "setup_line": null }).to_string(),
            false => String::new(),
        },
        name: row.rail.clone(),
        is_broken: row.verdict == "broken",
        allowed: format!("{} to {}", volts(row.low_v), volts(row.high_v)),
        measured,
        outside: row
            .outside
            .map_or(String::new(), |share| format!("{} %", percent_to_tenths(share))),
        cause: row.cause.as_ref().map_or(String::new(), |c| {
            let or = match c.inseparable_from.as_slice() {
                [] => String::new(),
                others => format!(", or of {}", others.join(", ")),
            };
            format!(
                "{} of {} dips begin within {} after a {} of {}{or}",
                c.dips,
                c.of,
                crate::model::units::seconds(c.within_s),
                c.edge,
                c.line
            )
        }),
    }
}
