//! VCD, four-state and extended: IEEE Std 1364-2005 clause 18 (IEEE Std 1800 §21.7 keeps it).

mod changes;
mod codes;
mod fast;
mod header;
mod tokens;

use std::collections::HashMap;
use std::sync::Arc;

use super::build::{Built, LineBuilder};
use super::columns::SpillFolder;
use super::grid;
use super::input::{Input, Source, Wrapping};
use super::{Error, ErrorKind, Progress, ReadOptions};
use crate::model::units::engineering;
use crate::model::{
    Bus, Capture, Format, Line, NO_TIME_UNIT, NotLogic, Ticks, TimeSpan, Timebase, Trace, TraceSamples,
    Warning,
};
use header::{Kind, Variable};

/// Sampling periods that are named, at most.
const MOST_PERIODS: usize = 6;

/// What a code stands for; lines are numbered as in [`Plan::builders`].
#[derive(Clone, Copy, Debug)]
pub(crate) enum Target {
    Scalar(usize),
    /// First line (most significant bit) and number of bits.
    Vector {
        first: usize,
        width: usize,
        slot: usize,
    },
    /// Place in [`Plan::others`].
    Other(usize),
}

/// A variable that is no logic line, while it is read.
#[derive(Debug, Default)]
pub(crate) struct Other {
    pub real: bool,
    pub event: bool,
    /// How often it changed; times in the file's units, and values as many where they are numbers.
    pub changes: usize,
    pub times: Vec<i64>,
    pub values: Vec<f64>,
}

/// Where the changes go.
pub(crate) struct Plan {
    pub codes: codes::Codes,
    pub builders: Vec<LineBuilder>,
    pub others: Vec<Other>,
    /// Vectors whose last value is kept.
    pub slots: usize,
    /// Stretches without a known level so far, all lines together.
    pub stretches: usize,
}

/// Reads a VCD. A mistake is told with its line as well: counting it costs another look at the bytes before it.
pub fn read(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    read_whole(source, name, wrapping, options, progress).map_err(|mut error| {
        if let Some(position) = &mut error.position {
            position.line = line_at(source, name, wrapping, options, position.byte);
        }
        error
    })
}

/// The line, from 1, that byte `offset` of the unpacked file stands on; `None` where the file can't be read as far.
fn line_at(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    offset: u64,
) -> Option<u64> {
    let mut input = Input::open(source, name, wrapping, &options.limits, &()).ok()?;
    let mut line = 1;
    while input.offset() < offset {
        if input.window().is_empty() && !input.more().ok()? {
            return None;
        }
        let length = input.window().len().min((offset - input.offset()) as usize);
        line += memchr::memchr_iter(b'\n', &input.window()[..length]).count() as u64;
        input.advance(length);
    }
    Some(line)
}

fn read_whole(
    source: &Source,
    name: &str,
    wrapping: Wrapping,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let limits = &options.limits;
    let input = Input::open(source, name, wrapping, limits, progress)?;
    let mut tokens = tokens::Tokens::new(input, name);
    let header = header::read(&mut tokens, limits)?;
    let folder = SpillFolder::new();
    let folder = Arc::new(folder);
    let (mut plan, owners) = plan(&header.variables, &folder, options);
    let path = match source {
        Source::Path(path) if !options.plain && !wrapping.gzip && wrapping.utf16.is_none() => {
            Some(path.as_path())
        }
        _ => None,
    };
    let outcome = changes::read(&mut tokens, &mut plan, header.held_word, limits, path, progress)?;

    let mut warnings = header.warnings;
    let (timebase, resolution) = timebase(header.timescale, options, &mut warnings);
    warnings.extend(outcome.warnings);
    let span = TimeSpan::new(Ticks(outcome.start), Ticks(outcome.end));
    let spill = |error| Error {
        file: name.to_owned(),
        position: None,
        kind: ErrorKind::Spill(error),
    };
    let mut built = Vec::with_capacity(plan.builders.len());
    for builder in plan.builders {
        built.push(builder.finish(outcome.end).map_err(spill)?);
    }
    // What was told of some lines was not known of the others.
    let sample_ticks = match header.told.sampled.is_empty() {
        true => grid::period_of_changes(&outcome.times, resolution).unwrap_or(0.0),
        false => 0.0,
    };

    let mut capture = Capture {
        file: name.to_owned(),
        format: Format::Vcd,
        timebase,
        span,
        resolution_ticks: 1.0,
        lines: Vec::with_capacity(built.len()),
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: warnings.into_iter().map(|text| Warning { text }).collect(),
    };
    let others = plan.others.into_iter().map(Some).collect();
    let apart = lay_out(
        &mut capture,
        &header.variables,
        &owners,
        &built,
        others,
        (sample_ticks, &header.told),
    );
    if !header.told.sampled.is_empty() {
        let sampled = capture.lines.iter().map(|line| line.sample_ticks);
        let mut periods: Vec<f64> = sampled.filter(|ticks| *ticks > 0.0).collect();
        periods.sort_by(f64::total_cmp);
        periods.dedup();
        let periods = periods.iter().take(MOST_PERIODS);
        let periods: Vec<String> = periods
            .map(|ticks| engineering(capture.timebase.length_s(*ticks), "s"))
            .collect();
        if !periods.is_empty() {
            capture.warn(format!(
                "the file's comments, written by Edgewitness, say how its lines were sampled ({}): so they are taken",
                periods.join(", ")
            ));
        }
    }
    if sample_ticks > 0.0 {
        let sample_s = capture.timebase.length_s(sample_ticks);
        capture.warn(format!(
            "all changes lie on a grid of {} ({}): taken for the sampling period where it matters how well an edge is known",
            engineering(sample_s, "s"),
            engineering(1.0 / sample_s, "Hz")
        ));
    }
    if capture.lines.is_empty() {
        capture.warn("the file declares no variable that is a line".to_owned());
    }
    if !apart.is_empty() {
        let names = super::names::some_of(&apart);
        capture.warn(format!("not logic lines, kept apart from the lines: {names}"));
    }
    Ok(capture)
}

/// Puts what was built into the capture, variable by variable in the order of the declarations: lines and buses, or, apart
/// from them, what is no logic. Gives the names of the latter.
fn lay_out(
    capture: &mut Capture,
    variables: &[Variable],
    owners: &[Owner],
    built: &[Built],
    mut others: Vec<Option<Other>>,
    (sample_ticks, told): (f64, &header::Told),
) -> Vec<String> {
    // The first line of each code, and how many it has.
    let mut first_lines: HashMap<&[u8], (usize, usize)> = HashMap::new();
    // The first line that was made of each builder.
    let mut owner_lines = vec![None; built.len()];
    let mut apart: Vec<String> = Vec::new();
    for (variable, owner) in variables.iter().zip(owners) {
        match *owner {
            Owner::Nothing => {}
            Owner::Other(place) => {
                let found = not_logic(variable, others[place].take(), &capture.not_logic);
                capture.not_logic.push(found);
                apart.push(variable.name.clone());
            }
            Owner::Lines { first, width } => {
                let names = variable.bit_names();
                // A shorter twin is the lower part of the longer one.
                let skip = width.saturating_sub(names.len());
                let start = capture.lines.len();
                let sampling = told.sampled.get(&variable.code);
                let sample_ticks =
                    sampling.map_or(sample_ticks, |said| capture.timebase.ticks_of(said.period_s));
                first_lines
                    .entry(&variable.code)
                    .or_insert((start, width.min(names.len())));
                for (bit, name) in names.into_iter().enumerate().take(width) {
                    let source = first + skip + bit;
                    let twin = owner_lines[source];
                    owner_lines[source] = twin.or(Some(capture.lines.len()));
                    let columns = &built[source];
                    capture.lines.push(Line {
                        edges: columns.edges.clone(),
                        flips: columns.flips.clone(),
                        stretches: columns.stretches.clone(),
                        sample_ticks,
                        interpolated: sampling.is_some_and(|said| said.is_interpolated),
                        same_as: twin,
                        tally: Some(columns.tally),
                        ..Line::digital(name, columns.first, Vec::new(), capture.span)
                    });
                }
                if capture.lines.len() - start > 1 {
                    capture.buses.push(Bus {
                        name: variable.name.clone(),
                        bits: (start..capture.lines.len()).collect(),
                        base: None,
                    });
                }
            }
        }
    }
    for [a, b] in &told.same {
        let (Some(&a), Some(&b)) = (first_lines.get(&a[..]), first_lines.get(&b[..])) else {
            continue;
        };
        // The earlier one is pointed at: so no two lines ever point at each other.
        let ((earlier, width), (later, of_later)) = (a.min(b), a.max(b));
        for bit in 0..width.min(of_later) {
            let twin = capture.lines[earlier + bit].same_as.unwrap_or(earlier + bit);
            capture.lines[later + bit].same_as.get_or_insert(twin);
        }
    }
    apart
}

fn not_logic(variable: &Variable, other: Option<Other>, before: &[NotLogic]) -> NotLogic {
    let kind = match variable.kind {
        Kind::Real => "real",
        Kind::Event => "event",
        Kind::Text | Kind::Logic => "string",
    };
    let Some(other) = other else {
        // A second name of something already listed.
        let twin = before.iter().rev().find(|n| n.kind == kind);
        return NotLogic {
            name: variable.name.clone(),
            kind: kind.to_owned(),
            changes: twin.map_or(0, |t| t.changes),
            trace: twin.and_then(|t| t.trace.clone()),
        };
    };
    let trace = (other.real && !other.times.is_empty()).then(|| Trace {
        thresholds: crate::model::Thresholds {
            low_v: 0.8,
            high_v: 2.0,
        },
        family: "none".to_owned(),
        declared: false,
        samples: TraceSamples::Steps {
            times: Arc::new(other.times),
            values: Arc::new(other.values),
        },
    });
    NotLogic {
        name: variable.name.clone(),
        kind: kind.to_owned(),
        changes: other.changes,
        trace,
    }
}

#[derive(Clone, Copy, Debug)]
enum Owner {
    Lines { first: usize, width: usize },
    Other(usize),
    Nothing,
}

fn plan(variables: &[Variable], folder: &Arc<SpillFolder>, options: &ReadOptions) -> (Plan, Vec<Owner>) {
    let lines: usize = variables.iter().map(|v| v.width).sum();
    let room = (options.limits.buffered_edges / lines.max(1)).clamp(64, 1 << 16);
    let mut plan = Plan {
        codes: codes::Codes::default(),
        builders: Vec::new(),
        others: Vec::new(),
        slots: 0,
        stretches: 0,
    };
    let mut owners = Vec::with_capacity(variables.len());
    for variable in variables {
        let known = plan.codes.get(&variable.code);
        let owner = match (known, variable.kind) {
            (Some(Target::Scalar(first)), Kind::Logic) => Owner::Lines { first, width: 1 },
            (Some(Target::Vector { first, width, .. }), Kind::Logic) => Owner::Lines { first, width },
            (Some(Target::Other(place)), _) => Owner::Other(place),
            (Some(_), _) => Owner::Nothing,
            (None, Kind::Logic) if variable.width == 0 => {
                plan.codes
                    .insert(&variable.code, Target::Other(plan.others.len()));
                plan.others.push(Other::default());
                Owner::Nothing
            }
            (None, Kind::Logic) => {
                let (first, width) = (plan.builders.len(), variable.width);
                for bit in 0..width {
                    let name = format!("edges-{}.i64", first + bit);
                    plan.builders.push(LineBuilder::new(folder, name, room));
                }
                let target = if width == 1 {
                    Target::Scalar(first)
                } else {
                    plan.slots += 1;
                    Target::Vector {
                        first,
                        width,
                        slot: plan.slots - 1,
                    }
                };
                plan.codes.insert(&variable.code, target);
                Owner::Lines { first, width }
            }
            (None, kind) => {
                let place = plan.others.len();
                plan.others.push(Other {
                    real: kind == Kind::Real,
                    event: kind == Kind::Event,
                    ..Other::default()
                });
                plan.codes.insert(&variable.code, Target::Other(place));
                Owner::Other(place)
            }
        };
        owners.push(owner);
    }
    (plan, owners)
}

/// The timebase, and the length of a tick in seconds.
fn timebase(scale: Option<(u32, i32)>, options: &ReadOptions, warnings: &mut Vec<String>) -> (Timebase, f64) {
    let timebase = match (scale, options.timescale_s) {
        (Some((mantissa, exponent)), said) => {
            let own = scaled(mantissa, exponent);
            /// As far as two ways of writing one unit may differ.
            const SAME: f64 = 1e-9;
            if let Some(said_s) = said.filter(|said_s| (said_s / own.tick_s() - 1.0).abs() > SAME) {
                warnings.push(format!(
                    "the setup file says a timescale of {}, the file's own $timescale says {}: the file was followed; timescale \
                     under [read] is only for files without one",
                    engineering(said_s, "s"),
                    engineering(own.tick_s(), "s")
                ));
            }
            own
        }
        (None, Some(seconds)) => {
            let exponent = seconds.log10().round() as i32;
            if (10f64.powi(exponent) / seconds - 1.0).abs() < 1e-9 {
                Timebase::decimal(exponent)
            } else {
                Timebase::fitted(0.0, seconds)
            }
        }
        (None, None) => {
            warnings.push(format!(
                "{NO_TIME_UNIT}; say otherwise with timescale = \"…\" under [read] in the setup file"
            ));
            Timebase::decimal(-9)
        }
    };
    (timebase, timebase.tick_s())
}

fn scaled(mantissa: u32, exponent: i32) -> Timebase {
    let power = mantissa.ilog10() as i32;
    Timebase::decimal(exponent + power)
}
