//! Which column holds the times, in what unit, and how precisely they are written.

use super::super::cells::{Decimal, is_sample_word, is_time_word, split_unit, time_unit};
use super::super::time::{TimeReader, TimeStyle, clock, is_date_open, suffixed};
use super::headings::{Head, position_of};
use super::{Row, TablePlan, overruled};
use crate::ingest::error::quoted;
use crate::ingest::{Error, ReadOptions};
use crate::model::ColumnKind;
use crate::model::units::engineering;

/// Settles the column of the times, their unit and their precision.
pub fn find_time(
    plan: &mut TablePlan,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    plan.time = time_column(plan, head, data, options);
    match plan.time {
        Some(column) => how_written(plan, column, head, data, options, fail),
        None if options.sample_period_s.is_some() => {
            plan.unit_from = "the sampling period given";
            Ok(())
        }
        None if head.stated_period.is_some() => {
            plan.unit_from = "the stated sampling";
            let period_s = head.stated_period.map_or(0.0, |stated| stated.0);
            plan.warnings.push(format!(
                "no column of times: every row was taken for one sample of {}, by the sampling stated above the data",
                engineering(period_s, "s")
            ));
            Ok(())
        }
        None => Err(fail(
            Some(plan.first_row),
            "expected a column of times, found none: export one, or, where every row is one sample, give \
             [read] sample_rate = \"…\" or sample_period = \"…\" in the setup file"
                .to_owned(),
        )),
    }
}

/// The column declared as times, else one headed so, else one that rises from row to row.
pub fn time_column(plan: &TablePlan, head: &Head, data: &[&Row], options: &ReadOptions) -> Option<usize> {
    let point = plan.point;
    let heading = |column: usize| head.names.get(column).map(String::as_str).unwrap_or("");
    let declared = options
        .columns
        .iter()
        .find(|(_, kind)| **kind == ColumnKind::Time)
        .and_then(|(key, _)| position_of(key, head, plan.fields));
    let all_times = |column: usize| {
        let cells = data.iter().filter_map(|r| r.cells.get(column));
        let (mut good, mut all) = (0usize, 0usize);
        for cell in cells {
            all += 1;
            good += usize::from(is_time_cell(cell, point));
        }
        all > 0 && good * 10 >= all * 7
    };
    let named = (0..plan.fields).find(|&c| is_time_word(split_unit(heading(c)).0) && all_times(c));
    let numbered = || {
        (0..plan.fields)
            .find(|&c| !heading(c).is_empty() && is_sample_word(split_unit(heading(c)).0) && all_times(c))
    };
    let rising = || {
        (0..plan.fields.min(2)).find(|&c| {
            let mut numbers = data
                .iter()
                .filter_map(|r| r.cells.get(c))
                .filter_map(|cell| time_value(cell, point));
            let Some(mut last) = numbers.next() else {
                return false;
            };
            let (mut rises, mut falls) = (0usize, 0usize);
            for number in numbers {
                rises += usize::from(number > last);
                falls += usize::from(number < last);
                last = number;
            }
            (rises > 1 || rises == 1 && data.len() == 2 || data.len() == 1)
                && falls * 50 <= rises
                && all_times(c)
        })
    };
    // Further right only what counts nothing else: rises in every row, with a fraction or a unit.
    let further = || {
        (2..plan.fields).find(|&c| {
            let cells = || data.iter().filter_map(|r| r.cells.get(c)).map(Vec::as_slice);
            let plain = |cell: &[u8]| cell.iter().all(u8::is_ascii_digit);
            let numbers: Vec<f64> = cells().filter_map(|cell| time_value(cell, point)).collect();
            numbers.len() > 2
                && numbers.len() == data.len()
                && numbers.windows(2).all(|w| w[0] < w[1])
                && !cells().all(plain)
        })
    };
    declared
        .or(named)
        .or_else(numbered)
        .or_else(rising)
        .or_else(further)
}

/// Whether the heading of that column says that it holds times.
pub fn is_headed_time(head: &Head, column: usize) -> bool {
    let heading = head.names.get(column).map_or("", String::as_str);
    is_time_word(split_unit(heading).0)
}

/// Dates, numbers with their units, or numbers of a unit that is said elsewhere; and how precise they are.
fn how_written(
    plan: &mut TablePlan,
    column: usize,
    head: &Head,
    data: &[&Row],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let point = plan.point;
    let (name, unit) = split_unit(head.names.get(column).map_or("", String::as_str));
    let cells: Vec<&[u8]> = data
        .iter()
        .filter_map(|r| r.cells.get(column))
        .map(Vec::as_slice)
        .filter(|c| is_time_cell(c, point))
        .collect();
    if cells.iter().all(|c| clock(c, point).is_some()) {
        take_clock(plan, &cells);
    } else if cells.iter().all(|c| suffixed(c, point).is_some()) {
        plan.reader.style = TimeStyle::Suffixed;
        plan.unit_from = "the cells";
    } else {
        let in_row = head.units.get(column).and_then(Option::as_deref);
        let Some(exponent) = unit_of_numbers(plan, column, head, &cells, options, fail)? else {
            return sample_numbers(plan, head, options, fail);
        };
        plan.reader.style = TimeStyle::Number { exponent };
        if options.time_unit_s.is_none() {
            plan.warnings.extend(unit_twice(exponent, name, unit, in_row));
        }
    }
    if !matches!(plan.reader.style, TimeStyle::Number { .. }) {
        let said = cells
            .first()
            .and_then(|cell| overruled::time_unit_of_cells(options, cell));
        plan.warnings.extend(said);
    }
    if let Some(zero) = far_zero(&cells, &plan.reader) {
        plan.reader.zero = zero;
        plan.warnings.push(format!(
            "times are counted from {zero} of the file's own, or their last digits would be lost"
        ));
    }
    let (unit, rounding) = precision(&cells, &plan.reader);
    plan.reader.unit = unit;
    plan.rounding = rounding;
    Ok(())
}

/// Times of a clock, with or without dates: seconds count from midnight of the first one's day.
fn take_clock(plan: &mut TablePlan, cells: &[&[u8]]) {
    plan.reader.style = TimeStyle::Clock;
    plan.unit_from = "the cells";
    plan.reader.first_day = cells
        .first()
        .and_then(|c| clock(c, plan.point))
        .and_then(|(day, _)| day);
    if plan.reader.first_day.is_some() {
        plan.warnings
            .push("times are dates: seconds count from midnight of the first one".to_owned());
        if let Some(open) = cells.iter().find(|cell| is_date_open(cell)) {
            plan.warnings.push(format!(
                "a date such as {} may have its day or its month first: the day was taken, which matters only where \
                 the record goes over midnight",
                quoted(open)
            ));
        }
    }
}

/// The power of ten of the seconds that the times of a column of plain numbers count; `None` where they count samples.
fn unit_of_numbers(
    plan: &mut TablePlan,
    column: usize,
    head: &Head,
    cells: &[&[u8]],
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<Option<i32>, Error> {
    let (name, unit) = split_unit(head.names.get(column).map_or("", String::as_str));
    let in_row = head.units.get(column).and_then(Option::as_deref);
    let exponent = if let Some(seconds) = options.time_unit_s {
        let exponent = seconds.log10().round();
        if (10f64.powf(exponent) / seconds - 1.0).abs() > 1e-9 {
            let text =
                format!("the time unit of {seconds} s is no power of ten: give s, ms, us, ns, ps or fs");
            return Err(fail(None, text));
        }
        plan.unit_from = "the setup file";
        let exponent = exponent as i32;
        let said = overruled::time_unit_of_heading(exponent, name, unit, in_row);
        plan.warnings.extend(said);
        exponent
    } else if let Some(exponent) = unit.and_then(time_unit) {
        exponent
    } else if let Some(exponent) = in_row.and_then(time_unit) {
        plan.unit_from = "the row of units";
        exponent
    } else if let Some(Counted::Long(word)) = counted_in(name, in_row) {
        let text = format!(
            "the times are in {word}, which is too long a unit for the lines of a machine: export them in s, ms, us or \
             ns, or, if {word} is no unit here, say time_unit = \"s\" (say) under [read] in the setup file"
        );
        return Err(fail(Some(plan.first_row), text));
    } else if (is_sample_word(name) && !name.is_empty() && !is_time_word(name))
        || in_row.is_some_and(is_sample_word)
        || matches!(counted_in(name, in_row), Some(Counted::Samples))
    {
        return Ok(None);
    } else if let Some((exponent, word)) = unit_by_rate(cells, plan.point, head) {
        let (stated_s, _) = head.stated_period.unwrap_or_default();
        plan.warnings.push(format!(
            "the time column names no unit: {word} was taken, with which the rows fit the sampling stated above them \
             ({}); say otherwise with time_unit = \"ms\" (say) under [read] in the setup file",
            engineering(1.0 / stated_s, "Hz")
        ));
        plan.unit_from = "the stated sampling";
        exponent
    } else {
        plan.warnings.push(format!(
            "the time column {} names no unit: seconds were taken; say otherwise with time_unit = \"ms\" (say) \
             under [read] in the setup file",
            if name.is_empty() { format!("(column {})", column + 1) } else { quoted(name.as_bytes()) }
        ));
        plan.unit_from = "nothing: seconds were assumed";
        0
    };
    Ok(Some(exponent))
}

/// What the times count, where that is no unit of seconds.
pub enum Counted {
    /// Ticks of a clock.
    Samples,
    /// Minutes and more.
    Long(String),
}

/// The word in brackets behind a heading, or in the row of units.
pub fn counted_in(name: &str, in_row: Option<&str>) -> Option<Counted> {
    let inside = |open: char| {
        name.trim_end_matches([')', ']', '}'])
            .rsplit_once(open)
            .map(|parts| parts.1)
    };
    let word = ['(', '[', '{'].into_iter().find_map(inside).or(in_row)?.trim();
    match word.to_lowercase().as_str() {
        "tick" | "ticks" | "clk" | "clks" | "clock" | "clocks" | "cycle" | "cycles" | "count" | "counts" => {
            Some(Counted::Samples)
        }
        "min" | "mins" | "minute" | "minutes" | "h" | "hr" | "hrs" | "hour" | "hours" | "d" | "day"
        | "days" => Some(Counted::Long(word.to_owned())),
        _ => None,
    }
}

/// What to say where the heading, what stands in its brackets and the row of units name different units.
fn unit_twice(taken: i32, name: &str, unit: Option<&str>, in_row: Option<&str>) -> Option<String> {
    let others = [split_unit(name).1, unit, in_row];
    let named = others
        .into_iter()
        .flatten()
        .filter_map(|word| Some((word, time_unit(word)?)));
    let (mut of_taken, mut of_other) = (None, None);
    for (word, exponent) in named {
        let place = if exponent == taken {
            &mut of_taken
        } else {
            &mut of_other
        };
        place.get_or_insert(word);
    }
    let (taken, other) = (of_taken?, of_other?);
    Some(format!(
        "the time column names two units, {taken} and {other}: {taken} was taken; say otherwise with time_unit = \
         \"{other}\" under [read] in the setup file"
    ))
}

/// The only unit in which times without one fit the sampling stated above the table: samples apart, or changes never
/// closer than that and written finer. Its power of ten, and its word.
fn unit_by_rate(cells: &[&[u8]], point: u8, head: &Head) -> Option<(i32, &'static str)> {
    const UNITS: [(i32, &str); 5] = [(0, "s"), (-3, "ms"), (-6, "us"), (-9, "ns"), (-12, "ps")];
    /// As far as rows may be from the stated period: it is often rounded to a few digits.
    const NEAR: f64 = 0.02;
    let (stated_s, _) = head.stated_period?;
    let numbers: Vec<Decimal> = cells
        .iter()
        .filter_map(|cell| Decimal::parse(cell, point))
        .collect();
    let finest = numbers.iter().map(|n| n.exponent).min()?;
    let mut steps: Vec<f64> = numbers
        .windows(2)
        .map(|pair| pair[1].to_f64() - pair[0].to_f64())
        .filter(|step| *step > 0.0)
        .collect();
    steps.sort_by(f64::total_cmp);
    let (smallest, middle) = (*steps.first()?, steps[steps.len() / 2]);
    let resolution = 10f64.powi(finest);
    let apart = |scale: f64| (middle * scale / stated_s - 1.0).abs() <= NEAR.max(resolution / middle);
    let changes = |scale: f64| smallest * scale > 0.9 * stated_s && resolution * scale < 0.5 * stated_s;
    let only = |fits: &dyn Fn(f64) -> bool| {
        let mut fitting = UNITS
            .into_iter()
            .filter(|(exponent, _)| fits(10f64.powi(*exponent)));
        fitting.next().filter(|_| fitting.next().is_none())
    };
    only(&apart).or_else(|| only(&changes))
}

/// Ticks that a record's times may reach: seconds as a number of 64 bits (IEEE 754) tell them apart up to 2⁵³.
const MOST_TICKS: f64 = 1e15;

/// Where plain numbers should count from: the whole part of the first one, where all are so far from nought that their last
/// digits would be lost (seconds since some year, with nanoseconds).
fn far_zero(cells: &[&[u8]], reader: &TimeReader) -> Option<i64> {
    let TimeStyle::Number { .. } = reader.style else {
        return None;
    };
    let numbers: Vec<Decimal> = cells
        .iter()
        .filter_map(|cell| Decimal::parse(cell, reader.point))
        .collect();
    let first = numbers.first()?.to_f64().floor();
    let finest = 10f64.powi(numbers.iter().map(|n| n.exponent).min()?);
    let far = |number: f64| (number / finest).abs() > MOST_TICKS;
    let is_far = far(first) && numbers.iter().all(|n| !far(n.to_f64() - first));
    (is_far && first.abs() < 1e18).then_some(first as i64)
}

/// The power of ten in which the times are whole numbers, and how coarsely they are written, in that unit.
fn precision(cells: &[&[u8]], reader: &TimeReader) -> (i32, f64) {
    /// Programs that drop zeros at the end write at least so many digits before they round.
    const LEAST_DIGITS: i32 = 6;
    /// No clock runs for 30 million years: what is larger is no time.
    const LARGEST_S: f64 = 1e15;
    let (mut finest, mut coarsest) = (i32::MAX, i32::MIN);
    // Significant digits as written, fewest and most, and the place of the leading one at its highest.
    let (mut fewest, mut most, mut highest) = (i32::MAX, 0, i32::MIN);
    let mut largest = 0f64;
    for cell in cells {
        if let Some((number, exponent)) = reader.number(cell) {
            let seconds = (number.to_f64() * 10f64.powi(exponent)).abs();
            if seconds.is_nan() || seconds > LARGEST_S {
                continue;
            }
            let digit = number.exponent + exponent;
            finest = finest.min(digit);
            if number.mantissa != 0 {
                let digits = number.mantissa.unsigned_abs().ilog10() as i32 + 1;
                coarsest = coarsest.max(digit);
                (fewest, most) = (fewest.min(digits), most.max(digits));
                highest = highest.max(digit + digits - 1);
            }
            largest = largest.max(seconds);
        }
    }
    if finest == i32::MAX {
        finest = -9;
    }
    // Where zeros at the end are dropped, the last digit written is not the last one known.
    if coarsest > finest && fewest != most {
        coarsest = coarsest.min((highest - most.max(LEAST_DIGITS) + 1).max(finest));
    }
    // A femtosecond is finer than any instrument; and the whole must fit 63 bits with room for a longer record.
    let mut unit = finest.clamp(-15, 0);
    while largest * 10f64.powi(-unit) > MOST_TICKS {
        unit += 1;
    }
    (unit, 10f64.powi((coarsest.max(unit) - unit).max(0)))
}

/// Times counted in samples: the rate must be known.
fn sample_numbers(
    plan: &mut TablePlan,
    head: &Head,
    options: &ReadOptions,
    fail: &dyn Fn(Option<u64>, String) -> Error,
) -> Result<(), Error> {
    let period = options.sample_period_s.or(head.stated_period.map(|p| p.0));
    let Some(period) = period else {
        return Err(fail(
            Some(plan.first_row),
            "the time column counts samples, and nothing says how long a sample is: give [read] sample_rate = \"…\" \
             (such as \"24 MHz\") or sample_period = \"…\" in the setup file"
                .to_owned(),
        ));
    };
    plan.unit_from = "the sampling period";
    plan.reader.style = TimeStyle::Number { exponent: 0 };
    plan.reader.unit = 0;
    plan.rounding = 0.0;
    plan.sample_s = Some(period);
    Ok(())
}

/// Whether a cell can be read as a time in any style.
pub fn is_time_cell(cell: &[u8], point: u8) -> bool {
    Decimal::parse(cell, point).is_some() || suffixed(cell, point).is_some() || clock(cell, point).is_some()
}

/// Of any style of time, to compare with others of its column.
pub fn time_value(cell: &[u8], point: u8) -> Option<f64> {
    if let Some(number) = Decimal::parse(cell, point) {
        return Some(number.to_f64());
    }
    if let Some((number, unit)) = suffixed(cell, point) {
        return Some(number.to_f64() * 10f64.powi(unit));
    }
    clock(cell, point).map(|(day, seconds)| day.unwrap_or(0) as f64 * 86_400.0 + seconds.to_f64())
}
