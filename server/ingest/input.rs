//! Bytes in: a file, bytes in memory; gzip unwrapped, UTF-16 made UTF-8; seen through one growing window.

use std::fs::File;
use std::io::{self, Read, Seek};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use super::{Error, ErrorKind, Limits, Position, Progress};

/// Something that can be opened again and again, since a table may need a second look.
#[derive(Clone, Debug)]
pub enum Source {
    Path(PathBuf),
    Bytes(Arc<Vec<u8>>),
}

/// How the bytes of a source are wrapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wrapping {
    pub gzip: bool,
    pub utf16: Option<Endian>,
    /// The file was unwrapped before, and its packed bytes ended early.
    pub cut_short: bool,
}

/// Byte order of UTF-16 text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Endian {
    Little,
    Big,
}

const GZIP: [u8; 2] = [0x1f, 0x8b];
/// Bytes read at once.
const CHUNK: usize = 256 << 10;

impl Source {
    fn open(&self) -> io::Result<(Box<dyn Read + Send>, Option<u64>)> {
        match self {
            Source::Path(path) => {
                let file = File::open(path).map_err(|e| in_words(&e, path))?;
                let about = file.metadata()?;
                if about.is_dir() {
                    return Err(io::Error::other(
                        "this is a folder, expected a file: name the capture inside it",
                    ));
                }
                Ok((Box::new(file), about.is_file().then_some(about.len())))
            }
            Source::Bytes(bytes) => {
                let length = bytes.len() as u64;
                Ok((
                    Box::new(io::Cursor::new(SharedBytes(bytes.clone()))),
                    Some(length),
                ))
            }
        }
    }

    fn open_at(&self, offset: u64) -> io::Result<Box<dyn Read + Send>> {
        match self {
            Source::Path(path) => {
                let mut file = File::open(path)?;
                file.seek(io::SeekFrom::Start(offset))?;
                Ok(Box::new(file))
            }
            Source::Bytes(bytes) => {
                let mut cursor = io::Cursor::new(SharedBytes(bytes.clone()));
                cursor.set_position(offset);
                Ok(Box::new(cursor))
            }
        }
    }

    /// Looks at the first bytes.
    pub fn wrapping(&self) -> io::Result<Wrapping> {
        let (mut reader, _) = self.open()?;
        let mut start = Vec::new();
        reader.by_ref().take(4).read_to_end(&mut start)?;
        let gzip = start.starts_with(&GZIP);
        if gzip {
            let (reader, _) = self.open()?;
            start.clear();
            // A damaged start is told when the whole is read.
            let _ = flate2::read::MultiGzDecoder::new(reader)
                .take(4)
                .read_to_end(&mut start);
        }
        let utf16 = match start.as_slice() {
            [0xff, 0xfe, ..] => Some(Endian::Little),
            [0xfe, 0xff, ..] => Some(Endian::Big),
            [a, 0, b, 0] if *a != 0 && *b != 0 => Some(Endian::Little),
            [0, a, 0, b] if *a != 0 && *b != 0 => Some(Endian::Big),
            _ => None,
        };
        Ok(Wrapping {
            gzip,
            utf16,
            cut_short: false,
        })
    }
}

/// Why a file can't be opened, with the path that was tried and what to do.
fn in_words(error: &io::Error, path: &Path) -> io::Error {
    let path = path.display();
    let text = match error.kind() {
        io::ErrorKind::NotFound => {
            format!(
                "there is no file {path}: check its name and folder, and put a name with blanks in quotes"
            )
        }
        io::ErrorKind::PermissionDenied => {
            format!(
                "the file {path} may not be read by you: change its permissions, or copy it to a folder of your own"
            )
        }
        _ => format!(
            "the file {path} can't be opened ({error}): check the disk it lies on, or copy it and try again"
        ),
    };
    io::Error::new(error.kind(), text)
}

struct SharedBytes(Arc<Vec<u8>>);

impl AsRef<[u8]> for SharedBytes {
    fn as_ref(&self) -> &[u8] {
        &self.0
    }
}

struct Counted<R> {
    inner: R,
    count: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(buffer)?;
        self.count.fetch_add(n as u64, Ordering::Relaxed);
        Ok(n)
    }
}

/// UTF-16 → UTF-8, what can't be told becoming U+FFFD.
struct FromUtf16<R> {
    inner: R,
    endian: Endian,
    raw: Vec<u8>,
    out: Vec<u8>,
    at: usize,
    high: Option<u16>,
}

impl<R: Read> Read for FromUtf16<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.at == self.out.len() {
            let kept = self.raw.len();
            self.raw.resize(kept + (64 << 10), 0);
            let n = self.inner.read(&mut self.raw[kept..]);
            self.raw.truncate(kept + *n.as_ref().unwrap_or(&0));
            if n? == 0 {
                return Ok(0);
            }
            self.out.clear();
            self.at = 0;
            let whole = self.raw.len() & !1;
            let units = self.raw[..whole]
                .as_chunks()
                .0
                .iter()
                .map(|&pair| match self.endian {
                    Endian::Little => u16::from_le_bytes(pair),
                    Endian::Big => u16::from_be_bytes(pair),
                });
            let units: Vec<u16> = self.high.take().into_iter().chain(units).collect();
            let mut text = String::with_capacity(units.len());
            let split = match units.last() {
                Some(last) if (0xd800..0xdc00).contains(last) => units.len() - 1,
                _ => units.len(),
            };
            self.high = units.get(split).copied();
            text.extend(char::decode_utf16(units[..split].iter().copied()).map(|c| c.unwrap_or('\u{fffd}')));
            self.out.extend_from_slice(text.as_bytes());
            self.raw.drain(..whole);
        }
        let n = buffer.len().min(self.out.len() - self.at);
        buffer[..n].copy_from_slice(&self.out[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}

/// A window over the unwrapped bytes: [`Input::window`] is what lies in memory, [`Input::advance`] lets go of
/// its start, [`Input::more`] adds to its end.
pub struct Input<'a> {
    source: &'a Source,
    reader: Box<dyn Read + Send>,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    /// Unwrapped bytes before the window.
    offset: u64,
    at_end: bool,
    name: &'a str,
    progress: &'a dyn Progress,
    limits: &'a Limits,
    packed: Option<Arc<AtomicU64>>,
    total: Option<u64>,
    /// The packed bytes ended before the gzip member did: what came up to there is used.
    cut_short: bool,
}

impl<'a> Input<'a> {
    /// Opens a source and skips a UTF-8 byte order mark.
    pub fn open(
        source: &'a Source,
        name: &'a str,
        wrapping: Wrapping,
        limits: &'a Limits,
        progress: &'a dyn Progress,
    ) -> Result<Input<'a>, Error> {
        let io = |e| Error {
            file: name.to_owned(),
            position: None,
            kind: ErrorKind::Io(e),
        };
        let (reader, total) = source.open().map_err(io)?;
        let mut packed = None;
        let mut reader: Box<dyn Read + Send> = reader;
        if wrapping.gzip {
            let count = Arc::new(AtomicU64::new(0));
            packed = Some(count.clone());
            let counted = Counted { inner: reader, count };
            let buffered = io::BufReader::with_capacity(128 << 10, counted);
            reader = Box::new(flate2::bufread::MultiGzDecoder::new(buffered));
        }
        if let Some(endian) = wrapping.utf16 {
            reader = Box::new(FromUtf16 {
                inner: reader,
                endian,
                raw: Vec::new(),
                out: Vec::new(),
                at: 0,
                high: None,
            });
        }
        let mut input = Input {
            source,
            reader,
            buffer: Vec::new(),
            start: 0,
            end: 0,
            offset: 0,
            at_end: false,
            name,
            progress,
            limits,
            packed,
            total,
            cut_short: wrapping.cut_short,
        };
        while input.window().len() < 4 && input.more()? {}
        const MARK: &[u8] = "\u{feff}".as_bytes();
        if input.window().starts_with(MARK) {
            input.advance(MARK.len());
        }
        Ok(input)
    }

    /// The unwrapped bytes that are in memory and not yet taken.
    pub fn window(&self) -> &[u8] {
        &self.buffer[self.start..self.end]
    }

    /// Unwrapped bytes before the window.
    pub fn offset(&self) -> u64 {
        self.offset
    }

    /// Goes on at byte `offset` of a plain file.
    pub fn jump(&mut self, offset: u64) -> Result<(), Error> {
        let reader = self
            .source
            .open_at(offset)
            .map_err(|e| self.error(ErrorKind::Io(e)))?;
        self.reader = reader;
        self.start = 0;
        self.end = 0;
        self.offset = offset;
        self.at_end = false;
        Ok(())
    }

    /// Whether the packed file ended before its end mark.
    pub fn cut_short(&self) -> bool {
        self.cut_short
    }

    /// Takes `bytes` from the front of the window, which has at least as many.
    pub fn advance(&mut self, bytes: usize) {
        self.start += bytes;
        self.offset += bytes as u64;
        debug_assert!(self.start <= self.end);
    }

    /// Adds to the window; false at the end.
    ///
    /// # Errors
    /// A failing disk, a limit, or the wish to stop.
    pub fn more(&mut self) -> Result<bool, Error> {
        if self.at_end {
            return Ok(false);
        }
        if self.start > 0 {
            self.buffer.copy_within(self.start..self.end, 0);
            self.end -= self.start;
            self.start = 0;
        }
        if self.end > self.limits.token_bytes + CHUNK {
            return Err(self.limit(
                "a single word or row",
                self.limits.token_bytes,
                "the file is no capture, or damaged",
            ));
        }
        if self.buffer.len() < self.end + CHUNK {
            self.buffer.resize(self.end + CHUNK, 0);
        }
        let read = loop {
            match self.reader.read(&mut self.buffer[self.end..]) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e)
                    if e.kind() == io::ErrorKind::UnexpectedEof
                        && self.packed.is_some()
                        && self.offset > 0 =>
                {
                    self.cut_short = true;
                    break 0;
                }
                other => break other.map_err(|e| self.error(ErrorKind::Io(e)))?,
            }
        };
        self.end += read;
        self.at_end = read == 0;
        let unpacked = self.offset + self.window().len() as u64;
        let done = match &self.packed {
            None => unpacked,
            Some(packed) => {
                let packed = packed.load(Ordering::Relaxed);
                if unpacked > self.limits.unpacked_bytes {
                    return Err(self.limit(
                        "the unpacked size in bytes",
                        self.limits.unpacked_bytes as usize,
                        "unpack the file yourself if it is sound",
                    ));
                }
                let ratio = unpacked / packed.max(1);
                if unpacked > self.limits.gzip_ratio_from && ratio > self.limits.gzip_ratio {
                    return Err(self.limit(
                        "the ratio of unpacked to packed bytes",
                        self.limits.gzip_ratio as usize,
                        "this looks like a gzip bomb; unpack the file yourself if it is sound",
                    ));
                }
                packed
            }
        };
        self.progress.bytes(done, self.total);
        if self.progress.cancelled() {
            return Err(self.error(ErrorKind::Cancelled));
        }
        Ok(read > 0)
    }

    fn limit(&self, what: &str, limit: usize, advice: &'static str) -> Error {
        self.error(ErrorKind::Limit {
            what: what.to_owned(),
            limit: limit.to_string(),
            advice,
        })
    }

    fn error(&self, kind: ErrorKind) -> Error {
        Error {
            file: self.name.to_owned(),
            position: matches!(kind, ErrorKind::Limit { .. }).then_some(Position {
                byte: self.offset,
                row: None,
                column: None,
                line: None,
            }),
            kind,
        }
    }
}

/// The file's name as messages and captures show it: the last part of its path.
pub fn shown_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}
