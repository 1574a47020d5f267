//! What a victim's volts tell beyond its edges, where it was captured as volts.
//!
//! | in the order of use | |
//! | --- | --- |
//! | `samples` | volts near a moment |
//! | `heights` | whether strays stop short of the line's other level, which no gate's pulse does |
//! | `moved` | how far the victim moves after each edge of an accused line: at all of them alike, or not at all where it is not struck |

pub mod heights;
pub mod moved;
pub(super) mod samples;
