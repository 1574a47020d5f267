//! Levels in volts that are wrong themselves: too weak to be read, between the thresholds, or not what the probe saw.
//!
//! Who takes such a level for a pulse accuses whatever switches beside it. So they are told for what they are, and the lines
//! are left out where strays are judged.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `standing` | where a line stands, and for how long |
//! | `company` | two lines that are at one voltage all the time |
//! | `floating` | lines that float together: a bus |
//! | `to_judge` | the capture without what is no pulse |
//! | `sentences` | findings |

mod company;
mod floating;
mod sentences;
mod standing;
mod to_judge;

use super::volts::Volts;
use crate::model::{Capture, Level, Line, Thresholds, Trace, TraceSamples};
use standing::{Levels, Plateau};

pub use company::{at_one_voltage, doubt};
pub use sentences::findings;
pub use to_judge::{left_out, to_judge};

/// The word for thresholds that were given as numbers: whoever gave them knows the line.
const BY_VOLTS: &str = "volts";
/// A level that shows for less of the time than this is no level of the line, but something that befalls it (no source).
const LEAST_SHARE: f64 = 0.01;
/// Both levels of a line that switches make up so much of its time: the rest is edges and ringing (no source).
const BOTH_SHARE: f64 = 0.5;
/// A weak level never gets past its threshold for long: no more than this part of the time that it stands short of it (no
/// source; noise that gets there does not stay).
const STAYS_SHARE: f64 = 0.02;
/// A line that nothing drives is between the thresholds for so much of the time: what strikes it takes it further (no source).
const OPEN_SHARE: f64 = 0.8;
/// It stays near its rest for so much of the time: else it is a signal that is no logic (no source).
const OPEN_REST: f64 = 0.6;
/// Parts of TTL have their open inputs here (common practice, no source: some 1.4 V, with 0.2 V to either side).
const OPEN_TTL_V: (f64, f64) = (1.2, 1.8);
/// Thresholds up to which a line may be TTL: those of the other 5 V family lie higher.
const TTL_HIGH_V: f64 = 2.05;
/// High levels of 5 V logic: from an output at full load (2.4 V, makers' tables of commercial TTL) to a supply 10 % up.
const LOGIC_HIGH_V: (f64, f64) = (2.4, 5.5);
/// Low levels of 5 V logic: to TTL's input threshold, and a little below 0 V for what an instrument is off.
const LOGIC_LOW_V: (f64, f64) = (-0.3, 0.8);
/// No driver of a higher voltage saturates this far above 0 V (a pair of transistors, one driving the other, at some 1 V); ten
/// times a TTL low of 0.12 V and more does (no source).
const DRIVER_LOW_V: f64 = 1.2;
/// A high level above this is no 5 V logic, whatever an instrument is off and a supply is up (no source).
const OTHER_HIGH_V: f64 = 6.0;
/// A line that swings less than this, cleanly, is of a family of small swings: a TTL output that loads pull down still gets
/// further (no source; balanced pairs swing some 1.4 V at a load, terminated backplanes 0.8 V).
const OTHER_SWING_V: f64 = 1.45;
/// A line from 1 V to 5 V is how instruments send a measured value; a little to either side.
const SENDER_V: [(f64, f64); 2] = [(0.9, 1.1), (4.75, 5.25)];
/// Levels are clean when so much of the time is spent at them (no source).
const CLEAN_SHARE: f64 = 0.8;
/// No logic of one supply rests this far below 0 V (clamps hold 0.3 V and less at rest; no source).
const BELOW_ZERO_V: f64 = -0.4;
/// Swings of 5 V logic.
const LOGIC_SWING_V: (f64, f64) = (2.0, 5.7);
/// A channel that passes no direct voltage has its mean this near 0 V, as a fraction of the swing (no source).
const MEAN_NEAR_ZERO: f64 = 0.15;

/// What is wrong with a line's levels. Volts, and shares of the record.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// Ten times, or a tenth of, what logic has.
    Factor {
        low_v: f64,
        high_v: f64,
        is_tenfold: bool,
    },
    /// It swings about 0 V, as no logic of one supply does.
    AboutZero { low_v: f64, high_v: f64 },
    /// One of its levels is no TTL level, and its swing is of another kind.
    Other { low_v: f64, high_v: f64 },
    /// Nothing drives it: it rests between the thresholds.
    Open {
        rest_v: f64,
        least_v: f64,
        most_v: f64,
        share: f64,
    },
    /// One of its levels never gets to its threshold.
    Weak {
        level: Level,
        stands_v: f64,
        other_v: f64,
        share: f64,
        stretches: usize,
        /// Half of the stretches are no longer than this, in ticks.
        usual: f64,
    },
    /// It stands between the thresholds at times; `with`: a line that is at its voltage all the time.
    Between {
        stands_v: f64,
        share: f64,
        stretches: usize,
        usual: f64,
        with: Option<usize>,
    },
    /// It floats at times, and other lines at the same times: a bus between two turns.
    Bus {
        rest_v: f64,
        share: f64,
        stretches: usize,
        /// All lines that float then, ascending.
        lines: Vec<usize>,
        /// A line beside the bus that is at this level while it floats.
        gate: Option<(usize, Level)>,
    },
}

/// A line whose levels are wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Trouble {
    /// Position in the capture.
    pub line: usize,
    pub kind: Kind,
    pub thresholds: Thresholds,
    /// The family's name, or "volts".
    pub family: String,
    plateaus: Vec<Plateau>,
    /// Whether it stands at a good low level at other times.
    has_good_low: bool,
}

/// The lines in volts whose levels are wrong, by line. `is_supply`: names of lines that are no logic; `is_one_wire`: whether two
/// lines are said to be the ends of one. Cost: linear in samples, with a few selections of medians; for each pair of lines
/// that stand between the thresholds once more.
pub fn find(
    capture: &Capture,
    is_supply: &dyn Fn(&str) -> bool,
    is_one_wire: &dyn Fn(usize, usize) -> bool,
) -> Vec<Trouble> {
    let lines = capture.lines.iter().enumerate();
    let lines =
        lines.filter(|(_, line)| line.same_as.is_none() && !is_supply(&line.name) && line.trace.is_some());
    let lines: Vec<(usize, &Line)> = lines.collect();
    let seen: Vec<Seen> = lines
        .iter()
        .filter_map(|&(at, line)| Seen::of(capture, at, line))
        .collect();
    let is_tenfold = |one: &&Seen| one.levels.high.volts >= 10.0 * LOGIC_HIGH_V.0;
    let all_tenfold = lines.len() > 1 && seen.iter().filter(is_tenfold).count() == lines.len();
    // Probes of one instrument are mostly set alike.
    let factors = seen.iter().filter_map(|one| one.factor(all_tenfold, None));
    let beside = factors
        .map(|kind| matches!(kind, Kind::Factor { is_tenfold: true, .. }))
        .next();
    let of_line = |one: &Seen| one.trouble(all_tenfold, beside);
    let mut troubles: Vec<Trouble> = seen.iter().filter_map(of_line).collect();
    company::tell(capture, &mut troubles, is_one_wire);
    floating::tell(capture, &mut troubles);
    troubles
}

/// Whether a look at the extremes and one pass show that no level can be wrong: nearly every line is so, and is not copied for it.
fn is_plain(trace: &Trace, shortest: f64) -> bool {
    let TraceSamples::Uniform {
        step, volts, pyramid, ..
    } = &trace.samples
    else {
        return false;
    };
    let extremes = pyramid.last().and_then(|top| (**top).as_ref().first());
    let Some([least, most]) = extremes.map(|pair| pair.map(f64::from)) else {
        return false;
    };
    // Neither about 0 V, nor ten times, nor a tenth of what logic has.
    // What gets to no high level may be a tenth with its ringing.
    let is_usual = least > BELOW_ZERO_V && most < 10.0 * LOGIC_HIGH_V.0 && most > trace.thresholds.low_v;
    let volts = (**volts).as_ref();
    let long = standing::long_between(volts, trace.thresholds, shortest / *step as f64);
    is_usual && (long as f64) < LEAST_SHARE * volts.len() as f64
}

struct Seen<'a> {
    at: usize,
    trace: &'a Trace,
    levels: Levels,
    plateaus: Vec<Plateau>,
}

impl<'a> Seen<'a> {
    /// `None` where no level can be wrong.
    fn of(capture: &Capture, at: usize, line: &'a Line) -> Option<Seen<'a>> {
        let trace = line.trace.as_ref()?;
        let ticks_of = |seconds: f64| capture.timebase.ticks_of(seconds);
        let step = match trace.samples {
            TraceSamples::Uniform { step, .. } => step as f64,
            TraceSamples::Steps { .. } => 0.0,
        };
        let shortest = standing::shortest(&ticks_of, step);
        if is_plain(trace, shortest) {
            return None;
        }
        let volts = Volts::of(trace);
        let levels = Levels::of(&volts, trace.thresholds, shortest)?;
        let shortest = standing::shortest_plateau(line, &ticks_of, step);
        Some(Seen {
            at,
            trace,
            levels,
            plateaus: standing::plateaus(&volts, trace.thresholds, shortest),
        })
    }

    fn trouble(&self, all_tenfold: bool, beside: Option<bool>) -> Option<Trouble> {
        let kind = self
            .factor(all_tenfold, beside)
            .or_else(|| self.about_zero())
            .or_else(|| self.open())
            .or_else(|| self.weak(Level::High))
            .or_else(|| self.weak(Level::Low))
            .map(|kind| self.other(&kind).unwrap_or(kind))
            .or_else(|| self.between())?;
        Some(Trouble {
            line: self.at,
            kind,
            has_good_low: self.levels.stays_below >= LEAST_SHARE,
            thresholds: self.trace.thresholds,
            family: self.trace.family.clone(),
            plateaus: self.plateaus.clone(),
        })
    }

    /// Whether the line stands at both its levels.
    fn has_two_levels(&self) -> bool {
        let (low, high) = (&self.levels.low, &self.levels.high);
        let shares = [low.share, high.share];
        shares.iter().sum::<f64>() >= BOTH_SHARE && shares.iter().all(|share| *share >= LEAST_SHARE)
    }

    /// `all_tenfold`: every line of the capture is as high; `beside`: what was found of a line beside it, tenfold or not: then
    /// this one need not stand at both its levels.
    fn factor(&self, all_tenfold: bool, beside: Option<bool>) -> Option<Kind> {
        let is_named = self.trace.declared && self.trace.family != BY_VOLTS;
        if self.trace.declared && !is_named {
            return None;
        }
        let (low_v, high_v) = (self.levels.low.volts, self.levels.high.volts);
        let is_logic = |factor: f64| {
            let inside = |volts: f64, (from, to): (f64, f64)| (from..=to).contains(&(volts * factor));
            inside(low_v, LOGIC_LOW_V) && inside(high_v, LOGIC_HIGH_V)
        };
        let is_clear = |is_tenfold: bool| self.has_two_levels() || beside == Some(is_tenfold);
        let is_no_driver = low_v >= DRIVER_LOW_V || is_named || all_tenfold || beside == Some(true);
        let is_tenfold = is_logic(0.1) && is_clear(true) && is_no_driver;
        (is_tenfold || (is_logic(10.0) && is_clear(false))).then_some(Kind::Factor {
            low_v,
            high_v,
            is_tenfold,
        })
    }

    fn about_zero(&self) -> Option<Kind> {
        let (low_v, high_v) = (self.levels.low.volts, self.levels.high.volts);
        let swing = high_v - low_v;
        let is_told = self.trace.declared && self.trace.family == BY_VOLTS;
        let is_it = self.has_two_levels()
            && !is_told
            && low_v <= BELOW_ZERO_V
            && high_v > 0.0
            && (LOGIC_SWING_V.0..=LOGIC_SWING_V.1).contains(&swing)
            && self.levels.mean_v.abs() <= MEAN_NEAR_ZERO * swing;
        is_it.then_some(Kind::AboutZero { low_v, high_v })
    }

    fn open(&self) -> Option<Kind> {
        let levels = &self.levels;
        let Thresholds { low_v, high_v } = self.trace.thresholds;
        let rest_v = levels.median_v;
        // At thresholds higher than TTL's a supply of another voltage may rest between them.
        let may_be_open =
            high_v <= TTL_HIGH_V || (OPEN_TTL_V.0..=OPEN_TTL_V.1).contains(&rest_v) || levels.moves();
        let is_driven = (levels.low.volts <= low_v && levels.low.share >= LEAST_SHARE)
            || (levels.high.volts >= high_v && levels.high.share >= LEAST_SHARE);
        let is_it = may_be_open
            && low_v < rest_v
            && rest_v < high_v
            && levels.between >= OPEN_SHARE
            && levels.at_rest >= OPEN_REST
            && !is_driven;
        is_it.then_some(Kind::Open {
            rest_v,
            least_v: levels.least_v,
            most_v: levels.most_v,
            share: levels.between,
        })
    }

    /// A level between the thresholds that the line stands at where it makes for `level`, and hardly ever gets further.
    fn weak(&self, level: Level) -> Option<Kind> {
        let levels = &self.levels;
        let Thresholds { low_v, high_v } = self.trace.thresholds;
        let (weak, other, beyond) = match level {
            Level::High => (&levels.high, &levels.low, levels.stays_above),
            _ => (&levels.low, &levels.high, levels.stays_below),
        };
        let is_between = low_v < weak.volts && weak.volts < high_v && !self.is_good_ttl(weak.volts);
        let is_other_good = match level {
            Level::High => other.volts <= low_v,
            _ => other.volts >= high_v,
        };
        let is_it = is_between
            && is_other_good
            && other.share >= LEAST_SHARE
            && weak.share >= LEAST_SHARE
            && beyond <= STAYS_SHARE * weak.share;
        is_it.then_some(Kind::Weak {
            level,
            stands_v: weak.volts,
            other_v: other.volts,
            share: weak.share,
            stretches: weak.stretches,
            usual: weak.usual,
        })
    }

    /// What to ask of a line of which nobody said its family, in place of `weak`: where its swing is plainly of another kind.
    fn other(&self, weak: &Kind) -> Option<Kind> {
        let Levels { low, high, .. } = &self.levels;
        let (low_v, high_v) = (low.volts, high.volts);
        let inside = |volts: f64, (from, to): (f64, f64)| (from..=to).contains(&volts);
        let is_sender = inside(low_v, SENDER_V[0]) && inside(high_v, SENDER_V[1]);
        let is_other = high_v > OTHER_HIGH_V || high_v - low_v < OTHER_SWING_V || is_sender;
        let is_it = matches!(weak, Kind::Weak { .. })
            && !self.trace.declared
            && low.share + high.share >= CLEAN_SHARE
            && is_other;
        is_it.then_some(Kind::Other { low_v, high_v })
    }

    /// Whether nobody said what family the line is of, and `volts` are a good high level of TTL, which outputs of another
    /// family are read beside.
    fn is_good_ttl(&self, volts: f64) -> bool {
        !self.trace.declared && volts >= LOGIC_HIGH_V.0
    }

    fn between(&self) -> Option<Kind> {
        let plateaus = &self.plateaus;
        let share = standing::share(plateaus, self.levels.length);
        let mut volts: Vec<f64> = plateaus.iter().map(|p| p.volts).collect();
        let mut lengths: Vec<f64> = plateaus.iter().map(|p| p.end - p.start).collect();
        let stands_v = standing::median(&mut volts);
        (share >= LEAST_SHARE && !self.is_good_ttl(stands_v)).then(|| Kind::Between {
            stands_v,
            share,
            stretches: plateaus.len(),
            usual: standing::median(&mut lengths),
            with: None,
        })
    }
}

#[cfg(test)]
mod tests;
