//! Transparent latches: while the enable is open the output must have its data's level once the data have rested for the settling
//! time; while it is shut the output must keep what it has.
//!
//! One occasion is one stretch of the enable at one level, for each bit. A stretch too short for the settling time is not judged:
//! a stray on the enable opens the latch as a real pulse does, and is told as a stray.

mod bit;

use super::Names;
use super::reach;
use super::tally::Tally;
use crate::rule::Latch;

use bit::Bit;

/// Of the data's changes while the latch is shut, the part that the output must follow before it is taken for open; and how many
/// such changes there must be.
const FOLLOWS: f64 = 0.9;
const FEWEST_MOVES: u64 = 3;

/// How a latch went, all bits together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Held {
    /// Positions in the capture, as many outputs as data.
    pub outputs: Vec<usize>,
    pub data: Vec<usize>,
    pub enable: usize,
    /// Stretches in which the enable was open that were judged, and those in which the output did not follow.
    pub open: u64,
    pub open_wrong: u64,
    /// Stretches in which it was shut, and those in which the output did not keep its level.
    pub shut: u64,
    pub shut_wrong: u64,
    /// Stretches shorter than the settling time.
    pub too_short: u64,
    /// Changes away from the kept level while it was shut, in wrong stretches.
    pub slips: u64,
    /// Of these: to the level that the data had just then; to the other one (neither where the data moved just then); within the
    /// settling time after a change of the data; and those after which the level came back before the enable opened.
    pub to_data: u64,
    pub to_other: u64,
    pub after_data: u64,
    pub came_back: u64,
    /// Changes of the data while it was shut, with time for the output to follow; and those that it followed.
    pub moves: u64,
    pub followed: u64,
    /// Whether any output moved at all.
    pub moved: bool,
    /// What the latch does instead, all the time.
    pub as_if: Option<Instead>,
}

/// A fault that lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instead {
    /// The output follows whatever the enable's level is.
    AlwaysOpen,
    /// The output never moves.
    AlwaysShut,
    /// It follows while the enable should keep it shut, and keeps while it should follow.
    OpensAtOther,
}

impl Held {
    /// What the counts say of a fault that lasts.
    fn instead(&self) -> Option<Instead> {
        let follows_shut = self.moves >= FEWEST_MOVES && self.followed as f64 >= FOLLOWS * self.moves as f64;
        let keeps_open = 2 * self.open_wrong > self.open;
        match () {
            () if !self.moved && self.open_wrong >= FEWEST_MOVES => Some(Instead::AlwaysShut),
            () if follows_shut && keeps_open => Some(Instead::OpensAtOther),
            () if follows_shut => Some(Instead::AlwaysOpen),
            () => None,
        }
    }
}

/// Checks one latch. Cost: edges of its lines × log of those of one.
pub(super) fn check(names: &mut Names, latch: &Latch) -> Option<(Tally, Held)> {
    let capture = names.capture;
    let outputs = names.all(&latch.outputs);
    let data = names.all(&latch.data);
    let (enable, _) = names.line(&latch.enable)?;
    let (outputs, data) = (outputs?, data?);
    if outputs.len() != data.len() {
        names.missing.push(format!(
            "as many data lines as outputs (found {} and {})",
            data.len(),
            outputs.len()
        ));
        return None;
    }
    let settle = reach::limit_ticks(&capture.timebase, latch.settle_s);
    let mut held = Held {
        enable,
        ..Held::default()
    };
    let finest = outputs
        .iter()
        .chain(&data)
        .chain([&enable])
        .map(|&line| capture.lines[line].sample_ticks)
        .fold(0.0, f64::max);
    let mut tally = Tally::new(Default::default(), finest);
    for (&output, &data) in outputs.iter().zip(&data) {
        let bit = Bit::new(capture, [output, data, enable], latch.open_at, settle);
        bit.check(&mut tally, &mut held);
    }
    (held.outputs, held.data) = (outputs, data);
    held.as_if = held.instead();
    tally.sort();
    Some((tally, held))
}
