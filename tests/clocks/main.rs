//! Several instruments, each on a clock of its own, from outside by the command line.

#[path = "../common/dice.rs"]
mod dice;
#[path = "../common/outcome.rs"]
mod outcome;
#[path = "../common/supply.rs"]
mod supply;

mod alignment;
mod joined;
