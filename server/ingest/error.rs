//! What went wrong while reading, and where.

/// Where in a file: rows and columns count from 1, bytes from 0 (of the unpacked bytes for gzip).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Position {
    /// Offset from the start.
    pub byte: u64,
    /// Row of a table, as an editor counts lines.
    pub row: Option<u64>,
    /// Field of that row.
    pub column: Option<u64>,
    /// Line of a text that is no table, from 1: of a VCD.
    pub line: Option<u64>,
}

/// A file that could not be read. `Display` is one line: file, place, found, expected, what to do.
#[derive(Debug, thiserror::Error)]
#[error("{file}{}: {kind}", place(.position))]
pub struct Error {
    pub file: String,
    pub position: Option<Position>,
    pub kind: ErrorKind,
}

/// How the cause is told where the first bytes say that a file is of another kind: no word on how to read it helps.
pub const NO_CAPTURE: &str = "this is no capture but ";

/// The cause.
#[derive(Debug, thiserror::Error)]
pub enum ErrorKind {
    #[error("{0}")]
    Io(std::io::Error),
    #[error("the reading was cancelled")]
    Cancelled,
    #[error("the file is empty: export the capture again")]
    Empty,
    #[error(
        "expected a VCD or a table of samples or changes (CSV), found {0}: export it from the instrument's program as VCD or CSV"
    )]
    UnknownFormat(String),
    #[error("{NO_CAPTURE}{0}")]
    OtherKind(&'static str),
    #[error(
        "the columns could not be kept on disk ({0}): free some space, or name a folder on another disk with TMPDIR=…"
    )]
    Spill(std::io::Error),
    #[error("{what} is above the limit of {limit}: {advice}")]
    Limit {
        what: String,
        limit: String,
        advice: &'static str,
    },
    #[error("{}", what_to_do(.0))]
    Vcd(String),
    #[error(
        "time runs backwards: found {found} after {before}; a file must be in order of time: export it again"
    )]
    Backwards { found: String, before: String },
    #[error(
        "the identifier {0} was never declared by a $var: the file is damaged, or its header is of another file; export it again"
    )]
    Undeclared(String),
    #[error("{0}")]
    Table(String),
}

/// Whoever finds a damaged VCD can but export it anew.
fn what_to_do(message: &str) -> String {
    match message.contains("export it again") {
        true => message.to_owned(),
        false => format!("{message}: the file is damaged there, export it again"),
    }
}

fn place(position: &Option<Position>) -> String {
    match position {
        None => String::new(),
        Some(p) => match (p.row, p.column) {
            (Some(row), Some(column)) => format!(", row {row}, column {column}"),
            (Some(row), None) => format!(", row {row}"),
            (None, _) => match p.line {
                Some(line) => format!(", line {line} (byte {})", p.byte),
                None => format!(", byte {}", p.byte),
            },
        },
    }
}

/// Text from a file, cut short and without control characters, for a message.
pub(crate) fn quoted(bytes: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(4 * LONGEST)]);
    let mut short: String = text
        .chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .take(LONGEST)
        .collect();
    if text.chars().count() > LONGEST || bytes.len() > 4 * LONGEST {
        short.push('…');
    }
    format!("\"{short}\"")
}
