//! What a person demands of lines, judged: limits, sequences, parts, rails, and what is said of them.

mod expression;
mod judged;
mod latch;
mod limits;
mod logic;
mod rails;
mod sentences;
mod sequence;
