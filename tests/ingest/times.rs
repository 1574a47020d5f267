//! Times as other hands write them: too few digits, two units, thousands, dates with the day first.
//!
//! What must come out is known by construction: the levels of the rows, and the period they were made with.

use edgewitness::ingest::{self, ReadOptions};

use crate::reading::{read, told};

/// `x` with so many significant digits, as printf's %g writes it (ISO C17 §7.21.6.1), without an exponent.
fn significant(x: f64, digits: i32) -> String {
    if x == 0.0 {
        return "0".to_owned();
    }
    let places = (digits - 1 - x.abs().log10().floor() as i32).max(0) as usize;
    let text = format!("{x:.places$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// A table of `rows` samples from `start` on, `period` apart, its times to so many digits; and the edges of its line.
fn samples(start: f64, period: f64, rows: usize, digits: i32) -> (String, usize) {
    let mut text = "Time (s),STEP\n".to_owned();
    let mut edges = 0;
    for row in 0..rows {
        let level = row / 7 % 2;
        edges += usize::from(row > 0 && row % 7 == 0);
        let time = significant(start + row as f64 * period, digits);
        text.push_str(&format!("{time},{level}\n"));
    }
    (text, edges)
}

#[test]
fn rows_that_share_a_time_are_counted_and_no_edge_is_lost() {
    for (start, period, digits) in [(1.0, 10e-9, 7), (0.0, 1.0 / 24e6, 4), (12.34567, 125e-9, 8)] {
        let (text, edges) = samples(start, period, 20_000, digits);
        let capture = read(&text);
        let line = &capture.lines[0];
        assert_eq!(line.edges.len(), edges, "{start} {period} {digits}");
        assert!(
            told(&capture, "too coarsely to part them"),
            "{:?}",
            capture.warnings
        );
        let found = capture.timebase.length_s(line.sample_ticks);
        assert!((found / period - 1.0).abs() < 0.02, "{found} for {period}");
    }
}

#[test]
fn a_known_rate_settles_rows_that_share_a_time() {
    let (text, edges) = samples(1.0, 10e-9, 300, 6);
    let options = ReadOptions {
        sample_period_s: Some(10e-9),
        ..ReadOptions::default()
    };
    let capture = ingest::read_bytes("times.csv", text.into_bytes(), &options).unwrap();
    let widths: Vec<f64> = capture.lines[0]
        .edges
        .windows(2)
        .map(|pair| capture.timebase.length_s((pair[1].0 - pair[0].0) as f64))
        .collect();
    assert_eq!(widths.len() + 1, edges);
    assert!(
        widths.iter().all(|width| (width - 70e-9).abs() < 1e-9),
        "{widths:?}"
    );
}

#[test]
fn rows_that_share_a_time_and_keep_no_rate_are_told() {
    let mut text = "Time (s),STEP\n".to_owned();
    let mut time = 1.0;
    for row in 0..4000u32 {
        time += if row % 997 == 0 { 3e-3 } else { 10e-9 };
        text.push_str(&format!("{},{}\n", significant(time, 7), row / 7 % 2));
    }
    let capture = read(&text);
    assert!(told(&capture, "only the last counts"), "{:?}", capture.warnings);
}

#[test]
fn two_units_are_told_and_one_is_taken() {
    let capture = read("Time (s),STEP\nns,V\n0,0.1\n10,3.3\n20,0.1\n30,3.3\n");
    assert!(
        told(&capture, "two units, s and ns: s was taken"),
        "{:?}",
        capture.warnings
    );
    let same = read("Time (ns),STEP\nns,V\n0,0.1\n10,3.3\n20,0.1\n30,3.3\n");
    assert!(!told(&same, "two units"));
}

#[test]
fn a_comma_parts_thousands_or_is_the_decimal_mark() {
    let ends = |text: &str| {
        let capture = read(text);
        let open = told(&capture, "can be read in two ways");
        ((capture.seconds(capture.span.end) * 1e12).round(), open)
    };
    let quoted = "\"Time [ns]\",\"STEP\"\n\"0\",\"0\"\n\"1,000\",\"1\"\n\"12,000\",\"0\"\n";
    assert_eq!(ends(quoted), (12e6, true));
    assert_eq!(ends("Time [ns];STEP\n1,000;0\n2,000;1\n5,000;0\n"), (5e3, true));
    assert_eq!(ends("Time [ns];STEP\n0,125;0\n1,000;1\n5,000;0\n"), (5e3, false));
    assert_eq!(
        ends("Time [ns];STEP\n0;0\n1,000.5;1\n1,234,000.5;0\n"),
        (1_234_000_500.0, false)
    );
}

#[test]
fn dates_may_have_their_day_first() {
    let rows = |dates: [&str; 3]| {
        let [a, b, c] = dates;
        read(&format!("Time;STEP\n{a};0\n{b};1\n{c};0\n"))
    };
    let capture = rows([
        "28/11/2026 23:59:59.999998",
        "28/11/2026 23:59:59.999999",
        "29/11/2026 00:00:00.000001",
    ]);
    let line = &capture.lines[0];
    let width = capture
        .timebase
        .length_s((line.edges[1].0 - line.edges[0].0) as f64);
    assert!((width - 2e-6).abs() < 1e-12, "{width}");
    assert!(!told(&capture, "day or its month first"));
    let open = rows([
        "03/04/2026 12:00:01",
        "03/04/2026 12:00:02",
        "03/04/2026 12:00:03",
    ]);
    assert!(told(&open, "day or its month first"));
}

#[test]
fn one_bad_cell_does_not_cost_a_line_of_a_short_table() {
    let capture = read("Time [ns],STEP,CLEAR_N\n0,0,1\n10,1,1\n20,oops,1\n30,1,1\n40,0,1\n50,1,0\n");
    assert_eq!(capture.lines.len(), 2);
    assert!(told(&capture, "first in row 4"));
}

#[test]
fn minutes_are_refused_and_ticks_ask_for_their_rate() {
    let error = |unit: &str| {
        let text = format!("Time ({unit}),STEP\n0,0\n1,1\n2,0\n3,1\n");
        let read = ingest::read_bytes("times.csv", text.into_bytes(), &ReadOptions::default());
        read.map(|_| ()).unwrap_err().to_string()
    };
    assert!(error("min").contains("the times are in min"), "{}", error("min"));
    assert!(error("hours").contains("time_unit"));
    assert!(error("ticks").contains("sample_rate"), "{}", error("ticks"));
}
