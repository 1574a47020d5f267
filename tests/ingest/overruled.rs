//! A setup file's `[read]` beside files that say otherwise themselves: both values are told. All files are made here.

use std::collections::BTreeMap;

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{ColumnKind, TableForm};

/// The warnings, or the error, of a file read with these options.
fn told(text: &str, options: &ReadOptions) -> Vec<String> {
    match ingest::read_bytes("table", text.as_bytes().to_vec(), options) {
        Ok(capture) => capture.warnings.iter().map(|w| w.text.clone()).collect(),
        Err(error) => vec![error.to_string()],
    }
}

/// Asserts that a warning has all the words with the options, and none of the first without them.
fn contradicts(text: &str, options: &ReadOptions, words: &[&str]) {
    let said = told(text, options);
    let has_all = |warning: &String| words.iter().all(|word| warning.contains(word));
    assert!(said.iter().any(has_all), "{words:?} in {said:?}");
    let without = told(text, &ReadOptions::default());
    assert!(
        !without.iter().any(|w| w.contains("the setup file says")),
        "{without:?}"
    );
}

/// Asserts that nothing is told of a contradiction.
fn agrees(text: &str, options: &ReadOptions) {
    let said = told(text, options);
    assert!(
        !said.iter().any(|w| w.contains("the setup file says")),
        "{said:?}"
    );
}

/// STEP and CLEAR, one row every 50 of a unit; `head` is the row of headings.
fn samples(head: &str) -> String {
    let rows = (0..60).map(|i| format!("{},{},{}\n", i * 50, i / 4 % 2, i / 8 % 2));
    format!("{head}\n{}", rows.collect::<String>())
}

fn with_unit(seconds: f64) -> ReadOptions {
    ReadOptions {
        time_unit_s: Some(seconds),
        ..ReadOptions::default()
    }
}

fn with_period(seconds: f64) -> ReadOptions {
    ReadOptions {
        sample_period_s: Some(seconds),
        ..ReadOptions::default()
    }
}

fn with_column(name: &str, kind: ColumnKind) -> ReadOptions {
    ReadOptions {
        columns: BTreeMap::from([(name.to_owned(), kind)]),
        ..ReadOptions::default()
    }
}

#[test]
fn a_unit_of_the_times_beside_another_in_the_heading() {
    let text = samples("Time (ns),STEP,CLEAR");
    contradicts(
        &text,
        &with_unit(1e-6),
        &["times count 1 µs", "heading", "says ns", "time_unit"],
    );
    agrees(&text, &with_unit(1e-9));
    agrees(&samples("Time,STEP,CLEAR"), &with_unit(1e-6));
    let text = samples("Time,STEP,CLEAR\nns,,");
    contradicts(&text, &with_unit(1e-6), &["row of units says ns"]);
    let text = samples("Time (minutes),STEP,CLEAR");
    let said = told(&text, &with_unit(1.0));
    assert!(said.iter().any(|w| w.contains("says minutes")), "{said:?}");
    // Cells with units of their own are followed.
    let text = "Time,STEP\n0 ns,0\n50 ns,1\n100 ns,0\n200 ns,1\n";
    contradicts(
        text,
        &with_unit(1e-6),
        &["times count 1 µs", "\"0 ns\"", "no effect"],
    );
}

#[test]
fn a_sampling_beside_another_above_the_table_or_in_its_times() {
    let rows = "STEP,CLEAR\n0,1\n1,1\n1,0\n0,1\n0,1\n";
    let text = format!("# Sample rate: 20 MHz\n{rows}");
    contradicts(
        &text,
        &with_period(1e-8),
        &["every 10 ns", "above the table", "every 50 ns"],
    );
    // 41.667 ns is how 24 MHz is often written.
    agrees(
        &format!("# Sample period: 41.667 ns\n{rows}"),
        &with_period(1.0 / 24e6),
    );
    agrees(rows, &with_period(1e-8));
    let text = samples("Time (ns),STEP,CLEAR");
    contradicts(
        &text,
        &with_period(1e-8),
        &[
            "every 10 ns",
            "time column says otherwise",
            "50 ns",
            "take sample_period or sample_rate out",
        ],
    );
    agrees(&text, &with_period(5e-8));
}

#[test]
fn columns_beside_headings_that_deny_them() {
    let volts: String = (0..60)
        .map(|i| format!("{},{}.4,{}\n", i * 50, i / 4 % 2 * 3, i / 8 % 2))
        .collect();
    let text = format!("Time (ns),STEP (V),DATA[0]\n{volts}");
    contradicts(
        &text,
        &with_column("STEP", ColumnKind::Digital),
        &["\"STEP (V)\"", "holds levels", "says V"],
    );
    agrees(&text, &with_column("STEP", ColumnKind::Analog));
    agrees(&text, &with_column("STEP", ColumnKind::Ignore));

    let counted: String = (0..60)
        .map(|i| format!("{},{},{}\n", i * 50, i * 7, i / 8 % 2))
        .collect();
    let text = format!("Time (ns),LATE,CLEAR\n{counted}");
    contradicts(
        &text,
        &with_column("LATE", ColumnKind::Time),
        &["times stand in \"LATE\"", "say in \"Time (ns)\""],
    );
}

#[test]
fn a_form_beside_rows_that_deny_it() {
    let with = |form| ReadOptions {
        form: Some(form),
        ..ReadOptions::default()
    };
    let text = samples("Time (ns),STEP,CLEAR");
    contradicts(
        &text,
        &with(TableForm::Changes),
        &["one row a change", "repeat the levels"],
    );
    agrees(&text, &with(TableForm::Samples));
    let text = "Time (ns),STEP\n0,0\n130,1\n170,0\n900,1\n1210,0\n1222,1\n5000,0\n";
    contradicts(
        text,
        &with(TableForm::Samples),
        &["one row a sample", "equally far apart"],
    );
    agrees(text, &with(TableForm::Changes));
}

#[test]
fn marks_beside_rows_that_deny_them() {
    let with = |delimiter, decimal| ReadOptions {
        delimiter,
        decimal,
        ..ReadOptions::default()
    };
    let text = samples("Time (ns),STEP,CLEAR");
    contradicts(
        &text,
        &with(Some(b';'), None),
        &["\";\" parts the columns", "parted by \",\""],
    );
    contradicts(&text, &with(Some(b'\t'), None), &["a tab parts the columns"]);
    agrees(&text, &with(Some(b','), None));
    let rows: String = (0..60)
        .map(|i| format!("0.{:04};{}\n", i * 5, i / 4 % 2))
        .collect();
    let text = format!("Time (s);STEP\n{rows}");
    contradicts(
        &text,
        &with(None, Some(b',')),
        &["\",\" is the decimal mark", "0.0000", "have \".\""],
    );
    agrees(&text, &with(None, Some(b'.')));
}

#[test]
fn a_timescale_beside_the_files_own() {
    let text =
        "$timescale 10 ns $end\n$var wire 1 ! STEP $end\n$enddefinitions $end\n#0\n0!\n#5\n1!\n#9\n0!\n";
    let with = |seconds| ReadOptions {
        timescale_s: Some(seconds),
        ..ReadOptions::default()
    };
    contradicts(
        text,
        &with(1e-9),
        &["timescale of 1 ns", "$timescale says 10 ns", "file was followed"],
    );
    agrees(text, &with(1e-8));
}
