//! A capture as four-state VCD (IEEE Std 1364-2005, clause 18).
//!
//! The time unit is the coarsest power of ten that holds the capture's ticks exactly; where none does, as of 24 MHz, one at
//! least 1000 times finer than a sample. VCD times are not negative: a capture that begins before 0 s is shifted, and a comment in
//! the file says by how much. Scopes are made of the parts of a line's name, vectors of buses; white space, which no identifier
//! may hold, becomes `_`. Volts of analog lines are left out, their levels are written. While no line at all is
//! recorded the file has `$dumpoff`; where only some lines are not, they are `x`.
//!
//! How well edges are known is no part of the standard: of lines that were sampled, comments after the declarations say how
//! ([`crate::model::vcd_notes`]), for the times of several instruments on one clock do not show it any more.

mod grid;

use std::collections::{BTreeMap, HashSet};
use std::io::{self, Write};

use super::changes::{Changes, Shown, shown_at};
use crate::model::vcd_notes::{self, Sampling};
use crate::model::{Capture, Level};
use grid::Grid;

/// Writes `capture`; gives sentences about what the form could not hold.
///
/// # Errors
/// What `out` gives, or a capture too long for 64-bit times at the resolution it needs.
pub fn write(capture: &Capture, mut out: impl Write) -> io::Result<Vec<String>> {
    let mut notes = Vec::new();
    let grid = Grid::of(capture)?;
    writeln!(
        out,
        "$comment written by Edgewitness {} $end",
        env!("CARGO_PKG_VERSION")
    )?;
    if grid.shift != 0 {
        let note = format!(
            "the capture begins before its own time 0: in the VCD all times are later by {} times {}",
            grid.shift, grid.unit
        );
        notes.push(note);
    }
    let analog = capture.lines.iter().filter(|line| line.trace.is_some()).count();
    if analog > 0 {
        notes.push(format!(
            "the volts of {analog} analog lines are left out; their levels are written"
        ));
    }
    if !capture.not_logic.is_empty() {
        notes.push(format!(
            "{} variables that are no logic lines are left out",
            capture.not_logic.len()
        ));
    }
    for note in &notes {
        writeln!(out, "$comment {note} $end")?;
    }
    writeln!(out, "$timescale {} $end", grid.unit)?;
    let variables = variables(capture);
    // Names from files stay out of comments: one may hold what ends them.
    declare(&variables, &mut out, &mut notes)?;
    for note in about_lines(capture, &variables) {
        writeln!(out, "$comment {note} $end")?;
    }
    writeln!(out, "$enddefinitions $end")?;
    changes(capture, &variables, &grid, &mut out)?;
    Ok(notes)
}

/// One variable of the file: a line, or the bits of a bus.
struct Variable {
    /// Positions of lines, most significant bit first; one for a single line.
    lines: Vec<usize>,
    /// `[7:0]` of a vector.
    range: Option<String>,
    code: String,
}

impl Variable {
    /// A value change of the variable.
    fn put(&self, shown: &[Shown], out: &mut impl Write) -> io::Result<()> {
        if self.range.is_none() {
            return writeln!(out, "{}{}", digit(shown[self.lines[0]]), self.code);
        }
        let digits: String = self.lines.iter().map(|&line| digit(shown[line])).collect();
        writeln!(out, "b{digits} {}", self.code)
    }
}

/// A scope of the file: variables, and scopes within.
#[derive(Default)]
struct Scope {
    variables: Vec<(usize, String)>,
    scopes: BTreeMap<String, Scope>,
}

/// Buses whose bits are called `NAME[i]` in counting order are vectors; every other line is a variable of its
/// own.
fn variables(capture: &Capture) -> Vec<(String, Variable)> {
    let mut found: Vec<(String, Variable)> = Vec::new();
    let mut in_vector = HashSet::new();
    for bus in &capture.buses {
        let bits: Option<Vec<(&str, i64)>> = bus
            .bits
            .iter()
            .map(|&line| bit_of(&capture.lines.get(line)?.name))
            .collect();
        let Some(bits) = bits.filter(|bits| bits.len() > 1) else {
            continue;
        };
        let step = bits[1].1 - bits[0].1;
        let is_counting = step.abs() == 1
            && bits
                .windows(2)
                .all(|pair| pair[1].0 == pair[0].0 && pair[1].1 - pair[0].1 == step);
        if is_counting && bus.bits.iter().all(|line| !in_vector.contains(line)) {
            in_vector.extend(bus.bits.iter().copied());
            let range = Some(format!("[{}:{}]", bits[0].1, bits[bits.len() - 1].1));
            found.push((
                bits[0].0.to_owned(),
                Variable {
                    lines: bus.bits.clone(),
                    range,
                    code: String::new(),
                },
            ));
        }
    }
    for (i, line) in capture
        .lines
        .iter()
        .enumerate()
        .filter(|(i, _)| !in_vector.contains(i))
    {
        let alone = Variable {
            lines: vec![i],
            range: None,
            code: String::new(),
        };
        found.push((line.name.clone(), alone));
    }
    // In the order of the lines, as they were read.
    found.sort_by_key(|(_, variable)| variable.lines.iter().min().copied());
    for (i, (_, variable)) in found.iter_mut().enumerate() {
        variable.code = code(i);
    }
    found
}

/// What comments say of lines: how they were sampled, and which of them are one signal.
fn about_lines(capture: &Capture, variables: &[(String, Variable)]) -> Vec<String> {
    let mut sampled: Vec<(Sampling, Vec<&str>)> = Vec::new();
    let mut notes = Vec::new();
    let mut code_of = vec![""; capture.lines.len()];
    for (_, variable) in variables {
        variable
            .lines
            .iter()
            .for_each(|&line| code_of[line] = &variable.code);
    }
    for (_, variable) in variables {
        // The bits of a bus come from one instrument.
        let line = &capture.lines[variable.lines[0]];
        let sampling = Sampling {
            period_s: capture.timebase.length_s(line.sample_ticks),
            is_interpolated: line.interpolated,
        };
        if sampling.period_s > 0.0 || sampling.is_interpolated {
            match sampled.iter_mut().find(|(known, _)| *known == sampling) {
                Some((_, codes)) => codes.push(&variable.code),
                None => sampled.push((sampling, vec![&variable.code])),
            }
        }
        let twin = line.same_as.map(|twin| code_of[twin]);
        notes.extend(
            twin.filter(|twin| *twin != variable.code)
                .map(|twin| vcd_notes::same(twin, &variable.code)),
        );
    }
    let of_sampling = sampled.iter().flat_map(|(sampling, codes)| {
        codes
            .chunks(vcd_notes::MOST_CODES)
            .map(|codes| sampling.note(codes))
    });
    of_sampling.chain(notes).collect()
}

/// `NAME[3]` → ("NAME", 3).
fn bit_of(name: &str) -> Option<(&str, i64)> {
    let (vector, index) = name.strip_suffix(']')?.rsplit_once('[')?;
    let index = index.parse().ok()?;
    (!vector.is_empty()).then_some((vector, index))
}

fn declare(
    variables: &[(String, Variable)],
    out: &mut impl Write,
    notes: &mut Vec<String>,
) -> io::Result<()> {
    const DEEPEST: usize = 64;
    let mut root = Scope::default();
    let mut used = HashSet::new();
    for (i, (given, _)) in variables.iter().enumerate() {
        let is_blank = |c: char| c.is_whitespace() || c.is_control();
        let mut name: String = given.chars().map(|c| if is_blank(c) { '_' } else { c }).collect();
        while !used.insert(name.clone()) {
            name.push('_');
        }
        if name != *given {
            notes.push(format!(
                "the line \"{}\" is called {name} in the VCD",
                given.escape_debug()
            ));
        }
        let mut scope = &mut root;
        let mut parts: Vec<&str> = name.split(['/', '.']).collect();
        if parts.iter().any(|part| part.is_empty()) || parts.len() > DEEPEST {
            parts = vec![&name];
        }
        for part in &parts[..parts.len() - 1] {
            scope = scope.scopes.entry((*part).to_owned()).or_default();
        }
        scope.variables.push((i, parts[parts.len() - 1].to_owned()));
    }
    writeln!(out, "$scope module capture $end")?;
    root.write(variables, out)?;
    writeln!(out, "$upscope $end")
}

impl Scope {
    /// Recursion is no deeper than `DEEPEST`.
    fn write(&self, variables: &[(String, Variable)], out: &mut impl Write) -> io::Result<()> {
        for (i, name) in &self.variables {
            let Variable { lines, range, code } = &variables[*i].1;
            let range = range
                .as_ref()
                .map(|range| format!(" {range}"))
                .unwrap_or_default();
            writeln!(out, "$var wire {} {code} {name}{range} $end", lines.len())?;
        }
        for (name, scope) in &self.scopes {
            writeln!(out, "$scope module {name} $end")?;
            scope.write(variables, out)?;
            writeln!(out, "$upscope $end")?;
        }
        Ok(())
    }
}

/// The identifier code of variable `i`: printable ASCII, `!` to `~`, shortest first.
fn code(mut i: usize) -> String {
    let mut code = String::new();
    loop {
        code.push((b'!' + (i % 94) as u8) as char);
        if i < 94 {
            return code;
        }
        i = i / 94 - 1;
    }
}

fn changes(
    capture: &Capture,
    variables: &[(String, Variable)],
    grid: &Grid,
    out: &mut impl Write,
) -> io::Result<()> {
    let (start, end) = (capture.span.start, capture.span.end);
    // Position of the variable that a line belongs to.
    let mut owner = vec![0; capture.lines.len()];
    for (i, (_, variable)) in variables.iter().enumerate() {
        variable.lines.iter().for_each(|&line| owner[line] = i);
    }
    let put_all = |shown: &[Shown], out: &mut _| variables.iter().try_for_each(|(_, v)| v.put(shown, out));
    let mut changes = Changes::new(&capture.lines, start, end);
    writeln!(out, "#{}\n$dumpvars", grid.time(capture, start))?;
    put_all(changes.shown(), out)?;
    writeln!(out, "$end")?;
    let mut changed = Vec::new();
    let is_off = |shown: &[Shown]| !shown.is_empty() && shown.iter().all(|s| *s == Shown::Unrecorded);
    let mut off = false;
    while let Some(time) = changes.advance(&mut changed) {
        writeln!(out, "#{}", grid.time(capture, time))?;
        let shown = changes.shown();
        let was_off = std::mem::replace(&mut off, is_off(shown));
        if off || was_off {
            writeln!(out, "{}", if off { "$dumpoff" } else { "$dumpon" })?;
            put_all(shown, out)?;
            writeln!(out, "$end")?;
        } else {
            put_some(variables, &owner, &mut changed, shown, out)?;
        }
    }
    if end > start {
        writeln!(out, "#{}", grid.time(capture, end))?;
        let mut last: Vec<Shown> = capture.lines.iter().map(|line| shown_at(line, end)).collect();
        changed.clear();
        for (i, (last, before)) in last.iter_mut().zip(changes.shown()).enumerate() {
            match *last {
                Shown::Unrecorded => *last = *before,
                shown if shown != *before => changed.push(i),
                _ => {}
            }
        }
        put_some(variables, &owner, &mut changed, &last, out)?;
    }
    out.flush()
}

/// The variables that some of the `changed` lines belong to, each once.
fn put_some(
    variables: &[(String, Variable)],
    owner: &[usize],
    changed: &mut Vec<usize>,
    shown: &[Shown],
    out: &mut impl Write,
) -> io::Result<()> {
    changed.iter_mut().for_each(|line| *line = owner[*line]);
    changed.sort_unstable();
    changed.dedup();
    changed.iter().try_for_each(|&i| variables[i].1.put(shown, out))
}

fn digit(shown: Shown) -> char {
    match shown {
        Shown::Level(Level::Low) => '0',
        Shown::Level(Level::High) => '1',
        Shown::Level(Level::Floating) => 'z',
        Shown::Level(Level::Unknown) | Shown::Unrecorded => 'x',
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Format, Line, Stretch, StretchKind, Ticks, TimeSpan, Timebase};

    fn capture(timebase: Timebase, lines: Vec<Line>) -> Capture {
        Capture {
            file: "a.csv".to_owned(),
            format: Format::Csv,
            timebase,
            span: TimeSpan::new(Ticks(-5), Ticks(100)),
            resolution_ticks: 1.0,
            lines,
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Times and values as the independent crate `vcd` reads them.
    fn read(text: &[u8]) -> (Vec<String>, Vec<(u64, String, vcd::Value)>) {
        let mut parser = vcd::Parser::new(text);
        let header = parser.parse_header().unwrap();
        let mut names = BTreeMap::new();
        fn walk(items: &[vcd::ScopeItem], path: &str, names: &mut BTreeMap<vcd::IdCode, String>) {
            for item in items {
                match item {
                    vcd::ScopeItem::Scope(scope) => {
                        walk(&scope.items, &format!("{path}{}.", scope.identifier), names)
                    }
                    vcd::ScopeItem::Var(var) => {
                        let index = var.index.map(|index| index.to_string()).unwrap_or_default();
                        names.insert(var.code, format!("{path}{}{index}", var.reference));
                    }
                    _ => {}
                }
            }
        }
        walk(&header.items, "", &mut names);
        let mut time = 0;
        let mut changes = Vec::new();
        for command in parser {
            match command.unwrap() {
                vcd::Command::Timestamp(t) => time = t,
                vcd::Command::ChangeScalar(code, value) => changes.push((time, names[&code].clone(), value)),
                _ => {}
            }
        }
        (names.into_values().collect(), changes)
    }

    #[test]
    fn an_independent_reader_finds_every_change() {
        let span = TimeSpan::new(Ticks(-5), Ticks(100));
        let mut a = Line::digital("tower.DATA[3]", Level::Low, vec![Ticks(10), Ticks(20)], span);
        let stretch = |start, end, kind| Stretch {
            span: TimeSpan::new(Ticks(start), Ticks(end)),
            kind,
        };
        a.stretches = vec![
            stretch(50, 60, StretchKind::Unknown),
            stretch(70, 80, StretchKind::Unrecorded),
        ];
        let mut b = Line::digital("B 1", Level::High, vec![Ticks(20)], span);
        b.stretches = vec![stretch(30, 40, StretchKind::Floating)];
        let mut out = Vec::new();
        let notes = write(&capture(Timebase::decimal(-9), vec![a, b]), &mut out).unwrap();
        assert!(String::from_utf8_lossy(&out).contains("$timescale 1 ns $end"));
        assert_eq!(notes.len(), 2, "{notes:?}");
        let (names, changes) = read(&out);
        assert_eq!(names, ["capture.tower.DATA[3]", "capture.B_1"]);
        use vcd::Value::{V0, V1, X, Z};
        let expected: Vec<(u64, String, vcd::Value)> = [
            (0, 0, V0),
            (0, 1, V1),
            (15, 0, V1),
            (25, 0, V0),
            (25, 1, V0),
            (35, 1, Z),
            (45, 1, V0),
            (55, 0, X),
            (65, 0, V0),
            (75, 0, X),
            (85, 0, V0),
        ]
        .map(|(time, name, value): (u64, usize, vcd::Value)| (time, names[name].clone(), value))
        .to_vec();
        assert_eq!(changes, expected);
    }

    #[test]
    fn a_fitted_tick_gets_a_much_finer_grid() {
        let span = TimeSpan::new(Ticks(-5), Ticks(100));
        let a = Line::digital("A", Level::Low, vec![Ticks(3)], span);
        let capture = capture(Timebase::fitted(0.0, 1.0 / 24e6), vec![a]);
        let mut out = Vec::new();
        write(&capture, &mut out).unwrap();
        assert!(String::from_utf8_lossy(&out).contains("$timescale 10 ps $end"));
        let (_, changes) = read(&out);
        // Eight samples of 41.666… ns after the first: 333.33 ns.
        assert_eq!(changes.last().unwrap().0, 33_333);
    }

    #[test]
    fn the_time_unit_is_the_coarsest_that_holds_every_tick() {
        let span = TimeSpan::new(Ticks(0), Ticks(100));
        let unit = |timebase: Timebase, sample_ticks: f64| {
            let mut line = Line::digital("A", Level::Low, vec![Ticks(3)], span);
            line.sample_ticks = sample_ticks;
            let mut out = Vec::new();
            write(&capture(timebase, vec![line]), &mut out).unwrap();
            let text = String::from_utf8(out).unwrap();
            let unit = text
                .split("$timescale ")
                .nth(1)
                .unwrap()
                .split(" $end")
                .next()
                .unwrap()
                .to_owned();
            (unit, text.contains("\n#40\n"))
        };
        // Samples of 5 ns (the file begins 5 of them before zero, the edge is 3 after); of 50 ns with a thousand ticks in each; the same of 24 MHz, which no power of ten holds.
        assert_eq!(unit(Timebase::fitted(0.0, 5e-9), 1.0), ("1 ns".to_owned(), true));
        assert_eq!(unit(Timebase::fitted(0.0, 50e-12), 1000.0).0, "10 ps");
        assert_eq!(unit(Timebase::fitted(0.0, 1.0 / 24e9), 1000.0).0, "10 ps");
        // An origin within a sample needs the finer unit.
        assert_eq!(unit(Timebase::fitted(2.5e-9, 5e-9), 1.0).0, "100 ps");
    }

    #[test]
    fn codes_are_distinct_and_printable() {
        let codes: HashSet<String> = (0..10_000).map(code).collect();
        assert_eq!(codes.len(), 10_000);
        assert!(
            codes
                .iter()
                .all(|code| code.bytes().all(|b| (b'!'..=b'~').contains(&b)))
        );
        assert_eq!(
            (code(0), code(93), code(94)),
            ("!".to_owned(), "~".to_owned(), "!!".to_owned())
        );
    }
}
