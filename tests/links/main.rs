//! One signal seen at two places, from outside by the command line.

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

mod buses;
mod declared;
mod proposed;
