//! Whatever the bytes are: no panic, no hang, an error of one line or a capture that is sound. The same functions
//! are what `tests/fuzz` calls.

use std::io::Write;

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::setup::Setup;
use proptest::prelude::*;

/// The same bytes in a file, which the fast paths may read: the outcome is that of the general path.
fn check_file(bytes: &[u8], plain: &Result<edgewitness::model::Capture, ingest::Error>) {
    let mut file = tempfile::NamedTempFile::new().expect("a temporary file can be made");
    file.write_all(bytes).expect("it can be written");
    match (
        ingest::read_file_as(file.path(), "bytes", &ReadOptions::default(), &()),
        plain,
    ) {
        (Ok(fast), Ok(plain)) => {
            assert_eq!((fast.lines.len(), fast.span), (plain.lines.len(), plain.span));
            for (a, b) in fast.lines.iter().zip(&plain.lines) {
                assert_eq!(a.edges[..], b.edges[..]);
                assert_eq!(
                    (a.first, &a.flips, &a.stretches, &a.runts),
                    (b.first, &b.flips, &b.stretches, &b.runts)
                );
                assert_eq!(a.tally(), b.tally());
            }
        }
        (fast, plain) => assert_eq!(
            fast.err().map(|e| e.to_string()),
            plain.as_ref().err().map(ToString::to_string)
        ),
    }
}

/// Reads `bytes` and looks the outcome through.
fn check(bytes: &[u8]) {
    let read = ingest::read_bytes("bytes", bytes.to_vec(), &ReadOptions::default());
    // One in four, by their length: a file costs more time than its bytes.
    if bytes.len().is_multiple_of(4) {
        check_file(bytes, &read);
    }
    match read {
        Err(error) => {
            let text = error.to_string();
            assert!(!text.contains('\n') && text.len() < 600, "{text}");
        }
        Ok(capture) => {
            assert!(
                !capture.lines.is_empty() || !capture.warnings.is_empty() || !capture.not_logic.is_empty()
            );
            assert!(capture.span.start <= capture.span.end);
            for line in &capture.lines {
                assert!(line.edges.windows(2).all(|w| w[0] < w[1]), "edges ascend");
                assert!(
                    line.edges
                        .iter()
                        .all(|&e| capture.span.start <= e && e <= capture.span.end)
                );
                assert!(
                    line.stretches
                        .windows(2)
                        .all(|w| w[0].span.end <= w[1].span.start)
                );
                let _ = line.tally();
            }
        }
    }
    let _ = ingest::preview_bytes("bytes", bytes.to_vec(), &ReadOptions::default());
}

const SAMPLES: [&str; 5] = [
    "$timescale 1 ns $end\n$scope module top $end\n$var wire 1 ! A $end\n$var wire 4 \" B [3:0] $end\n$var real 64 # R $end\n\
     $upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\nb0000 \"\nr1.5 #\n$end\n#50\n1!\nb1x1z \"\n#100\n$dumpoff\nx!\n$end\n\
     #150\n$dumpon\n0!\n$end\n#200\n1!\n",
    "Time (s),A,B\n0.0,0,1\n0.1,0,1\n0.2,1,1\n0.3,1,0\n0.4,0,0\n",
    "Title;a bench\nSample period;41,667 ns\n\n\"Time\";\"A\";\"B\"\nus;;\n0,00000;1;0\n2,29167;0;0\n7,16667;1;0\n12,33333;0;1\n",
    "time_ms\tV [V]\tD[3:0]\n0\t0.2\t0x0\n1\t0.3\t0x1\n2\t4.9\t0xF\n3\t5.0\t0xE\n4\t1.1\t0x3\n5\tnan\t\n",
    "2026-11-25T13:00:00.000,0\n2026-11-25T13:00:00.001,1\n2026-11-25T13:00:00.002,0\n",
];

#[test]
fn the_samples_themselves_are_sound() {
    for sample in SAMPLES {
        check(sample.as_bytes());
        assert!(
            ingest::read_bytes("s", sample.as_bytes().to_vec(), &ReadOptions::default()).is_ok(),
            "{sample}"
        );
        for end in 0..sample.len() {
            check(&sample.as_bytes()[..end]);
        }
    }
}

/// Times that leave no room for their difference, in rows that the first ones don't foretell.
#[test]
fn a_row_too_long_after_the_first_is_an_error_with_its_place() {
    // Behind the rows that the reading is planned by.
    let mut late = "Time (ns),A\n".to_owned();
    for row in 0..20_000 {
        late += &format!("{}00,{}\n", row, row % 2);
    }
    late += "9200000000000000000,0\n9200000000000000100,1\n";
    let tables = [
        ("Time,A\n-9200000000000000000,1\n9200000000000000000,0\n1,1\n", 3),
        ("time_s,A\n-9.2e18,1\n9.2e18,0\n1,1\n", 3),
        ("time_s,A\n0,1\n1,0\n2,1\n9.2e18,0\n", 5),
        (&late, 20_002),
    ];
    for (table, row) in tables {
        let error =
            ingest::read_bytes("bytes", table.as_bytes().to_vec(), &ReadOptions::default()).unwrap_err();
        let told = error.to_string();
        assert!(
            told.contains("of the first, found") && told.contains(&format!("row {row}")),
            "{told}"
        );
        check_file(table.as_bytes(), &Err(error));
    }
}

/// Samples of volts, and then one a long way off: the time between is not filled up sample by sample.
#[test]
fn a_long_gap_between_volts_is_read_without_filling_it_up() {
    let mut table = "Time (ns),V [V]\n".to_owned();
    for row in 0..40 {
        table += &format!("{}00,{}.5\n", row, row % 4);
    }
    table += "4000000000000000,0.5\n4000000000000100,3.5\n";
    check_file(
        table.as_bytes(),
        &ingest::read_bytes("bytes", table.as_bytes().to_vec(), &ReadOptions::default()),
    );
}

/// A rate that no instrument has is no rate.
#[test]
fn a_rate_beyond_all_instruments_is_not_taken() {
    for rate in ["1e300", "1e-300", "1e18"] {
        let table = format!("Sample Rate,{rate}\nTime (s),A\n0,0\n1,1\n2,0\n3,1\n4,1\n");
        check(table.as_bytes());
        let capture = ingest::read_bytes("t", table.into_bytes(), &ReadOptions::default()).unwrap();
        assert_eq!(capture.timebase.tick_s(), 1.0, "{rate}");
        let counted = format!("Sample Rate,{rate}\nSample,A\n0,0\n1,1\n2,0\n3,1\n4,1\n");
        let told = ingest::read_bytes("t", counted.into_bytes(), &ReadOptions::default()).unwrap_err();
        assert!(
            told.to_string().contains("nothing says how long a sample is"),
            "{told}"
        );
    }
}

/// More decimals than any clock has.
#[test]
fn times_of_day_may_have_any_number_of_decimals() {
    let decimals = |zeros: usize, last: &str| {
        let rows = (0..6).map(|s| format!("10:00:0{s}.{}{last},{}\n", "0".repeat(zeros), s % 2));
        format!("Time,A\n{}", rows.collect::<String>())
    };
    for zeros in [20, 29, 33, 34, 36, 38, 40, 60] {
        for last in ["0", "1"] {
            let plain = decimals(zeros, last);
            check(plain.as_bytes());
            check(plain.replace("\n10:", "\n2026-02-11 10:").as_bytes());
        }
    }
    let read = |zeros: usize| {
        let table = decimals(zeros, "0").into_bytes();
        let capture = ingest::read_bytes("t", table, &ReadOptions::default()).unwrap();
        let seconds = |&tick: &edgewitness::model::Ticks| capture.timebase.seconds(tick);
        let edges: Vec<f64> = capture.lines[0].edges.iter().map(seconds).collect();
        (capture.lines[0].name.clone(), edges)
    };
    assert_eq!(
        read(40),
        ("A".to_owned(), vec![36001.0, 36002.0, 36003.0, 36004.0, 36005.0])
    );
    assert_eq!(read(40), read(2));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn damaged_samples_are_read_or_refused_with_a_place(
        which in 0..SAMPLES.len(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), prop_oneof![
            prop::collection::vec(any::<u8>(), 0..3),
            prop::sample::select(vec![
                "\n", "\r", "\"", ",", ";", "$end", "$dumpoff", "#", "#99999999999999999999", "b", "x", "-", "nan", "1e999", "-1",
                "9223372036854775807", "-9223372036854775808", "9.2e18", "-9.2e18", "99999:0:0", "24:00:00.999",
                "10:00:00.000000000000000000000000000000000000", "2026-01-01 00:00:00", "1e-320", "\u{feff}", "[7:0]", "0x", "\0", " ", "$var wire 99999999 ! A $end",
            ]).prop_map(|s| s.as_bytes().to_vec()),
        ], 0usize..6), 1..6),
    ) {
        let mut bytes = SAMPLES[which].as_bytes().to_vec();
        for (place, insert, remove) in damage {
            let at = place.index(bytes.len() + 1);
            let end = (at + remove).min(bytes.len());
            bytes.splice(at..end, insert);
        }
        check(&bytes);
    }

    #[test]
    fn bytes_by_chance_are_read_or_refused_with_a_place(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        check(&bytes);
    }

    /// The example with every key, pieces taken out, doubled, exchanged or replaced.
    #[test]
    fn a_damaged_setup_is_read_or_refused_in_one_line(
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), 0usize..40, prop_oneof![
            Just(String::new()),
            "[\\[\\]a-z_= \"'0-9.,µ\n#{}-]{0,12}",
            prop::sample::select(vec![
                "1e999", "-1 ns", "nan", "inf", "\"\"", "[", "]]", "{", "\"0.8 to", "99999999999999999999", "true", "1979-05-27",
                "[read]", "[line.\"A\"]", "family = \"ttl-5v\"", "\"\"\"", "\\u0000", "= =", "24 MHz", "0 s", "a.b.c = 1",
            ]).prop_map(str::to_owned),
        ], any::<bool>()), 1..8),
    ) {
        let mut text: Vec<char> = edgewitness::setup::EXAMPLE.chars().collect();
        for (place, other, length, insert, doubled) in damage {
            let at = place.index(text.len() + 1);
            let end = (at + length).min(text.len());
            let piece: Vec<char> = text.splice(at..end, insert.chars()).collect();
            if doubled {
                let to = other.index(text.len() + 1);
                text.splice(to..to, piece);
            }
        }
        let text: String = text.into_iter().collect();
        if let Err(error) = Setup::parse(&text, "setup.toml") {
            let told = error.to_string();
            prop_assert!(!told.contains('\n') && told.starts_with("setup.toml"), "{told}");
        }
    }

    #[test]
    fn a_setup_by_chance_is_read_or_refused_in_one_line(text in "[\\[\\]a-z_= \"0-9.\n]{0,120}") {
        if let Err(error) = Setup::parse(&text, "setup.toml") {
            prop_assert!(!error.to_string().contains('\n'));
        }
    }
}
