//! The panel's key multiplexer: it should pass one of four keys, and one of its select pins was never soldered.
//!
//! An open input of this kind of logic reads high. So with SELECT_1 low the part passes the key that belongs to
//! SELECT_1 high: all lines look alive, and only the truth table shows what is wrong.

use super::instrument::{Recorded, Recording};
use super::random::Random;
use crate::model::Level;

/// Names of the part's inputs, as the expression uses them.
pub const INPUTS: [&str; 6] = ["SELECT_1", "SELECT_0", "KEY_A", "KEY_B", "KEY_C", "KEY_D"];
/// Name of its output.
pub const OUTPUT: &str = "KEY_OUT";
/// What the part must do, in the operators of IEEE Std 1364.
pub const MUST_BE: &str = "SELECT_1 ? (SELECT_0 ? KEY_D : KEY_C) : (SELECT_0 ? KEY_B : KEY_A)";
/// By then the output has followed its inputs, in nanoseconds.
pub const SETTLES_NS: f64 = 60.0;

const PERIOD_S: f64 = 10e-9;
const SAMPLES: i64 = 40_000;
/// Samples between two steps of the scan, and the chance that a key moves at a step.
const STEP_SAMPLES: f64 = 95.0;
const KEY_CHANCE: f64 = 0.12;

/// What should come out for the levels of [`INPUTS`], and what does with SELECT_1's pin open.
pub fn outputs(inputs: [bool; 6]) -> (bool, bool) {
    let [select_1, select_0, keys @ ..] = inputs;
    let pass = |select_1: bool| keys[usize::from(select_1) * 2 + usize::from(select_0)];
    (pass(select_1), pass(true))
}

/// 0.4 ms of the scan, at 100 million samples a second.
pub fn record(seed: u64) -> Recording {
    let mut random = Random::new(seed);
    let mut inputs = [false; 6];
    let mut edges: Vec<Vec<i64>> = vec![Vec::new(); INPUTS.len() + 1];
    let mut out = outputs(inputs).1;
    let first_out = out;
    let mut at = 60.0;
    let mut scan = 0u8;
    while at < (SAMPLES - 20) as f64 {
        scan = (scan + 1) % 4;
        let mut next = inputs;
        next[0] = scan & 2 != 0;
        next[1] = scan & 1 != 0;
        for key in &mut next[2..] {
            *key ^= random.chance(KEY_CHANCE);
        }
        let sample = at as i64;
        for (line, (before, after)) in inputs.iter().zip(next).enumerate() {
            if *before != after {
                edges[line].push(sample);
            }
        }
        inputs = next;
        let settled = outputs(inputs).1;
        if settled != out {
            out = settled;
            // 18 ns through the part: two samples later, now and then one.
            edges[INPUTS.len()].push(sample + if random.chance(0.8) { 2 } else { 1 });
        }
        at += STEP_SAMPLES + random.uniform(-4.0, 4.0);
    }
    let names = INPUTS.iter().chain([&OUTPUT]);
    let lines = names.zip(edges).map(|(name, edges)| Recorded {
        name: (*name).to_owned(),
        first: if *name == OUTPUT && first_out {
            Level::High
        } else {
            Level::Low
        },
        edges,
    });
    Recording {
        lines: lines.collect(),
        period_s: PERIOD_S,
        samples: SAMPLES,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_open_select_pin_shows_only_where_the_keys_differ() {
        assert_eq!(outputs([false, false, true, false, false, false]), (true, false));
        assert_eq!(outputs([false, true, false, false, false, true]), (false, true));
        assert_eq!(outputs([true, false, false, false, true, false]), (true, true));
        let wrong = (0..64u8)
            .map(|code| std::array::from_fn(|bit| code >> bit & 1 == 1))
            .filter(|&inputs| {
                let (should, does) = outputs(inputs);
                should != does
            });
        // Half of all combinations have SELECT_1 low; in half of these the two keys concerned differ.
        assert_eq!(wrong.count(), 16);
    }
}
