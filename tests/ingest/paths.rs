//! Captures by independent writers (the `vcd` and the `csv` crate), by chance; and the fast paths against their plain twins.

use std::path::PathBuf;

use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::Capture;
use proptest::prelude::*;

fn file(folder: &tempfile::TempDir, text: &[u8]) -> PathBuf {
    let path = folder.path().join("capture");
    std::fs::write(&path, text).unwrap();
    path
}

fn both(path: &std::path::Path) -> (Result<Capture, String>, Result<Capture, String>) {
    let plain = ReadOptions {
        plain: true,
        ..ReadOptions::default()
    };
    let read = |options: &ReadOptions| ingest::read_file(path, options, &()).map_err(|e| e.to_string());
    (read(&ReadOptions::default()), read(&plain))
}

fn same(path: &std::path::Path) -> Result<(), TestCaseError> {
    let (fast, plain) = both(path);
    let (fast, plain) = match (fast, plain) {
        (Ok(fast), Ok(plain)) => (fast, plain),
        (fast, plain) => {
            prop_assert_eq!(fast.map(|_| ()), plain.map(|_| ()));
            return Ok(());
        }
    };
    prop_assert_eq!(fast.lines.len(), plain.lines.len());
    prop_assert_eq!(fast.span, plain.span);
    // Both fit the period to the same rows, the fast path to fewer of them: no moment may differ by more than the
    // rounding of the written times (1 ns in these tests).
    let end = fast.span.end;
    prop_assert!((fast.seconds(end) - plain.seconds(end)).abs() < 1.5e-9);
    for (a, b) in fast.lines.iter().zip(&plain.lines) {
        prop_assert_eq!(&a.edges[..], &b.edges[..]);
        prop_assert_eq!(&a.stretches, &b.stretches);
        prop_assert_eq!(
            (&a.name, a.first, &a.flips, &a.runts, a.between),
            (&b.name, b.first, &b.flips, &b.runts, b.between)
        );
        prop_assert_eq!(a.tally(), b.tally());
        prop_assert_eq!(edgewitness::model::Tally::of(a), a.tally());
    }
    // The sentence on the fitted grid shows the period, which was compared above by what it does to the times.
    let told = |capture: &Capture| -> Vec<String> {
        let texts = capture.warnings.iter().map(|w| w.text.as_str());
        texts
            .map(|t| {
                if t.contains("fitted grid") {
                    "fitted grid"
                } else {
                    t
                }
                .to_owned()
            })
            .collect()
    };
    prop_assert_eq!(told(&fast), told(&plain));
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// A sample table by the `csv` crate, with gaps, rounded times and volts: fast and plain agree.
    #[test]
    fn random_sample_tables_are_read_alike_by_both_paths(
        period in prop_oneof![Just(10.0), Just(1000.0 / 24.0), Just(125.0), Just(0.5)],
        steps in prop::collection::vec((prop_oneof![30 => Just(1u32), 1 => 2u32..50], 0u8..8), 3..400),
        volts in any::<bool>(),
        crlf in any::<bool>(),
        quotes in any::<bool>(),
    ) {
        let mut writer = csv::WriterBuilder::new();
        if quotes {
            writer.quote_style(csv::QuoteStyle::Always);
        }
        if crlf {
            writer.terminator(csv::Terminator::CRLF);
        }
        let mut writer = writer.from_writer(Vec::new());
        writer.write_record(["Time [s]", "A", "B", if volts { "V [V]" } else { "C" }]).unwrap();
        let mut index = 0u32;
        let mut levels = 0u8;
        for &(step, change) in &steps {
            index += step;
            if change < 3 {
                levels ^= 1 << change;
            }
            let bit = |n: u8| if levels >> n & 1 == 1 { "1" } else { "0" };
            let time = format!("{:.9}", (f64::from(index) * period * 1e-9 * 1e9).round() / 1e9);
            let third = if volts { format!("{:.3}", f64::from(change) * 0.71 - 0.4) } else { bit(2).to_owned() };
            writer.write_record([time.as_str(), bit(0), bit(1), &third]).unwrap();
        }
        let folder = tempfile::tempdir().unwrap();
        same(&file(&folder, &writer.into_inner().unwrap()))?;
    }

    /// A change list: the edges are where the levels change, whatever the path.
    #[test]
    fn random_change_lists_are_read_alike_by_both_paths(steps in prop::collection::vec((1u32..4000, 1u8..8), 2..300)) {
        let mut text = "time_ns;A;B;C\n".to_owned();
        let (mut now, mut levels) = (0u64, 0u8);
        let mut want: [Vec<u64>; 3] = Default::default();
        for (i, &(step, change)) in steps.iter().enumerate() {
            now += u64::from(step) * 4;
            if i > 0 {
                levels ^= change;
                (0..3).filter(|n| change >> n & 1 == 1).for_each(|n| want[n].push(now));
            }
            let bit = |n: u8| levels >> n & 1;
            text.push_str(&format!("{now};{};{};{}\n", bit(0), bit(1), bit(2)));
        }
        let folder = tempfile::tempdir().unwrap();
        let path = file(&folder, text.as_bytes());
        same(&path)?;
        let capture = both(&path).0.unwrap();
        for (line, want) in capture.lines.iter().zip(&want) {
            let got: Vec<u64> = line.edges.iter().map(|&t| (capture.seconds(t) * 1e9).round() as u64).collect();
            prop_assert_eq!(&got, want);
        }
    }

    /// A VCD by the `vcd` crate reads back the same, fast and plain.
    #[test]
    fn a_vcd_by_another_writer_reads_as_written_fast_and_plain(
        changes in prop::collection::vec((0u64..50, 0usize..3, 0u8..16, prop_oneof![8 => Just(0u8), 1 => Just(1), 1 => Just(2)]), 1..300),
        comment_every in 20usize..400,
    ) {
        let mut text = Vec::new();
        let mut writer = vcd::Writer::new(&mut text);
        writer.timescale(1, vcd::TimescaleUnit::NS).unwrap();
        writer.add_module("carillon").unwrap();
        let a = writer.add_wire(1, "a").unwrap();
        let q = writer.add_wire(4, "q").unwrap();
        let r = writer.add_var(vcd::VarType::Real, 64, "r", None).unwrap();
        writer.upscope().unwrap();
        writer.enddefinitions().unwrap();
        let mut now = 0;
        writer.timestamp(0).unwrap();
        // What the line a is, by the words of the contract, from the list of changes alone.
        let mut steps: Vec<(u64, vcd::Value)> = Vec::new();
        for (i, &(step, which, value, strange)) in changes.iter().enumerate() {
            if step > 0 {
                now += step;
                writer.timestamp(now).unwrap();
            }
            if i % comment_every == comment_every - 1 {
                writer.comment("a remark").unwrap();
            }
            let digit = |bit: u8| match strange {
                1 => vcd::Value::X,
                2 => vcd::Value::Z,
                _ => if value >> bit & 1 == 1 { vcd::Value::V1 } else { vcd::Value::V0 },
            };
            match which {
                0 => {
                    writer.change_scalar(a, digit(0)).unwrap();
                    match steps.last_mut() {
                        Some((at, last)) if *at == now => *last = digit(0),
                        _ => steps.push((now, digit(0))),
                    }
                }
                1 => writer.change_vector(q, (0..4).rev().map(digit)).unwrap(),
                _ => writer.change_real(r, f64::from(value) / 3.0).unwrap(),
            }
        }
        writer.timestamp(now + 1).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let path = file(&folder, &text);
        same(&path)?;
        let mut want = Vec::new();
        let mut known = None;
        for &(at, value) in &steps {
            if matches!(value, vcd::Value::V0 | vcd::Value::V1) {
                if known.is_some_and(|k| k != value) {
                    want.push(at as i64);
                }
                known = Some(value);
            }
        }
        let capture = both(&path).0.unwrap();
        let a = &capture.lines[capture.line_index("a").unwrap()];
        prop_assert_eq!(a.edges.iter().map(|t| t.0).collect::<Vec<_>>(), want);
    }

    /// Scalars by the `vcd` crate with codes of one and two characters, times of any number of digits, a level told again,
    /// several changes at one time, either line end: fast and plain agree, and both with what was written.
    #[test]
    fn a_vcd_of_many_lines_reads_as_written_fast_and_plain(
        lines in prop_oneof![1usize..5, 90usize..130],
        start in prop_oneof![Just(0u64), Just(9_999_000), Just(99_999_500), Just(999_999_999_000), 0u64..1 << 55],
        changes in prop::collection::vec((0u64..60, any::<prop::sample::Index>(), any::<bool>()), 1..600),
        grid in prop_oneof![Just(1u64), Just(5)],
        crlf in any::<bool>(),
    ) {
        let mut text = Vec::new();
        let mut writer = vcd::Writer::new(&mut text);
        writer.timescale(1, vcd::TimescaleUnit::NS).unwrap();
        writer.add_module("carillon").unwrap();
        let codes: Vec<vcd::IdCode> = (0..lines).map(|n| writer.add_wire(1, &format!("bell{n}")).unwrap()).collect();
        writer.upscope().unwrap();
        writer.enddefinitions().unwrap();
        writer.timestamp(start).unwrap();
        codes.iter().for_each(|&code| writer.change_scalar(code, false).unwrap());
        let mut now = start;
        let mut told: Vec<Vec<(u64, bool)>> = vec![vec![(start, false)]; lines];
        for &(step, which, level) in &changes {
            // Most times differ from the one before, some don't.
            let step = step.saturating_sub(9) * grid;
            if step > 0 {
                now += step;
                writer.timestamp(now).unwrap();
            }
            let line = which.index(lines);
            writer.change_scalar(codes[line], level).unwrap();
            match told[line].last_mut() {
                Some((at, last)) if *at == now => *last = level,
                _ => told[line].push((now, level)),
            }
        }
        writer.timestamp(now + 1).unwrap();
        if crlf {
            text = String::from_utf8(text).unwrap().replace('\n', "\r\n").into_bytes();
        }
        let folder = tempfile::tempdir().unwrap();
        let path = file(&folder, &text);
        same(&path)?;
        let capture = both(&path).0.unwrap();
        for (line, told) in capture.lines.iter().zip(&told) {
            let mut level = told[0].1;
            let mut want = Vec::new();
            for &(at, next) in &told[1..] {
                if next != level {
                    want.push(at as i64);
                }
                level = next;
            }
            prop_assert_eq!(line.edges.iter().map(|t| t.0).collect::<Vec<_>>(), want);
        }
    }
}

/// A capture of several blocks, in which lines rest for long and move in bursts, with a few levels of other kinds: the
/// blocks join to what the plain twin reads.
#[test]
fn blocks_of_a_long_vcd_join() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "$timescale 1 ns $end $var wire 1 ! a $end $var wire 1 \" b $end $var wire 1 aa c $end \
                    $var wire 12 # q [11:0] $end $enddefinitions $end\n#0\n0!\n0\"\n0aa\nb0 #\n"
        .to_owned();
    let (mut state, mut now) = (7u64, 0u64);
    while text.len() < 7 << 19 {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        let dice = state >> 33;
        now += 1 + dice % 97;
        text.push_str(&format!("#{now}\n{}!\n", dice >> 7 & 1));
        match dice % 1013 {
            0 => text.push_str("x\"\n"),
            1 => text.push_str(&format!("b{:b}x1 #\n", dice >> 20 & 7)),
            2..200 => text.push_str(&format!("b{:b} #\n", dice >> 12 & 0xfff)),
            200..400 => text.push_str(&format!("{}aa\n", dice >> 9 & 1)),
            400..500 => text.push_str(&format!("{}\"\n", dice >> 11 & 1)),
            _ => {}
        }
    }
    same(&file(&folder, text.as_bytes())).unwrap();
}

/// The same for a change list of several blocks.
#[test]
fn blocks_of_a_long_change_list_join() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "Time [s],A,B,C,D,E,F,G,H,I\n".to_owned();
    let (mut state, mut sample, mut levels) = (11u64, 0u64, 0u64);
    while text.len() < 7 << 19 {
        text.push_str(&format!("{:.9}", sample as f64 / 24e6));
        (0..9).for_each(|bit| text.push_str(&format!(",{}", levels >> bit & 1)));
        text.push('\n');
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        sample += 1 + (state >> 33) % 70;
        levels ^= 1 << ((state >> 50) % 9) | u64::from(state >> 60 == 0);
    }
    same(&file(&folder, text.as_bytes())).unwrap();
}
