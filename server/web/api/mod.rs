//! The interface for programs: JSON, and columns of numbers for the diagram.

pub mod clocks;
pub mod compare;
pub mod diagram;
pub mod evidence;
pub mod harness;
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
