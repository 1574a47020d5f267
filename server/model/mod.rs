//! What a capture is. Uses std and serde, and nobody else in the crate.

mod capture;
mod column;
mod level;
mod line;
mod tally;
mod time;
mod trace;
pub mod units;

pub use capture::{Bus, Capture, Format, NotLogic, Warning};
pub use column::Column;
pub use level::{Level, Polarity};
pub use line::{Judged, Line, Pulse, Runt, Segment, Source, Stretch, StretchKind};
pub use tally::{Tally, TallyRun};
pub use time::{Ticks, TimeSpan, Timebase};
pub use trace::{PyramidLevel, Thresholds, Trace, TraceSamples};
