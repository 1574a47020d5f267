//! Pulses that may be strays or their line's job, from a capture with known pulses to the report, its text and the page: what
//! is really in doubt first, plain strobes in one note, every pulse to be stepped through.

use crate::bench::Bench;
use axum::http::Method;
use edgewitness::report::inspect::{InspectReport, Severity};
use edgewitness::report::text::{Style, inspect_text};
use edgewitness::setup::Setup;
use edgewitness::store::SessionBody;
use edgewitness::workflow::inspect::{Question, inspect};
use edgewitness::workflow::read::read_capture;
use serde_json::Value;

/// STEP rises 60 times. STRIKE_STB and LOAD_STB show a pulse of one width after two of three rises each, 20 ns and 30 ns
/// later; HAMMER_ACK one of 140 ns to 200 ns after others. LOAD_STB shows one more, 100 ns after its first.
fn lines() -> Vec<(&'static str, Vec<[i64; 2]>)> {
    let rise = |n: i64| 30_000 * n + 97 * (n % 7) + 5_000;
    let after = |lag: i64, left_out: i64, width: &dyn Fn(i64) -> i64| -> Vec<[i64; 2]> {
        let struck = (0..60).filter(|n| n % 3 != left_out);
        struck
            .map(|n| [rise(n) + lag, rise(n) + lag + width(n)])
            .collect()
    };
    let mut load = after(30, 1, &|_| 90);
    let first = load[0][1] + 100;
    load.insert(1, [first, first + 90]);
    vec![
        (
            "STEP",
            (0..60).map(|n| [rise(n), rise(n) + 700 + 31 * (n % 5)]).collect(),
        ),
        ("STRIKE_STB", after(20, 0, &|_| 60)),
        ("LOAD_STB", load),
        ("HAMMER_ACK", after(40, 2, &|n| 140 + 10 * (n % 7))),
    ]
}

/// The lines as a table, a row a change.
fn table() -> String {
    let mut csv = "time [ns],STEP,STRIKE_STB,LOAD_STB,HAMMER_ACK\n".to_owned();
    let mut edges: Vec<(i64, usize)> = Vec::new();
    for (column, (_, pulses)) in lines().iter().enumerate() {
        edges.extend(pulses.iter().flatten().map(|&at| (at, column)));
    }
    edges.sort_unstable();
    let mut levels = [0; 4];
    let row = |at: i64, l: [i32; 4]| format!("{at},{},{},{},{}\n", l[0], l[1], l[2], l[3]);
    csv.push_str(&row(0, levels));
    for (n, &(at, column)) in edges.iter().enumerate() {
        levels[column] ^= 1;
        if edges.get(n + 1).is_none_or(|next| next.0 != at) {
            csv.push_str(&row(at, levels));
        }
    }
    csv.push_str(&row(2_000_000, levels));
    csv
}

fn report(setup: &str) -> InspectReport {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("strobes.csv");
    std::fs::write(&file, table()).unwrap();
    let setup = Setup::parse(setup, "setup.toml").unwrap();
    let capture = read_capture(&file, &setup, &()).unwrap();
    let question = Question {
        setup: &setup,
        align_on: None,
    };
    inspect(vec![capture], &question).unwrap().report
}

#[test]
fn what_is_really_in_doubt_stands_first_and_plain_strobes_in_one_note() {
    let report = report("");
    let notes: Vec<&str> = report.findings.iter().map(|f| f.title.as_str()).collect();
    assert!(
        report.findings.iter().all(|f| f.severity == Severity::Note),
        "{notes:?}"
    );
    assert_eq!(
        notes[0],
        "HAMMER_ACK: 40 short high pulses follow STEP rising; strays or its job, this capture can't tell"
    );
    let plain = report.findings.last().unwrap();
    assert!(
        plain
            .title
            .starts_with("STRIKE_STB and LOAD_STB: all their pulses of one level are short"),
        "{}",
        plain.title
    );
    assert_eq!(plain.lines, ["STRIKE_STB", "LOAD_STB", "STEP"]);
    assert!(
        plain
            .detail
            .contains("STRIKE_STB: 40 high pulses of 60 ns, all of them after rises of STEP"),
        "{}",
        plain.detail
    );
    // A limit from the setup holds for both levels.
    assert!(
        plain.try_next[1].ends_with("it would count 1 low pulse of LOAD_STB as well."),
        "{:?}",
        plain.try_next
    );
    assert_eq!(
        notes.iter().filter(|t| t.contains("_STB")).count(),
        1,
        "{notes:?}"
    );
}

#[test]
fn widths_are_said_to_repeat_only_where_they_do() {
    let report = report("");
    let acknowledge = &report.findings[0];
    assert!(
        !acknowledge.detail.contains("widths repeat"),
        "{}",
        acknowledge.detail
    );
    assert!(
        acknowledge
            .detail
            .contains("Their widths vary more than those of pulses that a part drives"),
        "{}",
        acknowledge.detail
    );
}

#[test]
fn a_line_with_a_limit_from_the_setup_is_not_told_to_get_one() {
    let report =
        report("[line.HAMMER_ACK]\nnarrow_below = \"50 ns\"\n\n[line.LOAD_STB]\nnarrow_below = \"50 ns\"\n");
    let told: Vec<&str> = report.findings.iter().map(|f| f.title.as_str()).collect();
    assert!(
        !told
            .iter()
            .any(|t| t.contains("HAMMER_ACK:") || t.contains("LOAD_STB")),
        "{told:?}"
    );
    assert!(
        told.iter().any(|t| t.starts_with("STRIKE_STB: all its pulses")),
        "{told:?}"
    );
}

#[test]
fn every_doubt_has_its_pulses_in_the_report() {
    let report = report("");
    let rows: Vec<(&str, &str, &str, u64)> = report
        .doubts
        .iter()
        .map(|row| {
            (
                row.line.as_str(),
                row.level.as_str(),
                row.held.as_str(),
                row.pulses,
            )
        })
        .collect();
    assert_eq!(
        rows,
        [
            ("STRIKE_STB", "high", "open", 40),
            ("LOAD_STB", "high", "open", 41),
            ("HAMMER_ACK", "high", "open", 40)
        ]
    );
    let finding = |id: &str| report.findings.iter().find(|f| f.id == id).unwrap();
    for (row, (name, pulses)) in report.doubts.iter().zip(&lines()[1..]) {
        assert_eq!(
            (row.follows.as_deref(), row.edge.as_deref()),
            (Some("STEP"), Some("rise"))
        );
        assert!(finding(&row.finding).lines.contains(&row.line));
        let starts: Vec<i64> = row
            .moments
            .iter()
            .map(|m| (m.start_s * 1e9).round() as i64)
            .collect();
        assert_eq!(starts, pulses.iter().map(|p| p[0]).collect::<Vec<_>>(), "{name}");
    }
    let lags: Vec<Option<i64>> = report.doubts[1].moments[..3]
        .iter()
        .map(|m| m.lag_s.map(|lag| (lag * 1e9).round() as i64))
        .collect();
    assert_eq!(lags, [Some(30), None, Some(30)]);
    let text = inspect_text(&report, Style::default());
    assert!(
        text.contains("STRIKE_STB and LOAD_STB: all their pulses"),
        "{text}"
    );
}

#[tokio::test]
async fn the_page_steps_through_them() {
    let body = SessionBody {
        title: "Strobes".to_owned(),
        ..SessionBody::default()
    };
    let (bench, id) = Bench::with(|store| store.create_session(&body).unwrap().id);
    let api = format!("/api/sessions/{id}");
    let (status, told) = bench.bring(&api, "name=strobes.csv", table()).await;
    assert!(status.is_success(), "{told}");
    let report = bench.ok(Method::GET, &format!("{api}/report"), Value::Null).await;
    let findings = report["findings"].as_array().unwrap();
    let of = |line: &str| {
        let told = findings
            .iter()
            .find(|f| f["title"].as_str().unwrap().starts_with(line));
        told.unwrap()["id"].as_str().unwrap().to_owned()
    };
    let steps = async |id: &str| {
        let path = format!("{api}/findings/{id}/occurrences");
        bench.ok(Method::GET, &path, Value::Null).await
    };
    let acknowledge = steps(&of("HAMMER_ACK: 40")).await;
    assert_eq!(acknowledge["count"], 40);
    assert_eq!(
        acknowledge["occurrences"][0],
        serde_json::json!({"from": 5_000, "to": 5_180, "caption": "HAMMER_ACK is high for 140 ns, 40 ns after STEP rises.",
            "marks": [{"kind": "doubt", "line": 3, "start": 5_040, "end": 5_180, "says": "stray or job?"},
                {"kind": "suspect", "line": 0, "at": 5_000}]})
    );
    let strobes = of("STRIKE_STB and LOAD_STB");
    let both = steps(&strobes).await;
    assert_eq!(both["count"], 81);
    let from = |at: usize| both["occurrences"][at]["from"].as_i64().unwrap();
    assert!((1..81).all(|at| from(at - 1) <= from(at)));
    // Beside other findings' evidence they are not drawn.
    let evidence = bench
        .ok(
            Method::GET,
            &format!("{api}/evidence?start=0&end=2000000"),
            Value::Null,
        )
        .await;
    assert_eq!(evidence["count"], 0);
    let page = bench.page(&format!("/sessions/{id}")).await;
    let figure = format!("/sessions/{id}/findings/{strobes}/figure.svg");
    assert!(page.contains(&figure), "{figure}");
    // The form for what the notes ask is filled in as far as they say.
    assert!(page.contains("kind=narrow&#38;line=HAMMER_ACK"), "{page}");
    let figure = bench.page(&figure).await;
    assert!(figure.contains("stray or job?"), "{figure}");
}
