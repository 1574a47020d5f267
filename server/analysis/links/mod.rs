//! Links: does what leaves here arrive there?
//!
//! Pulses sent and arrived are matched one to one in order, with the delay of each polarity and its spread taken
//! from the data. What is left over is missing (sent, never arrived) or extra (arrived, never sent); a single
//! odd edge is a pulse stretched or shortened. A far end whose matches are no more than chance, or which another
//! line explains far better, is dead, and the signal is looked for elsewhere.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `train` | the edges of one line with polarities |
//! | `delay` | where the differences far − sent pile up |
//! | `matching` | one-to-one pairs in order, and what the others are |
//! | `fit` | a try to explain a far end by a sender, and how good it is |
//! | `pulses` | counts, lists and delays of a live link |
//! | `late` | what arrives later than allowed: all of it, or some pulses |
//! | `elsewhere` | the signal on another line; what the far end follows |
//! | `by_width` | whether only narrow pulses get lost |
//! | `propose` | links that nobody declared |
//! | `crossed` | signals at each other's far ends: swapped, rotated, reversed, shifted |
//! | `slow` | edges of a far end in volts that are slow for the link |
//! | `sentences` | findings |

mod by_width;
mod crossed;
mod delay;
mod elsewhere;
mod fit;
mod late;
mod matching;
mod propose;
mod pulses;
mod sentences;
mod slow;
mod train;

#[cfg(test)]
mod tests;

use crate::model::{Capture, Level, Line, StretchKind, Ticks};

use elsewhere::Source;
use fit::Fit;
use late::{LateFit, begins_upright, late_fit, take_late};
use pulses::fill;
use train::Train;

pub use by_width::{ByWidth, by_width};
pub use crossed::{Crossing, Order, Permutation, crossings, permutations};
pub use elsewhere::expand;
pub use propose::{Proposal, propose};
pub use sentences::{findings, proposed};

/// A link to check. Lines are positions in [`Capture::lines`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkOptions {
    pub from: usize,
    pub to: usize,
    /// The longest delay that still counts as arrived; [`DEFAULT_MAX_DELAY_S`] when not given.
    pub max_delay: Option<Ticks>,
    /// The far end is meant to be upside down.
    pub inverted: bool,
}

/// Longest delay of a link for which none was declared: far beyond a cable and a few gates, far below the
/// pulses of a sequencer. Common practice, no source.
pub const DEFAULT_MAX_DELAY_S: f64 = 1e-6;

/// What became of the pulses sent; decided in [`check`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Intact,
    Lossy,
    Dead,
    Inverted,
    Noisy,
    LossyNoisy,
    /// Nothing was sent and nothing arrived: the record can't tell.
    NothingSent,
}

impl Verdict {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Intact => "intact",
            Verdict::Lossy => "lossy",
            Verdict::Dead => "dead",
            Verdict::Inverted => "inverted",
            Verdict::Noisy => "noisy",
            Verdict::LossyNoisy => "lossy-noisy",
            Verdict::NothingSent => "nothing-sent",
        }
    }
}

/// A length of time in ticks: median with its 95 % interval, or smallest and largest below six values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delay {
    pub median: f64,
    pub low: f64,
    pub high: f64,
}

/// A pulse at one end, in ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EndPulse {
    pub start: Ticks,
    pub end: Ticks,
    pub level: Level,
}

/// A pulse that arrived wider or narrower than it left, beyond what the others do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Distorted {
    pub sent: EndPulse,
    pub arrived: EndPulse,
}

/// A sent pulse whose start arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    pub sent: EndPulse,
    /// Where its start showed at the far end, as recorded there.
    pub start: Ticks,
    /// In ticks, the bias of half a sample at each end taken out.
    pub delay: f64,
}

/// A pulse that came, but later than the link allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LatePulse {
    /// One of [`Link::missing`].
    pub sent: EndPulse,
    pub arrived: EndPulse,
}

/// Another line that carries the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BetterMatch {
    /// Position in the capture.
    pub line: usize,
    /// Pulses that arrived there, of those sent.
    pub arrived: usize,
    /// Median delay in ticks.
    pub delay: f64,
    pub inverted: bool,
}

/// What the far end does when it does not carry the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FarEnd {
    /// It carries the signal, perhaps with losses.
    Carries,
    /// It never moved.
    Stuck(Level),
    /// It floated most of the time.
    Floating,
    /// Another line's edges explain it.
    Follows { line: usize, inverted: bool },
    /// The signal comes, but later than allowed: the median delay in ticks. Beside [`Verdict::Inverted`]: a train so regular
    /// that it may as well be this.
    Late(f64),
    /// It moves, and nothing captured explains it.
    Unexplained,
}

/// The outcome for one link. Times are ticks of the capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    pub from: usize,
    pub to: usize,
    pub verdict: Verdict,
    /// Pulses sent, of the level that is not the sender's rest, whose arrival could be judged.
    pub sent: usize,
    /// Pulses of `sent` that were found at the far end.
    pub arrived: usize,
    /// Pulses at the sending end that never arrived; of the level that is the sender's rest, a pause that was lost: the
    /// pulses on its two sides arrived as one.
    pub missing: Vec<EndPulse>,
    /// Pulses at the far end that nobody sent.
    pub extra: Vec<EndPulse>,
    /// Of the missing, those that came later than allowed; in order.
    pub late: Vec<LatePulse>,
    pub distorted: Vec<Distorted>,
    /// The pulses that arrived, in order.
    pub arrivals: Vec<Arrival>,
    /// Delay of the edges that start a pulse.
    pub delay: Option<Delay>,
    /// Delay of the edges that end one: the difference is a steady change of width.
    pub end_delay: Option<Delay>,
    /// What was declared as upside down.
    pub inverted: bool,
    pub far_end: FarEnd,
    pub better_match: Option<BetterMatch>,
}

/// Checks links, in order. Options whose lines do not exist, or are one and the same, are left out.
/// Cost: linear in the edges of the two lines; a dead link also costs one pass over every other line.
pub fn check(capture: &Capture, options: &[LinkOptions]) -> Vec<Link> {
    let known =
        |o: &&LinkOptions| o.from < capture.lines.len() && o.to < capture.lines.len() && o.from != o.to;
    let options: Vec<LinkOptions> = options.iter().filter(known).copied().collect();
    options.iter().map(|o| check_one(capture, o, &options)).collect()
}

/// The far end as it fits best, the right way up or upside down.
struct FarReading {
    train: Train,
    fit: Fit,
    /// Upside down, against what was declared.
    is_turned: bool,
    /// The right way up, and later than allowed.
    late: Option<LateFit>,
}

impl FarReading {
    fn of((from, to): (&Line, &Line), sent: &Train, is_inverted: bool, range: (i64, i64)) -> FarReading {
        let quantum = quantum(from, to);
        let upright = Train::of(to, is_inverted);
        let upside_down = upright.inverted();
        let fit = Fit::of(sent, &upright, range, quantum);
        let other = Fit::of(sent, &upside_down, range, quantum);
        let fits_better = other.is_link()
            && other.matched() * 2 >= sent.times.len()
            && (!fit.is_link() || other.matched() * 100 > fit.matched() * 115);
        // A regular train that comes late looks like one that is upside down.
        let late = (fits_better || !fit.is_link())
            .then(|| late_fit(sent, &upright, range, quantum))
            .flatten();
        let is_late = |late: &LateFit| {
            begins_upright(from, to, is_inverted, range.1) && late.matched + 2 >= other.matched()
        };
        let is_turned = fits_better && !late.as_ref().is_some_and(is_late);
        let (train, fit) = match is_turned {
            true => (upside_down, other),
            false => (upright, fit),
        };
        FarReading {
            train,
            fit,
            is_turned,
            late,
        }
    }
}

fn check_one(capture: &Capture, option: &LinkOptions, all: &[LinkOptions]) -> Link {
    let ends = (&capture.lines[option.from], &capture.lines[option.to]);
    let sent = Train::of(ends.0, false);
    let range = range_of(capture, option, quantum(ends.0, ends.1));
    let far = FarReading::of(ends, &sent, option.inverted, range);
    let mut link = Link {
        from: option.from,
        to: option.to,
        verdict: Verdict::Dead,
        sent: 0,
        arrived: 0,
        missing: Vec::new(),
        extra: Vec::new(),
        late: Vec::new(),
        distorted: Vec::new(),
        arrivals: Vec::new(),
        delay: None,
        end_delay: None,
        inverted: option.inverted,
        far_end: FarEnd::Carries,
        better_match: None,
    };
    let fit = &far.fit;
    let partial = fit.recall(&sent) < 0.9 && fit.precision(&far.train) < 0.7;
    let alive = fit.is_link() && fit.matched() > 0 && !(partial && fit.is_echo(&sent, &far.train));
    let follows = (!alive || partial)
        .then(|| elsewhere::source_of(capture, option, range))
        .flatten()
        .filter(|f| !alive || f.quality > fit.quality(&sent, &far.train) + 0.15);
    if alive && follows.is_none() {
        judge_alive(&mut link, ends, &sent, far, range.1);
        return link;
    }
    judge_dead(&mut link, ends, follows, far.late);
    if link.verdict == Verdict::Dead && !matches!(link.far_end, FarEnd::Late(_)) {
        link.better_match = elsewhere::carrier_of(capture, option, range, all);
    }
    link
}

/// The far end carries the signal: pulse by pulse.
fn judge_alive(link: &mut Link, (from, to): (&Line, &Line), sent: &Train, far: FarReading, longest: i64) {
    let active = active_level(from);
    let far_active = match link.inverted != far.is_turned {
        true => active.inverted(),
        false => active,
    };
    fill(link, (from, sent, active), (to, &far.train, far_active), &far.fit);
    take_late(link, longest, quantum(from, to));
    link.verdict = match (far.is_turned, link.missing.is_empty(), link.extra.is_empty()) {
        (true, _, _) => Verdict::Inverted,
        (_, true, true) => Verdict::Intact,
        (_, false, true) => Verdict::Lossy,
        (_, true, false) => Verdict::Noisy,
        (_, false, false) => Verdict::LossyNoisy,
    };
    if let (true, Some(late)) = (far.is_turned, far.late) {
        link.far_end = FarEnd::Late(late.delay);
    }
}

/// Every pulse is missing; what the far end shows instead is extra, unless another line, or a delay, explains it.
fn judge_dead(link: &mut Link, (from, to): (&Line, &Line), follows: Option<Source>, late: Option<LateFit>) {
    link.missing = pulses_of(from, active_level(from));
    link.sent = link.missing.len();
    if link.sent == 0 {
        // Nothing was sent, so nothing can have been lost: what the far end shows is extra.
        link.extra = pulses_of(to, active_level(to));
        link.verdict = if link.extra.is_empty() {
            Verdict::NothingSent
        } else {
            Verdict::Noisy
        };
        return;
    }
    link.far_end = match follows {
        Some(f) => FarEnd::Follows {
            line: f.line,
            inverted: f.inverted,
        },
        None => rest_of(to),
    };
    if link.far_end == FarEnd::Unexplained {
        match late {
            Some(late) => link.far_end = FarEnd::Late(late.delay),
            None => link.extra = pulses_of(to, active_level(to)),
        }
    }
}

/// Ticks of one sample of the coarser end, at least one.
fn quantum(from: &Line, to: &Line) -> f64 {
    from.sample_ticks.max(to.sample_ticks).max(1.0)
}

/// Allowed differences far − sent: slightly negative for thresholds and sampling, up to the longest delay.
fn range_of(capture: &Capture, option: &LinkOptions, quantum: f64) -> (i64, i64) {
    /// Thresholds of two probes may tell the same edge apart by as much.
    const SKEW_S: f64 = 5e-9;
    let slack = capture.timebase.ticks_of(SKEW_S).max(2.0 * quantum);
    let longest = match option.max_delay {
        Some(ticks) => ticks.0 as f64,
        None => capture.timebase.ticks_of(DEFAULT_MAX_DELAY_S).max(4.0 * quantum),
    };
    (-slack.ceil() as i64, (longest + quantum).ceil() as i64)
}

/// The level of the line's pulses: the one it has for the smaller part of the time.
/// Cost: linear in edges.
pub fn active_level(line: &Line) -> Level {
    let (mut low, mut high) = (0i128, 0i128);
    for segment in line.segments() {
        let (mut at, mut level) = (segment.span.start, segment.first);
        for edge in line.edges[segment.edges]
            .iter()
            .copied()
            .chain([segment.span.end])
        {
            match level {
                Level::Low => low += (edge - at).0 as i128,
                _ => high += (edge - at).0 as i128,
            }
            (at, level) = (edge, level.inverted());
        }
    }
    if high <= low { Level::High } else { Level::Low }
}

fn pulses_of(line: &Line, level: Level) -> Vec<EndPulse> {
    let pulses = line.pulses().filter(|p| p.level == level);
    pulses
        .map(|p| EndPulse {
            start: p.start,
            end: p.end,
            level,
        })
        .collect()
}

/// What a line that carries nothing known does.
fn rest_of(line: &Line) -> FarEnd {
    let length: i64 = line.span.length().0;
    let floating = line.stretches.iter().filter(|s| s.kind == StretchKind::Floating);
    let floating: i64 = floating.map(|s| s.span.length().0).sum();
    if floating * 2 > length {
        FarEnd::Floating
    } else if line.edges.is_empty() {
        FarEnd::Stuck(line.first)
    } else {
        FarEnd::Unexplained
    }
}
