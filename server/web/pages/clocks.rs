//! Clocks: how each capture came to the session's clock, moving it by hand, and the skew of channels.

use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde_json::json;

use super::Places;
use super::heading::{Heading, open};
use super::links::{escape_query, opened_or_trouble};
use crate::analysis::align::{by_hand, exact};
use crate::report::inspect::{InspectReport, Severity};
use crate::report::text::seconds;
use crate::store::{Action, Capture, ChannelSkews, Clock, Entry, EntryId, SessionId, Store};
use crate::web::api::log::with_store;
use crate::web::clock_view::{ClockView, one};
use crate::web::error::{Failure, PageFailure};
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::workflow::runs::Member;

/// Half the width of a figure of the shared line, in samples of the coarser instrument.
const FIGURE_SAMPLES: f64 = 12.0;
/// Steps by hand, in samples.
const STEPS: [f64; 4] = [-10.0, -1.0, 1.0, 10.0];

/// The page's name among the places.
const HERE: &str = "Clocks";

#[derive(Template)]
#[template(path = "pages/clocks.html")]
struct ClocksPage {
    places: Places,
    id: i64,
    title: String,
    heading: Heading,
    /// Why the captures could not be read.
    trouble: Option<String>,
    /// Lines that captures of the session may be joined by.
    names: Vec<String>,
    /// Something is wrong with how they were joined: where it is said otherwise stands open.
    is_asked: bool,
    /// Captures under the condition in hand.
    captures: Vec<CaptureView>,
    findings: Vec<FindingView>,
    skews: Vec<SkewView>,
    measures: Vec<Measure>,
    undo: Option<Action>,
}

struct CaptureView {
    file: String,
    path: String,
    /// How its clock lies.
    says: String,
    trouble: String,
    /// What was done because it was said of an earlier run, and what undoes it, as JSON; both empty where nothing was.
    as_before: String,
    apart_json: String,
    /// It can be brought to another's clock, or is.
    others: Vec<Choice>,
    on: String,
    shift_s: String,
    json: String,
    steps: Vec<StepView>,
    sample: String,
    figures: Vec<FigureView>,
}

struct Choice {
    value: String,
    words: String,
    is_set: bool,
}

struct StepView {
    words: String,
    samples: String,
    json: String,
}

struct FigureView {
    path: String,
    caption: String,
}

struct FindingView {
    title: String,
    detail: String,
    is_bad: bool,
    try_next: Vec<String>,
}

/// What is known of one instrument's channels.
struct SkewView {
    /// Empty: nobody named it.
    instrument: String,
    /// The capture it was measured from.
    from: String,
    /// Channel, and how late it is.
    channels: Vec<(String, String)>,
    /// What takes them away, as JSON.
    json: String,
}

struct Measure {
    file: String,
    /// The instrument that recorded it; empty: nobody named it.
    instrument: String,
    json: String,
}

/// The page of the run that is shown.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
) -> Result<Html<String>, PageFailure> {
    let session = SessionId(id);
    open(&app, session, &shown, HERE).await?;
    let (opened, trouble) = opened_or_trouble(app.opened_now(session).await)?;
    let which = opened.as_deref().map(Opened::which).or(shown.which()?);
    let html = with_store(app, move |store| {
        let mut page = view(store, session, opened.as_deref())?;
        page.heading = Heading::of(store, session, which, HERE)?.with_runs(opened.as_deref(), HERE);
        page.trouble = trouble;
        page.places = page.places.following(&shown)?;
        Ok(page.render()?)
    });
    Ok(Html(html.await?))
}

fn view(store: &Store, session: SessionId, opened: Option<&Opened>) -> Result<ClocksPage, Failure> {
    // Where nothing can be read, what is in hand.
    let present = match opened {
        Some(opened) => opened.captures.clone(),
        None => store.present_captures(session)?,
    };
    let clocks: Vec<Entry<Clock>> = store.entries(session)?;
    let skews: Vec<Entry<ChannelSkews>> = store.entries(session)?;
    let all: Vec<Entry<Capture>> = store.entries(session)?;
    let file = |id: EntryId| {
        all.iter()
            .find(|entry| entry.id == id)
            .map(|entry| entry.value.file.clone())
    };
    let findings = opened.map_or(&[][..], |opened| &opened.report.findings);
    let findings = findings.iter().filter(|finding| finding.topic == "alignment");
    let actions = store.actions(session, 1)?;
    Ok(ClocksPage {
        places: Places::of(session, HERE),
        id: session.0,
        title: store.session(session)?.body.title,
        heading: Heading::none(),
        trouble: None,
        names: opened.map(names).unwrap_or_default(),
        is_asked: findings.clone().any(|finding| finding.severity != Severity::Note),
        captures: present
            .iter()
            .enumerate()
            .map(|(position, entry)| {
                capture_view(
                    opened,
                    &present,
                    position,
                    clocks.iter().find(|c| c.value.capture == entry.id),
                    opened.and_then(|opened| one(opened, &present, &clocks, position)),
                )
            })
            .collect(),
        findings: findings
            .map(|finding| FindingView {
                title: finding.title.clone(),
                detail: finding.detail.clone(),
                is_bad: finding.severity != Severity::Note,
                try_next: finding.try_next.iter().map(|step| on_this_page(step)).collect(),
            })
            .collect(),
        skews: skews
            .iter()
            .map(|entry| &entry.value)
            .filter(|skews| !skews.late_s.is_empty())
            .map(|skews| SkewView {
                instrument: skews.instrument.clone(),
                from: skews.capture.and_then(file).unwrap_or_default(),
                channels: skews
                    .late_s
                    .iter()
                    .map(|(line, late)| (line.clone(), late_words(*late)))
                    .collect(),
                json: json!({ "capture": null, "instrument": skews.instrument, "late_s": {} }).to_string(),
            })
            .collect(),
        measures: all
            .iter()
            .map(|entry| Measure {
                file: entry.value.file.clone(),
                instrument: entry.value.instrument.clone(),
                json: json!({ "capture": entry.id, "late_s": {} }).to_string(),
            })
            .collect(),
        undo: actions.into_iter().find(|action| !action.undone),
    })
}

/// Lines by their own files' names, of all runs.
fn names(opened: &Opened) -> Vec<String> {
    let reports = opened.runs.iter().map(|run| &run.report).chain([&opened.report]);
    let of = |report: &InspectReport| {
        report
            .lines
            .iter()
            .map(|row| report.signal(&row.line))
            .collect::<Vec<_>>()
    };
    let names: BTreeSet<String> = reports.flat_map(of).collect();
    names.into_iter().collect()
}

/// Advice that sends the reader to the page that it stands on.
fn on_this_page(step: &str) -> String {
    let there = ["On the page Clocks, ", "On the page Clocks "];
    let here = there.iter().find_map(|there| step.strip_prefix(there));
    here.map_or_else(
        || step.to_owned(),
        |rest| format!("Under the capture above, {rest}"),
    )
}

fn late_words(late_s: f64) -> String {
    match late_s {
        0.0 => "neither late nor early".to_owned(),
        late if late > 0.0 => format!("{} late", seconds(late)),
        early => format!("{} early", seconds(-early)),
    }
}

fn capture_view(
    opened: Option<&Opened>,
    present: &[Entry<Capture>],
    position: usize,
    clock: Option<&Entry<Clock>>,
    movable: Option<ClockView>,
) -> CaptureView {
    let entry = &present[position];
    let placed = opened.and_then(|opened| {
        opened
            .clocks
            .iter()
            .find(|placed| placed.member.position == position)
    });
    let member = placed.map(|placed| &placed.member);
    let first = placed.and_then(|placed| {
        let run = opened?.clocks.iter().filter(|other| other.run == placed.run);
        run.map(|other| other.member.position).min()
    });
    let is_first = first == Some(position);
    let told = clock.map(|clock| &clock.value);
    let with = match told {
        Some(clock) => clock.with,
        None => first.filter(|_| !is_first).map(|first| present[first].id),
    };
    let on: Vec<String> = match told {
        Some(clock) => clock.on.clone(),
        None => member.map(|member| member.on.clone()).unwrap_or_default(),
    };
    let shift_s = told.map_or(0.0, |clock| clock.shift_s);
    let sample_s = placed.map_or(0.0, |placed| placed.sample_s);
    let unreadable = opened.and_then(|opened| opened.unreadable.iter().find(|u| u.capture == entry.id));
    let trouble = member
        .and_then(|member| member.trouble.clone())
        .or_else(|| unreadable.map(|u| u.sentence.clone()))
        .unwrap_or_default();
    let says = match (member, is_first) {
        (None, _) => String::new(),
        (Some(_), true) if !trouble.is_empty() => "It stands alone.".to_owned(),
        (Some(_), true) => match placed.is_some_and(|placed| placed.is_shown) {
            true => "Its clock is the session's.".to_owned(),
            false => other_run(opened, present, position),
        },
        (Some(member), false) => alignment_words(member),
    };
    let others = present.iter().enumerate().filter(|(other, _)| *other != position);
    let tried = member.and_then(|member| member.tried.as_ref());
    let is_done = tried.is_some_and(|tried| tried.trouble.is_none());
    CaptureView {
        as_before: tried.map_or_else(String::new, |tried| {
            let says = tried.says(&entry.value.file);
            says.replace("say on the page Clocks that", "say here that")
        }),
        apart_json: match is_done {
            true => json!({ "capture": entry.id, "with": null, "on": [], "shift_s": 0.0 }).to_string(),
            false => String::new(),
        },
        file: entry.value.file.clone(),
        path: format!("/sessions/{}/captures/{}", entry.session, entry.id),
        says,
        trouble,
        others: std::iter::once(Choice {
            value: String::new(),
            words: "a run of its own".to_owned(),
            is_set: with.is_none(),
        })
        .chain(others.map(|(_, other)| Choice {
            value: other.id.to_string(),
            words: other.value.file.clone(),
            is_set: with == Some(other.id),
        }))
        .collect(),
        on: on.join(", "),
        shift_s: shift_s.to_string(),
        json: json!({ "capture": entry.id }).to_string(),
        steps: movable.as_ref().map(steps).unwrap_or_default(),
        sample: seconds(sample_s),
        figures: match (
            opened,
            member,
            movable.is_some() && placed.is_some_and(|placed| placed.is_shown),
        ) {
            (Some(opened), Some(member), true) => figures(opened, member),
            _ => Vec::new(),
        },
    }
}

/// Of the first capture of a run that is not shown.
fn other_run(opened: Option<&Opened>, present: &[Entry<Capture>], position: usize) -> String {
    let clocks = opened.map_or(&[][..], |opened| &opened.clocks);
    let run = clocks.iter().find(|placed| placed.member.position == position);
    let of_run = clocks
        .iter()
        .filter(|placed| Some(placed.run) == run.map(|run| run.run));
    let others = of_run.filter(|placed| placed.member.position != position);
    let others: Vec<&str> = others
        .filter_map(|placed| present.get(placed.member.position))
        .map(|entry| entry.value.file.as_str())
        .collect();
    match others.as_slice() {
        [] => "A run of its own: counted in Before and after, not laid over the others.".to_owned(),
        laid => format!(
            "The first of a run that is not shown now: {} laid over it. The run is counted in Before and after.",
            match laid {
                [one] => format!("{one} is"),
                many => format!("{} are", many.join(", ")),
            }
        ),
    }
}

/// What is sent to move a capture by some samples.
fn steps(clock: &ClockView) -> Vec<StepView> {
    let step = |samples: f64| StepView {
        words: format!(
            "{samples:+} {}",
            if samples.abs() == 1.0 { "sample" } else { "samples" }
        ),
        samples: samples.to_string(),
        json: json!({
            "capture": clock.capture,
            "with": clock.with,
            "on": clock.on,
            "shift_s": clock.shift_s + samples * clock.sample_s,
        })
        .to_string(),
    };
    STEPS.map(step).into()
}

fn alignment_words(member: &Member) -> String {
    let a = &member.alignment;
    let hand = match member.shift_s {
        0.0 => String::new(),
        shift => format!(", of which {} by hand", by_hand(shift)),
    };
    if member.on.is_empty() {
        return match member.shift_s {
            0.0 => "No line joins it to the first: its times stand as they were recorded.".to_owned(),
            shift => format!(
                "No line joins it to the first: moved by {} by hand.",
                by_hand(shift)
            ),
        };
    }
    format!(
        "Brought to the clock by {}: offset {} ± {}{hand}, drift {:+.3} ± {:.3} ppm, {} edges matched.",
        member.on.join(", "),
        exact(a.offset_s),
        seconds(1.96 * a.middle_se_s),
        a.drift_ppm,
        1.96 * a.drift_se_ppm,
        a.matched
    )
    .replace(": offset -", ": offset −")
    .replace(", drift -", ", drift −")
}

/// The shared line as both instruments saw it, early and late.
fn figures(opened: &Opened, member: &Member) -> Vec<FigureView> {
    let Some(on) = member.on.first() else {
        return Vec::new();
    };
    let (here, there) = on.split_once('=').unwrap_or((on, on));
    let lines = &opened.capture.lines;
    let find = |name: &str, own: bool| {
        let is_it = |line: &crate::model::Line| {
            let is_of = (line.capture == opened.place_in_run(member.position)) == own;
            is_of && (line.name == name.trim() || line.name.ends_with(&format!("/{}", name.trim())))
        };
        lines.iter().position(is_it)
    };
    let (Some(a), Some(b)) = (find(here, false), find(there, true)) else {
        return Vec::new();
    };
    let reach = (FIGURE_SAMPLES * lines[a].sample_ticks.max(lines[b].sample_ticks).max(1.0)) as i64;
    let edges = &lines[b].edges;
    let origin = opened.origin().0;
    let places = [(edges.len() / 10, "early"), (edges.len() * 9 / 10, "late")];
    let figure = |(edge, words): (usize, &str)| {
        let at = edges.get(edge)?.0 - origin;
        let caption = format!("{} and {} {words} in the run.", lines[a].name, lines[b].name);
        Some(FigureView {
            path: format!(
                "/sessions/{}/figure.svg?{}&start={}&end={}&lines={a},{b}&caption={}",
                opened.id,
                opened.query(),
                at - reach,
                at + reach,
                escape_query(&caption)
            ),
            caption,
        })
    };
    places.into_iter().filter_map(figure).collect()
}
