//! Two lines that always switch together can't be told apart by counts, whatever else is captured: neither is accused.
//! The captures are written here, by a generator of this file's own, so the truth is known.

use std::fmt::Write;

use crate::dice::Dice;
use assert_cmd::Command;
use serde_json::Value;

/// CLEAR_N dips for 18 to 42 ns, 13 ns after some falls of STEP. BEAT switches with STEP, up to `jitter` ns around it, but
/// for one fall in `alone` at which it rests (0: never). TEMPO has nothing to do with any of them.
fn vcd(seed: u64, jitter: u64, alone: u64) -> String {
    let mut dice = Dice(seed);
    let mut changes: Vec<(u64, char, u8)> = vec![(0, 's', 1), (0, 'b', 1), (0, 'c', 1), (0, 't', 0)];
    let mut at = 5_000;
    for step in 0..600u64 {
        let offset = |dice: &mut Dice| {
            if jitter == 0 {
                0
            } else {
                dice.below(2 * jitter + 1)
            }
        };
        let rests = alone > 0 && step % alone == 1;
        changes.push((at, 's', 0));
        if !rests {
            changes.push((at + offset(&mut dice) - jitter, 'b', 0));
        }
        if dice.below(10) < 4 {
            changes.push((at + 13, 'c', 0));
            changes.push((at + 13 + 18 + dice.below(25), 'c', 1));
        }
        let width = 900 + dice.below(3_000);
        changes.push((at + width, 's', 1));
        if !rests {
            changes.push((at + width + offset(&mut dice) - jitter, 'b', 1));
        }
        if dice.below(3) == 0 {
            changes.push((at + width + 500, 't', (step % 2) as u8));
        }
        // CLEAR_N has a job of its own, far from STEP's falls.
        if dice.below(5) == 0 {
            changes.push((at + width + 1_000, 'c', 0));
            changes.push((at + width + 2_500, 'c', 1));
        }
        at += width + 4_000 + dice.below(6_000);
    }
    changes.sort();
    let mut text = String::from("$timescale 1ns $end\n");
    for (code, name) in [('s', "STEP"), ('b', "BEAT"), ('c', "CLEAR_N"), ('t', "TEMPO")] {
        writeln!(text, "$var wire 1 {code} {name} $end").unwrap();
    }
    text.push_str("$enddefinitions $end\n");
    let mut last = None;
    for (time, code, level) in changes {
        if last != Some(time) {
            writeln!(text, "#{time}").unwrap();
            last = Some(time);
        }
        writeln!(text, "{level}{code}").unwrap();
    }
    text
}

fn couplings(text: &str) -> Vec<Value> {
    let output = Command::cargo_bin("edgewitness")
        .unwrap()
        .args(["inspect", "-", "--json"])
        .write_stdin(text.to_owned())
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    report["couplings"].as_array().unwrap().clone()
}

#[test]
fn lines_that_always_switch_together_are_inseparable() {
    for seed in 1..=6 {
        for jitter in [0, 4] {
            let rows = couplings(&vcd(seed, jitter, 0));
            assert!(!rows.is_empty(), "seed {seed}, jitter {jitter}");
            for row in &rows {
                assert_eq!(
                    row["standing"], "inseparable",
                    "seed {seed}, jitter {jitter}: {row}"
                );
                let mut named = vec![row["aggressor"].as_str().unwrap()];
                named.extend(
                    row["inseparable_from"]
                        .as_array()
                        .unwrap()
                        .iter()
                        .filter_map(Value::as_str),
                );
                named.sort_unstable();
                assert_eq!(named, ["BEAT", "STEP"], "seed {seed}, jitter {jitter}");
            }
        }
    }
}

/// One fall in eight without BEAT is enough to tell: 75 opportunities at which STEP strikes alone.
#[test]
fn a_few_edges_alone_tell_them_apart() {
    for seed in 1..=6 {
        let rows = couplings(&vcd(seed, 4, 8));
        let told: Vec<_> = rows
            .iter()
            .map(|r| (r["aggressor"].as_str().unwrap(), r["standing"].as_str().unwrap()))
            .collect();
        assert_eq!(told, [("STEP", "clear")], "seed {seed}: {rows:?}");
    }
}
