//! What is stray whatever its width, and what could not be looked at: from outside, by the command line.

use crate::inspected::{LINK, inspect};
use crate::pulsed::{later, pulses, vcd};
use assert_cmd::Command;
use serde_json::Value;

/// The starts of the strays of a line in a report, in ns.
fn stray_starts(report: &Value, line: &str) -> Vec<u64> {
    let rows = report["strays"].as_array().expect("strays");
    let own = rows.iter().filter(|s| s["line"] == line);
    own.map(|s| (s["start_s"].as_f64().expect("a time") * 1e9).round() as u64)
        .collect()
}

/// Definition: a stray is a pulse too short for its line, or one that no sender sent. These are as wide as the others.
#[test]
fn what_nobody_sent_is_stray_and_is_laid_to_the_line_it_follows() {
    let sent = pulses(3, 200);
    let mut arrived = later(&sent, 35);
    let mut guilty = Vec::new();
    let mut extra = Vec::new();
    for (n, pair) in sent.windows(2).enumerate() {
        let middle = (pair[0].1 + pair[1].0) / 2;
        if n % 3 == 0 {
            guilty.push((middle, middle + 150));
            // Every second time, 12 ns after the rise; as wide as what the link carries.
            if n % 6 == 0 {
                extra.push((middle + 12, middle + 12 + 700));
            }
        }
    }
    extra.retain(|e| sent.iter().all(|s| e.1 + 100 < s.0 || e.0 > s.1 + 100));
    arrived.extend(&extra);
    arrived.sort_unstable();
    let lines = [
        ("OUT", sent, false),
        ("IN", arrived, false),
        ("STEP", guilty, false),
    ];
    let report = inspect(&lines, LINK);
    assert_eq!(report["links"][0]["verdict"], "noisy");
    let expected: Vec<u64> = extra.iter().map(|e| e.0).collect();
    assert!(expected.len() > 20, "{}", expected.len());
    assert_eq!(stray_starts(&report, "IN"), expected);
    assert_eq!(report["couplings"][0]["victim"], "IN", "{}", report["couplings"]);
    assert_eq!(report["couplings"][0]["aggressor"], "STEP");
    // Without the link nothing says that these pulses are not the line's own.
    assert_eq!(stray_starts(&inspect(&lines, ""), "IN"), Vec::<u64>::new());
}

#[test]
fn what_a_width_limit_forbids_is_stray_to_the_nanosecond() {
    let clear: Vec<(u64, u64)> = (1..60).map(|n| (n * 10_000, n * 10_000 + 300 + 10 * n)).collect();
    let lines = [("CLEAR_N", clear, true), ("STEP", pulses(4, 50), false)];
    let limit =
        "[[limit]]\nkind = \"pulse-width\"\nline = \"CLEAR_N\"\nlevel = \"low\"\nat_least = \"400 ns\"\n";
    // 310 … 390 ns are too short, 400 ns is not.
    let report = inspect(&lines, limit);
    let expected: Vec<u64> = (1..10).map(|n| n * 10_000).collect();
    assert_eq!(stray_starts(&report, "CLEAR_N"), expected);
    assert_eq!(stray_starts(&inspect(&lines, ""), "CLEAR_N"), Vec::<u64>::new());
}

#[test]
fn a_link_whose_name_is_not_here_is_told_with_the_names_that_are() {
    let sent = pulses(5, 40);
    let lines = [("OUT", sent.clone(), false), ("IN", later(&sent, 35), false)];
    let setup =
        format!("{LINK}[[link]]\nfrom = \"OUT\"\nto = \"INN\"\n[line.FOO]\nnarrow_below = \"60 ns\"\n");
    let report = inspect(&lines, &setup);
    let findings = report["findings"].as_array().expect("findings");
    let told = |words: &str| {
        findings
            .iter()
            .find(|f| f["title"].as_str().unwrap().contains(words))
    };
    let link = told("this capture has no line INN").expect("the link is told");
    assert_eq!(link["severity"], "warning");
    assert!(link["detail"].as_str().unwrap().contains("OUT, IN"), "{link}");
    assert_eq!(
        told("says of FOO was not used").expect("the line is told")["severity"],
        "note"
    );
    // What can be checked is checked all the same.
    assert_eq!(report["links"][0]["verdict"], "intact");
    assert!(
        inspect(&lines, LINK)["findings"]
            .as_array()
            .unwrap()
            .iter()
            .all(|f| f["topic"] != "reading")
    );
}

#[test]
fn two_files_that_nothing_joins_are_not_laid_on_one_another_in_silence() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("a.vcd"), vcd(&[("OUT", pulses(6, 40), false)])).expect("a file");
    std::fs::write(folder.path().join("b.vcd"), vcd(&[("IN", pulses(7, 40), false)])).expect("a file");
    let mut command = Command::cargo_bin("edgewitness").expect("the binary is built");
    let output = command
        .args(["inspect", "a.vcd", "b.vcd", "--json"])
        .current_dir(folder.path())
        .output()
        .expect("it runs");
    let report: Value = serde_json::from_slice(&output.stdout).expect("JSON on standard output");
    let findings = report["findings"].as_array().expect("findings");
    let told = findings
        .iter()
        .find(|f| f["topic"] == "alignment")
        .expect("it is told");
    assert!(told["title"].as_str().unwrap().contains("b.vcd"), "{told}");
}
