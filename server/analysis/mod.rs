//! Pure functions over sorted times; knows model only.

pub mod stats;
