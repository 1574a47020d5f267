//! What is no stray though it is short: a line's own job, or a burst of another kind.
//!
//! | in the order of use | |
//! | --- | --- |
//! | `answering` | before an own edge that answers another line |
//! | `set_off` | what a line does as it is told, by another line's stray |
//! | `crowds`, `crowds_settled`, `apart`, `scatter`, `part_signs` | short pulses that fill a level: parted from its job by a gap, by how they scatter, or by signs of a part |
//! | `whole_pulses`, `crowd_parts` | crowds that another line's whole pulses bring; the shorter part of a crowd |
//! | `mirrored` | strays of the other level, after what strikes is switched back |
//! | `answers`, `let_through`, `turns` | a line's job: one after each edge of another, let through by a gate, or in turns with long ones |
//! | `own`, `register`, `begun_late` | begun as the line's long ones are, as those of a register are; the same long after a clock |
//! | `majority` | most of a level, and nobody brings them: asked about, or sent over a link |
//! | `taken_out` | what is a line's own, out of the strays |
//! | `slices` | a level between two strays, taken for one |
//! | `echo` | at one time after the line's own edges |

pub(super) mod answering;
pub mod answers;
mod apart;
pub(super) mod begun_late;
mod crowd_parts;
pub mod crowds;
pub(super) mod crowds_settled;
pub mod echo;
mod let_through;
pub mod majority;
pub(super) mod mirrored;
pub mod own;
mod part_signs;
pub(super) mod register;
mod scatter;
pub(super) mod set_off;
pub(super) mod slices;
pub(super) mod taken_out;
mod turns;
pub(super) mod whole_pulses;

/// A pulse that what follows can read is no shorter, in seconds: flip-flops of the TTL families are specified for pulses of
/// 20 to 40 ns and more (from memory of their data books), and what is built to be read leaves a margin.
pub const USEFUL_S: f64 = 36e-9;
