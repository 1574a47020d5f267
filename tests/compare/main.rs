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
mod chance;
mod conditions;
mod contacts;
mod levels;
mod lines;
mod rails;
mod sampling;
mod sent;

/// What `compare` says of two captures, each a file's name and its text, under a setup.
fn compared(before: (&str, &str), after: (&str, &str), setup: &str) -> serde_json::Value {
    let words = [
        "compare",
        "--before",
        before.0,
        "--after",
        after.0,
        "--setup",
        "setup.toml",
    ];
    command::json_of(&[before, after, ("setup.toml", setup)], &words)
}
