//! The interface for programs: JSON, and columns of numbers for the diagram.

pub mod diagram;
pub mod sessions;
pub mod windows;
