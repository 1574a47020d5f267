//! One row a sample or one row a change: the sampling period behind the times of the first rows.

use super::super::clock::{Pace, pace_of};
use super::headings::Head;
use super::{Row, TablePlan, overruled};
use crate::ingest::grid::Grid;
use crate::ingest::{Error, ReadOptions};
use crate::model::units::engineering;
use crate::model::{ColumnKind, TableForm};

/// Settles whether rows are samples or changes, and the period behind their times.
pub fn find_pace(
    plan: &mut TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let Some(column) = plan.time else {
        plan.sample_s = options
            .sample_period_s
            .or(head.stated_period.map(|stated| stated.0));
        plan.pace = Pace::Samples(Grid::exact(1.0));
        return Ok(());
    };
    let (times, repeats) = times_of(plan, column, data);
    let is_analog = plan.columns.iter().any(|c| c.kind == ColumnKind::Analog);
    let is_sampled = match options.form {
        Some(TableForm::Samples) => true,
        Some(TableForm::Changes) => false,
        None => is_analog || repeats > 0,
    };
    if times.is_empty() {
        return Err(fail(
            Some(plan.first_row),
            "expected numbers in the time column, found none that fit: are the times larger than 292 years?"
                .to_owned(),
        ));
    }
    if times.len() >= FEWEST && times.iter().all(|&time| time == times[0]) {
        return all_alike(plan, times.len(), options, fail);
    }
    if plan.sample_s.is_some() {
        plan.pace = if is_sampled {
            Pace::Samples(Grid::exact(1.0))
        } else {
            Pace::Snapped(Grid::exact(1.0))
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
    plan.pace = pace_of(&times, plan.rounding, is_sampled, hint, unit_s);
    if let Pace::Samples(grid) | Pace::Snapped(grid) = plan.pace {
        plan.rounding = plan.rounding.max(grid.rounding);
    }
    tell_contradictions(plan, head, &times, repeats, options);
    Ok(())
}

/// Fewest rows whose times say anything of how they follow each other.
const FEWEST: usize = 3;

/// The times of the rows that have one, in the reader's units, and how many rows repeat the one before but for their time. A
/// change list may end with a repeated row that marks its end, which need not lie on the grid: that one is left out.
fn times_of(plan: &TablePlan, column: usize, data: &[&Row]) -> (Vec<i64>, usize) {
    let mut times = Vec::with_capacity(data.len());
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
    if repeats == 1 && end_repeats && times.len() > 3 {
        times.pop();
        repeats = 0;
    }
    (times, repeats)
}

/// All of the first `count` rows have one time: counted where the period is said, else refused.
fn all_alike(
    plan: &mut TablePlan,
    count: usize,
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    if let Some(period_s) = options.sample_period_s {
        plan.pace = Pace::Counted(Grid::exact(period_s / 10f64.powi(plan.reader.unit)));
        plan.warnings.push(format!(
            "the first {count} rows have the same time: rows were taken for samples {} apart, as was said",
            engineering(period_s, "s")
        ));
        return Ok(());
    }
    Err(fail(
        Some(plan.first_row),
        format!(
            "expected times that rise from row to row, found the same one in the first {count} rows: is the mark that \
             parts the columns the decimal mark too, or are the times written too coarsely? Export the table with \
             another mark or with more digits, or say sample_rate = … under [read] in the setup file"
        ),
    ))
}

/// Warns where the times deny the sampling that is stated, or the rows the form that was said.
fn tell_contradictions(
    plan: &mut TablePlan,
    head: &Head,
    times: &[i64],
    repeats: usize,
    options: &ReadOptions,
) {
    let stated = match options.sample_period_s {
        Some(period_s) => Some((SETUP_SAYS, period_s, 0.0)),
        None => head
            .stated_period
            .map(|(period_s, spread_s)| ("the text above the table states", period_s, spread_s)),
    };
    if let Some((who, stated_s, spread_s)) = stated {
        let said = contradiction(plan, times, who, stated_s, spread_s);
        plan.warnings.extend(said);
    }
    if times.len() >= FEWEST {
        let is_sampled = matches!(plan.pace, Pace::Samples(_) | Pace::Counted(_));
        let said = overruled::form(options, is_sampled, repeats, times.len());
        plan.warnings.extend(said);
    }
}

/// Who states a sampling, where the setup file does.
const SETUP_SAYS: &str = "the setup file says";

/// What to say where the rows contradict the sampling that `who` states: `stated_s` seconds a sample, ± `spread_s`.
fn contradiction(plan: &TablePlan, times: &[i64], who: &str, stated_s: f64, spread_s: f64) -> Option<String> {
    /// A stated period is often rounded to a few digits; but a single digit is mostly meant as it stands.
    const NEAR: f64 = 0.02;
    const FURTHEST: f64 = 0.1;
    let unit_s = 10f64.powi(plan.reader.unit);
    let rounding_s = plan.rounding * unit_s;
    let near_s = (NEAR * stated_s)
        .max(spread_s.min(FURTHEST * stated_s))
        .max(1.01 * rounding_s);
    let (found_s, what) = match plan.pace {
        Pace::Samples(grid) => (grid.period * unit_s, "one row every"),
        Pace::Snapped(Grid { period, .. }) if period * unit_s < stated_s - near_s => {
            (period * unit_s, "times on a grid of")
        }
        _ => {
            let steps = times.windows(2).map(|pair| pair[1].saturating_sub(pair[0]));
            let smallest_s = steps.filter(|&step| step > 0).min()? as f64 * unit_s;
            if smallest_s >= stated_s - near_s {
                return None;
            }
            (smallest_s, "rows as close as")
        }
    };
    if (found_s - stated_s).abs() <= near_s {
        return None;
    }
    // A whole number of thousands is a unit taken wrongly.
    let thousands = ((stated_s / found_s).log10() / 3.0).round();
    let factor = 1000f64.powf(thousands);
    let is_a_thousand = thousands != 0.0 && (found_s * factor / stated_s - 1.0).abs() < 2.0 * NEAR;
    let advice = match who {
        SETUP_SAYS => {
            "take sample_period or sample_rate out from under [read] in the setup file if the times are right"
        }
        _ if is_a_thousand => {
            "the unit of the times may be another one: say time_unit = \"…\" under [read] in the setup file"
        }
        _ => {
            "if only some of the samples were exported, all is well; else say time_unit = \"…\" under [read] in the setup file"
        }
    };
    Some(format!(
        "{who} a sample every {} ({}), the time column says otherwise ({what} {}): the times \
         were taken as they are written; {advice}",
        engineering(stated_s, "s"),
        engineering(1.0 / stated_s, "Hz"),
        engineering(found_s, "s"),
    ))
}
