//! Short pulses that the findings take for what a line sends, or ask about, are not compared as strays: from outside, on drawn pulses.

use serde_json::Value;

use crate::dice::Dice;
use crate::pulsed::{later, pulses, vcd};

const LINK: &str = "[[link]]\nfrom = \"OUT\"\nto = \"IN\"\nmax_delay = \"200 ns\"\n";

/// OUT's 300 pulses at drawn times, the share `short` of them 90 to 250 ns long, the others 400 to 600 ns; all but every so many
/// arrive at IN 60 ns later.
fn capture(seed: u64, short: f64, lost: Option<usize>) -> String {
    let mut dice = Dice(seed + 77);
    let mut width = || match dice.unit() < short {
        true => 90 + dice.below(160),
        false => 400 + dice.below(200),
    };
    let at = pulses(seed, 300).into_iter();
    let sent: Vec<(u64, u64)> = at.map(|(start, _)| (start, start + width())).collect();
    let all = later(&sent, 60).into_iter().enumerate();
    let arrives = |n: usize| lost.is_none_or(|each| !n.is_multiple_of(each));
    let arrived = all.filter(|(n, _)| arrives(*n)).map(|(_, pulse)| pulse);
    vcd(&[("OUT", sent, false), ("IN", arrived.collect(), false)])
}

fn compared(before: &str, after: &str, setup: &str) -> Value {
    super::compared(("a.vcd", before), ("b.vcd", after), setup)
}

/// Names of the lines whose strays are compared.
fn strays_of(report: &Value) -> Vec<&str> {
    let rows = report["strays"].as_array().into_iter().flatten();
    rows.filter_map(|row| row["name"].as_str()).collect()
}

fn note<'r>(report: &'r Value, line: &str) -> &'r str {
    let mut notes = report["notes"].as_array().into_iter().flatten();
    let begin = format!("{line}'s short pulses are not compared as strays");
    let found = notes.find_map(|note| note.as_str().filter(|note| note.starts_with(&begin)));
    found.unwrap_or_else(|| panic!("{line} in {}", report["notes"]))
}

#[test]
fn what_a_line_sends_is_not_compared_as_strays() {
    for seed in 1..=3 {
        let report = compared(&capture(seed, 0.6, None), &capture(seed + 40, 0.6, None), LINK);
        assert_eq!(strays_of(&report), [""; 0], "seed {seed}: {report}");
        assert!(
            note(&report, "OUT").contains("a.vcd before and b.vcd after"),
            "{report}"
        );
    }
}

#[test]
fn nor_is_what_is_asked_about() {
    // A link that loses a fifth leaves open whether the line sends them.
    let [before, after] = [3, 43].map(|seed| capture(seed, 0.6, Some(5)));
    let report = compared(&before, &after, LINK);
    assert!(!strays_of(&report).contains(&"OUT"), "{report}");
    note(&report, "OUT");
    assert_eq!(report["links"][0]["before"]["missing"], 60, "{report}");
}

/// The findings of one side alone call them strays: the other's do not, so that nothing can be said of more or fewer.
#[test]
fn nor_is_what_one_side_takes_for_its_job() {
    let report = compared(&capture(4, 0.3, None), &capture(44, 0.6, None), LINK);
    assert!(!strays_of(&report).contains(&"OUT"), "{report}");
    let note = note(&report, "OUT");
    assert!(note.contains("b.vcd after") && !note.contains("a.vcd"), "{note}");
}

#[test]
fn what_both_sides_call_strays_is_compared() {
    let told = |short: [f64; 2], setup: &str| {
        let report = compared(&capture(5, short[0], None), &capture(45, short[1], None), setup);
        assert!(
            !report["notes"].to_string().contains("not compared as strays"),
            "{report}"
        );
        strays_of(&report).contains(&"OUT")
    };
    assert!(told([0.3, 0.2], LINK), "fewer than half");
    assert!(told([0.6, 0.6], ""), "no link is declared");
}

/// BEAT's falls make the short pulses before; after, when most are short, nobody does: what BEAT made stays compared.
#[test]
fn what_another_line_makes_in_one_state_is_compared() {
    let own = |short: f64| {
        let mut dice = Dice(78);
        let at = pulses(6, 300).into_iter().map(|(start, _)| start);
        let of = at.map(|start| {
            (
                start,
                dice.chance(short),
                90 + dice.below(160),
                400 + dice.below(200),
            )
        });
        of.collect::<Vec<_>>()
    };
    let lines = |all: &[(u64, bool, u64, u64)], strikes: bool| {
        let width = |&(start, is_short, short, long): &(u64, bool, u64, u64)| {
            (start, start + if is_short { short } else { long })
        };
        let sent: Vec<(u64, u64)> = all.iter().map(width).collect();
        let beat = all
            .iter()
            .map(|&(start, is_short, short, _)| match strikes && is_short {
                true => (start - 900, start - 15 - short % 4),
                false => (start + 700, start + 1_200),
            });
        let beat = beat.collect();
        vcd(&[
            ("OUT", sent.clone(), false),
            ("IN", later(&sent, 60), false),
            ("BEAT", beat, false),
        ])
    };
    let (struck, open) = (lines(&own(0.3), true), lines(&own(0.6), false));
    let report = compared(&struck, &open, LINK);
    let row = &report["couplings"][0];
    assert_eq!(
        (&row["victim"], &row["aggressor"]),
        (&"OUT".into(), &"BEAT".into()),
        "{report}"
    );
    assert!(
        !report["notes"].to_string().contains("not compared as strays"),
        "{report}"
    );
}
