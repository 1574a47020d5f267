//! A folder that is watched: exports that an instrument's program saves there are handed on once they are whole.
//!
//! Looking is by polling, which works on every file system, also over a network. A file is whole when its size
//! and time have stood still: for [`QUIET`] when it ends with a line end, for [`QUIET_UNENDED`] otherwise, since
//! a row may still be coming. What was there before watching began is left alone; a file that is written anew is
//! handed on anew. Hidden files and those that programs write before renaming them are not looked at.

use std::collections::HashMap;
use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// How often to look: twice in [`QUIET`], so that a new file is handed on well within two seconds.
pub const PERIOD: Duration = Duration::from_millis(300);
/// How long a file that ends with a line end must have stood still.
pub const QUIET: Duration = Duration::from_millis(700);
/// How long any other file must have stood still.
const QUIET_UNENDED: Duration = Duration::from_millis(1400);
/// Most files that are looked at; a folder with more is not where exports go.
const MOST_FILES: usize = 20_000;

/// A folder being watched.
pub struct Watch {
    dir: PathBuf,
    files: HashMap<PathBuf, Seen>,
}

/// What a file looked like, since when, and whether it was handed on so.
struct Seen {
    size: u64,
    modified: Option<SystemTime>,
    since: Instant,
    done: bool,
}

impl Watch {
    /// Begins to watch `dir`.
    ///
    /// # Errors
    /// It can't be read, or holds too many files.
    pub fn new(dir: &Path) -> io::Result<Watch> {
        let mut watch = Watch {
            dir: dir.to_owned(),
            files: HashMap::new(),
        };
        watch.look(Instant::now(), true)?;
        Ok(watch)
    }

    /// The folder.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Looks once, at `now`; gives the files that are whole since the last look, in the order of names.
    ///
    /// # Errors
    /// The folder can't be read (it may come back: a drive that was unplugged).
    pub fn poll(&mut self, now: Instant) -> io::Result<Vec<PathBuf>> {
        self.look(now, false)
    }

    fn look(&mut self, now: Instant, begin: bool) -> io::Result<Vec<PathBuf>> {
        let mut found = HashMap::new();
        let mut whole = Vec::new();
        for entry in fs::read_dir(&self.dir)? {
            let path = entry?.path();
            // A file may vanish between being listed and looked at.
            let Some(metadata) = fs::metadata(&path).ok().filter(fs::Metadata::is_file) else {
                continue;
            };
            if is_passing(&path) {
                continue;
            }
            if found.len() == MOST_FILES {
                let message = format!("the watched folder holds more than {MOST_FILES} files");
                return Err(io::Error::other(message));
            }
            let (size, modified) = (metadata.len(), metadata.modified().ok());
            let seen = match self.files.remove(&path) {
                Some(seen) if (seen.size, seen.modified) == (size, modified) => seen,
                _ => Seen {
                    size,
                    modified,
                    since: now,
                    done: begin,
                },
            };
            found.insert(path, seen);
        }
        self.files = found;
        for (path, seen) in &mut self.files {
            let still = now.saturating_duration_since(seen.since);
            if !seen.done && seen.size > 0 && still >= QUIET {
                seen.done = still >= QUIET_UNENDED || ends_with_line_end(path);
                if seen.done {
                    whole.push(path.clone());
                }
            }
        }
        whole.sort();
        Ok(whole)
    }
}

/// Whether a name is one of those that programs write before the real one.
fn is_passing(path: &Path) -> bool {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let endings = [
        "~",
        ".tmp",
        ".temp",
        ".part",
        ".partial",
        ".swp",
        ".lock",
        ".crdownload",
        ".download",
    ];
    name.starts_with(['.', '~']) || endings.iter().any(|ending| name.ends_with(ending))
}

fn ends_with_line_end(path: &Path) -> bool {
    let last = || -> io::Result<u8> {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::End(-1))?;
        let mut byte = [0];
        file.read_exact(&mut byte)?;
        Ok(byte[0])
    };
    last().is_ok_and(|byte| matches!(byte, b'\n' | b'\r'))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Looks every [`PERIOD`] of a made-up clock; gives what was handed on and how long after `began`.
    fn follow(watch: &mut Watch, began: Instant, looks: u32) -> Vec<(String, Duration)> {
        let mut handed = Vec::new();
        for look in 1..=looks {
            let now = began + PERIOD * look;
            for path in watch.poll(now).unwrap() {
                handed.push((
                    path.file_name().unwrap().to_string_lossy().into_owned(),
                    now - began,
                ));
            }
        }
        handed
    }

    #[test]
    fn a_new_file_is_handed_on_once_and_in_time() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
        write("old.csv", "time,A\n");
        let mut watch = Watch::new(folder.path()).unwrap();
        write("new.csv", "time,A\n0,1\n");
        write("unended.csv", "time,A\n0,1");
        for name in [".hidden.csv", "new.csv.part", "~new.csv", "copy.TMP", "empty.csv"] {
            write(name, if name == "empty.csv" { "" } else { "x\n" });
        }
        let began = Instant::now();
        let handed = follow(&mut watch, began, 20);
        let names: Vec<&str> = handed.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["new.csv", "unended.csv"]);
        // Two seconds from being complete, at the latest: on the made-up clock, so no time is measured.
        assert!(
            handed.iter().all(|(_, after)| *after < Duration::from_secs(2)),
            "{handed:?}"
        );
    }

    #[test]
    fn a_half_written_file_waits() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("slow.csv");
        let mut watch = Watch::new(folder.path()).unwrap();
        let mut now = Instant::now();
        let mut text = "time,A\n".to_owned();
        for row in 0..10 {
            text.push_str(&format!("{row},1\n"));
            fs::write(&path, &text).unwrap();
            now += PERIOD;
            assert_eq!(watch.poll(now).unwrap(), Vec::<PathBuf>::new());
            now += PERIOD;
            assert_eq!(watch.poll(now).unwrap(), Vec::<PathBuf>::new());
        }
        assert_eq!(follow(&mut watch, now, 5).len(), 1);
        text.push_str("10,0\n");
        fs::write(&path, &text).unwrap();
        assert_eq!(
            follow(&mut watch, now + PERIOD * 5, 8).len(),
            1,
            "written anew, handed on anew"
        );
        assert_eq!(follow(&mut watch, now + PERIOD * 20, 8).len(), 0);
    }

    #[test]
    fn a_folder_that_is_gone_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let mut watch = Watch::new(folder.path()).unwrap();
        drop(folder);
        assert!(watch.poll(Instant::now()).is_err());
    }
}
