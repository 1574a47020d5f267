//! What would make nearly all steps right where the rule as declared does not.

use super::Seen;
use super::Tale;
use super::step::{Kind, Rule};

/// One explanation that fits all steps better than the rule as declared does.
#[derive(Clone, Debug, PartialEq)]
pub enum Suspicion {
    OtherWay,
    /// The bits are in reverse order.
    Reversed,
    /// Two bits are swapped (positions from the least significant, 0).
    Swapped(usize, usize),
    /// One bit never moves, and all is well in the others.
    Stuck(usize),
}

/// A suspicion must explain this share of the steps; the rule as declared must explain less than [`SPOILT`].
/// No source: round numbers that leave room for a few steps spoilt by strays.
pub const EXPLAINS: f64 = 0.95;
const SPOILT: f64 = 0.8;

/// The one explanation that fits nearly all steps, where the rule as declared does not.
pub(super) fn suspicion(rule: &Rule, seen: &Seen, tale: &Tale, still: u64) -> Option<(Suspicion, u64)> {
    if tale.steps == 0 || (tale.steps - tale.wrong) as f64 >= SPOILT * tale.steps as f64 {
        return None;
    }
    let needed = (EXPLAINS * tale.steps as f64).ceil() as u64;
    let fits = |map: &dyn Fn(u64) -> u64, rule: &Rule, ignore: u64| -> u64 {
        let right = seen.iter().filter(|(t, _)| {
            let (before, after) = (map(t.before), map(t.after));
            let input = if rule.kind == Kind::Load {
                map(t.input)
            } else {
                t.input
            };
            (rule.expected(before, input) ^ after) & !ignore == 0
        });
        right.map(|(_, n)| n.all).sum()
    };
    let same = |v: u64| v;
    let bits = rule.bits;
    if let Some(other) = rule.other_way() {
        let n = fits(&same, &other, 0);
        if n >= needed {
            return Some((Suspicion::OtherWay, n));
        }
    }
    // Loading moves no bit, so only what comes out of it can be permuted.
    if rule.kind == Kind::Load {
        let n = seen
            .iter()
            .filter(|(t, _)| reverse(t.after, bits) == t.input)
            .map(|(_, n)| n.all)
            .sum();
        if n >= needed {
            return Some((Suspicion::Reversed, n));
        }
        for (i, j) in (0..bits).flat_map(|i| (i + 1..bits).map(move |j| (i, j))) {
            let n = seen
                .iter()
                .filter(|(t, _)| swap(t.after, i, j) == t.input)
                .map(|(_, n)| n.all)
                .sum();
            if n >= needed {
                return Some((Suspicion::Swapped(i, j), n));
            }
        }
    } else if bits > 1 {
        let n = fits(&|v| reverse(v, bits), rule, 0);
        if n >= needed {
            return Some((Suspicion::Reversed, n));
        }
        for (i, j) in (0..bits).flat_map(|i| (i + 1..bits).map(move |j| (i, j))) {
            let n = fits(&|v| swap(v, i, j), rule, 0);
            if n >= needed {
                return Some((Suspicion::Swapped(i, j), n));
            }
        }
    }
    for bit in (0..bits).filter(|b| still >> b & 1 == 1) {
        let n = fits(&same, rule, 1 << bit);
        if n >= needed && bits > 1 {
            return Some((Suspicion::Stuck(bit), n));
        }
    }
    None
}

fn reverse(value: u64, bits: usize) -> u64 {
    value.reverse_bits() >> (64 - bits)
}

fn swap(value: u64, i: usize, j: usize) -> u64 {
    let differ = (value >> i ^ value >> j) & 1;
    value ^ (differ << i | differ << j)
}
