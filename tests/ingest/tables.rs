//! Tables as instruments and people lay them out: where the times stand, how they are written, what stands above
//! the data. All layouts are common practice, no source.

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{Capture, ColumnKind, Family};

use crate::reading::{edges_ns, read, told, try_read};

/// Line names with their edges in nanoseconds.
fn edges(capture: &Capture) -> Vec<(String, Vec<i64>)> {
    let of = |line: &edgewitness::model::Line| (line.name.clone(), edges_ns(capture, line));
    capture.lines.iter().map(of).collect()
}

fn want(lines: &[(&str, &[i64])]) -> Vec<(String, Vec<i64>)> {
    lines.iter().map(|(n, e)| ((*n).to_owned(), e.to_vec())).collect()
}

#[test]
fn times_may_stand_in_any_column() {
    let last = read("STEP,CLEAR,Time (us)\n0,1,0.0\n0,1,0.1\n1,1,0.2\n1,0,0.3\n0,0,0.4\n0,1,0.5\n");
    let middle = read("STEP,Time (us),CLEAR\n0,0.0,1\n0,0.1,1\n1,0.2,1\n1,0.3,0\n0,0.4,0\n0,0.5,1\n");
    let expected = want(&[("STEP", &[200, 400]), ("CLEAR", &[300, 500])]);
    assert_eq!((edges(&last), edges(&middle)), (expected.clone(), expected));
    let after_row_numbers = read("No.,Time (ms),STEP\n1,0.000,0\n2,0.001,1\n3,0.002,1\n4,0.003,0\n");
    assert_eq!(edges(&after_row_numbers), want(&[("STEP", &[1000, 3000])]));
    let nameless = read("0,1,0.0\n0,1,0.1\n1,1,0.2\n1,0,0.3\n0,0,0.4\n");
    assert_eq!(nameless.lines.len(), 2, "the third column rises: it is the time");
}

#[test]
fn numbers_of_rows_beside_the_times_are_no_line() {
    let table = |heading: &str, first: u32, step: u32| {
        let mut text = format!("{heading};Zeit (us);HIT;RDY\n");
        for row in 0..20 {
            let (number, hit) = (first + row * step, u32::from(row % 7 == 3));
            text.push_str(&format!("{number};{},{};{hit};1\n", row / 10, row % 10));
        }
        text
    };
    let lines = |text: &str| -> Vec<String> {
        let capture = read(text);
        capture.lines.iter().map(|line| line.name.clone()).collect()
    };
    let headings = [
        "Nr.",
        "Nr",
        "No.",
        "#",
        "num",
        "Num.",
        "Sample_Nr",
        "idx",
        "n",
        "",
        "Lfd. Nr.",
        "Número",
    ];
    for heading in headings {
        assert_eq!(lines(&table(heading, 0, 1)), ["HIT", "RDY"], "{heading:?} from 0");
        assert_eq!(lines(&table(heading, 1, 1)), ["HIT", "RDY"], "{heading:?} from 1");
    }
    // Samples of which only some have a row; and numbers that nothing above them tells of.
    assert_eq!(lines(&table("Sample no.", 40, 3)), ["HIT", "RDY"]);
    assert_eq!(lines(&table("Zeile", 1, 1)), ["HIT", "RDY"]);
    // What is headed so and counts nothing is a line; so is what counts elsewhere than from the first row on.
    let contact = "Time (us),NO,NC\n0.0,0,1\n0.1,1,0\n0.2,1,0\n0.3,0,1\n";
    assert_eq!(lines(contact), ["NO", "NC"]);
    assert_eq!(lines(&table("V1", 40, 3)).len(), 3);
}

#[test]
fn sample_numbers_without_a_rate_ask_for_it() {
    for heading in [
        "Sample",
        "Samples",
        "Index",
        "No.",
        "Sequence",
        "Sample Number",
        "Nr.",
        "num",
    ] {
        let error = try_read(&format!("{heading},STEP\n0,0\n1,0\n2,1\n3,1\n"))
            .unwrap_err()
            .to_string();
        assert!(error.contains("[read] sample_rate"), "{error}");
    }
    let error = try_read("STEP,CLEAR\n0,1\n0,1\n1,1\n1,0\n")
        .unwrap_err()
        .to_string();
    assert!(error.contains("[read] sample_rate"), "{error}");
    let told = read("Sampling rate: 20 MHz\nSample,STEP\n0,0\n1,0\n2,1\n3,1\n4,0\n");
    assert_eq!(edges(&told), want(&[("STEP", &[100, 200])]));
}

#[test]
fn names_and_units_may_stand_in_two_rows() {
    let body = "0.000000,0.1\n0.000001,0.2\n0.000002,4.8\n0.000003,4.9\n0.000004,0.1\n";
    let plain = read(&format!("Time [s],STEP [V]\n{body}"));
    assert_eq!(plain.lines[0].edges.len(), 2);
    for head in [
        "Time,STEP\ns,V\n",
        "\"Time\",\"STEP\"\n\"(s)\",\"(V)\"\n\n",
        "Source,STEP\nSecond,Volt\n",
        "Board,sequencer\nTime,STEP\ns,V\n",
    ] {
        let capture = read(&format!("{head}{body}"));
        assert_eq!(edges(&capture), edges(&plain), "{head}");
    }
    let columns = read(
        "X,STEP,Start,Increment\nSequence,Volt,-2.0e-3,1.0e-6\n0,0.1,,\n1,0.1,,\n2,5,,\n3,5,,\n4,0.2,,\n",
    );
    assert_eq!(columns.lines.len(), 1);
    assert_eq!(columns.timebase.length_s(columns.resolution_ticks), 1e-6);
}

/// Channels that are headed by their numbers look like levels, and a scope writes what it is above them.
#[test]
fn channels_headed_by_numbers_are_named_and_keep_their_units() {
    let rows: String = (0..60)
        .map(|row| {
            format!(
                "{:.7E},{},{}\n",
                f64::from(row) * 2e-7,
                row / 5 % 2 * 4,
                row / 7 % 2 * 4
            )
        })
        .collect();
    for above in [
        "",
        "Model,organ scope\n",
        "Record Length,60\n",
        "Model,organ scope\nRecord Length,60\n\n",
    ] {
        for units in ["second,Volt,Volt\n", "(s),(V),(V)\n", "s,V,V\n"] {
            let capture = read(&format!("{above}x-axis,1,2\n{units}{rows}"));
            let names: Vec<&str> = capture.lines.iter().map(|line| line.name.as_str()).collect();
            assert_eq!(names, ["channel 1", "channel 2"], "{above}{units}");
            assert_eq!(capture.lines[0].edges.len(), 11);
            for word in [
                "names no unit",
                "without a readable time",
                "taken for volts",
                "no heading",
            ] {
                assert!(!told(&capture, word), "{above}{units}: {:?}", capture.warnings);
            }
        }
    }
    let mut table = "Time (us),0,1\n".to_owned();
    (0..20).for_each(|row| table += &format!("{row},{},0\n", row % 2));
    let capture = read(&table);
    assert_eq!(capture.lines[0].name, "channel 0");
    assert!(capture.warnings.is_empty(), "{:?}", capture.warnings);
    // A first column of letters that are levels is no heading.
    let letters: String = (0..20)
        .map(|row| format!("{},{row},0\n", if row % 3 == 0 { "T" } else { "F" }))
        .collect();
    assert_eq!(read(&format!("A,time_us,B\n{letters}")).lines[0].edges.len(), 13);
}

#[test]
fn remarks_beside_the_data_are_no_lines() {
    let beside = [
        "Record Length,300,Points",
        "Sample Interval,1e-6,s",
        "Trigger,150,Samples",
    ];
    let row = |i: usize| {
        let volts = if i / 100 % 2 == 1 { 4.9 } else { 0.1 };
        format!(
            "{},{:.6},{volts}\n",
            beside.get(i).unwrap_or(&",,"),
            i as f64 * 1e-6 - 150e-6
        )
    };
    let capture = read(&(0..300).map(row).collect::<String>());
    assert_eq!(capture.lines.len(), 1);
    assert_eq!(capture.lines[0].edges.len(), 2);
}

#[test]
fn times_are_read_in_whatever_form_they_are_written() {
    let iso = read(
        "Timestamp,STEP\n2026-11-25T13:00:00.000000,0\n2026-11-25T13:00:00.000010,1\n2026-11-25T13:00:00.000050,0\n",
    );
    let midnight_s = 13.0 * 3600.0;
    let times: Vec<f64> = iso.lines[0]
        .edges
        .iter()
        .map(|&t| iso.seconds(t) - midnight_s)
        .collect();
    assert!(
        (times[0] - 10e-6).abs() < 1e-9 && (times[1] - 50e-6).abs() < 1e-9,
        "{times:?}"
    );
    // With a comma for the fraction (ISO 8601 allows both) and a blank for the T.
    let comma = read(
        "Timestamp;STEP\n2026-11-25 13:00:00,000010;0\n2026-11-25 13:00:00,000020;1\n2026-11-25 13:00:00,000030;1\n",
    );
    assert_eq!(comma.lines[0].edges.len(), 1);
    let suffixed = read("Time,STEP\n0 ns,0\n1 us,0\n2.5us,1\n1 ms,0\n");
    assert_eq!(edges(&suffixed), want(&[("STEP", &[2500, 1_000_000])]));
    let powers = read("Time (s),STEP\n1.00E-06,0\n1.10E-05,1\n9.98E-04,0\n1.00E-03,1\n1.01E-03,0\n");
    assert_eq!(
        edges(&powers),
        want(&[("STEP", &[11_000, 998_000, 1_000_000, 1_010_000])])
    );
}

#[test]
fn a_stated_rate_settles_the_unit_where_the_column_names_none() {
    let rows = |step: f64, digits: usize| -> String {
        (0..40)
            .map(|i| format!("{:.digits$},{}\n", i as f64 * step, i / 5 % 2))
            .collect()
    };
    let micro = read(&format!(
        "Sample rate: 24 MHz\nTime,STEP\n{}",
        rows(1.0 / 24.0, 6)
    ));
    assert_eq!(edges(&micro)[0].1[0], 208, "5 samples of 41.667 ns");
    assert!(
        told(&micro, "names no unit: us was taken"),
        "{:?}",
        micro.warnings
    );
    let nano = read(&format!("Sample period,50 ns\nTime,STEP\n{}", rows(50.0, 0)));
    assert_eq!(edges(&nano)[0].1[0], 250);
    // A change list: rows lie apart, but never closer than a sample, and are written finer.
    let list =
        read("Sample rate: 24 MHz\nTime,STEP\n0.000,0\n7.458,1\n7.542,0\n17.333,1\n19.000,0\n19.042,1\n");
    assert_eq!(edges(&list)[0].1[..2], [7458, 7542], "{:?}", list.warnings);
    // Nothing stated, or stated in accord with seconds: as before.
    let seconds = read(&format!("Sample rate: 10 Hz\nTime,STEP\n{}", rows(0.1, 1)));
    assert_eq!(edges(&seconds)[0].1[0], 500_000_000);
}

#[test]
fn remarks_after_a_semicolon_are_remarks_where_commas_part_the_cells() {
    let text =
        "; Samplerate: 20 MHz\n; made at the tower\nSample,STEP\n0,0\n1,0\n; a pause, 1\n2,1\n3,1\n4,0\n";
    assert_eq!(edges(&read(text)), want(&[("STEP", &[100, 200])]));
    // Where semicolons part the cells, one at the start is an empty cell.
    let cells = read(";Time (us);STEP\n;0;0\n;0.1;0\n;0.2;1\n;0.3;1\n;0.4;0\n");
    assert_eq!(edges(&cells), want(&[("STEP", &[200, 400])]));
}

#[test]
fn one_odd_cell_that_makes_volts_of_levels_is_named_and_can_be_overruled() {
    let mut text = String::from("Time (us),STEP,CLEAR\n");
    for row in 0..8_000 {
        let cell = if row == 7_000 {
            "3"
        } else {
            ["0", "1"][row / 2 % 2]
        };
        text += &format!("{},{cell},{}\n", row, row / 3 % 2);
    }
    let told = |capture: &Capture| {
        capture
            .warnings
            .iter()
            .map(|w| w.text.clone())
            .collect::<Vec<_>>()
            .join("\n")
    };
    let volts = read(&text);
    assert!(volts.lines[0].trace.is_some() && volts.lines[1].trace.is_none());
    let said = told(&volts);
    // The heading is row 1, so sample 7000 is row 7002.
    assert!(
        said.contains("row 7002 holds \"3\"") && said.contains("\"STEP\" = \"digital\""),
        "{said}"
    );
    let options = ReadOptions {
        columns: vec![("STEP".to_owned(), ColumnKind::Digital)]
            .into_iter()
            .collect(),
        ..ReadOptions::default()
    };
    let levels = ingest::read_bytes("table", text.into_bytes(), &options).unwrap();
    assert!(levels.lines[0].trace.is_none(), "{}", told(&levels));
    assert!(told(&levels).contains("first in row 7002"), "{}", told(&levels));
}

#[test]
fn a_stated_rate_that_contradicts_the_times_is_told() {
    let rows = |step: f64| -> String {
        (0..40)
            .map(|i| format!("{:.3},{}\n", i as f64 * step, i / 5 % 2))
            .collect()
    };
    let wrong = read(&format!("Sample rate: 24 MHz\nTime (ms),STEP\n{}", rows(0.125)));
    assert!(
        told(&wrong, "states a sample every 41.7 ns (24 MHz)"),
        "{:?}",
        wrong.warnings
    );
    let unit = read(&format!("Sample period: 125 ns\nTime (ms),STEP\n{}", rows(0.125)));
    assert!(
        told(&unit, "the unit of the times may be another one"),
        "{:?}",
        unit.warnings
    );
    let close = read("Sample rate: 1 kHz\nTime (us),STEP\n0,0\n10,1\n23,0\n700,1\n");
    assert!(
        told(&close, "rows as close as 10 us") || told(&close, "rows as close as 10 µs"),
        "{:?}",
        close.warnings
    );
    for sound in [
        format!("Sample rate: 8 kHz\nTime (ms),STEP\n{}", rows(0.125)),
        "Sample rate: 1 MHz\nTime (us),STEP\n0,0\n10,1\n23,0\n700,1\n".to_owned(),
        format!("Sample period: 41.7 ns\nTime (us),STEP\n{}", rows(1.0 / 24.0)),
    ] {
        assert!(!told(&read(&sound), "states a sample"), "{sound}");
    }
}

/// Found by chance inputs: a number larger than any voltage made an edge at a time of its own.
#[test]
fn a_voltage_beyond_all_bounds_is_missing() {
    let mut text = "Time (us),V (V)\n".to_owned();
    for i in 0..40 {
        let volts = ["0.1", "4.9", "1e60", "-1e60"][if i % 13 == 12 { 2 + i / 13 % 2 } else { i / 5 % 2 }];
        text.push_str(&format!("{}.{}25,{volts}\n", i * 3, i % 7));
    }
    let capture = read(&text);
    let line = &capture.lines[0];
    assert!(
        !line.edges.is_empty() && line.edges.windows(2).all(|w| w[0] < w[1]),
        "{:?}",
        &line.edges[..]
    );
    assert_eq!(line.stretches.len(), 3);
}

/// Found by chance inputs: one time beyond all bounds made the unit of all others infinite.
#[test]
fn a_time_beyond_all_bounds_is_passed_over() {
    let capture = read("Time (s),STEP\n0.1,0\n0.25,1\n0.287e333,0\n0.31,1\n0.5,0\n0.62,1\n");
    assert_eq!(
        edges(&capture),
        want(&[("STEP", &[250_000_000, 500_000_000, 620_000_000])])
    );
    assert!(
        capture
            .warnings
            .iter()
            .any(|w| w.text.contains("without a readable time"))
    );
}

#[test]
fn packed_cells_in_many_hands() {
    let bits = |rows: &[&str]| {
        let body: String = rows
            .iter()
            .enumerate()
            .map(|(i, cell)| format!("{i},{cell}\n"))
            .collect();
        edges(&read(&format!("Time (us),D[7:0]\n{body}")))
    };
    let wanted = bits(&["0x00", "0x0F", "0xFF", "0x10"]);
    assert_eq!(wanted[7], ("D[0]".to_owned(), vec![1000, 3000]));
    for rows in [
        ["00", "0F", "FF", "10"],
        ["00h", "0Fh", "FFh", "10h"],
        ["8'h00", "8'h0F", "8'hff", "8'h10"],
        ["$00", "$0f", "$ff", "$10"],
        ["00000000", "00001111", "11111111", "00010000"],
        ["0b00000000", "0b00001111", "0b11111111", "0b00010000"],
        ["0", "15", "255", "16"],
        ["0o0", "0o17", "0o377", "0o20"],
    ] {
        assert_eq!(bits(&rows), wanted, "{rows:?}");
    }
    // 0b1 among hexadecimal digits is 177.
    let hex = read("Time (us),D[11:0]\n0,0f0\n1,0b1\n2,0f0\n");
    assert_eq!(edges(&hex)[5], ("D[6]".to_owned(), vec![1000, 2000]));
    let unknown = read("Time (us),D[3:0]\n0,0000\n1,00xx\n2,zz11\n3,1111\n");
    let kinds: Vec<usize> = unknown.lines.iter().map(|line| line.stretches.len()).collect();
    assert_eq!((kinds, unknown.lines[3].edges.len()), (vec![1, 1, 1, 1], 1));
}

#[test]
fn signs_and_letters_of_other_hands() {
    // The typesetters' minus; µ in Latin-1; quotes within quotes; whole numbers under volts.
    let minus = read("Time (us),A\n\u{2212}2,0\n\u{2212}1,1\n0,1\n1,0\n");
    assert_eq!(edges(&minus), want(&[("A", &[-1000, 1000])]));
    let latin = b"Time (\xb5s),A\n0,0\n1,1\n2,0\n".to_vec();
    let latin = ingest::read_bytes("latin", latin, &ReadOptions::default()).unwrap();
    assert_eq!(edges(&latin), want(&[("A", &[1000, 2000])]));
    assert_eq!(
        read("Time (us),\"A \"\"x\"\"\"\n0,0\n1,1\n").lines[0].name,
        "A \"x\""
    );
    let volts = read("Time,A,B\n(us),(V),(V)\n0,0,1\n1,1,1\n2,1,0\n3,0,0\n");
    assert!(volts.lines.iter().all(|line| line.trace.is_none()));
    assert_eq!(edges(&volts)[0].1, [1000, 3000]);
    let later: String = (0..7000)
        .map(|i| format!("{i},{}\n", if i < 6500 { "0" } else { "4.9" }))
        .collect();
    assert!(
        read(&format!("Time (us),A (V)\n{later}")).lines[0]
            .trace
            .is_some()
    );
}

#[test]
fn short_and_odd_tables_are_read_or_told() {
    let ragged = read("Time (us),A,B\n0,0,1\n1,1\n2,1,0,7\n3,0,0\n");
    assert_eq!(edges(&ragged)[0], ("A".to_owned(), vec![1000, 3000]));
    assert!(told(&ragged, "too few or too many cells"));
    let error = try_read("Time,A\n0,00,0\n0,01,1\n0,02,0\n0,03,1\n").unwrap_err();
    assert!(error.to_string().contains("expected times that rise"), "{error}");
    let odd = read("Time (us),A,B\n0,?!,!!\n1,?!,!!\n2,0,1\n3,1,1\n4,0,0\n5,0,1\n");
    assert!(
        told(&odd, "2 rows above row 4 begin with a number (first: row 2)"),
        "{:?}",
        odd.warnings
    );
    let none = read("$timescale 1 ns $end $enddefinitions $end\n#0\n#5\n");
    assert!(told(&none, "no variable that is a line"));
}

/// The reading sheet shows what each cell says, and so the effect of what a person says instead.
#[test]
fn a_preview_says_what_its_cells_say() {
    let table = "Time,A,V [mV],D[7:0],N\n0,0,300,0x0F,remark\n1,1,2500,0xF0,remark\n2,X,4800,0x10,remark\n";
    let look =
        |options: &ReadOptions| ingest::preview_bytes("t", table.as_bytes().to_vec(), options).unwrap();
    let found = look(&ReadOptions::default());
    assert_eq!(found.meanings[1], ["1 s", "high", "between", "= 240", ""]);
    assert_eq!(found.meanings[2], ["2 s", "unknown", "high", "= 16", ""]);
    let mut said = ReadOptions {
        time_unit_s: Some(1e-6),
        ..ReadOptions::default()
    };
    said.columns.insert("2".to_owned(), ColumnKind::Ignore);
    said.family = Some(Family::by_volts(0.1, 0.2));
    assert_eq!(look(&said).meanings[1], ["1 µs", "", "high", "= 240", ""]);
}
