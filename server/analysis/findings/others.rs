//! Who else is struck by the accused, and who else strikes its victim: what that points to.

use super::coupling::{name, names};
use super::words::list;
use crate::analysis::coupling::{Attribution, Coupling, Standing};
use crate::model::Capture;

/// One line of each coupling that is meant; ascending, each once.
fn lines_of(
    attribution: &Attribution,
    is_meant: impl Fn(&&Coupling) -> bool,
    line: impl Fn(&Coupling) -> usize,
) -> Vec<usize> {
    let meant = attribution.couplings.iter().filter(is_meant);
    let lines: std::collections::BTreeSet<usize> = meant.map(line).collect();
    lines.into_iter().collect()
}

/// The other lines that the same edges of the accused are found to strike, as a list.
pub(super) fn also_struck(capture: &Capture, attribution: &Attribution, c: &Coupling) -> Option<String> {
    let is_other = |other: &&Coupling| {
        (other.aggressor, other.edge) == (c.aggressor, c.edge)
            && other.victim != c.victim
            && other.standing == Standing::Clear
    };
    let others = lines_of(attribution, is_other, |other| other.victim);
    (!others.is_empty()).then(|| list(&names(capture, &others)))
}

/// "STEP and BEAT strike it": the other lines that are found to strike the victim.
pub(super) fn also_striking(capture: &Capture, attribution: &Attribution, c: &Coupling) -> Option<String> {
    let is_other = |other: &&Coupling| {
        other.victim == c.victim && other.aggressor != c.aggressor && other.standing == Standing::Clear
    };
    let others = lines_of(attribution, is_other, |other| other.aggressor);
    match others.len() {
        0 => None,
        1 => Some(format!("{} strikes it", name(capture, others[0]))),
        _ => Some(format!("{} strike it", list(&names(capture, &others)))),
    }
}

#[cfg(test)]
mod tests {
    use super::super::coupling::of;
    use super::*;
    use crate::analysis::coupling::{Edge, fixtures};
    use crate::analysis::strays::{LimitOrigin, NarrowLimit, Strays};
    use crate::model::{Level, Line, Ticks, TimeSpan};

    #[test]
    fn the_same_edges_that_strike_two_lines_point_to_what_these_share() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let lines = ["CLEAR_N", "LOAD_N", "LIFT"].map(line).to_vec();
        let capture = Capture::in_nanoseconds("both", span, lines);
        let told = |second: Edge| {
            let row = |victim, edge| fixtures::row([victim, 2], edge, 10, Vec::new(), 30);
            let attribution = Attribution {
                couplings: vec![row(0, Edge::Fall), row(1, second)],
                ..Attribution::default()
            };
            of(&capture, &unlimited(3), &attribution).remove(0)
        };
        let same = told(Edge::Fall);
        assert!(
            same.detail.contains("The same falls strike LOAD_N as well"),
            "{}",
            same.detail
        );
        assert!(
            same.try_next
                .iter()
                .any(|step| step.contains("a coil or a motor"))
        );
        assert!(!told(Edge::Rise).detail.contains("as well"));
    }

    #[test]
    fn a_line_that_several_strike_may_be_the_weak_one() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let lines = ["CLEAR_N", "STEP", "LIFT"].map(line).to_vec();
        let capture = Capture::in_nanoseconds("weak", span, lines);
        let told = |others: &[usize]| {
            let row = |aggressor| fixtures::row([0, aggressor], Edge::Fall, 10, Vec::new(), 30);
            let attribution = Attribution {
                couplings: others.iter().map(|&aggressor| row(aggressor)).collect(),
                ..Attribution::default()
            };
            of(&capture, &unlimited(3), &attribution).remove(0)
        };
        let weak = told(&[1, 2]);
        assert!(weak.detail.contains("LIFT strikes it too"), "{}", weak.detail);
        assert!(
            weak.try_next
                .iter()
                .any(|step| step.contains("meter CLEAR_N's level"))
        );
        assert!(!told(&[1]).detail.contains("strikes it too"));
    }

    /// No strays, of lines without a limit.
    fn unlimited(lines: usize) -> Strays {
        let open = NarrowLimit {
            low: None,
            high: None,
            origin: LimitOrigin::None,
        };
        Strays {
            limits: vec![open; lines],
            sampling: vec![1.0; lines],
            ..Strays::default()
        }
    }
}
