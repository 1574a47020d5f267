//! A line whose level itself is wrong in one state: its pulses are no strays there, as in the report of that capture alone. Captures
//! are made here; no outside source.

use serde_json::Value;

use crate::dice::Dice;

/// Samples of 5 ns between two rises of STROBE, and rises.
const PERIOD: usize = 200;
const PERIODS: usize = 600;
/// A good low and high, and a low that a weak driver leaves where TTL reads none.
const GOOD: (f64, f64) = (0.2, 3.5);
const WEAK: (f64, f64) = (1.2, 3.5);

/// STROBE is a clock; SLUICE stands at its levels by the dice, and STROBE's falls take it `dip` volts further down while it is low, or
/// high where that is said, for 25 to 60 ns, three of ten times; the other times a third of that, as a fixed coupling moves its line each time.
fn capture(levels: (f64, f64), strobe: (f64, f64), dip: f64, is_struck_high: bool) -> String {
    let mut dice = Dice(23);
    let (mut is_high, mut stays, mut struck, mut depth) = (false, 0, 0..0, 0.0);
    let mut text = "Time (s),SLUICE (V),STROBE (V)\n".to_owned();
    let mut volts = (levels.0, strobe.1);
    for at in 0..PERIOD * PERIODS {
        let phase = at % PERIOD;
        if phase == 8 && stays == 0 {
            (is_high, stays) = (!is_high, 8 + dice.below(20));
        } else if phase == 8 {
            stays -= 1;
        }
        if phase == PERIOD / 2 {
            let from = phase + 2 + dice.below(3) as usize;
            struck = from..from + 5 + dice.below(8) as usize;
            depth = if dice.chance(0.3) { dip } else { 0.36 * dip };
        }
        let is_dip = is_high == is_struck_high && struck.contains(&phase);
        let aim = if is_high { levels.1 } else { levels.0 } - if is_dip { depth } else { 0.0 };
        volts.0 += 0.7 * (aim - volts.0);
        volts.1 += 0.7 * (if phase < PERIOD / 2 { strobe.1 } else { strobe.0 } - volts.1);
        let noise = 0.02 * (dice.unit() - 0.5);
        let row = (volts.0 + noise, volts.1 - noise);
        text.push_str(&format!("{:.9},{:.3},{:.3}\n", at as f64 * 5e-9, row.0, row.1));
    }
    text
}

const SETUP: &str =
    "[line.SLUICE]\nfamily = \"ttl-5v\"\nnarrow_below = \"200 ns\"\n[line.STROBE]\nfamily = \"ttl-5v\"\n";

fn compared(before: &str, after: &str) -> Value {
    super::compared(("found.csv", before), ("moved.csv", after), SETUP)
}

/// What the notes say of SLUICE's level.
fn told(report: &Value) -> Vec<&str> {
    let notes = report["notes"].as_array().unwrap().iter();
    let notes = notes.filter_map(Value::as_str);
    notes
        .filter(|note| note.contains("its level itself is wrong"))
        .collect()
}

#[test]
fn the_pulses_of_a_level_that_is_wrong_itself_are_no_strays() {
    let report = compared(&capture(GOOD, GOOD, 0.0, false), &capture(WEAK, GOOD, 0.8, false));
    assert_eq!(report["couplings"], serde_json::json!([]), "{report}");
    assert_eq!(report["strays"], serde_json::json!([]), "{report}");
    let told = told(&report);
    assert!(
        told.len() == 1 && told[0].starts_with("No strays of SLUICE are counted in moved.csv after"),
        "{told:?}"
    );
    assert_eq!(report["notes"].as_array().unwrap().len(), 1, "{report}");
}

#[test]
fn a_level_that_is_wrong_itself_on_one_side_is_neither_cured_nor_struck_anew() {
    let [struck, weak, dull] = [
        capture(GOOD, GOOD, 3.3, true),
        capture(WEAK, GOOD, 0.8, false),
        capture(GOOD, WEAK, 3.3, true),
    ];
    for (before, after, side, line) in [
        (&struck, &weak, "after", "SLUICE"),
        (&weak, &struck, "before", "SLUICE"),
        (&struck, &dull, "after", "STROBE"),
    ] {
        let report = compared(before, after);
        let row = &report["couplings"][0];
        assert_eq!(
            (&row["victim"], &row["aggressor"]),
            (&"SLUICE".into(), &"STROBE".into()),
            "{report}"
        );
        assert_eq!(
            (&row["verdict"], &row[side]["opportunities"]),
            (&"undecided".into(), &0.into()),
            "{row}"
        );
        let says = row["says"].as_str().unwrap();
        let expected = format!("can't be counted {side}, {line}'s level itself is wrong there");
        assert!(says.contains(&expected), "{says}");
        assert!(
            row["next"]
                .as_str()
                .unwrap()
                .contains(&format!("the level of {line}")),
            "{row}"
        );
        let told = told(&report);
        assert!(told.len() == 1 && told[0].contains(line), "{report}");
        assert!(
            !report["notes"].to_string().contains("never switched"),
            "{report}"
        );
    }
}

#[test]
fn levels_that_are_good_on_both_sides_are_compared() {
    let report = compared(&capture(GOOD, GOOD, 3.3, true), &capture(GOOD, GOOD, 0.0, true));
    assert_eq!(report["couplings"][0]["verdict"], "gone", "{report}");
    assert_eq!(told(&report), Vec::<&str>::new(), "{report}");
}
