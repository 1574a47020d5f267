//! Columns kept in the store: what was read once is the same when it is mapped again, a restart does not read the
//! originals again, and what is damaged, half done or read otherwise is read anew.

use std::fs;
use std::path::{Path, PathBuf};

use edgewitness::demo;
use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{Capture, Trace, TraceSamples};
use edgewitness::store::{Digest, Store};
use edgewitness::workflow::stored::read_stored;

/// Everything a trace holds, floats by their bits.
fn trace_numbers(trace: &Trace) -> (String, Vec<u64>) {
    let mut bits = vec![
        trace.thresholds.low_v.to_bits(),
        trace.thresholds.high_v.to_bits(),
    ];
    match &trace.samples {
        TraceSamples::Uniform {
            start,
            step,
            volts,
            pyramid,
        } => {
            bits.extend([*start as u64, *step as u64]);
            bits.extend((**volts).as_ref().iter().map(|v| u64::from(v.to_bits())));
            for level in pyramid.iter() {
                bits.extend(
                    (**level)
                        .as_ref()
                        .iter()
                        .flatten()
                        .map(|v| u64::from(v.to_bits())),
                );
            }
        }
        TraceSamples::Steps { times, values } => {
            bits.extend(times.iter().map(|&t| t as u64));
            bits.extend(values.iter().map(|v| v.to_bits()));
        }
    }
    (format!("{} {}", trace.family, trace.declared), bits)
}

fn assert_same(a: &Capture, b: &Capture) {
    assert_eq!(
        (&a.file, a.format, a.timebase, a.span),
        (&b.file, b.format, b.timebase, b.span)
    );
    assert_eq!(a.resolution_ticks.to_bits(), b.resolution_ticks.to_bits());
    assert_eq!((&a.buses, &a.warnings), (&b.buses, &b.warnings));
    assert_eq!(
        (a.lines.len(), a.not_logic.len()),
        (b.lines.len(), b.not_logic.len())
    );
    for (a, b) in a.lines.iter().zip(&b.lines) {
        assert_eq!(
            (&a.name, a.source, a.first, a.capture),
            (&b.name, b.source, b.first, b.capture)
        );
        assert_eq!(&a.edges[..], &b.edges[..], "{}", a.name);
        assert_eq!(
            (&a.flips, &a.stretches, &a.runts),
            (&b.flips, &b.stretches, &b.runts)
        );
        assert_eq!(
            (a.span, a.interpolated, a.same_as),
            (b.span, b.interpolated, b.same_as)
        );
        assert_eq!(a.sample_ticks.to_bits(), b.sample_ticks.to_bits());
        assert_eq!((a.between, a.tally), (b.between, b.tally));
        assert_eq!(
            a.trace.as_ref().map(trace_numbers),
            b.trace.as_ref().map(trace_numbers)
        );
    }
    for (a, b) in a.not_logic.iter().zip(&b.not_logic) {
        assert_eq!((&a.name, &a.kind, a.changes), (&b.name, &b.kind, b.changes));
        assert_eq!(
            a.trace.as_ref().map(trace_numbers),
            b.trace.as_ref().map(trace_numbers)
        );
    }
}

/// A VCD with all that a capture may hold beside edges.
const RICH: &str = "$timescale 10 ps $end $scope module tower $end $var wire 1 ! a $end $var wire 1 ! twin $end \
    $var reg 4 \" q [3:0] $end $var real 64 # air $end $var event 1 $ bell $end $upscope $end $enddefinitions $end\n\
    #3\n0!\nb0x1z \"\nr0.1 #\n#10\n1!\nr0.3333333333333333 #\n1$\n#20\n$dumpoff\nx!\n$end\n#30\n$dumpon\n0!\nb1 \"\n$end\n#45\n1!\n#50\n";

fn files() -> Vec<(String, Vec<u8>)> {
    let volts: String = (0..5000)
        .map(|i| {
            format!(
                "{:.7},{:.3},{}\n",
                f64::from(i) * 1e-7,
                f64::from(i % 97) * 0.05,
                i / 7 % 2
            )
        })
        .collect();
    let gap = "0.0006,0.3,1\n0.0006001,nan,1\n";
    let mut files = vec![
        ("rich.vcd".to_owned(), RICH.as_bytes().to_vec()),
        (
            "volts.csv".to_owned(),
            format!("Time [s],V [V],A\n{volts}{gap}").into_bytes(),
        ),
        ("still.csv".to_owned(), b"Time [s],A\n0,0\n1,0\n".to_vec()),
    ];
    let wanted = ["as-found.vcd", "tower.csv", "supply.csv"];
    let demo = demo::files().into_iter().filter(|f| wanted.contains(&f.name));
    files.extend(demo.map(|f| (f.name.to_owned(), f.text.clone().into_bytes())));
    files
}

fn columns_of(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for original in fs::read_dir(folder.join("columns")).unwrap() {
        for reading in fs::read_dir(original.unwrap().path()).unwrap() {
            found.push(reading.unwrap().path());
        }
    }
    found
}

fn original(folder: &Path, digest: &Digest) -> PathBuf {
    folder
        .join("originals")
        .join(&digest.as_str()[..2])
        .join(digest.as_str())
}

#[test]
fn what_was_kept_is_what_was_read_and_a_restart_reads_no_original() {
    let folder = tempfile::tempdir().unwrap();
    let options = ReadOptions::default();
    let mut digests = Vec::new();
    for (name, bytes) in files() {
        let store = Store::open(folder.path()).unwrap();
        let stored = store.store_from(&name, &bytes[..], u64::MAX).unwrap();
        let read = ingest::read_bytes(&name, bytes, &options).unwrap();
        let first = read_stored(&store, &stored.digest, &name, &options, &()).unwrap();
        assert_same(&first, &read);
        digests.push((name, stored.digest, read));
    }
    // After a restart the originals are out of reach: only what was kept can answer.
    for (name, digest, read) in &digests {
        let path = original(folder.path(), digest);
        fs::rename(&path, path.with_extension("away")).unwrap();
        let store = Store::open(folder.path()).unwrap();
        assert_same(&read_stored(&store, digest, name, &options, &()).unwrap(), read);
        let otherwise = ReadOptions {
            sample_period_s: Some(1e-6),
            ..ReadOptions::default()
        };
        let error = read_stored(&store, digest, name, &otherwise, &()).unwrap_err();
        assert!(error.to_string().contains("there is no stored file"), "{error}");
        fs::rename(path.with_extension("away"), path).unwrap();
    }
}

#[test]
fn damage_is_found_and_the_original_read_again() {
    let (name, bytes) = files().swap_remove(0);
    let options = ReadOptions::default();
    let want = ingest::read_bytes(&name, bytes.clone(), &options).unwrap();
    for (part, harm) in [
        ("columns", 0),
        ("columns", 1),
        ("columns", 2),
        ("capture.json", 0),
        ("capture.json", 1),
        ("capture.json", 2),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let digest = store.store_from(&name, &bytes[..], u64::MAX).unwrap().digest;
        drop(read_stored(&store, &digest, &name, &options, &()).unwrap());
        let path = columns_of(folder.path()).remove(0).join(part);
        let mut kept = fs::read(&path).unwrap();
        match harm {
            0 => kept[70] ^= 1,
            1 => kept.truncate(kept.len() / 2),
            _ => kept.clear(),
        }
        fs::write(&path, kept).unwrap();
        assert_same(
            &read_stored(&store, &digest, &name, &options, &()).unwrap(),
            &want,
        );
        // It was kept anew, and serves without the original.
        fs::remove_file(original(folder.path(), &digest)).unwrap();
        assert_same(
            &read_stored(&store, &digest, &name, &options, &()).unwrap(),
            &want,
        );
    }
}

#[test]
fn what_is_half_written_is_not_there() {
    let (name, bytes) = files().swap_remove(0);
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let digest = store.store_from(&name, &bytes[..], u64::MAX).unwrap().digest;
    let half = store.begin_columns(&digest, "key").unwrap();
    fs::write(half.path().join("columns"), b"half").unwrap();
    assert!(store.kept_capture(&digest, "key", &name).is_none());
    // The program dies here: nothing is dropped in order.
    std::mem::forget(half);
    drop(store);
    let store = Store::open(folder.path()).unwrap();
    assert!(store.kept_capture(&digest, "key", &name).is_none());
    assert_eq!(fs::read_dir(folder.path().join("staging")).unwrap().count(), 0);
}

#[test]
fn readings_of_one_original_do_not_pile_up() {
    let (name, bytes) = files().swap_remove(0);
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let digest = store.store_from(&name, &bytes[..], u64::MAX).unwrap().digest;
    let capture = ingest::read_bytes(&name, bytes, &ReadOptions::default()).unwrap();
    for key in 0..9 {
        let kept = store.keep_capture(&digest, &key.to_string(), &capture).unwrap();
        assert_same(&kept.unwrap(), &capture);
    }
    assert_eq!(columns_of(folder.path()).len(), 4);
    assert!(store.kept_capture(&digest, "8", &name).is_some());
}
