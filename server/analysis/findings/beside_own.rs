//! Strays beside edges of the line's own: it may ring as it switches, switch twice, or be struck by a neighbour just then.

use super::before::{CHANCE, Company, company};
use crate::analysis::coupling::suspects::places::{Place, Places};
use crate::analysis::coupling::suspects::victims;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Level};

/// Share of the strays that come soon after edges of the line's own where it is said to ring.
const RINGING: f64 = 0.9;

/// A sentence, with a space before it, where all `open` strays of a line lie too near to edges of its own to accuse anybody
/// and most not before them, or where nearly all come in the `within` ticks after such edges. Cost: linear in the line's
/// edges.
pub(super) fn says(
    capture: &Capture,
    strays: &Strays,
    line: usize,
    open: &[&Stray],
    within: i64,
) -> Option<String> {
    let lie = if are_beside(capture, strays, line, open) && mostly_after(capture, line, open) {
        match open.len() {
            1 => "It lies beside",
            _ => "All lie beside",
        }
    } else if is_kept(&keep_to_own(capture, line, open, within, Side::After), open) {
        "They come soon after"
    } else {
        return None;
    };
    let name = &capture.lines[line].name;
    Some(format!(
        " {lie} edges of {name}'s own: whether it rings as it switches or a neighbour strikes it just then, this capture can't tell."
    ))
}

/// Whether all strays lie too near to edges of the line's own to accuse anybody. Cost: linear in the line's strays.
fn are_beside(capture: &Capture, strays: &Strays, line: usize, open: &[&Stray]) -> bool {
    let guard = victims::guard_of(strays, line);
    let places = Places::of(&capture.lines[line], strays, line, guard);
    let mut apart = open.iter().filter(|s| places.at(s) != Place::Beside);
    let [low, high] = [Level::Low, Level::High].map(|level| {
        let shows = apart.clone().any(|s| s.level == level);
        shows && victims::rings(capture, strays, line, level)
    });
    apart.all(|s| if s.level == Level::Low { low } else { high })
}

/// Whether most strays have the nearer edge of the line's own before them: no ringing comes before the edge that rings.
fn mostly_after(capture: &Capture, line: usize, open: &[&Stray]) -> bool {
    let edges = &capture.lines[line].edges;
    let is_after = |stray: &&&Stray| {
        let Some(edge) = stray.edge else { return true };
        let before = edge.checked_sub(1).map(|before| stray.start.0 - edges[before].0);
        let end = stray.start.0 + stray.width.0;
        let after = edges.get(edge + 2).map(|after| after.0 - end);
        before.unwrap_or(i64::MAX) <= after.unwrap_or(i64::MAX)
    };
    2 * open.iter().filter(is_after).count() >= open.len()
}

/// A sentence, with a space before it, where nearly all strays end in the `within` ticks before edges of the line's own, or
/// lie so near to one on either side.
pub(super) fn says_either(capture: &Capture, line: usize, open: &[&Stray], within: i64) -> Option<String> {
    let name = &capture.lines[line].name;
    let [before, after] =
        [Side::Before, Side::After].map(|side| keep_to_own(capture, line, open, within, side));
    let either = Company {
        strays: before.strays + after.strays,
        chance: before.chance.max(after.chance),
        ..after
    };
    let lie = if is_kept(&before, open) {
        "come soon before"
    } else if is_kept(&either, open) {
        "lie close before or behind"
    } else {
        return None;
    };
    Some(format!(
        " They {lie} edges of {name}'s own, as if it switched, fell back and switched again: a wire that reflects, or a slow edge, does so; and so does a neighbour that switches at about the same time."
    ))
}

/// What to try where a line may ring or reflect.
pub(super) fn look(name: &str) -> String {
    format!(
        "Look at one of these edges of {name} with a scope, its ground clip on the machine's 0 V only and as near as can be: a swing that dies away is ringing, and some tens of ohms in series at the driver or a shorter return wire damp it."
    )
}

/// On which side of edges of the line's own strays lie.
#[derive(Clone, Copy, PartialEq)]
enum Side {
    Before,
    After,
}

/// How many strays begin within so many ticks after an edge of the line's own, or end so long before one.
fn keep_to_own(capture: &Capture, line: usize, open: &[&Stray], within: i64, side: Side) -> Company {
    let record = &capture.lines[line];
    let ends = |s: &Stray| [s.start.0, s.start.0 + s.width.0];
    let mut of_strays: Vec<i64> = open.iter().flat_map(|s| ends(s)).collect();
    of_strays.sort_unstable();
    let own = record.ticks().iter().copied();
    let own: Vec<i64> = own.filter(|at| of_strays.binary_search(at).is_err()).collect();
    let moments: Vec<i64> = open
        .iter()
        .map(|s| ends(s)[usize::from(side == Side::Before)])
        .collect();
    // Seen backwards, what comes before comes after.
    let (own, moments) = match side {
        Side::After => (own, moments),
        Side::Before => (backwards(own), backwards(moments)),
    };
    let span = (record.span.end.0 - record.span.start.0).max(1) as f64;
    company(&own, span, line, &moments, within)
}

/// Whether nearly all strays are of that company, and that is no chance.
fn is_kept(company: &Company, open: &[&Stray]) -> bool {
    company.strays as f64 >= RINGING * open.len() as f64 && company.chance <= CHANCE
}

/// Ascending times as seen backwards.
fn backwards(times: Vec<i64>) -> Vec<i64> {
    times.into_iter().rev().map(|time| -time).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Line, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    /// What is said of CLEAR_N, low for 3,000 ticks, which two times of three dips for 30 `away` ticks after it has risen, or
    /// before it falls where that is negative.
    fn said(away: i64) -> Option<String> {
        let (capture, strays) = dipped(away);
        let open: Vec<&Stray> = strays.strays.iter().collect();
        says(&capture, &strays, 0, &open, 120)
    }

    /// The same of edges after them.
    fn said_before(away: i64) -> Option<String> {
        let (capture, strays) = dipped(away);
        let open: Vec<&Stray> = strays.strays.iter().collect();
        says_either(&capture, 0, &open, 120)
    }

    fn dipped(away: i64) -> (Capture, Strays) {
        let span = TimeSpan::new(Ticks(0), Ticks(450_000));
        let dips = |n: i64| {
            let at = 20_000 * n;
            let dip = match away < 0 {
                true => [at + away - 30, at + away],
                false => [at + 3_000 + away, at + 3_030 + away],
            };
            let shown = dip.into_iter().filter(move |_| n % 3 != 0);
            [at, at + 3_000].into_iter().chain(shown)
        };
        let mut edges: Vec<i64> = (1..20).flat_map(dips).collect();
        edges.sort_unstable();
        let edges = edges.into_iter().map(Ticks).collect();
        let line = Line::digital("CLEAR_N", Level::High, edges, span);
        let capture = Capture::in_nanoseconds("ringing", span, vec![line]);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let strays = find(&capture, &options);
        assert!(strays.strays.len() > 5);
        (capture, strays)
    }

    #[test]
    fn strays_soon_after_own_edges_may_be_ringing() {
        assert!(said(40).is_some_and(|says| says.contains("All lie beside edges of CLEAR_N's own")));
        assert!(said(100).is_some_and(|says| says.contains("They come soon after edges of CLEAR_N's own")));
        assert_eq!(said(4_000), None);
        // No line rings before it switches.
        assert_eq!(said(-40), None);
        assert!(said_before(-40).is_some_and(|says| says.contains("soon before edges of CLEAR_N's own")));
        assert_eq!(said_before(-4_000), None);
    }
}
