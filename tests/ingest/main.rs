//! Reading: captures as instruments, people and other programs write them.

mod edges_of_files;
mod files;
mod grids;
mod hands;
mod limits;
mod overruled;
mod paths;
mod reading;
mod stated;
mod streams;
mod tables;
mod times;
