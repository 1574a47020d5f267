//! Words of a VCD, parted by white space (IEEE Std 1364-2005 §18.2: free format).

use super::super::input::Input;
use super::super::{Error, ErrorKind, Position};

/// Reads word by word.
pub struct Tokens<'a> {
    pub input: Input<'a>,
    name: &'a str,
    /// Length of the word handed out last, still in the window.
    held: usize,
    /// Whether the word handed out last ends where the file ends, without white space after it.
    pub touches_end: bool,
}

/// What parts words: space, tab, line ends (IEEE Std 1364), and the vertical tab and form feed that some writers use.
fn is_space(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r' | 0x0b | 0x0c)
}

impl<'a> Tokens<'a> {
    /// Words of `input` from where it stands; `name` is the file's, for messages.
    pub fn new(input: Input<'a>, name: &'a str) -> Tokens<'a> {
        Tokens {
            input,
            name,
            held: 0,
            touches_end: false,
        }
    }

    /// Byte offset of the word handed out last.
    pub fn offset(&self) -> u64 {
        self.input.offset()
    }

    /// The next word; `None` at the end of the file.
    pub fn next(&mut self) -> Result<Option<&[u8]>, Error> {
        if self.advance()? {
            Ok(Some(self.word()))
        } else {
            Ok(None)
        }
    }

    /// The word handed out last.
    pub fn word(&self) -> &[u8] {
        &self.input.window()[..self.held]
    }

    /// Moves to the next word; false at the end of the file.
    pub fn advance(&mut self) -> Result<bool, Error> {
        self.input.advance(self.held);
        self.held = 0;
        loop {
            let window = self.input.window();
            let blank = window.iter().position(|&b| !is_space(b)).unwrap_or(window.len());
            let empty = blank == window.len();
            self.input.advance(blank);
            if !empty {
                break;
            }
            if !self.input.more()? {
                return Ok(false);
            }
        }
        let mut looked = 0;
        loop {
            let window = self.input.window();
            if let Some(n) = window[looked..].iter().position(|&b| is_space(b)) {
                self.held = looked + n;
                self.touches_end = false;
                return Ok(true);
            }
            looked = window.len();
            if !self.input.more()? {
                self.held = looked;
                self.touches_end = true;
                return Ok(true);
            }
        }
    }

    /// Goes on at byte `offset`.
    pub fn jump(&mut self, offset: u64) -> Result<(), Error> {
        self.held = 0;
        self.touches_end = false;
        self.input.jump(offset)
    }

    /// Skips to the `$end` of a section; false if the file ended first.
    pub fn skip_section(&mut self) -> Result<bool, Error> {
        while self.advance()? {
            if self.word() == b"$end" {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// An error at the word handed out last.
    pub fn error(&self, kind: ErrorKind) -> Error {
        Error {
            file: self.name.to_owned(),
            position: Some(Position {
                byte: self.offset(),
                row: None,
                column: None,
                line: None,
            }),
            kind,
        }
    }

    /// A failed write to the spill folder, told with the file that was being read.
    pub fn spill_error(&self, error: std::io::Error) -> Error {
        Error {
            file: self.name.to_owned(),
            position: None,
            kind: ErrorKind::Spill(error),
        }
    }
}
