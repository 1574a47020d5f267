//! Limits on times. End points follow the timing checks of IEEE Std 1364-2005 clause 15 (recalled, the text was not at
//! hand): `$setup` breaks for 0 < strobe − data < limit, `$hold` for 0 ≤ data − strobe < limit, `$recovery` for
//! 0 ≤ strobe − release < limit, `$width` and `$period` for less than the limit.

use super::Names;
use super::edges::{Edges, Merge, common_span, is_blind, pulses_at};
use super::reach::{self, Reach, Stamp, Verdict};
use super::tally::{Limits, Occasion, Tally};
use crate::model::{Level, Line, Polarity, Ticks};
use crate::rule::{EdgeOf, Limit};

/// A line in the part it plays in a rule.
struct Part<'a> {
    index: usize,
    line: &'a Line,
    stamp: Stamp,
}

impl<'a> Part<'a> {
    fn find(names: &mut Names<'a>, name: &str) -> Option<Part<'a>> {
        let (index, line) = names.line(name)?;
        Some(Part::new(index, line))
    }

    fn new(index: usize, line: &'a Line) -> Part<'a> {
        Part {
            index,
            line,
            stamp: Stamp::of(line),
        }
    }
}

/// Checks one limit; `None` when a name is not in the capture.
pub(super) fn check(names: &mut Names, limit: &Limit) -> Option<Tally> {
    let limits = limit.in_ticks(names.capture);
    let mut tally = match limit {
        Limit::PulseWidth { line, level, .. } => {
            let part = Part::find(names, line)?;
            pulse_width(&part, *level, limits)
        }
        Limit::Setup { data, strobe, .. } | Limit::Hold { data, strobe, .. } => {
            let is_setup = matches!(limit, Limit::Setup { .. });
            let data = names.all(data);
            let (strobe, edges) = edges_of(names, strobe)?;
            let mut tally = Tally::new(limits, strobe.line.sample_ticks);
            for index in data? {
                let data = Part::new(index, &names.capture.lines[index]);
                if is_setup {
                    setup(&data, &strobe, &edges, &mut tally);
                } else {
                    hold(&data, &strobe, &edges, &mut tally);
                }
            }
            tally
        }
        Limit::Recovery { release, strobe, .. } => {
            let release = edges_of(names, release);
            let (strobe, strobes) = edges_of(names, strobe)?;
            let (release, releases) = release?;
            following(&release, &releases, &strobe, &strobes, limits, false)
        }
        Limit::Stay {
            line,
            level,
            strobe,
            before_s,
            after_s,
        } => {
            let line = Part::find(names, line);
            let (strobe, edges) = edges_of(names, strobe)?;
            let ticks = |s: f64| reach::limit_ticks(&names.capture.timebase, s);
            stay(
                &line?,
                *level,
                &strobe,
                &edges,
                (ticks(*before_s), ticks(*after_s)),
                limits,
            )
        }
        Limit::Exclusive { lines, level, .. } => {
            let lines = names.all(lines)?;
            let parts = lines.iter().map(|&i| Part::new(i, &names.capture.lines[i]));
            exclusive(&parts.collect::<Vec<_>>(), *level, limits)
        }
        Limit::Answer { from, to, .. } => {
            let from = edges_of(names, from);
            let (to, answers) = edges_of(names, to)?;
            let (from, causes) = from?;
            following(&from, &causes, &to, &answers, limits, true)
        }
        Limit::Delay { from, to, .. } => {
            let from = edges_of(names, from);
            let (to, effects) = edges_of(names, to)?;
            let (from, causes) = from?;
            delay(&from, &causes, &to, &effects, limits)
        }
        Limit::Period { of, .. } => {
            let (part, edges) = edges_of(names, of)?;
            period(&part, &edges, limits)
        }
    };
    tally.sort();
    Some(tally)
}

fn edges_of<'a>(names: &mut Names<'a>, of: &EdgeOf) -> Option<(Part<'a>, Edges<'a>)> {
    let part = Part::find(names, &of.line)?;
    let edges = Edges::of(part.line, of.polarity);
    Some((part, edges))
}

fn pulse_width(part: &Part, level: Option<Level>, limits: Limits) -> Tally {
    let mut tally = Tally::new(limits, part.line.sample_ticks);
    let reach = Reach::between(part.stamp, part.stamp);
    let (lines, place) = ([part.line], [part.index]);
    let has_stretches = !part.line.stretches.is_empty();
    for segment in part.line.segments() {
        let mut now = segment.first;
        for pair in part.line.edges[segment.edges].windows(2) {
            now = now.inverted();
            if level.is_some_and(|l| l != now) {
                continue;
            }
            let (start, end) = (pair[0], pair[1]);
            if has_stretches && is_blind(&lines, start, Ticks(end.0 - 1)) {
                tally.not_judged += 1;
                continue;
            }
            let occasion = Occasion {
                start,
                end,
                lines: &place,
            };
            tally.measure((end - start).0, reach, occasion);
        }
    }
    tally
}

fn period(part: &Part, edges: &Edges, limits: Limits) -> Tally {
    let mut tally = Tally::new(limits, part.line.sample_ticks);
    let reach = Reach::between(part.stamp, part.stamp);
    let (lines, place) = ([part.line], [part.index]);
    let has_stretches = !part.line.stretches.is_empty();
    let mut last = None;
    for end in edges.iter() {
        if let Some(start) = last.replace(end) {
            if has_stretches && is_blind(&lines, start, Ticks(end.0 - 1)) {
                tally.not_judged += 1;
                continue;
            }
            let occasion = Occasion {
                start,
                end,
                lines: &place,
            };
            tally.measure((end - start).0, reach, occasion);
        }
    }
    tally
}

/// The last change of `data` before each strobe must be at least the limit earlier.
fn setup(data: &Part, strobe: &Part, strobes: &Edges, tally: &mut Tally) {
    let limit = tally.limits.at_least.unwrap_or(0.0);
    let reach = Reach::between(data.stamp, strobe.stamp);
    let (lines, place) = ([data.line, strobe.line], [data.index, strobe.index]);
    let changes = &data.line.edges;
    // Changes at or before the strobe.
    let mut done = 0;
    for time in strobes.iter() {
        while changes.get(done).is_some_and(|&c| c <= time) {
            done += 1;
        }
        let window = Ticks(time.0.saturating_sub(limit.ceil() as i64));
        if is_blind(&lines, window, time) {
            tally.not_judged += 1;
            continue;
        }
        // A change stamped a little after the strobe may truly have come before it.
        let mut last = done;
        while reach.above > 0.0
            && changes
                .get(last)
                .is_some_and(|c| ((*c - time).0 as f64) < reach.above)
        {
            last += 1;
        }
        let mut verdict = Verdict::Kept;
        let mut shown = None;
        for &change in changes[..last].iter().rev() {
            let measured = (time - change).0;
            let value = measured as f64;
            if value - reach.below >= limit || (measured == 0 && reach == Reach::default()) {
                shown = shown.or((measured > 0).then_some((change, measured)));
                if value - reach.below >= limit {
                    break;
                }
                continue;
            }
            let surely_before = value - reach.below >= 0.0;
            let one = match reach::at_least(value, reach, limit) {
                Verdict::Breached if !surely_before => Verdict::CantTell,
                other => other,
            };
            if one != Verdict::Kept && verdict.worse(one) != verdict {
                verdict = one;
                shown = Some((change, measured));
            }
        }
        match shown {
            Some((change, measured)) => {
                let occasion = Occasion {
                    start: change.min(time),
                    end: change.max(time),
                    lines: &place,
                };
                tally.judged(
                    verdict,
                    (measured, reach),
                    measured as f64 - limit,
                    occasion,
                    None,
                );
            }
            None => tally.kept += 1,
        }
    }
}

/// The first change of `data` at or after each strobe must be at least the limit later.
fn hold(data: &Part, strobe: &Part, strobes: &Edges, tally: &mut Tally) {
    let limit = tally.limits.at_least.unwrap_or(0.0);
    let reach = Reach::between(strobe.stamp, data.stamp);
    let (lines, place) = ([data.line, strobe.line], [data.index, strobe.index]);
    let changes = &data.line.edges;
    // Changes that were surely before the strobe.
    let mut done = 0;
    for time in strobes.iter() {
        let surely_before = |c: Ticks| {
            let value = (c - time).0 as f64;
            if reach.above > 0.0 {
                value + reach.above <= 0.0
            } else {
                value < 0.0
            }
        };
        while changes.get(done).is_some_and(|&c| surely_before(c)) {
            done += 1;
        }
        let window = Ticks(time.0.saturating_add(limit.ceil() as i64));
        if is_blind(&lines, time, window) || window > data.line.span.end {
            tally.not_judged += 1;
            continue;
        }
        let mut verdict = Verdict::Kept;
        let mut shown = None;
        for &change in &changes[done..] {
            let measured = (change - time).0;
            let value = measured as f64;
            if value - reach.below >= limit {
                shown = shown.or(Some((change, measured)));
                break;
            }
            let surely_after = value - reach.below >= 0.0;
            let one = match reach::at_least(value, reach, limit) {
                Verdict::Breached if !surely_after => Verdict::CantTell,
                other => other,
            };
            if one != Verdict::Kept && verdict.worse(one) != verdict {
                verdict = one;
                shown = Some((change, measured));
            }
        }
        match shown {
            Some((change, measured)) => {
                let occasion = Occasion {
                    start: change.min(time),
                    end: change.max(time),
                    lines: &place,
                };
                tally.judged(
                    verdict,
                    (measured, reach),
                    measured as f64 - limit,
                    occasion,
                    None,
                );
            }
            None => tally.kept += 1,
        }
    }
}

/// The time from each `from` edge to the first `to` edge at or after it. With `must_come`, none at all within the limit
/// is a violation.
fn following(
    from: &Part,
    causes: &Edges,
    to: &Part,
    answers: &Edges,
    limits: Limits,
    must_come: bool,
) -> Tally {
    let mut tally = Tally::new(limits, from.line.sample_ticks.max(to.line.sample_ticks));
    let reach = Reach::between(from.stamp, to.stamp);
    let (lines, place) = ([from.line, to.line], [from.index, to.index]);
    let end_of_record = common_span(&lines).end;
    let mut next = 0;
    for start in causes.iter() {
        while answers.get(next).is_some_and(|a| a < start) {
            next += 1;
        }
        let answer = answers.get(next);
        let watched_to = match (answer, limits.at_most) {
            (Some(answer), None) => answer,
            (Some(answer), Some(limit)) => answer.min(Ticks(start.0.saturating_add(limit.ceil() as i64))),
            (None, Some(limit)) if must_come => Ticks(start.0.saturating_add(limit.ceil() as i64)),
            (None, _) => continue,
        };
        if is_blind(&lines, start, watched_to) || start < to.line.span.start {
            tally.not_judged += 1;
            continue;
        }
        match answer {
            Some(end) => {
                let occasion = Occasion {
                    start,
                    end,
                    lines: &place,
                };
                let measured = (end - start).0;
                if !must_come && measured as f64 - reach.below < 0.0 {
                    // The strobe may truly have come before the release: then it is not this limit's.
                    let limit = limits.at_least.unwrap_or(0.0);
                    let verdict = match reach::at_least(measured as f64, reach, limit) {
                        Verdict::Breached => Verdict::CantTell,
                        other => other,
                    };
                    tally.judged(
                        verdict,
                        (measured, reach),
                        measured as f64 - limit,
                        occasion,
                        None,
                    );
                } else {
                    tally.measure(measured, reach, occasion);
                }
            }
            None => {
                let waited = (end_of_record - start).0 as f64;
                // The answer would be known only when the record went on for the limit and its doubt.
                if reach::at_most(waited, reach, limits.at_most.unwrap_or(f64::INFINITY)) == Verdict::Breached
                {
                    let occasion = Occasion {
                        start,
                        end: end_of_record,
                        lines: &place,
                    };
                    let what = format!("no answer on {} up to the end of the record", to.line.name);
                    tally.count(Verdict::Breached, None, occasion, Some(what));
                } else {
                    tally.not_judged += 1;
                }
            }
        }
    }
    tally
}

/// The time from the last `from` edge to each `to` edge.
fn delay(from: &Part, causes: &Edges, to: &Part, effects: &Edges, limits: Limits) -> Tally {
    let mut tally = Tally::new(limits, from.line.sample_ticks.max(to.line.sample_ticks));
    let reach = Reach::between(from.stamp, to.stamp);
    let (lines, place) = ([from.line, to.line], [from.index, to.index]);
    let mut next = 0;
    for end in effects.iter() {
        while causes.get(next).is_some_and(|c| c <= end) {
            next += 1;
        }
        let start = next.checked_sub(1).and_then(|last| causes.get(last));
        match start {
            Some(start) if !is_blind(&lines, start, end) => {
                let occasion = Occasion {
                    start,
                    end,
                    lines: &place,
                };
                tally.measure((end - start).0, reach, occasion);
            }
            _ => tally.not_judged += 1,
        }
    }
    tally
}

/// The line must be at `level` from `before` before to `after` after each strobe.
fn stay(
    part: &Part,
    level: Level,
    strobe: &Part,
    strobes: &Edges,
    (before, after): (f64, f64),
    limits: Limits,
) -> Tally {
    let mut tally = Tally::new(limits, strobe.line.sample_ticks.max(part.line.sample_ticks));
    let (lines, place) = ([part.line, strobe.line], [part.index, strobe.index]);
    let off: Vec<(Ticks, Ticks)> = pulses_at(part.line, level.inverted()).collect();
    let (line, at) = (part.stamp, strobe.stamp);
    let doubt = line.early + line.late + at.early + at.late;
    let reach = Reach::between(line, at);
    let mut first = 0;
    for time in strobes.iter() {
        let t = time.0 as f64;
        let window = ((t - before).floor() as i64, (t + after).ceil() as i64);
        let span = part.line.span;
        let recorded = span.start.0 <= window.0 && window.1 <= span.end.0;
        if part.line.first == Level::Unknown
            || is_blind(&lines, Ticks(window.0), Ticks(window.1))
            || !recorded
        {
            tally.not_judged += 1;
            continue;
        }
        // An excursion surely over before the window of this strobe matters to no later one either.
        while off
            .get(first)
            .is_some_and(|(_, end)| end.0 as f64 + line.late + at.early <= t - before)
        {
            first += 1;
        }
        // The distance of the nearest excursion, and the margin it leaves.
        let near = |&(start, end): &(Ticks, Ticks)| {
            if start > time {
                ((start - time).0, (start - time).0 as f64 - after)
            } else if end <= time {
                ((time - end).0, (time - end).0 as f64 - before)
            } else {
                (0, -before.max(after))
            }
        };
        let mut nearest = first.checked_sub(1).map(|last| near(&off[last]));
        let mut verdict = Verdict::Kept;
        let mut shown: Option<(Ticks, Ticks)> = None;
        for excursion in &off[first..] {
            let (start, end) = (excursion.0.0 as f64, excursion.1.0 as f64);
            let this = near(excursion);
            if nearest.is_none_or(|n| this.1 < n.1) {
                nearest = Some(this);
            }
            if start - line.early >= t + at.late + after {
                break;
            }
            // The latest start against the earliest end of the window, and the other way round.
            let starts_surely = surely_less(start + line.late, t - at.early + after, doubt);
            let ends_surely = surely_less(t + at.late - before, end - line.early, doubt);
            let one = if starts_surely && ends_surely {
                Verdict::Breached
            } else if end + line.late > t - at.early - before {
                Verdict::CantTell
            } else {
                Verdict::Kept
            };
            if one != Verdict::Kept && verdict.worse(one) != verdict {
                verdict = one;
                shown = Some(*excursion);
            }
        }
        let Some(nearest) = shown.as_ref().map(near).or(nearest) else {
            tally.kept += 1;
            continue;
        };
        let (start, end) = shown.unwrap_or((time, time));
        let what = shown.map(|_| {
            let (name, word) = (&part.line.name, level.inverted().word());
            match (start > time, end <= time) {
                (true, _) => format!("{name} went {word} soon after the edge"),
                (_, true) => format!("{name} was {word} shortly before the edge"),
                _ => format!("{name} was {word} at the edge"),
            }
        });
        let occasion = Occasion {
            start: start.min(time),
            end: end.max(time),
            lines: &place,
        };
        tally.judged(verdict, (nearest.0, reach), nearest.1, occasion, what);
    }
    tally
}

/// Whether a < b for all true values, given the closest they can be; where there is any doubt, the ends are open.
fn surely_less(a: f64, b: f64, doubt: f64) -> bool {
    if doubt > 0.0 { a <= b } else { a < b }
}

/// No two lines at `level` at once. One occasion a start of `level` on one line while, or just after, another had it:
/// the measured value is the overlap, negative when there was a gap.
fn exclusive(parts: &[Part], level: Level, limits: Limits) -> Tally {
    let finest = parts.iter().map(|p| p.line.sample_ticks).fold(0.0, f64::max);
    let mut tally = Tally::new(limits, finest);
    let lines: Vec<&Line> = parts.iter().map(|p| p.line).collect();
    let has_stretches = lines.iter().any(|l| !l.stretches.is_empty());
    let begins = Polarity::towards(level).expect("low or high");
    let columns = lines.iter().map(|l| &l.edges[..]).collect();
    // Per line: since when it is at the level, and when it last left it.
    let mut since: Vec<Option<Ticks>> = lines
        .iter()
        .map(|l| (l.first == level).then_some(l.span.start))
        .collect();
    let mut left: Vec<Option<Ticks>> = vec![None; parts.len()];
    let mut seen = vec![0usize; parts.len()];
    let mut pending: Vec<(usize, usize, Ticks)> = Vec::new();
    for (i, j) in pairs(parts.len()) {
        if since[i].is_some() && since[j].is_some() {
            pending.push((i, j, common_span(&lines).start));
        }
    }
    let judge = |tally: &mut Tally, (a, b): (usize, usize), start: Ticks, end: Ticks| {
        if has_stretches && is_blind(&[lines[a], lines[b]], start, end) {
            tally.not_judged += 1;
            return;
        }
        // From b's start to a's end, whichever of the two ends first.
        let reach = Reach::between(parts[b].stamp, parts[a].stamp);
        let occasion = Occasion {
            start: start.min(end),
            end: end.max(start),
            lines: &[parts[a].index, parts[b].index],
        };
        tally.measure((end - start).0, reach, occasion);
    };
    for (time, i) in Merge::new(columns) {
        let polarity = lines[i].polarity(seen[i]);
        seen[i] += 1;
        if polarity == begins {
            since[i] = Some(time);
            let nearest = (0..parts.len())
                .filter(|&j| j != i && since[j].is_none())
                .filter_map(|j| Some((left[j]?, j)));
            let others: Vec<usize> = (0..parts.len())
                .filter(|&j| j != i && since[j].is_some())
                .collect();
            if others.is_empty() {
                match nearest.max() {
                    Some((end, j)) => judge(&mut tally, (j, i), time, end),
                    None => tally.kept += 1,
                }
            }
            pending.extend(others.into_iter().map(|j| (j, i, time)));
        } else {
            since[i] = None;
            left[i] = Some(time);
            let mut k = 0;
            while k < pending.len() {
                let (a, b, start) = pending[k];
                if a == i || b == i {
                    pending.swap_remove(k);
                    let (first, second) = if a == i { (a, b) } else { (b, a) };
                    judge(&mut tally, (first, second), start, time);
                } else {
                    k += 1;
                }
            }
        }
    }
    let end = common_span(&lines).end;
    for (a, b, start) in pending {
        judge(&mut tally, (a, b), start, end);
    }
    tally
}

/// All pairs i < j below n.
fn pairs(n: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..n).flat_map(move |i| (i + 1..n).map(move |j| (i, j)))
}
