//! What to do with a change, from outside: once, and never against it on what is undecided.

use crate::command::json_of;
use crate::machine_runs::{PLAIN, Plan, SETUP, run};
use serde_json::Value;

fn compared(before: &str, after: &str) -> Value {
    super::compared(("a.vcd", before), ("b.vcd", after), SETUP)
}

/// All that is advised of single troubles.
fn nexts(report: &Value) -> Vec<String> {
    let lists = [
        "couplings",
        "links",
        "extras",
        "bounces",
        "limits",
        "strays",
        "rails",
    ];
    let rows = lists.iter().filter_map(|list| report[*list].as_array()).flatten();
    rows.filter_map(|row| row["next"].as_str().map(str::to_owned))
        .collect()
}

#[test]
fn what_is_undecided_speaks_not_against_what_got_better() {
    // Strikes are gone; of the lost pulses a few more than before, which may be chance.
    let before = Plan {
        struck: 60,
        lost: 6,
        ..PLAIN
    };
    let after = Plan { lost: 9, ..PLAIN };
    let report = compared(&run(3, &before), &run(4, &after));
    assert_eq!(report["couplings"][0]["verdict"], "gone");
    assert_eq!(report["links"][0]["verdict"], "undecided", "{report}");
    let advice = report["advice"].as_str().unwrap_or("");
    assert!(
        advice.starts_with("Leave the change in. Better by more than luck: CLEAR_N struck by STEP"),
        "{advice}"
    );
    assert!(
        advice.contains("no ground to undo it: STRIKE_OUT to STRIKE_IN"),
        "{advice}"
    );
    for next in nexts(&report) {
        assert!(
            !next.to_lowercase().contains("undo") && !next.contains("Leave the change"),
            "{next}"
        );
    }
    // The number stands in the sentence: what may still be, and how much more would tell.
    let says = report["links"][0]["says"].as_str().unwrap_or("");
    assert!(
        says.contains("times as often as before") && says.contains("would tell"),
        "{says}"
    );
}

#[test]
fn a_finding_promises_the_number_that_the_comparison_asks_for() {
    let before = run(3, &Plan { struck: 60, ..PLAIN });
    let found = json_of(
        &[("a.vcd", &before), ("setup.toml", SETUP)],
        &["inspect", "a.vcd", "--setup", "setup.toml"],
    );
    let findings = found["findings"].as_array().expect("a list");
    let of_step = findings
        .iter()
        .find(|f| f["topic"] == "coupling")
        .expect("STEP's");
    let promised = of_step["try_next"][0].as_str().unwrap_or("").to_owned();
    // So few falls of STEP after that none of them is significant, and says little.
    let short = run(4, &Plan { falls: 14, ..PLAIN });
    let report = compared(&before, &short);
    let row = &report["couplings"][0];
    assert_eq!(row["verdict"], "gone", "{row}");
    let needed = row["opportunities_needed"].as_u64().expect("a number");
    let n2 = row["after"]["opportunities"].as_u64().unwrap_or(0);
    let next = row["next"].as_str().unwrap_or("");
    assert!(
        next.contains(&format!(
            "{needed} opportunities went by in all, {} more",
            needed - n2
        )),
        "{next}"
    );
    assert!(
        promised.contains(&format!("{needed} that at most a tenth of it is left")),
        "{promised} / {next}"
    );
    let says = row["says"].as_str().unwrap_or("");
    assert!(
        says.contains("none so far") && says.contains("too few went by"),
        "{says}"
    );
    // The table says the same word as the sentence above it; the report keeps the verdict's own.
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in [("a.vcd", &before), ("b.vcd", &short)] {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    let mut command = assert_cmd::Command::cargo_bin("edgewitness").expect("the binary is built");
    let words = ["compare", "--before", "a.vcd", "--after", "b.vcd"];
    let output = command.args(words).current_dir(folder.path()).output();
    let text = String::from_utf8(output.expect("it runs").stdout).expect("text");
    let told = text
        .lines()
        .find(|row| row.contains("CLEAR_N by STEP (") && row.contains(" of "));
    assert!(
        told.is_some_and(|row| row.trim_end().ends_with("none so far")),
        "{text}"
    );
    // 1 − 0.05^(1/n): the rule of three (Hanley and Lippman-Hand 1983) at a tenth of the rate before, and not one earlier.
    let rate = row["before"]["strays"].as_f64().unwrap_or(0.0)
        / row["before"]["opportunities"].as_f64().unwrap_or(1.0);
    let bound = |n: u64| 1.0 - 0.05f64.powf(1.0 / n as f64);
    assert!(bound(needed) <= rate / 10.0 && bound(needed - 1) > rate / 10.0);
}
