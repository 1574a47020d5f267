//! The journal: what was done in a session, and undoing and redoing it.
//!
//! Each change goes through [`Store::act`], which writes the change and, in the same transaction, what was there
//! before. Undoing puts back what was before the session's last action; redoing puts back what came after. An entry
//! is never deleted: undoing its making puts it in the bin.

use rusqlite::{OptionalExtension, Row, Transaction, TransactionBehavior, params};
use serde::{Deserialize, Serialize};

use super::entries::{EntryId, Kind};
use super::sessions::{from_json, to_json};
use super::{Digest, Error, SessionId, Store, now_ms};

/// Something that was done in a session and can be undone.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Action {
    /// Names it within the data folder.
    pub id: i64,
    pub at_ms: i64,
    /// What was done, in the past: "remark added".
    pub what: String,
    pub undone: bool,
}

/// What the journal keeps of an entry, or of the session itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub(super) struct State {
    pub body: String,
    /// Order among entries of its kind.
    pub position: i64,
    pub binned_ms: Option<i64>,
}

impl Store {
    /// The session's last actions, newest first, at most `most`.
    ///
    /// # Errors
    /// The disk's own.
    pub fn actions(&self, session: SessionId, most: u32) -> Result<Vec<Action>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT id, at_ms, what, undone_ms IS NOT NULL FROM action WHERE session = ?1
                 ORDER BY id DESC LIMIT ?2",
        )?;
        let rows = query.query_map(params![session.0, most], |row| {
            Ok(Action {
                id: row.get(0)?,
                at_ms: row.get(1)?,
                what: row.get(2)?,
                undone: row.get(3)?,
            })
        });
        let rows = rows?;
        rows.collect::<Result<_, _>>().map_err(Error::from)
    }

    /// Undoes the session's last action that stands; `None` when there is none.
    ///
    /// # Errors
    /// The disk's own.
    pub fn undo(&self, session: SessionId) -> Result<Option<Action>, Error> {
        self.undo_this(session, None)
    }

    /// Undoes the session's last action that stands, if it is the one `named`; `None` when there is none.
    ///
    /// # Errors
    /// Another one is the last, or the disk's own.
    pub fn undo_this(&self, session: SessionId, named: Option<i64>) -> Result<Option<Action>, Error> {
        self.step(
            session,
            named,
            "SELECT id, at_ms, what FROM action WHERE session = ?1 AND undone_ms IS NULL
             ORDER BY id DESC LIMIT 1",
            true,
        )
    }

    /// Does again what was undone last; `None` when there is nothing, or something else was done since.
    ///
    /// # Errors
    /// The disk's own.
    pub fn redo(&self, session: SessionId) -> Result<Option<Action>, Error> {
        self.step(
            session,
            None,
            "SELECT id, at_ms, what FROM action WHERE session = ?1 AND undone_ms IS NOT NULL AND id >
                (SELECT coalesce(max(id), 0) FROM action WHERE session = ?1 AND undone_ms IS NULL)
             ORDER BY undone_ms DESC LIMIT 1",
            false,
        )
    }

    fn step(
        &self,
        session: SessionId,
        named: Option<i64>,
        find: &str,
        undo: bool,
    ) -> Result<Option<Action>, Error> {
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
        if named.is_some_and(|named| named != id) {
            return Err(Error::Invalid(format!(
                "that is not the last step any more: \"{what}\" is. Nothing was undone; look at the page anew"
            )));
        }
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
            id,
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
    /// Adds an entry behind the last of its kind.
    ///
    /// # Errors
    /// Its original is not in the store, or the database's own.
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

    /// Changes what the journal keeps of an entry, and writes down before and after.
    ///
    /// # Errors
    /// No such entry in the session, or the database's own.
    pub fn change(&mut self, id: EntryId, change: impl FnOnce(&mut State)) -> Result<(), Error> {
        let before = entry_state(self.transaction, self.session, id)?;
        let mut after = before.clone();
        change(&mut after);
        set_entry(self.transaction, id, &after)?;
        self.log(Some(id.0), Some(&before), &after)
    }

    /// As [`change`](Act::change), and sets the original that the entry is of.
    ///
    /// # Errors
    /// As [`change`](Act::change).
    pub fn change_with(
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

    /// Changes the session itself, and writes down before and after.
    ///
    /// # Errors
    /// The disk's own.
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

/// Marks the session as changed now, and later than before, whatever the clock says; the number of sessions of that id.
fn touch(work: &Transaction, session: SessionId) -> Result<usize, Error> {
    let set = "UPDATE session SET changed_ms = max(?2, changed_ms + 1) WHERE id = ?1";
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
