//! One row a sample or one row a change: the sampling period behind the times of the first rows.

use super::super::clock::{Pace, pace_of};
use super::headings::Head;
use super::{Row, TablePlan};
use crate::ingest::grid::Grid;
use crate::ingest::options::{ColumnKind, TableForm};
use crate::ingest::{Error, ReadOptions};

/// Settles whether rows are samples or changes, and the period behind their times.
pub fn find_pace(
    plan: &mut TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let grid = Grid::exact;
    let Some(column) = plan.time else {
        plan.sample_s = options.sample_period_s;
        plan.pace = Pace::Samples(grid(1.0));
        return Ok(());
    };
    let mut times = Vec::with_capacity(data.len());
    let mut quiet = plan.columns.iter().any(|c| c.kind == ColumnKind::Analog);
    let mut last: Option<&Row> = None;
    let mut repeats = 0usize;
    let mut end_repeats = false;
    for row in data {
        let Some(cell) = row.cells.get(column) else {
            continue;
        };
        let Some(time) = plan.reader.read(cell) else {
            continue;
        };
        times.push(time);
        end_repeats = last.is_some_and(|last| {
            let same = |c: usize| c == column || last.cells[c] == row.cells[c];
            last.cells.len() == row.cells.len() && (0..row.cells.len()).all(same)
        });
        repeats += usize::from(end_repeats);
        last = Some(row);
    }
    // A change list may end with a repeated row that marks its end, which need not lie on the grid.
    if repeats == 1 && end_repeats && times.len() > 3 {
        times.pop();
    } else {
        quiet |= repeats > 0;
    }
    if times.is_empty() {
        return Err(fail(
            Some(plan.first_row),
            "expected numbers in the time column, found none that fit: are the times larger than 292 years?"
                .to_owned(),
        ));
    }
    match options.form {
        Some(TableForm::Samples) => quiet = true,
        Some(TableForm::Changes) => quiet = false,
        None => {}
    }
    if plan.sample_s.is_some() {
        plan.pace = if quiet {
            Pace::Samples(grid(1.0))
        } else {
            Pace::Snapped(grid(1.0))
        };
        return Ok(());
    }
    let unit_s = 10f64.powi(plan.reader.unit);
    let hint = match options.sample_period_s {
        Some(period) => Some((period / unit_s, period / unit_s * 1e-6 + 1e-9)),
        None => head
            .stated_period
            .map(|(p, e)| (p / unit_s, e / unit_s + p / unit_s * 1e-6)),
    };
    plan.pace = pace_of(&times, plan.rounding, quiet, hint);
    Ok(())
}
