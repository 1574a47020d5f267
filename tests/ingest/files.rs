//! Captures read back as written by hand: clause 18 of IEEE Std 1364-2005, tables as people have them, files that are none.

use std::io::Write;

use edgewitness::ingest::{self, ErrorKind, Limits, ReadOptions};
use edgewitness::model::{Capture, Level, Line, StretchKind};

use crate::reading::{read, told, try_read};

fn line<'c>(capture: &'c Capture, name: &str) -> &'c Line {
    let names = || capture.lines.iter().map(|l| l.name.as_str()).collect::<Vec<_>>();
    &capture.lines[capture
        .line_index(name)
        .unwrap_or_else(|| panic!("{name} among {:?}", names()))]
}

fn edges(capture: &Capture, name: &str) -> Vec<i64> {
    line(capture, name).edges.iter().map(|t| t.0).collect()
}

/// A VCD with a line `a` (code `!`), a bus `q [3:0]` (code `"`) and the given changes.
fn vcd(changes: &str) -> String {
    format!(
        "$timescale 1 ns $end $scope module top $end $var wire 1 ! a $end $var reg 4 \" q [3:0] $end $upscope $end \
         $enddefinitions $end\n{changes}\n"
    )
}

// ---- VCD: IEEE Std 1364-2005 clause 18

/// §18.2.2, Table 18-1: values are extended on the left, with 0 for 0 and 1, x with x, z with z.
#[test]
fn short_values_grow_on_the_left() {
    let levels = |value: &str| -> String {
        let capture = read(&vcd(&format!("#0\n0!\n{value} \"\n#10")));
        (0..4)
            .rev()
            .map(
                |bit| match line(&capture, &format!("q[{bit}]")).level_at(edgewitness::model::Ticks(5)) {
                    Level::Low => '0',
                    Level::High => '1',
                    Level::Unknown => 'x',
                    Level::Floating => 'z',
                },
            )
            .collect()
    };
    // Table 18-2's pairs of a 4-bit value and its shortest form.
    for (short, whole) in [
        ("b10", "0010"),
        ("b0x10", "0x10"),
        ("bx10", "xx10"),
        ("bz", "zzzz"),
        ("bzx0", "zzx0"),
        ("b0", "0000"),
        ("b1", "0001"),
    ] {
        assert_eq!(levels(short), whole, "{short}");
    }
}

/// §18.2.1: `b0x11` then `bx011`: bit 3 0→x, bit 2 x→0, bits 1 and 0 unchanged (a run of an independent simulator).
#[test]
fn x_is_a_level_and_no_edge() {
    let capture = read(&vcd("#0\nb0x11 \"\n#50\nbx011 \"\n#60"));
    for bit in 0..4 {
        assert!(edges(&capture, &format!("q[{bit}]")).is_empty());
    }
    assert_eq!(line(&capture, "q[3]").stretches.len(), 1);
    // Through x it is one edge when the levels differ, at the new level's time, none when they agree.
    let capture = read(&vcd("#0\n0!\n#10\nx!\n#20\n1!\n#30\nz!\n#40\n1!\n#50"));
    assert_eq!(edges(&capture, "a"), [20]);
    let kinds: Vec<StretchKind> = line(&capture, "a").stretches.iter().map(|s| s.kind).collect();
    assert_eq!(kinds, [StretchKind::Unknown, StretchKind::Floating]);
}

/// §18.2.3.8: the range may stand apart or glued; msb below lsb; codes may look like anything (§18.2.1).
#[test]
fn names_and_codes_of_every_make() {
    let text = "$timescale 100ps $end $scope module m $end $var wire 2 b10 p[1:0] $end $var wire 2 # r [0:1] $end \
                $var wire 1 $end s $end $var wire 1 1 \\t.u[3] $end $var wire 1 5 v[7] $end $upscope $end \
                $enddefinitions $end #0 b01 b10 b01 # 1$end 01 15 #3 b10 b10 b10 # 0$end 11 05 #9\n";
    let capture = read(text);
    let names: Vec<&str> = capture.lines.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["p[1]", "p[0]", "r[0]", "r[1]", "s", "\\t.u[3]", "v[7]"]);
    assert!(capture.lines.iter().all(|l| l.edges.len() == 1));
    assert_eq!(line(&capture, "r[0]").first, Level::Low);
    assert_eq!(capture.timebase.tick_s(), 1e-10);
}

/// §18.2.3.7: several variables on one code are one signal; a tool must not find the twins coupled.
#[test]
fn twins_share_their_edges() {
    let text = "$timescale 1 ns $end $scope module a $end $var wire 1 ! x $end $scope module b $end $var wire 1 ! y $end \
                $upscope $end $upscope $end $enddefinitions $end #0 0! #5 1! #9\n";
    let capture = read(text);
    assert_eq!(capture.lines[1].name, "b.y");
    assert_eq!(capture.lines[1].same_as, Some(0));
    assert_eq!(edges(&capture, "b.y"), [5]);
}

/// §18.2.3.9 to §18.2.3.12: `$dumpvars`, `$dumpoff`, `$dumpon`, `$dumpall`.
#[test]
fn nothing_is_made_up_across_a_stretch_that_was_not_dumped() {
    let capture = read(&vcd(
        "#0\n$dumpvars 0! b0 \" $end\n#10\n1!\n#20\n$dumpoff x! bx \" $end\n#50\n$dumpon 0! b1 \" $end\n#60\n1!\n#70\n$dumpall 1! b1 \" $end\n#80",
    ));
    let a = line(&capture, "a");
    assert_eq!(edges(&capture, "a"), [10, 60]);
    assert_eq!(a.flips.iter().map(|f| f.0).collect::<Vec<_>>(), [50]);
    assert_eq!(a.stretches[0].kind, StretchKind::Unrecorded);
    assert_eq!(a.pulses().count(), 0);
    let tally = a.tally();
    assert_eq!((tally.low.0, tally.high.0, tally.unrecorded.0), (20, 30, 30));
    assert_eq!(edges(&capture, "q[0]"), [0i64; 0]);
}

/// The leap out of an unrecorded stretch stays a leap when the level is unknown at first.
#[test]
fn a_leap_through_unknown_is_no_edge_either() {
    let capture = read(&vcd(
        "#0\n0!\n#10\n1!\n#20\n$dumpoff x! $end\n#30\n$dumpon x! $end\n#40\n0!\n#50\n1!\n#60\nx!\n#70\n0!\n#80",
    ));
    let a = line(&capture, "a");
    assert_eq!(edges(&capture, "a"), [10, 50, 70]);
    assert_eq!(a.flips.iter().map(|f| f.0).collect::<Vec<_>>(), [30]);
    assert_eq!(a.tally(), edgewitness::model::Tally::of(a));
    let pulses: Vec<(i64, Level)> = a.pulses().map(|p| (p.start.0, p.level)).collect();
    assert_eq!(pulses, [(50, Level::High)]);
}

/// §18.2.1: several changes at one time: a pulse of no width is no measured pulse.
#[test]
fn the_last_of_several_values_at_one_time_counts() {
    let capture = read(&vcd("#0\n0!\n#10\n1!\n0!\n#20\n1!\n#20\n0!\n1!\n#30"));
    assert_eq!(edges(&capture, "a"), [20]);
}

/// §18.4: port dumps; letters' meanings from memory of the standard's tables.
#[test]
fn port_dumps_are_read_for_their_levels() {
    let text = "$timescale 1 ns $end $scope module t $end $var port 1 <0 clk $end $var port [1:0] <1 d $end $upscope $end \
                $enddefinitions $end #0 $dumpports pD 6 0 <0 pDU 66 66 <1 $end #10 pU 0 6 <0 #20 pL 6 0 <0 pZZ 00 00 <1 \
                $vcdclose #40 $end\n";
    let capture = read(text);
    assert_eq!(edges(&capture, "clk"), [10, 20]);
    assert_eq!(line(&capture, "d[1]").stretches[0].kind, StretchKind::Floating);
    assert_eq!(capture.span.end.0, 40);
}

/// Reals (§18.2.1, `r`), events (§18.2.3.8) and strings (outside the standard) are kept apart, and said so.
#[test]
fn what_is_no_logic_is_kept_apart() {
    let text = "$timescale 1 us $end $var real 64 r air $end $var event 1 e bell $end $var string 1 s note $end \
                $var wire 1 w a $end $enddefinitions $end #0 $dumpvars r0.3333333333333333 r 1e sidle s 0w $end #5 r6.02e+23 r \
                1e #9 1w\n";
    let capture = read(text);
    let apart: Vec<(&str, &str, usize)> = capture
        .not_logic
        .iter()
        .map(|n| (n.name.as_str(), n.kind.as_str(), n.changes))
        .collect();
    assert_eq!(
        apart,
        [("air", "real", 2), ("bell", "event", 1), ("note", "string", 1)]
    );
    assert!(told(&capture, "not logic lines"));
}

/// IEEE Std 1364-2005 §18.2.1 has times as decimal numbers from 0 on; some programs put the trigger there.
#[test]
fn times_before_the_trigger_are_read_and_told_of() {
    let capture = try_read(&vcd("#-3000\n0!\n#-10\n1!\n#0\n0!\n#25\n1!\n#40")).unwrap();
    let times: Vec<i64> = capture.lines[0].edges.iter().map(|t| t.0).collect();
    assert_eq!((capture.span.start.0, times), (-3000, vec![-10, 0, 25]));
    assert!(told(&capture, "times begin below 0, at #-3000"));
    assert!(told(&capture, "before the instrument's trigger"));
    // They run on as others do, and are whole numbers.
    let text = vcd("#-10\n0!\n#-20\n1!\n");
    let error = try_read(&text).unwrap_err();
    assert!(matches!(error.kind, ErrorKind::Backwards { .. }), "{error}");
    for odd in ["#-", "#-1.5", "#--3", "#3-"] {
        let error = try_read(&vcd(&format!("{odd}\n0!\n#9\n1!\n"))).unwrap_err();
        assert!(
            error.to_string().contains("after #") || error.to_string().contains("whole number"),
            "{error}"
        );
    }
}

#[test]
fn vcd_mistakes_have_their_place() {
    let fail = |text: &str| try_read(text).unwrap_err();
    let text = vcd("#0\n0!\n#10\n1!\n#9\n0!");
    let error = fail(&text);
    assert!(matches!(error.kind, ErrorKind::Backwards { .. }), "{error}");
    assert_eq!(error.position.unwrap().byte, text.find("#9").unwrap() as u64);
    let text = vcd("#0\n0!\n1?\n#5");
    let error = fail(&text);
    assert!(matches!(error.kind, ErrorKind::Undeclared(_)), "{error}");
    assert_eq!(error.position.unwrap().byte, text.find("1?").unwrap() as u64);
    // With the line as an editor counts it, and what to do.
    let line = text[..text.find("1?").unwrap()].matches('\n').count() + 1;
    let told = error.to_string();
    assert!(told.contains(&format!(", line {line} (byte ")), "{told}");
    assert!(told.ends_with("export it again"), "{told}");
    for text in [
        "$timescale 5 ns $end $enddefinitions $end\n",
        "$var wire 1 ! a\n",
        "$scope module x\n",
        "$end\n",
    ] {
        assert!(!fail(text).to_string().contains('\n'));
    }
    assert!(matches!(fail("").kind, ErrorKind::Empty));
    assert!(matches!(fail("\0\0\0\0\0\0").kind, ErrorKind::UnknownFormat(_)));
}

#[test]
fn a_cut_off_vcd_yields_all_up_to_its_last_whole_step() {
    let whole = vcd("#0\n0!\n#10\n1!\n#20\n0!\nb101 \"\n#30");
    let cut = &whole[..whole.find(" \"\n#30").unwrap()];
    let capture = read(cut);
    assert_eq!(edges(&capture, "a"), [10]);
    assert!(told(&capture, "cut off"));
    let capture = read(&vcd("#0\n0!\n#10\n1!\n$bogus words here $end\n#20"));
    assert!(told(&capture, "$bogus"));
    let capture = read("$var wire 1 ! a $end $enddefinitions $end #0 0! #5 1!\n");
    assert!(told(&capture, "no $timescale"));
}

#[test]
fn scopes_are_refused_where_they_go_too_deep_and_name_what_is_inside() {
    let nested = |depth: usize| {
        let inside = |i| format!("$scope module x{i} $end $var wire 1 v{i} A $end\n");
        let scopes: String = (0..depth).map(inside).collect();
        let left = "$upscope $end $scope module empty $end $upscope $end\n".repeat(depth);
        format!("$timescale 1 ns $end\n{scopes}{left}$enddefinitions $end\n#0\n0v0\n#9\n1v0\n")
    };
    let read = |text: String| ingest::read_bytes("deep.vcd", text.into_bytes(), &ReadOptions::default());
    let names: Vec<String> = read(nested(3))
        .unwrap()
        .lines
        .into_iter()
        .map(|l| l.name)
        .collect();
    assert_eq!(names, ["A", "x1.A", "x1.x2.A"]);
    let text = nested(4_100);
    let place = text.find("$scope module x4096 ").unwrap();
    let error = read(text).unwrap_err();
    assert!(
        error
            .to_string()
            .contains("the depth of scopes is above the limit of 4096"),
        "{error}"
    );
    assert_eq!(error.position.unwrap().byte, place as u64);
}

// ---- tables

#[test]
fn tables_of_many_dialects_say_the_same() {
    let plain = "Time (us),STEP,CLEAR\n0.00,0,1\n0.01,0,1\n0.02,1,1\n0.03,1,0\n0.04,0,0\n0.05,0,1\n";
    let want = read(plain);
    assert_eq!(
        (edges(&want, "STEP"), edges(&want, "CLEAR")),
        (vec![2, 4], vec![3, 5])
    );
    let semicolon = plain.replace(',', ";");
    let german = semicolon.replace('.', ",");
    let forms = [
        semicolon.clone(),
        german,
        plain.replace(',', "\t"),
        plain.replace(',', "|"),
        plain.replace('\n', "\r\n"),
        plain.replace('\n', "\r"),
        format!("\u{feff}{plain}"),
        plain.replace(',', " , "),
        plain.replace('\n', ",\n"),
        plain.replace(",0", ",L").replace(",1", ",H"),
        plain.replace(",0", ",false").replace(",1", ",true"),
        plain.replace("STEP,CLEAR", "\"STEP\",\"CLEAR\""),
        plain.replace("Time (us),", "Time,").replacen('\n', "\nus,,\n", 1),
        format!("Title,a bench\nSample period,10.000 ns\n\n{plain}"),
        format!("# a remark\n{}", plain.replacen('\n', "\n# another\n\n", 1)),
    ];
    for form in &forms {
        let capture = read(form);
        for name in ["STEP", "CLEAR"] {
            let times = |c: &Capture| {
                line(c, name)
                    .edges
                    .iter()
                    .map(|&t| (c.seconds(t) * 1e12).round())
                    .collect::<Vec<_>>()
            };
            assert_eq!(times(&capture), times(&want), "{form}");
        }
        assert!(
            (capture.timebase.length_s(capture.resolution_ticks) / 1e-8 - 1.0).abs() < 1e-9,
            "{form}"
        );
    }
    let utf16: Vec<u8> = std::iter::once(0xfeffu16)
        .chain(plain.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    let capture = ingest::read_bytes("utf16", utf16, &ReadOptions::default()).unwrap();
    assert_eq!(edges(&capture, "STEP"), [2, 4]);
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    gzip.write_all(plain.as_bytes()).unwrap();
    let capture = ingest::read_bytes("packed", gzip.finish().unwrap(), &ReadOptions::default()).unwrap();
    assert_eq!(edges(&capture, "CLEAR"), [3, 5]);
}

#[test]
fn gaps_and_missing_cells_make_no_edges() {
    let text = "time_ms,A\n0,0\n1,0\n2,0\n3,1\n4,1\n9,0\n10,0\n11,1\n12,1\n13,1\n14,\n15,0\n16,0\n17,0\n18,0\n19,0\n";
    let capture = read(text);
    let a = line(&capture, "A");
    assert_eq!(edges(&capture, "A"), [3, 11, 15]);
    assert_eq!(a.flips.len(), 1);
    assert_eq!(a.stretches[0].kind, StretchKind::Unrecorded);
    assert_eq!((a.stretches[0].span.start.0, a.stretches[0].span.end.0), (5, 9));
    assert!(told(&capture, "gap") && told(&capture, "missing cell"));
}

#[test]
fn a_cell_of_no_meaning_is_told_with_its_place_and_text() {
    let capture = read("time (ns),STEP,HAUL\n0,0,1\n10,1,1\n20,0,zz\n30,1,0\n40,0,0\n50,1,1\n");
    assert!(told(&capture, "first in row 4"), "{:?}", capture.warnings);
    assert!(
        told(&capture, "column HAUL: \"zz\"; expected 0, 1, x or z"),
        "{:?}",
        capture.warnings
    );
}

#[test]
fn a_packed_bus_becomes_lines() {
    let text = "time (ns),DATA[7:0]\n0,0x0F\n10,0x0f\n20,0xF0\n35,0xF1\n";
    let capture = read(text);
    let tick = |ns: f64| (ns * 1e-9 / capture.timebase.tick_s()).round() as i64;
    assert_eq!(edges(&capture, "DATA[7]"), [tick(20.0)]);
    assert_eq!(edges(&capture, "DATA[0]"), [tick(20.0), tick(35.0)]);
    assert_eq!(capture.buses[0].bits.len(), 8);
}

#[test]
fn sample_numbers_ask_for_the_rate() {
    let text = "Sample,A\n0,0\n1,0\n2,1\n3,1\n";
    let error = try_read(text).unwrap_err().to_string();
    assert!(error.contains("sample_period"), "{error}");
    let options = ReadOptions {
        sample_period_s: Some(5e-8),
        ..ReadOptions::default()
    };
    let capture = ingest::read_bytes("n.csv", text.as_bytes().to_vec(), &options).unwrap();
    assert_eq!(capture.seconds(line(&capture, "A").edges[0]), 1e-7);
}

#[test]
fn table_mistakes_have_their_place() {
    let error = try_read("time,A\n0.1,0\n0.2,1\n0.3,0\n0.25,1\n0.4,0\n").unwrap_err();
    let place = error.position.unwrap();
    assert_eq!((place.row, place.column), (Some(5), Some(1)), "{error}");
    // Rows count as an editor counts them, on CRLF and after blank lines too.
    let error = try_read("time,A\r\n\r\n0.1,0\r\n0.2,1\r\n\r\n0.1,1\r\n").unwrap_err();
    assert_eq!(error.position.unwrap().row, Some(6), "{error}");
    let error = try_read("time,A\n0.1,0\n0.2,\"1\n0.3,0\n").unwrap_err();
    assert!(error.to_string().contains("closing quote"), "{error}");
    let capture = read("time,A,A,\n0.1,0,1,1\n0.2,1,0,1\nnan,0,0,0\n0.35,0,1\n");
    let names: Vec<&str> = capture.lines.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["A", "A (2)", "column 4"]);
    assert!(told(&capture, "without a readable time") && told(&capture, "too few or too many"));
}

#[test]
fn files_that_are_none_are_told() {
    let folder = tempfile::tempdir().unwrap();
    for path in [folder.path().to_owned(), folder.path().join("absent.csv")] {
        let error = ingest::read_file(&path, &ReadOptions::default(), &()).unwrap_err();
        assert!(
            matches!(error.kind, ErrorKind::Io(_)) && !error.to_string().contains('\n'),
            "{error}"
        );
    }
    let name = "N".repeat(200_000);
    let text = format!("time,{name}\n0,0\n1,1\n2,1\n");
    assert_eq!(read(&text).lines[0].name.len(), 200_000);
    let wide: String = (0..10_000).map(|i| format!(",D{i}")).collect();
    let row = ",0".repeat(10_000);
    assert_eq!(
        read(&format!("time{wide}\n0{row}\n1{row}\n2{row}\n")).lines.len(),
        10_000
    );
    let options = ReadOptions {
        limits: Limits {
            unpacked_bytes: 1 << 20,
            ..Limits::default()
        },
        ..ReadOptions::default()
    };
    let mut bomb = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    bomb.write_all(b"time,A\n").unwrap();
    for i in 0..300_000 {
        writeln!(bomb, "{i},0").unwrap();
    }
    let error = ingest::read_bytes("bomb.gz", bomb.finish().unwrap(), &options).unwrap_err();
    assert!(
        error.to_string().contains("the unpacked size in bytes"),
        "{error}"
    );
    let options = ReadOptions {
        limits: Limits {
            gzip_ratio_from: 1 << 20,
            ..Limits::default()
        },
        ..ReadOptions::default()
    };
    // Deflate packs the same letters over and over to about a thousandth.
    let mut bomb = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    write!(bomb, "$comment {} $end", "a ".repeat(4 << 20)).unwrap();
    let error = ingest::read_bytes("bomb.vcd.gz", bomb.finish().unwrap(), &options).unwrap_err();
    assert!(
        error.to_string().contains("the ratio of unpacked to packed"),
        "{error}"
    );
}
