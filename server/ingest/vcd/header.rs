//! The declarations of a VCD (IEEE Std 1364-2005 §18.2.3, §18.4 for ports).

use std::collections::HashMap;

use super::super::error::quoted;
use super::super::names::{common_scopes, make_unique, some_of};
use super::super::{Error, ErrorKind, Limits};
use super::tokens::Tokens;
use crate::model::vcd_notes::{self, Note, Sampling};

/// What a variable's values are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Logic,
    Real,
    Event,
    Text,
}

/// The scopes that hold variables, each once with the one around it: a path a variable would take as much memory as
/// depth times variables.
#[derive(Debug, Default)]
struct Scopes {
    all: Vec<(String, Option<usize>)>,
    /// The scope that is open, and how many are.
    open: Option<usize>,
    depth: usize,
}

impl Scopes {
    fn enter(&mut self, name: String) {
        self.all.push((name, self.open));
        self.open = Some(self.all.len() - 1);
        self.depth += 1;
    }

    /// Leaves the open scope; false if none is. `used`: the scope of the variable declared last.
    fn leave(&mut self, used: Option<usize>) -> bool {
        let Some(left) = self.open else {
            return false;
        };
        self.open = self.all[left].1;
        self.depth -= 1;
        // Nothing was declared inside.
        if left + 1 == self.all.len() && used != Some(left) {
            self.all.pop();
        }
        true
    }

    /// Names from the outermost scope to `scope`.
    fn path(&self, scope: Option<usize>) -> Vec<&str> {
        let mut path = Vec::new();
        let mut at = scope;
        while let Some(index) = at {
            path.push(self.all[index].0.as_str());
            at = self.all[index].1;
        }
        path.reverse();
        path
    }
}

/// One `$var`.
#[derive(Clone, Debug)]
pub struct Variable {
    pub kind: Kind,
    /// In bits.
    pub width: usize,
    /// The identifier code that its changes carry.
    pub code: Vec<u8>,
    /// The scope it was declared in.
    scope: Option<usize>,
    /// Name within its scope, then with the scopes that not all variables share, unique.
    pub name: String,
    /// Index of the most and of the least significant bit, where declared.
    range: Option<(i64, i64)>,
}

impl Variable {
    /// Names of the bits, most significant first.
    pub fn bit_names(&self) -> Vec<String> {
        if self.width == 1 && self.range.is_none() {
            return vec![self.name.clone()];
        }
        let (msb, lsb) = self.range.unwrap_or((self.width as i64 - 1, 0));
        let step = if msb >= lsb { 1 } else { -1 };
        (0..self.width as i64)
            .rev()
            .map(|place| format!("{}[{}]", self.name, lsb + step * place))
            .collect()
    }
}

/// What comments of this program say of variables, by their identifier codes.
#[derive(Debug, Default)]
pub struct Told {
    pub sampled: HashMap<Vec<u8>, Sampling>,
    /// The second is another record of the first.
    pub same: Vec<[Vec<u8>; 2]>,
}

/// The declarations.
#[derive(Debug, Default)]
pub struct Header {
    pub variables: Vec<Variable>,
    /// Length of a unit: mantissa 1, 10 or 100 and power of ten of a second.
    pub timescale: Option<(u32, i32)>,
    pub warnings: Vec<String>,
    pub told: Told,
    /// A word that ended the declarations without `$enddefinitions` and is to be read as a change.
    pub held_word: bool,
}

/// Reads up to the end of `$enddefinitions`.
///
/// # Errors
/// No declaration at all, one that can't be understood, or more than the limits allow.
pub fn read(tokens: &mut Tokens, limits: &Limits) -> Result<Header, Error> {
    let mut reader = Reader::default();
    loop {
        let at_start = tokens.input.offset();
        if tokens.next()?.is_none() {
            if reader.header.variables.is_empty() {
                let found = match at_start {
                    0 => "nothing",
                    _ => "the end of the file",
                };
                return Err(tokens.error(ErrorKind::Vcd(format!(
                    "expected declarations ($var … $end), found {found}: the file was cut off, export it again"
                ))));
            }
            reader.warn("the file ends before $enddefinitions: it holds no values");
            break;
        }
        if reader.declaration(tokens, limits)? {
            break;
        }
        if reader.header.held_word {
            reader.warn("the declarations are not closed by $enddefinitions; values were read all the same");
            break;
        }
    }
    let Reader {
        mut header,
        scopes,
        strange,
        ..
    } = reader;
    if !strange.is_empty() {
        header.warnings.push(format!(
            "unknown keywords were passed over: {}",
            some_of(&strange)
        ));
    }
    name_variables(&mut header, &scopes);
    Ok(header)
}

/// The declarations so far.
#[derive(Default)]
struct Reader {
    header: Header,
    scopes: Scopes,
    /// Keywords that nobody knows.
    strange: Vec<String>,
    /// Of all variables.
    bits: usize,
}

impl Reader {
    fn warn(&mut self, text: impl Into<String>) {
        self.header.warnings.push(text.into());
    }

    /// The declaration that begins with the word handed out last; true for the one that ends them.
    fn declaration(&mut self, tokens: &mut Tokens, limits: &Limits) -> Result<bool, Error> {
        match tokens.word() {
            b"$enddefinitions" => {
                tokens.skip_section()?;
                return Ok(true);
            }
            b"$scope" => {
                if self.scopes.depth >= limits.scopes {
                    return Err(limit(tokens, "the depth of scopes", limits.scopes));
                }
                let words = section(tokens)?;
                self.scopes.enter(words.get(1..).unwrap_or_default().join(" "));
            }
            b"$upscope" => {
                tokens.skip_section()?;
                if !self
                    .scopes
                    .leave(self.header.variables.last().and_then(|v| v.scope))
                {
                    let at = tokens.offset();
                    self.warn(format!(
                        "an $upscope without a $scope at byte {at} was passed over"
                    ));
                }
            }
            b"$timescale" => {
                let words = section(tokens)?.concat();
                let Some(scale) = parse_timescale(&words) else {
                    return Err(tokens.error(ErrorKind::Vcd(format!(
                        "expected a time scale of 1, 10 or 100 s, ms, us, ns, ps or fs, found {}",
                        quoted(words.as_bytes())
                    ))));
                };
                self.header.timescale = Some(scale);
            }
            b"$var" => {
                let variable = variable(tokens, self.scopes.open, &mut self.header.warnings)?;
                self.declare(variable, tokens, limits)?;
            }
            b"$comment" => self.comment(tokens, limits)?,
            b"$date" | b"$version" => {
                tokens.skip_section()?;
            }
            b"$dumpvars" | b"$dumpall" | b"$dumpon" | b"$dumpoff" | b"$dumpports" => {
                self.header.held_word = true;
            }
            [b'#', b'0'..=b'9', ..] => self.header.held_word = true,
            word @ [b'$', ..] => {
                let word = String::from_utf8_lossy(word).into_owned();
                if !self.strange.contains(&word) {
                    self.strange.push(word);
                }
                tokens.skip_section()?;
            }
            other => {
                let message = format!(
                    "expected a declaration such as $var or $enddefinitions, found {}",
                    quoted(other)
                );
                return Err(tokens.error(ErrorKind::Vcd(message)));
            }
        }
        Ok(false)
    }

    /// A comment, which may be one that this program wrote; any other, however long, is passed over.
    fn comment(&mut self, tokens: &mut Tokens, limits: &Limits) -> Result<(), Error> {
        const MOST_WORDS: usize = vcd_notes::MOST_CODES + 2;
        let mut words = Vec::new();
        while tokens.advance()? && tokens.word() != b"$end" {
            if words.len() <= MOST_WORDS {
                words.push(String::from_utf8_lossy(tokens.word()).into_owned());
            }
        }
        let told = &mut self.header.told;
        if words.len() > MOST_WORDS || told.sampled.len() + told.same.len() > limits.lines {
            return Ok(());
        }
        match vcd_notes::read(&words) {
            Some(Note::Sampled(sampling, codes)) => {
                let of = codes.iter().map(|code| (code.clone().into_bytes(), sampling));
                told.sampled.extend(of);
            }
            Some(Note::Same(first, code)) => {
                let of = [first, code].map(|code| code.as_bytes().to_vec());
                told.same.push(of);
            }
            None => {}
        }
        Ok(())
    }

    fn declare(&mut self, variable: Variable, tokens: &Tokens, limits: &Limits) -> Result<(), Error> {
        self.bits = self.bits.saturating_add(match variable.kind {
            Kind::Logic => variable.width,
            _ => 1,
        });
        if self.bits > limits.lines {
            let what = "the number of lines (bits of all variables)";
            return Err(limit(tokens, what, limits.lines));
        }
        self.header.variables.push(variable);
        Ok(())
    }
}

fn limit(tokens: &Tokens, what: &str, limit: usize) -> Error {
    tokens.error(ErrorKind::Limit {
        what: what.to_owned(),
        limit: limit.to_string(),
        advice: "export fewer variables",
    })
}

/// The words up to `$end`.
fn section(tokens: &mut Tokens) -> Result<Vec<String>, Error> {
    const MOST: usize = 64;
    let start = tokens.offset();
    let mut words = Vec::new();
    loop {
        let Some(word) = tokens.next()? else {
            return Err(tokens.error(ErrorKind::Vcd(format!(
                "expected $end for the section begun at byte {start}, found the end of the file"
            ))));
        };
        if word == b"$end" {
            return Ok(words);
        }
        if words.len() == MOST {
            return Err(tokens.error(ErrorKind::Vcd(format!(
                "expected $end for the section begun at byte {start}, found {MOST} more words"
            ))));
        }
        words.push(String::from_utf8_lossy(word).into_owned());
    }
}

/// `$var TYPE SIZE CODE REFERENCE… $end`: by place, since a code may look like anything, even like `$end`.
fn variable(
    tokens: &mut Tokens,
    scope: Option<usize>,
    warnings: &mut Vec<String>,
) -> Result<Variable, Error> {
    let start = tokens.offset();
    let mut head: [Vec<u8>; 3] = Default::default();
    for (place, part) in head.iter_mut().enumerate() {
        match tokens.next()? {
            Some(b"$end") if place < 2 => {
                return Err(tokens.error(ErrorKind::Vcd(format!(
                    "expected $var TYPE SIZE CODE NAME $end at byte {start}, found an early $end"
                ))));
            }
            Some(word) => *part = word.to_vec(),
            None => {
                return Err(tokens.error(ErrorKind::Vcd(format!(
                    "expected $var TYPE SIZE CODE NAME $end at byte {start}, found the end of the file"
                ))));
            }
        }
    }
    let reference = section(tokens)?;
    let [kind, size, code] = head;
    let mut width = 0;
    let mut range = None;
    let size = String::from_utf8_lossy(&size).into_owned();
    if let Some(declared) = parse_range(&size) {
        // Ports (§18.4) may give the range in place of the size.
        width = declared.0.abs_diff(declared.1) as usize + 1;
        range = Some(declared);
    } else if let Ok(n) = size.parse::<usize>() {
        width = n;
    }
    let kind = match kind.to_ascii_lowercase().as_slice() {
        b"real" | b"realtime" | b"shortreal" => Kind::Real,
        b"event" => Kind::Event,
        b"string" => Kind::Text,
        _ => Kind::Logic,
    };
    let (name, apart) = match reference.as_slice() {
        [] => {
            warnings.push(format!(
                "the variable at byte {start} has no name; its code serves as one"
            ));
            (String::from_utf8_lossy(&code).into_owned(), None)
        }
        [names @ .., last] if !names.is_empty() && parse_range(last).is_some() => {
            (names.join(" "), parse_range(last))
        }
        names => (names.join(" "), None),
    };
    if width == 0 && kind == Kind::Logic {
        warnings.push(format!(
            "the variable {} is declared with size {}: it is no line",
            quoted(name.as_bytes()),
            quoted(size.as_bytes())
        ));
    }
    let mut name = name;
    let range = match range.or(apart) {
        None if width > 1 => glued_range(&mut name),
        told => told,
    };
    let range = match range {
        Some(range) if kind == Kind::Logic => Some(fitting(range, width, &name, warnings)),
        other => other,
    };
    Ok(Variable {
        kind,
        width: if kind == Kind::Logic { width } else { 1 },
        code,
        scope,
        name: name.trim().to_owned(),
        range,
    })
}

/// A range written onto the end of a name, which then ends before it: `BUS[7:0]`. An escaped name is taken as it is.
fn glued_range(name: &mut String) -> Option<(i64, i64)> {
    if name.starts_with('\\') {
        return None;
    }
    let open = name.rfind('[')?;
    let range = parse_range(&name[open..]).filter(|(msb, lsb)| msb != lsb)?;
    name.truncate(open);
    Some(range)
}

/// The range, with its upper end moved where it does not have as many bits as the variable.
fn fitting((msb, lsb): (i64, i64), width: usize, name: &str, warnings: &mut Vec<String>) -> (i64, i64) {
    if msb.abs_diff(lsb) as usize == width.max(1) - 1 {
        return (msb, lsb);
    }
    warnings.push(format!(
        "the variable {} has size {width} and range [{msb}:{lsb}]: its size was taken",
        quoted(name.as_bytes())
    ));
    match width {
        0 | 1 => (msb, lsb),
        _ if msb >= lsb => (lsb + width as i64 - 1, lsb),
        _ => (lsb - (width as i64 - 1), lsb),
    }
}

/// `[3:0]`, `[0:3]` or `[3]`.
fn parse_range(text: &str) -> Option<(i64, i64)> {
    let inner = text.strip_prefix('[')?.strip_suffix(']')?;
    let (msb, lsb) = inner.split_once(':').unwrap_or((inner, inner));
    let index = |text: &str| text.trim().parse::<i32>().ok().map(i64::from);
    Some((index(msb)?, index(lsb)?))
}

/// Mantissa and power of ten of a second (§18.2.3.5: 1, 10 or 100 of s, ms, us, ns, ps, fs).
fn parse_timescale(text: &str) -> Option<(u32, i32)> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let mantissa: u32 = text[..digits].parse().ok()?;
    let exponent = match &text[digits..] {
        "s" => 0,
        "ms" => -3,
        "us" | "µs" | "μs" => -6,
        "ns" => -9,
        "ps" => -12,
        "fs" => -15,
        _ => return None,
    };
    matches!(mantissa, 1 | 10 | 100).then_some((mantissa, exponent))
}

fn name_variables(header: &mut Header, scopes: &Scopes) {
    let common = common_scopes(header.variables.iter().map(|v| scopes.path(v.scope)));
    for variable in &mut header.variables {
        let mut parts = scopes.path(variable.scope).split_off(common);
        parts.push(&variable.name);
        variable.name = parts.join(".");
    }
    // The same thing declared twice (same name, same code) is one thing.
    let mut seen = std::collections::HashSet::new();
    header
        .variables
        .retain(|v| seen.insert((v.name.clone(), v.code.clone(), v.range, v.width)));
    let repeated = make_unique(header.variables.iter_mut().map(|v| &mut v.name));
    if !repeated.is_empty() {
        header.warnings.push(format!(
            "several variables are called {}; the later ones were numbered",
            some_of(&repeated)
        ));
    }
}
