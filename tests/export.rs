//! What goes out comes back in: by this program's own readers, and by an independent one (the crate `vcd`).
//! Parquet files are read by polars and DuckDB in `tests/parquet.py`.

#[path = "common/bench.rs"]
#[allow(dead_code)]
mod bench;

use std::path::{Path, PathBuf};
use std::process::Command;

use assert_cmd::cargo::CommandCargoExt;
use axum::http::{Method, StatusCode};
use edgewitness::export::changes::write_csv;
use edgewitness::ingest::{ReadOptions, read_bytes, read_file};
use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};
use edgewitness::report::inspect::InspectReport;
use serde_json::{Value, json};

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

/// Irregular edges of two machines' lines: nothing tells of one clock.
fn two_clocks() -> [(&'static str, String); 2] {
    let table = |name: &str, step: i64| {
        let rows = (1..200i64).map(|n| format!("{},{}\n", n * step + n * n % 97 * 10, n % 2));
        format!("time (ns),{name}\n0,0\n{}", rows.collect::<String>())
    };
    [
        ("near.csv", table("NOTE", 1730)),
        ("far.csv", table("BEAT", 2110)),
    ]
}

/// Lines of two clocks in one column of times would be no evidence of anything.
#[test]
fn lines_of_clocks_that_nothing_joins_are_not_written_as_one_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    for (name, text) in two_clocks() {
        std::fs::write(path(name), text).unwrap();
    }
    for name in ["all.vcd", "changes.csv", "edges.json", "pairs.csv"] {
        let out = edgewitness(&["export", &path("near.csv"), &path("far.csv"), "--to", &path(name)]);
        let says = String::from_utf8_lossy(&out.stderr).into_owned();
        assert_eq!(out.status.code(), Some(2), "{name}: {says}");
        for word in [
            "near.csv with ",
            "far.csv: expected captures on one clock",
            "--align-on LINE",
        ] {
            assert!(says.contains(word), "{word}: {says}");
        }
        assert!(!std::fs::exists(path(name)).unwrap());
    }
    // What was found in each has its own times, and one capture its own clock.
    for words in [
        &[
            "export",
            &path("near.csv"),
            &path("far.csv"),
            "--to",
            &path("strays.csv"),
        ][..],
        &["export", &path("near.csv"), "--to", &path("near.vcd")],
    ] {
        let out = edgewitness(words);
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    }
}

#[tokio::test]
async fn nor_are_they_in_the_browser_where_the_log_says_so() {
    let (bench, ()) = bench::Bench::with(|_| ());
    let api = "/api/sessions/1";
    bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    for (name, text) in two_clocks() {
        let path = format!("{api}/captures?name={name}");
        let kind = "application/octet-stream";
        assert_eq!(
            bench.send(Method::POST, &path, kind, text.into()).await.0,
            StatusCode::CREATED
        );
    }
    let told = "near.csv with far.csv: expected captures on one clock";
    for name in ["capture.vcd", "changes.csv", "edges.json"] {
        let (status, answer) = bench
            .json(Method::GET, &format!("{api}/export/{name}"), Value::Null)
            .await;
        assert_eq!(status, StatusCode::BAD_REQUEST);
        let says = answer["error"].as_str().unwrap();
        assert!(
            says.contains(told) && says.contains("On the page Clocks"),
            "{says}"
        );
    }
    let (status, _) = bench
        .json(Method::GET, &format!("{api}/export/strays.json"), Value::Null)
        .await;
    assert_eq!(status, StatusCode::OK);
    let page = bench.page("/sessions/1/log").await;
    assert!(page.contains(told) && !page.contains("lines as VCD"), "{page}");
    // Somebody says that they ran on one clock.
    let ids = [
        bench.capture(api, "near.csv").await,
        bench.capture(api, "far.csv").await,
    ];
    let clock = json!({"capture": ids[1], "with": ids[0], "on": [], "shift_s": 0.0});
    bench.json(Method::PUT, &format!("{api}/clocks"), clock).await;
    let (status, _) = bench
        .send(Method::GET, &format!("{api}/export/capture.vcd"), "", Vec::new())
        .await;
    assert_eq!(status, StatusCode::OK);
    let page = bench.page("/sessions/1/log").await;
    assert!(!page.contains(told) && page.contains("lines as VCD"), "{page}");
}

/// Two instruments on one clock: the file says how each sampled, and that NOTE is there twice, so that it is the same evidence
/// as the captures it was made from.
#[test]
fn a_joined_bench_tells_the_same_when_its_export_is_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (near, far) = (sample("as-found.vcd"), sample("tower.csv"));
    let (near, far) = (near.to_str().unwrap(), far.to_str().unwrap());
    let setup = sample("setup.toml");
    let told = |files: &[&str]| -> InspectReport {
        let words = [
            &["inspect"],
            files,
            &["--setup", setup.to_str().unwrap(), "--json"],
        ]
        .concat();
        serde_json::from_slice(&edgewitness(&words).stdout).unwrap()
    };
    // The strays are the second one's where its clock is brought to the tower's.
    for (first, second) in [(near, far), (far, near)] {
        let files = [first, second, "--align-on", "NOTE"];
        let to = path("joined.vcd");
        let out = edgewitness(&[&["export"], &files[..], &["--to", &to]].concat());
        assert!(out.status.success());
        let (joined, again) = (told(&files), told(&[&to]));
        let titles = |report: &InspectReport| -> Vec<String> {
            let findings = report.findings.iter().filter(|f| f.topic != "alignment");
            findings.map(|f| f.title.clone()).collect()
        };
        assert_eq!(titles(&joined), titles(&again));
        assert_eq!(joined.strays.len(), again.strays.len());
        let shift_s = again.strays[0].start_s - joined.strays[0].start_s;
        for (one, other) in joined.strays.iter().zip(&again.strays) {
            assert_eq!((&one.line, &one.aggressor), (&other.line, &other.aggressor));
            // The file's unit is a thousandth of a sample at most.
            assert!((other.start_s - one.start_s - shift_s).abs() < 5e-12);
            assert!((other.width_s - one.width_s).abs() < 5e-12);
        }
        for (one, other) in joined.couplings.iter().zip(&again.couplings) {
            assert_eq!(
                (one.strays, one.opportunities, &one.standing),
                (other.strays, other.opportunities, &other.standing)
            );
            assert!((one.lag_s.median - other.lag_s.median).abs() < 5e-12);
        }
        let verdicts = |report: &InspectReport| -> Vec<(String, u64, u64)> {
            let rows = report.links.iter();
            rows.map(|row| (row.verdict.clone(), row.sent, row.arrived))
                .collect()
        };
        assert_eq!(verdicts(&joined), verdicts(&again));
        // A list of changes can't say it, and does not claim to.
        let out = edgewitness(&[&["export"], &files[..], &["--to", &path("changes.csv")]].concat());
        let says = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(
            says.contains("can't say how each line was sampled (every 5 ns, every 41.7 ns)"),
            "{says}"
        );
    }
}

/// Comments are anybody's: what they say of codes that are not there, or of two lines in a circle, harms nothing.
#[test]
fn comments_that_say_nonsense_of_lines_are_harmless() {
    let text = "$timescale 1 ns $end\n$var wire 1 ! STEP $end\n$var wire 1 \" BEAT $end\n\
                $comment edgewitness-sampled 5e-9 ! ? $end\n$comment edgewitness-same ! \" $end\n\
                $comment edgewitness-same \" ! $end\n$comment edgewitness-same ! ? $end\n$comment edgewitness-sampled x $end\n\
                $enddefinitions $end\n#0\n0!\n0\"\n#10\n1!\n#20\n1\"\n#500\n";
    let read = read_bytes("a.vcd", text.into(), &ReadOptions::default()).unwrap();
    let sampled: Vec<f64> = read.lines.iter().map(|line| line.sample_ticks).collect();
    assert!(
        (sampled[0] - 5.0).abs() < 1e-9 && sampled[1] == 0.0,
        "{sampled:?}"
    );
    let same: Vec<Option<usize>> = read.lines.iter().map(|line| line.same_as).collect();
    assert_eq!(same, [None, Some(0)]);
}
