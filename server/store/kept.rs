//! Captures that were read once, kept as columns and mapped when they are wanted again.
//!
//! A folder of [`Store::begin_columns`] holds two files: `columns`, all numbers one section after the other, each from a
//! multiple of 64 bytes on, and `capture.json`, which says what they are; its first line is the digest of the rest. What
//! does not fit its digests, or was kept by another version, is removed and read again from the original.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::sections::{ALIGNMENT, Section, Sections};
use super::{Digest, Error, Store};
use crate::model::{
    Bus, Capture, Format, Level, Line, NotLogic, PyramidLevel, Runt, Source, Stretch, StretchKind, Tally,
    Thresholds, Ticks, TimeSpan, Timebase, Trace, TraceSamples, Warning,
};

/// Of these files' form. Raised when it changes.
const FORM: u32 = 2;
/// Columns up to this size are checked against their digest when they are opened; of larger ones only the length is,
/// since reading them whole is what mapping spares.
const CHECKED_BYTES: u64 = 512 << 20;
/// Readings of one original that are kept; the oldest goes first.
const MOST_READINGS: usize = 4;

/// Floats as their bits: decimal text would not give back the same ones for certain.
type Bits = u64;

#[derive(Serialize, Deserialize)]
struct Kept {
    form: u32,
    columns_bytes: u64,
    columns_digest: String,
    format: Format,
    timebase: [Bits; 3],
    span: TimeSpan,
    resolution_ticks: Bits,
    lines: Vec<KeptLine>,
    buses: Vec<Bus>,
    not_logic: Vec<KeptNotLogic>,
    warnings: Vec<Warning>,
}

#[derive(Serialize, Deserialize)]
struct KeptLine {
    name: String,
    source: Source,
    first: Level,
    edges: Section,
    landmarks: Section,
    flips: Section,
    /// Start, end and kind of each.
    stretches: Section,
    /// Start, width, level and bits of the peak of each.
    runts: Section,
    span: TimeSpan,
    sample_ticks: Bits,
    interpolated: bool,
    trace: Option<KeptTrace>,
    same_as: Option<usize>,
    between: Ticks,
    tally: Option<Tally>,
}

#[derive(Serialize, Deserialize)]
struct KeptNotLogic {
    name: String,
    kind: String,
    changes: usize,
    trace: Option<KeptTrace>,
}

#[derive(Serialize, Deserialize)]
struct KeptTrace {
    thresholds: [Bits; 2],
    family: String,
    declared: bool,
    samples: KeptSamples,
}

#[derive(Serialize, Deserialize)]
enum KeptSamples {
    Uniform {
        start: i64,
        step: i64,
        volts: Section,
        pyramid: Vec<Section>,
    },
    Steps {
        times: Section,
        values: Section,
    },
}

impl Store {
    /// Keeps what was read of an original with `read_key`, and gives it back mapped; what `capture` held in memory or
    /// in temporary files can go. Cost: everything is written once.
    ///
    /// # Errors
    /// The disk is full or fails; nothing is then visible.
    pub fn keep_capture(
        &self,
        digest: &Digest,
        read_key: &str,
        capture: &Capture,
    ) -> Result<Option<Capture>, Error> {
        let columns = self.begin_columns(digest, read_key)?;
        let path = columns.path().to_owned();
        write(&path, capture).map_err(Error::io("storing edge columns", &path))?;
        let place = columns.commit()?;
        if let Some(readings) = place.parent() {
            forget_oldest(readings, &place);
        }
        Ok(self.kept_capture(digest, read_key, &capture.file))
    }

    /// What was kept of an original as read with `read_key`, under the name `file`; `None` when nothing was, or it can't
    /// be used any more. Cost: the columns are mapped, and up to a size checked against their digest.
    pub fn kept_capture(&self, digest: &Digest, read_key: &str, file: &str) -> Option<Capture> {
        let place = self.columns_dir(digest, read_key)?;
        let opened = open(&place, file);
        if opened.is_none() {
            // It can be made again. If it can't be removed either, it is not used all the same.
            let _ = fs::remove_dir_all(&place);
        }
        opened
    }
}

/// Files that are mapped stay until they are let go.
fn forget_oldest(readings: &Path, newest: &Path) {
    let Ok(entries) = fs::read_dir(readings) else {
        return;
    };
    let mut found: Vec<_> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            Some((entry.metadata().ok()?.modified().ok()?, entry.path()))
        })
        .filter(|(_, path)| path != newest)
        .collect();
    found.sort();
    while found.len() >= MOST_READINGS {
        let _ = fs::remove_dir_all(found.remove(0).1);
    }
}

struct Writer {
    file: BufWriter<File>,
    hasher: blake3::Hasher,
    at: u64,
}

impl Writer {
    fn section<T: bytemuck::NoUninit>(&mut self, numbers: &[T]) -> std::io::Result<Section> {
        let padding = self.at.next_multiple_of(ALIGNMENT) - self.at;
        self.bytes(&[0; ALIGNMENT as usize][..padding as usize])?;
        let offset = self.at;
        self.bytes(bytemuck::cast_slice(numbers))?;
        Ok(Section {
            offset,
            count: numbers.len() as u64,
        })
    }

    fn bytes(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        self.hasher.update(bytes);
        self.at += bytes.len() as u64;
        self.file.write_all(bytes)
    }

    fn trace(&mut self, trace: &Trace) -> std::io::Result<KeptTrace> {
        let samples = match &trace.samples {
            TraceSamples::Uniform {
                start,
                step,
                volts,
                pyramid,
            } => KeptSamples::Uniform {
                start: *start,
                step: *step,
                volts: self.section((**volts).as_ref())?,
                pyramid: pyramid
                    .iter()
                    .map(|level| self.section((**level).as_ref()))
                    .collect::<std::io::Result<_>>()?,
            },
            TraceSamples::Steps { times, values } => KeptSamples::Steps {
                times: self.section(times)?,
                values: self.section(values)?,
            },
        };
        Ok(KeptTrace {
            thresholds: [trace.thresholds.low_v, trace.thresholds.high_v].map(f64::to_bits),
            family: trace.family.clone(),
            declared: trace.declared,
            samples,
        })
    }

    fn line(&mut self, line: &Line, twin: Option<Section>) -> std::io::Result<KeptLine> {
        let stretches: Vec<[i64; 3]> = line
            .stretches
            .iter()
            .map(|s| [s.span.start.0, s.span.end.0, kind_number(s.kind)])
            .collect();
        let runts: Vec<[i64; 4]> = line
            .runts
            .iter()
            .map(|r| {
                let level = i64::from(r.level == Level::High);
                [r.start.0, r.width.0, level, r.peak_v.to_bits() as i64]
            })
            .collect();
        Ok(KeptLine {
            name: line.name.clone(),
            source: line.source,
            first: line.first,
            edges: match twin {
                Some(section) => section,
                None => self.section(&line.edges[..])?,
            },
            landmarks: {
                let landmarks = line.edges.iter().step_by(Line::LANDMARK_STEP);
                self.section(&landmarks.copied().collect::<Vec<Ticks>>())?
            },
            flips: self.section(&line.flips)?,
            stretches: self.section(stretches.as_flattened())?,
            runts: self.section(runts.as_flattened())?,
            span: line.span,
            sample_ticks: line.sample_ticks.to_bits(),
            interpolated: line.interpolated,
            trace: line.trace.as_ref().map(|t| self.trace(t)).transpose()?,
            same_as: line.same_as,
            between: line.between,
            tally: line.tally,
        })
    }
}

fn kind_number(kind: StretchKind) -> i64 {
    match kind {
        StretchKind::Unknown => 0,
        StretchKind::Floating => 1,
        StretchKind::Unrecorded => 2,
    }
}

fn write(folder: &Path, capture: &Capture) -> std::io::Result<()> {
    let mut writer = Writer {
        file: BufWriter::with_capacity(1 << 20, File::create(folder.join("columns"))?),
        hasher: blake3::Hasher::new(),
        at: 0,
    };
    let mut lines: Vec<KeptLine> = Vec::with_capacity(capture.lines.len());
    for line in &capture.lines {
        // Twins share their edges.
        let twin = line
            .same_as
            .filter(|&other| std::ptr::eq(&line.edges[..], &capture.lines[other].edges[..]))
            .and_then(|other| lines.get(other))
            .map(|other| other.edges);
        lines.push(writer.line(line, twin)?);
    }
    let mut not_logic = Vec::new();
    for variable in &capture.not_logic {
        not_logic.push(KeptNotLogic {
            name: variable.name.clone(),
            kind: variable.kind.clone(),
            changes: variable.changes,
            trace: variable.trace.as_ref().map(|t| writer.trace(t)).transpose()?,
        });
    }
    writer.file.flush()?;
    let Timebase {
        origin_s,
        numerator_s,
        denominator,
    } = capture.timebase;
    let kept = Kept {
        form: FORM,
        columns_bytes: writer.at,
        columns_digest: writer.hasher.finalize().to_hex().to_string(),
        format: capture.format,
        timebase: [origin_s, numerator_s, denominator].map(f64::to_bits),
        span: capture.span,
        resolution_ticks: capture.resolution_ticks.to_bits(),
        lines,
        buses: capture.buses.clone(),
        not_logic,
        warnings: capture.warnings.clone(),
    };
    let text = serde_json::to_vec(&kept)?;
    let mut file = BufWriter::new(File::create(folder.join("capture.json"))?);
    writeln!(file, "{}", blake3::hash(&text).to_hex())?;
    file.write_all(&text)?;
    file.flush()
}

impl Sections {
    fn trace(&self, kept: &KeptTrace) -> Option<Trace> {
        let samples = match &kept.samples {
            KeptSamples::Uniform {
                start,
                step,
                volts,
                pyramid,
            } => {
                let level = |section: &Section| -> Option<PyramidLevel> {
                    Some(Arc::new(self.part::<[f32; 2]>(*section)?))
                };
                TraceSamples::Uniform {
                    start: *start,
                    step: *step,
                    volts: Arc::new(self.part::<f32>(*volts)?),
                    pyramid: Arc::new(pyramid.iter().map(level).collect::<Option<_>>()?),
                }
            }
            KeptSamples::Steps { times, values } => TraceSamples::Steps {
                times: Arc::new(self.numbers(*times)?),
                values: Arc::new(self.numbers(*values)?),
            },
        };
        let [low_v, high_v] = kept.thresholds.map(f64::from_bits);
        Some(Trace {
            thresholds: Thresholds { low_v, high_v },
            family: kept.family.clone(),
            declared: kept.declared,
            samples,
        })
    }

    fn line(&self, kept: KeptLine) -> Option<Line> {
        let stretches = self.numbers::<i64>(kept.stretches)?;
        let stretches = stretches.as_chunks().0.iter().map(|&[start, end, kind]| {
            let kind = match kind {
                0 => StretchKind::Unknown,
                1 => StretchKind::Floating,
                _ => StretchKind::Unrecorded,
            };
            Stretch {
                span: TimeSpan::new(Ticks(start), Ticks(end)),
                kind,
            }
        });
        let runts = self.numbers::<i64>(kept.runts)?;
        let runts = runts
            .as_chunks()
            .0
            .iter()
            .map(|&[start, width, level, peak]| Runt {
                start: Ticks(start),
                width: Ticks(width),
                level: if level == 1 { Level::High } else { Level::Low },
                peak_v: f64::from_bits(peak as u64),
            });
        let trace = match &kept.trace {
            Some(trace) => Some(self.trace(trace)?),
            None => None,
        };
        let edges = self.part::<Ticks>(kept.edges)?.column();
        Some(Line {
            name: kept.name,
            capture: 0,
            source: kept.source,
            first: kept.first,
            edges: edges.clone(),
            flips: self.numbers(kept.flips)?,
            stretches: stretches.collect(),
            span: kept.span,
            sample_ticks: f64::from_bits(kept.sample_ticks),
            interpolated: kept.interpolated,
            trace,
            same_as: kept.same_as,
            runts: runts.collect(),
            judged: Vec::new(),
            landmarks: Some(self.part::<Ticks>(kept.landmarks)?.column())
                .filter(|marks| marks.len() == edges.len().div_ceil(Line::LANDMARK_STEP)),
            between: kept.between,
            tally: kept.tally,
        })
    }
}

/// `None` for anything that is not whole.
fn open(folder: &Path, file: &str) -> Option<Capture> {
    let text = fs::read(folder.join("capture.json")).ok()?;
    let line_end = text.iter().position(|&b| b == b'\n')?;
    let (digest, text) = (&text[..line_end], &text[line_end + 1..]);
    if blake3::hash(text).to_hex().as_bytes() != digest {
        return None;
    }
    let kept: Kept = serde_json::from_slice(text).ok()?;
    let columns = File::open(folder.join("columns")).ok()?;
    let size = columns.metadata().ok()?.len();
    if kept.form != FORM || size != kept.columns_bytes {
        return None;
    }
    // SAFETY: the file lies in the store's own folder and is never written to again; somebody else who cuts it short
    // under us is outside what a reader can defend against.
    let map = match size {
        0 => None,
        _ => Some(Arc::new(unsafe { memmap2::Mmap::map(&columns) }.ok()?)),
    };
    if let Some(map) = map.as_ref().filter(|_| size <= CHECKED_BYTES)
        && blake3::hash(&map[..]).to_hex().as_str() != kept.columns_digest
    {
        return None;
    }
    let columns = Sections { map, size };
    let [origin_s, numerator_s, denominator] = kept.timebase.map(f64::from_bits);
    let lines: Vec<Line> = kept
        .lines
        .into_iter()
        .map(|line| columns.line(line))
        .collect::<Option<_>>()?;
    let not_logic = kept.not_logic.into_iter().map(|variable| {
        Some(NotLogic {
            trace: match &variable.trace {
                Some(trace) => Some(columns.trace(trace)?),
                None => None,
            },
            name: variable.name,
            kind: variable.kind,
            changes: variable.changes,
        })
    });
    Some(Capture {
        file: file.to_owned(),
        format: kept.format,
        timebase: Timebase {
            origin_s,
            numerator_s,
            denominator,
        },
        span: kept.span,
        resolution_ticks: f64::from_bits(kept.resolution_ticks),
        lines,
        buses: kept.buses,
        not_logic: not_logic.collect::<Option<_>>()?,
        warnings: kept.warnings,
    })
}
