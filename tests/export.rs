//! What goes out comes back in: by this program's own readers, and by an independent one (the crate `vcd`).
//! Parquet files are read by polars and DuckDB in `tests/parquet.py`.

use std::path::{Path, PathBuf};
use std::process::Command;

use assert_cmd::cargo::CommandCargoExt;
use edgewitness::export::changes::write_csv;
use edgewitness::ingest::{ReadOptions, read_bytes, read_file};
use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};
use edgewitness::report::inspect::InspectReport;

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-captures")
        .join(name)
}

fn edgewitness(words: &[&str]) -> std::process::Output {
    Command::cargo_bin("edgewitness")
        .unwrap()
        .args(words)
        .output()
        .unwrap()
}

fn export(from: &Path, to: &Path) {
    let out = edgewitness(&["export", from.to_str().unwrap(), "--to", to.to_str().unwrap()]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
}

fn read(path: &Path) -> Capture {
    read_file(path, &ReadOptions::default(), &()).unwrap()
}

/// Name, first level and edges in seconds of each line.
fn lines(capture: &Capture) -> Vec<(String, Level, Vec<f64>)> {
    let seconds = |line: &edgewitness::model::Line| line.edges.iter().map(|&t| capture.seconds(t)).collect();
    capture
        .lines
        .iter()
        .map(|line| (line.name.clone(), line.first, seconds(line)))
        .collect()
}

/// The same lines, levels and number of edges, each edge within `slack_s`.
fn assert_same(one: &Capture, other: &Capture, slack_s: f64) {
    let (mut one, mut other) = (lines(one), lines(other));
    one.sort_by(|a, b| a.0.cmp(&b.0));
    other.sort_by(|a, b| a.0.cmp(&b.0));
    assert_eq!(one.len(), other.len());
    for ((name, first, edges), (its_name, its_first, its_edges)) in one.iter().zip(&other) {
        assert_eq!((name, first, edges.len()), (its_name, its_first, its_edges.len()));
        let worst = edges
            .iter()
            .zip(its_edges)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        assert!(worst <= slack_s, "{name}: an edge moved by {worst} s");
    }
}

#[test]
fn a_vcd_comes_back_from_vcd_and_csv() {
    let folder = tempfile::tempdir().unwrap();
    let original = read(&sample("as-found.vcd"));
    for name in ["again.vcd", "again.csv"] {
        let to = folder.path().join(name);
        export(&sample("as-found.vcd"), &to);
        assert_same(&original, &read(&to), 1e-15);
    }
}

#[test]
fn a_sampled_table_comes_back_from_vcd_within_its_grid() {
    let folder = tempfile::tempdir().unwrap();
    let original = read(&sample("bench-samples.csv"));
    let to = folder.path().join("again.vcd");
    export(&sample("bench-samples.csv"), &to);
    // The grid of the file is at least 1000 times finer than the tick.
    assert_same(&original, &read(&to), original.timebase.tick_s() / 1000.0);
}

#[test]
fn an_independent_reader_counts_the_same_changes() {
    let folder = tempfile::tempdir().unwrap();
    let to = folder.path().join("again.vcd");
    export(&sample("bench-samples.csv"), &to);
    let original = read(&sample("bench-samples.csv"));
    let mut parser = vcd::Parser::new(std::io::BufReader::new(std::fs::File::open(&to).unwrap()));
    parser.parse_header().unwrap();
    let changes = parser
        .filter(|command| matches!(command, Ok(vcd::Command::ChangeScalar(..))))
        .count();
    assert_eq!(changes, original.edge_count() + original.lines.len());
}

#[test]
fn tables_hold_what_the_report_holds() {
    let folder = tempfile::tempdir().unwrap();
    let from = sample("as-found.vcd");
    let out = edgewitness(&["inspect", from.to_str().unwrap(), "--json"]);
    let report: InspectReport = serde_json::from_slice(&out.stdout).unwrap();
    assert!(!report.strays.is_empty() && !report.couplings.is_empty());
    let read_json = |name: &str| -> Vec<serde_json::Value> {
        let to = folder.path().join(name);
        export(&from, &to);
        serde_json::from_slice(&std::fs::read(&to).unwrap()).unwrap()
    };
    let strays = read_json("strays.json");
    assert_eq!(strays.len(), report.strays.len());
    for (row, stray) in strays.iter().zip(&report.strays) {
        assert_eq!(
            (row["line"].as_str(), row["start_s"].as_f64()),
            (Some(&*stray.line), Some(stray.start_s))
        );
        assert_eq!(row["lag_s"].as_f64(), stray.lag_s);
    }
    let couplings = read_json("couplings.json");
    let p_values: Vec<Option<f64>> = couplings.iter().map(|row| row["p_value"].as_f64()).collect();
    assert_eq!(
        p_values,
        report
            .couplings
            .iter()
            .map(|row| Some(row.p_value))
            .collect::<Vec<_>>()
    );
    assert_eq!(read_json("links.json").len(), report.links.len());
    let csv = folder.path().join("strays.csv");
    export(&from, &csv);
    let rows = csv::Reader::from_path(&csv)
        .unwrap()
        .into_records()
        .map(Result::unwrap)
        .count();
    assert_eq!(rows, report.strays.len());
}

#[test]
fn mistakes_are_one_line_and_leave_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let from = sample("as-found.vcd");
    for (name, told) in [
        ("a.xlsx", ".parquet"),
        ("strays.vcd", "capture only"),
        ("no/such/folder.csv", "could not be written"),
    ] {
        let to = folder.path().join(name);
        let out = edgewitness(&["export", from.to_str().unwrap(), "--to", to.to_str().unwrap()]);
        let stderr = String::from_utf8_lossy(&out.stderr);
        assert_eq!(out.status.code(), Some(2), "{stderr}");
        assert!(
            stderr.contains(told) && stderr.trim_end().lines().count() == 1,
            "{stderr}"
        );
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn doctor_says_what_it_would_mend() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    let out = edgewitness(&["doctor", "--data", data]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("there is no store in the folder"));
    let store = edgewitness::store::Store::open(folder.path()).unwrap();
    let out = edgewitness(&["doctor", "--data", data]);
    assert!(String::from_utf8_lossy(&out.stderr).contains("another Edgewitness is using"));
    drop(store);
    std::fs::write(folder.path().join("staging/half"), b"half").unwrap();
    let out = edgewitness(&["doctor", "--data", data]);
    assert_eq!(out.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&out.stdout).contains("with --mend: remove"));
    let out = edgewitness(&["doctor", "--data", data, "--mend"]);
    assert!(out.status.success());
    assert!(edgewitness(&["doctor", "--data", data]).status.success());
    assert!(!folder.path().join("staging/half").exists());
}

/// A capture on a 24 MHz grid that begins a little before 0 s, as fitted ones do: its change list has times of many lengths.
#[test]
fn a_fitted_grid_is_found_again_in_its_own_export() {
    let span = TimeSpan::new(Ticks(0), Ticks(1_200_000));
    let edges: Vec<Ticks> = (1..1_500i64).map(|n| Ticks(790 * n + n * n % 61)).collect();
    let line = Line::digital("STEP", Level::Low, edges.clone(), span);
    let capture = Capture {
        file: "fitted".to_owned(),
        format: Format::Csv,
        timebase: Timebase::fitted(-9.825_706e-14, 4.166_666_666_685e-8),
        span,
        resolution_ticks: 1.0,
        lines: vec![line],
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    };
    let mut bytes = Vec::new();
    write_csv(&capture, &mut bytes).expect("bytes in memory");
    // A millionth of 41.7 ns is 14 decimals: more of them, another number in each row, would claim what no row keeps.
    let text = String::from_utf8(bytes.clone()).expect("text");
    let decimals = |row: &str| row.split([',', '.']).nth(1).map_or(0, str::len);
    assert!(text.lines().skip(1).all(|row| decimals(row) <= 14));
    let read = read_bytes("fitted.csv", bytes, &ReadOptions::default()).expect("a capture");
    assert!((read.timebase.tick_s() / capture.timebase.tick_s() - 1.0).abs() < 1e-9);
    assert_eq!(read.lines[0].edges.to_vec(), edges);
}

/// What was measured is never written over, by whatever name it goes.
#[test]
fn an_export_never_replaces_what_it_is_made_from() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let text = "time (ns),STEP\n0,0\n100,1\n250,0\n";
    std::fs::write(path("found.csv"), text).unwrap();
    std::fs::write(path("other.csv"), "time (ns),BEAT\n0,0\n50,1\n").unwrap();
    std::fs::hard_link(path("found.csv"), path("linked.csv")).unwrap();
    for to in [path("found.csv"), path("./found.csv"), path("linked.csv")] {
        let out = edgewitness(&["export", &path("other.csv"), &path("found.csv"), "--to", &to]);
        let says = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(2), "{to}: {says}");
        assert!(says.contains("one of those that are read"), "{says}");
        assert_eq!(std::fs::read_to_string(path("found.csv")).unwrap(), text);
    }
    // What stands there otherwise is replaced, as said.
    let out = edgewitness(&["export", &path("found.csv"), "--to", &path("other.csv")]);
    assert!(out.status.success());
    assert!(
        std::fs::read_to_string(path("other.csv"))
            .unwrap()
            .contains("STEP")
    );
}
