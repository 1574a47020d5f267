//! Strikes that keep to some stretches of the record, where the accused's edges do not.

use super::coupling::{edges_of, name};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::runs::runs;
use crate::model::{Capture, Level, Polarity};

/// Strikes that say something, and standard deviations by which runs of edges that strike, and of such that don't, are fewer
/// than chance has them.
const FEWEST: usize = 20;
const RUNS: f64 = 5.0;
/// Tenths of the accused's edges that hold this share of the strikes, and the most tenths that are a stretch.
const SHARE: f64 = 0.8;
const MOST_TENTHS: usize = 4;

/// A sentence where the strikes of a row keep to stretches; of one level, as only then it is plain which edges could have struck. Cost:
/// linear in the edges of both lines.
pub fn told(capture: &Capture, c: &Coupling) -> Option<String> {
    let [level] = c.levels.as_slice() else {
        return None;
    };
    let outcomes = outcomes(capture, c, level.inverted());
    let struck = outcomes.iter().filter(|hit| **hit).count();
    if struck < FEWEST || runs(&outcomes, 0.0)? > -RUNS {
        return None;
    }
    let tenths = (0..10).map(|tenth| {
        let part = &outcomes[outcomes.len() * tenth / 10..outcomes.len() * (tenth + 1) / 10];
        part.iter().filter(|hit| **hit).count()
    });
    let mut tenths: Vec<usize> = tenths.collect();
    tenths.sort_unstable_by(|a, b| b.cmp(a));
    let mut held = 0;
    let needed = tenths.iter().position(|of_tenth| {
        held += of_tenth;
        held as f64 >= SHARE * struck as f64
    })? + 1;
    let aggressor = name(capture, c.aggressor);
    (needed <= MOST_TENTHS).then(|| {
        format!(
            "They keep to stretches: {held} of {struck} come in {} of {aggressor}'s {}. So something besides {aggressor} decides when it strikes: a loose contact, a part that lets go of {} then, or a line without a probe that moves along with {aggressor} only then.",
            if needed == 1 { "a tenth".to_owned() } else { format!("{needed} tenths") },
            edges_of(c.edge),
            name(capture, c.victim)
        )
    })
}

/// Whether each of the row's edges that found the victim at `rest` struck, in order.
fn outcomes(capture: &Capture, c: &Coupling, rest: Level) -> Vec<bool> {
    let (line, victim) = (&capture.lines[c.aggressor], &capture.lines[c.victim]);
    let mut struck: Vec<i64> = c.occurrences.iter().map(|o| o.at).collect();
    struck.sort_unstable();
    let (mut level, mut next, mut of_victim) = (line.first, 0, victim.first);
    let mut outcomes = Vec::new();
    for edge in line.edges.iter() {
        level = level.inverted();
        while victim.edges.get(next).is_some_and(|own| own < edge) {
            of_victim = of_victim.inverted();
            next += 1;
        }
        let is_meant = match c.edge {
            Edge::Both => true,
            Edge::Rise => Polarity::towards(level) == Some(Polarity::Rise),
            Edge::Fall => Polarity::towards(level) == Some(Polarity::Fall),
        };
        let hit = struck.binary_search(&edge.0).is_ok();
        if is_meant && (hit || of_victim == rest) {
            outcomes.push(hit);
        }
    }
    outcomes
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::fixtures;
    use crate::analysis::findings;
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    /// NOTE_STB rises 400 times; PEG is lifted 12 ticks after those of `struck`.
    fn said(struck: impl Fn(i64) -> bool) -> String {
        let span = TimeSpan::new(Ticks(0), Ticks(4_100_000));
        let (mut strobe, mut peg) = (Vec::new(), Vec::new());
        for n in 0..400i64 {
            let at = 10_000 * n + 5_000 + 97 * (n % 9);
            strobe.extend([at, at + 2_000 + 61 * (n % 7)]);
            if struck(n) {
                peg.extend([at + 12, at + 34 + n * 7 % 17]);
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("NOTE_STB", strobe), line("PEG", peg)];
        let capture = Capture::in_nanoseconds("stretches", span, lines.clone());
        let (strays, attribution) = fixtures::attributed(lines, 4_100_000, &[(1, 60.0)]);
        findings::of(&capture, &strays, &attribution)[0].detail.clone()
    }

    #[test]
    fn strikes_in_stretches_are_told_so() {
        let told = said(|n| (n / 40 == 2 || n / 40 == 7) && n * 37 % 101 < 60);
        assert!(
            told.contains("They keep to stretches: ") && told.contains("2 tenths of NOTE_STB's rises"),
            "{told}"
        );
        let told = said(|n| n * 37 % 101 < 12);
        assert!(!told.contains("stretches"), "{told}");
    }
}
