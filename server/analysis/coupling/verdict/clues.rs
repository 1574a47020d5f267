//! What shows that an accused line is more likely a part of what strikes than what strikes, with its counts.

use crate::analysis::coupling::in_volts::moved::{Moved, Shows};
use crate::analysis::coupling::{Coupling, Edge};

/// Edges, and those of them that bring a stray.
pub type Count = (u64, u64);

/// One such sign. Lines are positions in the capture.
#[derive(Clone, Debug, PartialEq)]
pub enum Clue {
    /// Strikes at successive edges are fewer than chance has them ([`super::succession`]).
    KeepsDistance {
        line: usize,
        edge: Edge,
        together: u64,
        expected: f64,
    },
    /// In volts the victim stays still after the edges that bring no stray (`in_volts::moved`).
    StaysStill { line: usize, edge: Edge, moved: Moved },
    /// It strikes otherwise beside more than `at_most` other lines than beside fewer ([`super::company`]).
    Crowd {
        line: usize,
        edge: Edge,
        at_most: usize,
        few: Count,
        many: Count,
    },
    /// It strikes at one level of another line and hardly at the other ([`super::trials`]).
    Level {
        line: usize,
        edge: Edge,
        other: usize,
        low: Count,
        high: Count,
    },
    /// It strikes where it shows a short pulse itself, and hardly elsewhere (likewise).
    StruckItself {
        line: usize,
        edge: Edge,
        short: Count,
        lasting: Count,
    },
    /// It strikes where it had rested for at least `bound` ticks before the edge, and hardly elsewhere, or the other way round
    /// ([`super::which_edges`]).
    Rested {
        line: usize,
        edge: Edge,
        bound: i64,
        short: Count,
        long: Count,
    },
    /// It strikes at one of every `step` of its edges, and hardly at the others (likewise).
    EveryFew {
        line: usize,
        edge: Edge,
        step: usize,
        here: Count,
        others: Count,
    },
    /// Strays begin `by` ticks and more before its edges ([`super::too_early`]).
    TooEarly {
        line: usize,
        edge: Edge,
        early: u64,
        by: i64,
    },
    /// The lags of its strikes, from `least` to `most`, scatter by more than an edge lasts ([`super::scattered`]).
    Scattered {
        line: usize,
        edge: Edge,
        least: i64,
        most: i64,
    },
    /// Strays come at its moment of the step without it ([`super::phase`]).
    StepWithout { line: usize },
    /// Strays that nobody accused explains keep the accused's lag to other lines ([`super::rest`]).
    RestKeepsStep,
    /// Several strike no oftener together than one of them does.
    AsOne { lines: Vec<usize> },
    /// Strays keep one lag to it whether or not the other switches as well, or seen from it those of the other do
    /// ([`super::one_lag`]).
    OneLag { line: usize, other: usize },
    /// Some come after its opposite edges at the lag of its strikes (likewise).
    OppositeEdges { line: usize, edge: Edge },
    /// Its rises and its falls both pull one way.
    OneWay { line: usize },
}

impl Clue {
    /// The accused line that it is about; `None` where it is about all.
    pub fn accused(&self) -> Option<usize> {
        match self {
            Clue::KeepsDistance { line, .. }
            | Clue::StaysStill { line, .. }
            | Clue::Crowd { line, .. }
            | Clue::Level { line, .. }
            | Clue::StruckItself { line, .. }
            | Clue::Rested { line, .. }
            | Clue::EveryFew { line, .. }
            | Clue::TooEarly { line, .. }
            | Clue::Scattered { line, .. }
            | Clue::StepWithout { line }
            | Clue::OneLag { line, .. }
            | Clue::OppositeEdges { line, .. }
            | Clue::OneWay { line } => Some(*line),
            Clue::RestKeepsStep | Clue::AsOne { .. } => None,
        }
    }

    /// What a row's volts show against it.
    pub(super) fn of_volts(row: &Coupling) -> Option<Clue> {
        let moved = row.moved.filter(|moved| moved.shows == Some(Shows::StaysStill))?;
        Some(Clue::StaysStill {
            line: row.aggressor,
            edge: row.edge,
            moved,
        })
    }
}
