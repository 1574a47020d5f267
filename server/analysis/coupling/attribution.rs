//! What attribution finds: couplings, causes, and what is said instead of an accusation.

use std::collections::BTreeMap;

use super::in_volts::moved::Moved;
use super::joined::each_other;
use super::joined::together;
use super::legitimate::answers;
use super::legitimate::crowds;
use super::legitimate::echo;
use super::legitimate::majority;
use super::legitimate::own;
use super::verdict::clues;
use super::verdict::hints;
use super::verdict::never_alone;
use super::verdict::parts;
use super::verdict::races;
use super::verdict::untimely;
use crate::model::{Level, Polarity};

pub use super::fit::copies::CopyOf;
pub use super::fit::lags::LagHistogram;
pub use super::verdict::context::Contrast;

/// Polarity of the edges that strike.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edge {
    Rise,
    Fall,
    Both,
}

impl Edge {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Edge::Rise => "rise",
            Edge::Fall => "fall",
            Edge::Both => "both",
        }
    }
}

impl From<Polarity> for Edge {
    fn from(polarity: Polarity) -> Edge {
        match polarity {
            Polarity::Rise => Edge::Rise,
            Polarity::Fall => Edge::Fall,
        }
    }
}

/// How much a coupling claims.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// An accusation.
    Clear,
    /// Other captured lines fit the same strays as well.
    Inseparable,
    /// More likely a line not captured that switches along with this one.
    Companion,
}

impl Standing {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Clear => "clear",
            Standing::Inseparable => "inseparable",
            Standing::Companion => "companion",
        }
    }
}

/// An estimate with its 95 % interval, both ends closed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    pub estimate: f64,
    pub low: f64,
    pub high: f64,
}

/// One strike: an aggressor's edge and the stray it caused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Occurrence {
    /// Time of the aggressor's edge in ticks.
    pub at: i64,
    pub polarity: Polarity,
    /// Position in [`Strays::strays`](crate::analysis::strays::Strays::strays).
    pub stray: usize,
    /// Stray's start minus edge, in ticks.
    pub lag: i64,
}

/// A suspect that was considered and cleared, with the counts that clear it.
#[derive(Clone, Debug, PartialEq)]
pub struct RuledOut {
    pub line: usize,
    pub edge: Edge,
    /// Strays that follow it in all, and those that follow it and not the accused.
    pub strays: u64,
    pub strays_alone: u64,
    /// Its opportunities in all, and those at which the accused did not switch.
    pub opportunities: u64,
    pub opportunities_alone: u64,
}

/// A line whose edges go with a victim's strays.
#[derive(Clone, Debug)]
pub struct Coupling {
    pub victim: usize,
    pub aggressor: usize,
    pub edge: Edge,
    /// Levels of the strays.
    pub levels: Vec<Level>,
    pub strays: u64,
    pub opportunities: u64,
    pub expected_by_chance: f64,
    pub p_value: f64,
    pub q_value: f64,
    pub strike_rate: Estimate,
    /// Strikes that sampling lets through are fewer: the estimated rate of all strikes, seen or not.
    pub corrected_rate: Option<f64>,
    /// In ticks.
    pub lag: Estimate,
    pub standing: Standing,
    pub inseparable_from: Vec<usize>,
    /// Those of these that switch along at one distance.
    pub copies: Vec<CopyOf>,
    /// Those of these whose own strays come before, which may pass them on.
    pub passed_on: Vec<usize>,
    /// Strays of the victim at these levels in all.
    pub victim_strays: u64,
    pub histogram: LagHistogram,
    pub occurrences: Vec<Occurrence>,
    /// Most tempting first.
    pub ruled_out: Vec<RuledOut>,
    /// Share of the strikes that ended with the aggressor's next edge: a bridge or short follows the pulse.
    pub follows_pulse: f64,
    /// A line whose edges go with nearly all of the victim's strays and of its own edges ([`races::step_of`]).
    pub step: Option<usize>,
    /// How far the victim moves after the edges, strikes and others, where its volts were captured and show anything.
    pub moved: Option<Moved>,
}

/// What caused a stray.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cause {
    /// Position in [`Attribution::couplings`].
    pub coupling: usize,
    pub polarity: Polarity,
    pub lag: i64,
}

/// Strays of one line that no captured line explains.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncaptured {
    pub victim: usize,
    /// Strays without a captured cause, of all the victim's strays.
    pub strays: u64,
    pub of: u64,
    /// Captured lines whose edges go with them in part.
    pub companions: Vec<usize>,
    /// What shows that the first of these does not strike by itself.
    pub contrast: Option<Contrast>,
    /// A line and polarity whose edges seem to pull the victim both ways, at one lag: no single edge does.
    pub both_ways: Option<(usize, Edge)>,
    /// A line that seems to lift the victim as it falls, and another that seems to dip it as it rises.
    pub against: Option<[(usize, Edge); 2]>,
    /// Another victim's strays that come with those that fit no captured line.
    pub together: Option<together::Together>,
    /// What shows that captured lines are only a part of it.
    pub part: Option<parts::Ground>,
    /// Lines that switch the accused's way as it strikes, which it may share a lead with.
    pub kind: Option<never_alone::Kind>,
    /// A line and its edges that come after the strays they would cause, or long before them.
    pub untimely: Option<untimely::Untimely>,
    /// A line and its edges after which strays come at lags that drift (`verdict::drift`).
    pub drifts: Option<(usize, Edge)>,
    /// What else shows captured lines to be only a part of it.
    pub clues: Vec<clues::Clue>,
    /// A line whose edges go with nearly all of the strays and of the victim's own edges ([`races::step_of`]).
    pub step: Option<usize>,
}

/// Strays that grow likelier with the number of lines that switch at once, or that one line's edges bring to several
/// victims at the same moments (then the curve is empty).
#[derive(Clone, Debug, PartialEq)]
pub struct SharedSupply {
    pub victims: Vec<usize>,
    pub lines: Vec<usize>,
    pub edge: Edge,
    /// For each number of lines that switched at once: instants and strays.
    pub curve: Vec<DosePoint>,
}

/// Strays that are the victim's own: it is a gate of captured lines that switch almost together.
#[derive(Clone, Debug, PartialEq)]
pub struct Hazard {
    pub victim: usize,
    pub inputs: Vec<usize>,
    /// Levels of the strays that it makes.
    pub levels: Vec<Level>,
    /// Strays that come where several of these switched, of all the victim's strays.
    pub strays: u64,
    pub of: u64,
}

/// Strays of one level of a victim that look like a race of its own logic.
#[derive(Clone, Debug, PartialEq)]
pub struct RaceOf {
    pub victim: usize,
    pub level: Level,
    pub strays: u64,
    pub race: races::Race,
}

/// One point of a dose curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DosePoint {
    /// How many lines switched at once.
    pub switched: usize,
    pub instants: u64,
    pub strays: u64,
}

/// Who did it.
#[derive(Clone, Debug, Default)]
pub struct Attribution {
    pub couplings: Vec<Coupling>,
    /// One a stray, in the order of [`Strays::strays`](crate::analysis::strays::Strays::strays); only clear couplings count as causes.
    pub causes: Vec<Option<Cause>>,
    /// Strays (ascending positions) beside an edge of their line's own that follow a line about which a doubt is left, as
    /// those that are counted do.
    pub beside: Vec<usize>,
    /// Strays (ascending positions) that came behind another, which the same edge brought or of whose event they are.
    pub again: Vec<usize>,
    pub uncaptured: Vec<Uncaptured>,
    pub shared: Vec<SharedSupply>,
    pub hazards: Vec<Hazard>,
    /// Strays that look like a race of their line's own logic.
    pub races: Vec<RaceOf>,
    /// Lines whose strays keep their distance to the line's own edges ([`super::judge::judge`]).
    pub echoes: Vec<echo::Echo>,
    /// Pairs of hand controls whose strays come after each other's edges ([`super::judge::judge`]).
    pub each_other: Vec<each_other::EachOther>,
    /// Positions of couplings with too few strays to accuse anybody, and how many are put down to them ([`few`](super::joined::few)).
    pub few: BTreeMap<usize, u64>,
    /// Of victims whose strays are too few to point to anybody alone.
    pub hints: Vec<hints::Hint>,
    /// Short pulses that were taken for a line's job ([`super::judge::judge`]).
    pub answers: Vec<answers::Answers>,
    /// Short pulses that begin as their line's long ones do (likewise).
    pub own: Vec<own::Own>,
    /// Short pulses of which nothing shows whether they are a line's job (likewise).
    pub unsure: Vec<crowds::Unsure>,
    /// Short pulses that a declared link carries, taken for what its line sends; filled by who knows the links.
    pub sent: Vec<majority::Sent>,
    /// Levels of lines whose pulses a person stated to be its job: nobody is asked about them.
    pub stated: Vec<(usize, Level)>,
    /// Pairs of victim level and suspect polarity that were tried.
    pub pairs_tried: usize,
}
