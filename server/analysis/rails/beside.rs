//! Strays that come while a captured supply is outside its limits: then what moves the supply brings both.
//!
//! A part whose supply sags shows levels that its logic never gave. The strays then follow whatever loads the supply, after a
//! lag that a coupling could have as well, and nothing but the supply's own trace tells the two apart.

use super::{AGAINST_DIPS, RailResult};
use crate::analysis::findings::Finding;
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::Capture;
use crate::rule::Rail;

/// Strays that say something, the share of them inside excursions, and the chance at or below which that is none.
const FEWEST: usize = 5;
const MOST: f64 = 0.8;
const CHANCE: f64 = 1e-6;
/// Topics of findings about strays.
const OF_STRAYS: [&str; 4] = ["coupling", "inseparable", "uncaptured-cause", "stray"];

/// Adds to each finding on a line's strays that (nearly) all of them begin while a supply is outside its limits, where that
/// is no chance: their binomial tail under the share of the record that the excursions cover. Cost: strays of those lines ×
/// log of the excursions, for each supply.
pub fn tell(
    capture: &Capture,
    strays: &Strays,
    (supplies, results): (&[Rail], &[RailResult]),
    findings: &mut [Finding],
) {
    for finding in findings.iter_mut().filter(|f| OF_STRAYS.contains(&f.topic)) {
        let Some(victim) = finding.lines.first().and_then(|name| capture.line_index(name)) else {
            continue;
        };
        let of_victim = strays
            .of_line(victim)
            .iter()
            .filter(|s| s.kind != StrayKind::Bounce);
        let starts: Vec<i64> = of_victim.map(|s| s.start.0).collect();
        let beside = supplies.iter().zip(results).find_map(|(rail, result)| {
            let inside = inside(capture, &starts, result)?;
            Some((rail, inside))
        });
        if let Some((rail, inside)) = beside {
            let supply = &rail.line;
            finding.title = format!(
                "{}, while {supply} is outside its limits",
                finding.title.trim_end_matches('.')
            );
            finding.detail.push_str(&format!(
                " {inside} of its {} stray pulses begin while {supply} is outside its limits: what moves the supply brings them, and no neighbour need strike.",
                starts.len()
            ));
            finding.try_next.insert(
                0,
                format!(
                    "See to {supply} first, as its own finding says: {AGAINST_DIPS}, then repeat. Moving wires apart is for what is left."
                ),
            );
        }
    }
}

/// How many of the starts (ascending ticks) lie inside excursions, where that is most of them and no chance.
fn inside(capture: &Capture, starts: &[i64], result: &RailResult) -> Option<usize> {
    let excursions = &result.excursions;
    let is_inside = |start: &&i64| {
        let at = excursions.partition_point(|e| e.end.0 < **start);
        excursions.get(at).is_some_and(|e| e.start.0 <= **start)
    };
    let inside = starts.iter().filter(is_inside).count();
    let covered: i64 = excursions.iter().map(|e| (e.end - e.start).0 + 1).sum();
    let whole = (capture.span.end - capture.span.start).0.max(1);
    let share = (covered as f64 / whole as f64).min(1.0);
    let most = starts.len() >= FEWEST && inside as f64 >= MOST * starts.len() as f64;
    let told = most && binomial_upper(inside as u64, starts.len() as u64, share) <= CHANCE;
    told.then_some(inside)
}

#[cfg(test)]
mod tests {
    use super::super::Excursion;
    use super::*;
    use crate::model::{Ticks, TimeSpan};

    #[test]
    fn strays_inside_dips_are_told_unless_dips_are_everywhere() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let capture = Capture::in_nanoseconds("sagging", span, Vec::new());
        let dips = |length: i64| {
            let of = |n: i64| Excursion {
                start: Ticks(20_000 * n),
                end: Ticks(20_000 * n + length),
                extreme_v: 4.1,
                is_dip: true,
            };
            RailResult {
                excursions: (1..40).map(of).collect(),
                ..RailResult::default()
            }
        };
        let starts: Vec<i64> = (1..40).map(|n| 20_000 * n + 300).collect();
        assert_eq!(inside(&capture, &starts, &dips(1_000)), Some(39));
        // Beside the dips, and in dips that last nearly all the time.
        let beside: Vec<i64> = starts.iter().map(|t| t + 5_000).collect();
        assert_eq!(inside(&capture, &beside, &dips(1_000)), None);
        assert_eq!(inside(&capture, &starts, &dips(19_000)), None);
        assert_eq!(inside(&capture, &starts[..4], &dips(1_000)), None);
    }
}
