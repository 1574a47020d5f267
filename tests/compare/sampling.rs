//! Before and after with captures of different sampling, from outside: the same machine, or one that was mended, recorded by
//! instruments that see a pulse of width w every T with the chance min(1, w/T) (geometry of even phase).

use crate::dice::Dice;

/// STEP falls `falls` times, and so often as `struck` of 100 times CLEAR_N dips for 20 ns to 30 ns, 15 ns later; sampled every
/// `period` ns.
fn run(seed: u64, falls: usize, struck: f64, period: u64) -> String {
    let mut dice = Dice(seed);
    let mut edges: [Vec<u64>; 2] = [Vec::new(), Vec::new()];
    let mut at = 100_000u64;
    for _ in 0..falls {
        at += 20_000 + (dice.unit() * 40_000.0) as u64;
        edges[0].extend([at, at + 900]);
        if dice.unit() * 100.0 < struck {
            let start = at + 15;
            edges[1].extend([start, start + 20 + (dice.unit() * 10.0) as u64]);
        }
        // CLEAR_N's own work: wide pulses.
        if dice.unit() < 0.2 {
            edges[1].extend([at + 8_000, at + 11_000]);
        }
    }
    let mut text = "$timescale 1 ns $end\n$var wire 1 ! STEP $end\n$var wire 1 \" CLEAR_N $end\n$enddefinitions $end\n#0\n1!\n1\"\n"
        .to_owned();
    let mut changes: Vec<(u64, char, u8)> = Vec::new();
    for (code, edges) in ['!', '"'].into_iter().zip(&edges) {
        let stamped = |t: u64| t.div_ceil(period) * period;
        for pulse in edges.chunks(2) {
            // Both edges between two samples: nothing was seen.
            if stamped(pulse[0]) < stamped(pulse[1]) {
                changes.extend([(stamped(pulse[0]), code, 0), (stamped(pulse[1]), code, 1)]);
            }
        }
    }
    changes.sort_unstable();
    for (time, code, level) in changes {
        text.push_str(&format!("#{time}\n{level}{code}\n"));
    }
    text.push_str(&format!("#{}\n", (at + 100_000).div_ceil(period) * period));
    text
}

fn compared(before: &str, after: &str) -> (String, String) {
    let setup = "[line.CLEAR_N]\nnarrow_below = \"250 ns\"\n";
    let report = super::compared(("before.vcd", before), ("after.vcd", after), setup);
    let row = report["couplings"]
        .get(0)
        .unwrap_or_else(|| panic!("no coupling: {report}"));
    let word = |key: &str| row[key].as_str().unwrap_or_default().to_owned();
    (word("verdict"), word("says"))
}

#[test]
fn a_coarser_capture_after_a_fix_that_did_nothing_is_not_told_as_fewer() {
    for seed in 1..=6 {
        let (verdict, says) = compared(&run(seed, 900, 40.0, 5), &run(seed + 50, 900, 40.0, 100));
        assert!(
            ["unchanged", "undecided"].contains(&verdict.as_str()),
            "{seed}: {verdict}: {says}"
        );
        assert!(
            says.contains("Sampled every 5 ns before and every 100 ns after"),
            "{says}"
        );
        let (verdict, says) = compared(&run(seed, 900, 40.0, 100), &run(seed + 50, 900, 40.0, 5));
        assert!(
            ["unchanged", "undecided"].contains(&verdict.as_str()),
            "{seed}: {verdict}: {says}"
        );
    }
}

#[test]
fn a_fix_that_worked_is_gone_though_the_sampling_is_coarser() {
    let (verdict, says) = compared(&run(3, 900, 40.0, 5), &run(53, 900, 0.0, 100));
    assert_eq!(verdict, "gone", "{says}");
    // So few that a coarse capture would have missed them anyway: nothing is claimed.
    let (verdict, says) = compared(&run(3, 900, 1.5, 5), &run(53, 300, 0.0, 100));
    assert_eq!(verdict, "undecided", "{says}");
}

#[test]
fn the_same_sampling_needs_no_allowance() {
    let (verdict, says) = compared(&run(3, 600, 40.0, 5), &run(53, 600, 20.0, 5));
    assert_eq!(verdict, "reduced", "{says}");
    assert!(!says.contains("Sampled every"), "{says}");
}
