//! Captures → what is wrong with the machine: strays, couplings, links, rules, findings, in one report.

use std::borrow::Cow;

use crate::analysis::align;
use crate::analysis::coupling::{self, CouplingOptions};
use crate::analysis::findings::{self, Finding, Severity};
use crate::analysis::links::{self, Link, LinkOptions, Proposal};
use crate::analysis::strays::{Mark, StrayOptions};
use crate::analysis::{levels, rails, rules};
use crate::model::{Capture, Ticks};
use crate::report::CaptureRow;
use crate::report::inspect::InspectReport;
use crate::rule::Rail;
use crate::setup::Setup;

use super::align::{LeftOver, OneClock, one_clock, shared};
use super::assumed;
use super::beside_runts;
use super::elsewhere::{Elsewhere, beside, renamed};
use super::fill;
use super::forbidden;
use super::joined::Joined;
use super::lines::capture_row;
use super::rails::{rail_rows, waveform_rows};
use super::rules::rows as rule_rows;
use super::runs::not_aligned;
use super::same_signal::{each_once, part_links};
use super::stated;
use super::unreadable;

/// What to look at, and how.
pub struct Question<'a> {
    pub setup: &'a Setup,
    /// Line that brings several captures to one clock: `LINE`, or `LINE=LINE_IN_THE_OTHERS`.
    pub align_on: Option<&'a str>,
}

/// What came out: the report, and what it was made from.
pub struct Inspection {
    /// All captures on the first one's clock, but for those that could not be brought there.
    pub capture: Capture,
    /// Of all of them; times of one that could not be brought to the first one's clock are its own.
    pub report: InspectReport,
    /// Why each of those could not.
    pub left: Vec<String>,
}

/// Inspects captures (at least one). One that can't be brought to the clock of the first is looked at by itself.
///
/// # Errors
/// `align_on` names no line of the first capture, or none of any other; or the setup names a line that is not there.
pub fn inspect(captures: Vec<Capture>, question: &Question) -> anyhow::Result<Inspection> {
    // Nobody said a line: one that would do is proposed, else how to name one is told.
    let others = captures.iter().skip(1);
    let proposed: Vec<_> = match question.align_on {
        Some(_) => Vec::new(),
        None => others
            .map(|other| {
                let (first, shared) = (&captures[0], shared(&captures[0], other));
                let advice = shared.is_none().then(|| assumed::by_a_word(first, other));
                (shared, advice.flatten())
            })
            .collect(),
    };
    let (
        OneClock {
            capture,
            sources,
            alignments,
            on,
        },
        left,
    ) = one_clock(captures, question.align_on, question.setup)?;
    let first = &sources[0].file;
    let others = sources.iter().zip(&alignments).skip(1).enumerate();
    let told = others.map(|(at, (source, a))| match question.align_on {
        Some(_) => align::finding(first, &source.file, &on[at + 1], a),
        None => {
            let (shared, advice) = &proposed[at];
            assumed::one_clock(first, &source.file, shared.as_ref(), advice.clone())
        }
    });
    let mut aligned: Vec<Finding> = told.collect();
    aligned.extend(
        left.iter()
            .map(|left| not_aligned(&left.capture.file, &left.trouble)),
    );
    let alone = |left: &LeftOver| left.capture.clone();
    let others: Vec<Capture> = left.iter().map(alone).collect();
    // Before names are told apart: the setup names lines as the files do.
    let elsewhere = Elsewhere::of(others.iter(), true);
    let first = capture.clone();
    let mut inspection = look(capture, sources, question.setup, (aligned, &elsewhere));
    for (at, own) in others.iter().enumerate() {
        let beside_it = others.iter().enumerate().filter(|(other, _)| *other != at);
        let every = std::iter::once(&first).chain(beside_it.map(|(_, other)| other));
        let elsewhere = Elsewhere::of(every, false);
        let sources = vec![capture_row(own, 0.0, 0.0)];
        let renamed = renamed(own.clone(), &elsewhere);
        let own = look(renamed, sources, question.setup, (Vec::new(), &elsewhere));
        beside(&mut inspection.report, own.report);
    }
    inspection.left = left.into_iter().map(|left| left.trouble).collect();
    Ok(inspection)
}

/// Inspects a run that is on one clock; `known`: what was found out on the way there; `elsewhere`: what was recorded beside it and
/// could not be brought to that clock.
pub fn inspect_run(
    capture: Capture,
    sources: Vec<CaptureRow>,
    setup: &Setup,
    known: Vec<Finding>,
    elsewhere: &Elsewhere,
) -> Inspection {
    look(capture, sources, setup, (known, elsewhere))
}

/// `known`: findings from before the lines were looked at.
fn look(
    mut capture: Capture,
    sources: Vec<CaptureRow>,
    setup: &Setup,
    (mut known, elsewhere): (Vec<Finding>, &Elsewhere),
) -> Inspection {
    let parted = part_links(&mut capture, setup);
    tell_one_signal(&capture, &mut known);
    let declared = link_options(&capture, setup);
    let mut links = links::check(&capture, &declared);
    let joined = Joined::of(&capture, &sources, &known, &links);
    let unjoined = joined.without_apart(&capture, &mut links);
    let once = each_once(&capture, &parted, &links).map_or(Cow::Borrowed(&capture), Cow::Owned);
    let mut supplies = setup.rails.clone();
    supplies.extend(rails::assumed::assumed(&capture, &setup.rails));
    let is_one_wire = |a: usize, b: usize| are_ends(&declared, a, b);
    let is_supply = |name: &str| rails::is_supply(&supplies, name);
    let troubles = wrong_levels(&capture, &supplies, &declared);
    let once = levels::to_judge(&once, &troubles).map_or(once, Cow::Owned);
    let options = stray_options(&once, setup, &links);
    let (strays, mut attribution) = coupling::judge::judge(&once, &options, &CouplingOptions::default());
    let same_signal: Vec<(String, String)> = setup
        .links
        .iter()
        .map(|l| (l.from.clone(), l.to.clone()))
        .collect();
    let mut results = rules::check(&capture, &setup.rules, &same_signal);
    let is_joined = |a: usize, b: usize| joined.is_one(a, b);
    rules::set_apart(&capture, &setup.rules, &mut results, &is_joined);
    elsewhere.settle(&capture, &mut results);
    rules::link_strays(&capture, &mut results, &strays, &attribution);
    stated::take_over(&capture, &setup.rules, &results.rules, &mut attribution);
    // What a level is comes before what befalls it.
    let mut all = levels::findings(&capture, &troubles);
    all.extend(findings::of(&once, &strays, &attribution));
    let pairs = levels::at_one_voltage(&capture, &is_supply, &is_one_wire);
    levels::doubt(&capture, &pairs, &mut all);
    all.extend(known);
    all.extend(unjoined);
    all.extend(assumed::names(&capture, setup, elsewhere));
    all.extend(links::findings(&capture, &links));
    let mut proposals = proposals(&capture, &declared);
    // Where a declared link's signal was found is told of that link.
    let is_told = |from: usize, to: usize| {
        let found = links.iter().filter(|link| link.from == from);
        found
            .filter_map(|link| link.better_match)
            .any(|better| better.line == to)
    };
    // So is the line that a dead link's far end follows: it is joined to it, or exchanged.
    let is_dead_end = |to: usize| {
        let follows = |link: &&Link| matches!(link.far_end, links::FarEnd::Follows { .. });
        links.iter().filter(follows).any(|link| link.to == to)
    };
    proposals.retain(|p| !is_told(p.from, p.to) && !is_dead_end(p.to));
    // Two lines that are the same at every edge are told as such, with the link that they may be.
    let is_same = |p: &Proposal| {
        let mut same = results.bridged.iter().map(|same| same.lines);
        same.any(|(a, b)| (a, b) == (p.from, p.to) || (b, a) == (p.from, p.to))
    };
    let others: Vec<Proposal> = proposals.iter().copied().filter(|p| !is_same(p)).collect();
    all.extend(links::proposed(&capture, &others));
    all.extend(rules::sentences::findings(&capture, &setup.rules, &results));
    all.extend(rules::sentences::rested(&capture, &results.stuck, &all));
    let mut rail_results = rails::check(&capture, &supplies);
    for (rail, result) in supplies.iter().zip(&mut rail_results) {
        let is_elsewhere = |missing: &String| *missing == rail.line && elsewhere.has(missing);
        result.missing = result.missing.take().filter(|missing| !is_elsewhere(missing));
    }
    rails::beside::tell(&capture, &strays, (&supplies, &rail_results), &mut all);
    let rules_and = (setup.rules.as_slice(), results.rules.as_slice());
    rails::beside_rules::tell(&capture, rules_and, (&supplies, &rail_results), &mut all);
    all.extend(rails::findings(&capture, &supplies, &rail_results));
    all.extend(rails::about_zero(&rails::assumed::about_zero(
        &capture, &supplies,
    )));
    let mut perhaps = rails::assumed::proposed(&capture, &supplies);
    perhaps.retain(|rail| !troubles.iter().any(|t| capture.lines[t.line].name == rail.line));
    let every: Vec<_> = supplies.iter().chain(&perhaps).cloned().collect();
    let rests = rails::check(&capture, &every).split_off(supplies.len());
    all.extend(rails::proposed(&capture, &perhaps, &rests));
    all.sort_by_key(|f| f.severity);
    // After all that is really in doubt.
    all.extend(findings::plain_strobes(&once, &strays, &attribution));
    for finding in &mut all {
        // A title is joined with others into the headline.
        let length = finding.title.trim_end_matches('.').len();
        finding.title.truncate(length);
    }
    // A capture that could not be read says nothing of those that were; short pulses that may be strays are told as such.
    let is_quiet = |f: &Finding| f.severity == Severity::Note || f.topic == unreadable::TOPIC;
    if attribution.unsure.is_empty() && all.iter().all(is_quiet) {
        // Behind the pulses that may be strays.
        let is_open = |f: &Finding| f.severity == Severity::Note && f.topic == "stray" && !f.lines.is_empty();
        let first_note = all.partition_point(|f| f.severity < Severity::Note);
        let at = all.iter().rposition(is_open).map_or(first_note, |last| last + 1);
        let still = |line: &crate::model::Line| line.edges.is_empty() && line.runts.is_empty();
        // A supply is meant to stand still.
        let is_dead = every.is_empty() && !capture.lines.is_empty() && capture.lines.iter().all(still);
        let found = match is_dead {
            true => assumed::never_known(&capture).unwrap_or_else(|| findings::nothing_moves(&capture)),
            false => findings::nothing_found(&capture, &strays),
        };
        all.insert(at, found);
        all.sort_by_key(|f| f.severity);
    }
    // What all times hang on is said before them.
    all.splice(0..0, assumed::time_units(&sources));
    let mut report = fill::report(&capture, sources, &strays, &attribution, &links, all);
    let apart = joined.apart().filter_map(|of| report.captures.get(of));
    report.unjoined = apart.map(|row| row.file.clone()).collect();
    report.proposals = fill::proposal_rows(&capture, &proposals);
    report.permutations = fill::permutation_rows(&capture, &links, &setup.links);
    report.rules = rule_rows(&capture, &setup.rules, &results.rules);
    report.rails = rail_rows(&capture, &supplies, &rail_results);
    report.waveforms = waveform_rows(&capture, &supplies);
    Inspection {
        capture,
        report,
        left: Vec::new(),
    }
}

/// Whether two lines are the ends of one declared link.
fn are_ends(declared: &[LinkOptions], a: usize, b: usize) -> bool {
    let ends = [(a, b), (b, a)];
    declared.iter().any(|link| ends.contains(&(link.from, link.to)))
}

/// The lines whose levels are wrong themselves, by line. `supplies`: rails, declared and assumed; `declared`: the setup's links.
/// Cost: that of [`levels::find`].
pub fn wrong_levels(capture: &Capture, supplies: &[Rail], declared: &[LinkOptions]) -> Vec<levels::Trouble> {
    levels::find(capture, &|name| rails::is_supply(supplies, name), &|a, b| {
        are_ends(declared, a, b)
    })
}

/// Adds to what is told of an alignment that its two lines are looked at as one.
fn tell_one_signal(capture: &Capture, known: &mut [Finding]) {
    for finding in known.iter_mut().filter(|finding| finding.topic == "alignment") {
        let [there, here] = finding.lines.as_slice() else {
            continue;
        };
        let is_one = capture.lines.iter().any(|line| {
            let twin = line.same_as.map(|twin| capture.lines[twin].name.as_str());
            line.name == *here && twin == Some(there)
        });
        if is_one {
            let told = format!(" {there} and {here} are looked at as one line.");
            finding.detail.push_str(&told);
        }
    }
}

/// Links nobody declared, without those between two captures' views of one line: they are alike by its name.
pub fn proposals(capture: &Capture, declared: &[LinkOptions]) -> Vec<Proposal> {
    let own = |line: usize| {
        let name = capture.lines[line].name.as_str();
        name.split_once('/').map_or(name, |(_, own)| own)
    };
    let mut proposals = links::propose(capture, declared);
    proposals
        .retain(|p| capture.lines[p.from].capture == capture.lines[p.to].capture || own(p.from) != own(p.to));
    proposals
}

/// The narrow limits that the setup declares, in the capture's ticks; those that a line's runts give; and the pulses that are stray whatever their width,
/// or that a person judged: the person has the last word.
pub fn stray_options(capture: &Capture, setup: &Setup, links: &[Link]) -> StrayOptions {
    let limits = capture.lines.iter().enumerate().filter_map(|(index, line)| {
        let own = |name: &str| setup.narrow_below_s(name);
        // A line that several captures have is called STEM/LINE; what was said of LINE holds for each.
        let seconds = own(&line.name).or_else(|| own(line.name.split_once('/')?.1))?;
        Some((index, capture.timebase.ticks_of(seconds)))
    });
    let judged = capture.lines.iter().enumerate().flat_map(|(index, line)| {
        line.judged.iter().map(move |judged| Mark {
            line: index,
            start: judged.start,
            stray: judged.stray,
        })
    });
    let mut options = StrayOptions {
        narrow_below: limits.collect(),
        marks: forbidden::marks(capture, setup, links)
            .into_iter()
            .chain(judged)
            .collect(),
        ..StrayOptions::default()
    };
    beside_runts::take_over(capture, setup, &mut options);
    options
}

/// What a line called `STEM/LINE` is called here, where it is a signal that keeps its own name: two instruments recorded it.
fn known_as<'a>(capture: &Capture, name: &'a str) -> &'a str {
    let own = name.split_once('/').map_or(name, |(_, own)| own);
    let twin = capture.line_index(own);
    let is_kept = twin.is_some() && capture.lines.iter().any(|line| line.same_as == twin);
    match capture.line_index(name) {
        None if is_kept => own,
        _ => name,
    }
}

/// The links that the setup declares, as far as their lines were captured; a link over a bus bit by bit.
pub fn link_options(capture: &Capture, setup: &Setup) -> Vec<LinkOptions> {
    let mut options = Vec::new();
    for link in &setup.links {
        let (from, to) = (known_as(capture, &link.from), known_as(capture, &link.to));
        let Ok(pairs) = links::expand(capture, from, to) else {
            continue;
        };
        // Nothing arrives after the record has ended.
        let longest = capture.span.length();
        let max_delay = link
            .max_delay_s
            .map(|s| Ticks(capture.timebase.ticks_of(s).ceil() as i64).min(longest));
        options.extend(pairs.into_iter().map(|(from, to)| LinkOptions {
            from,
            to,
            max_delay,
            inverted: link.inverted,
        }));
    }
    options
}
