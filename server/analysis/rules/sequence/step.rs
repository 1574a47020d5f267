//! One step of a bus: what it should be by the rule, and what happened instead.

use crate::model::Line;

/// What a bus did where it should have stepped by its rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Instead {
    /// Counted, or shifted, in the other direction.
    OtherWay,
    /// Did the step twice.
    Twice,
    /// Kept its value.
    NotAtAll,
    /// Became 0.
    Cleared,
    /// Right but for one bit (position from the least significant, 0) that never moves.
    BitStuck(usize),
    /// Right but for one bit.
    BitWrong(usize),
    Other,
    /// Stepped as it should, and again before the next strobe.
    Unbidden,
}

/// What a step needs beside the value before it.
pub(super) struct Rule {
    /// Bits of the bus, and a word with as many ones.
    pub bits: usize,
    pub mask: u64,
    /// A counter runs from 0 to one less; `None`: to all ones.
    pub modulus: Option<u64>,
    pub kind: Kind,
}

/// What the rule does to the value.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Up,
    Down,
    /// Up while the input has this value, else down.
    UpAt(u64),
    Left,
    Right,
    Load,
    Hold,
    Clear,
}

/// The value before the strobe, the value it brought in (serial bit or loaded value), and the value after.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Taken {
    pub before: u64,
    pub input: u64,
    pub after: u64,
}

impl Rule {
    /// The value after a step from `before`; `input` is the serial bit (0 or 1) or the value to load.
    pub fn expected(&self, before: u64, input: u64) -> u64 {
        let last = self.modulus.map_or(self.mask, |m| m - 1);
        match self.kind {
            Kind::UpAt(up) if input == up => Rule {
                kind: Kind::Up,
                ..*self
            }
            .expected(before, input),
            Kind::UpAt(_) => Rule {
                kind: Kind::Down,
                ..*self
            }
            .expected(before, input),
            Kind::Up if before >= last => 0,
            Kind::Up => before + 1,
            Kind::Down if before == 0 => last,
            Kind::Down => before - 1,
            Kind::Left => ((before << 1) & self.mask) | input,
            Kind::Right => (before >> 1) | (input << (self.bits - 1)),
            Kind::Load => input,
            Kind::Hold => before,
            Kind::Clear => 0,
        }
    }

    /// The same rule in the other direction; `None` where there is no direction.
    pub fn other_way(&self) -> Option<Rule> {
        let kind = match self.kind {
            Kind::Up => Kind::Down,
            Kind::Down => Kind::Up,
            Kind::UpAt(up) => Kind::UpAt(1 - up),
            Kind::Left => Kind::Right,
            Kind::Right => Kind::Left,
            _ => return None,
        };
        Some(Rule { kind, ..*self })
    }

    /// Names a wrong step; `still` has a 1 for each bit of the bus that never moves. Such a bit is the first
    /// explanation, one wrong bit the last.
    pub fn instead(&self, taken: Taken, still: u64) -> Instead {
        let Taken { before, input, after } = taken;
        let expected = self.expected(before, input);
        let moves = !matches!(self.kind, Kind::Hold | Kind::Clear | Kind::Load);
        let wrong = after ^ expected;
        if wrong.is_power_of_two() && wrong & still != 0 {
            return Instead::BitStuck(wrong.trailing_zeros() as usize);
        }
        if after == before {
            return Instead::NotAtAll;
        }
        if self
            .other_way()
            .is_some_and(|other| other.expected(before, input) == after)
        {
            return Instead::OtherWay;
        }
        if moves && self.expected(expected, input) == after {
            return Instead::Twice;
        }
        if after == 0 {
            return Instead::Cleared;
        }
        if wrong.is_power_of_two() {
            return Instead::BitWrong(wrong.trailing_zeros() as usize);
        }
        Instead::Other
    }
}

/// What happened instead, as part of a sentence.
pub fn instead_words(instead: Instead, lines: &[Line], bus: &[usize]) -> String {
    let name = |bit: usize| {
        bus.iter()
            .rev()
            .nth(bit)
            .map_or("?", |&i| lines[i].name.as_str())
            .to_owned()
    };
    match instead {
        Instead::OtherWay => "it went the other way".to_owned(),
        Instead::Twice => "it stepped twice".to_owned(),
        Instead::NotAtAll => "it did not step at all".to_owned(),
        Instead::Cleared => "it was cleared".to_owned(),
        Instead::BitStuck(bit) => format!("{} did not follow; it never moves", name(bit)),
        Instead::BitWrong(bit) => format!("{} alone is wrong", name(bit)),
        Instead::Other => "it jumped".to_owned(),
        Instead::Unbidden => "it moved on without a strobe".to_owned(),
    }
}
