//! The interface for programs: JSON, and columns of numbers for the diagram.
//!
//! Every handler fails with a [`Failure`](super::error::Failure): what was asked wrongly (400), what is not there (404), and
//! the disk's own (500), each as a sentence. Their doc comments name what else is refused.

pub mod clocks;
pub mod compare;
pub mod diagram;
pub mod evidence;
pub mod harness;
mod line_names;
pub mod links;
pub mod log;
pub mod marks;
pub mod openapi;
pub mod reading;
pub mod rules;
pub mod seek;
pub mod sessions;
pub mod transfer;
pub mod upload;
pub mod windows;
