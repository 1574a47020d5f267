//! What a capture is. Uses std and serde, and nobody else in the crate.

mod capture;
mod column;
mod level;
mod line;
mod time;
mod trace;
pub mod units;

pub use capture::{Bus, Capture, Format, NotLogic, Warning};
pub use column::Column;
pub use level::{Level, Polarity};
pub use line::{Line, Pulse, Segment, Source, Stretch, StretchKind};
pub use time::{Ticks, TimeSpan, Timebase};
pub use trace::{Thresholds, Trace, TraceSamples};
