//! Why a trouble can't be counted on a side: its line was not captured there, lies on another clock, or has a level that is wrong
//! itself.

use super::judged::{tally, what};
use crate::analysis::compare::Counts;
use crate::report::compare::{Tallies, Trouble, TroubleKind};

/// What to say where a side has no occasion because a line of the trouble was not captured there.
pub(super) fn absent_line(
    tallies: &Tallies,
    trouble: &Trouble,
    before: (&[usize], Counts),
    after: (&[usize], Counts),
) -> Option<String> {
    for ((side, counts), (_, seen), words) in [(before, after, "before"), (after, before, "after")] {
        let line = trouble
            .lines
            .iter()
            .find(|line| !is_captured(tallies, side, line));
        if let (Some(line), 0, 1..) = (line, counts.opportunities, seen.opportunities) {
            let there = if words == "before" { "after" } else { "before" };
            return Some(format!(
                "{}: can't be told, {line} was not captured {words} ({} {there}).",
                what(trouble),
                tally(seen.strays, seen.opportunities, trouble.slot_s)
            ));
        }
    }
    None
}

/// What to say of a link or a rule that can't be counted on a side: its lines are on clocks that nothing joins.
pub(super) fn unjoined(
    tallies: &Tallies,
    trouble: &Trouble,
    before: (&[usize], Counts),
    after: (&[usize], Counts),
) -> Option<String> {
    let (ends, is_it): (&str, &dyn Fn(usize) -> bool) = match trouble.kind {
        TroubleKind::Loss | TroubleKind::Extra => ("ends", &|run| {
            let mut links = tallies.unjoined.get(run).into_iter().flatten();
            links.any(|ends| ends[..] == trouble.lines[..])
        }),
        TroubleKind::Limit => ("lines", &|run| {
            let rules = tallies.unjoined_rules.get(run);
            rules.is_some_and(|rules| rules.contains(&trouble.detail))
        }),
        _ => return None,
    };
    let lacks =
        |(side, counts): (&[usize], Counts)| counts.opportunities == 0 && side.iter().any(|&run| is_it(run));
    let of = |counts: Counts, words: &str| {
        let counts = tally(counts.strays, counts.opportunities, trouble.slot_s);
        format!(" ({counts} {words})")
    };
    let (side, counts) = match (lacks(before), lacks(after)) {
        (true, true) => ("can be counted neither before nor after", String::new()),
        (true, false) => ("can't be counted before", of(after.1, "after")),
        (false, true) => ("can't be counted after", of(before.1, "before")),
        (false, false) => return None,
    };
    Some(format!(
        "{}: {side}, its {ends} were recorded on two clocks that nothing joins{counts}.",
        what(trouble)
    ))
}

/// Whether a line of that name is in any of the runs, also as one of several files' (`tower/NOTE`).
pub(super) fn is_captured(tallies: &Tallies, side: &[usize], line: &str) -> bool {
    let own = |name: &str| name.rsplit('/').next().unwrap_or_default().to_owned();
    let mut names = side.iter().filter_map(|&run| tallies.lines.get(run)).flatten();
    names.any(|name| name == line || own(name) == own(line))
}

/// The line of which no strays are counted on a side, for its level itself is wrong there, and what to say of it.
pub(super) fn left_out(
    tallies: &Tallies,
    trouble: &Trouble,
    before: (&[usize], Counts),
    after: (&[usize], Counts),
) -> Option<(String, String)> {
    match trouble.kind {
        TroubleKind::Coupling | TroubleKind::Stray | TroubleKind::Bounce => {}
        _ => return None,
    }
    let lacks = |line: &&String, (side, counts): (&[usize], Counts)| {
        let mut of_side = side.iter().filter_map(|&run| tallies.left_out.get(run));
        counts.opportunities == 0 && of_side.any(|names| names.contains(line))
    };
    let mut lines = trouble.lines.iter();
    let line = lines.find(|line| lacks(line, before) || lacks(line, after))?;
    let of = |counts: Counts, words: &str| {
        let counts = tally(counts.strays, counts.opportunities, trouble.slot_s);
        format!(" ({counts} {words})")
    };
    let (side, counts) = match (lacks(&line, before), lacks(&line, after)) {
        (true, true) => ("can be counted neither before nor after", String::new()),
        (true, false) => ("can't be counted before", of(after.1, "after")),
        _ => ("can't be counted after", of(before.1, "before")),
    };
    let what = what(trouble);
    let says = format!("{what}: {side}, {line}'s level itself is wrong there{counts}.");
    Some((line.clone(), says))
}
