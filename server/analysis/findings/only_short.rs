//! One note on lines that show nothing but short pulses, of which nothing shows whether they are strays or the lines' job.
//!
//! A quiet line that is struck looks like a strobe: all its pulses of one level are short. Where their widths repeat they
//! are most likely a part's ([`super::unsure::plain_strobes`]), and where each edge of another line brings one they answer
//! it. The rest is an open question, which only the person can answer. A machine in health has such lines as well, so all
//! are gathered in one note.

use super::coupling::{edges_of, name, names};
use super::unsure::{self, MOST_NAMED};
use super::words::{count_of, list, span};
use super::{Finding, Severity};
use crate::analysis::coupling::{Attribution, EARLIEST_LAG_S, Edge, LONGEST_LAG_S};
use crate::analysis::stats::order::at_shares;
use crate::analysis::strays::widths::are_driven;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// Short pulses of one level of a line that shows hardly any other.
#[derive(Clone, Debug, PartialEq)]
pub struct OnlyShort {
    /// Index in the capture's lines.
    pub line: usize,
    pub level: Level,
    /// Least and greatest width, in ticks.
    pub widths: (i64, i64),
    /// Pulses of the level that are short.
    pub pulses: u64,
    /// Below this they would be strays, in ticks.
    limit: f64,
    /// Whom they follow, the first most of all: the edge, the pulses that follow it, and all such edges.
    pub follows: Vec<(usize, Edge, u64, u64)>,
}

/// No pulse looked at is longer: a kick into a weak pull-up lasts some 200 ns, and edges are known to a sample.
const LONGEST_S: f64 = 300e-9;
/// Fewer pulses are not worth a question.
const FEWEST: usize = 5;
/// Share of a level's pulses that are as good as all.
const NEARLY_ALL: f64 = 0.95;
/// The line rests for so many times as long as they last, more often than not.
const RESTING: i64 = 4;
/// Widths whose ninth tenth is no farther beyond the first than this share and two samples are one, where samples are fine
/// enough to show it.
const ONE_WIDTH: f64 = 0.15;
/// A leader comes before this share of the pulses, and this many times as many as chance has it; a second one before this
/// share of those that are left. One whose edges are answered so often is answered on purpose.
const LEADS: f64 = 0.4;
const BEYOND_CHANCE: f64 = 3.0;
const LEADS_REST: f64 = 0.7;
const EVERY: f64 = 0.95;

/// All such lines, in their order. Cost: linear in the edges of lines without a limit; for those that show short pulses,
/// these × log of the edges of each other line.
pub fn all(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<OnlyShort> {
    let unsure = attribution.unsure.iter();
    let mut found: Vec<OnlyShort> = unsure
        .filter(|u| unsure::is_too_coarse(strays, u))
        .map(|u| OnlyShort {
            line: u.crowd.line,
            level: u.crowd.level,
            widths: (u.crowd.widths[0], u.crowd.widths[2]),
            pulses: u.crowd.pulses,
            limit: u.crowd.limit,
            follows: u.follows.into_iter().collect(),
        })
        .collect();
    let is_told = |line: usize, level: Level| {
        let mut answers = attribution.answers.iter();
        let mut own = attribution.own.iter();
        let mut unsure = attribution.unsure.iter();
        answers.any(|a| a.is_of(line, level))
            || own.any(|o| (o.line, o.level) == (line, level))
            || unsure.any(|u| (u.crowd.line, u.crowd.level) == (line, level))
            || attribution
                .sent
                .iter()
                .any(|s| (s.line, s.level) == (line, level))
            || attribution.hazards.iter().any(|h| h.victim == line)
            || attribution.couplings.iter().any(|c| c.victim == line)
    };
    let lines = 0..capture.lines.len();
    let levels = lines.flat_map(|line| [(line, Level::Low), (line, Level::High)]);
    let open = levels.filter(|&(line, level)| {
        capture.lines[line].same_as.is_none()
            && strays.limits[line].origin != LimitOrigin::Setup
            && strays.limits[line].of(level).is_none()
            && !strays.bursts.iter().any(|b| b.line == line)
            && !is_told(line, level)
            && !attribution.stated.contains(&(line, level))
    });
    found.extend(open.filter_map(|(line, level)| only_short(capture, strays, line, level)));
    found.sort_by_key(|one| one.line);
    found
}

fn only_short(capture: &Capture, strays: &Strays, line: usize, level: Level) -> Option<OnlyShort> {
    let longest = capture.timebase.ticks_of(LONGEST_S) as i64;
    let (mut short, mut all, mut rests, mut long_rests) = (Vec::new(), 0u64, 0u64, 0u64);
    for pulse in capture.lines[line].pulses() {
        let width = pulse.width().0;
        if pulse.level == level {
            all += 1;
            short.extend((width <= longest).then_some([pulse.start.0, width]));
        } else {
            rests += 1;
            long_rests += u64::from(width >= RESTING * longest);
        }
    }
    if short.len() < FEWEST || (short.len() as f64) < NEARLY_ALL * all as f64 || 2 * long_rests <= rests {
        return None;
    }
    let mut widths: Vec<i64> = short.iter().map(|[_, width]| *width).collect();
    widths.sort_unstable();
    let (sampling, ns) = (strays.sampling[line], capture.timebase.ticks_of(1e-9));
    let [first, last] = at_shares(&widths, [0.1, 0.9])?.map(|w| w as f64);
    let as_ticks: Vec<f64> = widths.iter().map(|&w| w as f64).collect();
    let shows_width = as_ticks[as_ticks.len() / 2] >= unsure::SHOW_WIDTH * sampling;
    let repeats = last - first <= ONE_WIDTH * first + 2.0 * sampling.max(1.0);
    if shows_width && (repeats || are_driven(&as_ticks, sampling, ns)) {
        return None;
    }
    let starts: Vec<i64> = short.iter().map(|[start, _]| *start).collect();
    let follows = followed(capture, strays, line, &starts);
    let is_answer = |(_, _, count, of): &(usize, Edge, u64, u64)| *count as f64 >= EVERY * *of as f64;
    let most = widths[widths.len() - 1];
    (!follows.iter().any(is_answer)).then_some(OnlyShort {
        line,
        level,
        widths: (widths[0], most),
        pulses: starts.len() as u64,
        limit: 1.2 * most as f64 + sampling,
        follows,
    })
}

/// Whom pulses that start so follow: the edge that comes before most of them, and one that comes before most of the others.
fn followed(capture: &Capture, strays: &Strays, line: usize, starts: &[i64]) -> Vec<(usize, Edge, u64, u64)> {
    let mut left = starts.to_vec();
    let mut found: Vec<(usize, Edge, u64, u64)> = Vec::new();
    let span = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
    for share in [LEADS, LEADS_REST] {
        let others = (0..capture.lines.len()).filter(|&o| o != line && capture.lines[o].same_as.is_none());
        let asked = others.flat_map(|other| [(other, Polarity::Rise), (other, Polarity::Fall)]);
        let leader = asked
            .filter_map(|(other, polarity)| {
                let samples = strays.sampling[line] + strays.sampling[other];
                let window = (
                    (capture.timebase.ticks_of(EARLIEST_LAG_S).min(samples)).ceil() as i64,
                    (capture.timebase.ticks_of(LONGEST_LAG_S) + samples).ceil() as i64,
                );
                let record = &capture.lines[other];
                let so: Vec<i64> = left
                    .iter()
                    .copied()
                    .filter(|&s| is_after(record, polarity, s, window))
                    .collect();
                let of = (0..record.edges.len())
                    .filter(|&e| record.polarity(e) == polarity)
                    .count();
                let chance = left.len() as f64 * of as f64 * (window.0 + window.1) as f64 / span;
                let leads = so.len() >= FEWEST.min(starts.len())
                    && so.len() as f64 >= share * left.len() as f64
                    && so.len() as f64 >= BEYOND_CHANCE * chance;
                leads.then_some((other, polarity, so, of as u64))
            })
            // Of two that come before as many, the one that switches more seldom.
            .max_by(|a, b| a.2.len().cmp(&b.2.len()).then(b.3.cmp(&a.3)));
        let Some((other, polarity, so, of)) = leader else {
            break;
        };
        found.push((other, polarity.into(), so.len() as u64, of));
        left.retain(|s| so.binary_search(s).is_err());
        if left.len() < FEWEST {
            break;
        }
    }
    found
}

/// Whether an edge of that polarity comes within `window` (early, late) of `start`.
fn is_after(record: &Line, polarity: Polarity, start: i64, (early, late): (i64, i64)) -> bool {
    let from = record.edges.partition_point(|e| e.0 < start - late);
    let near = record.edges[from..].iter().take_while(|e| e.0 <= start + early);
    let mut near = near.enumerate();
    near.any(|(at, _)| record.polarity(from + at) == polarity)
}

/// The title of the note on these lines.
pub fn title(capture: &Capture, found: &[OnlyShort]) -> String {
    let mut lines: Vec<usize> = found.iter().map(|one| one.line).collect();
    lines.dedup();
    let named = names(capture, &lines[..lines.len().min(MOST_NAMED)]);
    let (whose, show, its) = match (named.as_slice(), lines.len() - named.len()) {
        ([only], 0) => (only.clone(), "shows", "its"),
        (_, 0) => (list(&named), "show", "their"),
        (_, 1) => (format!("{} and 1 more line", named.join(", ")), "show", "their"),
        (_, more) => (
            format!("{} and {more} more lines", named.join(", ")),
            "show",
            "their",
        ),
    };
    format!("{whose} {show} nothing but short pulses; strays or {its} job, this capture can't tell")
}

/// The note on all of them; none where there are none.
pub fn finding(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Option<Finding> {
    let found = all(capture, strays, attribution);
    let least = found.iter().map(|one| one.widths.0).min()?;
    let limit = found.iter().map(|one| one.limit).fold(0.0, f64::max);
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let one = |one: &OnlyShort| {
        let (least, most) = (time(one.widths.0 as f64), time(one.widths.1 as f64));
        let wide = match least == most {
            true => least,
            false => format!("{least} to {most}"),
        };
        let follow = one.follows.iter().map(|&(to, edge, count, of)| {
            format!(
                "{count} of them after {} of {} ({of} in all)",
                edges_of(edge),
                name(capture, to)
            )
        });
        let follow: Vec<String> = follow.collect();
        format!(
            "{}: {} of {wide}, {}",
            name(capture, one.line),
            count_of(one.pulses, &format!("{} pulse", one.level.word())),
            match follow.as_slice() {
                [] => "after no captured line's edges for the most part".to_owned(),
                follow => list(follow),
            }
        )
    };
    let told: Vec<String> = found.iter().take(MOST_NAMED).map(one).collect();
    let more = match found.len() - told.len() {
        0 => String::new(),
        more => format!("; and so {more} more"),
    };
    let mut lines: Vec<usize> = Vec::new();
    let followed = found.iter().flat_map(|one| one.follows.iter().map(|f| f.0));
    for line in found.iter().map(|one| one.line).chain(followed) {
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    Some(Finding {
        severity: Severity::Note,
        topic: "stray",
        title: title(capture, &found),
        detail: format!(
            "{}{more}. Their widths don't show that a part drives them, and longer pulses to compare them with there are none.",
            told.join("; ")
        ),
        try_next: vec![
            format!(
                "If a part drives such a line, nothing is to be done; narrow_below = \"{}\" for it in the setup says so, and it is not told again.",
                time(least as f64 / 2.0)
            ),
            format!(
                "If none does, say narrow_below = \"{}\" for it: they are then counted as strays, and whatever brings them is named. Where only single ones are strays, step to these and judge them.",
                time(limit)
            ),
        ],
        lines: names(capture, &lines),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays::StrayOptions;
    use crate::model::{Ticks, TimeSpan};

    /// ERR_N dips for 60 to 165 ticks after three of seven falls of each of two lines; `every`: after each of them.
    /// `width`: of the dips.
    fn told(width: impl Fn(i64) -> i64, is_struck: impl Fn(i64) -> bool) -> Option<Finding> {
        let span = TimeSpan::new(Ticks(0), Ticks(6_000_000));
        let (mut ready, mut latch, mut dips) = (Vec::new(), Vec::new(), Vec::new());
        for n in 0..100i64 {
            for (line, at) in [(&mut ready, 10_000), (&mut latch, 31_000)] {
                let at = 50_000 * n + at + 97 * (n % 7);
                line.extend([at - 2_000, at]);
                dips.extend(is_struck(n).then(|| [at + 30 + n % 11, at + 30 + n % 11 + width(n + at)]));
            }
        }
        let line = |name: &str, rest: Level, edges: Vec<i64>| {
            Line::digital(name, rest, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![
            line("ERR_N", Level::High, dips.into_iter().flatten().collect()),
            line("READY", Level::Low, ready),
            line("LATCH", Level::Low, latch),
        ];
        let capture = Capture::in_nanoseconds("quiet", span, lines);
        let (strays, attribution) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
        finding(&capture, &strays, &attribution)
    }

    #[test]
    fn a_quiet_line_with_nothing_but_short_pulses_is_asked_about() {
        let found = told(|n| 60 + n * 37 % 106, |n| n % 7 < 3).unwrap();
        assert_eq!(
            found.title,
            "ERR_N shows nothing but short pulses; strays or its job, this capture can't tell"
        );
        assert_eq!(found.severity, Severity::Note);
        assert!(
            found.detail.starts_with(
                "ERR_N: 88 low pulses of 61 ns to 161 ns, 44 of them after falls of LATCH (100 in all) and 44 of them after falls of READY (100 in all)."
            ),
            "{}",
            found.detail
        );
    }

    #[test]
    fn widths_that_repeat_and_edges_that_are_all_answered_are_not_asked_about() {
        assert_eq!(told(|n| 100 + n % 3, |n| n % 7 < 3), None);
        assert_eq!(told(|n| 60 + n * 37 % 106, |_| true), None);
    }
}
