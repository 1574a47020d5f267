//! The pages and the interface for programs.
