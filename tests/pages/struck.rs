//! The machine of most evenings here: STEP strikes CLEAR_N.

use crate::dice::Dice;
use crate::pulsed;

/// STEP pulses `n` times; each fall strikes CLEAR_N with the share `strikes`, 12 to 18 ns after it and for 20 to 45 ns.
/// CLEAR_N has long pulses of its own.
pub fn struck(seed: u64, n: usize, strikes: f64) -> String {
    struck_after(seed, n, strikes, 12)
}

/// The same with strays from `after` ns on after the fall.
pub fn struck_after(seed: u64, n: usize, strikes: f64, after: u64) -> String {
    let step = pulsed::pulses(seed, n);
    let mut dice = Dice(seed + 1);
    let mut clear = Vec::new();
    for (_, end) in &step {
        let (is_struck, lag, width) = (dice.unit() < strikes, dice.below(7), dice.below(26));
        if is_struck {
            clear.push((end + after + lag, end + after + 20 + lag + width));
        }
    }
    let own = step.iter().skip(3).step_by(4);
    clear.extend(own.map(|(start, _)| (start - 1_900, start - 1_100)));
    clear.sort_unstable();
    pulsed::vcd(&[("STEP", step, false), ("CLEAR_N", clear, true)])
}
