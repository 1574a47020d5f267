//! Captures under two conditions → what the fix changed.
//!
//! Every trouble is counted in every run by one definition ([`tallies`]); the counts add up, so any two sets of runs
//! are judged from them ([`judge_all`]).

mod advice;
mod apart;
mod bar;
mod baseline;
mod depth;
mod each_other;
mod judged;
mod left_out;
mod limits;
mod names;
mod next;
mod over_time;
mod rails;
mod says;
mod sight;
mod still;
mod tally;
mod uncounted;
mod unlike;

pub use advice::advice;
pub use baseline::{Baseline, baseline, says_why};
pub use judged::{Judged, amount, judge_all, rate, share, share_bound, sum_over, tally, what};
pub use still::{Still, Which, still};
pub use tally::{Counted, tallies};

use std::collections::HashSet;

use crate::analysis::stats::ratio::Ratio;
use crate::model::Capture;
use crate::report::compare::{
    CompareReport, CompareRow, CountsRow, JudgedRow, LinkCompareRow, LossRow, OccasionsRow, RatioRow, SCHEMA,
    Tallies, TroubleCompareRow, TroubleKind,
};
use crate::setup::Setup;

use super::align::{OneClock, by_runs};

/// Compares two conditions. Each capture is a run of its own, unless two instruments recorded one ([`by_runs`]); the runs of
/// a condition add up. `on`: lines that bring the instruments of a run to one clock, each for the files that have it.
///
/// # Errors
/// Where one of `on` brings no two captures of a side to one clock.
pub fn compare(
    before: Vec<Capture>,
    after: Vec<Capture>,
    on: &[String],
    setup: &Setup,
) -> anyhow::Result<CompareReport> {
    let (before, after) = (by_runs(before, on, setup), by_runs(after, on, setup));
    let apart: Vec<(String, String)> = [before.apart, after.apart].concat();
    for on in on {
        let is_joined = [&before.joined_by, &after.joined_by]
            .iter()
            .any(|by| by.contains(on));
        if is_joined {
            continue;
        }
        let of_it = apart.iter().find(|(by, _)| by == on);
        let why = of_it.map_or("no side has two captures to join that have it", |(_, says)| {
            says.as_str()
        });
        anyhow::bail!(
            "expected a line that brings two captures of a side to one clock, found none by {on}: {why}"
        );
    }
    let (before, after) = (before.runs, after.runs);
    let split = before.len();
    fn captures(runs: &[(OneClock, Vec<String>)]) -> Vec<&Capture> {
        runs.iter().map(|(run, _)| &run.capture).collect()
    }
    let not_compared = apart::not_compared(&captures(&before), &captures(&after), setup);
    let (mut runs, mut together) = (Vec::new(), Vec::new());
    for (run, once) in before.into_iter().chain(after) {
        if !once.is_empty() {
            let files: Vec<&str> = run.sources.iter().map(|row| row.file.as_str()).collect();
            together.push(format!(
                "{} recorded one run: what both show of {} is counted once.",
                files.join(" and "),
                once.join(", ")
            ));
        }
        runs.push(Counted {
            capture: run.capture,
            sources: run.sources,
            findings: Vec::new(),
        });
    }
    let sides: [Vec<usize>; 2] = [(0..split).collect(), (split..runs.len()).collect()];
    let mut report = report(&tallies(runs, setup), &sides[0], &sides[1]);
    report.notes.extend(together);
    report.notes.extend(apart.into_iter().map(|(_, says)| says));
    report.notes.extend(not_compared);
    let mut told = HashSet::new();
    report.notes.retain(|note| told.insert(note.clone()));
    Ok(report)
}

/// The report on the runs `before` and `after`, by position.
pub fn report(tallies: &Tallies, before: &[usize], after: &[usize]) -> CompareReport {
    let judged = judge_all(tallies, before, after);
    let of = |kind: TroubleKind| judged.iter().filter(move |j| j.trouble.kind == kind);
    let rows = |side: &[usize]| side.iter().flat_map(|&run| tallies.runs[run].clone()).collect();
    CompareReport {
        schema: SCHEMA.to_owned(),
        before: rows(before),
        after: rows(after),
        couplings: of(TroubleKind::Coupling).map(coupling_row).collect(),
        links: of(TroubleKind::Loss).map(link_row).collect(),
        extras: of(TroubleKind::Extra).map(trouble_row).collect(),
        bounces: of(TroubleKind::Bounce).map(trouble_row).collect(),
        limits: of(TroubleKind::Limit).map(trouble_row).collect(),
        strays: of(TroubleKind::Stray).map(trouble_row).collect(),
        rails: of(TroubleKind::Rail).map(trouble_row).collect(),
        advice: advice(&judged),
        notes: notes(tallies, before, after)
            .into_iter()
            .chain(still(tallies, before, after).iter().map(Still::says))
            .chain(absent(tallies, before, after))
            .collect(),
    }
}

/// What the verdicts on the runs `before` and `after` rest on, or what takes the ground from under them: one recording on both
/// sides, links that can't be counted, lines that are left out.
pub fn notes(tallies: &Tallies, before: &[usize], after: &[usize]) -> Vec<String> {
    let is_across = |[a, b]: &&[usize; 2]| {
        before.contains(a) && after.contains(b) || before.contains(b) && after.contains(a)
    };
    let own = before
        .iter()
        .filter(|run| after.contains(run))
        .map(|&run| [run, run]);
    let twins = tallies.twins.iter().filter(is_across).copied().chain(own);
    let file = |run: usize| tallies.runs[run].first().map_or("?", |row| row.file.as_str());
    let twins = twins.map(|[a, b]| {
        format!(
            "The same recording stands on both sides ({} and {}): it can't show what a change did.",
            file(a),
            file(b)
        )
    });
    let more = [
        unjoined(tallies, before, after),
        left_out(tallies, before, after),
        asked(tallies, before, after),
    ];
    twins.chain(more.concat()).collect()
}

/// Links and rules that can't be counted in some of the runs, a sentence for each.
fn unjoined(tallies: &Tallies, before: &[usize], after: &[usize]) -> Vec<String> {
    let links = told_of(
        tallies,
        &tallies.unjoined,
        (before, after),
        &|[from, to], files| {
            format!(
                "The link from {from} to {to} can't be counted in {files}: its ends were recorded on two clocks that nothing \
             joins. On the page Clocks, name a line that both files have."
            )
        },
    );
    let rules = told_of(
        tallies,
        &tallies.unjoined_rules,
        (before, after),
        &|rule, files| {
            format!(
                "The rule \"{rule}\" can't be counted in {files}: its lines were recorded on clocks that nothing joins. On the \
             page Clocks, name a line that the files share."
            )
        },
    );
    [links, rules].concat()
}

/// Lines whose levels are wrong themselves in some of the runs, a sentence for each.
fn left_out(tallies: &Tallies, before: &[usize], after: &[usize]) -> Vec<String> {
    told_of(tallies, &tallies.left_out, (before, after), &|line, files| {
        format!(
            "No strays of {line} are counted in {files}, and none are put down to it: its level itself is wrong there, as the \
             findings of that capture tell."
        )
    })
}

/// Lines whose short pulses the findings of some of the runs don't call strays, a sentence for each.
fn asked(tallies: &Tallies, before: &[usize], after: &[usize]) -> Vec<String> {
    told_of(tallies, &tallies.asked, (before, after), &|line, files| {
        format!(
            "{line}'s short pulses are not compared as strays: the findings of {files} take them for what {line} sends, or ask \
             whether they are its job."
        )
    })
}

/// A sentence for each thing that some run has in `of`, with the files of these runs, side by side.
fn told_of<T: Ord>(
    tallies: &Tallies,
    of: &[Vec<T>],
    (before, after): (&[usize], &[usize]),
    says: &dyn Fn(&T, &str) -> String,
) -> Vec<String> {
    let runs = before.iter().chain(after);
    let mut all: Vec<&T> = runs.filter_map(|&run| of.get(run)).flatten().collect();
    all.sort_unstable();
    all.dedup();
    let told = all.into_iter().map(|one| {
        let files_of = |side: &[usize]| -> Vec<String> {
            let is_of = |run: &&usize| of.get(**run).is_some_and(|all| all.contains(one));
            let runs = side.iter().filter(is_of);
            let files = |&run: &usize| {
                let files: Vec<&str> = tallies.runs[run].iter().map(|row| row.file.as_str()).collect();
                files.join(" with ")
            };
            runs.map(files).collect()
        };
        let files = [("before", files_of(before)), ("after", files_of(after))]
            .into_iter()
            .filter(|(_, files)| !files.is_empty())
            .map(|(words, files)| format!("{} {words}", files.join(", ")));
        says(one, &files.collect::<Vec<_>>().join(" and "))
    });
    told.collect()
}

/// Lines that were captured on one side only, a sentence for each side that lacks some; and names that were taken for one.
pub fn absent(tallies: &Tallies, before: &[usize], after: &[usize]) -> Vec<String> {
    const MOST_NAMES: usize = 8;
    let side = |own: &[usize], other: &[usize], words: [&str; 2]| {
        let names = own.iter().filter_map(|&run| tallies.lines.get(run)).flatten();
        let mut only: Vec<&str> = names
            .filter(|name| !uncounted::is_captured(tallies, other, name))
            .map(String::as_str)
            .collect();
        only.sort_unstable();
        only.dedup();
        let more = match only.len().saturating_sub(MOST_NAMES) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let told = only[..only.len().min(MOST_NAMES)].join(", ");
        (!only.is_empty() && !other.is_empty()).then(|| {
            let [here, there] = words;
            format!("Captured {here} and not {there}, so not compared: {told}{more}.")
        })
    };
    let sides = [
        side(before, after, ["before", "after"]),
        side(after, before, ["after", "before"]),
    ];
    let told = sides.into_iter().flatten();
    told.chain(names::told(tallies, before, after)).collect()
}

fn coupling_row(j: &Judged) -> CompareRow {
    let counts = |c: crate::analysis::compare::Counts| CountsRow {
        strays: c.strays,
        opportunities: c.opportunities,
    };
    CompareRow {
        victim: j.trouble.lines[0].clone(),
        aggressor: j.trouble.lines[1].clone(),
        edge: j.trouble.detail.clone(),
        before: counts(j.before),
        after: counts(j.after),
        rate_ratio: ratio_row(j.judgement.ratio),
        judged: judged_row(j),
    }
}

fn link_row(j: &Judged) -> LinkCompareRow {
    let loss = |c: crate::analysis::compare::Counts| LossRow {
        missing: c.strays,
        sent: c.opportunities,
    };
    LinkCompareRow {
        from: j.trouble.lines[0].clone(),
        to: j.trouble.lines[1].clone(),
        before: loss(j.before),
        after: loss(j.after),
        loss_ratio: ratio_row(j.judgement.ratio),
        judged: judged_row(j),
    }
}

fn trouble_row(j: &Judged) -> TroubleCompareRow {
    let occasions = |c: crate::analysis::compare::Counts| OccasionsRow {
        wrong: c.strays,
        occasions: c.opportunities,
    };
    let name = match j.trouble.kind {
        TroubleKind::Limit => j.trouble.detail.clone(),
        TroubleKind::Rail => j.trouble.lines[0].clone(),
        _ => j.trouble.lines.join(" to "),
    };
    TroubleCompareRow {
        name,
        lines: j.trouble.lines.clone(),
        before: occasions(j.before),
        after: occasions(j.after),
        slot_s: j.trouble.slot_s,
        rate_ratio: ratio_row(j.judgement.ratio),
        depth: j.depth.as_ref().map(depth::Depth::row),
        judged: judged_row(j),
    }
}

fn judged_row(j: &Judged) -> JudgedRow {
    JudgedRow {
        p_value: j.judgement.p_value,
        after_upper_bound: j.judgement.after_upper_bound,
        verdict: j.judgement.verdict.word().to_owned(),
        opportunities_needed: j.judgement.opportunities_needed,
        opportunities_needed_at_this_rate: j.judgement.needed_at_this_rate,
        longer_on_both: j.judgement.longer_on_both,
        is_backed: j.is_gone_for_good(),
        says: j.says.clone(),
        next: j.next(),
    }
}

fn ratio_row(ratio: Ratio) -> RatioRow {
    RatioRow {
        estimate: ratio.estimate,
        low: ratio.low,
        high: ratio.high,
    }
}
