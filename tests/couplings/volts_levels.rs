//! Levels in volts that are wrong themselves: they are told, and no line that switches beside them is accused. Captures are made
//! here, so that what was planted is known; no outside source.

use crate::command::json_of;
use crate::dice::Dice;
use serde_json::Value;

/// Samples of 5 ns between two rises of STROBE, and rises.
const PERIOD: usize = 200;
const PERIODS: usize = 400;

/// STROBE is a clock; SLUICE takes a level by the dice 40 ns after some of its rises and stays for eight periods or more.
fn capture(sluice: (f64, f64), strobe: (f64, f64)) -> String {
    let mut dice = Dice(11);
    let (mut is_high, mut stays) = (false, 0);
    let mut text = "Time (s),SLUICE (V),STROBE (V)\n".to_owned();
    let mut volts = (sluice.0, strobe.0);
    for at in 0..PERIOD * PERIODS {
        let phase = at % PERIOD;
        if phase == 8 && stays == 0 {
            (is_high, stays) = (!is_high, 8 + dice.below(30));
        } else if phase == 8 {
            stays -= 1;
        }
        let aim = |(low, high): (f64, f64), is_high: bool| if is_high { high } else { low };
        // Three samples a rise or fall.
        volts.0 += 0.6 * (aim(sluice, is_high) - volts.0);
        volts.1 += 0.6 * (aim(strobe, phase < PERIOD / 2) - volts.1);
        let noise = 0.02 * (dice.unit() - 0.5);
        let (sluice, strobe) = (volts.0 + noise, volts.1 - noise);
        text.push_str(&format!("{:.9},{sluice:.3},{strobe:.3}\n", at as f64 * 5e-9));
    }
    text
}

/// The findings that are no notes: severity, topic, title.
fn told(text: &str, setup: &str) -> Vec<[String; 3]> {
    let files = [("volts.csv", text), ("setup.toml", setup)];
    let report = json_of(&files, &["inspect", "volts.csv", "--setup", "setup.toml"]);
    let findings = report["findings"].as_array().unwrap().iter();
    let word = |finding: &Value, key: &str| finding[key].as_str().unwrap().to_owned();
    findings
        .map(|finding| ["severity", "topic", "title"].map(|key| word(finding, key)))
        .filter(|finding| finding[0] != "note")
        .collect()
}

const TTL: &str = "[line.SLUICE]\nfamily = \"ttl-5v\"\n[line.STROBE]\nfamily = \"ttl-5v\"\n";

#[test]
fn a_weak_level_is_told_and_the_clock_beside_it_is_not_accused() {
    let strobe = (0.2, 3.5);
    for (sluice, begins) in [
        ((0.15, 1.8), "SLUICE's high stands at 1.8"),
        ((1.2, 3.5), "SLUICE's low stands at 1.2"),
    ] {
        for setup in ["", TTL] {
            let told = told(&capture(sluice, strobe), setup);
            assert_eq!(told.len(), 1, "{told:?}");
            assert_eq!((told[0][0].as_str(), told[0][1].as_str()), ("fault", "limit"));
            assert!(told[0][2].starts_with(begins), "{told:?}");
        }
    }
    assert_eq!(told(&capture((0.15, 3.4), strobe), ""), Vec::<[String; 3]>::new());
}

#[test]
fn what_the_probe_or_the_channel_does_is_told_and_nothing_else() {
    let of = |sluice, strobe| told(&capture(sluice, strobe), "");
    for (sluice, strobe, says) in [
        (
            (2.0, 35.0),
            (2.2, 34.0),
            "is the probe's ×10 setting told to the scope?",
        ),
        (
            (0.02, 0.35),
            (0.2, 3.5),
            "is the probe's ×10 setting told to the scope?",
        ),
        (
            (0.2, 3.5),
            (-1.7, 1.6),
            "STROBE swings about 0 V: is the channel AC-coupled?",
        ),
    ] {
        let told = of(sluice, strobe);
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0][2].ends_with(says), "{told:?}");
    }
}
