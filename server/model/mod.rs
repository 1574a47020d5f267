//! What a capture is. Uses std and serde, and nobody else in the crate.

mod capture;
mod column;
mod family;
mod level;
mod line;
mod table;
mod tally;
mod time;
mod trace;
pub mod units;
pub mod vcd_notes;

pub use capture::{Bus, Capture, Format, NO_TIME_UNIT, NotLogic, Warning};
pub use column::Column;
pub use family::{FAMILIES, Family};
pub use level::{Level, Polarity};
pub use line::{Judged, Line, Pulse, Runt, Segment, Source, Stretch, StretchKind};
pub use table::{ColumnKind, TableForm};
pub use tally::{Tally, TallyRun};
pub use time::{Ticks, TimeSpan, Timebase, gcd};
pub use trace::{PyramidLevel, Thresholds, Trace, TraceSamples};
