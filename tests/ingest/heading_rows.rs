//! Which row holds the headings where rows of values or of words stand above or below it, and the name of one bit. All layouts are common practice,
//! no source.

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{Capture, ColumnKind};

use crate::reading::read;

/// Four rows of levels on two lines, 0.5 apart.
const BODY: &str = "0.0,1,0\n0.5,1,1\n1.0,0,1\n1.5,0,0\n2.0,1,0\n2.5,1,1\n";

/// All warnings, one after the other.
fn told(capture: &Capture) -> String {
    let texts = capture.warnings.iter().map(|warning| warning.text.as_str());
    texts.collect::<Vec<_>>().join("\n")
}

/// Names of the lines, and the length of the record in seconds.
fn gist(capture: &Capture) -> (Vec<&str>, f64) {
    let names = capture.lines.iter().map(|line| line.name.as_str()).collect();
    let length = capture.seconds(capture.span.end) - capture.seconds(capture.span.start);
    (names, length)
}

fn is_near(found: f64, expected: f64) -> bool {
    (found / expected - 1.0).abs() < 1e-9
}

#[test]
fn values_below_the_headings_are_no_headings_and_no_samples() {
    for below in [
        "Threshold,1.4,1.4\n",
        "Range,5,5\n",
        "Scale,1,1\nOffset,0,0\n",
        "Count,6,6\n",
        "Channel,1,2\n",
        "Min,0,0\n",
    ] {
        let capture = read(&format!("Time (us),VALVE,LATCH\n{below}{BODY}"));
        let (names, length) = gist(&capture);
        assert_eq!(names, ["VALVE", "LATCH"], "{below}");
        assert!(is_near(length, 2.5e-6), "{below}: {length}");
        assert_eq!(told(&capture).matches("below the headings").count(), 1, "{below}");
        assert!(!told(&capture).contains("passed over"), "{}", told(&capture));
    }
    // Above and below are told in one note, and without a word for the times the last row of words holds the headings.
    for heading in ["Time (us),VALVE,LATCH", "tick,VALVE,LATCH"] {
        let capture = read(&format!("Probe,10,10\n{heading}\nThreshold,1.4,1.4\n{BODY}"));
        assert_eq!(gist(&capture).0, ["VALVE", "LATCH"], "{heading}");
        assert!(
            told(&capture).contains("above and below the headings"),
            "{}",
            told(&capture)
        );
        assert!(
            told(&capture).contains("\"Probe\" 10; \"Threshold\" 1.4"),
            "{}",
            told(&capture)
        );
    }
    // Headings may have empty cells, or such as values have.
    let wide = BODY.replace('\n', ",,,\n");
    for below in ["Threshold,1.4,1.4,,,\n", "side,left,right,,,\n"] {
        let capture = read(&format!("Time,VALVE,LATCH,,,\n{below}{wide}"));
        assert_eq!(gist(&capture).0, ["VALVE", "LATCH"], "{below}");
    }
    let rails = read(&format!("Time (us),5V,12V\nThreshold,1.4,1.4\n{BODY}"));
    assert_eq!(gist(&rails).0, ["5V", "12V"]);
    // A word and a value are no headings of a table of one line.
    let one = read("Model,scope\nProbe,10\n0.0,1\n0.5,0\n1.0,1\n1.5,0\n2.0,1\n");
    assert_eq!(gist(&one).0, ["column 2"]);
}

#[test]
fn channels_by_their_numbers_are_headings_where_nothing_better_is() {
    for heading in ["Time,1,2", "x-axis,1,2", "Channel,1,2"] {
        let capture = read(&format!("{heading}\n{BODY}"));
        assert_eq!(gist(&capture).0, ["channel 1", "channel 2"], "{heading}");
    }
    let below_words = read(&format!(
        "Model,bench,scope\nx-axis,1,2\nsecond,Volt,Volt\n{BODY}"
    ));
    assert_eq!(gist(&below_words).0, ["channel 1", "channel 2"]);
}

#[test]
fn words_below_the_headings_are_no_headings() {
    for below in [
        "seconds,left,right\n",
        "Probe,x10,x1\n",
        "Colour,red,blue\n",
        "Time base,long,long\n",
    ] {
        let capture = read(&format!("Time (s),VALVE,LATCH\n{below}{BODY}"));
        let (names, length) = gist(&capture);
        assert_eq!(names, ["VALVE", "LATCH"], "{below}");
        assert!(is_near(length, 2.5), "{below}: {length}");
        assert!(
            told(&capture).contains("rows below the headings were not used"),
            "{below}"
        );
    }
    // The unit of the times counts, whatever stands beside it.
    let capture = read(&format!("Time,VALVE,LATCH\nus,left,right\n{BODY}"));
    let (names, length) = gist(&capture);
    assert_eq!(names, ["VALVE", "LATCH"]);
    assert!(is_near(length, 2.5e-6), "{length}");
    assert!(told(&capture).ends_with(": left, right"), "{}", told(&capture));
    // A lone row that begins so is the headings.
    assert_eq!(
        gist(&read(&format!("seconds,VALVE,LATCH\n{BODY}"))).0,
        ["VALVE", "LATCH"]
    );
}

#[test]
fn words_about_the_record_are_no_headings() {
    for above in [
        "Date,Mon 5 May,noon\n",
        "Start time,Mon 5 May,noon\nTime zone,north,none\n",
        "Time,12:30 PM,9:05 h\n",
    ] {
        for heading in ["tick,VALVE,LATCH", ",VALVE,LATCH"] {
            let capture = read(&format!("{above}{heading}\n{BODY}"));
            assert_eq!(gist(&capture).0, ["VALVE", "LATCH"], "{above}{heading}");
        }
    }
    let body = "0.0,1\n0.5,0\n1.0,1\n1.5,0\n2.0,1\n";
    for above in [
        "Date,5 May\n",
        "Trigger time,late\n",
        "Sample,oak board\n",
        "Time,12:30 PM\n",
    ] {
        for heading in ["tick,VALVE", ",VALVE", "Time,VALVE"] {
            let capture = read(&format!("{above}{heading}\n{body}"));
            assert_eq!(gist(&capture).0, ["VALVE"], "{above}{heading}");
        }
    }
    let below = read(&format!("Time,VALVE\nside,left\n{body}"));
    assert_eq!(gist(&below).0, ["VALVE"]);
}

#[test]
fn units_below_the_headings_are_units() {
    let millivolts = "0.0,3600,200\n0.5,3600,3600\n1.0,200,3600\n1.5,200,200\n2.0,3600,200\n2.5,3600,3600\n";
    for below in [
        "us,mV,mV\n",
        "us,mV,mV\nThreshold,1400,1400\n",
        "Threshold,1400,1400\nus,mV,mV\n",
    ] {
        let capture = read(&format!("Time,VALVE,LATCH\n{below}{millivolts}"));
        let (names, length) = gist(&capture);
        assert_eq!(names, ["VALVE", "LATCH"], "{below}");
        assert!(is_near(length, 2.5e-6), "{below}: {length}");
        let trace = capture.lines[0].trace.as_ref().expect("volts");
        assert!(trace.thresholds.high_v < 5.0, "{below}");
    }
    let behind_a_word = read(&format!("Time (us),VALVE,LATCH\nUnit,mV,mV\n{millivolts}"));
    assert_eq!(gist(&behind_a_word).0, ["VALVE", "LATCH"]);
    assert!(
        !told(&behind_a_word).contains("were not used"),
        "{}",
        told(&behind_a_word)
    );
    assert!(
        behind_a_word.lines[0]
            .trace
            .as_ref()
            .expect("volts")
            .thresholds
            .high_v
            < 5.0
    );
}

#[test]
fn one_bit_whose_heading_says_its_base_is_a_line() {
    for heading in ["VALVE [bin]", "VALVE (binary)", "VALVE [dec]"] {
        let capture = read(&format!("Time (us),{heading},LATCH\n{BODY}"));
        assert_eq!(gist(&capture).0, ["VALVE", "LATCH"], "{heading}");
        assert!(capture.buses.is_empty(), "{heading}");
        let plain = read(&format!("Time (us),VALVE,LATCH\n{BODY}"));
        assert_eq!(
            capture.lines[0].edges.to_vec(),
            plain.lines[0].edges.to_vec(),
            "{heading}"
        );
    }
    let prefixed = read("Time (us),VALVE [bin]\n0,0b1\n1,0b0\n2,0b1\n3,0b0\n");
    assert_eq!(gist(&prefixed).0, ["VALVE"]);
    // Where a heading names the bit, or a person a bus, it stays one.
    let ranged = read(&format!("Time (us),VALVE[3:3] [bin],LATCH\n{BODY}"));
    assert_eq!(gist(&ranged).0, ["VALVE[3]", "LATCH"]);
    let said = ReadOptions {
        columns: [("VALVE".to_owned(), ColumnKind::Bus { bits: 1, base: 2 })].into(),
        ..ReadOptions::default()
    };
    let text = format!("Time (us),VALVE [bin],LATCH\n{BODY}");
    let declared = ingest::read_bytes("table", text.into(), &said).expect("a table");
    assert_eq!(gist(&declared).0, ["VALVE[0]", "LATCH"]);
}
