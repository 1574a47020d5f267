//! Runs that were sampled differently: how many of one run's strays another could have shown.
//!
//! A pulse of width w shows at a sampling period T with the chance min(1, w/T), whatever its phase. A run sampled more
//! coarsely shows fewer strays though nothing changed, so before two sides are compared, the counts of the finer one are cut
//! down to what the coarser could have shown. The width of a pulse that was sampled every T₁ is known to ±T₁ only; with it the
//! share is known between two ends, and a verdict holds where both ends give it.
//!
//! # Source
//! The chance: geometry of even phase (any text on sampling). Nothing is added for what was never seen.

use super::tally::Looked;
use crate::analysis::compare::Counts;
use crate::model::Level;
use crate::report::compare::{SeenRow, Trouble, WidthRow};

/// Periods nearer to each other than this are the same (no source: a few per cent move no verdict).
const SAME: f64 = 1.05;

/// What a run showed of one line's strays. `strays`: positions in the run's list.
pub(super) fn seen(l: &Looked, line: usize, strays: impl Iterator<Item = usize>) -> SeenRow {
    let period = l.strays.sampling.get(line).copied().unwrap_or(0.0);
    let period = period.max(l.capture.lines[line].sample_ticks);
    let seconds = |ticks: f64| l.capture.timebase.length_s(ticks);
    let mut widths: Vec<(i64, Level)> = strays
        .map(|at| (l.strays.strays[at].width.0, l.strays.strays[at].level))
        .collect();
    widths.sort_by_key(|(width, level)| (*width, *level == Level::High));
    let rows = widths.chunk_by(|a, b| a == b).map(|same| WidthRow {
        width_s: seconds(same[0].0 as f64),
        narrow_below_s: l.strays.limits[line].of(same[0].1).map(seconds),
        strays: same.len() as u64,
    });
    SeenRow {
        sampling_s: seconds(period),
        widths: rows.collect(),
    }
}

/// Two sides as they would have been counted at one sampling.
pub(super) struct Sight {
    /// Before and after, by the least and by the most that the coarser sampling could have shown.
    pub ends: [(Counts, Counts); 2],
    /// Sampling periods before and after in seconds, each the coarsest of its side.
    pub sampling_s: (f64, f64),
}

impl Sight {
    /// Whether it is the side before that was sampled more finely.
    pub fn is_before_finer(&self) -> bool {
        self.sampling_s.0 < self.sampling_s.1
    }
}

/// `None` where both sides were sampled alike, or nothing is known of it. `before`, `after`: runs by position, and their counts.
pub(super) fn at_one_sampling(
    trouble: &Trouble,
    before: (&[usize], Counts),
    after: (&[usize], Counts),
) -> Option<Sight> {
    let rows =
        |side: &[usize]| -> Vec<&SeenRow> { side.iter().filter_map(|&run| trouble.seen.get(run)).collect() };
    let (rows_before, rows_after) = (rows(before.0), rows(after.0));
    let coarsest = |rows: &[&SeenRow]| rows.iter().map(|r| r.sampling_s).fold(0.0, f64::max);
    let sampling_s = (coarsest(&rows_before), coarsest(&rows_after));
    let period = sampling_s.0.max(sampling_s.1);
    let all_alike = rows_before
        .iter()
        .chain(&rows_after)
        .all(|r| r.sampling_s * SAME >= period);
    if all_alike || rows_before.is_empty() || rows_after.is_empty() {
        return None;
    }
    let cut = |rows: &[&SeenRow], counts: Counts| {
        let (mut least, mut most) = (0.0, 0.0);
        for row in rows {
            for width in &row.widths {
                let (low, high) = share(width, row.sampling_s, period);
                least += low * width.strays as f64;
                most += high * width.strays as f64;
            }
        }
        let of = |strays: f64| Counts {
            strays: (strays as u64).min(counts.strays),
            opportunities: counts.opportunities,
        };
        // A hair, so that whole numbers stay whole.
        [of((least + 1e-9).floor()), of((most - 1e-9).ceil())]
    };
    let (b, a) = (cut(&rows_before, before.1), cut(&rows_after, after.1));
    // The least of the one side against the most of the other, and the other way round.
    Some(Sight {
        ends: [(b[0], a[1]), (b[1], a[0])],
        sampling_s,
    })
}

/// Which share of strays of one width, seen at a period `own`, a period `coarse` would have shown and counted: least and most.
fn share(row: &WidthRow, own: f64, coarse: f64) -> (f64, f64) {
    if own * SAME >= coarse {
        return (1.0, 1.0);
    }
    let (narrowest, widest) = ((row.width_s - own).max(own), row.width_s + own);
    // Narrower than the own period the two chances keep one ratio.
    let shows = ((narrowest / coarse).min(1.0), (widest / coarse).min(1.0));
    let Some(limit) = row.narrow_below_s else {
        return shows;
    };
    // It would have been stamped as wide as whole periods.
    let stamped_most = (widest / coarse).ceil().max(1.0) * coarse;
    let stamped_least = (narrowest / coarse).floor().max(1.0) * coarse;
    match () {
        () if stamped_most < limit => shows,
        () if stamped_least >= limit => (0.0, 0.0),
        () => (0.0, shows.1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(width_s: f64, narrow_below_s: Option<f64>) -> WidthRow {
        WidthRow {
            width_s,
            narrow_below_s,
            strays: 1,
        }
    }

    /// Shares by simulation: pulses of many widths at even phases, those that the fine sampling stamps `k` periods wide.
    #[test]
    fn the_share_lies_between_its_ends() {
        let (own, coarse) = (10.0, 40.0);
        for k in 1..=5 {
            let (low, high) = share(&row(own * f64::from(k), None), own, coarse);
            let (mut fine, mut both) = (0.0, 0.0);
            // Widths even between what may be stamped so, phases even over the coarse period.
            for w in 1..200 {
                let width = own * (f64::from(k) - 1.0) + 0.1 * f64::from(w);
                for phase in 0..400 {
                    let start = 0.1 * f64::from(phase) + 0.05;
                    let stamps = |period: f64| ((start + width) / period).floor() - (start / period).floor();
                    if stamps(own) as i32 == k {
                        fine += 1.0;
                        both += f64::from(u8::from(stamps(coarse) >= 1.0));
                    }
                }
            }
            let share = both / fine;
            assert!(
                low <= share + 1e-9 && share <= high + 1e-9,
                "{k}: {low} {share} {high}"
            );
        }
    }

    #[test]
    fn what_would_be_stamped_wider_than_the_limit_does_not_count() {
        assert_eq!(share(&row(21.0, Some(60.0)), 1.0, 100.0), (0.0, 0.0));
        assert_eq!(
            share(&row(21.0, Some(60.0)), 1.0, 40.0),
            (20.0 / 40.0, 22.0 / 40.0)
        );
        assert_eq!(share(&row(21.0, Some(60.0)), 20.0, 20.0), (1.0, 1.0));
    }
}
