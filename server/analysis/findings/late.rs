//! Sentences about strays that follow the accused at other lags than its strikes do.

use super::coupling::switching;
use super::words::{count_of, span};
use super::{Finding, Severity};
use crate::analysis::coupling::{Attribution, Coupling, Edge, LONGEST_LAG_S, Standing};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{Stray, Strays};
use crate::model::{Capture, Level};

/// Strays that come after the accused line's edges as well, at other lags than its strikes.
pub struct Late<'a> {
    coupling: &'a Coupling,
    strays: u64,
    /// Least and greatest lag, in ticks; and those of its strikes.
    lags: (i64, i64),
    usual: (i64, i64),
    /// Whether some of those lags lie outside those of its strikes, by more than the sampling explains.
    loosely: bool,
}

/// "14 ns", "14 ns to 16 ns".
fn between(least: String, most: String) -> String {
    match least == most {
        true => least,
        false => format!("{least} to {most}"),
    }
}

/// Chance that the strays left over follow the accused as often as they do must be below this.
const LATE_CHANCE: f64 = 1e-3;

/// Whether most of the `open` strays of `line` follow an edge of a line that is accused of others, within the longest lag that
/// a coupling may have.
pub fn followers<'a>(
    capture: &Capture,
    strays: &Strays,
    attribution: &'a Attribution,
    line: usize,
    open: &[&Stray],
) -> Option<Late<'a>> {
    let reach = capture.timebase.ticks_of(LONGEST_LAG_S) + 2.0 * strays.sampling[line];
    let whole = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
    let accused = attribution
        .couplings
        .iter()
        .filter(|c| c.victim == line && c.standing == Standing::Clear);
    accused
        .filter_map(|coupling| {
            let of = &capture.lines[coupling.aggressor];
            let strikes = |edge: usize| match (coupling.edge, of.level_after(edge)) {
                (Edge::Both, _) => true,
                (Edge::Rise, level) => level == Level::High,
                (Edge::Fall, level) => level == Level::Low,
            };
            let lag = |stray: &Stray| {
                let before = of.edges.partition_point(|e| e.0 <= stray.start.0);
                let last = (0..before).rev().take(2).find(|&edge| strikes(edge))?;
                let lag = stray.start.0 - of.edges[last].0;
                (lag as f64 <= reach).then_some(lag)
            };
            let following: Vec<(i64, i64)> = open
                .iter()
                .filter_map(|stray| Some((lag(stray)?, stray.start.0)))
                .collect();
            let lags: Vec<i64> = following.iter().map(|&(lag, _)| lag).collect();
            let usual = coupling.occurrences.iter().map(|o| o.lag);
            let usual = (usual.clone().min().unwrap_or(0), usual.max().unwrap_or(0));
            let least = lags.iter().copied().min().unwrap_or(0);
            let resolution = strays.sampling[line].ceil() as i64;
            if least > usual.1 + resolution && nearer(capture, coupling, &following) {
                return None;
            }
            let striking = (0..of.edges.len()).filter(|&edge| strikes(edge)).count() as f64;
            let chance = (striking * reach / whole).min(1.0);
            let (k, n) = (lags.len() as u64, open.len() as u64);
            let beyond_chance = binomial_upper(k, n, chance) < LATE_CHANCE;
            (2 * k >= n && beyond_chance).then(|| Late {
                coupling,
                strays: k,
                usual,
                lags: (least, lags.iter().copied().max().unwrap_or(0)),
                loosely: least + resolution < usual.0 || lags.iter().any(|&lag| lag > usual.1 + resolution),
            })
        })
        .max_by_key(|late| late.strays)
}

/// Share of the strays that another line must come nearer to than the accused, for the accused not to be named with them.
const NEARER_SHARE: f64 = 0.8;

/// Whether edges of one polarity of another line come between most of the strays and the accused's edge that they `follow`:
/// pairs of lag and start, in ticks.
fn nearer(capture: &Capture, coupling: &Coupling, follow: &[(i64, i64)]) -> bool {
    let wanted = NEARER_SHARE * follow.len() as f64;
    let others = (0..capture.lines.len()).filter(|&l| l != coupling.victim && l != coupling.aggressor);
    others
        .flat_map(|l| [(l, Level::High), (l, Level::Low)])
        .any(|(other, level)| {
            let line = &capture.lines[other];
            let between = |&&(lag, start): &&(i64, i64)| {
                let first = line.edges.partition_point(|e| e.0 <= start - lag);
                let upto = line.edges.partition_point(|e| e.0 <= start);
                (first..upto).take(2).any(|edge| line.level_after(edge) == level)
            };
            follow.iter().filter(between).count() as f64 >= wanted
        })
}

impl Late<'_> {
    /// Says so: `of` strays in all has the line.
    pub fn finding(&self, capture: &Capture, line: usize, of: u64) -> Finding {
        let name = &capture.lines[line].name;
        let accused = switching(capture, self.coupling.aggressor, self.coupling.edge);
        let time = |ticks: f64| span(&capture.timebase, ticks);
        Finding {
            severity: Severity::Note,
            topic: "stray",
            lines: vec![name.clone(), capture.lines[self.coupling.aggressor].name.clone()],
            title: format!(
                "{name}: {} more of its {} probably come from {accused} too, which this capture can't show",
                self.strays,
                count_of(of, "stray pulse")
            ),
            detail: format!(
                "They come {} after it; those that are put down to it come {} after it. {}, and they are not in its count.",
                between(time(self.lags.0 as f64), time(self.lags.1 as f64)),
                between(time(self.usual.0 as f64), time(self.usual.1 as f64)),
                match self.loosely {
                    true => "They fit it too loosely to be put down to it",
                    false =>
                        "They fit its lag, but whether these edges of it strike or only go along, this capture doesn't settle",
                },
            ),
            try_next: vec![format!(
                "Nothing by itself: mend what the finding on {accused} says, and capture again. If these are gone too, it was the same cause; if some stay, look for another."
            )],
        }
    }
}
