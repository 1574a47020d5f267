//! The whole main job on the demo: what was planted is found, and nobody else is accused.
//!
//! Source of the truth: `demo::captures()`, written down by the simulator as it plants; nothing here was measured
//! by the code under test.

use std::path::PathBuf;

use assert_cmd::Command;
use edgewitness::demo::truth::CaptureTruth;
use serde_json::Value;

use crate::truth::truth;

fn sample(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("sample-captures")
        .join(name)
}

fn answer(words: &[&str], files: &[&str]) -> Value {
    let mut command = Command::cargo_bin("edgewitness").expect("the binary is built");
    command.args(words).arg("--json");
    for word in files {
        match word.strip_prefix("sample:") {
            Some(name) => command.arg(sample(name)),
            None => command.arg(word),
        };
    }
    let output = command.output().expect("the binary runs");
    let problem = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{words:?}: {problem}");
    serde_json::from_slice(&output.stdout).expect("JSON on standard output")
}

fn inspect(name: &str, with_setup: bool) -> Value {
    let file = format!("sample:{name}");
    if with_setup {
        answer(&["inspect"], &[&file, "--setup", "sample:setup.toml"])
    } else {
        answer(&["inspect"], &[&file])
    }
}

fn rows<'a>(report: &'a Value, list: &str) -> &'a Vec<Value> {
    report[list].as_array().expect("a list")
}

fn text<'a>(row: &'a Value, field: &str) -> &'a str {
    row[field].as_str().unwrap_or_default()
}

fn number(row: &Value, field: &str) -> f64 {
    row[field].as_f64().expect("a number")
}

/// Whether two ascending lists agree to within `tolerance`, one by one.
fn agree(found: &[f64], planted: &[f64], tolerance: f64) -> bool {
    found.len() == planted.len() && found.iter().zip(planted).all(|(a, b)| (a - b).abs() <= tolerance)
}

/// The accusations: victim, aggressor, edge of each row that stands clear.
fn accused(report: &Value) -> Vec<(String, String, String)> {
    rows(report, "couplings")
        .iter()
        .filter(|row| text(row, "standing") == "clear")
        .map(|row| {
            let word = |field| text(row, field).to_owned();
            (word("victim"), word("aggressor"), word("edge"))
        })
        .collect()
}

fn lines_of(report: &Value, topics: &[&str]) -> Vec<String> {
    rows(report, "findings")
        .iter()
        .filter(|finding| topics.contains(&text(finding, "topic")))
        .flat_map(|finding| finding["lines"].as_array().expect("lines").clone())
        .map(|line| line.as_str().expect("a name").to_owned())
        .collect()
}

/// The line that each finding of the topic says is stuck: it stands first, the neighbours it is compared with after it.
fn stuck(report: &Value) -> Vec<String> {
    rows(report, "findings")
        .iter()
        .filter(|finding| text(finding, "topic") == "stuck")
        .map(|finding| finding["lines"][0].as_str().expect("a name").to_owned())
        .collect()
}

fn guilty() -> Vec<(String, String, String)> {
    vec![("CLEAR_N".to_owned(), "STEP".to_owned(), "fall".to_owned())]
}

fn check_coupling(report: &Value, planted: &CaptureTruth) {
    assert_eq!(accused(report), guilty(), "{}", planted.file);
    let row = &rows(report, "couplings")[0];
    let coupling = &planted.couplings[0];
    assert_eq!(
        number(row, "strays") as usize,
        coupling.strays,
        "{}",
        planted.file
    );
    let opportunities = number(row, "opportunities");
    assert!(
        (opportunities - coupling.opportunities as f64).abs() <= 2.0,
        "{opportunities}"
    );
    // One draw of a hundred or so is no check of a 95 % interval against the planted chance: the accuracy tests draw
    // many. Here the interval must hold the rate of the strikes that did happen, and rule out none and all.
    let rate = &row["strike_rate"];
    let struck = coupling.strays as f64 / coupling.opportunities as f64;
    let (low, high) = (number(rate, "low"), number(rate, "high"));
    assert!(0.0 < low && low < struck && struck < high && high < 1.0, "{rate}");
    let suspected = lines_of(report, &["coupling", "inseparable", "shared-supply"]);
    for innocent in &planted.innocent {
        assert!(
            !suspected.contains(innocent),
            "{innocent} is accused: {suspected:?}"
        );
    }
}

fn check_strays(report: &Value, planted: &CaptureTruth) {
    let found: Vec<f64> = rows(report, "strays")
        .iter()
        .filter(|stray| text(stray, "kind") == "pulse")
        .map(|stray| {
            assert_eq!(text(stray, "line"), "CLEAR_N", "{stray}");
            assert_eq!(text(stray, "level"), "low", "{stray}");
            number(stray, "start_s")
        })
        .collect();
    let shown = planted.strays.iter().filter(|s| s.shown);
    let expected: Vec<f64> = shown.map(|s| s.start_s).collect();
    assert!(
        agree(&found, &expected, planted.resolution_s),
        "{}: {} found, {} planted",
        planted.file,
        found.len(),
        expected.len()
    );
}

fn check_link(report: &Value, planted: &CaptureTruth) {
    let links = rows(report, "links");
    assert_eq!(links.len(), planted.links.len());
    let (found, expected) = (&links[0], &planted.links[0]);
    assert_eq!(
        (text(found, "from"), text(found, "to")),
        (&expected.from[..], &expected.to[..])
    );
    assert_eq!(text(found, "verdict"), "lossy");
    assert_eq!(number(found, "sent") as usize, expected.sent);
    assert_eq!(number(found, "arrived") as usize, expected.arrived);
    let missing = found["missing_s"].as_array().expect("a list");
    let missing: Vec<f64> = missing
        .iter()
        .map(|time| time.as_f64().expect("a time"))
        .collect();
    assert!(
        agree(&missing, &expected.missing_s, planted.resolution_s),
        "{}",
        planted.file
    );
    assert!(found["extra_s"].as_array().expect("a list").is_empty());
    assert!(
        found["better_match"].is_null(),
        "no other line carries the lost ones"
    );
}

fn check_bounce(report: &Value, planted: &CaptureTruth) {
    let bounces: Vec<&Value> = rows(report, "strays")
        .iter()
        .filter(|stray| text(stray, "kind") == "bounce")
        .collect();
    for stray in &bounces {
        assert_eq!(text(stray, "line"), "PLAY");
        assert!(stray["aggressor"].is_null());
        let start = number(stray, "start_s");
        let inside = |b: &edgewitness::demo::truth::BounceTruth| {
            b.start_s - planted.resolution_s <= start && start <= b.end_s + planted.resolution_s
        };
        assert!(
            planted.bounces.iter().any(inside),
            "no burst was planted at {start}"
        );
    }
    for burst in &planted.bounces {
        let told = bounces.iter().any(|stray| {
            let start = number(stray, "start_s");
            burst.start_s - planted.resolution_s <= start && start < burst.end_s
        });
        assert!(told, "the burst at {} is not told", burst.start_s);
    }
    assert!(lines_of(report, &["bounce"]).contains(&"PLAY".to_owned()));
}

#[test]
fn all_that_was_planted_as_found_is_found() {
    for (name, with_setup) in [
        ("as-found.vcd", true),
        ("as-found-changes.csv", true),
        ("as-found.vcd", false),
    ] {
        let (report, planted) = (inspect(name, with_setup), truth(name));
        check_coupling(&report, &planted);
        check_strays(&report, &planted);
        check_bounce(&report, &planted);
        assert_eq!(stuck(&report), planted.stuck, "{name}");
        if with_setup {
            check_link(&report, &planted);
        }
    }
}

#[test]
fn pulses_of_a_strobe_raise_no_question_where_widths_give_no_ground() {
    // STRIKE_OUT's pulses are those of STEP's bursts; what repeats them is at its far end.
    let report = answer(&["inspect"], &["sample:as-found.vcd", "sample:tower.csv"]);
    for line in ["STRIKE_OUT", "STRIKE_IN"] {
        let of_line = |row: &&Value| text(row, "topic") == "stray" && row["lines"][0].as_str() == Some(line);
        let found: Vec<&Value> = rows(&report, "findings").iter().filter(of_line).collect();
        assert!(found.is_empty(), "{found:?}");
    }
}

#[test]
fn the_evening_after_the_fix() {
    let (report, planted) = (inspect("clear-moved.vcd", true), truth("clear-moved.vcd"));
    assert!(accused(&report).is_empty(), "{:?}", accused(&report));
    check_link(&report, &planted);
    check_bounce(&report, &planted);
    assert_eq!(stuck(&report), planted.stuck);
}

#[test]
fn the_bench_run_sampled_and_exact() {
    for name in ["bench-samples.csv", "bench-exact.vcd"] {
        let (report, planted) = (inspect(name, true), truth(name));
        check_coupling(&report, &planted);
        check_strays(&report, &planted);
        check_link(&report, &planted);
    }
}

#[test]
fn both_forms_of_one_recording_give_one_answer() {
    let (vcd, csv) = (
        inspect("as-found.vcd", true),
        inspect("as-found-changes.csv", true),
    );
    assert_eq!(rows(&vcd, "strays").len(), rows(&csv, "strays").len());
    for (a, b) in rows(&vcd, "strays").iter().zip(rows(&csv, "strays")) {
        assert_eq!(
            (text(a, "line"), text(a, "kind"), text(a, "aggressor")),
            (text(b, "line"), text(b, "kind"), text(b, "aggressor"))
        );
        assert!((number(a, "start_s") - number(b, "start_s")).abs() < 1e-12);
        assert!((number(a, "width_s") - number(b, "width_s")).abs() < 1e-12);
    }
    let titles = |report: &Value| -> Vec<String> {
        let findings = rows(report, "findings").iter();
        let real = findings.filter(|f| text(f, "topic") != "reading");
        real.map(|f| text(f, "title").to_owned()).collect()
    };
    assert_eq!(titles(&vcd), titles(&csv));
}

/// The planted sag: the supply's truth is the lowest volts that the simulator wrote (`demo::supply`), read off its table.
#[test]
fn the_sagging_supply_is_named_with_and_without_a_setup() {
    let table = std::fs::read_to_string(sample("supply.csv")).expect("the table is there");
    let tower = |row: &str| row.split(',').nth(2).and_then(|cell| cell.parse().ok());
    let lowest: f64 = table
        .lines()
        .skip(1)
        .filter_map(tower)
        .fold(f64::INFINITY, f64::min);
    for with_setup in [true, false] {
        let files: &[&str] = if with_setup {
            &["sample:supply.csv", "--setup", "sample:supply.toml"]
        } else {
            &["sample:supply.csv"]
        };
        let report = answer(&["inspect"], files);
        let rails: Vec<&Value> = rows(&report, "findings")
            .iter()
            .filter(|f| text(f, "topic") == "rail")
            .collect();
        let sag = rails
            .iter()
            .find(|f| text(f, "title").starts_with("VCC_TOWER sags to"));
        let sag = sag.unwrap_or_else(|| panic!("{rails:?}"));
        let said: f64 = text(sag, "title")
            .split(' ')
            .nth(3)
            .and_then(|v| v.parse().ok())
            .expect("volts");
        // Told with three figures.
        assert!(
            (said - lowest).abs() < 0.006,
            "{said} V said, {lowest} V in the table"
        );
        // Beyond 10 % of nominal it is a fault, whoever said what the supply should be (data books of the TTL families, from
        // memory: 4.5 V to 5.5 V at the widest).
        assert!(lowest < 4.5, "{lowest} V");
        assert_eq!(text(sag, "severity"), "fault");
        assert!(
            sag["lines"].as_array().unwrap().contains(&Value::from("LIFT")),
            "{sag}"
        );
        assert!(
            !rails.iter().any(|f| text(f, "title").starts_with("VEE")),
            "{rails:?}"
        );
        assert_eq!(rows(&report, "rails").len(), 3);
    }
}

#[test]
fn the_open_select_pin_is_named() {
    let files = [
        "sample:key-multiplexer.csv",
        "--setup",
        "sample:key-multiplexer.toml",
    ];
    let report = answer(&["inspect"], &files);
    let logic: Vec<&Value> = rows(&report, "findings")
        .iter()
        .filter(|f| text(f, "topic") == "logic")
        .collect();
    assert_eq!(logic.len(), 1, "{logic:?}");
    assert!(
        text(logic[0], "title").contains("as if SELECT_1 were always high"),
        "{}",
        logic[0]
    );
}

/// What a person says of single pulses in the setup file overrules their widths, and the findings follow.
#[test]
fn pulses_marked_in_the_setup_file_are_what_it_says() {
    let before = inspect("as-found.vcd", false);
    let strays: Vec<f64> = rows(&before, "strays")
        .iter()
        .filter(|row| text(row, "line") == "CLEAR_N")
        .map(|row| number(row, "start_s"))
        .collect();
    let list = |starts: &[f64]| {
        starts
            .iter()
            .map(|s| format!("\"{s} s\""))
            .collect::<Vec<_>>()
            .join(", ")
    };
    // The first ten are legitimate; so is one that starts nowhere, which is told.
    let folder = tempfile::tempdir().unwrap();
    let setup = folder.path().join("marks.toml");
    let mut legitimate = strays[..10].to_vec();
    legitimate.push(1e-7);
    let said = format!("[line.CLEAR_N]\nlegitimate_at = [{}]\n", list(&legitimate));
    std::fs::write(&setup, said).unwrap();
    let setup = setup.to_str().unwrap();
    let after = answer(&["inspect"], &["sample:as-found.vcd", "--setup", setup]);
    let still: Vec<f64> = rows(&after, "strays")
        .iter()
        .filter(|row| text(row, "line") == "CLEAR_N")
        .map(|row| number(row, "start_s"))
        .collect();
    assert_eq!(still, strays[10..]);
    let of = |report: &Value| {
        let row = rows(report, "couplings")
            .iter()
            .find(|c| text(c, "victim") == "CLEAR_N");
        number(row.expect("CLEAR_N is struck"), "strays")
    };
    assert!(of(&after) >= of(&before) - 10.0 && of(&after) < of(&before));
    let warnings = after["captures"][0]["warnings"].to_string();
    assert!(warnings.contains("none starts then"), "{warnings}");
    // And the other way: what would be legitimate is a stray.
    let text = format!(
        "[line.CLEAR_N]\nnarrow_below = \"1 ns\"\nstray_at = [{}]\n",
        list(&strays[..3])
    );
    std::fs::write(setup, text).unwrap();
    let only = answer(&["inspect"], &["sample:as-found.vcd", "--setup", setup]);
    let only = rows(&only, "strays")
        .iter()
        .filter(|row| row["line"] == "CLEAR_N")
        .count();
    assert_eq!(only, 3);
}
