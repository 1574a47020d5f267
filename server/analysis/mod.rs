//! Pure functions over sorted times; knows model and rule only.

pub mod rules;
pub mod stats;
