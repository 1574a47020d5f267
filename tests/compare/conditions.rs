//! Before and after, from outside: the command line on captures made here, where what was planted is known.
//!
//! Outside values: two-sided Fisher by scipy.stats.fisher_exact 1.17.1, the exact bound 1 − 0.05^(1/n) of the rule of
//! three (Hanley and Lippman-Hand 1983).
//!
//! Not covered: captures under one condition by several instruments (`tests/clocks/joined.rs`, and `workflow::runs` for sessions).

use crate::command::json_of;
use crate::machine_runs::{PLAIN, Plan, SETUP, run};
use serde_json::Value;

fn compared(before: &[Plan], after: &[Plan]) -> Value {
    let mut files = vec![("setup.toml".to_owned(), SETUP.to_owned())];
    let mut words = vec![
        "compare".to_owned(),
        "--setup".to_owned(),
        "setup.toml".to_owned(),
    ];
    for (word, plans, seed) in [("--before", before, 100), ("--after", after, 900)] {
        words.push(word.to_owned());
        for (i, plan) in plans.iter().enumerate() {
            let name = format!("{}-{i}.vcd", &word[2..]);
            words.push(name.clone());
            files.push((name, run(seed + 17 * i as u64, plan)));
        }
    }
    let files: Vec<(&str, &str)> = files
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()))
        .collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    json_of(&files, &words)
}

fn coupling(report: &Value) -> &Value {
    let rows = report["couplings"].as_array().expect("a list");
    assert_eq!(rows.len(), 1, "STEP alone is accused: {rows:?}");
    assert_eq!(
        (&rows[0]["victim"], &rows[0]["aggressor"]),
        (&"CLEAR_N".into(), &"STEP".into())
    );
    &rows[0]
}

fn counts(row: &Value) -> [u64; 4] {
    [
        &row["before"]["strays"],
        &row["before"]["opportunities"],
        &row["after"]["strays"],
        &row["after"]["opportunities"],
    ]
    .map(|n| n.as_u64().expect("a count"))
}

#[test]
fn a_fix_that_worked_is_gone_with_its_bound() {
    let report = compared(&[Plan { struck: 60, ..PLAIN }], &[PLAIN]);
    let row = coupling(&report);
    assert_eq!(row["verdict"], "gone");
    let [a, n1, b, n2] = counts(row);
    assert_eq!((a, b), (60, 0));
    assert!(n1 >= 195 && n2 >= 195, "{row}");
    // All strays are the coupling's: nothing is left to be counted over time.
    assert_eq!(report["strays"].as_array().map(Vec::len), Some(0));
    let bound = 1.0 - 0.05f64.powf(1.0 / n2 as f64);
    assert!((row["after_upper_bound"].as_f64().unwrap_or(0.0) / bound - 1.0).abs() < 1e-9);
    // scipy.stats.fisher_exact([[60, 140], [0, 200]]) 1.17.1: 1.0637e-20; a few falls more or less change little.
    let p = row["p_value"].as_f64().unwrap_or(1.0);
    assert!((1e-21..1e-19).contains(&p), "{p}");
}

/// Two runs before, of which one alone shows the strays: nobody is told that the change took them away.
#[test]
fn runs_of_one_condition_that_are_not_alike_are_told() {
    let struck = Plan { struck: 60, ..PLAIN };
    let report = compared(&[struck, PLAIN], &[PLAIN]);
    let row = coupling(&report);
    let says = row["says"].as_str().unwrap_or("");
    assert!(
        says.contains(
            " All 60 before came in one of the two runs (before-0.vcd), and none in the other (200 opportunities): what \
             differs between these runs may be what brings it."
        ),
        "{says}"
    );
    assert!(
        says.starts_with("CLEAR_N struck by STEP: none so far ("),
        "{says}"
    );
    let next = row["next"].as_str().unwrap_or("");
    assert!(
        next.starts_with("See first what differs between the runs"),
        "{next}"
    );
    let advice = report["advice"].as_str().unwrap_or("");
    assert!(!advice.contains("Better by more than luck"), "{advice}");
    // The same on the other side.
    let report = compared(&[PLAIN], &[PLAIN, struck, PLAIN]);
    let says = coupling(&report)["says"].as_str().unwrap_or("").to_owned();
    assert!(
        says.contains("All 60 after came in one of the 3 runs (after-1.vcd), and none in the other 2"),
        "{says}"
    );
    // Runs that both show it are alike, and a single stray may fall into either.
    for before in [[struck; 2], [Plan { struck: 1, ..PLAIN }, PLAIN]] {
        let report = compared(&before, &[struck]);
        let says = coupling(&report)["says"].as_str().unwrap_or("").to_owned();
        assert!(!says.contains("in one of the"), "{says}");
    }
}

#[test]
fn one_recording_on_both_sides_is_told() {
    let text = run(5, &Plan { struck: 40, ..PLAIN });
    let words = ["compare", "--before", "a.vcd", "--after", "b.vcd"];
    let report = json_of(&[("a.vcd", &text), ("b.vcd", &text)], &words);
    let note = report["notes"][0].as_str().unwrap_or("");
    assert!(
        note.starts_with("The same recording stands on both sides (a.vcd and b.vcd)"),
        "{report}"
    );
    let other = run(6, &Plan { struck: 40, ..PLAIN });
    let report = json_of(&[("a.vcd", &text), ("b.vcd", &other)], &words);
    assert_eq!(report["notes"].as_array().map(Vec::len), Some(0));
}

/// GRANT begins 28 ns after every rise of REQ, for 40 to 109 ns every third time and for microseconds else: what inspect takes
/// for its job is no trouble here either.
#[test]
fn short_pulses_that_are_a_line_s_job_are_nothing_to_compare() {
    let text = |first: u64| {
        let mut changes: Vec<(u64, char, u8)> = Vec::new();
        for n in first..first + 90 {
            let at = 30_000 * (n - first) + 97 * (n % 7) + 5_000;
            let start = at + 28 + n % 5;
            let width = if n % 3 == 0 {
                40 + n * 7 % 70
            } else {
                4_000 + 97 * (n % 50)
            };
            changes.extend([(at, 'r', 1), (at + 700 + 31 * (n % 5), 'r', 0)]);
            changes.extend([(start, 'g', 1), (start + width, 'g', 0)]);
        }
        changes.sort_unstable();
        let mut text = "$timescale 1ns $end\n$var wire 1 r REQ $end\n$var wire 1 g GRANT $end\n$enddefinitions $end\n#0\n0r\n0g\n".to_owned();
        for (time, code, level) in changes {
            text.push_str(&format!("#{time}\n{level}{code}\n"));
        }
        text + "#3000000\n"
    };
    let (before, after) = (text(1), text(4));
    let words = ["compare", "--before", "a.vcd", "--after", "b.vcd"];
    let report = json_of(&[("a.vcd", &before), ("b.vcd", &after)], &words);
    assert_eq!(
        report["couplings"].as_array().map(Vec::len),
        Some(0),
        "{}",
        report["couplings"]
    );
    let inspected = json_of(&[("a.vcd", &before)], &["inspect", "a.vcd"]);
    let told = inspected["findings"].as_array().is_some_and(|all| {
        all.iter().any(|f| {
            f["title"]
                .as_str()
                .is_some_and(|t| t.contains("as its long ones do"))
        })
    });
    assert!(told, "{}", inspected["findings"]);
}

#[test]
fn twice_as_long_a_run_does_not_look_twice_as_bad() {
    let before = [Plan { struck: 80, ..PLAIN }];
    let after = [Plan { struck: 80, ..PLAIN }, Plan { struck: 80, ..PLAIN }];
    let row = compared(&before, &after);
    let row = coupling(&row);
    assert_eq!(row["verdict"], "unchanged");
    assert_eq!([counts(row)[0], counts(row)[2]], [80, 160]);
    let ratio = row["rate_ratio"]["estimate"].as_f64().unwrap_or(0.0);
    assert!((0.98..1.02).contains(&ratio), "{ratio}");
}

#[test]
fn fewer_more_and_new_are_told_apart() {
    let verdict = |before: usize, after: usize| {
        let report = compared(
            &[Plan {
                struck: before,
                ..PLAIN
            }],
            &[Plan {
                struck: after,
                ..PLAIN
            }],
        );
        coupling(&report)["verdict"].clone()
    };
    assert_eq!(verdict(100, 30), "reduced");
    assert_eq!(verdict(30, 100), "worse");
    let report = compared(&[PLAIN], &[Plan { struck: 50, ..PLAIN }]);
    let row = coupling(&report);
    assert_eq!(row["verdict"], "worse");
    assert!(
        row["says"]
            .as_str()
            .unwrap_or_default()
            .contains("new since the change"),
        "{row}"
    );
}

#[test]
fn too_few_opportunities_say_how_many_would_settle_it() {
    let short = Plan { falls: 12, ..PLAIN };
    let report = compared(&[Plan { struck: 40, ..PLAIN }], &[short]);
    let row = coupling(&report);
    assert_eq!(row["verdict"], "undecided");
    let needed = row["opportunities_needed"].as_u64().expect("a number");
    let [_, _, _, n2] = counts(row);
    assert!(needed > n2 && needed < 60, "{needed} needed, {n2} had");
    // So many clean falls do settle it, and hardly any fewer.
    let with = |falls: usize| {
        let report = compared(&[Plan { struck: 40, ..PLAIN }], &[Plan { falls, ..PLAIN }]);
        (coupling(&report)["verdict"].clone(), counts(coupling(&report))[3])
    };
    let (verdict, n2) = with(needed as usize + 2);
    assert!(
        n2 >= needed && verdict == "gone",
        "{verdict} at {n2}, {needed} needed"
    );
    let (verdict, n2) = with(needed as usize - 3);
    assert!(
        n2 < needed && verdict == "undecided",
        "{verdict} at {n2}, {needed} needed"
    );
}

#[test]
fn losses_bounce_and_limits_are_compared_too() {
    let before = Plan {
        struck: 60,
        lost: 50,
        bounced: 20,
        ..PLAIN
    };
    let after = Plan { lost: 55, ..PLAIN };
    let report = compared(&[before], &[after]);
    let link = &report["links"][0];
    assert_eq!(
        (&link["from"], &link["verdict"]),
        (&"STRIKE_OUT".into(), &"unchanged".into()),
        "{link}"
    );
    assert_eq!([&link["before"]["missing"], &link["after"]["missing"]], [50, 55]);
    assert_eq!(link["before"]["sent"], 200);
    let bounce = &report["bounces"][0];
    assert_eq!(
        (&bounce["name"], &bounce["verdict"]),
        (&"KEY".into(), &"gone".into()),
        "{bounce}"
    );
    assert_eq!(
        [&bounce["before"]["wrong"], &bounce["before"]["occasions"]],
        [20, 20]
    );
    assert_eq!(
        [&bounce["after"]["wrong"], &bounce["after"]["occasions"]],
        [0, 20]
    );
    let limit = &report["limits"][0];
    assert_eq!(
        limit["lines"].as_array().map(Vec::is_empty),
        Some(false),
        "{limit}"
    );
    assert_eq!(
        (&limit["name"], &limit["verdict"]),
        (&"clear lasts".into(), &"gone".into()),
        "{limit}"
    );
    assert_eq!([&limit["before"]["wrong"], &limit["after"]["wrong"]], [60, 0]);
    assert_eq!(report["extras"][0]["before"]["wrong"], 0);
}

#[test]
fn a_quiet_pair_has_nothing_to_accuse() {
    let report = compared(&[PLAIN], &[PLAIN]);
    assert_eq!(report["couplings"].as_array().map(Vec::len), Some(0));
    assert_eq!(report["links"][0]["before"]["missing"], 0);
    assert_eq!(report["limits"][0]["before"]["wrong"], 0);
}

/// The one row of a list that counts over time: verdict, what went wrong before and after, seconds watched.
fn over_time(report: &Value, list: &str, name: &str) -> (String, [u64; 2], [f64; 2]) {
    let rows = report[list].as_array().expect("a list");
    assert_eq!(rows.len(), 1, "{rows:?}");
    let row = &rows[0];
    assert_eq!(row["name"], name);
    let slot = row["slot_s"].as_f64().expect("a slot");
    let side = |side: &str| &row[side];
    (
        row["verdict"].as_str().unwrap_or("").to_owned(),
        ["before", "after"].map(|s| side(s)["wrong"].as_u64().expect("a count")),
        ["before", "after"].map(|s| side(s)["occasions"].as_u64().expect("a count") as f64 * slot),
    )
}

#[test]
fn strays_without_a_cause_are_compared_over_the_time_watched() {
    let before = Plan {
        causeless: 40,
        ..PLAIN
    };
    let gone = compared(&[before], &[PLAIN]);
    assert_eq!(gone["couplings"].as_array().map(Vec::len), Some(0));
    let (verdict, wrong, watched) = over_time(&gone, "strays", "CLEAR_N");
    assert_eq!((verdict.as_str(), wrong), ("gone", [40, 0]));
    let length = |side: &str| {
        gone[side][0]["end_s"].as_f64().unwrap_or(0.0) - gone[side][0]["start_s"].as_f64().unwrap_or(0.0)
    };
    for (side, seconds) in [("before", watched[0]), ("after", watched[1])] {
        assert!(
            (seconds / length(side) - 1.0).abs() < 1e-5,
            "{seconds} of {}",
            length(side)
        );
    }
    // None in T after: at most −ln 0.05 / T (rule of three, Hanley and Lippman-Hand 1983).
    let row = &gone["strays"][0];
    let most = row["after_upper_bound"].as_f64().unwrap_or(0.0) / row["slot_s"].as_f64().unwrap_or(1.0);
    assert!((most * watched[1] / -(0.05f64.ln()) - 1.0).abs() < 1e-4, "{most}");
    // The same rate in a run twice as long is no change for the worse.
    let longer = compared(&[before], &[before, before]);
    let (verdict, wrong, _) = over_time(&longer, "strays", "CLEAR_N");
    assert_eq!((verdict.as_str(), wrong), ("unchanged", [40, 80]));
    // And what comes with the change is new.
    let new = compared(&[PLAIN], &[before]);
    let (verdict, wrong, _) = over_time(&new, "strays", "CLEAR_N");
    assert_eq!((verdict.as_str(), wrong), ("worse", [0, 40]));
}

#[test]
fn rails_are_compared_over_the_time_watched() {
    // 5 V sampled every 100 us for two seconds, with so many dips to 4.2 V of half a millisecond.
    let table = |dips: usize| {
        let mut text = "Time (s),+5V (V)\n".to_owned();
        for i in 0..20_000usize {
            let in_dip = dips > 0 && i % (20_000 / dips) < 5 && i >= 5;
            text.push_str(&format!(
                "{:.4},{}\n",
                i as f64 * 1e-4,
                if in_dip { "4.2" } else { "5.02" }
            ));
        }
        text
    };
    let (before, after) = (table(25), table(0));
    let report = json_of(
        &[("before.csv", &before), ("after.csv", &after)],
        &["compare", "--before", "before.csv", "--after", "after.csv"],
    );
    let (verdict, wrong, watched) = over_time(&report, "rails", "+5V");
    assert_eq!((verdict.as_str(), wrong), ("gone", [24, 0]));
    assert!(
        watched.iter().all(|s| (s / 2.0 - 1.0).abs() < 1e-3),
        "{watched:?}"
    );
    let says = report["rails"][0]["says"].as_str().unwrap_or("");
    assert!(
        says.starts_with("+5V out of its limits: gone (24 in 2 s before, 0 in 2 s after)"),
        "{says}"
    );
}
