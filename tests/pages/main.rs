//! The pages and the interface for programs, asked as a browser asks.

#[path = "../common/bench.rs"]
mod bench;
#[path = "../common/dice.rs"]
mod dice;
#[path = "../common/evening.rs"]
mod evening;
#[path = "../common/pulsed.rs"]
mod pulsed;
#[path = "../common/sample.rs"]
mod sample;
#[path = "../common/supply.rs"]
mod supply;

mod assumed;
mod bench_log;
mod brought;
mod carillon;
mod clocks;
mod compare_clocks;
mod comparing;
mod deepest;
mod described;
mod diagram;
mod doubts;
mod held_of_findings;
mod interface;
mod judged_pulses;
mod light;
mod links;
mod next_capture;
mod one_clock;
mod one_trouble;
mod reading;
mod report;
mod rules_form;
mod several_runs;
mod stale;
mod struck;
mod taken_over;
mod unreadable;
