//! Links that nobody declared: which pairs of lines are proposed as the two ends of one, from outside by the command line.

use crate::declared::finding;
use crate::dice;
use crate::inspected::{LINK, inspect};
use crate::pulsed;
use crate::pulsed::{later, pulses};
use serde_json::Value;

#[test]
fn a_link_that_nobody_declared_is_proposed() {
    let sent = pulses(51, 200);
    let lines = [
        ("OUT", sent.clone(), false),
        ("IN", later(&sent, 55), false),
        ("BEAT", pulses(52, 200), false),
    ];
    let report = inspect(&lines, "");
    let proposals = report["proposals"].as_array().expect("a list");
    assert_eq!(proposals.len(), 1, "{proposals:?}");
    assert_eq!(
        (&proposals[0]["from"], &proposals[0]["to"]),
        (&"OUT".into(), &"IN".into())
    );
    assert!((proposals[0]["delay_s"].as_f64().unwrap_or(0.0) - 55e-9).abs() < 1e-12);
    // Nothing is lost: no more than a note.
    assert_eq!(finding(&report, "looks like the far end")["severity"], "note");
    assert_eq!(
        inspect(&lines, LINK)["proposals"].as_array().map(Vec::len),
        Some(0)
    );
}

/// `[from, to, share of edges lost]` of every proposal.
fn proposals(lines: &pulsed::Lines) -> Vec<(String, String, f64)> {
    let report = inspect(lines, "");
    let rows = report["proposals"].as_array().cloned().unwrap_or_default();
    let word = |row: &Value, key: &str| row[key].as_str().unwrap_or_default().to_owned();
    rows.iter()
        .map(|row| {
            (
                word(row, "from"),
                word(row, "to"),
                row["lost"].as_f64().unwrap_or(-1.0),
            )
        })
        .collect()
}

#[test]
fn a_link_with_losses_is_proposed_with_its_losses() {
    for seed in 1..=10 {
        let sent = pulses(seed, 400);
        let mut dice = dice::Dice(seed.wrapping_mul(0x1234_5677));
        let far: Vec<(u64, u64)> = later(&sent, 34)
            .into_iter()
            .filter(|_| dice.unit() > 0.1)
            .collect();
        let lost = 1.0 - far.len() as f64 / sent.len() as f64;
        // The far end comes first in the file; another line is as busy.
        let lines = [
            ("IN", far, false),
            ("OUT", sent, false),
            ("OTHER", pulses(seed + 90, 400), false),
        ];
        let found = proposals(&lines);
        assert_eq!(found.len(), 1, "{seed}: {found:?}");
        assert_eq!(
            (found[0].0.as_str(), found[0].1.as_str()),
            ("OUT", "IN"),
            "{seed}: {found:?}"
        );
        assert!(
            (found[0].2 - lost).abs() < 0.01,
            "{seed}: {found:?}, {lost} planted"
        );
        let report = inspect(&lines, "");
        let words = finding(&report, "IN looks like the far end of OUT, with ");
        assert!(
            words["title"]
                .as_str()
                .unwrap_or_default()
                .contains("% of its pulses missing there"),
            "{words}"
        );
        assert_eq!(words["severity"], "warning");
    }
}

/// Lines that follow another's edges for other reasons than being its far end.
#[test]
fn a_gate_and_a_counter_are_proposed_as_nobodys_far_end() {
    let sent = pulses(7, 600);
    // Let through but for one pause of a sixth of the time.
    let gated: Vec<(u64, u64)> = later(&sent, 20)
        .into_iter()
        .enumerate()
        .filter(|(i, _)| !(300..400).contains(i))
        .map(|(_, p)| p)
        .collect();
    // Toggles with each pulse's end: two of its edges for each two pulses.
    let toggled: Vec<(u64, u64)> = sent.chunks(2).map(|two| (two[0].1 + 18, two[1].1 + 18)).collect();
    // Begins with each pulse and lasts as long as it likes.
    let stretched: Vec<(u64, u64)> = sent
        .iter()
        .enumerate()
        .filter(|(i, _)| i % 7 != 3)
        .map(|(i, p)| (p.0 + 25, p.0 + 25 + 300 + 37 * (i as u64 % 29)))
        .collect();
    let lines = [
        ("OUT", sent, false),
        ("GATED", gated, false),
        ("TOGGLED", toggled, false),
        ("STRETCHED", stretched, false),
    ];
    assert_eq!(proposals(&lines), []);
    // A decoder that passes each pulse on to one of two lines, now to the one, now to the other: neither is a far end with
    // losses.
    let sent = pulses(7, 600);
    let mut dice = dice::Dice(99);
    let (up, down): (Vec<_>, Vec<_>) = later(&sent, 20).into_iter().partition(|_| dice.unit() > 0.12);
    let other_end = later(&sent, 31);
    let lines = [
        ("STEP", sent.clone(), false),
        ("UP", up.clone(), false),
        ("DOWN", down, false),
    ];
    assert_eq!(proposals(&lines), []);
    // Where another line shows all pulses, what is missing on the one is missing.
    let lines = [
        ("STEP", sent, false),
        ("UP", up, false),
        ("STEP_TOWER", other_end, false),
    ];
    let found = proposals(&lines);
    assert!(
        found
            .iter()
            .any(|p| (p.0.as_str(), p.1.as_str()) == ("STEP", "UP")),
        "{found:?}"
    );
}

/// A strobe inside its select, as a write of a memory has them: as many edges, each at a lag of its own, before and after.
#[test]
fn a_strobe_inside_a_select_is_nobodys_far_end() {
    let mut dice = dice::Dice(4711);
    let mut jitter = |most: f64| (dice.unit() * most) as u64;
    let (mut select, mut strobe) = (Vec::new(), Vec::new());
    for n in 0..400u64 {
        let at = 10_000 + 3_000 * n + jitter(200.0);
        select.push((at, at + 620 + jitter(10.0)));
        strobe.push((at + 110 + jitter(10.0), at + 360 + jitter(10.0)));
    }
    let lines = [("WR_N", strobe, true), ("CS_N", select.clone(), true)];
    assert_eq!(proposals(&lines), []);
    // The select's own far end is proposed.
    let far = later(&select, 40);
    let lines = [("CS_N", select, true), ("CS_TOWER_N", far, true)];
    assert_eq!(proposals(&lines).len(), 1);
}
