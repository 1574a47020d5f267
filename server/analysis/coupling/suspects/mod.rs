//! Whom to ask, and when: victims, the moments at which strays could show, and edges that are no evidence.
//!
//! | in the order of use | |
//! | --- | --- |
//! | `able`, `places`, `victims` | own edges without strays; which strays lie beside them or behind another; each line at each level at which it shows strays, and when it could |
//! | `instants` | moments at which lines switched, and who did |
//! | `sweep`, `left_out` | what each suspect's edges could have struck, and which of them lie beside the victim's own |
//! | `downstream`, `not_brought` | edges of one polarity that the victim brings about, and what speaks against it |
//! | `effects` | what strays bring about, seen beside an accused line's edges |
//! | `reacting` | lines that the victim clocks |
//! | `excused` | strays that follow the accused where the victim was switching |
//! | `unrecorded` | strays while the accused was not recorded |

pub mod able;
pub(super) mod downstream;
pub(super) mod effects;
pub(super) mod excused;
pub(super) mod instants;
pub(super) mod left_out;
mod not_brought;
pub mod places;
pub(super) mod reacting;
pub(super) mod sweep;
pub(super) mod unrecorded;
pub mod victims;
