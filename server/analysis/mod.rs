//! Pure functions over sorted times; knows model and rule only.

pub mod align;
pub mod compare;
pub mod coupling;
pub mod findings;
pub mod links;
pub mod merged;
pub mod parallel;
pub mod rails;
pub mod rules;
pub mod seek;
pub mod stats;
pub mod strays;
pub mod stretch;
pub mod volts;
pub mod waveform;
