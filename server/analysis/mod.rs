//! Pure functions over sorted times; knows model and rule only.
//!
//! | module | what it asks |
//! | --- | --- |
//! | [`strays`] | which pulses of a line are not the line's own job |
//! | [`coupling`] | whose edges cause them, how often, and how sure that is |
//! | [`links`] | whether what leaves here arrives there |
//! | [`rules`], [`rails`] | whether what a person declared holds |
//! | [`levels`] | whether volts stand where a part can read them |
//! | [`align`] | how one instrument's clock lies to another's |
//! | [`compare`] | whether a fix made a difference |
//! | [`findings`] | how what was found is said; links, rules and rails word their own |
//! | [`seek`], [`stretch`] | where something is, and what a stretch of time holds, for the diagram |
//! | [`waveform`], [`volts`] | what samples in volts say (IEEE Std 181) |
//! | [`stats`], [`merged`], [`parallel`] | tools: exact statistics, a walk over all edges, all cores |

pub mod align;
pub mod compare;
pub mod coupling;
pub mod findings;
pub mod levels;
pub mod links;
mod merged;
pub mod parallel;
pub mod rails;
pub mod rules;
pub mod seek;
pub mod stats;
pub mod strays;
pub mod stretch;
pub mod volts;
pub mod waveform;
