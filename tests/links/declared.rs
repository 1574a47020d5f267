//! Does what leaves here arrive there, from outside: the command line on captures made here.
//!
//! Not covered: analog far ends (a slow edge is a change of width here, made with edges alone).

use crate::inspected::{LINK, inspect};
use crate::pulsed::{later, pulses};
use serde_json::Value;

/// The finding whose title has `part`.
pub fn finding<'a>(report: &'a Value, part: &str) -> &'a Value {
    let all = report["findings"].as_array().expect("a list");
    let found = all
        .iter()
        .find(|f| f["title"].as_str().unwrap_or_default().contains(part));
    found.unwrap_or_else(|| panic!("no finding says \"{part}\": {all:#?}"))
}

fn seconds(pulses: &[(u64, u64)], which: &[usize]) -> Vec<f64> {
    which.iter().map(|&i| pulses[i].0 as f64 * 1e-9).collect()
}

fn list(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(Value::as_f64)
        .collect()
}

fn same(found: &[f64], planted: &[f64]) -> bool {
    found.len() == planted.len() && found.iter().zip(planted).all(|(a, b)| (a - b).abs() < 1e-12)
}

#[test]
fn every_lost_and_every_extra_pulse_is_named() {
    for seed in 1..=10 {
        let sent = pulses(seed, 300);
        let mut far = later(&sent, 34);
        let lost = [0usize, 7, 8, 150, 299];
        for &i in lost.iter().rev() {
            far.remove(i);
        }
        // Two pulses that nobody sent, in rests of the far end.
        let extras = [
            (sent[40].1 + 500, sent[40].1 + 620),
            (sent[200].1 + 900, sent[200].1 + 960),
        ];
        far.extend(extras);
        far.sort_unstable();
        let report = inspect(&[("OUT", sent.clone(), false), ("IN", far, false)], LINK);
        let link = &report["links"][0];
        assert_eq!(link["verdict"], "lossy-noisy", "seed {seed}: {link}");
        assert_eq!(
            (&link["sent"], &link["arrived"]),
            (&300.into(), &295.into()),
            "seed {seed}"
        );
        assert!(
            same(&list(&link["missing_s"]), &seconds(&sent, &lost)),
            "seed {seed}: {}",
            link["missing_s"]
        );
        assert!(
            same(&list(&link["extra_s"]), &extras.map(|e| e.0 as f64 * 1e-9)),
            "seed {seed}: {}",
            link["extra_s"]
        );
        let delay = link["delay_s"]["median"].as_f64().unwrap_or(0.0);
        assert!((delay - 34e-9).abs() < 1e-12, "{delay}");
        let histogram = &link["delay_histogram"]["counts"];
        assert_eq!(list(histogram).iter().sum::<f64>(), 295.0);
    }
}

/// A delay beyond the record is no limit at all: the record's own length is. What is longer than a minute is refused where the
/// setup is read.
#[test]
fn a_longest_delay_beyond_the_record_is_the_record_s_length() {
    let sent = pulses(8, 80);
    let mut far = later(&sent, 34);
    far.remove(40);
    let by_length = {
        let setup = LINK.replace("200 ns", "10 s");
        inspect(
            &[("OUT", sent.clone(), false), ("IN", far.clone(), false)],
            &setup,
        )["links"]
            .clone()
    };
    assert_eq!(by_length[0]["sent"], 80, "{by_length}");
    for delay in ["60 s", "6e10 ns", "59999 ms"] {
        let setup = LINK.replace("200 ns", delay);
        assert!(setup.contains(delay));
        for (far, inverted) in [
            (&far, false),
            (&far, true),
            (&pulses(9, 80), false),
            (&Vec::new(), false),
        ] {
            let report = inspect(
                &[("OUT", sent.clone(), false), ("IN", far.clone(), inverted)],
                &setup,
            );
            assert_eq!(report["links"][0]["sent"], 80, "{delay}");
        }
        let report = inspect(
            &[("OUT", sent.clone(), false), ("IN", far.clone(), false)],
            &setup,
        );
        assert_eq!(report["links"], by_length, "{delay}");
    }
}

#[test]
fn intact_inverted_and_stuck_are_told_apart() {
    let sent = pulses(3, 120);
    let verdict = |far: Vec<(u64, u64)>, high: bool| {
        inspect(&[("OUT", sent.clone(), false), ("IN", far, high)], LINK)["links"][0].clone()
    };
    assert_eq!(verdict(later(&sent, 20), false)["verdict"], "intact");
    assert_eq!(verdict(later(&sent, 20), true)["verdict"], "inverted");
    let stuck = verdict(Vec::new(), true);
    assert_eq!(
        (&stuck["verdict"], &stuck["far_end"]),
        (&"dead".into(), &"never leaves high".into())
    );
    assert_eq!(stuck["missing_s"].as_array().map(Vec::len), Some(120));
    assert_eq!(
        verdict(later(&sent, 900), false)["verdict"],
        "dead",
        "beyond the delay allowed"
    );
}

/// A regular train is not told upside down for coming half a period late; where the record begins at opposite levels it is.
#[test]
fn a_late_far_end_is_told_late_and_not_upside_down() {
    let irregular = pulses(5, 120);
    let regular: Vec<(u64, u64)> = (0..200).map(|i| (10_000 + 2000 * i, 11_000 + 2000 * i)).collect();
    let short: Vec<(u64, u64)> = (0..200).map(|i| (10_000 + 2000 * i, 10_600 + 2000 * i)).collect();
    for (sent, delay) in [
        (&irregular, 350),
        (&irregular, 2600),
        (&regular, 1050),
        (&short, 700),
        (&regular, 900),
    ] {
        let lines = [("OUT", sent.clone(), false), ("IN", later(sent, delay), false)];
        let report = inspect(&lines, LINK);
        let (link, words) = (
            &report["links"][0],
            finding(&report, "later than the delay allowed"),
        );
        assert_eq!(
            (&link["verdict"], &link["arrived"]),
            (&"dead".into(), &0.into()),
            "{delay}: {link}"
        );
        let expected = match delay {
            2600 => "OUT arrives at IN 2.6 µs late".to_owned(),
            1050 => "OUT arrives at IN 1.05 µs late".to_owned(),
            _ => format!("OUT arrives at IN {delay} ns late"),
        };
        assert!(
            words["title"].as_str().unwrap_or_default().starts_with(&expected),
            "{words}"
        );
    }
    for sent in [&irregular, &regular, &short] {
        let report = inspect(
            &[("OUT", sent.clone(), false), ("IN", later(sent, 50), true)],
            LINK,
        );
        assert_eq!(report["links"][0]["verdict"], "inverted");
    }
}

#[test]
fn two_pulses_that_arrive_as_one_are_two_sent_and_one_arrived() {
    let sent = pulses(11, 100);
    let mut far = later(&sent, 25);
    // The pauses after the 21st and the 51st pulse are lost.
    for at in [50, 20] {
        far[at].1 = far[at + 1].1;
        far.remove(at + 1);
    }
    let report = inspect(&[("OUT", sent.clone(), false), ("IN", far, false)], LINK);
    let link = &report["links"][0];
    assert_eq!(
        (&link["verdict"], &link["sent"], &link["arrived"]),
        (&"lossy".into(), &100.into(), &98.into()),
        "{link}"
    );
    assert_eq!(list(&link["missing_s"]).len(), 2, "{link}");
    finding(
        &report,
        "2 of 100 pulses from OUT never reach IN: they run into the pulse before",
    );
}

/// Every 20th pulse takes 300 to 390 ns where 200 are allowed: late, not lost, and no stray at the far end.
#[test]
fn pulses_that_come_late_now_and_then_are_told_as_late() {
    let sent = pulses(12, 400);
    let mut far = later(&sent, 25);
    for (k, pulse) in far.iter_mut().enumerate().filter(|(k, _)| k % 20 == 7) {
        let by = 275 + (k as u64 / 20 % 4) * 30;
        *pulse = (pulse.0 + by, pulse.1 + by);
    }
    let report = inspect(&[("OUT", sent.clone(), false), ("IN", far.clone(), false)], LINK);
    let link = &report["links"][0];
    assert_eq!(
        (&link["verdict"], &link["arrived"]),
        (&"lossy".into(), &380.into()),
        "{link}"
    );
    let late = link["late"].as_array().expect("late ones");
    assert_eq!(
        (
            late.len(),
            list(&link["missing_s"]).len(),
            list(&link["extra_s"]).len()
        ),
        (20, 20, 0)
    );
    for (row, k) in late.iter().zip((7..400).step_by(20)) {
        assert!(
            (row["sent_s"].as_f64().unwrap_or(0.0) - sent[k].0 as f64 * 1e-9).abs() < 1e-12,
            "{row}"
        );
        assert!(
            (row["arrived_s"].as_f64().unwrap_or(0.0) - far[k].0 as f64 * 1e-9).abs() < 1e-12,
            "{row}"
        );
    }
    let told = finding(
        &report,
        "20 of 400 pulses from OUT reach IN later than the delay allowed",
    );
    assert!(
        told["detail"]
            .as_str()
            .unwrap_or("")
            .contains("take 300 ns to 390 ns"),
        "{told}"
    );
    assert_eq!(list(&report["strays"]).len(), 0);
    // Half of them lost instead: too few to call all that is missing late.
    let kept = far
        .iter()
        .enumerate()
        .filter(|(k, _)| k % 40 != 7)
        .map(|(_, pulse)| *pulse);
    let report = inspect(&[("OUT", sent, false), ("IN", kept.collect(), false)], LINK);
    let link = &report["links"][0];
    assert_eq!(
        (list(&link["late"]).len(), &link["verdict"]),
        (0, &"lossy-noisy".into()),
        "{link}"
    );
}

#[test]
fn a_near_end_that_never_moves_may_be_a_clip_that_fell_off() {
    let lines = [("OUT", Vec::new(), false), ("IN", pulses(4, 60), false)];
    let report = inspect(&lines, LINK);
    let told = finding(&report, "60 pulses at IN were never sent by OUT");
    assert_eq!(
        told["detail"].as_str().unwrap_or("").split('.').next(),
        Some("OUT never moves while the capture runs")
    );
    let first = told["try_next"][0].as_str().unwrap_or("");
    assert!(first.contains("whether the clip still sits on OUT"), "{first}");
}

#[test]
fn where_nothing_was_sent_nothing_is_called_intact() {
    let lines = [
        ("OUT", Vec::new(), false),
        ("IN", Vec::new(), false),
        ("BEAT", pulses(1, 50), false),
    ];
    let report = inspect(&lines, LINK);
    assert_eq!(report["links"][0]["verdict"], "nothing-sent");
    assert_eq!(finding(&report, "Nothing was sent from OUT")["severity"], "note");
    let lines = [
        ("OUT", Vec::new(), false),
        ("IN", pulses(2, 4), false),
        ("BEAT", pulses(1, 50), false),
    ];
    assert_eq!(inspect(&lines, LINK)["links"][0]["verdict"], "noisy");
}

#[test]
fn a_pulse_of_another_width_is_neither_lost_nor_extra() {
    let sent = pulses(8, 150);
    let mut far = later(&sent, 25);
    far[70].1 += 400;
    let report = inspect(&[("OUT", sent.clone(), false), ("IN", far, false)], LINK);
    let link = &report["links"][0];
    assert_eq!(link["verdict"], "intact", "{link}");
    let odd = &link["distorted"][0];
    assert!(
        (odd["sent_s"].as_f64().unwrap_or(0.0) - sent[70].0 as f64 * 1e-9).abs() < 1e-12,
        "{odd}"
    );
    let wider = odd["width_arrived_s"].as_f64().unwrap_or(0.0) - odd["width_sent_s"].as_f64().unwrap_or(0.0);
    assert!((wider - 400e-9).abs() < 1e-12, "{odd}");
    finding(&report, "another width");
}

#[test]
fn the_signal_on_the_next_pin_is_found() {
    let (sent, other) = (pulses(21, 100), pulses(22, 100));
    let lines = [
        ("OUT", sent.clone(), false),
        ("IN", other, false),
        ("SPARE", later(&sent, 40), false),
    ];
    let report = inspect(&lines, LINK);
    let link = &report["links"][0];
    assert_eq!(
        (&link["verdict"], &link["better_match"]["line"]),
        (&"dead".into(), &"SPARE".into())
    );
    assert_eq!(link["better_match"]["arrived"], 100);
    let advice = finding(&report, "SPARE instead")["try_next"].to_string();
    assert!(advice.contains("Move the wire from SPARE to IN"), "{advice}");
}

#[test]
fn a_far_end_that_moves_as_one_with_another_is_joined_and_not_exchanged() {
    let (sent, other) = (pulses(3, 60), pulses(8, 60));
    let lines = [
        ("OUT", sent, false),
        ("SUN", other.clone(), false),
        ("LAMP_SUN", other.clone(), false),
        ("IN", other.clone(), false),
    ];
    let report = inspect(&lines, LINK);
    let fault = finding(&report, "Nothing that OUT sends reaches IN");
    let title = fault["title"].as_str().unwrap_or_default();
    assert!(
        title.ends_with("IN and LAMP_SUN move as one, as if joined"),
        "{title}"
    );
    assert!(
        !fault["try_next"].to_string().contains("look exchanged"),
        "{fault}"
    );
    let titles = report["findings"].to_string();
    assert!(!titles.contains("looks like the far end of"), "{titles}");
    // Where the other one's own far end is not captured they may be exchanged.
    let report = inspect(&[lines[0].clone(), lines[1].clone(), lines[3].clone()], LINK);
    let fault = finding(&report, "Nothing that OUT sends reaches IN");
    assert!(
        fault["try_next"].to_string().contains("look exchanged"),
        "{fault}"
    );
}

#[test]
fn a_line_that_never_moves_while_others_do_is_asked_about() {
    let lines = [
        ("SUN", pulses(3, 60), false),
        ("MOON", pulses(5, 60), false),
        ("LAMP", Vec::new(), true),
    ];
    let report = inspect(&lines, "");
    let note = finding(&report, "LAMP never moved in ");
    assert_eq!(
        (&note["severity"], &note["topic"]),
        (&"note".into(), &"stuck".into())
    );
    assert!(note["detail"].to_string().contains("LAMP stays high"), "{note}");
    assert!(note["try_next"].to_string().contains("driver's pin"), "{note}");
    // A link's dead end is told as that.
    let link = "[[link]]\nfrom = \"SUN\"\nto = \"LAMP\"\n";
    let titles = inspect(&lines, link)["findings"].to_string();
    assert!(!titles.contains("meant to?"), "{titles}");
}

#[test]
fn a_line_whose_pulses_a_rule_states_is_not_asked_about() {
    // Pulses of 120 ns to 220 ns, and no longer ones to compare them with.
    let mut dice = crate::dice::Dice(77);
    let short: Vec<(u64, u64)> = pulses(4, 400)
        .into_iter()
        .map(|(start, _)| (start, start + 120 + 10 * dice.below(11)))
        .collect();
    let lines = [("WRITE_N", short, true), ("STEP", pulses(9, 300), false)];
    let asked = |setup: &str| {
        let report = inspect(&lines, setup);
        let mut found = report["findings"].as_array().into_iter().flatten();
        found.any(|f| f["title"].to_string().contains("WRITE_N"))
    };
    assert!(asked(""), "without a rule it is asked about");
    let rule =
        "[[limit]]\nkind = \"pulse-width\"\nline = \"WRITE_N\"\nlevel = \"low\"\nat_least = \"100 ns\"\n";
    assert!(!asked(rule));
}
