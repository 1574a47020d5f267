//! Answers already worked out, so that a page opens at once: the newest for each scope of a session.

use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use rusqlite::{OptionalExtension, params};

use super::{Capture, Digest, Entry, Error, SessionId, Store};

/// What the start page says of an answer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Summary {
    /// Findings of that severity.
    pub faults: u64,
    pub warnings: u64,
    /// Title of the first finding; after the condition that it stands under, where there are several.
    pub headline: Option<String>,
}

impl Store {
    /// Keeps an answer (JSON text) for `scope` of a session ("all" for the newest condition, of which the start page tells,
    /// one for each condition, "runs" for the counts of every run), in place of the last one. `key` names everything the
    /// answer rests on: see [`report_key`]; `changed_ms` is the session's when that was read: what was said later, also
    /// while the answer was worked out, is not in it.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn save_report(
        &self,
        session: SessionId,
        scope: &str,
        key: &str,
        changed_ms: i64,
        json: &str,
        summary: &Summary,
    ) -> Result<(), Error> {
        let mut packer = GzEncoder::new(Vec::new(), Compression::fast());
        let packed = packer.write_all(json.as_bytes()).and_then(|()| packer.finish());
        let packed = packed.map_err(Error::io("keeping an answer", self.dir()))?;
        self.session(session)?;
        self.connection().execute(
            "INSERT OR REPLACE INTO report (session, scope, key, made_ms, faults, warnings, headline, json)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            params![
                session.0,
                scope,
                key,
                changed_ms,
                summary.faults as i64,
                summary.warnings as i64,
                summary.headline,
                packed
            ],
        )?;
        Ok(())
    }

    /// The newest answer kept for `scope` of a session, whatever it rests on.
    ///
    /// # Errors
    /// As [`Store::load_report`].
    pub fn latest_report(&self, session: SessionId, scope: &str) -> Result<Option<String>, Error> {
        let find = "SELECT key FROM report WHERE session = ?1 AND scope = ?2";
        let key: Option<String> = self
            .connection()
            .query_row(find, params![session.0, scope], |row| row.get(0))
            .optional()?;
        match key {
            Some(key) => self.load_report(session, scope, &key),
            None => Ok(None),
        }
    }

    /// Whether an answer is kept for `scope` of a session that rests on the same things as `key` names.
    ///
    /// # Errors
    /// The disk's own.
    pub fn has_report(&self, session: SessionId, scope: &str, key: &str) -> Result<bool, Error> {
        let find = "SELECT 1 FROM report WHERE session = ?1 AND scope = ?2 AND key = ?3";
        let found: Option<i64> = self
            .connection()
            .query_row(find, params![session.0, scope, key], |row| row.get(0))
            .optional()?;
        Ok(found.is_some())
    }

    /// The sessions with an answer for `scope`, and what each rests on.
    ///
    /// # Errors
    /// The disk's own.
    pub fn report_keys(&self, scope: &str) -> Result<Vec<(SessionId, String)>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached("SELECT session, key FROM report WHERE scope = ?1")?;
        let rows = query.query_map([scope], |row| Ok((SessionId(row.get(0)?), row.get(1)?)))?;
        rows.collect::<Result<_, _>>().map_err(Error::from)
    }

    /// The answer kept for `scope` of a session, if it rests on the same things as `key` names.
    ///
    /// # Errors
    /// What was kept is damaged, or the disk's own.
    pub fn load_report(&self, session: SessionId, scope: &str, key: &str) -> Result<Option<String>, Error> {
        let find = "SELECT json FROM report WHERE session = ?1 AND scope = ?2 AND key = ?3";
        let packed: Option<Vec<u8>> = self
            .connection()
            .query_row(find, params![session.0, scope, key], |row| row.get(0))
            .optional()?;
        let Some(packed) = packed else { return Ok(None) };
        let mut json = String::new();
        match GzDecoder::new(&packed[..]).read_to_string(&mut json) {
            Ok(_) => Ok(Some(json)),
            Err(error) => Err(Error::Damaged {
                what: format!("answer of session {session}"),
                detail: error.to_string(),
            }),
        }
    }
}

/// Names everything an answer rests on: the captures with their names and conditions in order, what was `said`
/// besides (the setup's text, clocks, readings), and this very program.
pub fn report_key(captures: &[Entry<Capture>], said: &[&str]) -> String {
    let mut hasher = blake3::Hasher::new();
    let mut add = |part: &str| {
        hasher.update(&(part.len() as u64).to_le_bytes());
        hasher.update(part.as_bytes());
    };
    add(env!("CARGO_PKG_VERSION"));
    add(program());
    said.iter().for_each(|part| add(part));
    for capture in captures {
        let value = &capture.value;
        add(&value.file);
        add(value.digest.as_str());
        add(&value.condition.map(|id| id.to_string()).unwrap_or_default());
    }
    Digest::from(hasher.finalize()).to_string()
}

/// Names this very program, by its file: another build may find other things, and finds them anew. Where the file can't
/// be looked at, it is a name of its own each time the program is started.
fn program() -> &'static str {
    static NAME: std::sync::OnceLock<String> = std::sync::OnceLock::new();
    let since_1970 = |time: std::time::SystemTime| time.duration_since(std::time::UNIX_EPOCH);
    NAME.get_or_init(|| {
        let file = std::env::current_exe().and_then(std::fs::metadata).ok();
        let changed = file.as_ref().and_then(|file| file.modified().ok());
        let changed = changed.and_then(|time| since_1970(time).ok());
        match file.zip(changed) {
            Some((file, changed)) => format!("{} {}", file.len(), changed.as_nanos()),
            None => format!("{:?}", since_1970(std::time::SystemTime::now())),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{SessionBody, test_evening};

    #[test]
    fn an_answer_is_found_while_it_rests_on_the_same_things() {
        let (_folder, store, id) = test_evening();
        let stored = store.store_from("a.vcd", &b"bytes"[..], 100).unwrap();
        store.add_capture(id, &stored, None).unwrap();
        let captures = store.entries::<Capture>(id).unwrap();
        let key = report_key(&captures, &[""]);
        assert_ne!(key, report_key(&captures, &["[read]"]));
        assert_ne!(key, report_key(&[], &[""]));
        let summary = Summary {
            faults: 2,
            warnings: 1,
            headline: Some("CLEAR_N dips".to_owned()),
        };
        store
            .save_report(id, "all", &key, 0, "{\"a\": 1}", &summary)
            .unwrap();
        assert_eq!(
            store.load_report(id, "all", &key).unwrap().as_deref(),
            Some("{\"a\": 1}")
        );
        assert_eq!(store.load_report(id, "all", "other").unwrap(), None);
        let row = store.sessions(false).unwrap().remove(0);
        assert_eq!((row.faults, row.headline), (Some(2), summary.headline));
    }

    #[test]
    fn an_answer_lacks_what_was_said_since_it_was_read_however_soon() {
        let (_folder, store, id) = test_evening();
        let summary = Summary::default();
        for title in ["a", "b", "c"] {
            let changed_ms = store.session(id).unwrap().changed_ms;
            let keep = || {
                store
                    .save_report(id, "all", "key", changed_ms, "{}", &summary)
                    .unwrap()
            };
            keep();
            assert!(!store.sessions(false).unwrap()[0].is_changed_since);
            let body = SessionBody {
                title: title.to_owned(),
                ..SessionBody::default()
            };
            store.edit_session(id, &body).unwrap();
            assert!(store.sessions(false).unwrap()[0].is_changed_since);
            keep();
            assert!(store.sessions(false).unwrap()[0].is_changed_since);
        }
    }
}
