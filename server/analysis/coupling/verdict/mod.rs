//! Is it the accused, or what it goes along with? One victim level at a time.
//!
//! | in the order of use | |
//! | --- | --- |
//! | `known` | what is asked of one level's rows, before the verdict |
//! | `clues`, `company`, `trials`, `succession` | counts that show a part of what strikes: by company, by another line's level, by order |
//! | `which_edges` | strikes at some of its edges only: after a rest, at every few |
//! | `phase`, `rest` | strays at the accused's step or lag without it |
//! | `drift`, `untimely`, `too_early`, `scattered` | lags that drift, or that no coupling has |
//! | `never_alone` | strikes against their edge, along with edges of the same kind |
//! | `races`, `part_like`, `input` | a race of the victim's own logic |
//! | `clocked` | strays begin as the victim's own long pulses do |
//! | `one_lag` | two causes that keep one lag; rises and falls of one line |
//! | `parts`, `toggled` | a gated copy, or what something unseen toggles |
//! | `hazard` | a gate that glitches as its captured inputs switch |
//! | `context`, `stories`, `rival_models`, `dose` | the verdict: a captured line, a hidden one, or how many switch at once, told on the same instants |
//! | `alone` | accused whose edges come at times of their own, apart from the doubt |
//! | `hints` | whom too few strays point to |

pub(super) mod alone;
mod clocked;
pub mod clues;
mod company;
pub(super) mod context;
pub(super) mod dose;
mod drift;
mod hazard;
pub mod hints;
mod input;
mod known;
pub mod never_alone;
pub(super) mod one_lag;
mod part_like;
pub mod parts;
mod phase;
pub mod races;
mod rest;
pub(super) mod rival_models;
mod scattered;
pub(super) mod stories;
mod succession;
mod toggled;
mod too_early;
pub(super) mod trials;
pub mod untimely;
mod which_edges;
