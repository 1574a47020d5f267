//! What the command line says of lines of drawn pulses.

use serde_json::Value;

use super::command::json_of;
use super::pulsed::{Lines, vcd};

/// What `edgewitness inspect` says of these lines under a setup.
pub fn inspect(lines: &Lines, setup: &str) -> Value {
    inspect_text(&vcd(lines), setup)
}

/// The same for a capture as VCD.
pub fn inspect_text(capture: &str, setup: &str) -> Value {
    json_of(
        &[("a.vcd", capture), ("s.toml", setup)],
        &["inspect", "a.vcd", "--setup", "s.toml"],
    )
}

/// A link from OUT to IN, as a setup declares it.
pub const LINK: &str = "[[link]]\nfrom = \"OUT\"\nto = \"IN\"\nmax_delay = \"200 ns\"\n";
