//! The command line: one file a command; clap's words, and what happens to them.
//!
//! Exit 0 when the command did its work, 1 when `--fail-on` says so, 2 when a word was wrong or something could
//! not be read or written: then one line on standard error says what, where and what to do.

mod align;
mod compare;
mod demo;
mod doctor;
mod export;
mod failure;
mod inspect;
mod lines;
mod output;
mod progress;
mod reading;
mod serve;
mod setup;

use std::process::ExitCode;

use clap::error::{ContextKind, ErrorKind};
use clap::{Parser, Subcommand};

pub use output::Output;
pub use progress::Bar;

const AFTER_HELP: &str = "\
A first evening:
  edgewitness demo carillon                      write the demo captures into a folder
  edgewitness inspect carillon/as-found.vcd --setup carillon/setup.toml
                                                 what is wrong, with the evidence
  edgewitness serve --demo                       the same in the browser

Working on a live machine: power off and wait before touching boards or wires; leave the mains side to a
licensed electrician; clip an earthed instrument's ground only to the machine's 0 V.";

/// Finds out which line of a hand-wired logic machine misbehaves, which neighbour induces it, whether a pulse
/// arrives, and whether a fix made a difference.
#[derive(Parser)]
#[command(name = "edgewitness", version, after_help = AFTER_HELP, disable_help_subcommand = true)]
struct Words {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    Inspect(inspect::Words),
    Lines(lines::Words),
    Export(export::Words),
    Compare(compare::Words),
    Align(align::Words),
    Serve(serve::Words),
    Setup(setup::Words),
    Doctor(doctor::Words),
    Demo(demo::Words),
}

/// Reads the arguments, runs one command, gives the exit code.
pub fn run() -> ExitCode {
    let words = match Words::try_parse() {
        Ok(words) => words,
        Err(error) => return wrong_words(&error),
    };
    let done = match words.command {
        Command::Inspect(words) => inspect::run(&words),
        Command::Lines(words) => lines::run(&words),
        Command::Export(words) => export::run(&words),
        Command::Doctor(words) => doctor::run(&words),
        Command::Compare(words) => compare::run(&words),
        Command::Align(words) => align::run(&words),
        Command::Serve(words) => serve::run(&words),
        Command::Setup(words) => setup::run(&words),
        Command::Demo(words) => demo::run(&words),
    };
    match done {
        Ok(code) => code,
        Err(error) if output::is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => fail(&failure::in_one_line(&error)),
    }
}

/// One line on standard error, exit code 2.
fn fail(message: &str) -> ExitCode {
    eprintln!("edgewitness: {}", one_line(message));
    ExitCode::from(2)
}

/// Help and version go to standard output; a wrong word is one line.
fn wrong_words(error: &clap::Error) -> ExitCode {
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            let _ = error.print();
            ExitCode::SUCCESS
        }
        ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            let _ = error.print();
            ExitCode::from(2)
        }
        _ => fail(&in_one_sentence(error)),
    }
}

/// What is wrong and what was meant: without the usage, for which there is `--help`.
fn in_one_sentence(error: &clap::Error) -> String {
    let text = error.render().to_string();
    let mut parts = text.split("\n\n").map(str::trim);
    let mut told = parts
        .next()
        .unwrap_or_default()
        .trim_start_matches("error: ")
        .to_owned();
    let word = error.get(ContextKind::InvalidArg).map(ToString::to_string);
    if word.is_some_and(|word| word == "--port" || word == "--host") {
        told.push_str("; address and port are one word here: --listen 127.0.0.1:PORT");
    } else {
        let tips = parts.flat_map(|part| {
            part.lines()
                .map(str::trim)
                .filter_map(|line| line.strip_prefix("tip: "))
        });
        tips.for_each(|tip| told.push_str(&format!("; {tip}")));
    }
    format!("{told}; --help tells all words")
}

/// Line breaks and runs of blanks become one blank; other control characters are shown as dots.
fn one_line(message: &str) -> String {
    let joined = message.split_whitespace().collect::<Vec<_>>().join(" ");
    crate::report::text::printable(&joined)
}
