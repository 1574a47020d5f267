//! Which captured line's edges come before strays that nobody is accused of, whatever speaks against it.

use super::words::{count_of, span};
use crate::analysis::coupling::suspects::able::any_within;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{Stray, Strays};
use crate::model::Capture;

/// Chance, all lines allowed for, at or below which a line's edges are said to come before strays.
pub(super) const CHANCE: f64 = 1e-4;

/// A line whose edges come before strays.
pub(super) struct Company {
    pub(super) line: usize,
    pub(super) strays: u64,
    /// So many of them by chance.
    pub(super) expected: f64,
    pub(super) chance: f64,
}

/// A sentence on which line's edges come in the `within` ticks before the strays of a line, with a space before it, and
/// what to try; none where none do oftener than chance has it, or where fewer than `least` (a share) of the strays do.
/// Cost: linear in the edges of all lines.
pub(super) fn says(
    capture: &Capture,
    strays: &Strays,
    line: usize,
    open: &[&Stray],
    within: i64,
    least: f64,
) -> Option<(String, String)> {
    let name = &capture.lines[line].name;
    let window = span(&capture.timebase, within as f64);
    let lines = 0..capture.lines.len();
    let others = lines.filter(|&other| other != line && capture.lines[other].same_as.is_none());
    let starts: Vec<i64> = open.iter().map(|s| s.start.0).collect();
    let all: Vec<Company> = others
        .map(|other| {
            let record = &capture.lines[other];
            let whole = (record.span.end.0 - record.span.start.0).max(1) as f64;
            company(record.ticks(), whole, other, &starts, within)
        })
        .collect();
    let tried = all.len() as f64;
    let most = all
        .into_iter()
        .filter(|company| company.chance * tried <= CHANCE)
        .min_by(|a, b| a.chance.total_cmp(&b.chance))
        .filter(|company| company.strays as f64 >= least * open.len() as f64)?;
    let other = &capture.lines[most.line].name;
    let of = open.len() as u64;
    let behind = behind_strays(strays, most.line, &starts, within);
    if behind as f64 >= BY_STRAYS * most.strays as f64 {
        return Some((
            format!(
                " {behind} of {} come in the {window} after a stray of {other} began or ended: what strikes both, a dip of their supply, a motor or a relay nearby, is likelier than that one brings the other; or one passes on what strikes the other.",
                count_of(of, "stray")
            ),
            format!(
                "Look first for what {name} and {other} share: the supply and 0 V leads of their board, and what switches motors or coils beside their wires."
            ),
        ));
    }
    let follows = following(capture, most.line, line, within);
    let edges = capture.lines[most.line].edges.len();
    let also = match 2 * follows > edges {
        true => format!("; {follows} of its {edges} edges follow edges of {name}'s"),
        false => String::new(),
    };
    let says = format!(
        " Edges of {other} come in the {window} before {} of {}, {:.1} by chance{also}. Whether these bring the strays this capture can't \
         tell: nobody is accused.",
        most.strays,
        count_of(of, "stray"),
        most.expected
    );
    let first =
        format!("Look at {other} first: hold it still, or lead its wire away from {name}'s, and repeat.");
    Some((says, first))
}

/// Share of the strays behind another line's edges that come behind strays of that line, where both are struck.
const BY_STRAYS: f64 = 0.8;

/// How many of these moments (ascending ticks) come within so many ticks after an edge of a stray of a line.
fn behind_strays(strays: &Strays, line: usize, moments: &[i64], within: i64) -> usize {
    let of_line = strays.of_line(line).iter();
    let mut edges: Vec<i64> = of_line.flat_map(|s| [s.start.0, s.start.0 + s.width.0]).collect();
    edges.sort_unstable();
    let is_behind = |&&at: &&i64| any_within(&edges, at - within, at);
    moments.iter().filter(is_behind).count()
}

/// That no line's edges do.
pub(super) fn none_do(capture: &Capture, within: i64) -> String {
    let window = span(&capture.timebase, within as f64);
    format!(" No captured line's edges come in the {window} before them more often than chance has it.")
}

/// How many edges of a line come within so many ticks after an edge of another.
fn following(capture: &Capture, line: usize, other: usize, within: i64) -> usize {
    let before = capture.lines[other].ticks();
    let is_after = |&&at: &&i64| any_within(before, at - within, at - 1);
    capture.lines[line].ticks().iter().filter(is_after).count()
}

/// How many `moments` come within so many ticks after one of `edges` (both ascending ticks), which are a line's over
/// `whole` ticks, and how many would by chance.
pub(super) fn company(edges: &[i64], whole: f64, line: usize, moments: &[i64], within: i64) -> Company {
    let is_after = |&&at: &&i64| any_within(edges, at - within, at);
    let strays = moments.iter().filter(is_after).count() as u64;
    let pauses = edges.windows(2).map(|pair| (pair[1] - pair[0]).min(within + 1));
    let covered = ((pauses.sum::<i64>() + within + 1) as f64 / whole).min(1.0);
    Company {
        line,
        strays,
        expected: covered * moments.len() as f64,
        chance: binomial_upper(strays, moments.len() as u64, covered),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::StrayKind;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// What is said of twenty strays of PEG that come `lag(n)` after an edge of BELL.
    fn said(lag: impl Fn(i64) -> i64) -> Option<(String, String)> {
        said_with(lag, &Strays::default())
    }

    /// The same with strays of BELL's.
    fn said_with(lag: impl Fn(i64) -> i64, of_bell: &Strays) -> Option<(String, String)> {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let bell: Vec<i64> = (1..41).map(|n| 20_000 * n).collect();
        let strays: Vec<Stray> = (1..21)
            .map(|n| Stray {
                line: 1,
                edge: None,
                start: Ticks(40_000 * n + lag(n)),
                width: Ticks(20),
                level: Level::High,
                kind: StrayKind::Pulse,
            })
            .collect();
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("BELL", bell), line("PEG", Vec::new())];
        let capture = Capture::in_nanoseconds("company", span, lines);
        says(&capture, of_bell, 1, &strays.iter().collect::<Vec<_>>(), 120, 0.0)
    }

    #[test]
    fn a_line_whose_edges_come_before_strays_is_named_and_not_accused() {
        let (says, first) = said(|n| 5 * n).unwrap();
        // 40 windows of 121 ticks in 1,000,000, times 20 strays.
        assert!(
            says.contains("Edges of BELL come in the 120 ns before 20 of 20 strays, 0.1 by chance"),
            "{says}"
        );
        assert!(says.ends_with("nobody is accused.") && first.starts_with("Look at BELL first"));
        assert_eq!(said(|n| 700 * n), None);
    }

    #[test]
    fn strays_behind_strays_of_another_line_are_put_down_to_what_strikes_both() {
        let of_bell = (1..41).map(|n| Stray {
            line: 0,
            edge: None,
            start: Ticks(20_000 * n),
            width: Ticks(15),
            level: Level::High,
            kind: StrayKind::Pulse,
        });
        let of_bell = Strays {
            strays: of_bell.collect(),
            ..Strays::default()
        };
        let (says, first) = said_with(|n| 5 * n, &of_bell).unwrap();
        assert!(
            says.contains("20 of 20 strays come in the 120 ns after a stray of BELL"),
            "{says}"
        );
        assert!(
            first.starts_with("Look first for what PEG and BELL share"),
            "{first}"
        );
    }
}
