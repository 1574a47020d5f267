//! Identifier codes of the variables (IEEE Std 1364-2005 §18.2.1): each stands for a line, a vector or something else.

use std::collections::HashMap;

use super::Target;

/// Codes of variables: of one or two characters by direct table, longer ones by hash.
#[derive(Debug)]
pub struct Codes {
    short: Vec<Option<Target>>,
    long: HashMap<Vec<u8>, Target>,
    /// Lines of scalars with a code of one character, plus one; 0: none.
    pub scalars: [u32; 256],
}

impl Default for Codes {
    fn default() -> Codes {
        Codes {
            short: Vec::new(),
            long: HashMap::new(),
            scalars: [0; 256],
        }
    }
}

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

    pub fn insert(&mut self, code: &[u8], target: Target) {
        if let ([code], Target::Scalar(line)) = (code, target) {
            self.scalars[usize::from(*code)] = line as u32 + 1;
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
