//! Before and after: two conditions compared, and the history of each trouble over all of them.

mod sides;

use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::extract::{Path, Query, RawQuery, State};
use axum::response::Html;

use self::sides::Sides;
use super::Places;
use super::next_capture::NextCapture;
use crate::model::units::{self, Bound, percent_bound, percent_to_tenths};
use crate::report::compare::TroubleKind;
use crate::store::{Capture, SessionId, Store};
use crate::web::error::{Failure, PageFailure};
use crate::web::history::{Point, history};
use crate::web::shown::Shown;
use crate::web::state::App;
use crate::web::view::CaptureLink;
use crate::web::work::Stage;
use crate::workflow::compare::{
    Judged, Still, absent, advice, judge_all, notes, rate, share, share_bound, still, tally, what,
};
use crate::workflow::session::RunTallies;

/// Captures that are counted this fast are shown at once; else the page tells how far it is and looks again.
const AT_ONCE: Duration = Duration::from_millis(600);

#[derive(Template)]
#[template(path = "pages/before_after.html")]
struct BeforeAfterPage {
    places: Places,
    id: i64,
    /// What the address names, to be kept in it; empty where it names none.
    condition: String,
    title: String,
    next: NextCapture,
    /// How far the counting is; the page looks again.
    going_on: Option<String>,
    trouble: Option<String>,
    comparison: Option<Comparison>,
    /// Captures that are not counted: what is to be read of each, and its page.
    unreadable: Vec<(String, CaptureLink)>,
}

/// Two sides and what came of them; also a part of the printed report.
pub struct Comparison {
    pub before: Vec<Choice>,
    pub after: Vec<Choice>,
    pub runs: Vec<RunChoice>,
    /// Says what to do where there is nothing to compare yet.
    pub wants: String,
    /// Why the side before is not the condition just before; empty where it is, or was asked for.
    pub passed_over: String,
    /// What takes the ground from under the verdicts.
    pub notes: Vec<String>,
    /// Lines that moved on one side only.
    pub still: Vec<String>,
    /// Lines that were captured on one side only.
    pub absent: Vec<String>,
    pub headline: String,
    /// What to do with the change as a whole.
    pub advice: String,
    pub troubles: Vec<TroubleView>,
    /// Watched on both sides, and wrong on neither.
    pub clean: Vec<String>,
    pub captures: String,
    /// Why the counts are not those of Findings.
    pub pooled: String,
}

/// One choice of a list.
pub struct Choice {
    pub value: String,
    pub words: String,
    pub is_set: bool,
}

/// A run that can stand on either side.
pub struct RunChoice {
    pub value: String,
    pub words: String,
    pub is_before: bool,
    pub is_after: bool,
}

/// One trouble, judged.
pub struct TroubleView {
    pub verdict: &'static str,
    /// Class: `bad`, `open` or `fine`.
    pub tone: &'static str,
    pub says: String,
    pub figures: String,
    /// SVG without anything of a name that is not escaped: made by `web::history`.
    pub history: String,
    pub next: String,
}

/// The page; it waits a moment for the counting, then shows how far that is.
pub async fn page(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Query(shown): Query<Shown>,
    RawQuery(query): RawQuery,
) -> Result<Html<String>, PageFailure> {
    let session = SessionId(id);
    let mut stages = app.start_counting(session);
    let over = tokio::time::timeout(AT_ONCE, stages.wait_for(|stage| !matches!(stage, Stage::Step(_))));
    let (mut going_on, mut trouble) = (None, None);
    match over.await.map(|stage| stage.map(|stage| stage.clone())) {
        Ok(Ok(Stage::Failed(sentence))) => trouble = Some(sentence),
        Ok(_) => {}
        Err(_) => {
            going_on = Some(match &*stages.borrow() {
                Stage::Step(step) => match step.share {
                    Some(share) => format!("{}, {:.0} % of it", step.says, share * 100.0),
                    None => step.says.clone(),
                },
                _ => "Nearly done".to_owned(),
            });
        }
    }
    let html = tokio::task::spawn_blocking(move || {
        let counted = app.counted(session)?;
        let comparison = match &counted {
            Some(all) => Some(comparison(&app.store, session, all, &query.unwrap_or_default())?),
            None => None,
        };
        let unreadable = counted.into_iter().flat_map(|all| all.unreadable);
        let unreadable = unreadable.map(|u| (u.sentence, CaptureLink::new(session, u.capture, &u.file)));
        let is_empty = app.store.entries::<Capture>(session)?.is_empty();
        if is_empty {
            trouble = None;
        }
        let page = BeforeAfterPage {
            places: Places::of(session, "Before and after").following(&shown)?,
            id,
            condition: shown.condition_named().to_owned(),
            next: NextCapture::of(
                &app.store,
                session,
                shown.which()?.and_then(|which| which.condition),
            )?,
            title: app.store.session(session)?.body.title,
            going_on,
            trouble,
            comparison,
            unreadable: unreadable.collect(),
        };
        Ok::<_, PageFailure>(page.render()?)
    });
    Ok(Html(html.await??))
}

/// The sides that `query` names, or the condition that it names (else the newest) against the one before it or the last in
/// which its troubles were shown, with each trouble judged.
///
/// # Errors
/// No such session, or the disk's own.
pub fn comparison(
    store: &Store,
    id: SessionId,
    all: &RunTallies,
    query: &str,
) -> Result<Comparison, Failure> {
    let sides = Sides::of(store, id, all, query)?;
    let (before, after) = (&sides.before[..], &sides.after[..]);
    let judged = match sides.are_chosen() {
        true => judge_all(&all.tallies, before, after),
        false => Vec::new(),
    };
    // What changed stands first.
    let mut seen: Vec<&Judged> = judged.iter().filter(|j| j.is_seen()).collect();
    seen.sort_by_key(|j| match j.judgement.verdict.word() {
        "gone" | "worse" => 0,
        "reduced" => 1,
        _ => 2,
    });
    let clean = judged
        .iter()
        .filter(|j| !j.is_seen() && j.after.opportunities > 0);
    Ok(Comparison {
        before: sides.choices(before),
        after: sides.choices(after),
        runs: sides.run_choices(),
        wants: sides.wants(),
        passed_over: sides.passed_over.clone(),
        notes: sides
            .unknown
            .iter()
            .cloned()
            .chain(notes(&all.tallies, before, after))
            .collect(),
        still: still(&all.tallies, before, after)
            .iter()
            .map(Still::says)
            .collect(),
        absent: absent(&all.tallies, before, after),
        headline: match sides.are_chosen() {
            true => headline(&judged, &sides.name(before), &sides.name(after)),
            false => String::new(),
        },
        advice: advice(&judged),
        troubles: seen
            .iter()
            .map(|j| trouble_view(j, &sides.points(j), &sides.earlier(j)))
            .collect(),
        clean: clean
            .map(|j| format!("{}{}", j.says, sides.elsewhere(j)))
            .collect(),
        captures: match sides.are_chosen() {
            false => String::new(),
            true => format!(
                "before: {} · after: {}",
                sides.files_of(before),
                sides.files_of(after)
            ),
        },
        pooled: match sides.are_chosen() {
            false => String::new(),
            true => pooled(before.len(), after.len()),
        },
    })
}

/// Why the counts of so many runs on either side are not those of Findings.
fn pooled(before: usize, after: usize) -> String {
    let runs = |count: usize| units::count_of(count as u64, "run");
    let together = match (before, after) {
        (1, 1) => "Findings counts by a stricter rule: it".to_owned(),
        _ => format!(
            "The counts are those of {} before and {} after together; Findings shows one run at a time, and",
            runs(before),
            runs(after)
        ),
    };
    format!(
        "{together} leaves out edges beside the line's own pulses, so its figures differ. What you judge by hand counts in both."
    )
}

/// What came of it, in a sentence or two.
fn headline(judged: &[Judged], before: &str, after: &str) -> String {
    let of = |verdict: &str| {
        let same = judged
            .iter()
            .filter(|j| j.is_seen() && j.judgement.verdict.word() == verdict);
        same.collect::<Vec<_>>()
    };
    let names = |list: &[&Judged]| {
        list.iter()
            .map(|j| what(j.trouble))
            .collect::<Vec<_>>()
            .join("; ")
    };
    let (fresh, worse): (Vec<&Judged>, Vec<&Judged>) = of("worse").into_iter().partition(|j| j.is_new());
    let (back, worse): (Vec<&Judged>, Vec<&Judged>) = worse.into_iter().partition(|j| j.is_back());
    let (gone, so_far): (Vec<&Judged>, Vec<&Judged>) =
        of("gone").into_iter().partition(|j| j.is_gone_for_good());
    let (away, so_far): (Vec<&Judged>, Vec<&Judged>) = so_far.into_iter().partition(|j| j.is_unlike);
    let (shallower, unchanged): (Vec<&Judged>, Vec<&Judged>) =
        of("unchanged").into_iter().partition(|j| j.is_shallower());
    let mut parts = Vec::new();
    for (list, word) in [
        (fresh, "New"),
        (back, "Back again"),
        (worse, "Worse"),
        (gone, "Gone"),
        (so_far, "None so far, too few to call it gone"),
        (away, "None so far, though not every run showed it before"),
        (of("reduced"), "Fewer"),
        (shallower, "As often, and less deep"),
        (unchanged, "Unchanged"),
        (of("undecided"), "Not to be told yet"),
    ] {
        if !list.is_empty() {
            parts.push(format!("{word}: {}.", names(&list)));
        }
    }
    if parts.is_empty() {
        return format!("From \"{before}\" to \"{after}\": no trouble stands on either side.");
    }
    format!("From \"{before}\" to \"{after}\". {}", parts.join(" "))
}

/// `earlier`: where else it went wrong, of one that came back.
fn trouble_view(j: &Judged, points: &[Point], earlier: &str) -> TroubleView {
    let verdict = j.judgement.verdict.word();
    let words: Vec<String> = points
        .iter()
        .map(|p| format!("{}: {}", p.name, p.counts))
        .collect();
    TroubleView {
        verdict: match verdict {
            "worse" if j.is_new() => "new",
            "gone" if !j.is_gone_for_good() => "none so far",
            _ if j.is_shallower() => "less deep",
            _ if j.is_deeper() => "deeper",
            _ => verdict,
        },
        tone: match verdict {
            "gone" if !j.is_gone_for_good() => "open",
            "gone" | "reduced" => "fine",
            _ if j.is_shallower() => "fine",
            _ if j.is_deeper() => "bad",
            "undecided" => "open",
            _ => "bad",
        },
        says: format!("{}{earlier}", j.says),
        figures: trouble_figures(j),
        history: history(
            &format!("{} by condition. {}.", subject(j), words.join("; ")),
            points,
            j.trouble.slot_s,
        ),
        next: j.next(),
    }
}

/// Counts, rates with their intervals, ratio and p of one trouble, on one line.
fn trouble_figures(j: &Judged) -> String {
    let (judgement, slot_s) = (&j.judgement, j.trouble.slot_s);
    let shares = |wrong: u64, of: u64| {
        let row = crate::report::compare::OccasionsRow { wrong, occasions: of };
        let Some(r) = rate(row) else {
            return "no occasion".to_owned();
        };
        let counts = tally(wrong, of, slot_s);
        match slot_s {
            Some(_) => format!(
                "{counts} = {} ({} to {})",
                share(r.estimate, slot_s),
                share_bound(r.low, slot_s, Bound::Lower),
                share_bound(r.high, slot_s, Bound::Upper)
            ),
            None => format!(
                "{counts} = {} % ({}–{} %)",
                percent_to_tenths(r.estimate),
                percent_bound(r.low, Bound::Lower),
                percent_bound(r.high, Bound::Upper)
            ),
        }
    };
    let of_rates = &judgement.ratio;
    let ratio = match of_rates.estimate.is_some() || of_rates.high.is_some() {
        true => format!(
            " · after over before {}",
            units::ratio(of_rates.estimate, of_rates.low, of_rates.high)
        ),
        false => String::new(),
    };
    let (before, after) = (
        shares(j.before.strays, j.before.opportunities),
        shares(j.after.strays, j.after.opportunities),
    );
    if j.before.opportunities == 0 || j.after.opportunities == 0 {
        return format!(
            "before {before} · after {after} (interval two-sided, 95 %); no test without an occasion on each side"
        );
    }
    let leaves_out_one = of_rates.low > 1.0 || of_rates.high.is_some_and(|high| high < 1.0);
    let decides = match judgement.verdict.word() {
        "undecided" if leaves_out_one => ", which decides",
        _ => "",
    };
    format!(
        "before {before} · after {after}{ratio} · exact test {}{decides} (both intervals two-sided, 95 %; \"at most\" above is one-sided)",
        units::p_is(judgement.p_value),
    )
}

fn subject(j: &Judged) -> String {
    match j.trouble.kind {
        TroubleKind::Coupling => format!("Strike rate: {}", what(j.trouble)),
        _ => what(j.trouble),
    }
}
