//! Everything a session holds, as entries of many kinds with one way to add, edit, bin and restore; each change
//! goes through the [`super::journal`], which undoes it.

use std::fmt;
use std::str::FromStr;

use rusqlite::{OptionalExtension, Row, params};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::sessions::{from_json, to_json};
use super::{Digest, Error, SessionId, Store, now_ms};

/// Names an entry of a session within its data folder.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(transparent)]
pub struct EntryId(pub i64);

/// A kind of entry: its struct is kept as JSON.
pub trait Kind: Serialize + DeserializeOwned {
    /// The kind's word in the database and the interface.
    const KIND: &'static str;

    /// The stored file the entry rests on.
    fn digest(&self) -> Option<&Digest> {
        None
    }

    /// # Errors
    /// [`Error::Invalid`] with a sentence, when a value can't be kept as it is.
    fn check(&self) -> Result<(), Error> {
        Ok(())
    }
}

/// One thing in a session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Entry<T> {
    pub id: EntryId,
    pub session: SessionId,
    pub created_ms: i64,
    pub changed_ms: i64,
    /// When it went to the bin; null when it is not there.
    pub binned_ms: Option<i64>,
    #[serde(flatten)]
    pub value: T,
}

impl Store {
    /// The entries of a kind in their order, without those in the bin.
    ///
    /// # Errors
    /// A body that this program can't read, or the disk's own.
    pub fn entries<T: Kind>(&self, session: SessionId) -> Result<Vec<Entry<T>>, Error> {
        self.list(session, false)
    }

    /// The entries of a kind that are in the bin.
    ///
    /// # Errors
    /// A body that this program can't read, or the disk's own.
    pub fn binned_entries<T: Kind>(&self, session: SessionId) -> Result<Vec<Entry<T>>, Error> {
        self.list(session, true)
    }

    fn list<T: Kind>(&self, session: SessionId, binned: bool) -> Result<Vec<Entry<T>>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT id, session, created_ms, changed_ms, binned_ms, body FROM entry
                 WHERE kind = ?1 AND session = ?2 AND (binned_ms IS NOT NULL) = ?3 ORDER BY position, id",
        )?;
        let rows = query.query_and_then(params![T::KIND, session.0, binned], read_entry);
        rows?.collect()
    }

    /// One entry of a kind, also when it is in the bin.
    ///
    /// # Errors
    /// [`Error::NotFound`] when the session holds no such entry of this kind.
    pub fn entry<T: Kind>(&self, session: SessionId, id: EntryId) -> Result<Entry<T>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT id, session, created_ms, changed_ms, binned_ms, body FROM entry
                 WHERE id = ?1 AND session = ?2 AND kind = ?3",
        )?;
        let mut rows = query.query(params![id.0, session.0, T::KIND])?;
        match rows.next()? {
            Some(row) => read_entry(row),
            None => Err(Error::no(format!("{} {id} in session {session}", T::KIND))),
        }
    }

    /// Adds an entry at the end of its kind.
    ///
    /// # Errors
    /// A value that can't be kept, no such session, or the disk's own; then nothing is changed.
    pub fn add<T: Kind>(&self, session: SessionId, value: &T) -> Result<Entry<T>, Error> {
        let mut added = self.add_all(session, std::slice::from_ref(value), &deed(T::KIND, "added"))?;
        Ok(added.remove(0))
    }

    /// Adds several entries at the end of their kind, as one action called `what`.
    ///
    /// # Errors
    /// As [`Store::add`]; none is added then.
    pub fn add_all<T: Kind>(
        &self,
        session: SessionId,
        values: &[T],
        what: &str,
    ) -> Result<Vec<Entry<T>>, Error> {
        values.iter().try_for_each(T::check)?;
        let ids = self.act(session, what, |act| {
            values
                .iter()
                .map(|value| act.insert(value))
                .collect::<Result<Vec<_>, _>>()
        })?;
        ids.into_iter().map(|id| self.entry(session, id)).collect()
    }

    /// Changes an entry.
    ///
    /// # Errors
    /// A value that can't be kept, no such entry of this kind, or the disk's own.
    pub fn edit<T: Kind>(&self, session: SessionId, id: EntryId, value: &T) -> Result<Entry<T>, Error> {
        value.check()?;
        self.entry::<T>(session, id)?;
        self.act(session, &deed(T::KIND, "changed"), |act| {
            act.change_with(id, value.digest(), |state| state.body = to_json(value))
        })?;
        self.entry(session, id)
    }

    /// Sets what is said once of something: changes the entry that `is_same` tells, or adds one where there is none.
    ///
    /// # Errors
    /// As [`Store::add`].
    pub(super) fn set_once<T: Kind>(
        &self,
        session: SessionId,
        value: &T,
        is_same: impl Fn(&T) -> bool,
    ) -> Result<Entry<T>, Error> {
        let held = self.entries::<T>(session)?;
        match held.iter().find(|held| is_same(&held.value)) {
            Some(held) => self.edit(session, held.id, value),
            None => self.add(session, value),
        }
    }

    /// Puts an entry of any kind in the bin.
    ///
    /// # Errors
    /// No such entry in the session, or the disk's own.
    pub fn bin(&self, session: SessionId, id: EntryId) -> Result<(), Error> {
        let kind = self.kind(session, id)?;
        self.act(session, &format!("{} put in the bin", words(&kind)), |act| {
            act.change(id, |state| state.binned_ms = state.binned_ms.or(Some(now_ms())))
        })
    }

    /// Takes an entry out of the bin.
    ///
    /// # Errors
    /// No such entry in the session, or the disk's own.
    pub fn restore(&self, session: SessionId, id: EntryId) -> Result<(), Error> {
        let kind = self.kind(session, id)?;
        self.act(session, &format!("{} restored", words(&kind)), |act| {
            act.change(id, |state| state.binned_ms = None)
        })
    }

    fn kind(&self, session: SessionId, id: EntryId) -> Result<String, Error> {
        let found = self.connection().query_row(
            "SELECT kind FROM entry WHERE id = ?1 AND session = ?2",
            params![id.0, session.0],
            |row| row.get(0),
        );
        let found = found.optional()?;
        found.ok_or_else(|| Error::no(format!("entry {id} in session {session}")))
    }
}

/// What was done, for the button that undoes it. Kinds that hold one thing a session are called by what a person does there.
fn deed(kind: &str, done: &str) -> String {
    match kind {
        "diagram-view" => "view of the diagram changed".to_owned(),
        "finding-state" => "state of a finding changed".to_owned(),
        "pulse-mark" if done == "added" => "pulse judged".to_owned(),
        kind => format!("{} {done}", words(kind)),
    }
}

/// A kind as people read it: "finding state".
fn words(kind: &str) -> String {
    kind.replace('-', " ")
}

fn read_entry<T: Kind>(row: &Row) -> Result<Entry<T>, Error> {
    let id: i64 = row.get(0)?;
    let body: String = row.get(5)?;
    Ok(Entry {
        id: EntryId(id),
        session: SessionId(row.get(1)?),
        created_ms: row.get(2)?,
        changed_ms: row.get(3)?,
        binned_ms: row.get(4)?,
        value: from_json(&body, || format!("{} {id}", T::KIND))?,
    })
}

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for EntryId {
    type Err = std::num::ParseIntError;
    fn from_str(text: &str) -> Result<EntryId, Self::Err> {
        text.parse().map(EntryId)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Condition, SessionBody, test_store};

    fn condition(title: &str) -> Condition {
        Condition {
            title: title.to_owned(),
            ..Condition::default()
        }
    }

    fn titles(store: &Store, session: SessionId) -> Vec<String> {
        let entries = store.entries::<Condition>(session).unwrap();
        entries.into_iter().map(|entry| entry.value.title).collect()
    }

    fn session(store: &Store) -> SessionId {
        let body = SessionBody {
            title: "Evening".to_owned(),
            ..SessionBody::default()
        };
        store.create_session(&body).unwrap().id
    }

    #[test]
    fn what_was_done_is_undone_and_done_again() {
        let (_folder, store) = test_store();
        let id = session(&store);
        let a = store.add(id, &condition("as found")).unwrap();
        store.edit(id, a.id, &condition("as found, cold")).unwrap();
        store.add(id, &condition("pull-up fitted")).unwrap();
        assert_eq!(store.undo(id).unwrap().unwrap().what, "condition added");
        assert_eq!(store.undo(id).unwrap().unwrap().what, "condition changed");
        assert_eq!(titles(&store, id), ["as found"]);
        store.redo(id).unwrap().unwrap();
        store.redo(id).unwrap().unwrap();
        assert_eq!(store.redo(id).unwrap(), None);
        assert_eq!(titles(&store, id), ["as found, cold", "pull-up fitted"]);
        for _ in 0..3 {
            store.undo(id).unwrap().unwrap();
        }
        assert_eq!(store.undo(id).unwrap(), None);
        assert_eq!(titles(&store, id), [""; 0]);
        assert_eq!(store.binned_entries::<Condition>(id).unwrap().len(), 2);
    }

    #[test]
    fn a_new_action_ends_redoing() {
        let (_folder, store) = test_store();
        let id = session(&store);
        for title in ["1", "2", "3"] {
            store.add(id, &condition(title)).unwrap();
        }
        store.undo(id).unwrap();
        store.undo(id).unwrap();
        store.add(id, &condition("4")).unwrap();
        assert_eq!(store.redo(id).unwrap(), None);
        store.undo(id).unwrap();
        assert_eq!(titles(&store, id), ["1"]);
        store.redo(id).unwrap();
        assert_eq!(titles(&store, id), ["1", "4"]);
        assert_eq!(store.redo(id).unwrap(), None);
    }

    #[test]
    fn bin_and_session_edits_are_undone_too() {
        let (_folder, store) = test_store();
        let id = session(&store);
        let added = store
            .add_all(id, &["1", "2", "3"].map(condition), "list pasted")
            .unwrap();
        store.bin(id, added[0].id).unwrap();
        let body = SessionBody {
            title: "Renamed".to_owned(),
            ..SessionBody::default()
        };
        store.edit_session(id, &body).unwrap();
        store.undo(id).unwrap();
        assert_eq!(store.session(id).unwrap().body.title, "Evening");
        assert_eq!(titles(&store, id), ["2", "3"]);
        store.undo(id).unwrap();
        assert_eq!(titles(&store, id), ["1", "2", "3"]);
        store.undo(id).unwrap();
        assert_eq!(titles(&store, id), [""; 0]);
        store.restore(id, added[1].id).unwrap();
        assert_eq!(titles(&store, id), ["2"]);
    }

    #[test]
    fn another_session_s_entry_is_out_of_reach() {
        let (_folder, store) = test_store();
        let (one, two) = (session(&store), session(&store));
        let entry = store.add(one, &condition("1")).unwrap();
        assert!(matches!(store.bin(two, entry.id), Err(Error::NotFound { .. })));
        assert!(matches!(
            store.edit(two, entry.id, &condition("2")),
            Err(Error::NotFound { .. })
        ));
        assert!(matches!(
            store.add(SessionId(9), &condition("1")),
            Err(Error::NotFound { .. })
        ));
        assert_eq!(titles(&store, one), ["1"]);
    }
}
