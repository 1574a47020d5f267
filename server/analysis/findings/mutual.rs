//! Two contacts that strike each other: one finding instead of two that mirror each other.
//!
//! Wires side by side strike both ways as well as one; but contacts share a return, and often a pull-up's supply, and what
//! one draws through it as it closes shows on the other. That both ways show it is the best of the evidence, and each of
//! two findings would tell half of it.

use super::coupling::{figures, last, name};
use super::words::{count_of, edges_word};
use super::{CAUTION, Finding};
use crate::analysis::coupling::{Attribution, Coupling, Edge};
use crate::analysis::stats::intervals::CONFIDENCE;
use crate::analysis::stats::power::clean_opportunities;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Polarity};

/// Findings that name a line as what strikes another.
const OF_STRIKES: [&str; 2] = ["coupling", "uncaptured-cause"];

/// Joins the findings on pairs of contacts that strike each other, in place of the worse or the first of the two.
pub(super) fn join(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    findings: &mut Vec<Finding>,
) {
    let is_contact = |line: usize| strays.bursts.iter().any(|burst| burst.line == line);
    let row = |victim: usize, aggressor: usize| {
        let mut rows = attribution.couplings.iter();
        rows.find(|row| (row.victim, row.aggressor) == (victim, aggressor))
    };
    let pairs = attribution.couplings.iter().filter_map(|one| {
        let (a, b) = (one.victim, one.aggressor);
        let is_pair = a < b && is_contact(a) && is_contact(b);
        is_pair.then_some(())?;
        Some([one, row(b, a)?])
    });
    let pairs: Vec<[&Coupling; 2]> = pairs.collect();
    for pair in pairs {
        let told = pair.map(|row| {
            let lines = [name(capture, row.victim), name(capture, row.aggressor)];
            let is_it = |f: &Finding| OF_STRIKES.contains(&f.topic) && f.lines == lines;
            findings.iter().position(is_it)
        });
        let [Some(one), Some(other)] = told else {
            continue;
        };
        let is_first = (findings[one].severity, one) <= (findings[other].severity, other);
        let (kept, dropped, rows) = match is_first {
            true => (one, other, pair),
            false => (other, one, [pair[1], pair[0]]),
        };
        let (title, detail, try_next) = both_ways(capture, strays, rows);
        let finding = &mut findings[kept];
        (finding.title, finding.detail, finding.try_next) = (title, detail, try_next);
        findings.remove(dropped);
    }
}

/// Title, detail and what to try. `rows`: the same two lines, each once the victim.
fn both_ways(capture: &Capture, strays: &Strays, rows: [&Coupling; 2]) -> (String, String, Vec<String>) {
    let [a, b] = [rows[0].victim, rows[1].victim].map(|line| name(capture, line));
    let edges = |row: &Coupling| match row.edge {
        Edge::Rise => edges_word(Polarity::Rise),
        Edge::Fall => edges_word(Polarity::Fall),
        Edge::Both => "edges",
    };
    let title = format!(
        "{a} and {b} strike each other: {} of {a} come with {} of {b}, {} of {b} with {} of {a}",
        count_of(rows[0].strays, "stray pulse"),
        edges(rows[0]),
        rows[1].strays,
        edges(rows[1]),
    );
    let way = |row: &Coupling| {
        let mut widths: Vec<i64> = row
            .occurrences
            .iter()
            .map(|o| strays.strays[o.stray].width.0)
            .collect();
        widths.sort_unstable();
        let last = last(capture, &widths).map_or(String::new(), |last| format!(" {last}"));
        format!(
            "{} by {}: {}.{last}",
            name(capture, row.victim),
            name(capture, row.aggressor),
            figures(capture, row)
        )
    };
    let detail = format!(
        "{} {} Both bounce as contacts do. What they share does this both ways: a return or 0 V wire that they have in common, \
         the supply of their pull-ups, or wires that run side by side. A line that carries no clip and switches with both would \
         look the same.",
        way(rows[0]),
        way(rows[1])
    );
    let proof = rows.map(|row| clean_opportunities(row.strike_rate.low.max(1e-6), CONFIDENCE));
    let proof = match proof {
        [Some(one), Some(other)] => format!(
            ": {one} clean {} of {b} and {other} clean {} of {a} would settle it",
            edges(rows[0]),
            edges(rows[1])
        ),
        _ => String::new(),
    };
    let try_next = vec![
        format!(
            "First the return: with the power off give {a} and {b} a second ground wire from the 0 V pin of the board that reads \
             them, or each a return of its own, and repeat{proof}. If the strays of both go, it was the common return."
        ),
        format!(
            "If they stay: lead the wires of {a} and {b} apart, each with its own return beside it, and repeat; a stronger pull-up \
             at what reads them helps either way."
        ),
        "If that does not help either: put a spare channel on what else switches with these contacts, a lamp or a coil on the \
         same panel, and on the supply of the pull-ups."
            .to_owned(),
        CAUTION.to_owned(),
    ];
    (title, detail, try_next)
}

#[cfg(test)]
mod tests {
    use super::super::of;
    use super::*;
    use crate::analysis::coupling::{Standing, fixtures};
    use crate::analysis::findings::Severity;
    use crate::analysis::strays::{Burst, LimitOrigin, NarrowLimit};
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// What is told of PLAY and STOP, each of which strikes the other; those of the first `contacts` bounce.
    fn told(contacts: usize, standing: [Standing; 2]) -> Vec<Finding> {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::High, vec![], span);
        let capture = Capture::in_nanoseconds("panel", span, ["PLAY", "STOP"].map(line).to_vec());
        let open = NarrowLimit {
            low: None,
            high: None,
            origin: LimitOrigin::None,
        };
        let burst = |line| Burst {
            line,
            edges: 0..4,
            start: Ticks(0),
            end: Ticks(9),
            settled: Level::Low,
        };
        let strays = Strays {
            limits: vec![open; 2],
            sampling: vec![1.0; 2],
            bursts: (0..contacts).map(burst).collect(),
            ..Strays::default()
        };
        let row = |victim: usize, standing| Coupling {
            strays: 31 + 5 * victim as u64,
            standing,
            ..fixtures::row([victim, 1 - victim], Edge::Both, 35, Vec::new(), 200)
        };
        let attribution = Attribution {
            couplings: vec![row(0, standing[0]), row(1, standing[1])],
            ..Attribution::default()
        };
        let mut all = of(&capture, &strays, &attribution);
        all.retain(|f| f.topic != "bounce");
        all
    }

    #[test]
    fn two_contacts_that_strike_each_other_are_one_finding() {
        let found = told(2, [Standing::Clear; 2]);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(
            found[0].title,
            "PLAY and STOP strike each other: 31 stray pulses of PLAY come with edges of STOP, 36 of STOP with edges of PLAY"
        );
        assert_eq!(
            (found[0].severity, &found[0].lines[..]),
            (Severity::Fault, &["PLAY".to_owned(), "STOP".to_owned()][..])
        );
        assert!(found[0].try_next[0].contains("second ground wire"), "{found:?}");
    }

    #[test]
    fn lines_that_don_t_bounce_and_strikes_one_way_are_told_as_ever() {
        assert_eq!(told(1, [Standing::Clear; 2]).len(), 2);
        assert_eq!(told(2, [Standing::Clear, Standing::Companion]).len(), 1);
        assert!(
            !told(2, [Standing::Clear, Standing::Companion])[0]
                .title
                .contains("each other")
        );
    }
}
