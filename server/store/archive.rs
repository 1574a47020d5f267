//! A whole session in one file, which another Edgewitness opens: a gzipped tar (POSIX ustar) of `session.json`,
//! which comes first and says everything that was said, and `originals/DIGEST` for everything that was brought.
//!
//! Nothing else is in it: answers are worked out again from the same bytes. Entries refer to each other by
//! number; the numbers are given anew when an archive is restored.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read, Write};
use std::path::Path;

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use rusqlite::params;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::kinds;
use super::sessions::{checked, from_json, to_json};
use super::{Digest, Error, Session, SessionBody, SessionId, Store, now_ms};

/// Whether bytes are the start of a session's archive: gzip, and in it a tar whose first file is `session.json`.
/// `head`: the first bytes of a file, some hundreds at least; cost: unpacking 512 bytes.
pub fn is_archive(head: &[u8]) -> bool {
    if !head.starts_with(&[0x1f, 0x8b]) {
        return false;
    }
    let mut block = [0u8; 512];
    let is_whole = GzDecoder::new(head).read_exact(&mut block).is_ok();
    // POSIX ustar: the name comes first, ended by a zero; its mark stands at 257.
    is_whole && block.starts_with(b"session.json\0") && block[257..].starts_with(b"ustar")
}

const SCHEMA: &str = "edgewitness-archive-1";
const MANIFEST: &str = "session.json";
/// Most bytes of `session.json`: all a person can write in years.
const MANIFEST_LIMIT_BYTES: u64 = 256 << 20;

/// What an archive may hold at most.
#[derive(Clone, Copy, Debug)]
pub struct ArchiveLimits {
    /// Bytes of one original.
    pub one_bytes: u64,
    /// Bytes of all originals together.
    pub all_bytes: u64,
}

#[derive(Serialize, Deserialize)]
struct Manifest {
    schema: String,
    /// The program that wrote it, for people.
    program: String,
    session: SessionBody,
    created_ms: i64,
    entries: Vec<Row>,
    /// Size in bytes of each file by digest.
    originals: BTreeMap<Digest, u64>,
}

/// An entry as it stands in the database.
#[derive(Serialize, Deserialize)]
struct Row {
    id: i64,
    kind: String,
    position: i64,
    body: Value,
    digest: Option<Digest>,
    created_ms: i64,
    changed_ms: i64,
    binned_ms: Option<i64>,
}

impl Store {
    /// Writes a session with all its originals, the bin included. The same session gives the same bytes.
    ///
    /// # Errors
    /// No such session, an original is missing, or what `out` gives.
    pub fn archive(&self, id: SessionId, out: impl Write) -> Result<(), Error> {
        let session = self.session(id)?;
        let entries = self.rows(id)?;
        let digests: BTreeSet<&Digest> = entries.iter().filter_map(|row| row.digest.as_ref()).collect();
        let mut originals = BTreeMap::new();
        for digest in digests {
            let path = self.original_path(digest)?;
            let size = path.metadata().map_err(Error::io("reading", &path))?.len();
            originals.insert(digest.clone(), size);
        }
        let manifest = Manifest {
            schema: SCHEMA.to_owned(),
            program: concat!("edgewitness ", env!("CARGO_PKG_VERSION")).to_owned(),
            session: session.body,
            created_ms: session.created_ms,
            entries,
            originals,
        };
        let failed = || Error::io("writing the archive", Path::new("the archive"));
        let mut tar = tar::Builder::new(GzEncoder::new(out, Compression::fast()));
        let text = serde_json::to_vec_pretty(&manifest).expect("the store's structs are JSON");
        tar.append(&header(MANIFEST, text.len() as u64), &text[..])
            .map_err(failed())?;
        for (digest, size) in &manifest.originals {
            let path = self.original_path(digest)?;
            let file = std::fs::File::open(&path).map_err(Error::io("reading", &path))?;
            let name = format!("originals/{digest}");
            tar.append(&header(&name, *size), file.take(*size))
                .map_err(failed())?;
        }
        let packer = tar.into_inner().map_err(failed())?;
        packer.finish().and_then(|mut out| out.flush()).map_err(failed())
    }

    /// Makes a session of an archive, with everything in it.
    ///
    /// # Errors
    /// It is no archive, was cut short or damaged, or holds more than `limits` allow (no session is made then), or the disk's
    /// own.
    pub fn restore_archive(&self, archive: impl Read, limits: ArchiveLimits) -> Result<Session, Error> {
        let mut tar = tar::Archive::new(GzDecoder::new(archive));
        let mut manifest: Option<Manifest> = None;
        let mut stored = BTreeSet::new();
        for entry in tar.entries().map_err(not_an_archive)? {
            let mut entry = entry.map_err(not_an_archive)?;
            let name = entry
                .path()
                .map_err(not_an_archive)?
                .to_string_lossy()
                .into_owned();
            let Some(manifest) = &manifest else {
                manifest = Some(limited(read_manifest(&name, &mut entry)?, limits)?);
                continue;
            };
            let digest = name
                .strip_prefix("originals/")
                .and_then(|digest| Digest::parse(digest).ok());
            let Some(digest) = digest.filter(|digest| manifest.originals.contains_key(digest)) else {
                return Err(invalid(format!(
                    "it holds \"{}\", which it does not list",
                    name.escape_debug()
                )));
            };
            if !stored.insert(digest.clone()) {
                return Err(invalid(format!("the file {digest} is in it twice")));
            }
            let listed = manifest.originals[&digest];
            if entry.size() != listed {
                return Err(invalid(format!(
                    "the file {digest} in it has {} bytes, {listed} are listed",
                    entry.size()
                )));
            }
            let found =
                self.store_from(&name, &mut entry, limits.one_bytes)
                    .map_err(|error| match error {
                        Error::Io { source, .. } => not_an_archive(source),
                        other => other,
                    })?;
            if found.digest != digest {
                return Err(invalid(format!(
                    "the file {digest} in it is damaged: its bytes have another digest"
                )));
            }
        }
        let manifest = manifest.ok_or_else(|| invalid("it is empty".to_owned()))?;
        if let Some(missing) = manifest.originals.keys().find(|digest| !stored.contains(digest)) {
            return Err(invalid(format!(
                "the file {missing} is missing: was the archive cut short?"
            )));
        }
        self.put_rows(&manifest)
    }

    fn rows(&self, id: SessionId) -> Result<Vec<Row>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT id, kind, position, body, digest, created_ms, changed_ms, binned_ms FROM entry
             WHERE session = ?1 ORDER BY id",
        )?;
        let rows = query.query_and_then([id.0], |row| {
            let id: i64 = row.get(0)?;
            let body: String = row.get(3)?;
            let digest: Option<String> = row.get(4)?;
            Ok(Row {
                id,
                kind: row.get(1)?,
                position: row.get(2)?,
                body: from_json(&body, || format!("entry {id}"))?,
                digest: digest.map(|digest| Digest::parse(&digest)).transpose()?,
                created_ms: row.get(5)?,
                changed_ms: row.get(6)?,
                binned_ms: row.get(7)?,
            })
        })?;
        rows.collect()
    }

    fn put_rows(&self, manifest: &Manifest) -> Result<Session, Error> {
        checked(&manifest.session).map_err(|error| invalid(error.to_string()))?;
        for row in &manifest.entries {
            kinds::check(&row.kind, &row.body).map_err(|error| invalid(error.to_string()))?;
        }
        let mut connection = self.connection();
        let work = connection.transaction()?;
        work.execute(
            "INSERT INTO session (body, created_ms, changed_ms) VALUES (?1, ?2, ?3)",
            params![to_json(&manifest.session), manifest.created_ms, now_ms()],
        )?;
        let session = SessionId(work.last_insert_rowid());
        let mut numbers = BTreeMap::new();
        for row in &manifest.entries {
            work.execute(
                "INSERT INTO entry (session, kind, position, body, digest, created_ms, changed_ms, binned_ms)
                 VALUES (?1, ?2, ?3, '', ?4, ?5, ?6, ?7)",
                params![
                    session.0,
                    row.kind,
                    row.position,
                    row.digest.as_ref().map(Digest::as_str),
                    row.created_ms,
                    row.changed_ms,
                    row.binned_ms
                ],
            )?;
            if numbers.insert(row.id, work.last_insert_rowid()).is_some() {
                return Err(invalid(format!("entry {} is in it twice", row.id)));
            }
        }
        for row in &manifest.entries {
            let mut body = row.body.clone();
            renumber(&mut body, &numbers);
            let set = "UPDATE entry SET body = ?2 WHERE id = ?1";
            work.execute(set, params![numbers[&row.id], body.to_string()])?;
        }
        work.commit()?;
        drop(connection);
        self.session(session)
    }
}

/// Names of fields that hold the number of another entry, or a list of them.
const REFERENCES: [&str; 4] = ["condition", "capture", "captures", "with"];

fn renumber(body: &mut Value, numbers: &BTreeMap<i64, i64>) {
    let new = |old: &Value| {
        old.as_i64()
            .and_then(|old| numbers.get(&old))
            .map_or(Value::Null, |&n| n.into())
    };
    let Value::Object(fields) = body else { return };
    for name in REFERENCES {
        match fields.get_mut(name) {
            Some(Value::Array(list)) => {
                *list = list.iter().map(new).filter(|number| !number.is_null()).collect();
            }
            Some(number) if number.is_i64() => *number = new(number),
            _ => {}
        }
    }
}

/// The manifest if what it lists is within the limits; what comes is held to the list.
fn limited(manifest: Manifest, limits: ArchiveLimits) -> Result<Manifest, Error> {
    let total = manifest
        .originals
        .values()
        .fold(0u64, |sum, size| sum.saturating_add(*size));
    if total > limits.all_bytes {
        return Err(invalid(format!(
            "it lists originals of {total} bytes in all, more than the limit of {}: start the server with a larger --upload-limit",
            limits.all_bytes
        )));
    }
    Ok(manifest)
}

fn read_manifest(name: &str, entry: &mut impl Read) -> Result<Manifest, Error> {
    if name != MANIFEST {
        return Err(invalid(format!(
            "expected {MANIFEST} first, found \"{}\"",
            name.escape_debug()
        )));
    }
    let mut text = Vec::new();
    entry
        .take(MANIFEST_LIMIT_BYTES)
        .read_to_end(&mut text)
        .map_err(not_an_archive)?;
    #[derive(Deserialize)]
    struct Schema {
        schema: String,
    }
    let told = |error: serde_json::Error| invalid(format!("its {MANIFEST} can't be read: {error}"));
    let found: Schema = serde_json::from_slice(&text).map_err(told)?;
    if found.schema != SCHEMA {
        let message = format!(
            "it is of the kind \"{}\", expected {SCHEMA}: was it made by a newer Edgewitness?",
            found.schema.escape_debug()
        );
        return Err(invalid(message));
    }
    serde_json::from_slice(&text).map_err(told)
}

/// A plain file of fixed owner and time, so that the same session gives the same bytes.
fn header(name: &str, size: u64) -> tar::Header {
    let mut header = tar::Header::new_ustar();
    header.set_path(name).expect("names in an archive are short");
    header.set_size(size);
    header.set_mode(0o644);
    header.set_mtime(0);
    header.set_entry_type(tar::EntryType::Regular);
    header.set_cksum();
    header
}

fn not_an_archive(error: io::Error) -> Error {
    invalid(format!("{error} (is it cut short, or another kind of file?)"))
}

fn invalid(detail: String) -> Error {
    Error::Invalid(format!(
        "this is not a session archive that can be opened: {detail}"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Capture, Condition, Entry, Step, test_store};

    const LIMITS: ArchiveLimits = ArchiveLimits {
        one_bytes: 100,
        all_bytes: 1000,
    };

    fn filled(store: &Store) -> Session {
        let body = SessionBody {
            title: "Evening".to_owned(),
            job: "Bell 3 strikes twice".to_owned(),
            setup: "[line.CLEAR_N]\n".to_owned(),
        };
        let session = store.create_session(&body).unwrap();
        let condition = |title: &str| Condition {
            title: title.to_owned(),
            ..Condition::default()
        };
        store.add(session.id, &condition("as found")).unwrap();
        let stored = store.store_from("a.vcd", &b"first"[..], 100).unwrap();
        let first = store.add_capture(session.id, &stored, None).unwrap();
        store.add(session.id, &condition("pull-up fitted")).unwrap();
        let stored = store.store_from("b.vcd", &b"second"[..], 100).unwrap();
        let second = store.add_capture(session.id, &stored, None).unwrap();
        let step = Step {
            what: "Press key 3".to_owned(),
            captures: vec![first.id, second.id],
            ..Step::default()
        };
        store.add(session.id, &step).unwrap();
        store.bin(session.id, first.id).unwrap();
        session
    }

    #[test]
    fn a_session_moves_to_another_folder_whole() {
        let (_one, from) = test_store();
        let session = filled(&from);
        let mut archive = Vec::new();
        from.archive(session.id, &mut archive).unwrap();
        let mut again = Vec::new();
        from.archive(session.id, &mut again).unwrap();
        assert_eq!(archive, again, "the same session gives the same bytes");
        assert!(is_archive(&archive) && is_archive(&archive[..archive.len().min(4096)]));
        assert!(!is_archive(&archive[..20]) && !is_archive(b"time,A\n0,1\n"));
        let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
        packed.write_all(&[b' '; 2000]).unwrap();
        assert!(!is_archive(&packed.finish().unwrap()));

        let (_two, to) = test_store();
        // Numbers are taken already, so that they must be given anew.
        filled(&to);
        let restored = to.restore_archive(&archive[..], LIMITS).unwrap();
        assert_eq!(
            (&restored.body, restored.created_ms),
            (&session.body, session.created_ms)
        );
        let conditions = to.entries::<Condition>(restored.id).unwrap();
        let captures = to.entries::<Capture>(restored.id).unwrap();
        assert_eq!(captures[0].value.condition, Some(conditions[1].id));
        let binned: Vec<Entry<Capture>> = to.binned_entries(restored.id).unwrap();
        assert_eq!(binned[0].value.condition, Some(conditions[0].id));
        let steps = to.entries::<Step>(restored.id).unwrap();
        assert_eq!(steps[0].value.captures, [binned[0].id, captures[0].id]);
        let bytes = std::fs::read(to.original_path(&binned[0].value.digest).unwrap()).unwrap();
        assert_eq!(bytes, b"first");
    }

    #[test]
    fn what_is_cut_short_damaged_or_foreign_makes_no_session() {
        let (_one, from) = test_store();
        let session = filled(&from);
        let mut archive = Vec::new();
        from.archive(session.id, &mut archive).unwrap();
        let (_two, to) = test_store();
        for cut in [0, 1, 20, archive.len() / 2, archive.len() - 20] {
            let error = to.restore_archive(&archive[..cut], LIMITS).unwrap_err();
            assert!(
                error.to_string().starts_with("this is not a session archive"),
                "{cut}: {error}"
            );
        }
        assert!(to.restore_archive(&b"time,A\n0,1\n"[..], LIMITS).is_err());
        // Each is small enough, both together are not.
        let tight = ArchiveLimits {
            all_bytes: 10,
            ..LIMITS
        };
        let told = to.restore_archive(&archive[..], tight).unwrap_err().to_string();
        assert!(
            told.contains("originals of 11 bytes in all, more than the limit of 10"),
            "{told}"
        );
        let pack = |files: &[(&str, &[u8])]| {
            let mut tar = tar::Builder::new(GzEncoder::new(Vec::new(), Compression::fast()));
            for (name, bytes) in files {
                tar.append(&header(name, bytes.len() as u64), *bytes).unwrap();
            }
            tar.into_inner().unwrap().finish().unwrap()
        };
        let mut plain = Vec::new();
        GzDecoder::new(&archive[..]).read_to_end(&mut plain).unwrap();
        let mut reader = tar::Archive::new(&plain[..]);
        let mut manifest = Vec::new();
        reader
            .entries()
            .unwrap()
            .next()
            .unwrap()
            .unwrap()
            .read_to_end(&mut manifest)
            .unwrap();
        let told = |files: &[(&str, &[u8])]| {
            to.restore_archive(&pack(files)[..], LIMITS)
                .unwrap_err()
                .to_string()
        };
        assert!(told(&[("session.json", b"{}")]).contains("can't be read"));
        assert!(told(&[("session.json", b"{\"schema\": \"edgewitness-archive-9\"}")]).contains("newer"));
        assert!(told(&[("other", b"")]).contains("expected session.json first"));
        assert!(told(&[("session.json", &manifest)]).contains("missing"));
        assert!(told(&[("session.json", &manifest), ("secret", b"x")]).contains("does not list"));
        let digest = format!("originals/{}", Digest::of(b"first"));
        assert!(told(&[("session.json", &manifest), (&digest, b"other")]).contains("damaged"));
        let twice: [(&str, &[u8]); 3] = [
            ("session.json", &manifest),
            (&digest, b"first"),
            (&digest, b"first"),
        ];
        assert!(told(&twice).contains("is in it twice"));
        assert!(
            told(&[("session.json", &manifest), (&digest, b"firstly")]).contains("has 7 bytes, 5 are listed")
        );

        let mut files: Vec<(String, Vec<u8>)> = Vec::new();
        for entry in tar::Archive::new(&plain[..]).entries().unwrap() {
            let mut entry = entry.unwrap();
            let mut bytes = Vec::new();
            entry.read_to_end(&mut bytes).unwrap();
            files.push((entry.path().unwrap().to_string_lossy().into_owned(), bytes));
        }
        let spoilt = |spoil: &dyn Fn(&mut Value)| {
            let mut body: Value = serde_json::from_slice(&manifest).unwrap();
            spoil(&mut body);
            let text = body.to_string().into_bytes();
            let others = files[1..].iter().map(|(name, bytes)| (name.as_str(), &bytes[..]));
            let all: Vec<(&str, &[u8])> = std::iter::once((MANIFEST, &text[..])).chain(others).collect();
            told(&all)
        };
        assert!(spoilt(&|m| m["entries"][0]["body"] = Value::Null).contains("can't be read"));
        assert!(spoilt(&|m| m["entries"][0]["kind"] = "song".into()).contains("does not know"));
        assert!(spoilt(&|m| m["session"]["title"] = "".into()).contains("expected a title"));
        assert_eq!(to.sessions(false).unwrap().len(), 0);
    }
}
