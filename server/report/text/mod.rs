//! Reports as text for a terminal, one file a schema; moments, emphasis and aligned tables for them.

mod align;
mod compare;
mod headline;
mod inspect;
mod lines;
mod moment;
mod style;
mod table;
pub mod taken_over;

pub use crate::model::units::{engineering, seconds};
pub use align::align_text;
pub use compare::compare_text;
pub use headline::{count_word, headline, headline_sentences};
pub use inspect::inspect_text;
pub use lines::lines_text;
pub use moment::{moment, moment_in};
pub use style::Style;
pub use table::{Align, Table, printable, wrapped};
