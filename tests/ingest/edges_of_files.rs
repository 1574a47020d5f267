//! Tables that begin or end oddly: long times, overdriven inputs, a last row cut off. Twins of one small record, whose edges
//! are known by construction.

use edgewitness::ingest::{self, ReadOptions, read_stream};
use edgewitness::model::Capture;

use crate::reading::told;

fn try_read(text: &str) -> Result<Capture, ingest::Error> {
    read_stream("odd.csv", text.as_bytes(), &ReadOptions::default(), &())
}

/// Ten thousand rows 10 ns apart; A changes every third row.
fn rows(time: impl Fn(u64) -> String, level: impl Fn(u64) -> String) -> String {
    let body: String = (0..10_000)
        .map(|n| format!("{},{}\n", time(n), level(n)))
        .collect();
    format!("Time [s],A\n{body}")
}

fn level(n: u64) -> String {
    (n / 3 % 2).to_string()
}

/// The edges of the first line, in ns after the record's start.
fn edges_ns(capture: &Capture) -> Vec<i64> {
    let ns = |tick: i64| (capture.timebase.length_s(tick as f64) * 1e9).round() as i64;
    capture.lines[0]
        .edges
        .iter()
        .map(|edge| ns(edge.0 - capture.span.start.0))
        .collect()
}

#[test]
fn seconds_since_some_year_keep_their_nanoseconds() {
    let near = try_read(&rows(|n| format!("0.{:09}", 10 * n), level)).unwrap();
    for written in [9, 12] {
        // 2027-01-15 in seconds since 1970, then with more zeros than any clock knows.
        let far = rows(
            |n| format!("1800000000.{:0<written$}", format!("{:09}", 10 * n)),
            level,
        );
        let far = try_read(&far).unwrap();
        assert!(edges_ns(&far) == edges_ns(&near));
        assert_eq!(edges_ns(&far).len(), 3_333);
        assert!(told(&far, "counted from 1800000000"), "{:?}", far.warnings);
    }
    assert!(near.warnings.is_empty(), "{:?}", near.warnings);
}

#[test]
fn a_record_that_begins_overdriven_keeps_its_heading_and_its_unit() {
    let volts = |n: u64| {
        if n < 4 {
            "-inf".to_owned()
        } else {
            format!("{}.4", n / 300 % 2 * 4)
        }
    };
    let text = rows(|n| (10 * n).to_string(), volts).replace("Time [s],A", "Time [ns],A [V]");
    let capture = try_read(&text).unwrap();
    assert_eq!(capture.lines[0].name, "A");
    assert_eq!(capture.lines[0].edges.len(), 33);
    assert!(
        told(&capture, "unknown there") || told(&capture, "missing"),
        "{:?}",
        capture.warnings
    );
}

#[test]
fn a_last_row_cut_off_within_its_time_is_left_out_and_told() {
    let whole = rows(|n| format!("0.{:09}", 10 * n), level);
    let cut = whole.trim_end().rfind('\n').unwrap() + 6;
    let capture = try_read(&whole[..cut]).unwrap();
    assert!(told(&capture, "ends within a row"), "{:?}", capture.warnings);
    // The row that was cut off, the last, had an edge.
    let expected = edges_ns(&try_read(&whole).unwrap());
    assert!(edges_ns(&capture) == expected[..expected.len() - 1]);
    // In the middle of a file it is no cut-off row: time runs backwards there.
    let middle = whole.replacen("0.000000900,0\n", "0.0\n", 1);
    assert!(
        try_read(&middle)
            .unwrap_err()
            .to_string()
            .contains("time runs backwards")
    );
}
