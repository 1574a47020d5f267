//! What titles count: every stray that is listed of a line, those beside the line's own edges among them.
//!
//! Beside an edge of the line's own it can't be told how many strays a neighbour might have caused, so rates leave these
//! strays out. The list of strays has them all, and so have titles; what a rate leaves out is said.

use super::words::count_of;
use crate::analysis::coupling::Attribution;
use crate::analysis::strays::{StrayKind, Strays};

/// Strays that are listed of the line, bounce aside. Cost: linear in these.
pub fn listed(strays: &Strays, line: usize) -> u64 {
    let of_line = strays.of_line(line).iter();
    of_line.filter(|s| s.kind != StrayKind::Bounce).count() as u64
}

/// Strays of a coupling's victim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tally {
    /// Put down to the coupling: those of its rate, and `beside`.
    pub put_down: u64,
    /// Put down to it and left out of the rate, most of them beside edges of the victim's own.
    pub beside: u64,
    /// Likewise, as they come behind another stray of the same edge.
    pub again: u64,
    /// Listed at the struck levels, and what else is put down to it.
    pub of: u64,
}

impl Tally {
    /// Counts the strays of the coupling at position `at`. Cost: linear in the victim's strays.
    pub fn of(strays: &Strays, attribution: &Attribution, at: usize) -> Tally {
        let coupling = &attribution.couplings[at];
        let first = strays.strays.partition_point(|s| s.line < coupling.victim);
        let (mut with_cause, mut again, mut of) = (0, 0, 0);
        for (i, stray) in strays.of_line(coupling.victim).iter().enumerate() {
            let cause = attribution.causes.get(first + i).copied().flatten();
            let is_its = cause.is_some_and(|cause| cause.coupling == at);
            with_cause += u64::from(is_its);
            again += u64::from(is_its && attribution.again.binary_search(&(first + i)).is_ok());
            let is_listed = stray.kind != StrayKind::Bounce && coupling.levels.contains(&stray.level);
            of += u64::from(is_its || is_listed);
        }
        let put_down = with_cause.max(coupling.strays);
        Tally {
            put_down,
            beside: (put_down - coupling.strays).saturating_sub(again),
            again,
            of: of.max(put_down),
        }
    }

    /// What the title counts beyond the rate.
    pub fn says(&self, victim: &str) -> Option<String> {
        let beside = (self.beside > 0).then(|| {
            format!(
                "{} came at the same delay beside edges of {victim}'s own, and {} in the title, not in the rate.",
                count_of(self.beside, "more stray"),
                if self.beside == 1 { "is" } else { "are" }
            )
        });
        let again = (self.again > 0).then(|| {
            format!(
                "{} came at a later time after its edges, as what comes back from the far end of a wire or swings on does, and {} in the title, not in the rate: it counts each edge once.",
                count_of(self.again, "more stray"),
                if self.again == 1 { "is" } else { "are" }
            )
        });
        let told: Vec<String> = beside.into_iter().chain(again).collect();
        (!told.is_empty()).then(|| told.join(" "))
    }
}

/// Strays of the line that came behind another of the same edge or event: who did that one did them. Cost: linear in these.
pub fn again(strays: &Strays, attribution: &Attribution, line: usize) -> u64 {
    let of = attribution.again.iter();
    of.filter(|&&at| strays.strays[at].line == line).count() as u64
}

/// What is said where of `all` listed strays only `judged` could be asked about.
pub fn beside_own(all: u64, judged: u64, victim: &str) -> Option<String> {
    let left = all.saturating_sub(judged);
    (left > 0).then(|| {
        format!(
            "{} more of its {} {} beside edges of {victim}'s own, and tell{} nothing of the cause.",
            left,
            count_of(all, "stray pulse"),
            if left == 1 { "lies" } else { "lie" },
            if left == 1 { "s" } else { "" },
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::{CouplingOptions, attribute};
    use crate::analysis::findings;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    #[test]
    fn titles_count_the_strays_that_are_listed_those_beside_own_edges_among_them() {
        let span = TimeSpan::new(Ticks(0), Ticks(250_000));
        let step = |k: i64| 10_000 * (k + 1);
        // 12 dips of CLEAR_N by themselves, and 4 that leave 24 ticks of the level after a pulse of its own.
        let mut clear: Vec<[i64; 2]> = (0..12)
            .map(|k| [step(k) + 14 + k % 3, step(k) + 44 + k % 3 + 6 * (k % 3)])
            .collect();
        for k in 13..17 {
            clear.push([step(k) - 400, step(k) - 10]);
            clear.push([step(k) + 14, step(k) + 44]);
        }
        let line = |name: &str, pulses: Vec<[i64; 2]>| {
            let edges = pulses.into_iter().flatten().map(Ticks).collect();
            Line::digital(name, Level::High, edges, span)
        };
        let steps = (0..20).map(|k| [step(k), step(k) + 3_000]).collect();
        let capture =
            Capture::in_nanoseconds("beside", span, vec![line("CLEAR_N", clear), line("STEP", steps)]);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let strays = find(&capture, &options);
        let attribution = attribute(&capture, &strays, &CouplingOptions::default());
        assert!(
            strays
                .strays
                .iter()
                .all(|s| s.level == Level::Low && [30, 36, 42].contains(&s.width.0))
        );
        let expected = Tally {
            put_down: 16,
            beside: 4,
            again: 0,
            of: 16,
        };
        assert_eq!(attribution.couplings[0].strays, 12);
        assert_eq!(Tally::of(&strays, &attribution, 0), expected);
        let told = findings::of(&capture, &strays, &attribution).remove(0);
        assert_eq!(told.title, "CLEAR_N: 16 of 16 stray pulses follow STEP falling");
        assert!(
            told.detail.starts_with("12 of ") && told.detail.contains("4 more strays came at the same delay"),
            "{}",
            told.detail
        );
    }

    #[test]
    fn what_could_not_be_asked_about_is_said() {
        assert_eq!(beside_own(12, 12, "CLEAR_N"), None);
        assert_eq!(
            beside_own(30, 29, "CLEAR_N").unwrap(),
            "1 more of its 30 stray pulses lies beside edges of CLEAR_N's own, and tells nothing of the cause."
        );
    }
}
