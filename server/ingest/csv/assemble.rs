//! The finished builders of a table → the [`Capture`], with its buses, traces and warnings.

use super::bus::{bus_range, split_base};
use super::cells::split_unit;
use super::clock::Clock;
use super::table::{Sink, Table};
use crate::ingest::build::Built;
use crate::ingest::names::some_of;
use crate::model::Family;
use crate::model::{Bus, Capture, Format, Line, Source as LineSource, TimeSpan, Trace, Warning};

/// Finishes the builders; `sub`: ticks of a sample, `families`: by column, as [`super::families`] gives them.
pub fn assemble(
    name: &str,
    table: Table,
    families: &[Option<(Family, bool)>],
    clock: &Clock,
    span: TimeSpan,
    sub: i64,
    warnings: Vec<String>,
) -> std::io::Result<Capture> {
    let (timebase, sample_ticks) = clock.timebase();
    let (plan, start, end) = (table.plan, span.start.0, span.end.0);
    let mut capture = Capture {
        file: name.to_owned(),
        format: Format::Csv,
        timebase,
        span,
        resolution_ticks: if sample_ticks > 0.0 {
            sample_ticks
        } else {
            plan.rounding.max(1.0)
        },
        lines: Vec::new(),
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: warnings.into_iter().map(|text| Warning { text }).collect(),
    };
    let mut builders = table.lines.into_iter();
    let mut analogs = table.volts.into_iter();
    let mut proposed: Vec<String> = Vec::new();
    for ((column, sink), family) in plan.columns.iter().zip(&table.sinks).zip(families) {
        match sink {
            Sink::Nothing => {}
            Sink::Level(_) => {
                let built = builders.next().expect("one builder a line").finish(end)?;
                capture
                    .lines
                    .push(line(column.name.clone(), built, span, sample_ticks));
            }
            Sink::Bus { bits, base, .. } => {
                let (name, stated_base) = split_base(split_unit(&column.heading).0);
                let range = bus_range(&column.heading).or_else(|| bus_range(name));
                // One bit whose heading says its base, as `D0 [bin]` does, is a line: nobody said that it is a bus.
                if *bits == 1 && range.is_none() && stated_base.is_some() && !column.is_declared {
                    let built = builders.next().expect("one builder a line").finish(end)?;
                    capture
                        .lines
                        .push(line(column.name.clone(), built, span, sample_ticks));
                    continue;
                }
                let (msb, lsb) = range.unwrap_or((*bits as i64 - 1, 0));
                let first = capture.lines.len();
                for place in (0..*bits as i64).rev() {
                    let index = if msb >= lsb { lsb + place } else { lsb - place };
                    let built = builders.next().expect("one builder a line").finish(end)?;
                    let name = format!("{}[{index}]", column.name);
                    capture.lines.push(line(name, built, span, sample_ticks));
                }
                capture.buses.push(Bus {
                    name: column.name.clone(),
                    bits: (first..capture.lines.len()).collect(),
                    base: Some(*base),
                });
            }
            Sink::Volts(_) => {
                let (family, declared) = family.clone().expect("an analog column has a family");
                let done = analogs
                    .next()
                    .expect("one builder a line")
                    .finish(start, sub, end)?;
                if !declared {
                    proposed.push(format!("{} {}", column.name, family.name));
                }
                capture.lines.push(Line {
                    source: LineSource::Analog,
                    interpolated: true,
                    runts: done.runts,
                    between: done.between,
                    trace: done.samples.map(|samples| Trace {
                        thresholds: family.thresholds,
                        family: family.name,
                        declared,
                        samples,
                    }),
                    ..line(column.name.clone(), done.built, span, sample_ticks)
                });
            }
        }
    }
    if !proposed.is_empty() {
        capture.warn(format!(
            "thresholds proposed from the lines' own levels: {}; say otherwise with family = \"…\" in the setup file",
            some_of(&proposed)
        ));
    }
    Ok(capture)
}

fn line(name: String, built: Built, span: TimeSpan, sample_ticks: f64) -> Line {
    Line {
        edges: built.edges,
        flips: built.flips,
        stretches: built.stretches,
        sample_ticks,
        tally: Some(built.tally),
        ..Line::digital(name, built.first, Vec::new(), span)
    }
}
