//! Tables in the hands of instruments and people that say things in passing: values above the headings, units in the cells,
//! bases in the headings, a last row that was cut off, no headings at all. All layouts are common practice, no source.

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{Capture, ColumnKind, Ticks};

use crate::reading::read;

/// All warnings, one after the other.
fn told(capture: &Capture) -> String {
    let texts = capture.warnings.iter().map(|warning| warning.text.as_str());
    texts.collect::<Vec<_>>().join("\n")
}

/// Line names.
fn names(capture: &Capture) -> Vec<&str> {
    capture.lines.iter().map(|line| line.name.as_str()).collect()
}

/// Line names with their edges in ticks.
fn edges(capture: &Capture) -> Vec<(String, Vec<Ticks>)> {
    let of = |line: &edgewitness::model::Line| (line.name.clone(), line.edges.to_vec());
    capture.lines.iter().map(of).collect()
}

/// Rows of two channels in volts, 5 ns apart, that swing between 0.2 and 3.6 V; `write` makes a row of time and volts.
fn volts(rows: usize, write: impl Fn(f64, f64, f64) -> String) -> String {
    let level = |high: bool| if high { 3.625 } else { 0.219 };
    (0..rows)
        .map(|row| {
            write(
                row as f64 * 5e-9 - 1e-6,
                level(row % 40 < 20),
                level(row % 64 < 32),
            )
        })
        .collect()
}

fn plain(rows: usize) -> String {
    volts(rows, |t, a, b| format!("{t:.9},{a:.3},{b:.3}\n"))
}

#[test]
fn values_above_the_headings_are_no_samples_and_no_names() {
    let body = plain(200);
    let expected = read(&format!("TIME,STEP,CLEAR\n{body}"));
    for head in [
        "Vertical Scale,1.0,1.0\nProbe Attenuation,10,10\n\n",
        "Record Length,200,200\nProbe Atten,10,10\n",
        "Model,bench scope\nSample Interval,5.000e-09\nRecord Length,200\nVertical Scale,1.0,1.0\nProbe,10,10\n\n",
        "2,10,10\n",
    ] {
        let capture = read(&format!("{head}TIME,STEP,CLEAR\n{body}"));
        assert_eq!(edges(&capture), edges(&expected), "{head}");
        assert_eq!(capture.span, expected.span, "{head}");
    }
    let one = read(&format!(
        "Record Length,200\nProbe,10\nTIME,STEP\n{}",
        volts(200, |t, a, _| format!("{t:.9},{a:.3}\n"))
    ));
    assert_eq!(names(&one), ["STEP"]);
    let noted = read(&format!("Probe,10,10\nTIME,STEP,CLEAR\n{body}"));
    assert!(told(&noted).contains("\"Probe\" 10"), "{}", told(&noted));
    // Without headings the values name nothing.
    let bare = read(&format!("Vertical Scale,1.0,1.0\n{body}"));
    assert_eq!(names(&bare), ["column 2", "column 3"]);
}

#[test]
fn units_and_the_number_of_samples_above_the_headings_are_taken_up() {
    let millivolts = volts(200, |t, a, b| format!("{t:.9},{:.0},{b:.3}\n", a * 1e3));
    let capture = read(&format!(
        "Vertical Units,mV,V\nHorizontal Units,s\nTIME,STEP,CLEAR\n{millivolts}"
    ));
    let expected = read(&format!("TIME,STEP,CLEAR\n{}", plain(200)));
    assert_eq!(edges(&capture), edges(&expected));
    let thresholds = |capture: &Capture| {
        capture.lines[0]
            .trace
            .as_ref()
            .map(|trace| trace.thresholds.low_v)
    };
    assert_eq!(thresholds(&capture), thresholds(&expected));
    let short = read(&format!("Record Length,1000\nTIME,STEP,CLEAR\n{}", plain(200)));
    assert!(
        told(&short).contains("says 1000 samples, found 200"),
        "{}",
        told(&short)
    );
    let whole = read(&format!("Record Length,200\nTIME,STEP,CLEAR\n{}", plain(200)));
    assert!(!told(&whole).contains("samples, found"), "{}", told(&whole));
}

#[test]
fn a_cell_may_carry_its_unit() {
    let expected = read(&format!("Time (s),STEP (V),CLEAR (V)\n{}", plain(200)));
    let with_units = volts(200, |t, a, b| format!("{t:.9} s,{a:.3} V,{b:.3} V\n"));
    let small = volts(200, |t, a, b| {
        format!("{:.4} us,{:.0} mV,{:.0}mV\n", t * 1e6, a * 1e3, b * 1e3)
    });
    let mixed = volts(200, |t, a, b| {
        let of = |volts: f64| match volts < 1.0 {
            true => format!("{:.0} mV", volts * 1e3),
            false => format!("{volts:.3} V"),
        };
        format!("{:.1} ns,{},{}\n", t * 1e9, of(a), of(b))
    });
    let commas = volts(200, |t, a, b| {
        format!("{t:.9} s;{a:.3} V;{b:.3} V\n").replace('.', ",")
    });
    let commas = format!("Time;STEP;CLEAR\n{commas}");
    for text in [with_units, small, mixed]
        .map(|body| format!("Time,STEP,CLEAR\n{body}"))
        .iter()
        .chain([&commas])
    {
        let capture = read(text);
        assert_eq!(edges(&capture), edges(&expected), "{}", &text[..80]);
        assert!(!told(&capture).contains("taken for volts"), "{}", told(&capture));
    }
}

#[test]
fn a_last_row_that_was_cut_off_is_left_out_and_told() {
    let whole = format!("Time (s),STEP (V),CLEAR (V)\n{}", plain(200));
    let expected = read(&whole);
    for rest in [
        "-0.000",
        "0.0000",
        "-0.000000001,",
        "-0.000000001,3.6",
        "0.000000000,3.625,",
        "0.000000000,3.625,-",
    ] {
        let cut = read(&format!("{whole}{rest}"));
        assert_eq!(
            (cut.span, edges(&cut)),
            (expected.span, edges(&expected)),
            "{rest}"
        );
        assert!(told(&cut).contains("cut off"), "{rest}: {}", told(&cut));
    }
    // A whole last row needs no line end behind it.
    let unended = read(whole.trim_end());
    assert_eq!(unended.span, expected.span);
    assert!(!told(&unended).contains("cut off"), "{}", told(&unended));
}

const CODES: [u32; 6] = [5, 12, 9, 0, 15, 3];

/// A table of times and one bus, its cells by `cell`.
fn bus(heading: &str, cell: impl Fn(u32) -> String) -> String {
    let rows = CODES.iter().enumerate();
    let rows: String = rows
        .map(|(at, &code)| format!("{at}.0,{},{}\n", cell(code), at % 2))
        .collect();
    format!("Time [us],{heading},WE_N\n{rows}")
}

#[test]
fn a_heading_may_say_the_base_of_its_cells() {
    let expected = read(&bus("DATA", |code| format!("0x{code:X}")));
    assert_eq!(
        names(&expected),
        ["DATA[3]", "DATA[2]", "DATA[1]", "DATA[0]", "WE_N"]
    );
    for heading in [
        "DATA [hex]",
        "DATA(hex)",
        "DATA_hex",
        "DATA [Hexadecimal]",
        "DATA[3:0] [hex]",
    ] {
        let capture = read(&bus(heading, |code| format!("{code:X}")));
        assert_eq!(edges(&capture), edges(&expected), "{heading}");
        assert_eq!(
            (&capture.buses[0].name[..], capture.buses[0].base),
            ("DATA", Some(16)),
            "{heading}"
        );
    }
    for (heading, cells) in [
        ("DATA (binary)", (|code| format!("{code:b}")) as fn(u32) -> String),
        ("DATA [dec]", |code| code.to_string()),
        ("DATA", |code| format!("${code:x}")),
    ] {
        assert_eq!(edges(&read(&bus(heading, cells))), edges(&expected), "{heading}");
    }
    // 0B is eleven where the heading says so, whatever it means elsewhere.
    let eleven = read(&bus("DATA [hex]", |_| "0B".to_owned()));
    assert_eq!(eleven.buses[0].bits.len(), 8, "{:?}", names(&eleven));
    let high = eleven
        .lines
        .iter()
        .map(|line| line.level_at(eleven.span.start) == edgewitness::model::Level::High);
    assert_eq!(
        high.collect::<Vec<_>>()[..8],
        [false, false, false, false, true, false, true, true]
    );
    // Cells that are no numbers of the base are not forced into it.
    let volts = read(&bus("DATA [hex]", |code| format!("{:.2}", f64::from(code) / 4.0)));
    assert_eq!(volts.buses.len(), 0, "{:?}", names(&volts));
}

#[test]
fn a_bus_is_declared_by_its_name_alone() {
    let said = ReadOptions {
        columns: [("DATA".to_owned(), ColumnKind::Bus { bits: 4, base: 16 })].into(),
        ..ReadOptions::default()
    };
    let expected = read(&bus("DATA", |code| format!("0x{code:X}")));
    for heading in ["DATA", "DATA [hex]", "DATA[3:0]"] {
        let text = bus(heading, |code| format!("{code:X}"));
        let capture = ingest::read_bytes("table", text.into(), &said).expect(heading);
        assert_eq!(edges(&capture), edges(&expected), "{heading}");
    }
}

#[test]
fn digits_left_out_are_told_with_what_to_write() {
    let capture = read(&bus("DATA", |code| format!("{code:X}")));
    assert!(
        told(&capture).contains("\"DATA\" = \"bus 4 hex\""),
        "{}",
        told(&capture)
    );
}

#[test]
fn cells_of_as_many_noughts_and_ones_are_a_bus() {
    let expected = read(&bus("DATA", |code| format!("0x{code:X}")));
    let capture = read(&bus("DATA", |code| format!("{code:04b}")));
    assert_eq!(edges(&capture), edges(&expected));
    assert!(
        told(&capture).contains("\"DATA\" = \"analog\""),
        "{}",
        told(&capture)
    );
    let volts = read(&bus("DATA", |code| format!("{:.2}", f64::from(code % 2) / 10.0)));
    assert_eq!(volts.buses.len(), 0);
}

#[test]
fn a_table_without_headings_takes_the_names_that_are_given() {
    let body = "0.000,1,0\n0.003,0,0\n0.005,0,1\n0.008,1,1\n";
    let with = |text: String, names: &[&str], rename: &[(&str, &str)]| {
        let own = |text: &&str| (*text).to_owned();
        let options = ReadOptions {
            names: names.iter().map(own).collect(),
            rename: rename
                .iter()
                .map(|(column, name)| (own(column), own(name)))
                .collect(),
            ..ReadOptions::default()
        };
        ingest::read_bytes("table", text.into(), &options).expect("a table")
    };
    let list = ["Time (ms)", "STEP", "CLEAR"];
    let headed = format!("Time (ms),STEP,CLEAR\n{body}");
    let named = with(body.to_owned(), &list, &[]);
    assert_eq!(edges(&named), edges(&read(&headed)));
    assert!(!told(&named).contains("no headings"), "{}", told(&named));
    // A file's own headings are not touched by the list, and a list of another length names nothing.
    let other = with(format!("Time (ms),A,B\n{body}"), &list, &[]);
    assert_eq!(names(&other), ["A", "B"]);
    let short = with(body.to_owned(), &list[..2], &[]);
    assert_eq!(names(&short), ["column 2", "column 3"]);
    assert!(
        told(&short).contains("has 2 names, the table has 3 columns"),
        "{}",
        told(&short)
    );
    // One by one, by number or by heading.
    assert_eq!(
        names(&with(headed, &[], &[("2", "PAWL"), ("CLEAR", "RESET")])),
        ["PAWL", "RESET"]
    );
    let bare = with(body.to_owned(), &[], &[("3", "RESET")]);
    assert_eq!(names(&bare), ["column 2", "RESET"]);
    assert!(told(&bare).contains("no headings"), "{}", told(&bare));
    let all = with(body.to_owned(), &[], &[("2", "STEP"), ("3", "RESET")]);
    assert!(!told(&all).contains("no headings"), "{}", told(&all));
}

#[test]
fn changes_on_a_round_rate_are_snapped_to_it() {
    // 24 MHz written to the nanosecond: edges a sample apart, some 11 ms between them.
    let mut sample = 0i64;
    let mut text = "Time(s),PAWL\n".to_owned();
    for turn in 0..40i64 {
        sample += 270_000 + (turn * 7919) % 4_001;
        for (at, level) in [(sample, 1), (sample + 1, 0), (sample + 3, 1), (sample + 9, 0)] {
            text.push_str(&format!("{:.9},{level}\n", at as f64 / 24e6));
        }
    }
    let capture = read(&text);
    let resolution_s = capture.timebase.length_s(capture.resolution_ticks);
    assert!((resolution_s * 24e6 - 1.0).abs() < 1e-6, "{resolution_s}");
}

#[test]
fn a_line_of_a_vcd_takes_another_name_too() {
    let text = "$timescale 1 ns $end\n$var wire 1 ! CH0 $end\n$var wire 1 # CH1 $end\n$var wire 2 % Q [1:0] $end\n\
                $enddefinitions $end\n#0\n0!\n0#\nb00 %\n#10\n1!\nb11 %\n#20\n1#\n";
    let with = |rename: &[(&str, &str)]| {
        let own = |(line, name): &(&str, &str)| ((*line).to_owned(), (*name).to_owned());
        let options = ReadOptions {
            rename: rename.iter().map(own).collect(),
            ..ReadOptions::default()
        };
        ingest::read_bytes("dump", text.into(), &options).expect("a dump")
    };
    let capture = with(&[("CH0", "STEP"), ("Q", "NOTE")]);
    assert_eq!(names(&capture), ["STEP", "CH1", "NOTE[1]", "NOTE[0]"]);
    assert_eq!(capture.buses[0].name, "NOTE");
    let taken = with(&[("CH0", "CH1")]);
    assert_eq!(names(&taken)[..2], ["CH0", "CH1"]);
    assert!(told(&taken).contains("CH1"), "{}", told(&taken));
}
