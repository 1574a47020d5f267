//! The simulation commands of a VCD (IEEE Std 1364-2005 §18.2.1, §18.2.2): times and value changes.
//! Here the commands one after the other and the time; `values` has what a change does to its lines.

mod values;

pub use values::level_of;

use std::path::Path;

use super::tokens::Tokens;
use super::{Plan, Target, fast};
use crate::ingest::build::Value;
use crate::ingest::error::quoted;
use crate::ingest::names::some_of;
use crate::ingest::thinned::Thinned;
use crate::ingest::{Error, ErrorKind, Limits, Progress};

/// What the changes told besides the lines.
#[derive(Debug)]
pub struct Outcome {
    /// First and last time, in the file's units.
    pub start: i64,
    pub end: i64,
    pub times: Thinned,
    pub warnings: Vec<String>,
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
    /// The present time, in the file's units.
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
    Ok(reader.finish(&strange))
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
    /// The end of the file; `strange`: keywords that nobody knows.
    fn finish(mut self, strange: &[String]) -> Outcome {
        self.note_time();
        if !strange.is_empty() {
            let names = some_of(strange);
            self.warnings
                .push(format!("unknown keywords were passed over: {names}"));
        }
        if !self.too_long.is_empty() {
            let names = some_of(&self.too_long);
            self.warnings.push(format!(
                "values longer than their variable were cut on the left (codes {names})"
            ));
        }
        if !self.started {
            self.begin(0);
            self.warnings
                .push("the file holds no times: it ends where it begins".to_owned());
        }
        if self.start < 0 {
            self.warnings.push(format!(
                "times begin below 0, at #{}, where the standard (IEEE 1364) counts from 0: they were taken for times before the \
                 instrument's trigger",
                self.start
            ));
        }
        Outcome {
            start: self.start,
            end: self.now,
            times: self.times,
            warnings: self.warnings,
        }
    }

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
        // The standard counts from 0; some programs put the trigger there, and what came before it below.
        let (is_before, digits) = match word[1..].strip_prefix(b"-") {
            Some(digits) => (true, digits),
            None => (false, &word[1..]),
        };
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
        if is_before {
            time = -time;
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
}
