//! What the command line says when it can't do what it was asked: one line that tells what is wrong, where, what was
//! expected and what to do; exit code 2. No outside source: the words are this program's own.

use std::path::Path;
use std::process::Command;

/// The one line on standard error, without the program's name.
fn told(folder: &Path, words: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_edgewitness"))
        .current_dir(folder)
        .args(words)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{words:?}: {text}");
    assert_eq!(text.lines().count(), 1, "{words:?}: {text}");
    // The operating system's numbers are nobody's business.
    assert!(!text.contains("os error"), "{words:?}: {text}");
    text.trim_start_matches("edgewitness: ").trim_end().to_owned()
}

const STEP: &str = "Time (ns),STEP\n0,0\n10,1\n20,0\n30,1\n";

#[test]
fn a_setup_file_that_is_none_says_what_was_expected() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).unwrap();
    write("a.csv", STEP.as_bytes());
    write("odd.toml", b"# the carillon\xff\n");
    let setup = |name: &str| told(folder.path(), &["lines", "a.csv", "--setup", name]);
    assert_eq!(
        setup("none.toml"),
        "none.toml: there is no such file, expected a setup file: check its name and folder"
    );
    assert_eq!(
        setup("."),
        ".: this is a folder, expected a setup file: name the file inside it"
    );
    let odd = setup("odd.toml");
    assert!(
        odd.contains("odd.toml") && odd.contains("text in UTF-8, found other bytes"),
        "{odd}"
    );
    let capture = setup("a.csv");
    let place = capture.starts_with("a.csv, line 1, column ");
    assert!(
        place && capture.ends_with("is this a setup file? `edgewitness setup` prints one"),
        "{capture}"
    );
}

#[test]
fn what_can_t_be_written_says_where_instead() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("a.csv"), STEP).unwrap();
    let here = |words: &[&str]| told(folder.path(), words);
    assert_eq!(
        here(&["export", "a.csv", "--to", "none/b.vcd"]),
        "none/b.vcd could not be written: there is no folder none: make it first, or name another"
    );
    assert_eq!(
        here(&["demo", "a.csv"]),
        "a.csv could not be written: it is a file or lies in one, expected a folder: name another"
    );
    let serve = here(&["serve", "--listen", "127.0.0.1:0", "--data", "a.csv"]);
    assert_eq!(
        serve,
        "a.csv can't be the data folder: it is a file, or lies in one; name a folder of your own with --data"
    );
    let doctor = here(&["doctor", "--data", "none"]);
    assert!(
        doctor.contains("there is no store in the folder none: name with --data"),
        "{doctor}"
    );
    let watch = here(&[
        "serve",
        "--listen",
        "127.0.0.1:0",
        "--data",
        "d",
        "--watch",
        "none",
    ]);
    assert!(watch.contains("name one that is there with --watch"), "{watch}");
}

#[test]
fn an_address_that_can_t_be_listened_on_says_why() {
    let folder = tempfile::tempdir().unwrap();
    let listen = |address: &str| {
        told(
            folder.path(),
            &[
                "serve",
                "--data",
                "d",
                "--beyond-this-machine",
                "--listen",
                address,
            ],
        )
    };
    let port = listen("127.0.0.1:99999");
    assert!(
        port.contains("expected a port from 0 (any free one) to 65535"),
        "{port}"
    );
    // RFC 5737: an address for documentation, of no machine.
    let other = listen("198.51.100.7:7117");
    assert!(
        other.contains("this machine has no such address; --listen 0.0.0.0:7117"),
        "{other}"
    );
    assert!(!folder.path().join("d").exists());
}

#[test]
fn a_file_that_is_no_capture_says_which_place_shows_it() {
    let folder = tempfile::tempdir().unwrap();
    let read = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.path().join(name), bytes).unwrap();
        told(folder.path(), &["lines", name])
    };
    let binary = read("a.bin", b"abc\0def");
    assert!(
        binary.contains("found binary data (byte 3 is 0): export it"),
        "{binary}"
    );
    let words = read("a.csv", b"Time (ns),STEP\n0,0\n10,2x\n20,1\n");
    assert!(
        words.contains("column 2 (\"STEP\") has cells such as \"2x\"; export levels"),
        "{words}"
    );
    std::fs::write(folder.path().join("b.csv"), STEP).unwrap();
    let align = told(folder.path(), &["align", "b.csv", "b.csv", "--on", ""]);
    assert!(
        align.contains("expected a line's name to align on, found none; it has STEP"),
        "{align}"
    );
}
