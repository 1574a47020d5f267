//! The simulation commands of a VCD (IEEE Std 1364-2005 §18.2.1, §18.2.2): times and value changes.

use std::collections::HashMap;
use std::path::Path;

use super::super::build::Value;
use super::super::error::quoted;
use super::super::grid::Thinned;
use super::super::names::some_of;
use super::super::{Error, ErrorKind, Limits, Progress};
use super::tokens::Tokens;
use super::{Plan, Target, fast};

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

/// What the changes told besides the lines.
#[derive(Debug)]
pub struct Outcome {
    pub start: i64,
    pub end: i64,
    pub times: Thinned,
    pub warnings: Vec<String>,
}

/// The level a digit stands for, with VHDL's nine values: U, W and - as unknown, L as low, H as high.
pub fn level_of(digit: u8) -> Option<Value> {
    Some(match digit {
        b'0' | b'l' | b'L' => Value::Low,
        b'1' | b'h' | b'H' => Value::High,
        b'x' | b'X' | b'u' | b'U' | b'w' | b'W' | b'-' | b'?' => Value::Unknown,
        b'z' | b'Z' => Value::Floating,
        _ => return None,
    })
}

/// The level of a port's state letter (§18.4.3.1; letters' meanings from memory of the standard's table).
fn port_level(letter: u8) -> Option<Value> {
    Some(match letter {
        b'D' | b'd' | b'L' | b'l' | b'0' => Value::Low,
        b'U' | b'u' | b'H' | b'h' | b'1' => Value::High,
        b'Z' | b'T' | b'F' | b'f' => Value::Floating,
        b'N' | b'X' | b'?' | b'A' | b'a' | b'B' | b'b' | b'C' | b'c' => Value::Unknown,
        _ => return None,
    })
}

/// The state between two commands.
pub struct Reader<'p> {
    pub plan: &'p mut Plan,
    pub limits: &'p Limits,
    /// The vectors' present values, to tell which bits change.
    pub values: Vec<Vec<u8>>,
    /// How far the fast path came, in bytes.
    pub came_to: u64,
    started: bool,
    start: i64,
    pub now: i64,
    /// The time before the present one.
    pub before: i64,
    pub times: Thinned,
    off: bool,
    /// Whether a line changed at the present time.
    pub changed: bool,
    /// Inside $dumpvars/$dumpon/$dumpall: an event named there is no trigger.
    section: bool,
    real_changes: usize,
    reals_full: bool,
    too_long: Vec<String>,
    warnings: Vec<String>,
}

/// Bytes for the general path after the fast one met a line of another make; doubled while it gets nowhere.
const LEAST_PAUSE: u64 = 64 << 10;

/// Reads all changes. `held`: the word that ended the header is the first of them. `path`: the file itself, where
/// its bytes may be taken directly.
pub fn read(
    tokens: &mut Tokens,
    plan: &mut Plan,
    held: bool,
    limits: &Limits,
    path: Option<&Path>,
    progress: &dyn Progress,
) -> Result<Outcome, Error> {
    let slots = plan.slots;
    let mut reader = Reader {
        plan,
        limits,
        values: vec![Vec::new(); slots],
        came_to: 0,
        started: false,
        start: 0,
        now: 0,
        before: 0,
        times: Thinned::default(),
        off: false,
        changed: false,
        section: false,
        real_changes: 0,
        reals_full: false,
        too_long: Vec::new(),
        warnings: Vec::new(),
    };
    let mut truncated = false;
    let mut strange: Vec<String> = Vec::new();
    let mut more = held || tokens.advance()?;
    let mut fast_from = 0;
    let mut pause = LEAST_PAUSE;
    while more {
        let at = tokens.offset();
        if let Some(path) = path
            && tokens.word()[0] == b'#'
            && at >= fast_from
            && reader.started
            && !reader.off
            && !reader.section
        {
            let total = std::fs::metadata(path).map(|m| m.len()).ok();
            reader.came_to = at;
            let mut told = |done| {
                progress.bytes(done, total);
                !progress.cancelled()
            };
            match fast::read(path, at, &mut reader, &mut told).map_err(|e| tokens.spill_error(e))? {
                fast::Ended::Cancelled => return Err(tokens.error(ErrorKind::Cancelled)),
                fast::Ended::At(came) => {
                    pause = if came - at > pause { LEAST_PAUSE } else { pause * 2 };
                    fast_from = came + pause;
                    if came > at {
                        tokens.jump(came)?;
                        more = tokens.advance()?;
                        continue;
                    }
                }
            }
        }
        match reader.command(tokens, &mut strange) {
            Ok(()) => {}
            // A mistake in the very last word of a file that does not end in white space: it was cut off there.
            Err(Failed::Cut) => truncated = true,
            Err(Failed::Error(e)) if tokens.touches_end && cut_short(&e) => truncated = true,
            Err(Failed::Error(e)) => return Err(e),
        }
        if truncated {
            reader.cut(at);
            break;
        }
        more = tokens.advance()?;
    }
    if tokens.input.cut_short() && !truncated {
        reader.cut(tokens.offset());
    } else if tokens.touches_end && !truncated {
        let at = tokens.offset();
        reader.warnings.push(format!(
            "the file does not end with a line end: its last time step (byte {at}) may not be whole"
        ));
    }
    reader.note_time();
    if !strange.is_empty() {
        reader.warnings.push(format!(
            "unknown keywords were passed over: {}",
            some_of(&strange)
        ));
    }
    if !reader.too_long.is_empty() {
        let names = some_of(&reader.too_long);
        reader.warnings.push(format!(
            "values longer than their variable were cut on the left (codes {names})"
        ));
    }
    if !reader.started {
        reader.begin(0);
        reader
            .warnings
            .push("the file holds no times: it ends where it begins".to_owned());
    }
    Ok(Outcome {
        start: reader.start,
        end: reader.now,
        times: reader.times,
        warnings: reader.warnings,
    })
}

enum Failed {
    Error(Error),
    /// The file ended within a command.
    Cut,
}

impl From<Error> for Failed {
    fn from(error: Error) -> Failed {
        Failed::Error(error)
    }
}

fn cut_short(error: &Error) -> bool {
    matches!(
        error.kind,
        ErrorKind::Vcd(_) | ErrorKind::Undeclared(_) | ErrorKind::Backwards { .. }
    )
}

impl Reader<'_> {
    fn begin(&mut self, start: i64) {
        self.started = true;
        self.start = start;
        self.now = start;
        self.before = start;
        for builder in &mut self.plan.builders {
            builder.begin(start);
        }
    }

    /// The file was cut off at byte `at`: what was told at the present time may not be whole.
    fn cut(&mut self, at: u64) {
        for builder in &mut self.plan.builders {
            builder.forget(self.now);
        }
        self.now = self.before;
        self.warnings.push(format!(
            "the file was cut off (byte {at}): everything up to its last whole time step was read"
        ));
    }

    fn command(&mut self, tokens: &mut Tokens, strange: &mut Vec<String>) -> Result<(), Failed> {
        let word = tokens.word();
        match word[0] {
            b'#' => self.time(tokens)?,
            b'$' => self.keyword(tokens, strange)?,
            b'b' | b'B' => {
                let digits = word[1..].to_vec();
                if let Some(&odd) = digits.iter().find(|&&d| level_of(d).is_none()) {
                    return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                        "expected digits 0, 1, x or z, found {} in {}",
                        quoted(&[odd]),
                        quoted(word)
                    )))));
                }
                let target = self.target(tokens)?;
                self.vector(tokens, target, &digits)?;
            }
            b'r' | b'R' | b's' | b'S' => {
                let text = word[1..].to_vec();
                let real = matches!(word[0], b'r' | b'R');
                let value = std::str::from_utf8(&text)
                    .ok()
                    .and_then(|t| t.parse::<f64>().ok());
                if real && value.is_none() {
                    return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                        "expected a real number, found {}",
                        quoted(word)
                    )))));
                }
                let target = self.target(tokens)?;
                match target {
                    Target::Other(place) => self.other(place, value),
                    _ => {
                        return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                            "expected a logic value for the code {}, found a real or a string",
                            quoted(tokens.word())
                        )))));
                    }
                }
            }
            b'p' => {
                let states = word[1..].to_vec();
                self.port(tokens, &states)?;
            }
            digit => {
                let Some(value) = level_of(digit) else {
                    return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                        "expected a time, a value change or a keyword, found {}",
                        quoted(word)
                    )))));
                };
                self.scalar(tokens, digit, value)?;
            }
        }
        Ok(())
    }

    fn time(&mut self, tokens: &Tokens) -> Result<(), Failed> {
        let word = tokens.word();
        let digits = &word[1..];
        let mut time = 0i64;
        for &digit in digits {
            let next = digit
                .is_ascii_digit()
                .then(|| time.checked_mul(10)?.checked_add(i64::from(digit - b'0')))
                .flatten();
            let Some(next) = next else {
                return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                    "expected # and a whole number below 9223372036854775808, found {}",
                    quoted(word)
                )))));
            };
            time = next;
        }
        if digits.is_empty() {
            return Err(Failed::Error(tokens.error(ErrorKind::Vcd(
                "expected a time after #, found white space".to_owned(),
            ))));
        }
        if self.started && time < self.now {
            return Err(Failed::Error(tokens.error(ErrorKind::Backwards {
                found: format!("#{time}"),
                before: format!("#{}", self.now),
            })));
        }
        self.go_to(time);
        Ok(())
    }

    /// The time is `time` from now on, which is not earlier than before.
    pub fn go_to(&mut self, time: i64) {
        if !self.started {
            self.begin(time);
        } else if time > self.now {
            self.note_time();
            self.before = self.now;
            self.now = time;
        }
    }

    /// Keeps the present time for the sampling grid, when something changed at it.
    fn note_time(&mut self) {
        if self.changed && self.now > self.start {
            self.times.push(self.now);
        }
        self.changed = false;
    }

    fn keyword(&mut self, tokens: &mut Tokens, strange: &mut Vec<String>) -> Result<(), Failed> {
        match tokens.word() {
            b"$end" => self.section = false,
            b"$dumpvars" | b"$dumpall" | b"$dumpports" | b"$dumpportsall" => self.section = true,
            b"$dumpoff" | b"$dumpportsoff" => {
                self.section = true;
                self.off = true;
                let now = self.now;
                for builder in &mut self.plan.builders {
                    builder
                        .set(now, Value::Unrecorded)
                        .map_err(|e| tokens.spill_error(e))?;
                }
                for value in &mut self.values {
                    value.clear();
                }
            }
            b"$dumpon" | b"$dumpportson" => {
                self.section = true;
                self.off = false;
            }
            b"$comment" | b"$enddefinitions" | b"$dumpflush" | b"$dumplimit" | b"$date" | b"$version" => {
                self.skip(tokens)?;
            }
            b"$vcdclose" => {
                // $vcdclose #N $end: the end of the recording (§18.4.2).
                if !tokens.advance()? {
                    return Err(Failed::Cut);
                }
                if tokens.word().first() == Some(&b'#') {
                    self.time(tokens)?;
                    self.skip(tokens)?;
                }
            }
            word => {
                let word = String::from_utf8_lossy(word).into_owned();
                if !strange.contains(&word) {
                    strange.push(word);
                }
                self.skip(tokens)?;
            }
        }
        Ok(())
    }

    fn skip(&mut self, tokens: &mut Tokens) -> Result<(), Failed> {
        if tokens.skip_section()? {
            Ok(())
        } else {
            Err(Failed::Cut)
        }
    }

    /// The target of the code that follows.
    fn target(&mut self, tokens: &mut Tokens) -> Result<Target, Failed> {
        if !tokens.advance()? {
            return Err(Failed::Cut);
        }
        self.plan
            .codes
            .get(tokens.word())
            .ok_or_else(|| Failed::Error(tokens.error(ErrorKind::Undeclared(quoted(tokens.word())))))
    }

    fn scalar(&mut self, tokens: &mut Tokens, digit: u8, value: Value) -> Result<(), Failed> {
        let word = tokens.word();
        let target = match self.plan.codes.get(&word[1..]) {
            Some(target) => target,
            None if word.len() == 1 => self.target(tokens)?,
            None => {
                // Several digits glued to the code of a vector of as many bits, as some writers do.
                let glued = (2..word.len()).find_map(|n| {
                    word[..n].iter().all(|&d| level_of(d).is_some()).then_some(())?;
                    match self.plan.codes.get(&word[n..]) {
                        Some(target @ Target::Vector { width, .. }) if width == n => {
                            Some((target, word[..n].to_vec()))
                        }
                        _ => None,
                    }
                });
                let Some((target, digits)) = glued else {
                    let code = quoted(&word[1..]);
                    return Err(Failed::Error(tokens.error(ErrorKind::Undeclared(code))));
                };
                return self.vector(tokens, target, &digits);
            }
        };
        match target {
            Target::Scalar(line) => self.set(tokens, line, value),
            Target::Vector { .. } => self.vector(tokens, target, &[digit]),
            Target::Other(place) => {
                if !(self.section && self.plan.others[place].event) {
                    self.other(place, Some(f64::from(digit == b'1')));
                }
                Ok(())
            }
        }
    }

    fn set(&mut self, tokens: &Tokens, line: usize, value: Value) -> Result<(), Failed> {
        if self.off {
            return Ok(());
        }
        self.changed = true;
        let builder = &mut self.plan.builders[line];
        if !self.started {
            builder.before(value);
            return Ok(());
        }
        builder
            .set(self.now, value)
            .map_err(|e| Failed::Error(tokens.spill_error(e)))?;
        if matches!(value, Value::Unknown | Value::Floating) {
            self.count_stretch(tokens)?;
        }
        Ok(())
    }

    /// Stretches lie in memory, so there is a limit.
    fn count_stretch(&mut self, tokens: &Tokens) -> Result<(), Failed> {
        self.plan.stretches += 1;
        if self.plan.stretches > self.limits.stretches {
            return Err(Failed::Error(tokens.error(ErrorKind::Limit {
                what: "the number of stretches without a known level (x, z)".to_owned(),
                limit: self.limits.stretches.to_string(),
                advice: "export a shorter part of the capture, or fewer variables",
            })));
        }
        Ok(())
    }

    /// A vector's value, extended on the left (Table 18-1): with 0 for 0 and 1, else with itself.
    fn vector(&mut self, tokens: &Tokens, target: Target, digits: &[u8]) -> Result<(), Failed> {
        let (first, width, slot) = match target {
            Target::Vector { first, width, slot } => (first, width, Some(slot)),
            Target::Scalar(first) => (first, 1, None),
            Target::Other(place) => {
                self.other(place, None);
                return Ok(());
            }
        };
        if digits.is_empty() {
            return Err(Failed::Error(tokens.error(ErrorKind::Vcd(
                "expected digits after b, found white space".to_owned(),
            ))));
        }
        if digits.len() > width && self.too_long.len() < 100 {
            let code = quoted(tokens.word());
            if !self.too_long.contains(&code) {
                self.too_long.push(code);
            }
        }
        let digits = &digits[digits.len().saturating_sub(width)..];
        let fill = match digits[0] {
            d @ (b'x' | b'X' | b'z' | b'Z' | b'u' | b'U' | b'w' | b'W' | b'-') => d,
            _ => b'0',
        };
        let missing = width - digits.len();
        let bit_at = |bit: usize| {
            if bit < missing {
                fill
            } else {
                digits[bit - missing]
            }
        };
        let mut old = slot
            .map(|s| std::mem::take(&mut self.values[s]))
            .unwrap_or_default();
        let known = old.len() == width;
        old.resize(width, 0);
        for (bit, held) in old.iter_mut().enumerate() {
            let digit = bit_at(bit);
            if !known || *held != digit {
                *held = digit;
                let value = level_of(digit).unwrap_or(Value::Unknown);
                self.set(tokens, first + bit, value)?;
            }
        }
        if let Some(slot) = slot
            && !self.off
        {
            self.values[slot] = old;
        }
        Ok(())
    }

    pub fn other(&mut self, place: usize, value: Option<f64>) {
        self.other_at(self.now, place, value);
    }

    /// A change of a variable that is no logic line.
    pub fn other_at(&mut self, time: i64, place: usize, value: Option<f64>) {
        if self.off {
            return;
        }
        let other = &mut self.plan.others[place];
        other.changes += 1;
        if !other.real {
            return;
        }
        let Some(value) = value else { return };
        if self.real_changes >= self.limits.real_changes {
            if !self.reals_full {
                self.reals_full = true;
                self.warnings.push(format!(
                    "more than {} changes of reals: the later ones were only counted",
                    self.limits.real_changes
                ));
            }
            return;
        }
        self.real_changes += 1;
        other.times.push(time);
        other.values.push(value);
    }

    /// `p` + state letters, strength of 0, strength of 1, code (§18.4.3); blanks between them vary.
    fn port(&mut self, tokens: &mut Tokens, states: &[u8]) -> Result<(), Failed> {
        const WORDS: usize = 3;
        let mut digits = Vec::with_capacity(states.len());
        for &letter in states {
            match port_level(letter) {
                Some(Value::Low) => digits.push(b'0'),
                Some(Value::High) => digits.push(b'1'),
                Some(Value::Floating) => digits.push(b'z'),
                Some(_) => digits.push(b'x'),
                None => {
                    return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                        "expected port states such as D, U, N, Z, L, H, X or T, found {}",
                        quoted(states)
                    )))));
                }
            }
        }
        for _ in 0..WORDS {
            if !tokens.advance()? {
                return Err(Failed::Cut);
            }
            let word = tokens.word();
            if word.iter().all(u8::is_ascii_digit) && self.plan.codes.get(word).is_none() {
                continue;
            }
            let Some(target) = self.plan.codes.get(word) else {
                return Err(Failed::Error(tokens.error(ErrorKind::Undeclared(quoted(word)))));
            };
            return self.vector(tokens, target, &digits);
        }
        Err(Failed::Error(tokens.error(ErrorKind::Vcd(
            "expected two strengths and a code after a port's states".to_owned(),
        ))))
    }
}
