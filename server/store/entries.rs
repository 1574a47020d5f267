//! Everything a session holds, as entries of many kinds with one way to add, edit, bin, restore and undo.
//!
//! Each change goes through [`Store::act`], which writes the change and, in the same transaction, what was there
//! before to the journal. Undoing puts back what was before the session's last action; redoing puts back what
//! came after. An entry is never deleted: undoing its making puts it in the bin.

use std::fmt;
use std::str::FromStr;

use rusqlite::{OptionalExtension, Row, Transaction, TransactionBehavior, params};
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

/// Something that was done in a session and can be undone.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Action {
    pub at_ms: i64,
    /// What was done, in the past: "remark added".
    pub what: String,
    pub undone: bool,
}

/// What the journal keeps of an entry, or of the session itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub(super) struct State {
    pub body: String,
    pub position: i64,
    pub binned_ms: Option<i64>,
}

impl Store {
    /// The entries of a kind in their order, without those in the bin.
    pub fn entries<T: Kind>(&self, session: SessionId) -> Result<Vec<Entry<T>>, Error> {
        self.list(session, false)
    }

    /// The entries of a kind that are in the bin.
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
        let mut added = self.add_all(
            session,
            std::slice::from_ref(value),
            &format!("{} added", words(T::KIND)),
        )?;
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
        self.act(session, &format!("{} edited", words(T::KIND)), |act| {
            act.change_with(id, value.digest(), |state| state.body = to_json(value))
        })?;
        self.entry(session, id)
    }

    /// Puts an entry of any kind in the bin.
    pub fn bin(&self, session: SessionId, id: EntryId) -> Result<(), Error> {
        let kind = self.kind(session, id)?;
        self.act(session, &format!("{} put in the bin", words(&kind)), |act| {
            act.change(id, |state| state.binned_ms = state.binned_ms.or(Some(now_ms())))
        })
    }

    /// Takes an entry out of the bin.
    pub fn restore(&self, session: SessionId, id: EntryId) -> Result<(), Error> {
        let kind = self.kind(session, id)?;
        self.act(session, &format!("{} restored", words(&kind)), |act| {
            act.change(id, |state| state.binned_ms = None)
        })
    }

    /// Puts the entries of a kind in the order of `ids`; entries not named keep their place after these.
    pub fn reorder<T: Kind>(&self, session: SessionId, ids: &[EntryId]) -> Result<(), Error> {
        let held = self.entries::<T>(session)?;
        if let Some(id) = ids.iter().find(|id| held.iter().all(|entry| entry.id != **id)) {
            return Err(Error::no(format!("{} {id} in session {session}", T::KIND)));
        }
        let rest = held.iter().map(|entry| entry.id).filter(|id| !ids.contains(id));
        let order: Vec<EntryId> = ids.iter().copied().chain(rest).collect();
        self.act(session, &format!("order of {} changed", words(T::KIND)), |act| {
            for (place, id) in order.into_iter().enumerate() {
                act.change(id, |state| state.position = place as i64 + 1)?;
            }
            Ok(())
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

    /// The session's last actions, newest first, at most `most`.
    pub fn actions(&self, session: SessionId, most: u32) -> Result<Vec<Action>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT at_ms, what, undone_ms IS NOT NULL FROM action WHERE session = ?1
                 ORDER BY id DESC LIMIT ?2",
        )?;
        let rows = query.query_map(params![session.0, most], |row| {
            Ok(Action {
                at_ms: row.get(0)?,
                what: row.get(1)?,
                undone: row.get(2)?,
            })
        });
        let rows = rows?;
        rows.collect::<Result<_, _>>().map_err(Error::from)
    }

    /// Undoes the session's last action that stands; `None` when there is none.
    pub fn undo(&self, session: SessionId) -> Result<Option<Action>, Error> {
        self.step(
            session,
            "SELECT id, at_ms, what FROM action WHERE session = ?1 AND undone_ms IS NULL
             ORDER BY id DESC LIMIT 1",
            true,
        )
    }

    /// Does again what was undone last; `None` when there is nothing, or something else was done since.
    pub fn redo(&self, session: SessionId) -> Result<Option<Action>, Error> {
        self.step(
            session,
            "SELECT id, at_ms, what FROM action WHERE session = ?1 AND undone_ms IS NOT NULL AND id >
                (SELECT coalesce(max(id), 0) FROM action WHERE session = ?1 AND undone_ms IS NULL)
             ORDER BY undone_ms DESC LIMIT 1",
            false,
        )
    }

    fn step(&self, session: SessionId, find: &str, undo: bool) -> Result<Option<Action>, Error> {
        let mut connection = self.connection();
        let work = connection.transaction_with_behavior(TransactionBehavior::Immediate);
        let work = work?;
        let found: Option<(i64, i64, String)> = work
            .query_row(find, [session.0], |row| {
                Ok((row.get(0)?, row.get(1)?, row.get(2)?))
            })
            .optional()?;
        let Some((id, at_ms, what)) = found else {
            return Ok(None);
        };
        put_back(&work, session, id, undo)?;
        // Strictly growing within a session, so that what was undone last is told apart within one millisecond.
        let mark = "UPDATE action SET undone_ms = CASE WHEN ?3 THEN
                        max(?2, 1 + coalesce((SELECT max(undone_ms) FROM action WHERE session = ?4), 0))
                    END WHERE id = ?1";
        let marked = work.execute(mark, params![id, now_ms(), undo, session.0]);
        marked?;
        touch(&work, session)?;
        work.commit()?;
        Ok(Some(Action {
            at_ms,
            what,
            undone: undo,
        }))
    }

    /// Runs `work` as one action called `what`: all of it lasts, or none.
    pub(super) fn act<R>(
        &self,
        session: SessionId,
        what: &str,
        work: impl FnOnce(&mut Act) -> Result<R, Error>,
    ) -> Result<R, Error> {
        let mut connection = self.connection();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate);
        let transaction = transaction?;
        if touch(&transaction, session)? == 0 {
            return Err(Error::no(format!("session {session}")));
        }
        transaction.execute(
            "INSERT INTO action (session, at_ms, what) VALUES (?1, ?2, ?3)",
            params![session.0, now_ms(), what],
        )?;
        let mut act = Act {
            action: transaction.last_insert_rowid(),
            transaction: &transaction,
            session,
        };
        let result = work(&mut act)?;
        transaction.commit()?;
        Ok(result)
    }
}

/// An action that is being done: each change is written with its entry in the journal.
pub(super) struct Act<'a> {
    transaction: &'a Transaction<'a>,
    session: SessionId,
    action: i64,
}

impl Act<'_> {
    pub fn insert<T: Kind>(&mut self, value: &T) -> Result<EntryId, Error> {
        let (body, now) = (to_json(value), now_ms());
        let position: i64 = self.transaction.query_row(
            "SELECT coalesce(max(position), 0) + 1 FROM entry WHERE kind = ?1 AND session = ?2",
            params![T::KIND, self.session.0],
            |row| row.get(0),
        )?;
        self.transaction
            .execute(
                "INSERT INTO entry (session, kind, position, body, digest, created_ms, changed_ms)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?6)",
                params![
                    self.session.0,
                    T::KIND,
                    position,
                    body,
                    value.digest().map(Digest::as_str),
                    now
                ],
            )
            .map_err(|error| match error.sqlite_error_code() {
                Some(rusqlite::ErrorCode::ConstraintViolation) => Error::no("stored file of that digest"),
                _ => error.into(),
            })?;
        let id = self.transaction.last_insert_rowid();
        let after = State {
            body,
            position,
            binned_ms: None,
        };
        self.log(Some(id), None, &after)?;
        Ok(EntryId(id))
    }

    pub fn change(&mut self, id: EntryId, change: impl FnOnce(&mut State)) -> Result<(), Error> {
        let before = entry_state(self.transaction, self.session, id)?;
        let mut after = before.clone();
        change(&mut after);
        set_entry(self.transaction, id, &after)?;
        self.log(Some(id.0), Some(&before), &after)
    }

    fn change_with(
        &mut self,
        id: EntryId,
        digest: Option<&Digest>,
        change: impl FnOnce(&mut State),
    ) -> Result<(), Error> {
        let set = "UPDATE entry SET digest = ?2 WHERE id = ?1 AND digest IS NOT ?2";
        let done = self
            .transaction
            .execute(set, params![id.0, digest.map(Digest::as_str)]);
        done?;
        self.change(id, change)
    }

    pub fn change_session(&mut self, change: impl FnOnce(&mut State)) -> Result<(), Error> {
        let before = self.transaction.query_row(
            "SELECT body, 0, binned_ms FROM session WHERE id = ?1",
            [self.session.0],
            read_state,
        )?;
        let mut after = before.clone();
        change(&mut after);
        set_session(self.transaction, self.session, &after)?;
        self.log(None, Some(&before), &after)
    }

    fn log(&self, entry: Option<i64>, before: Option<&State>, after: &State) -> Result<(), Error> {
        let row = params![self.action, entry, before.map(to_json), to_json(after)];
        self.transaction.execute(
            "INSERT INTO change (action, entry, before, after) VALUES (?1, ?2, ?3, ?4)",
            row,
        )?;
        Ok(())
    }
}

/// A kind as people read it: "finding state".
fn words(kind: &str) -> String {
    kind.replace('-', " ")
}

/// Puts the states before (or after) action `action` back, last change first when undoing.
fn put_back(work: &Transaction, session: SessionId, action: i64, undo: bool) -> Result<(), Error> {
    let order = if undo { "DESC" } else { "ASC" };
    let text = format!("SELECT entry, before, after FROM change WHERE action = ?1 ORDER BY id {order}");
    let mut query = work.prepare(&text)?;
    let rows = query.query_map([action], |row| {
        Ok((
            row.get::<_, Option<i64>>(0)?,
            row.get::<_, Option<String>>(1)?,
            row.get::<_, String>(2)?,
        ))
    });
    for row in rows? {
        let (entry, before, after) = row?;
        let read = |text: &str| from_json::<State>(text, || format!("journal of session {session}"));
        let state = match (undo, before) {
            (false, _) => read(&after)?,
            (true, Some(before)) => read(&before)?,
            // The action made the entry: it goes to the bin.
            (true, None) => State {
                binned_ms: Some(now_ms()),
                ..read(&after)?
            },
        };
        match entry {
            Some(id) => set_entry(work, EntryId(id), &state)?,
            None => set_session(work, session, &state)?,
        }
    }
    Ok(())
}

fn entry_state(work: &Transaction, session: SessionId, id: EntryId) -> Result<State, Error> {
    let found = work
        .query_row(
            "SELECT body, position, binned_ms FROM entry WHERE id = ?1 AND session = ?2",
            params![id.0, session.0],
            read_state,
        )
        .optional()?;
    found.ok_or_else(|| Error::no(format!("entry {id} in session {session}")))
}

fn set_entry(work: &Transaction, id: EntryId, state: &State) -> Result<(), Error> {
    let set = "UPDATE entry SET body = ?2, position = ?3, binned_ms = ?4, changed_ms = ?5 WHERE id = ?1";
    let values = params![id.0, state.body, state.position, state.binned_ms, now_ms()];
    work.execute(set, values)?;
    Ok(())
}

fn set_session(work: &Transaction, id: SessionId, state: &State) -> Result<(), Error> {
    let set = "UPDATE session SET body = ?2, binned_ms = ?3 WHERE id = ?1";
    work.execute(set, params![id.0, state.body, state.binned_ms])?;
    Ok(())
}

/// Marks the session as changed now; the number of sessions of that id.
fn touch(work: &Transaction, session: SessionId) -> Result<usize, Error> {
    let set = "UPDATE session SET changed_ms = ?2 WHERE id = ?1";
    work.execute(set, params![session.0, now_ms()])
        .map_err(Error::from)
}

fn read_state(row: &Row) -> rusqlite::Result<State> {
    Ok(State {
        body: row.get(0)?,
        position: row.get(1)?,
        binned_ms: row.get(2)?,
    })
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
        assert_eq!(store.undo(id).unwrap().unwrap().what, "condition edited");
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
    fn order_bin_and_session_edits_are_undone_too() {
        let (_folder, store) = test_store();
        let id = session(&store);
        let added = store
            .add_all(id, &["1", "2", "3"].map(condition), "list pasted")
            .unwrap();
        store
            .reorder::<Condition>(id, &[added[2].id, added[0].id])
            .unwrap();
        assert_eq!(titles(&store, id), ["3", "1", "2"]);
        store.bin(id, added[0].id).unwrap();
        let body = SessionBody {
            title: "Renamed".to_owned(),
            ..SessionBody::default()
        };
        store.edit_session(id, &body).unwrap();
        store.undo(id).unwrap();
        assert_eq!(store.session(id).unwrap().body.title, "Evening");
        store.undo(id).unwrap();
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
