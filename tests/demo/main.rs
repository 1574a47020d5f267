//! The demo: that it is what it says, and that what it plants is found.

#[path = "../common/truth.rs"]
mod truth;

mod files;
mod planted;
