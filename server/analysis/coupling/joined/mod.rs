//! All levels of a victim, and several victims, taken together; what is said of them.
//!
//! | in the order of use | |
//! | --- | --- |
//! | `established` | a line that some strays convict is the likelier cause of the others |
//! | `standing` | from verdicts to what is not captured, what is a gate's, which rows lose their standing |
//! | `pulls`, `leads`, `together` | what several levels or victims tell only together: what pulls a line, a shared lead, lines struck at once |
//! | `other_edge` | the other edge of a convicted line, beside the victim's own edges |
//! | `causes` | causes of the strays left out, once it is known who strikes |
//! | `each_other` | two hand controls that set each other off |
//! | `few` | rows with too few strikes to accuse anybody |

pub(super) mod causes;
pub mod each_other;
pub(super) mod established;
pub mod few;
pub(super) mod leads;
pub(super) mod other_edge;
mod pulls;
pub(super) mod standing;
pub(in crate::analysis::coupling) mod together;
