//! The kinds of things a session holds.

use serde::{Deserialize, Serialize};

use super::{Digest, EntryId, Error, Kind, SessionId, Store, Stored};
use crate::store::Entry;

/// A state of the machine under which captures are taken: "as found", "pull-up fitted on CLEAR_N".
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Condition {
    pub title: String,
    pub remark: String,
}

impl Kind for Condition {
    const KIND: &'static str = "condition";

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.title, "a name for the condition, such as \"as found\"")
    }
}

/// A capture: a file that was brought, under a condition.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Capture {
    /// The file's name as the person gave it.
    pub file: String,
    pub digest: Digest,
    pub size_bytes: u64,
    #[serde(default)]
    pub condition: Option<EntryId>,
    #[serde(default)]
    pub remark: String,
}

impl Kind for Capture {
    const KIND: &'static str = "capture";

    fn digest(&self) -> Option<&Digest> {
        Some(&self.digest)
    }

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.file, "the capture's file name")
    }
}

impl Store {
    /// Adds a stored file to a session as a capture, under `condition`, or under the session's newest condition
    /// when that is `None` and there is one. The same file under the same condition is not added twice: the
    /// capture that is there is given back.
    ///
    /// # Errors
    /// No such session or condition, or the disk's own.
    pub fn add_capture(
        &self,
        session: SessionId,
        stored: &Stored,
        condition: Option<EntryId>,
    ) -> Result<Entry<Capture>, Error> {
        let condition = match condition {
            Some(id) => Some(self.entry::<Condition>(session, id)?.id),
            None => self.entries::<Condition>(session)?.last().map(|entry| entry.id),
        };
        let held = self.entries::<Capture>(session)?;
        let same = |held: &Capture| held.digest == stored.digest && held.condition == condition;
        if let Some(entry) = held.into_iter().find(|entry| same(&entry.value)) {
            return Ok(entry);
        }
        self.add(
            session,
            &Capture {
                file: stored.name.clone(),
                digest: stored.digest.clone(),
                size_bytes: stored.size_bytes,
                condition,
                remark: String::new(),
            },
        )
    }
}

fn not_empty(text: &str, what: &str) -> Result<(), Error> {
    if text.trim().is_empty() {
        return Err(Error::Invalid(format!("expected {what}, found nothing")));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{SessionBody, test_store};

    #[test]
    fn captures_go_under_the_newest_condition_once() {
        let (_folder, store) = test_store();
        let body = SessionBody {
            title: "Evening".to_owned(),
            ..SessionBody::default()
        };
        let id = store.create_session(&body).unwrap().id;
        let stored = store.store_from("a.vcd", &b"bytes"[..], 100).unwrap();
        let first = store.add_capture(id, &stored, None).unwrap();
        assert_eq!(first.value.condition, None);
        assert_eq!(store.add_capture(id, &stored, None).unwrap(), first);
        let condition = Condition {
            title: "as found".to_owned(),
            ..Condition::default()
        };
        let condition = store.add(id, &condition).unwrap();
        let second = store.add_capture(id, &stored, None).unwrap();
        assert_eq!(second.value.condition, Some(condition.id));
        assert_eq!(store.sessions(false).unwrap()[0].captures, 2);
        assert!(store.add_capture(id, &stored, Some(EntryId(99))).is_err());
        let unknown = Stored {
            digest: Digest::of(b"never stored"),
            ..stored
        };
        assert!(matches!(
            store.add_capture(id, &unknown, None),
            Err(Error::NotFound { .. })
        ));
    }
}
