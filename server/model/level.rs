//! Levels of a digital line, and the two polarities of an edge.

use serde::{Deserialize, Serialize};

/// Level of a line: low, high, unknown (x), floating (z).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    Low,
    High,
    Unknown,
    Floating,
}

impl Level {
    /// Low or high.
    pub fn is_known(self) -> bool {
        matches!(self, Level::Low | Level::High)
    }

    /// Low for high and the other way round; unknown and floating stay.
    pub fn inverted(self) -> Level {
        match self {
            Level::Low => Level::High,
            Level::High => Level::Low,
            other => other,
        }
    }

    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Level::Low => "low",
            Level::High => "high",
            Level::Unknown => "unknown",
            Level::Floating => "floating",
        }
    }
}

/// Polarity of an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Polarity {
    Rise,
    Fall,
}

impl Polarity {
    /// The other one.
    pub fn opposite(self) -> Polarity {
        match self {
            Polarity::Rise => Polarity::Fall,
            Polarity::Fall => Polarity::Rise,
        }
    }

    /// The polarity of an edge that leads to `level`; `None` unless the level is low or high.
    pub fn towards(level: Level) -> Option<Polarity> {
        match level {
            Level::High => Some(Polarity::Rise),
            Level::Low => Some(Polarity::Fall),
            _ => None,
        }
    }

    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Polarity::Rise => "rise",
            Polarity::Fall => "fall",
        }
    }
}
