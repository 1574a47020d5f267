//! A part that follows its data while its enable is at one level and keeps what it has while it is at the other.

use crate::model::Level;

/// A transparent latch, bit by bit.
#[derive(Clone, Debug, PartialEq)]
pub struct Latch {
    /// Lines; one name may be a bus.
    pub outputs: Vec<String>,
    /// As many, in the same order.
    pub data: Vec<String>,
    pub enable: String,
    /// The enable's level while the outputs follow.
    pub open_at: Level,
    /// How long an output may take to follow, and to come to rest once the enable has shut.
    pub settle_s: f64,
}
