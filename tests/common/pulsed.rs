//! Lines of drawn pulses as a VCD.

use std::collections::BTreeMap;

use super::dice::Dice;

/// Pulses (start, end) in ns, 200 to 1,200 ns wide, at least 2 µs apart.
pub fn pulses(seed: u64, n: usize) -> Vec<(u64, u64)> {
    let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9).max(1));
    let mut at = 10_000;
    (0..n)
        .map(|_| {
            at += 2_000 + (dice.unit() * 20_000.0) as u64;
            let width = 200 + (dice.unit() * 1_000.0) as u64;
            let pulse = (at, at + width);
            at += width;
            pulse
        })
        .collect()
}

/// The same, `delay` ns later.
pub fn later(pulses: &[(u64, u64)], delay: u64) -> Vec<(u64, u64)> {
    pulses.iter().map(|p| (p.0 + delay, p.1 + delay)).collect()
}

pub type Lines<'a> = [(&'a str, Vec<(u64, u64)>, bool)];

/// A capture of lines as VCD: name, pulses, and whether the line rests high.
pub fn vcd(lines: &Lines) -> String {
    let mut changes: BTreeMap<u64, String> = BTreeMap::new();
    let mut text = "$timescale 1 ns $end\n".to_owned();
    let mut first = String::new();
    let mut end = 0;
    for (i, (name, pulses, high)) in lines.iter().enumerate() {
        let code = char::from(b'!' + i as u8);
        text.push_str(&format!("$var wire 1 {code} {name} $end\n"));
        let (rest, active) = (u8::from(*high), u8::from(!*high));
        first.push_str(&format!("{rest}{code}\n"));
        for (start, stop) in pulses {
            changes
                .entry(*start)
                .or_default()
                .push_str(&format!("{active}{code}\n"));
            changes
                .entry(*stop)
                .or_default()
                .push_str(&format!("{rest}{code}\n"));
            end = end.max(*stop);
        }
    }
    text.push_str(&format!("$enddefinitions $end\n#0\n{first}"));
    for (at, levels) in changes {
        text.push_str(&format!("#{at}\n{levels}"));
    }
    text.push_str(&format!("#{}\n", end + 50_000));
    text
}
