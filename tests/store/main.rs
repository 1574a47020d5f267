//! The data folder: what is kept in it, and how much of it there may be.

#[path = "../common/evenings.rs"]
mod evenings;

mod kept;
mod years;
