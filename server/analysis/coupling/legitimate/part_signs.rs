//! What shows that a part makes short pulses: another line ends them, the line's long pulses begin likewise, or their widths go with how
//! long what brings them had rested.

use super::crowds::{Crowd, MOST};
use crate::analysis::coupling::{Coupling, EARLIEST_LAG_S, LONGEST_LAG_S, Occurrence};
use crate::analysis::stats::ranks::rank_correlation;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Line, Polarity};

/// Share of the crowd's ends, within [`STEADY_S`] after another line's edges, which shows that those end the pulses.
const STEADY_S: f64 = 5e-9;
/// Long pulses that can show whose they are, and the share of them that must not follow the suspect.
const FEWEST_LONG: usize = 3;
const OWN: f64 = 0.5;
/// Rank correlation of widths and rests from which on they go together, and so many standard deviations of none, 1/√(n − 1) each: a
/// chance of some 1 in 5,000.
const GOES_ALONG: f64 = 0.5;
const DEVIATIONS: f64 = 3.7;

/// Whether the widths grow or shrink with how long the suspect had been at rest: a monostable that has not recovered yet, or a cable that
/// has not discharged, makes such pulses, and what is induced knows nothing of it.
pub(super) fn goes_with_rest(capture: &Capture, strays: &Strays, crowd: &Crowd, row: &Coupling) -> bool {
    let edges = &capture.lines[row.aggressor].edges;
    // After rises it rested low, and after falls high: each by itself.
    [Polarity::Rise, Polarity::Fall].into_iter().any(|polarity| {
        let of_level =
            |o: &&Occurrence| o.polarity == polarity && strays.strays[o.stray].level == crowd.level;
        let rest_and_width = |o: &Occurrence| {
            let before = edges.partition_point(|e| e.0 < o.at).checked_sub(1)?;
            Some((o.at - edges[before].0, strays.strays[o.stray].width.0))
        };
        let pairs: Vec<(i64, i64)> = row
            .occurrences
            .iter()
            .filter(of_level)
            .filter_map(rest_and_width)
            .collect();
        let deviations = (pairs.len() as f64 - 1.0).max(0.0).sqrt();
        rank_correlation(&pairs).is_some_and(|r| r.abs() >= GOES_ALONG && r.abs() * deviations >= DEVIATIONS)
    })
}

/// Whether another line's edges end most of the pulses, at one distance.
pub(super) fn are_ended(capture: &Capture, crowd: &Crowd, followers: &[&Stray]) -> bool {
    let (early, late) = (
        capture.timebase.ticks_of(EARLIEST_LAG_S) as i64,
        capture.timebase.ticks_of(LONGEST_LAG_S) as i64,
    );
    let steady = capture.timebase.ticks_of(STEADY_S) as i64;
    let ended_by = |line: &Line| {
        let mut lags: Vec<i64> = Vec::new();
        for stray in followers {
            let end = stray.start.0 + stray.width.0;
            // An edge before the pulse may have begun it; of one width it would lie at one distance from the end as well.
            let from = line
                .edges
                .partition_point(|e| e.0 <= stray.start.0.max(end - late));
            let near = line.edges[from..].iter().take_while(|e| e.0 <= end + early);
            lags.extend(near.map(|e| end - e.0));
        }
        lags.sort_unstable();
        let width = steady + 2 * line.sample_ticks.ceil() as i64;
        let within = |at: usize| lags[at..].partition_point(|&l| l <= lags[at] + width);
        let most = (0..lags.len()).map(within).max().unwrap_or(0);
        most as f64 >= MOST * followers.len() as f64
    };
    let mut others = capture
        .lines
        .iter()
        .enumerate()
        .filter(|(at, _)| *at != crowd.line);
    others.any(|(_, line)| ended_by(line))
}

/// Whether the level's long pulses follow the suspect as well: then it drives the line.
pub(super) fn is_own(capture: &Capture, crowd: &Crowd, row: &Coupling) -> bool {
    if crowd.others.len() < FEWEST_LONG {
        return false;
    }
    let edges = &capture.lines[row.aggressor].edges;
    let slack = capture.timebase.ticks_of(STEADY_S) + capture.lines[crowd.line].sample_ticks;
    let follows = |&&start: &&i64| {
        let from = edges.partition_point(|e| (e.0 as f64) < start as f64 - row.lag.high - slack);
        edges
            .get(from)
            .is_some_and(|e| e.0 as f64 <= start as f64 - row.lag.low + slack)
    };
    let own = crowd.others.iter().filter(follows).count();
    own as f64 > OWN * crowd.others.len() as f64
}
