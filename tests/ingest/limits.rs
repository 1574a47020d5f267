//! Reading where there is little room: a disk that fills up, a hard limit of memory, a stream that is too long.
#![cfg(unix)]

use std::path::Path;
use std::process::{Command, Output};

/// `edgewitness lines FILE --json` in a shell that first did `first`, with temporary files in `folder`.
fn lines(first: &str, file: &Path, folder: &Path) -> Output {
    let program = assert_cmd::cargo::cargo_bin!("edgewitness");
    Command::new("sh")
        .args(["-c", &format!("{first}; exec \"$0\" lines \"$1\" --json")])
        .arg(program)
        .arg(file)
        .env("TMPDIR", folder)
        .output()
        .expect("a shell can be started")
}

/// A VCD of `edges` edges of each of two lines.
fn vcd(edges: usize) -> String {
    let mut text =
        "$timescale 1 ns $end $var wire 1 ! STEP $end $var wire 1 \" CLEAR $end $enddefinitions $end\n\
                    #0\n0!\n0\"\n"
            .to_owned();
    for i in 1..=edges {
        text.push_str(&format!("#{}\n{}!\n{}\"\n", i * 7, i % 2, i % 2));
    }
    text
}

fn is_empty(folder: &Path) -> bool {
    std::fs::read_dir(folder)
        .expect("the folder is there")
        .next()
        .is_none()
}

/// A file may grow to 64 blocks: as where a disk is full, writing fails in the middle.
#[test]
fn a_disk_that_fills_up_is_told_and_nothing_stays() {
    let (files, spilled) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let path = files.path().join("long.vcd");
    std::fs::write(&path, vcd(150_000)).unwrap();
    let out = lines("trap '' XFSZ; ulimit -f 64", &path, spilled.path());
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(!out.status.success() && out.stdout.is_empty(), "{told}");
    assert!(
        told.contains("the columns could not be kept on disk") && told.contains("free some space"),
        "{told}"
    );
    assert!(!told.contains("panicked") && is_empty(spilled.path()), "{told}");
    // With room it is read.
    assert!(lines("true", &path, spilled.path()).status.success());
    assert!(is_empty(spilled.path()));
}

/// Memory of the program's own (not that of mapped files) is bounded by the system (RLIMIT_DATA): columns of 19 MB and
/// the stacks and buffers of all threads fit into 64 MiB, since columns go to disk.
#[cfg(target_os = "linux")]
#[test]
fn a_hard_limit_of_memory_is_kept() {
    let (files, spilled) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let path = files.path().join("long.vcd");
    std::fs::write(&path, vcd(1_200_000)).unwrap();
    let out = lines("ulimit -d 65536", &path, spilled.path());
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let report: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!(report["lines"][1]["edges"], 1_200_000);
}
