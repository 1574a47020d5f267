//! Short pulses that are most of what a line sends and arrive at the far end are what it sends: from outside, on drawn pulses.

use crate::declared::finding;
use crate::dice::Dice;
use crate::inspected::{LINK, inspect};
use crate::pulsed::{later, pulses};

/// 300 pulses at drawn times, six in ten of them 90 to 250 ns long, the others 400 to 600 ns.
fn of_two_forms(seed: u64) -> Vec<(u64, u64)> {
    let mut dice = Dice(seed + 77);
    let mut width = || match dice.unit() < 0.6 {
        true => 90 + dice.below(160),
        false => 400 + dice.below(200),
    };
    let at = pulses(seed, 300);
    at.into_iter()
        .map(|(start, _)| (start, start + width()))
        .collect()
}

#[test]
fn what_the_far_end_receives_is_no_stray_of_the_sender() {
    for seed in 1..=5 {
        let sent = of_two_forms(seed);
        let report = inspect(
            &[("OUT", sent.clone(), false), ("IN", later(&sent, 60), false)],
            LINK,
        );
        assert_eq!(report["strays"], serde_json::json!([]), "seed {seed}");
        let note = finding(&report, "OUT: its short high pulses arrive at IN");
        assert_eq!(note["severity"], "note", "seed {seed}: {note}");
        assert!(
            note["detail"].as_str().unwrap().contains("all of them arrive"),
            "{note}"
        );
    }
}

#[test]
fn without_a_link_they_are_strays_with_the_share_of_the_level_that_they_are() {
    for seed in 1..=5 {
        let report = inspect(&[("OUT", of_two_forms(seed), false)], "");
        let found = finding(&report, "stray pulses without a cause");
        let said = found.to_string();
        assert!(said.contains("of 300 high pulses"), "{said}");
        assert!(said.contains("narrow_below"), "{said}");
    }
}
