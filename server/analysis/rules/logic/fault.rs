//! Which single fault of a part would give what contradicts its expression, and nothing but that.
//!
//! A fault is put forward only where it gives another function, where that function has nearly all the wrong values, and where
//! nearly all stretches in which the two functions differ are wrong: a part that fails now and then has no such fault.

use super::{Expected, Function, Row};
use crate::model::Level;
use crate::rule::expression::value::mask;

/// Of the contradicting stretches, the part that a fault must explain.
const EXPLAINED: f64 = 0.95;
/// Of the stretches in which a fault would show, the part that may be right all the same.
const RIGHT_IN_SPITE: f64 = 0.05;

/// A single fault that would explain what contradicts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AsIf {
    /// An input (position in [`super::TruthTable::inputs`]) that the part always takes for one level.
    Stuck(usize, Level),
    Swapped(usize, usize),
    Inverted,
    /// The outputs never change from one value.
    Constant(u64),
}

/// The first single fault that explains nearly all that contradicts, and that nearly nothing right contradicts. Cost: rows ×
/// inputs².
pub(super) fn as_if(rows: &[Row], function: &Function, inputs: usize) -> Option<AsIf> {
    let wrong: u64 = rows.iter().map(|row| row.wrong).sum();
    if wrong == 0 {
        return None;
    }
    let all = mask(function.width);
    let explains = |fault: &dyn Fn(u64) -> Expected| {
        let (mut explained, mut right_in_spite) = (0u64, 0u64);
        for row in rows {
            let (expected, faulty) = (function.evaluate(row.inputs), fault(row.inputs));
            let differ = (expected.ones ^ faulty.ones) & expected.known & faulty.known != 0;
            for &(found, n) in &row.found {
                let is_faulty = (found ^ faulty.ones) & faulty.known == 0;
                match row.contradicts(found) {
                    true if is_faulty => explained += n,
                    false if differ && !is_faulty => right_in_spite += n,
                    _ => {}
                }
            }
        }
        explained as f64 >= EXPLAINED * wrong as f64
            && right_in_spite as f64 <= RIGHT_IN_SPITE * (explained + right_in_spite) as f64
    };
    let bit = |i: usize| 1u64 << (inputs - 1 - i);
    for i in 0..inputs {
        if explains(&|c| function.evaluate(c | bit(i))) {
            return Some(AsIf::Stuck(i, Level::High));
        }
        if explains(&|c| function.evaluate(c & !bit(i))) {
            return Some(AsIf::Stuck(i, Level::Low));
        }
    }
    for i in 0..inputs {
        for j in i + 1..inputs {
            let swapped = |c: u64| {
                let differ = (c & bit(i) != 0) != (c & bit(j) != 0);
                if differ { c ^ (bit(i) | bit(j)) } else { c }
            };
            if explains(&|c| function.evaluate(swapped(c))) {
                return Some(AsIf::Swapped(i, j));
            }
        }
    }
    let inverted = |c| {
        let expected = function.evaluate(c);
        Expected {
            ones: !expected.ones & all,
            ..expected
        }
    };
    if explains(&inverted) {
        return Some(AsIf::Inverted);
    }
    let first = rows.first()?.found.first()?.0;
    let constant = |c| Expected {
        ones: first,
        known: all,
        ..function.evaluate(c)
    };
    (rows.len() > 1 && explains(&constant)).then_some(AsIf::Constant(first))
}
