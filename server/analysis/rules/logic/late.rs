//! Outputs that come right, but later than the rule allows: a slow part, a loaded output, or too short a settling time.
//!
//! What is late is wrong at the start of a stretch of still inputs and right at its end, unless the inputs move again before. What
//! is broken otherwise stays wrong as long as the inputs stand still.

use crate::model::Ticks;

/// Of the contradicting stretches, the part that lateness must explain: the others may hold a glitch of the inputs' own.
const NEARLY_ALL: f64 = 0.95;
/// Stretches that must be seen to come right: one or two may be chance.
const FEWEST_RIGHT: usize = 3;
/// A part later than this many times its settling time is not called slow: what mends itself so late is a contact.
const MOST_SETTLES: f64 = 100.0;

/// How one contradicting stretch of still inputs went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stretch {
    pub length: Ticks,
    /// From its start to the last moment at which the outputs were wrong; as long as the stretch where they never came right.
    pub wrong_for: Ticks,
    /// The outputs were wrong when the settling time was over; else they left the right value later.
    pub wrong_when_due: bool,
}

/// Outputs that come right, only too late.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Late {
    /// The longest time, after the inputs' last edge, that the outputs took to come right.
    pub up_to: Ticks,
    /// Contradicting stretches (of those kept) at whose end they were right; the others ended before that.
    pub right_in_the_end: u64,
    pub cut_short: u64,
}

/// Whether nearly all `stretches` are wrong only for a while after the inputs' edges. `settle`: ticks.
pub(super) fn late(stretches: &[Stretch], settle: f64) -> Option<Late> {
    let comes_right = |s: &&Stretch| s.wrong_for < s.length;
    let due = stretches.iter().filter(comes_right).filter(|s| s.wrong_when_due);
    let within = MOST_SETTLES * settle.max(1.0);
    let times = due.map(|s| s.wrong_for).filter(|t| t.0 as f64 <= within);
    let up_to = times.max()?;
    let right = stretches
        .iter()
        .filter(|s| s.wrong_for < s.length && s.wrong_for <= up_to)
        .count();
    let cut_short = stretches
        .iter()
        .filter(|s| s.wrong_for == s.length && s.length <= up_to)
        .count();
    let is_most = (right + cut_short) as f64 >= NEARLY_ALL * stretches.len() as f64;
    (is_most && right >= FEWEST_RIGHT).then_some(Late {
        up_to,
        right_in_the_end: right as u64,
        cut_short: cut_short as u64,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretch(length: i64, wrong_for: i64) -> Stretch {
        Stretch {
            length: Ticks(length),
            wrong_for: Ticks(wrong_for),
            wrong_when_due: true,
        }
    }

    #[test]
    fn what_comes_right_in_the_end_is_late_and_what_stays_wrong_is_not() {
        let slow: Vec<Stretch> = (0..20)
            .map(|i| stretch(1000, 80 + 3 * i))
            .chain([stretch(60, 60)])
            .collect();
        let told = late(&slow, 50.0).map(|l| (l.up_to.0, l.right_in_the_end, l.cut_short));
        assert_eq!(told, Some((137, 20, 1)));
        let lasting: Vec<Stretch> = slow
            .iter()
            .copied()
            .chain([stretch(1000, 1000), stretch(900, 900)])
            .collect();
        assert_eq!(late(&lasting, 50.0), None);
    }

    #[test]
    fn what_mends_itself_long_after_is_not_called_slow() {
        let contact: Vec<Stretch> = (0..20).map(|i| stretch(100_000, 20_000 + i)).collect();
        assert_eq!(late(&contact, 50.0), None);
    }
}
