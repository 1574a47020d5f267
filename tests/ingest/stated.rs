//! Tables whose sampling is stated above them and nowhere else. All layouts are common practice, no source.

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::Capture;

use crate::reading::{edges_ns, read};

/// Edges of the first line in nanoseconds.
fn edges(capture: &Capture) -> Vec<i64> {
    edges_ns(capture, &capture.lines[0])
}

#[test]
fn a_rate_above_rows_without_times_says_how_long_a_row_is() {
    for head in [
        "; Sample rate: 20 MHz",
        "# Sampling rate: 20 MHz",
        "# Samplerate = 20 MHz",
        "; Sample period: 50 ns",
    ] {
        let capture = read(&format!(
            "{head}\n; Channels: 2\nSTEP,CLEAR\n0,1\n1,1\n1,0\n0,1\n0,1\n"
        ));
        assert_eq!(edges(&capture), [50, 150], "{head}");
        let told = capture
            .warnings
            .iter()
            .any(|w| w.text.contains("one sample of 50 ns"));
        assert!(told, "{head}: {:?}", capture.warnings);
    }
    // Without it nothing is guessed.
    let text = "STEP,CLEAR\n0,1\n1,1\n1,0\n0,1\n0,1\n";
    let refused = ingest::read_bytes("table", text.into(), &ReadOptions::default());
    assert!(
        refused
            .err()
            .is_some_and(|e| e.to_string().contains("column of times"))
    );
}

#[test]
fn a_remark_on_the_sampling_names_no_line() {
    let rows: String = (0..40)
        .map(|i| {
            format!(
                "{:.1e},{}\n",
                f64::from(i) * 1e-7,
                if i % 8 < 4 { 0.2 } else { 3.4 }
            )
        })
        .collect();
    for above in [
        "Sample Interval,1.0E-07\n",
        "Record Length,40\nSample Interval,1.0E-07\n",
        "Sample Interval,1.0E-07\nRecord Length,40\n",
    ] {
        let capture = read(&format!("{above}Second,Volt\n{rows}"));
        assert_eq!(capture.lines[0].name, "Volt", "{above}");
        assert_eq!(edges(&capture).len(), 9, "{above}");
    }
}
