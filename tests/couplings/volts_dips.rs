//! Dips of a line in volts, some through both thresholds and most through one only: they are counted together. Captures are
//! made here, so that what was planted is known; no outside source.

use crate::command::json_of;
use crate::dice::Dice;
use serde_json::Value;

/// Samples of 5 ns of one step of the machine.
const STEP_SAMPLES: usize = 4_000;
const STEPS: usize = 40;

/// STEP pulses once a step. After some of its falls CLEAR_N, at rest at 4 V, dips to 0.3 V (the first `deep` of those) or
/// to 1.4 V (the other `runts`); after all others it dips to 2.3 V, which is no stray: a fixed coupling moves it each time. Every third
/// step it is low by itself for 1.5 µs and more.
fn capture(seed: u64, deep: usize, runts: usize) -> String {
    let mut dice = Dice(seed);
    let mut clear = vec![4.0; STEPS * STEP_SAMPLES];
    let mut step = vec![0.2; STEPS * STEP_SAMPLES];
    let mut falls = Vec::new();
    for at in 0..STEPS {
        let from = at * STEP_SAMPLES + 500 + dice.below(800) as usize;
        let fall = from + 300 + dice.below(400) as usize;
        step[from..fall].fill(4.0);
        falls.push(fall);
        if at % 3 == 0 {
            let own = at * STEP_SAMPLES + 2_500;
            clear[own..own + 300 + dice.below(300) as usize].fill(0.2);
        }
    }
    // After falls that the dice choose: evenly spaced they would look like the line's own doing.
    let mut order: Vec<(f64, usize)> = falls.iter().map(|fall| (dice.unit(), *fall)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, fall) in &order[deep + runts..] {
        clear[fall + 2..fall + 8].fill(2.3);
    }
    for (strike, (_, fall)) in order.into_iter().take(deep + runts).enumerate() {
        let fall = fall + 2 + dice.below(3) as usize;
        let (volts, samples) = match strike < deep {
            true => (0.3, 6 + dice.below(4)),
            false => (1.4, 4 + dice.below(6)),
        };
        clear[fall..fall + samples as usize].fill(volts);
    }
    let mut text = "Time (s),STEP (V),CLEAR_N (V)\n".to_owned();
    for (at, (step, clear)) in step.iter().zip(&clear).enumerate() {
        text.push_str(&format!("{:.9},{step:.2},{clear:.2}\n", at as f64 * 5e-9));
    }
    text
}

#[test]
fn dips_through_both_thresholds_are_counted_beside_the_runts() {
    let text = capture(3, 2, 12);
    let report = json_of(&[("volts.csv", &text)], &["inspect", "volts.csv"]);
    let of = |kind: &str| {
        let strays = report["strays"].as_array().unwrap().iter();
        strays
            .filter(|stray| stray["line"] == "CLEAR_N" && stray["kind"] == kind)
            .count()
    };
    assert_eq!((of("pulse"), of("runt")), (2, 12), "{}", report["strays"]);
    let row = &report["couplings"][0];
    assert_eq!(
        (&row["victim"], &row["aggressor"]),
        (&"CLEAR_N".into(), &"STEP".into())
    );
    assert_eq!(
        (&row["strays"], &row["opportunities"]),
        (&14.into(), &40.into()),
        "{row}"
    );
    let titles: Vec<&Value> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| &f["title"])
        .collect();
    assert_eq!(titles[0], "CLEAR_N: 14 of 14 stray pulses follow STEP falling");
    assert!(
        !titles
            .iter()
            .any(|title| title.to_string().contains("far shorter")),
        "{titles:?}"
    );
}

/// What was counted before is counted after as well, where no runt shows any more that it is of that kind.
#[test]
fn deep_dips_that_are_left_without_runts_are_no_cure() {
    let (before, after) = (capture(3, 2, 12), capture(5, 2, 0));
    let files = [("before.csv", before.as_str()), ("after.csv", &after)];
    let report = json_of(
        &files,
        &["compare", "--before", "before.csv", "--after", "after.csv"],
    );
    let row = &report["couplings"][0];
    assert_eq!(
        (&row["before"]["strays"], &row["after"]["strays"]),
        (&14.into(), &2.into()),
        "{report}"
    );
    assert_eq!(row["verdict"], "reduced", "{report}");
}

#[test]
fn dips_that_are_runts_all_are_put_down_to_who_brings_them() {
    let text = capture(5, 0, 14);
    let report = json_of(&[("volts.csv", &text)], &["inspect", "volts.csv"]);
    let row = &report["couplings"][0];
    assert_eq!(
        (&row["victim"], &row["aggressor"], &row["standing"]),
        (&"CLEAR_N".into(), &"STEP".into(), &"clear".into()),
        "{}",
        report["findings"]
    );
}
