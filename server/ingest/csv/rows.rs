//! Rows and fields of a table, with their places: LF, CRLF or CR, quotes, any delimiter.

use super::super::input::Input;
use super::super::{Error, ErrorKind, Position};

/// One field: its bytes within [`Rows::bytes`], quotes and outer blanks stripped.
/// First byte, and the one after the last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Field {
    pub start: usize,
    pub end: usize,
}

/// Longest quoted field: one that runs further was never closed.
const LONGEST_QUOTE: usize = 64 << 10;

/// Reads row by row.
pub struct Rows<'a> {
    input: Input<'a>,
    name: &'a str,
    delimiter: u8,
    held: usize,
    pub fields: Vec<Field>,
    /// Editor's number of the present row, from 1.
    pub row: u64,
    next_row: u64,
}

impl<'a> Rows<'a> {
    /// Rows of `input` from where it stands; `name` is the file's, for messages.
    pub fn new(input: Input<'a>, name: &'a str, delimiter: u8) -> Rows<'a> {
        Rows {
            input,
            name,
            delimiter,
            held: 0,
            fields: Vec::new(),
            row: 0,
            next_row: 1,
        }
    }

    /// Moves to the next row; false at the end. A row without anything in it has no fields.
    pub fn advance(&mut self, most_fields: usize) -> Result<bool, Error> {
        self.input.advance(self.held);
        self.held = 0;
        self.row = self.next_row;
        let Some(length) = self.row_length()? else {
            return Ok(false);
        };
        self.held = length.whole;
        self.next_row += length.lines;
        self.split(length.text, most_fields)?;
        Ok(true)
    }

    /// The present row's bytes; fields are places within.
    pub fn bytes(&self) -> &[u8] {
        &self.input.window()[..self.held]
    }

    /// Whether the file ends behind the present row without a line end: it may have been cut off there.
    pub fn is_unended(&self) -> bool {
        !matches!(self.bytes().last(), Some(b'\n' | b'\r'))
    }

    /// The file's name, as messages say it.
    pub fn name(&self) -> &'a str {
        self.name
    }

    /// Byte offset of the present row.
    pub fn offset(&self) -> u64 {
        self.input.offset()
    }

    /// Whether the packed file ended before its end mark.
    pub fn cut_short(&self) -> bool {
        self.input.cut_short()
    }

    /// An error in the present row, at field `column` (from 0).
    pub fn error(&self, column: Option<usize>, kind: ErrorKind) -> Error {
        Error {
            file: self.name.to_owned(),
            position: Some(Position {
                byte: self.offset(),
                row: Some(self.row),
                column: column.map(|c| c as u64 + 1),
                line: None,
            }),
            kind,
        }
    }

    fn row_length(&mut self) -> Result<Option<Length>, Error> {
        let mut looked = 0;
        loop {
            let window = self.input.window();
            // A row ends at a line end outside quotes; most rows have no quotes.
            if let Some(n) = memchr::memchr2(b'\n', b'\r', &window[looked..]) {
                let end = looked + n;
                if memchr::memchr(b'"', &window[..end]).is_some() {
                    return self.quoted_length();
                }
                if window[end] == b'\r' && end + 1 == window.len() && self.input.more()? {
                    continue;
                }
                let window = self.input.window();
                let crlf = window[end..].starts_with(b"\r\n");
                return Ok(Some(Length {
                    text: end,
                    whole: end + 1 + usize::from(crlf),
                    lines: 1,
                }));
            }
            looked = window.len();
            if !self.input.more()? {
                if looked == 0 {
                    return Ok(None);
                }
                return Ok(Some(Length {
                    text: looked,
                    whole: looked,
                    lines: 1,
                }));
            }
        }
    }

    /// The same where the row holds a quote: line ends within quotes belong to the row.
    fn quoted_length(&mut self) -> Result<Option<Length>, Error> {
        let mut at = 0;
        let mut open: Option<usize> = None;
        let mut field_start = true;
        let mut lines = 1;
        loop {
            while at + 1 >= self.input.window().len() {
                if !self.input.more()? {
                    break;
                }
            }
            let window = self.input.window();
            let Some(&byte) = window.get(at) else {
                if open.is_some() {
                    return Err(self.unclosed());
                }
                return Ok(Some(Length {
                    text: at,
                    whole: at,
                    lines,
                }));
            };
            if let Some(start) = open {
                if byte == b'"' {
                    open = None;
                } else if byte == b'\n' || (byte == b'\r' && window.get(at + 1) != Some(&b'\n')) {
                    lines += 1;
                }
                if at - start > LONGEST_QUOTE {
                    return Err(self.unclosed());
                }
            } else if byte == b'"' && (field_start || at > 0 && window[at - 1] == b'"') {
                open = Some(at);
                field_start = false;
            } else if byte == b'\n' || byte == b'\r' {
                let crlf = window[at..].starts_with(b"\r\n");
                return Ok(Some(Length {
                    text: at,
                    whole: at + 1 + usize::from(crlf),
                    lines,
                }));
            } else {
                field_start = byte == self.delimiter || field_start && byte == b' ';
            }
            at += 1;
        }
    }

    fn unclosed(&self) -> Error {
        self.error(
            None,
            ErrorKind::Table(
                "expected a closing quote, found none: remove the stray quote or close it".to_owned(),
            ),
        )
    }

    fn split(&mut self, text: usize, most_fields: usize) -> Result<(), Error> {
        self.fields.clear();
        let bytes = &self.input.window()[..text];
        if bytes.trim_ascii().is_empty() {
            return Ok(());
        }
        let mut start = 0;
        loop {
            let mut end;
            let lead = bytes[start..]
                .iter()
                .take_while(|&&b| b == b' ' || (b == b'\t' && self.delimiter != b'\t'));
            let inner = start + lead.count();
            if bytes.get(inner) == Some(&b'"') {
                let mut close = inner + 1;
                while close < bytes.len() {
                    if bytes[close] == b'"' {
                        if bytes.get(close + 1) == Some(&b'"') {
                            close += 1;
                        } else {
                            break;
                        }
                    }
                    close += 1;
                }
                let rest = (close + 1).min(bytes.len());
                end = memchr::memchr(self.delimiter, &bytes[rest..]).map_or(bytes.len(), |n| rest + n);
                self.fields
                    .push(trimmed(bytes, inner + 1, close.min(bytes.len())));
            } else {
                end = memchr::memchr(self.delimiter, &bytes[start..]).map_or(bytes.len(), |n| start + n);
                self.fields.push(trimmed(bytes, start, end));
            }
            if self.fields.len() > most_fields {
                return Err(self.error(
                    None,
                    ErrorKind::Limit {
                        what: "the number of columns".to_owned(),
                        limit: most_fields.to_string(),
                        advice: "export fewer channels",
                    },
                ));
            }
            if end == bytes.len() {
                return Ok(());
            }
            end += 1;
            start = end;
        }
    }
}

struct Length {
    text: usize,
    whole: usize,
    lines: u64,
}

fn trimmed(bytes: &[u8], mut start: usize, mut end: usize) -> Field {
    while start < end && bytes[start].is_ascii_whitespace() {
        start += 1;
    }
    while end > start && bytes[end - 1].is_ascii_whitespace() {
        end -= 1;
    }
    Field { start, end }
}
