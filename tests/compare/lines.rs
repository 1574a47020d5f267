//! Lines that are not on both sides, stand still on one, or are called otherwise: no cure is made of them, and it is said.

use serde_json::Value;

use crate::machine_runs::{PLAIN, Plan, SETUP, run};

/// What `compare` says of a capture as VCD, before, and another with its file name, after.
fn compared(before: &str, after: (&str, &str)) -> Value {
    super::compared(("found.vcd", before), after, SETUP)
}

/// Whether a row of a dump is a change of the line called `name`.
fn changes_of(dump: &str, name: &str) -> impl Fn(&str) -> bool {
    let declared = dump.lines().find(|row| row.contains(&format!(" {name} ")));
    let code = declared.unwrap().split(' ').nth(3).unwrap().to_owned();
    move |row| row.len() == 1 + code.len() && row.starts_with(['0', '1']) && row.ends_with(&code)
}

/// A line that one side did not capture: the verdict says so instead of counting nothing, and a note names the line.
#[test]
fn a_line_that_is_absent_on_one_side_is_said() {
    let found = run(7, &Plan { struck: 40, ..PLAIN });
    // The same machine, CLEAR_N without a probe: its declaration and its changes are left out.
    let is_change = changes_of(&found, "CLEAR_N");
    let without = |line: &&str| !line.contains(" CLEAR_N ") && !is_change(line);
    let blind: Vec<&str> = found.lines().filter(without).collect();
    let blind = blind.join("\n") + "\n";
    let report = compared(&found, ("blind.vcd", &blind));
    let row = &report["couplings"][0];
    assert_eq!(
        (&row["victim"], &row["verdict"]),
        (&"CLEAR_N".into(), &"undecided".into()),
        "{report}"
    );
    let says = row["says"].as_str().unwrap();
    assert!(
        says.contains("can't be told, CLEAR_N was not captured after"),
        "{says}"
    );
    let notes = report["notes"].to_string();
    assert!(
        notes.contains("Captured before and not after, so not compared: CLEAR_N."),
        "{notes}"
    );
}

/// A line that died with the change has no strays left, and that is no cure: the verdict stays open, and a note says why.
#[test]
fn a_line_that_stands_still_after_the_change_is_no_cure() {
    let found = run(7, &Plan { struck: 40, ..PLAIN });
    // The same machine, CLEAR_N stuck high: its changes but the first are left out.
    let is_change = changes_of(&found, "CLEAR_N");
    let mut seen = 0;
    let is_kept = |line: &&str| {
        seen += usize::from(is_change(line));
        !is_change(line) || seen == 1
    };
    let dead: Vec<&str> = found.lines().filter(is_kept).collect();
    let dead = dead.join("\n") + "\n";
    let report = compared(&found, ("dead.vcd", &dead));
    let row = &report["couplings"][0];
    assert_eq!(row["verdict"], "undecided", "{report}");
    let says = row["says"].as_str().unwrap();
    assert!(
        says.contains("can't be told, CLEAR_N never switched after"),
        "{says}"
    );
    let notes = report["notes"].to_string();
    assert!(
        notes.contains("CLEAR_N never switched after, where it switched"),
        "{notes}"
    );
    assert!(
        row["next"]
            .as_str()
            .unwrap()
            .contains("See first that CLEAR_N still works"),
        "{row}"
    );
}

/// The same lines as a table of changes with bare names.
fn as_table(dump: &str) -> String {
    let declared: Vec<Vec<&str>> = dump
        .lines()
        .filter(|line| line.starts_with("$var"))
        .map(|line| line.split(' ').collect())
        .collect();
    let names: Vec<&str> = declared.iter().map(|words| words[4]).collect();
    let mut text = format!("Time (ns),{}\n", names.join(","));
    let mut levels = vec!['0'; names.len()];
    let mut moment = "";
    for line in dump.lines().skip_while(|line| *line != "#0") {
        if let Some(next) = line.strip_prefix('#') {
            if !moment.is_empty() {
                let row: Vec<String> = levels.iter().map(char::to_string).collect();
                text.push_str(&format!("{moment},{}\n", row.join(",")));
            }
            moment = next;
        } else if let Some(at) = declared.iter().position(|words| words[3] == &line[1..]) {
            levels[at] = line.chars().next().unwrap();
        }
    }
    let row: Vec<String> = levels.iter().map(char::to_string).collect();
    text + &format!("{moment},{}\n", row.join(","))
}

/// A VCD puts scopes before its names and a table of the same lines has none: they are the same lines, and it is said.
#[test]
fn names_that_differ_by_their_scopes_are_compared() {
    let found = run(100, &Plan { struck: 40, ..PLAIN });
    let scoped = found
        .replace(
            "$scope module carillon $end\n",
            "$scope module carillon $end\n$scope module tower $end\n$scope module board $end\n",
        )
        .replace(
            "$var wire 1 k",
            "$upscope $end\n$upscope $end\n$scope module panel $end\n$var wire 1 k",
        );
    let scoped = scoped.replace("$enddefinitions", "$upscope $end\n$enddefinitions");
    let fixed = as_table(&run(900, &PLAIN));
    let report = compared(&scoped, ("fixed.csv", &fixed));
    let row = &report["couplings"][0];
    assert_eq!(
        (&row["victim"], &row["aggressor"]),
        (&"CLEAR_N".into(), &"STEP".into())
    );
    assert_eq!(row["verdict"], "gone", "{report}");
    assert_eq!(report["links"][0]["before"]["sent"], 200, "{report}");
    let notes = report["notes"].to_string();
    assert!(
        notes.contains("compared as one: panel.KEY as KEY, tower.board.CLEAR_N as CLEAR_N, "),
        "{notes}"
    );
    assert!(!notes.contains("not compared"), "{notes}");
}
