//! The JSON shapes that scripts may rely on, one file a schema, and their plain-text form.
//!
//! Fields may be added; none that stands here may change its name, unit or meaning. Times are seconds on the
//! first capture's clock, never rounded below the capture's own resolution. Shapes only: workflow fills them.

pub mod align;
pub mod compare;
pub mod doubts;
mod identity;
pub mod inspect;
pub mod lines;
pub mod rails;
pub mod rules;
mod shared;
pub mod text;

pub use identity::stems;
pub use shared::{CaptureRow, Interval, Median};
