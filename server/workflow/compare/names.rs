//! Lines that files of two conditions call otherwise only by their scopes: one name for both.
//!
//! A simulator's or an instrument's VCD may put scopes before a name (`tower.board.CLEAR_N`) where a table of the same lines
//! has none. As where captures are brought to one clock, a line is the one of another file if their names agree, or if each is
//! the only one in its file whose name ends so.

use std::collections::BTreeMap;

use crate::model::Capture;
use crate::report::compare::Tallies;
use crate::workflow::same_signal::last_part;

/// What the file calls a line, and what it is called among all runs.
pub type Called = [String; 2];

/// Gives lines, buses and variables in volts that several of the captures have under names that differ by their scopes one
/// name in all: the one that `is_said` (in the setup), else the shortest. For each capture what was called otherwise. Cost:
/// names × log.
pub fn join(captures: &mut [Capture], is_said: &dyn Fn(&str) -> bool) -> Vec<Vec<Called>> {
    let chosen_lines = chosen(captures, &line_names, is_said);
    let chosen_buses = chosen(captures, &bus_names, is_said);
    let rename = |capture: &mut Capture| {
        let (lines, buses) = (alone(&line_names(capture)), alone(&bus_names(capture)));
        let mut called = Vec::new();
        let variables = capture.not_logic.iter_mut().map(|variable| &mut variable.name);
        for name in capture
            .lines
            .iter_mut()
            .map(|line| &mut line.name)
            .chain(variables)
        {
            if let Some(other) = other_name(name, &lines, &chosen_lines) {
                called.push([name.clone(), other.clone()]);
                *name = other;
            }
        }
        for bus in &mut capture.buses {
            if let Some(other) = other_name(&bus.name, &buses, &chosen_buses) {
                bus.name = other;
            }
        }
        called
    };
    captures.iter_mut().map(rename).collect()
}

/// The sentence that says which names of the runs `before` and `after` were taken for one.
pub fn told(tallies: &Tallies, before: &[usize], after: &[usize]) -> Option<String> {
    const MOST: usize = 6;
    let runs = before.iter().chain(after);
    let mut pairs: Vec<&Called> = runs
        .filter_map(|&run| tallies.called.get(run))
        .flatten()
        .collect();
    pairs.sort_unstable();
    pairs.dedup();
    let more = match pairs.len().saturating_sub(MOST) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let names: Vec<String> = pairs
        .iter()
        .take(MOST)
        .map(|[own, name]| format!("{own} as {name}"))
        .collect();
    (!pairs.is_empty()).then(|| {
        format!(
            "Lines whose names differ only by the scopes before the last point are compared as one: {}{more}.",
            names.join(", ")
        )
    })
}

fn line_names(capture: &Capture) -> Vec<&str> {
    let lines = capture.lines.iter().map(|line| line.name.as_str());
    lines
        .chain(capture.not_logic.iter().map(|other| other.name.as_str()))
        .collect()
}

fn bus_names(capture: &Capture) -> Vec<&str> {
    capture.buses.iter().map(|bus| bus.name.as_str()).collect()
}

/// Last parts that only one of the names has.
fn alone(names: &[&str]) -> Vec<String> {
    let mut count: BTreeMap<&str, usize> = BTreeMap::new();
    for name in names {
        *count.entry(last_part(name)).or_default() += 1;
    }
    let once = count.into_iter().filter(|(_, count)| *count == 1);
    once.map(|(last, _)| last.to_owned()).collect()
}

/// By the last part of a name: what it is called in all captures in which nothing else ends so, where they differ.
fn chosen(
    captures: &[Capture],
    names: &dyn Fn(&Capture) -> Vec<&str>,
    is_said: &dyn Fn(&str) -> bool,
) -> BTreeMap<String, String> {
    let mut all: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for capture in captures {
        let names = names(capture);
        let alone = alone(&names);
        for name in names {
            let last = last_part(name);
            // Sorted, as the map that they come from.
            if alone.binary_search_by(|own| own.as_str().cmp(last)).is_ok() {
                let known = all.entry(last.to_owned()).or_default();
                if !known.iter().any(|other| other == name) {
                    known.push(name.to_owned());
                }
            }
        }
    }
    all.retain(|_, names| names.len() > 1);
    let choose = |mut names: Vec<String>| {
        names.sort_by_key(String::len);
        // The longest that is said: a shorter one may only stand in it.
        let said = names.iter().rposition(|name| is_said(name));
        names.swap_remove(said.unwrap_or(0))
    };
    all.into_iter()
        .map(|(last, names)| (last, choose(names)))
        .collect()
}

fn other_name(name: &str, alone: &[String], chosen: &BTreeMap<String, String>) -> Option<String> {
    let last = last_part(name);
    let other = chosen.get(last).filter(|other| *other != name)?;
    alone.iter().any(|own| own == last).then(|| other.clone())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    fn capture(names: &[&str]) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(100));
        let lines = names
            .iter()
            .map(|name| Line::digital(*name, Level::Low, vec![], span));
        Capture::in_nanoseconds("a.vcd", span, lines.collect())
    }

    #[test]
    fn a_scope_parts_no_line_from_its_like_unless_two_end_so() {
        let scoped = ["tower.board.CLEAR_N", "tower.STEP", "a.Q", "b.Q"];
        let mut all = [capture(&scoped), capture(&["CLEAR_N", "STEP", "Q"])];
        let called = join(&mut all, &|_| false);
        assert_eq!(line_names(&all[0]), ["CLEAR_N", "STEP", "a.Q", "b.Q"]);
        assert_eq!(called[0][0], ["tower.board.CLEAR_N", "CLEAR_N"].map(String::from));
        assert_eq!(called[1], [[""; 2]; 0]);
        // The name that the setup has stays.
        let mut all = [capture(&scoped), capture(&["CLEAR_N", "STEP", "Q"])];
        join(&mut all, &|name| "tower.board.CLEAR_N".contains(name));
        assert_eq!(line_names(&all[1]), ["tower.board.CLEAR_N", "STEP", "Q"]);
    }
}
