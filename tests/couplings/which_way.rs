//! Which way strikes pull their victim, and what does so: rises and falls alike, with their edge, against it, or a whole pulse
//! upside down. The captures are written here, so the truth is known.

use std::fmt::Write;

use assert_cmd::Command;

/// ROPE_EYE rises and falls 300 times, CLEAR_N answers nobody but shows `strays` of one round (start, width and level, in ns)
/// on its own pulses of 4 and 8 µs.
fn text(strays: impl Fn(u64, u64, u64) -> Vec<(u64, u64, u8)>) -> String {
    let mut changes: Vec<(u64, char, u8)> = vec![(0, 'r', 0), (0, 'c', 1)];
    let mut clear = 1;
    for n in 0..300u64 {
        let rise = 40_000 * n + 10_000 + 131 * (n % 29);
        let fall = rise + 3_000 + 97 * (n % 31);
        changes.extend([(rise, 'r', 1), (fall, 'r', 0)]);
        for (start, width, level) in strays(n, rise, fall) {
            if u8::from(clear == 1) != level {
                changes.extend([(start, 'c', level), (start + width, 'c', 1 - level)]);
            }
        }
        // CLEAR_N switches by itself far from both.
        if n % 3 == 0 {
            clear = 1 - clear;
            changes.push((fall + 15_000 + 61 * (n % 17), 'c', clear));
        }
    }
    changes.sort();
    let mut vcd = String::from(
        "$timescale 1ns $end\n$var wire 1 r ROPE_EYE $end\n$var wire 1 c CLEAR_N $end\n$enddefinitions $end\n",
    );
    for (time, code, level) in changes {
        writeln!(vcd, "#{time}\n{level}{code}").unwrap();
    }
    let output = Command::cargo_bin("edgewitness")
        .unwrap()
        .args(["inspect", "-"])
        .write_stdin(vcd)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    // Lines are wrapped.
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn width(n: u64) -> u64 {
    14 + n * 7 % 19
}

#[test]
fn rises_and_falls_that_pull_one_way_are_no_one_edge_s() {
    let said = text(|n, rise, fall| match n % 4 {
        0 => vec![(rise + 9, width(n), 0)],
        1 => vec![(fall + 9, width(n), 0)],
        _ => Vec::new(),
    });
    assert!(
        said.contains("Its rises and its falls both dip it, which one coupled edge can't"),
        "{said}"
    );
    assert!(
        said.contains("a second ground wire between their 0 V pins"),
        "{said}"
    );
    assert!(
        !said.contains("how capacitance between neighbours acts"),
        "{said}"
    );
}

#[test]
fn rises_that_lift_and_falls_that_dip_are_what_capacitance_does() {
    let said = text(|n, rise, fall| match n % 4 {
        0 | 1 => vec![(rise + 9, width(n), 1), (fall + 9, width(n + 3), 0)],
        _ => Vec::new(),
    });
    assert!(
        said.contains(
            "Its rises lift the line and its falls dip it: that is how capacitance between neighbours acts."
        ),
        "{said}"
    );
    assert!(
        !said.contains("a second ground wire between their 0 V pins"),
        "{said}"
    );
}

#[test]
fn rises_that_dip_and_falls_that_lift_are_not() {
    let said = text(|n, rise, fall| match n % 4 {
        0 | 1 => vec![(rise + 9, width(n), 0), (fall + 9, width(n + 3), 1)],
        _ => Vec::new(),
    });
    assert!(
        said.contains("Its rises dip the line and its falls lift it: a magnetic coupling"),
        "{said}"
    );
    assert!(
        said.contains("a second ground wire between their 0 V pins"),
        "{said}"
    );
}

#[test]
fn a_strike_is_named_to_find_it_by() {
    // One of four rounds, in no order, from the third on.
    let said = text(|n, rise, _| match (n + 99) * 37 % 101 {
        0..26 => vec![(rise + 9, width(n), 1)],
        _ => Vec::new(),
    });
    // The first that found CLEAR_N low: round 2, at 40,000·2 + 10,000 + 131·2 ns.
    assert!(
        said.contains("For one: ROPE_EYE rises at 90.262 µs, and CLEAR_N goes high 9 ns later."),
        "{said}"
    );
}
