//! kill -9 at random moments, at least 200 times: after each, the folder opens, everything that was acknowledged
//! is there, everything that is visible is whole, and the database is sound.
//!
//! And a disk that is full: it is told, nothing that was stored before is harmed, nothing half is visible.
//!
//! A program of its own (no test harness): called with a folder and a seed it is the child that is killed.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use edgewitness::store::{
    Capture, Condition, Digest, Doctor, EntryId, Remark, SessionBody, SessionId, Store,
};

const KILLS: u64 = 220;

fn main() {
    let words: Vec<String> = std::env::args().collect();
    match &words[1..] {
        [mode, dir, seed] if mode == "child" => child(Path::new(dir), seed.parse().unwrap()),
        [mode, dir, _] if mode == "fill" => fill(Path::new(dir)),
        // What `cargo test` passes on (a filter, --list) is for harnesses.
        words if words.iter().any(|word| word == "--list") => {}
        _ => {
            parent();
            full_disk();
        }
    }
}

/// SplitMix64 (Steele, Lea, Flood 2014): enough to choose moments and sizes.
struct Random(u64);

impl Random {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % limit
    }
}

fn bytes_of(name: u64) -> Vec<u8> {
    let mut random = Random(name);
    let length = 1 + random.below(60_000) as usize;
    (0..length).map(|_| random.below(256) as u8).collect()
}

/// Works without end, and says on standard output what the store has acknowledged.
fn child(dir: &Path, seed: u64) {
    let store = Store::open(dir).unwrap();
    let session = match store.sessions(false).unwrap().first() {
        Some(row) => row.session.id,
        None => {
            store
                .create_session(&SessionBody {
                    title: "Evening".into(),
                    ..Default::default()
                })
                .unwrap()
                .id
        }
    };
    let mut out = std::io::stdout().lock();
    let mut random = Random(seed);
    for step in 0..1_000_000 {
        let name = seed * 1_000_000 + step;
        match random.below(4) {
            0 => {
                let stored = store
                    .store_from(&format!("{name}.vcd"), &bytes_of(name)[..], u64::MAX)
                    .unwrap();
                store.add_capture(session, &stored, None).unwrap();
                writeln!(out, "capture {name} {}", stored.digest).unwrap();
            }
            1 => {
                let columns = store
                    .begin_columns(&Digest::of(&name.to_le_bytes()), "key")
                    .unwrap();
                for part in 0..3 {
                    std::fs::write(columns.path().join(part.to_string()), [part; 5000]).unwrap();
                }
                columns.commit().unwrap();
                writeln!(out, "columns {name}").unwrap();
            }
            2 => {
                let remark = Remark {
                    text: format!("{name}"),
                    ..Default::default()
                };
                let added = store.add(session, &remark).unwrap();
                let remark = Remark {
                    text: format!("{name} edited"),
                    ..remark
                };
                store.edit(session, added.id, &remark).unwrap();
                writeln!(out, "remark {name} {}", added.id).unwrap();
            }
            _ => {
                let body = Condition {
                    title: format!("{name}"),
                    ..Default::default()
                };
                store.add(session, &body).unwrap();
                store.undo(session).unwrap();
                writeln!(out, "undone {name}").unwrap();
            }
        }
        out.flush().unwrap();
    }
}

fn parent() {
    let folder = tempfile::tempdir().unwrap();
    let mut random = Random(7117);
    let mut captures: BTreeMap<u64, String> = BTreeMap::new();
    let mut remarks: BTreeMap<u64, i64> = BTreeMap::new();
    let mut acknowledged = 0;
    for kill in 1..=KILLS {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["child", folder.path().to_str().unwrap(), &kill.to_string()])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        // Long enough now and then to get well into the work, short enough to hit the opening too.
        std::thread::sleep(Duration::from_micros(1000 + random.below(120_000)));
        child.kill().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        child.wait().unwrap();
        for line in out.lines().map_while(Result::ok) {
            let words: Vec<&str> = line.split(' ').collect();
            acknowledged += 1;
            match words[..] {
                ["capture", name, digest] => drop(captures.insert(name.parse().unwrap(), digest.to_owned())),
                ["remark", name, id] => drop(remarks.insert(name.parse().unwrap(), id.parse().unwrap())),
                _ => {}
            }
        }
        check(folder.path(), &captures, &remarks, kill == KILLS);
    }
    assert!(
        captures.len() > 50 && remarks.len() > 50,
        "the children hardly got to work"
    );
    println!("kill: {KILLS} kills, {acknowledged} acknowledged steps, nothing lost, nothing half there");
}

/// Stores files until the disk is full, and says what was acknowledged, then the error.
fn fill(dir: &Path) {
    let store = Store::open(dir).unwrap();
    let body = SessionBody {
        title: "Evening".into(),
        ..Default::default()
    };
    let session = store.create_session(&body).unwrap().id;
    for name in 0..10_000 {
        let bytes = bytes_of(name);
        match store.store_from(&format!("{name}.vcd"), &bytes[..], u64::MAX) {
            Ok(stored) => match store.add_capture(session, &stored, None) {
                Ok(_) => println!("capture {name} {}", stored.digest),
                Err(error) => return println!("full {error}"),
            },
            Err(error) => return println!("full {error}"),
        }
    }
    println!("never full");
}

/// On a file system of 3 MB in memory where one can be mounted; else under a limit on the size of a file.
fn full_disk() {
    let folder = tempfile::tempdir().unwrap();
    let (dir, program) = (folder.path().to_str().unwrap(), std::env::current_exe().unwrap());
    let shell = |script: &str| {
        let mut command = Command::new("unshare");
        command
            .args(["-rm", "sh", "-c", script, "sh", dir, program.to_str().unwrap()])
            .output()
    };
    // Kept on a disk of its own only while the shell runs: so it is copied out to be looked at.
    let out = tempfile::tempdir().unwrap();
    let copy = out.path().to_str().unwrap();
    let script = format!(
        "mount -t tmpfs -o size=3m none \"$1\" || exit 99; \"$2\" fill \"$1\" 0; cp -r \"$1\"/. {copy}"
    );
    let (run, dir, what) = match shell(&script) {
        Ok(run) if run.status.code() != Some(99) && run.status.code() != Some(1) => {
            (run, out.path(), "disk of 3 MB")
        }
        _ => {
            let limited = "trap '' XFSZ; ulimit -f 60; exec \"$2\" fill \"$1\" 0";
            let mut command = Command::new("sh");
            let run = command
                .args(["-c", limited, "sh", dir, program.to_str().unwrap()])
                .output()
                .unwrap();
            (run, folder.path(), "limit of 30 kB a file")
        }
    };
    let told = String::from_utf8_lossy(&run.stdout).into_owned();
    let error = told
        .lines()
        .find_map(|line| line.strip_prefix("full "))
        .unwrap_or_default();
    assert!(
        error.contains("the disk is full") && error.contains("make room"),
        "{told} {run:?}"
    );
    let mut captures = BTreeMap::new();
    for line in told.lines().filter(|line| line.starts_with("capture ")) {
        let words: Vec<&str> = line.split(' ').collect();
        captures.insert(words[1].parse().unwrap(), words[2].to_owned());
    }
    check(dir, &captures, &BTreeMap::new(), true);
    println!(
        "full: told after {} captures on a {what}, all of them whole",
        captures.len()
    );
}

fn check(dir: &Path, captures: &BTreeMap<u64, String>, remarks: &BTreeMap<u64, i64>, everything: bool) {
    let store = Store::open(dir).unwrap();
    let Some(row) = store.sessions(false).unwrap().into_iter().next() else {
        assert!(captures.is_empty() && remarks.is_empty());
        return;
    };
    let session: SessionId = row.session.id;
    let held = store.entries::<Capture>(session).unwrap();
    for (name, digest) in captures {
        let entry = held
            .iter()
            .find(|entry| entry.value.file == format!("{name}.vcd"));
        assert_eq!(
            entry.map(|entry| entry.value.digest.as_str()),
            Some(digest.as_str()),
            "capture {name}"
        );
    }
    for entry in &held {
        let path = store.original_path(&entry.value.digest).unwrap();
        assert_eq!(
            path.metadata().unwrap().len(),
            entry.value.size_bytes,
            "{}",
            entry.value.file
        );
    }
    for (name, id) in remarks {
        let remark = store.entry::<Remark>(session, EntryId(*id)).unwrap();
        assert_eq!(remark.value.text, format!("{name} edited"));
    }
    // An undo is whole or not there: at most the one that was being done when the child was killed is left.
    assert!(
        store.entries::<Condition>(session).unwrap().len() <= 1,
        "an undo that was acknowledged came back"
    );
    while store.entries::<Condition>(session).unwrap().len() == 1 {
        store.undo(session).unwrap();
    }
    drop(store);
    for columns in std::fs::read_dir(dir.join("columns")).unwrap() {
        for key in std::fs::read_dir(columns.unwrap().path()).unwrap() {
            let parts: Vec<_> = std::fs::read_dir(key.unwrap().path())
                .unwrap()
                .map(Result::unwrap)
                .collect();
            assert_eq!(parts.len(), 3);
            assert!(parts.iter().all(|part| part.metadata().unwrap().len() == 5000));
        }
    }
    if everything {
        // Reads every byte against its digest, and lets SQLite check itself.
        let findings = Doctor::open(dir).unwrap().look().unwrap();
        let is_columns = |what: &str| what.contains("edge columns of a file that is not stored");
        let ill: Vec<_> = findings
            .troubles
            .iter()
            .filter(|trouble| !is_columns(&trouble.what))
            .collect();
        assert!(
            ill.iter()
                .all(|trouble| trouble.what.contains("does not name it")),
            "{ill:#?}"
        );
        assert!(findings.originals as usize >= captures.len());
    }
}
