//! Looks a data folder through: every file against its digest, every row against its file; says what it found
//! and what it would mend. Nothing is changed by looking, and nothing a person brought is ever deleted: what is
//! damaged is moved aside.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use rusqlite::{Connection, params};

use super::{Digest, Error, now_ms, schema, take_lock};

/// Something that is not as it should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// What is wrong, as a sentence.
    pub what: String,
    pub mend: Mend,
}

/// What would mend a trouble.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Mend {
    /// Delete what was never whole, or can be made again from the originals.
    Remove(PathBuf),
    /// Move a damaged file to the folder `damaged`, so that the whole one can be brought again.
    MoveAside(PathBuf),
    /// Name a whole file in the database again.
    Adopt { digest: Digest, size_bytes: u64 },
    /// A person must do it: a sentence.
    ByHand(String),
}

impl fmt::Display for Mend {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Mend::Remove(path) => write!(f, "remove {}", path.display()),
            Mend::MoveAside(path) => write!(f, "move {} to the folder \"damaged\"", path.display()),
            Mend::Adopt { digest, .. } => write!(f, "name the file {digest} in the database again"),
            Mend::ByHand(sentence) => f.write_str(sentence),
        }
    }
}

/// A data folder that is being looked through; no other program has it open.
pub struct Doctor {
    dir: PathBuf,
    connection: Connection,
    _lock: File,
}

/// What was looked at, and what is wrong with it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Findings {
    /// How many were looked at; bytes of all originals.
    pub sessions: u64,
    pub entries: u64,
    pub originals: u64,
    pub bytes: u64,
    pub troubles: Vec<Trouble>,
}

impl Doctor {
    /// Opens the folder `dir` for looking.
    ///
    /// # Errors
    /// There is no store in it, it is in use, or a newer program wrote it.
    pub fn open(dir: &Path) -> Result<Doctor, Error> {
        let database = dir.join("edgewitness.sqlite");
        if !database.is_file() {
            return Err(Error::no(format!(
                "store in the folder {}: name with --data the folder that `edgewitness serve` keeps its captures in",
                dir.display()
            )));
        }
        let lock = take_lock(dir)?;
        let connection = Connection::open(&database)?;
        let found = schema::version(&connection)?;
        if found > schema::VERSION {
            return Err(Error::Newer {
                dir: dir.to_owned(),
                found,
                known: schema::VERSION,
            });
        }
        Ok(Doctor {
            dir: dir.to_owned(),
            connection,
            _lock: lock,
        })
    }

    /// Looks at everything. Cost: every original is read once.
    ///
    /// # Errors
    /// The folder can't be read.
    pub fn look(&self) -> Result<Findings, Error> {
        let mut findings = Findings::default();
        self.database(&mut findings)?;
        if findings
            .troubles
            .iter()
            .any(|trouble| matches!(trouble.mend, Mend::ByHand(_)))
        {
            // Rows of a damaged database say nothing about files.
            return Ok(findings);
        }
        self.originals(&mut findings)?;
        self.leftovers(&mut findings)?;
        Ok(findings)
    }

    /// Mends one trouble that was found.
    ///
    /// # Errors
    /// The disk's own; [`Error::Invalid`] for what only a person can do.
    pub fn mend(&self, trouble: &Trouble) -> Result<(), Error> {
        match &trouble.mend {
            Mend::Remove(path) => {
                let removed = if path.is_dir() {
                    fs::remove_dir_all(path)
                } else {
                    fs::remove_file(path)
                };
                removed.map_err(Error::io("removing", path))
            }
            Mend::MoveAside(path) => {
                let aside = self.dir.join("damaged");
                fs::create_dir_all(&aside).map_err(Error::io("making the folder", &aside))?;
                let name = name_of(path);
                let to = aside.join(format!("{name}.{}", now_ms()));
                fs::rename(path, &to).map_err(Error::io("moving aside", path))
            }
            Mend::Adopt { digest, size_bytes } => {
                self.connection.execute(
                    "INSERT OR REPLACE INTO original (digest, size_bytes, stored_ms) VALUES (?1, ?2, ?3)",
                    params![digest.as_str(), *size_bytes as i64, now_ms()],
                )?;
                Ok(())
            }
            Mend::ByHand(sentence) => Err(Error::Invalid(sentence.clone())),
        }
    }

    fn database(&self, findings: &mut Findings) -> Result<(), Error> {
        let by_hand = "copy the data folder somewhere safe, then start with an empty one: the originals in it are whole files";
        let mut check = self.connection.prepare("PRAGMA integrity_check(20)")?;
        let told: Vec<String> = check.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
        for what in told.into_iter().filter(|told| told != "ok") {
            findings.troubles.push(Trouble {
                what: format!("the database is damaged: {what}"),
                mend: Mend::ByHand(by_hand.to_owned()),
            });
        }
        if !findings.troubles.is_empty() || schema::version(&self.connection)? == 0 {
            return Ok(());
        }
        let count = |table: &str| {
            let text = format!("SELECT count(*) FROM {table}");
            self.connection.query_row(&text, [], |row| row.get::<_, i64>(0))
        };
        findings.sessions = count("session")? as u64;
        findings.entries = count("entry")? as u64;
        let mut unreadable = self
            .connection
            .prepare("SELECT kind, id, session FROM entry WHERE NOT json_valid(body) ORDER BY id LIMIT 20")?;
        let rows = unreadable.query_map([], |row| {
            let (kind, id, session): (String, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok(format!("the {kind} {id} of session {session} can't be read"))
        })?;
        for what in rows {
            findings.troubles.push(Trouble {
                what: what?,
                mend: Mend::ByHand(by_hand.to_owned()),
            });
        }
        Ok(())
    }

    fn originals(&self, findings: &mut Findings) -> Result<(), Error> {
        let mut named = BTreeMap::new();
        if schema::version(&self.connection)? > 0 {
            let mut query = self
                .connection
                .prepare("SELECT digest, size_bytes FROM original")?;
            let rows = query.query_map([], |row| {
                Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)? as u64))
            })?;
            for row in rows {
                let (digest, size) = row?;
                named.insert(digest, size);
            }
        }
        let mut whole = BTreeSet::new();
        for folder in list(&self.dir.join("originals"))? {
            let files = if folder.is_dir() {
                list(&folder)?
            } else {
                vec![folder]
            };
            for path in files {
                let name = name_of(&path);
                let Ok(digest) = Digest::parse(&name) else {
                    findings.troubles.push(Trouble {
                        what: format!("{} is not a file that Edgewitness stored", path.display()),
                        mend: Mend::MoveAside(path),
                    });
                    continue;
                };
                let (found, size_bytes) = digest_of(&path)?;
                findings.originals += 1;
                findings.bytes += size_bytes;
                if found != digest {
                    let what = format!(
                        "the file {digest} is damaged: its bytes have another digest{}",
                        self.used_by(&digest)?
                    );
                    findings.troubles.push(Trouble {
                        what,
                        mend: Mend::MoveAside(path),
                    });
                    continue;
                }
                if named.get(digest.as_str()) != Some(&size_bytes) {
                    findings.troubles.push(Trouble {
                        what: format!("the file {digest} is whole, but the database does not name it so"),
                        mend: Mend::Adopt {
                            digest: digest.clone(),
                            size_bytes,
                        },
                    });
                }
                whole.insert(digest.to_string());
            }
        }
        let lies_there = |digest: &str| {
            self.dir
                .join("originals")
                .join(&digest[..2])
                .join(digest)
                .is_file()
        };
        for digest in named.keys().filter(|digest| !whole.contains(*digest)) {
            let Ok(digest) = Digest::parse(digest) else {
                continue;
            };
            if lies_there(digest.as_str()) {
                // Told as damaged already.
                continue;
            }
            let sentence = "bring the same file again, under any name: it takes its place by itself";
            findings.troubles.push(Trouble {
                what: format!("the file {digest} is missing{}", self.used_by(&digest)?),
                mend: Mend::ByHand(sentence.to_owned()),
            });
        }
        Ok(())
    }

    /// "; used as as-found.vcd in session 3", for the first few uses.
    fn used_by(&self, digest: &Digest) -> Result<String, Error> {
        let mut query = self.connection.prepare(
            "SELECT json_extract(body, '$.file'), session FROM entry WHERE digest = ?1 ORDER BY id LIMIT 3",
        )?;
        let uses = query.query_map([digest.as_str()], |row| {
            let (file, session): (Option<String>, i64) = (row.get(0)?, row.get(1)?);
            Ok(format!("{} in session {session}", file.unwrap_or_default()))
        })?;
        let uses = uses.collect::<Result<Vec<_>, _>>()?;
        Ok(if uses.is_empty() {
            String::new()
        } else {
            format!("; used as {}", uses.join(", "))
        })
    }

    fn leftovers(&self, findings: &mut Findings) -> Result<(), Error> {
        for path in list(&self.dir.join("staging"))? {
            findings.troubles.push(Trouble {
                what: format!("{} was left half done", path.display()),
                mend: Mend::Remove(path),
            });
        }
        for path in list(&self.dir.join("columns"))? {
            let name = name_of(&path);
            let original = self
                .dir
                .join("originals")
                .join(name.get(..2).unwrap_or_default())
                .join(&name);
            if Digest::parse(&name).is_err() || !original.is_file() {
                findings.troubles.push(Trouble {
                    what: format!(
                        "{} holds edge columns of a file that is not stored",
                        path.display()
                    ),
                    mend: Mend::Remove(path),
                });
            }
        }
        Ok(())
    }
}

/// What a file or folder is called, without where it is.
fn name_of(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

/// What a folder holds, in the order of names; nothing when there is no such folder.
fn list(dir: &Path) -> Result<Vec<PathBuf>, Error> {
    let failed = || Error::io("reading the folder", dir);
    if !dir.is_dir() {
        return Ok(Vec::new());
    }
    let mut paths = Vec::new();
    for entry in fs::read_dir(dir).map_err(failed())? {
        paths.push(entry.map_err(failed())?.path());
    }
    paths.sort();
    Ok(paths)
}

fn digest_of(path: &Path) -> Result<(Digest, u64), Error> {
    let mut hasher = blake3::Hasher::new();
    let file = File::open(path).map_err(Error::io("reading", path))?;
    let size = std::io::copy(&mut &file, &mut hasher).map_err(Error::io("reading", path))?;
    Ok((Digest::from(hasher.finalize()), size))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Store, test_evening};

    #[test]
    fn troubles_are_found_and_mended() {
        let (folder, store, session) = test_evening();
        let store_file = |name: &str, bytes: &[u8]| {
            let stored = store.store_from(name, bytes, 100).unwrap();
            store.add_capture(session, &stored, None).unwrap();
            store.original_path(&stored.digest).unwrap()
        };
        let (good, gone, bad) = (
            store_file("good.vcd", b"good"),
            store_file("gone.vcd", b"gone"),
            store_file("bad.vcd", b"bad!"),
        );
        assert!(matches!(Doctor::open(folder.path()), Err(Error::InUse { .. })));
        drop(store);
        let look = || Doctor::open(folder.path()).unwrap().look().unwrap();
        let well = look();
        assert_eq!(
            (well.sessions, well.entries, well.originals, well.bytes),
            (1, 3, 3, 12)
        );
        assert_eq!(well.troubles, []);

        fs::remove_file(&gone).unwrap();
        fs::write(&bad, b"bad?").unwrap();
        let nameless = Digest::of(b"nameless");
        let place = folder.path().join("originals").join(&nameless.as_str()[..2]);
        fs::create_dir_all(&place).unwrap();
        fs::write(place.join(nameless.as_str()), b"nameless").unwrap();
        fs::write(folder.path().join("staging/half"), b"h").unwrap();
        fs::create_dir(folder.path().join("columns/other")).unwrap();

        let ill = look();
        let told: Vec<&str> = ill.troubles.iter().map(|trouble| trouble.what.as_str()).collect();
        assert_eq!(told.len(), 5, "{told:#?}");
        assert!(
            told.iter()
                .any(|told| told.contains("missing; used as gone.vcd in session 1"))
        );
        assert!(
            told.iter()
                .any(|told| told.contains("damaged") && told.contains("bad.vcd"))
        );
        let doctor = Doctor::open(folder.path()).unwrap();
        let by_hand = ill
            .troubles
            .iter()
            .filter(|trouble| doctor.mend(trouble).is_err())
            .count();
        assert_eq!(by_hand, 1);
        drop(doctor);
        assert!(good.is_file());
        let aside: Vec<PathBuf> = list(&folder.path().join("damaged")).unwrap();
        assert_eq!(fs::read(&aside[0]).unwrap(), b"bad?");

        let left: Vec<String> = look().troubles.into_iter().map(|trouble| trouble.what).collect();
        assert_eq!(left.len(), 2, "the two files must be brought again: {left:?}");
        let store = Store::open(folder.path()).unwrap();
        for bytes in [b"gone", b"bad!"] {
            store.store_from("again", &bytes[..], 100).unwrap();
        }
        drop(store);
        assert_eq!(look().troubles, []);
    }

    #[test]
    fn a_folder_without_a_store_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let Err(error) = Doctor::open(folder.path()) else {
            panic!("no store there")
        };
        assert!(error.to_string().starts_with("there is no store in the folder"));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
