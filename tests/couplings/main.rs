//! Who is accused of strays, and who is not, on captures whose truth is known.

#[path = "../common/command.rs"]
mod command;
#[path = "../common/dice.rs"]
mod dice;
#[path = "../common/inspected.rs"]
mod inspected;
#[path = "../common/outcome.rs"]
mod outcome;
#[path = "../common/pulsed.rs"]
mod pulsed;

mod coincidence;
mod contacts;
mod forbidden;
mod inseparable;
mod volts_dips;
mod volts_levels;
mod which_way;
