//! What else happened in wrong steps: lines that moved then, and strays among their edges with what caused them.

use super::Tale;
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::suspects::able::gallop;
use crate::analysis::rules::Names;
use crate::analysis::rules::tally::Tally;
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::{Capture, Line, Polarity, Ticks};

/// A line that moved in wrong steps.
#[derive(Clone, Debug, PartialEq)]
pub struct Company {
    /// Position in the capture.
    pub line: usize,
    /// Wrong steps, and all steps, in which it has an edge.
    pub wrong: u64,
    pub all: u64,
    /// Its strays in wrong steps, by what caused them; filled in by [`link`].
    pub strays: Vec<CompanyStrays>,
}

/// Strays of a line in wrong steps that have one cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CompanyStrays {
    /// The line whose edges cause them by a clear coupling, and which edge; `None`: no cause is known.
    pub aggressor: Option<(usize, Polarity)>,
    /// Wrong steps with such a stray.
    pub steps: u64,
}

/// A step: strobe (closed) to the moment it was read (open), and whether it is wrong.
pub(super) struct Window {
    pub start: Ticks,
    pub end: Ticks,
    pub is_wrong: bool,
}

/// Which other lines had an edge while wrong steps were taken: the watched ones, and those that moved in at least half of
/// the wrong steps and at most half as often in the right ones (no source: round numbers to keep the list short).
/// Cost a line: the smaller of its edges and the steps, times the logarithm of the other.
pub(super) fn company(
    names: &Names,
    (parts, watch): (&[usize], &[usize]),
    windows: &[Window],
    wrong: u64,
) -> Vec<Company> {
    let mut company = Vec::new();
    if wrong == 0 {
        return company;
    }
    let right = windows.len() as u64 - wrong;
    for (i, line) in names.capture.lines.iter().enumerate() {
        if parts.contains(&i) {
            continue;
        }
        let (in_wrong, in_all) = moved(line, windows);
        let is_watched = watch.contains(&i);
        let is_tempting = 2 * in_wrong >= wrong && 2 * (in_all - in_wrong) * wrong <= in_wrong * right;
        if in_wrong > 0 && (is_watched || is_tempting) {
            company.push(Company {
                line: i,
                wrong: in_wrong,
                all: in_all,
                strays: Vec::new(),
            });
        }
    }
    company
}

/// In how many of the wrong steps, and of all, the line has an edge.
fn moved(line: &Line, windows: &[Window]) -> (u64, u64) {
    let (mut wrong, mut all) = (0, 0);
    let mut count = |window: &Window| {
        all += 1;
        wrong += u64::from(window.is_wrong);
    };
    let edges = &line.edges[..];
    if edges.len() < windows.len() {
        let mut at = 0;
        let mut counted = usize::MAX;
        for &edge in edges {
            at += gallop(&windows[at..], |window: &Window| window.end <= edge);
            let Some(window) = windows.get(at) else { break };
            if window.start <= edge && counted != at {
                counted = at;
                count(window);
            }
        }
    } else {
        let mut at = 0;
        for window in windows {
            at += gallop(&edges[at..], |&edge| edge < window.start);
            if edges.get(at).is_some_and(|&edge| edge < window.end) {
                count(window);
            }
        }
    }
    (wrong, all)
}

/// Finds the strays of a sequence's company in the wrong steps that are listed, and what caused them; says so with each
/// step. Cost: for each listed step and line of the company, the logarithm of its strays.
pub fn link(
    capture: &Capture,
    tale: &mut Tale,
    tally: &mut Tally,
    strays: &Strays,
    attribution: &Attribution,
) {
    for company in &mut tale.company {
        let of_line = strays.of_line(company.line);
        let first = strays.strays.partition_point(|stray| stray.line < company.line);
        for step in &mut tally.violations {
            let at = of_line.partition_point(|stray| stray.start < step.start);
            let within = |stray: &&crate::analysis::strays::Stray| {
                stray.start < step.end && stray.kind != StrayKind::Bounce
            };
            let Some(stray) = of_line.get(at).filter(within) else {
                continue;
            };
            let cause = attribution.causes.get(first + at).copied().flatten();
            let aggressor = cause.map(|c| (attribution.couplings[c.coupling].aggressor, c.polarity));
            match company.strays.iter_mut().find(|s| s.aggressor == aggressor) {
                Some(found) => found.steps += 1,
                None => company.strays.push(CompanyStrays { aggressor, steps: 1 }),
            }
            let name = |line: usize| capture.lines[line].name.as_str();
            let length = |ticks: i64| crate::model::units::seconds(capture.timebase.length_s(ticks as f64));
            let mut says = format!(
                "; {} shows a stray {} after the strobe",
                name(company.line),
                length((stray.start - step.start).0)
            );
            if let (Some((line, polarity)), Some(cause)) = (aggressor, cause) {
                says += &format!(", {} after {} {}", length(cause.lag), name(line), going(polarity));
            }
            step.what.get_or_insert_default().push_str(&says);
            if !step.lines.contains(&company.line) {
                step.lines.push(company.line);
            }
        }
        company
            .strays
            .sort_by_key(|s| (std::cmp::Reverse(s.steps), s.aggressor.is_none()));
    }
}

/// "falling": an edge in a sentence.
pub fn going(polarity: Polarity) -> &'static str {
    match polarity {
        Polarity::Rise => "rising",
        Polarity::Fall => "falling",
    }
}
