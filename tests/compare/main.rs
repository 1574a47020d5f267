//! Before and after, from outside by the command line.

#[path = "../common/command.rs"]
mod command;
#[path = "../common/dice.rs"]
mod dice;
#[path = "../common/machine_runs.rs"]
mod machine_runs;
#[path = "../common/outcome.rs"]
mod outcome;
#[path = "../common/pulsed.rs"]
mod pulsed;

mod advice;
mod conditions;
mod levels;
mod lines;
mod rails;
mod sampling;
mod sent;
