//! Edgewitness: a capture of a hand-wired logic machine goes in, the culprit comes out.
//!
//! One way through: bytes → [`ingest`] → [`model::Capture`] → [`analysis`] → [`report`] → [`web`] or [`cli`].
//! Arrows point one way: `cli` and `web` know [`workflow`]; `workflow` joins [`ingest`], [`setup`], [`harness`],
//! [`analysis`], [`report`], [`export`] and [`store`]. These know [`model`], which knows nobody; [`setup`] and
//! [`analysis`] also know [`rule`], [`export`] and [`store`] also know [`report`], and [`harness`] knows nobody.
//!
//! | module | what it is for |
//! | --- | --- |
//! | [`model`] | what a capture is: timebase, lines, edges as sorted columns, levels, buses |
//! | [`ingest`] | bytes → capture: VCD (IEEE 1364) and CSV as instruments write them |
//! | [`rule`] | what a person may demand of lines, as declared: limits, sequences, logic, rails |
//! | [`setup`] | the TOML setup file → checked settings, each mistake with its place |
//! | [`harness`] | the harness sheet: which signal is on which pin, beside what; probe advice |
//! | [`analysis`] | pure functions over sorted times: strays, couplings, links, statistics, findings |
//! | [`report`] | the JSON shapes that scripts may rely on, and their plain-text form |
//! | [`export`] | captures and reports in forms that other programs read: VCD, CSV, JSON, Parquet |
//! | [`store`] | captures and reports on disk: originals by digest, edge columns, what was said about them |
//! | [`workflow`] | inspect and friends: the only place that joins the modules above |
//! | [`web`] | the pages and the interface for programs, on the user's own machine |
//! | [`cli`] | the command line |
//! | [`demo`] | the simulated machine with planted faults that the demo and the tests use |

// A reader's error carries file, place, found and expected, and ends the reading: its size costs nothing.
#![allow(clippy::result_large_err)]

pub mod analysis;
pub mod cli;
#[path = "../demo/mod.rs"]
pub mod demo;
#[cfg(test)]
#[path = "../tests/common/dice.rs"]
mod dice;
pub mod export;
pub mod harness;
pub mod ingest;
pub mod model;
pub mod report;
pub mod rule;
pub mod setup;
pub mod store;
pub mod web;
pub mod workflow;
