//! Source and far end: declared links, each pulse of them, and links that nobody declared yet.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Html;
use serde_json::json;

use super::Places;
use super::heading::{Heading, open};
use crate::model::units::{Bound, count_of, moment, percent_to_tenths, seconds_bound};
use crate::report::inspect::{Finding, LinkRow, PermutationRow, PermutedBit, Severity};
use crate::report::text::seconds;
use crate::setup::Setup;
use crate::store::{Action, SessionId};
use crate::web::api::log::with_store;
use crate::web::error::{Failure, PageFailure};
use crate::web::not_judged::unjudged_link;
use crate::web::occurrences::{Occurrence, occurrences};
use crate::web::opened::Opened;
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::web::view::{Histogram, bars};
use crate::workflow::links::{PulseFate, pulses};

/// Lost pulses that are drawn on the page; the rest are listed with a way to the diagram.
const MOST_FIGURES: usize = 2;
/// Pulses listed for one link; all of them are in the interface for programs.
const MOST_PULSES: usize = 400;

/// The page's name among the places.
const HERE: &str = "Source and far end";

#[derive(Template)]
#[template(path = "pages/links.html")]
struct LinksPage {
    places: Places,
    id: i64,
    title: String,
    heading: Heading,
    has_captures: bool,
    /// Why the captures could not be read.
    trouble: Option<String>,
    permutations: Vec<PermutationView>,
    links: Vec<LinkView>,
    /// Declared, but not to be checked: not among the captured lines, or on clocks that nothing joins.
    unseen: Vec<Unseen>,
    proposals: Vec<ProposalView>,
    names: Vec<String>,
    undo: Option<Action>,
}

/// Where the bits of a bus, or some links, arrive instead.
struct PermutationView {
    order: String,
    title: String,
    says: &'static str,
    bits: Vec<BitView>,
}

struct BitView {
    from: String,
    to: String,
    arrives_at: String,
    is_elsewhere: bool,
    counts: String,
}

struct LinkView {
    from: String,
    to: String,
    verdict: String,
    /// Class: `bad` or `fine`.
    tone: &'static str,
    says: Vec<String>,
    figures: String,
    histogram: Option<Histogram>,
    better: String,
    try_next: Vec<String>,
    ghosts: Vec<Ghost>,
    pulses: Vec<PulseView>,
    /// Pulses beyond those listed.
    more: usize,
    /// All of them, for programs.
    all: String,
    /// What takes the declaration back, as JSON; empty for a bit of a bus.
    json: String,
}

struct Ghost {
    figure: String,
    show: String,
    caption: String,
}

struct PulseView {
    fate: &'static str,
    at: String,
    width: String,
    delay: String,
    show: String,
}

struct Unseen {
    words: String,
    why: String,
    /// As in [`LinkView`].
    json: String,
}

struct ProposalView {
    words: String,
    json: String,
}

/// The page, each declared link checked as the setup stands now.
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
        let body = store.session(session)?.body;
        let setup = Setup::parse(&body.setup, "the session's setup").unwrap_or_default();
        let view = opened.as_deref().map(|opened| links(opened, &setup, id));
        let seen = |from: &str, to: &str| {
            opened
                .as_deref()
                .is_some_and(|opened| crate::analysis::links::expand(&opened.capture, from, to).is_ok())
        };
        let unseen = setup.links.iter().filter(|link| !seen(&link.from, &link.to));
        let notes = opened.iter().flat_map(|opened| &opened.report.findings);
        // Declared between captures whose clocks nothing joins; not the two lines by which their clocks were joined.
        let is_of_link = |finding: &&Finding| unjudged_link(finding).is_some();
        // A bit of a bus is declared with the bus.
        let taken_back = |from: &str, to: &str| {
            let mut links = setup.links.iter();
            match links.any(|link| link.from == from && link.to == to) {
                true => json!({ "from": from, "to": to }).to_string(),
                false => String::new(),
            }
        };
        let unjoined = notes.filter(is_of_link);
        let unjoined: Vec<Unseen> = unjoined
            .map(|finding| Unseen {
                words: format!("{} to {}", finding.lines[0], finding.lines[1]),
                why: format!("{}. {}", finding.title, finding.try_next.join(" ")),
                json: taken_back(&finding.lines[0], &finding.lines[1]),
            })
            .collect();
        let actions = store.actions(session, 1)?;
        let page = LinksPage {
            places: Places::of(session, HERE).following(&shown)?,
            id,
            title: body.title,
            heading: Heading::of(store, session, which, HERE)?.with_runs(opened.as_deref(), HERE),
            has_captures: opened.is_some(),
            trouble,
            permutations: opened.as_deref().map(permutations).unwrap_or_default(),
            links: view.unwrap_or_default(),
            unseen: unseen
                .map(|link| Unseen {
                    words: format!("{} to {}", link.from, link.to),
                    why: "Declared, but not both ends are among the captured lines.".to_owned(),
                    json: json!({ "from": link.from, "to": link.to }).to_string(),
                })
                .chain(unjoined)
                .collect(),
            proposals: opened.as_deref().map(proposals).unwrap_or_default(),
            names: opened.as_deref().map(names).unwrap_or_default(),
            undo: actions.into_iter().find(|action| !action.undone),
        };
        Ok(page.render()?)
    });
    Ok(Html(html.await?))
}

/// What was read, or the sentence that says why nothing could be.
///
/// # Errors
/// What is not the captures' fault.
pub(super) fn opened_or_trouble(
    opened: Result<Option<Arc<Opened>>, Failure>,
) -> Result<(Option<Arc<Opened>>, Option<String>), Failure> {
    match opened {
        Ok(opened) => Ok((opened, None)),
        Err(failure) if failure.status == StatusCode::BAD_REQUEST => Ok((None, Some(failure.sentence))),
        Err(failure) => Err(failure),
    }
}

fn permutations(opened: &Opened) -> Vec<PermutationView> {
    let bit = |bit: &PermutedBit| BitView {
        from: bit.from.clone(),
        to: bit.to.clone(),
        is_elsewhere: bit.arrives_at.as_ref() != Some(&bit.to),
        arrives_at: bit
            .arrives_at
            .clone()
            .unwrap_or_else(|| "no captured line".to_owned()),
        counts: format!("{} of {}", bit.arrived, bit.sent),
    };
    let view = |row: &PermutationRow| PermutationView {
        order: row.order.clone(),
        title: match (&row.from, &row.to) {
            (Some(from), Some(to)) => format!("{from} to {to}"),
            _ => row
                .bits
                .iter()
                .map(|bit| bit.from.as_str())
                .collect::<Vec<_>>()
                .join(", "),
        },
        says: match row.order.as_str() {
            "swapped" => "Wires in each other's place.",
            "reversed" => "The opposite order, as from a cable turned over.",
            "rotated" => "All by as many places; what falls off one end comes in at the other.",
            "shifted" => "All that arrive by as many places, as from a connector put in beside its place.",
            _ => "In no simple order: compare the pins one by one.",
        },
        bits: row.bits.iter().map(bit).collect(),
    };
    opened.report.permutations.iter().map(view).collect()
}

fn names(opened: &Opened) -> Vec<String> {
    let buses = opened.capture.buses.iter().map(|bus| bus.name.clone());
    let lines = opened.capture.lines.iter().map(|line| line.name.clone());
    buses.chain(lines).collect()
}

fn proposals(opened: &Opened) -> Vec<ProposalView> {
    let view = |p: &crate::report::inspect::ProposalRow| ProposalView {
        words: format!(
            "{} looks like the far end of {}{}: {:.1} % of their edges match, {} later; {} % of the pulses sent do not arrive.",
            p.to,
            p.from,
            if p.inverted { ", upside down" } else { "" },
            100.0 * p.alike,
            seconds(p.delay_s),
            percent_to_tenths(p.lost)
        ),
        json: json!({ "from": p.from, "to": p.to, "max_delay": "", "inverted": p.inverted }).to_string(),
    };
    opened.report.proposals.iter().map(view).collect()
}

fn links(opened: &Opened, setup: &Setup, id: i64) -> Vec<LinkView> {
    opened
        .report
        .links
        .iter()
        .map(|row| link(opened, setup, id, row))
        .collect()
}

/// A link's findings and the moments that the diagram can go to.
struct Told<'a> {
    /// All that blame it or an end of it.
    findings: Vec<&'a Finding>,
    /// The identifier of the one that is about the link itself.
    id: &'a str,
    moments: &'a [Occurrence],
    /// Name the condition in what is asked for of it, with what it rests on and without.
    query: String,
    named: String,
}

impl<'a> Told<'a> {
    fn of(opened: &'a Opened, row: &LinkRow) -> Told<'a> {
        let about = |finding: &&Finding| {
            let names = |end: &String| finding.lines.contains(end);
            finding.topic == "link"
                && finding.severity != Severity::Note
                && names(&row.from)
                && names(&row.to)
        };
        let findings: Vec<&Finding> = opened.report.findings.iter().filter(about).collect();
        let own = findings
            .iter()
            .find(|f| f.lines.first() == Some(&row.from) && f.lines.get(1) == Some(&row.to));
        Told {
            id: own.map_or("", |finding| finding.id.as_str()),
            moments: own
                .map(|finding| occurrences(opened, finding))
                .unwrap_or_default(),
            findings,
            query: opened.query(),
            named: opened.which().query(),
        }
    }

    /// The diagram at moment `k` of session `id`.
    fn show(&self, id: i64, k: usize) -> String {
        format!(
            "/sessions/{id}?{}&finding={}&occurrence={}",
            self.named,
            self.id,
            k + 1
        )
    }

    /// The figures of the first moments.
    fn ghosts(&self, id: i64) -> Vec<Ghost> {
        let figures = self.moments.iter().take(MOST_FIGURES).enumerate();
        let ghost = |(k, occurrence): (usize, &Occurrence)| Ghost {
            figure: format!(
                "/sessions/{id}/findings/{}/figure.svg?{}&occurrence={}",
                self.id,
                self.query,
                k + 1
            ),
            show: self.show(id, k),
            caption: occurrence.caption.clone(),
        };
        figures.map(ghost).collect()
    }

    /// What to try, each thing once.
    fn try_next(&self) -> Vec<String> {
        let mut steps: Vec<String> = Vec::new();
        for step in self.findings.iter().flat_map(|finding| &finding.try_next) {
            if !steps.contains(step) {
                steps.push(step.clone());
            }
        }
        steps
    }
}

fn link(opened: &Opened, setup: &Setup, id: i64, row: &LinkRow) -> LinkView {
    let told = Told::of(opened, row);
    let is_lossy = row.verdict.starts_with("lossy") || row.verdict == "noisy";
    let all = pulses(&opened.capture, setup, &row.from, &row.to).unwrap_or_default();
    let listed = all.iter().take(MOST_PULSES);
    let is_declared = setup
        .links
        .iter()
        .any(|link| link.from == row.from && link.to == row.to);
    LinkView {
        verdict: match row.verdict.as_str() {
            "nothing-sent" => "can't tell: nothing was sent".to_owned(),
            verdict => verdict.to_owned(),
        },
        tone: match row.verdict.as_str() {
            "intact" => "fine",
            // Neither end moved: nothing good or bad can be said.
            "nothing-sent" => "open",
            _ => "bad",
        },
        says: told
            .findings
            .iter()
            .map(|finding| finding.title.clone())
            .collect(),
        figures: link_figures(row),
        histogram: row.delay_histogram.as_ref().map(|h| {
            let words = format!("{} by their delay.", count_of(h.counts.iter().sum(), "pulse"));
            bars(h, "delay from source to far end".to_owned(), words)
        }),
        better: row.better_match.as_ref().map_or(String::new(), |b| {
            format!(
                "{} of {} pulses arrive on {} instead, {} later.",
                b.arrived.min(row.sent),
                row.sent,
                b.line,
                seconds(b.delay_s)
            )
        }),
        try_next: told.try_next(),
        ghosts: if is_lossy { told.ghosts(id) } else { Vec::new() },
        pulses: listed.map(|pulse| pulse_view(opened, &told, id, pulse)).collect(),
        more: all.len().saturating_sub(MOST_PULSES),
        all: format!(
            "/api/sessions/{id}/links/pulses?{}&from={}&to={}",
            opened.which().query(),
            escape_query(&row.from),
            escape_query(&row.to)
        ),
        json: match is_declared {
            true => json!({ "from": row.from, "to": row.to }).to_string(),
            false => String::new(),
        },
        from: row.from.clone(),
        to: row.to.clone(),
    }
}

/// What was counted on a link, on one line.
fn link_figures(row: &LinkRow) -> String {
    let delay = row.delay_s.map_or(String::new(), |d| {
        format!(
            " · delay {} (median's 95 % interval {} to {})",
            seconds(d.median),
            seconds_bound(d.low, Bound::Lower),
            seconds_bound(d.high, Bound::Upper)
        )
    });
    let lost = row.missing_s.len() - row.late.len();
    let late = match row.late.len() {
        0 => String::new(),
        n => format!("{n} too late · "),
    };
    format!(
        "{} sent · {} arrived · {late}{lost} lost · {} that nobody sent · {} of another width{delay}{}",
        row.sent,
        row.arrived,
        row.extra_s.len(),
        row.distorted.len(),
        row.far_end
            .as_ref()
            .map(|end| format!(" · the far end {end}"))
            .unwrap_or_default(),
    )
}

/// One pulse of the list: what became of it, and where the diagram shows it.
fn pulse_view(opened: &Opened, told: &Told, id: i64, pulse: &PulseFate) -> PulseView {
    let at = opened.ticks_at(pulse.start_s);
    let is_lost = matches!(pulse.fate, "missing" | "extra");
    let told_at = told.moments.iter().position(|o| o.from == at && is_lost);
    PulseView {
        fate: match pulse.fate {
            "missing" => "never arrived",
            "extra" => "nobody sent it",
            "another-width" => "another width",
            other => other,
        },
        at: moment(pulse.start_s),
        width: match pulse.width_arrived_s {
            Some(arrived) => format!("{}, {} there", seconds(pulse.width_s), seconds(arrived)),
            None => seconds(pulse.width_s),
        },
        delay: pulse.delay_s.map(seconds).unwrap_or_default(),
        show: match told_at {
            Some(k) => told.show(id, k),
            // A stretch a little wider than the pulse and its delay.
            None => format!(
                "/sessions/{id}?{}&at_s={}&span_s={}",
                told.named,
                pulse.start_s + pulse.width_s / 2.0,
                (4.0 * (pulse.width_s + pulse.delay_s.unwrap_or(0.0).abs())).max(1e-12)
            ),
        },
    }
}

/// A name inside the query of an address (RFC 3986, section 2.1).
pub fn escape_query(name: &str) -> String {
    let mut text = String::with_capacity(name.len());
    for byte in name.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => text.push(byte as char),
            other => text.push_str(&format!("%{other:02X}")),
        }
    }
    text
}
