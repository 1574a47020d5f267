//! Identifier codes of the variables (IEEE Std 1364-2005 §18.2.1): each stands for a line, a vector or something else.

use std::collections::HashMap;

use super::Target;

/// Codes of variables: of one or two characters by direct table, longer ones by hash.
#[derive(Debug, Default)]
pub struct Codes {
    short: Vec<Option<Target>>,
    long: HashMap<Vec<u8>, Target>,
    /// Lines of scalars, by the two bytes behind a value where the code is one or two characters: the first the lower.
    /// Behind a single character stands the line's end. [`NO_LINE`] where no code is.
    scalars: Vec<u32>,
    /// A scalar's code has two characters.
    pairs: bool,
}

/// Stands for no line.
pub const NO_LINE: u32 = u32::MAX;

/// Printable characters, `!` to `~`.
const PRINTABLE: usize = 94;

impl Codes {
    fn place(code: &[u8]) -> Option<usize> {
        let digit = |b: u8| (b'!'..=b'~').contains(&b).then(|| usize::from(b - b'!'));
        match *code {
            [a] => digit(a),
            [a, b] => Some(PRINTABLE + digit(a)? * PRINTABLE + digit(b)?),
            _ => None,
        }
    }

    /// What the changes of `code` go to.
    #[inline]
    pub fn get(&self, code: &[u8]) -> Option<Target> {
        match Codes::place(code) {
            Some(place) => self.short.get(place).copied().flatten(),
            None => self.long.get(code).copied(),
        }
    }

    /// The target of a code of one character.
    #[inline]
    pub fn single(&self, code: u8) -> Option<Target> {
        self.short
            .get(usize::from(code.wrapping_sub(b'!')))
            .copied()
            .flatten()
            .filter(|_| code <= b'~')
    }

    /// The lines of scalars by the two bytes behind a value; `None` where there are none.
    pub fn scalars(&self) -> Option<&[u32; 1 << 16]> {
        self.scalars.first_chunk()
    }

    /// Whether [`Codes::scalars`] has codes of one character only.
    pub fn are_single(&self) -> bool {
        !self.pairs
    }

    /// The line of a scalar by the two bytes behind its value, as [`Codes::scalars`] has it.
    #[inline(always)]
    pub fn scalar(&self, pair: u16) -> u32 {
        self.scalars.get(usize::from(pair)).copied().unwrap_or(NO_LINE)
    }

    /// Notes where changes of `code` go; a later call for the same code replaces.
    pub fn insert(&mut self, code: &[u8], target: Target) {
        if let Target::Scalar(line) = target {
            self.scalars.resize(1 << 16, NO_LINE);
            let mut note = |pair: [u8; 2]| self.scalars[usize::from(u16::from_le_bytes(pair))] = line as u32;
            match *code {
                [a] => b"\n\r".iter().for_each(|&end| note([a, end])),
                [a, b] => {
                    note([a, b]);
                    self.pairs = true;
                }
                _ => {}
            }
        }
        match Codes::place(code) {
            Some(place) => {
                if self.short.is_empty() {
                    self.short = vec![None; PRINTABLE + PRINTABLE * PRINTABLE];
                }
                self.short[place] = Some(target);
            }
            None => {
                self.long.insert(code.to_vec(), target);
            }
        }
    }
}
