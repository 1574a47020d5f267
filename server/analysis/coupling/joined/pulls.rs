//! Which way strikes pull a victim, all its levels together.

use super::leads::shares_a_lead;
use super::standing::Judged;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::verdict::never_alone::against;
use crate::analysis::coupling::{Coupling, Edge};
use crate::model::Level;

/// Strike rates of both ways differ by no more than this factor: else the lesser is a straggler of something else.
const ALIKE: f64 = 6.0;

/// Strays at each level from which on it is said that they pull both ways.
const FEWEST_EACH_WAY: u64 = 3;

/// The line and polarity whose edges seem to lift the victim where it is low and to dip it where it is high, after the
/// same lag. What an edge induces has one sign (it follows dV/dt or dI/dt; Paul, *Introduction to Electromagnetic
/// Compatibility*, chapter 9): pulls both ways come from a line that rises at some of these edges and falls at others. Not so
/// where one lead carries several victims at once: a ground or supply that jumps rings, and shows low lines high and high ones
/// low.
pub fn both_ways(victim: &Victim, judged: &[Judged]) -> Option<(usize, Edge)> {
    let rows: Vec<&Coupling> = judged
        .iter()
        .filter(|j| j.victim.line == victim.line)
        .flat_map(|j| &j.rows)
        .filter(|row| row.strays >= FEWEST_EACH_WAY)
        .collect();
    let near = |a: &Coupling, b: &Coupling| {
        a.lag.low - victim.unit <= b.lag.high + victim.unit
            && b.lag.low - victim.unit <= a.lag.high + victim.unit
    };
    let opposed = |a: &&&Coupling| {
        let same = rows
            .iter()
            .filter(|b| (b.aggressor, b.edge) == (a.aggressor, a.edge));
        let alike = |b: &Coupling| a.strike_rate.estimate <= ALIKE * b.strike_rate.estimate;
        same.clone()
            .any(|b| b.levels != a.levels && near(a, b) && alike(b))
    };
    let found = rows.iter().find(opposed)?;
    (!shares_a_lead(found, judged)).then_some((found.aggressor, found.edge))
}

/// The lines that seem to lift the victim as they fall and others that seem to dip it as they rise, the strongest of each. A
/// line without a probe that rises where the first falls and falls where the second rises pulls each way as capacitance does, which
/// is likelier than that two lines strike one victim against their edges.
pub fn against_both_ways(line: usize, judged: &[Judged]) -> Option<[(usize, Edge); 2]> {
    let of = |level: Level| -> Option<Vec<&Coupling>> {
        let levels = judged.iter();
        let levels = levels.filter(|j| j.victim.line == line && j.victim.level == level);
        let rows: Vec<(&Victim, &Coupling)> = levels
            .flat_map(|j| j.rows.iter().map(|row| (j.victim, row)))
            .collect();
        let are_against = rows.iter().all(|(victim, row)| against(victim, row).is_some());
        (are_against && !rows.is_empty()).then(|| rows.into_iter().map(|(_, row)| row).collect())
    };
    let (lifted, dipped) = (of(Level::High)?, of(Level::Low)?);
    let is_shared = |row: &&Coupling| dipped.iter().any(|other| other.aggressor == row.aggressor);
    if lifted.iter().any(is_shared) {
        return None;
    }
    let strongest = |rows: &[&Coupling]| {
        let row = rows.iter().max_by_key(|row| row.strays)?;
        Some((row.aggressor, row.edge))
    };
    Some([strongest(&lifted)?, strongest(&dipped)?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::suspects::instants::Table;
    use crate::analysis::coupling::verdict::context::Verdict;

    /// What is said of a victim that `lifting` edges of line 1 lift and `dipping` ones of another line dip.
    fn told(lifting: Edge, dipping: (usize, Edge)) -> Option<[(usize, Edge); 2]> {
        let rest = Rest { start: 0, end: 9_000 };
        let low = fixtures::victim(0, Vec::new(), vec![rest]);
        let high = Victim {
            level: Level::Low,
            ..low.clone()
        };
        let judged = |victim, line, edge| Judged {
            victim,
            table: Table::default(),
            rows: vec![fixtures::row([0, line], edge, 20, Vec::new(), 90)],
            verdict: Verdict::Captured,
        };
        let judged = [judged(&low, 1, lifting), judged(&high, dipping.0, dipping.1)];
        against_both_ways(0, &judged)
    }

    #[test]
    fn two_lines_that_each_strike_against_their_edges_may_be_one_without_a_probe() {
        let both = Some([(1, Edge::Fall), (2, Edge::Rise)]);
        assert_eq!(told(Edge::Fall, (2, Edge::Rise)), both);
        assert_eq!(told(Edge::Rise, (2, Edge::Rise)), None, "one pulls its own way");
        assert_eq!(told(Edge::Fall, (1, Edge::Rise)), None, "one line, magnetically");
    }
}
