//! The interface for programs: JSON, and columns of numbers for the diagram.

pub mod clocks;
pub mod compare;
pub mod diagram;
pub mod harness;
pub mod links;
pub mod log;
pub mod openapi;
pub mod rules;
pub mod sessions;
pub mod transfer;
pub mod upload;
pub mod windows;
