//! Bytes → [`Capture`]: VCD (IEEE Std 1364) and tables (CSV), told by content, gzip unwrapped, in one
//! streaming pass whose memory does not grow with the file. Knows [`crate::model`] and nobody else.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `input` | bytes of a file, unwrapped, through one window |
//! | `vcd` | VCD, four-state and extended |
//! | `csv` | sample tables, change lists, volts |
//! | `grid`, `thinned` | the sampling grid behind a list of times; a sample of them |
//! | `blocks` | a file worked on by all cores, block by block, in order |
//! | `runs` | what a block says of each line: edges found by the workers |
//! | `build`, `columns` | levels over time → edge columns, spilled to disk when large |
//! | `analog` | volts → levels, runts, the samples and their pyramid |
//! | `names` | unique names of lines |

mod analog;
mod blocks;
mod build;
mod columns;
mod csv;
mod digits;
mod error;
mod grid;
mod input;
mod names;
mod options;
mod preview;
mod runs;
mod thinned;
mod vcd;

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

pub use error::{Error, ErrorKind, NO_CAPTURE, Position};
pub use options::{Limits, Progress, ReadOptions};
pub use preview::{Preview, PreviewColumn, preview, preview_bytes, preview_unread};

use crate::model::Capture;
use input::{Input, Source};

/// Of what the readers make of a file. Raised when the same bytes and options give another capture than before, so that
/// columns kept from an earlier reading are not used any more.
pub const VERSION: u32 = 7;

/// Reads the capture in the file `path`, whatever its form; the file's name says nothing.
///
/// # Errors
/// See [`ErrorKind`]; the message is one line with file, place, found, expected and what to do.
pub fn read_file(path: &Path, options: &ReadOptions, progress: &dyn Progress) -> Result<Capture, Error> {
    read_file_as(path, &input::shown_name(path), options, progress)
}

/// The same for a file that is shown under another name than its path has.
///
/// # Errors
/// As [`read_file`].
pub fn read_file_as(
    path: &Path,
    name: &str,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    read_source(&Source::Path(path.to_owned()), name, options, progress)
}

/// Reads a capture from a stream called `name` (standard input, say). It is first put in a temporary file,
/// since a table may need a second look; but not before its first [`LOOKED_AT`] bytes look like a capture.
///
/// # Errors
/// As [`read_file`].
pub fn read_stream(
    name: &str,
    mut reader: impl Read + Send,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let io = |kind: fn(std::io::Error) -> ErrorKind| {
        move |error| Error {
            file: name.to_owned(),
            position: None,
            kind: kind(error),
        }
    };
    let fail = |kind| Error {
        file: name.to_owned(),
        position: None,
        kind,
    };
    let mut start = Vec::new();
    let first = reader.by_ref().take(LOOKED_AT).read_to_end(&mut start);
    first.map_err(io(ErrorKind::Io))?;
    let start = Source::Bytes(Arc::new(start));
    match sniff_source(&start, name, options, &()) {
        Ok((_, Sniffed::Empty)) => return Err(fail(ErrorKind::Empty)),
        Ok((_, Sniffed::Other(found))) => return Err(fail(ErrorKind::UnknownFormat(found))),
        Ok((_, Sniffed::OtherKind(told))) => return Err(fail(ErrorKind::OtherKind(told))),
        // Damage shows where the whole is read.
        Ok(_) | Err(_) => {}
    }
    let Source::Bytes(start) = start else {
        unreachable!("made of bytes above");
    };
    let folder = columns::SpillFolder::new();
    let path: PathBuf = folder.file("stream").map_err(io(ErrorKind::Spill))?;
    let mut file = std::fs::File::create(&path).map_err(io(ErrorKind::Spill))?;
    let path = nameless(&file, &path).unwrap_or(path);
    file.write_all(&start).map_err(io(ErrorKind::Spill))?;
    let mut buffer = vec![0u8; 256 << 10];
    let mut done = start.len() as u64;
    drop(start);
    loop {
        let n = match reader.read(&mut buffer) {
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
            other => other.map_err(io(ErrorKind::Io))?,
        };
        if n == 0 {
            break;
        }
        done += n as u64;
        if done > options.limits.streamed_bytes {
            return Err(fail(ErrorKind::Limit {
                what: "the number of bytes that came without end".to_owned(),
                limit: options.limits.streamed_bytes.to_string(),
                advice: "end the stream, or write it to a file and name that file, which may be of any size",
            }));
        }
        file.write_all(&buffer[..n]).map_err(io(ErrorKind::Spill))?;
        progress.bytes(done, None);
        if progress.cancelled() {
            return Err(io(ErrorKind::Io)(std::io::Error::other("cancelled"))).map_err(|e| Error {
                kind: ErrorKind::Cancelled,
                ..e
            });
        }
    }
    let capture = read_source(&Source::Path(path), name, options, progress);
    // A nameless file lasts as long as it is open.
    drop(file);
    capture
}

/// Bytes of a stream that are judged before any of it goes to disk.
const LOOKED_AT: u64 = 64 << 10;

/// Takes the name off an open file, and away the folder made for it, so that nothing stays behind however the program
/// ends. Returns the path under which it can be opened still; `None`, and no change, where the system has none.
#[cfg(target_os = "linux")]
fn nameless(file: &std::fs::File, path: &Path) -> Option<PathBuf> {
    use std::os::fd::AsRawFd;
    let own = PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()));
    std::fs::File::open(&own).ok()?;
    std::fs::remove_file(path).ok()?;
    // An empty folder left behind harms nobody.
    let _ = path.parent().map(std::fs::remove_dir);
    Some(own)
}

#[cfg(not(target_os = "linux"))]
fn nameless(_: &std::fs::File, _: &Path) -> Option<PathBuf> {
    None
}

/// Reads a capture from bytes in memory.
///
/// # Errors
/// As [`read_file`].
pub fn read_bytes(name: &str, bytes: Vec<u8>, options: &ReadOptions) -> Result<Capture, Error> {
    read_source(&Source::Bytes(Arc::new(bytes)), name, options, &())
}

fn read_source(
    source: &Source,
    name: &str,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let fail = |kind| Error {
        file: name.to_owned(),
        position: None,
        kind,
    };
    let renamed = |capture| names::renamed(capture, &options.rename);
    let (wrapping, sniffed) = sniff_source(source, name, options, progress)?;
    if matches!(sniffed, Sniffed::Vcd | Sniffed::Table)
        && !options.plain
        && (wrapping.gzip || wrapping.utf16.is_some())
        && let Some(unwrapped) = unwrap(source, name, wrapping, options, progress)?
    {
        let plain = input::Wrapping {
            gzip: false,
            utf16: None,
            cut_short: unwrapped.cut_short,
        };
        let source = Source::Path(unwrapped.path);
        return match sniffed {
            Sniffed::Vcd => vcd::read(&source, name, plain, options, progress).map(renamed),
            _ => csv::read(&source, name, plain, options, progress),
        };
    }
    match sniffed {
        Sniffed::Empty => Err(fail(ErrorKind::Empty)),
        Sniffed::Vcd => vcd::read(source, name, wrapping, options, progress).map(renamed),
        Sniffed::Table => csv::read(source, name, wrapping, options, progress),
        Sniffed::Other(found) => Err(fail(ErrorKind::UnknownFormat(found))),
        Sniffed::OtherKind(told) => Err(fail(ErrorKind::OtherKind(told))),
    }
}

/// A file without its wrapping, in a temporary folder.
struct Unwrapped {
    path: PathBuf,
    cut_short: bool,
    _folder: columns::SpillFolder,
}

/// Unwraps a file that is not small, so that all cores can read it: inflating is a matter for one core, reading is not.
/// `None` where that does not pay, or there is no room on the disk: it is then read as it streams past.
fn unwrap(
    source: &Source,
    name: &str,
    wrapping: input::Wrapping,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Option<Unwrapped>, Error> {
    /// Below this a temporary file is not worth its while; above the other it would be in the way of others.
    const LEAST_BYTES: u64 = 1 << 20;
    const MOST_UNPACKED_BYTES: u64 = 16 << 30;
    let Source::Path(path) = source else {
        return Ok(None);
    };
    if std::fs::metadata(path).map_or(0, |about| about.len()) < LEAST_BYTES {
        return Ok(None);
    }
    let folder = columns::SpillFolder::new();
    let Ok(path) = folder.file("unwrapped") else {
        return Ok(None);
    };
    let Ok(mut file) = std::fs::File::create(&path) else {
        return Ok(None);
    };
    let mut input = Input::open(source, name, wrapping, &options.limits, progress)?;
    loop {
        if input.offset() > MOST_UNPACKED_BYTES || file.write_all(input.window()).is_err() {
            return Ok(None);
        }
        input.advance(input.window().len());
        if !input.more()? {
            break;
        }
    }
    Ok(Some(Unwrapped {
        path,
        cut_short: input.cut_short(),
        _folder: folder,
    }))
}

fn sniff_source(
    source: &Source,
    name: &str,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<(input::Wrapping, Sniffed), Error> {
    let wrapping = source.wrapping().map_err(|e| Error {
        file: name.to_owned(),
        position: None,
        kind: ErrorKind::Io(e),
    })?;
    let mut input = Input::open(source, name, wrapping, &options.limits, progress)?;
    while input.window().len() < SNIFFED && input.more()? {}
    let window = input.window();
    Ok((wrapping, sniff(&window[..window.len().min(SNIFFED)])))
}

const SNIFFED: usize = 4096;

const PICTURE: &str = "a picture: export the capture from the instrument as CSV or VCD";
const PACKED: &str = "a packed archive: unpack it and bring the capture that is in it";
const OFFICE: &str = "a file of an office program: save the sheet as CSV";

/// First bytes of kinds that are no capture, and what they are with what to do; as the makers of the formats give them.
const KINDS: [(&[u8], &str); 13] = [
    (
        b"PK\x03\x04",
        "a ZIP archive: unpack it and bring the capture that is in it; if it is a spreadsheet, save the sheet as CSV",
    ),
    (
        b"PK\x05\x06",
        "a ZIP archive with nothing in it: export the capture again",
    ),
    (
        b"%PDF-",
        "a PDF: export the capture from the instrument as CSV or VCD",
    ),
    (b"\x89PNG\r\n", PICTURE),
    (b"\xff\xd8\xff", PICTURE),
    (b"GIF87a", PICTURE),
    (b"GIF89a", PICTURE),
    (b"7z\xbc\xaf\x27\x1c", PACKED),
    (b"Rar!\x1a\x07", PACKED),
    (b"\xfd7zXZ\x00", PACKED),
    (b"\x28\xb5\x2f\xfd", PACKED),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", OFFICE),
    (
        b"SQLite format 3\0",
        "a data base: export the capture as CSV or VCD",
    ),
];

#[derive(Debug, PartialEq)]
enum Sniffed {
    Empty,
    Vcd,
    Table,
    OtherKind(&'static str),
    Other(String),
}

/// Tells the form of a file by its first bytes.
fn sniff(start: &[u8]) -> Sniffed {
    let text = start.trim_ascii_start();
    if text.is_empty() {
        return Sniffed::Empty;
    }
    if let Some((_, told)) = KINDS.iter().find(|(magic, _)| start.starts_with(magic)) {
        return Sniffed::OtherKind(told);
    }
    /// A tar archive says what it is behind its first entry's head (POSIX, ustar interchange format).
    const USTAR_AT: usize = 257;
    if start
        .get(USTAR_AT..)
        .is_some_and(|rest| rest.starts_with(b"ustar"))
    {
        return Sniffed::OtherKind(
            "a tar archive: unpack it and bring the capture that is in it; the archive of a session is brought on the start page",
        );
    }
    let is_page = |word: &[u8]| {
        text.get(..word.len())
            .is_some_and(|begin| begin.eq_ignore_ascii_case(word))
    };
    if is_page(b"<!doctype html") || is_page(b"<html") {
        return Sniffed::OtherKind("a page of the web: save the capture itself from there, as VCD or CSV");
    }
    if let Some(at) = start.iter().position(|&byte| byte == 0) {
        return Sniffed::Other(format!("binary data (byte {at} is 0)"));
    }
    const KEYWORDS: [&[u8]; 10] = [
        b"$date",
        b"$version",
        b"$comment",
        b"$timescale",
        b"$scope",
        b"$var",
        b"$upscope",
        b"$enddefinitions",
        b"$dumpvars",
        b"$attrbegin",
    ];
    let word = text.split(|b| b.is_ascii_whitespace()).next().unwrap_or_default();
    let vcd_inside = || {
        let has = |needle: &[u8]| memchr::memmem::find(text, needle).is_some();
        text[0] == b'$' && has(b"$end")
    };
    if KEYWORDS.contains(&word) || vcd_inside() {
        return Sniffed::Vcd;
    }
    let odd = text
        .iter()
        .filter(|b| b.is_ascii_control() && !b.is_ascii_whitespace())
        .count();
    if odd * 50 > text.len() {
        return Sniffed::Other(format!("binary data starting with {}", error::quoted(text)));
    }
    Sniffed::Table
}
