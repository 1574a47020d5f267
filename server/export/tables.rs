//! The tables that go out: strays, couplings, links, lags of a report, and the edges of a capture.

use super::{Cells, Table};
use crate::model::Capture;
use crate::report::Interval;
use crate::report::Median;
use crate::report::inspect::InspectReport;

/// A table by its word; the words are also the file names that choose it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    Strays,
    Couplings,
    Links,
    Lags,
}

impl Which {
    /// All tables, in the order of help texts.
    pub const ALL: [Which; 4] = [Which::Strays, Which::Couplings, Which::Links, Which::Lags];

    /// The word that chooses it, on the command line and in addresses.
    pub fn word(self) -> &'static str {
        match self {
            Which::Strays => "strays",
            Which::Couplings => "couplings",
            Which::Links => "links",
            Which::Lags => "lags",
        }
    }

    /// The table of a report.
    pub fn of(self, report: &InspectReport) -> Table {
        match self {
            Which::Strays => strays(report),
            Which::Couplings => couplings(report),
            Which::Links => links(report),
            Which::Lags => lags(report),
        }
    }
}

fn text<T>(rows: &[T], cell: impl Fn(&T) -> &str) -> Cells {
    Cells::Text(rows.iter().map(|row| Some(cell(row).to_owned())).collect())
}

fn maybe_text<T>(rows: &[T], cell: impl Fn(&T) -> Option<String>) -> Cells {
    Cells::Text(rows.iter().map(cell).collect())
}

fn real<T>(rows: &[T], cell: impl Fn(&T) -> f64) -> Cells {
    Cells::Real(rows.iter().map(|row| Some(cell(row))).collect())
}

fn maybe_real<T>(rows: &[T], cell: impl Fn(&T) -> Option<f64>) -> Cells {
    Cells::Real(rows.iter().map(cell).collect())
}

fn count<T>(rows: &[T], cell: impl Fn(&T) -> u64) -> Cells {
    Cells::Count(rows.iter().map(|row| i64::try_from(cell(row)).ok()).collect())
}

fn strays(report: &InspectReport) -> Table {
    let rows = &report.strays;
    Table {
        columns: vec![
            ("line", text(rows, |r| &r.line)),
            ("start_s", real(rows, |r| r.start_s)),
            ("width_s", real(rows, |r| r.width_s)),
            ("level", text(rows, |r| &r.level)),
            ("kind", text(rows, |r| &r.kind)),
            ("aggressor", maybe_text(rows, |r| r.aggressor.clone())),
            ("edge", maybe_text(rows, |r| r.edge.clone())),
            ("lag_s", maybe_real(rows, |r| r.lag_s)),
        ],
    }
}

fn couplings(report: &InspectReport) -> Table {
    let rows = &report.couplings;
    let rate = |pick: fn(&Interval) -> f64| real(rows, |r| pick(&r.strike_rate));
    let lag = |pick: fn(&Median) -> f64| real(rows, |r| pick(&r.lag_s));
    Table {
        columns: vec![
            ("victim", text(rows, |r| &r.victim)),
            ("aggressor", text(rows, |r| &r.aggressor)),
            ("edge", text(rows, |r| &r.edge)),
            ("strays", count(rows, |r| r.strays)),
            ("opportunities", count(rows, |r| r.opportunities)),
            ("strays_beside", count(rows, |r| r.strays_beside)),
            ("victim_strays", count(rows, |r| r.victim_strays)),
            ("expected_by_chance", real(rows, |r| r.expected_by_chance)),
            ("p_value", real(rows, |r| r.p_value)),
            ("q_value", real(rows, |r| r.q_value)),
            ("strike_rate", rate(|i| i.estimate)),
            ("strike_rate_low", rate(|i| i.low)),
            ("strike_rate_high", rate(|i| i.high)),
            ("lag_median_s", lag(|m| m.median)),
            ("lag_low_s", lag(|m| m.low)),
            ("lag_high_s", lag(|m| m.high)),
            ("standing", text(rows, |r| &r.standing)),
            (
                "inseparable_from",
                maybe_text(rows, |r| Some(r.inseparable_from.join(" "))),
            ),
        ],
    }
}

fn links(report: &InspectReport) -> Table {
    let rows = &report.links;
    let delay = |pick: fn(&Median) -> f64| maybe_real(rows, |r| r.delay_s.as_ref().map(pick));
    Table {
        columns: vec![
            ("from", text(rows, |r| &r.from)),
            ("to", text(rows, |r| &r.to)),
            ("verdict", text(rows, |r| &r.verdict)),
            ("sent", count(rows, |r| r.sent)),
            ("arrived", count(rows, |r| r.arrived)),
            ("missing", count(rows, |r| r.missing_s.len() as u64)),
            ("extra", count(rows, |r| r.extra_s.len() as u64)),
            ("delay_median_s", delay(|m| m.median)),
            ("delay_low_s", delay(|m| m.low)),
            ("delay_high_s", delay(|m| m.high)),
            (
                "better_match",
                maybe_text(rows, |r| r.better_match.as_ref().map(|m| m.line.clone())),
            ),
        ],
    }
}

/// One row a bin of each coupling's lag histogram: `[bin_start_s, bin_end_s)`.
fn lags(report: &InspectReport) -> Table {
    let mut rows = Vec::new();
    for coupling in &report.couplings {
        let Some(histogram) = &coupling.lag_histogram else {
            continue;
        };
        for (i, &n) in histogram.counts.iter().enumerate() {
            let start_s = histogram.start_s + i as f64 * histogram.bin_s;
            rows.push((coupling, start_s, start_s + histogram.bin_s, n));
        }
    }
    Table {
        columns: vec![
            ("victim", text(&rows, |r| &r.0.victim)),
            ("aggressor", text(&rows, |r| &r.0.aggressor)),
            ("edge", text(&rows, |r| &r.0.edge)),
            ("bin_start_s", real(&rows, |r| r.1)),
            ("bin_end_s", real(&rows, |r| r.2)),
            ("strays", count(&rows, |r| r.3)),
        ],
    }
}

/// The edges of a capture, line by line: `line`, `time_s`, `level` after the edge. In memory: 40 bytes and the
/// name for each edge.
pub fn edges(capture: &Capture) -> Table {
    let mut rows = Vec::new();
    for line in &capture.lines {
        for (i, &time) in line.edges.iter().enumerate() {
            rows.push((line, capture.seconds(time), line.level_after(i)));
        }
    }
    Table {
        columns: vec![
            ("line", text(&rows, |r| &r.0.name)),
            ("time_s", real(&rows, |r| r.1)),
            ("level", text(&rows, |r| r.2.word())),
        ],
    }
}
