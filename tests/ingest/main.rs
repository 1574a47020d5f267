//! Reading: captures as instruments, people and other programs write them.

// A reader's error carries file, place, found and expected, and ends the reading: its size costs nothing.
#![allow(clippy::result_large_err)]

mod edges_of_files;
mod files;
mod grids;
mod hands;
mod heading_rows;
mod limits;
mod overruled;
mod paths;
mod reading;
mod stated;
mod streams;
mod tables;
mod times;
