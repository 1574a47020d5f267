//! Sessions: an evening's work under one title.

use std::fmt;
use std::str::FromStr;

use rusqlite::{Row, params};
use serde::{Deserialize, Serialize};

use super::{Error, Store, now_ms};

/// Names a session within its data folder.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(transparent)]
pub struct SessionId(pub i64);

/// What a person says about a session as a whole.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct SessionBody {
    pub title: String,
    /// The job: what the machine is, what it does wrong.
    pub job: String,
    /// The text of the setup file (TOML) that holds for the whole session.
    pub setup: String,
}

/// A session with when it was made and last changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Session {
    pub id: SessionId,
    pub created_ms: i64,
    pub changed_ms: i64,
    /// When it went to the bin; null when it is not there.
    pub binned_ms: Option<i64>,
    #[serde(flatten)]
    pub body: SessionBody,
}

/// A session as the start page lists it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SessionRow {
    #[serde(flatten)]
    pub session: Session,
    /// Captures that are not in the bin.
    pub captures: u64,
    /// From the answer on the newest condition, whichever is looked at; null when nothing was worked out yet.
    pub faults: Option<u64>,
    pub warnings: Option<u64>,
    /// Title of the first finding; after the condition that it stands under, where there are several.
    pub headline: Option<String>,
    /// Something was said or brought since what the answer rests on was read; it may change what is found.
    pub is_changed_since: bool,
}

impl Store {
    /// Makes an empty session.
    ///
    /// # Errors
    /// The title is empty, or the disk's own.
    pub fn create_session(&self, body: &SessionBody) -> Result<Session, Error> {
        let body = checked(body)?;
        let now = now_ms();
        let connection = self.connection();
        connection.execute(
            "INSERT INTO session (body, created_ms, changed_ms) VALUES (?1, ?2, ?2)",
            params![to_json(&body), now],
        )?;
        Ok(Session {
            id: SessionId(connection.last_insert_rowid()),
            created_ms: now,
            changed_ms: now,
            binned_ms: None,
            body,
        })
    }

    /// All sessions, last changed first; `binned` tells whether those in the bin or those outside it.
    /// One pass over the session and capture indices.
    ///
    /// # Errors
    /// The disk's own.
    pub fn sessions(&self, binned: bool) -> Result<Vec<SessionRow>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT s.id, s.created_ms, s.changed_ms, s.binned_ms, s.body, coalesce(c.captures, 0),
                        r.faults, r.warnings, r.headline, coalesce(r.made_ms <> s.changed_ms, 0)
                 FROM session s
                 LEFT JOIN (SELECT session, count(*) AS captures FROM entry
                            WHERE kind = 'capture' AND binned_ms IS NULL GROUP BY session) c
                        ON c.session = s.id
                 LEFT JOIN report r ON r.session = s.id AND r.scope = 'all'
                 WHERE (s.binned_ms IS NOT NULL) = ?1
                 ORDER BY s.changed_ms DESC, s.id DESC",
        )?;
        let rows = query.query_and_then([binned], |row| {
            Ok(SessionRow {
                session: read_session(row)?,
                captures: row.get::<_, i64>(5)? as u64,
                faults: count(row, 6)?,
                warnings: count(row, 7)?,
                headline: row.get(8)?,
                is_changed_since: row.get(9)?,
            })
        });
        rows?.collect()
    }

    /// One session, also when it is in the bin.
    ///
    /// # Errors
    /// [`Error::NotFound`], or the disk's own.
    pub fn session(&self, id: SessionId) -> Result<Session, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached(
            "SELECT id, created_ms, changed_ms, binned_ms, body FROM session WHERE id = ?1",
        )?;
        let mut rows = query.query([id.0])?;
        match rows.next()? {
            Some(row) => read_session(row),
            None => Err(Error::no(format!("session {id}"))),
        }
    }

    /// Changes what is said about a session (title, job, setup); can be undone under the name of what was changed.
    ///
    /// # Errors
    /// [`Error::NotFound`], an empty title, or the disk's own.
    pub fn edit_session(&self, id: SessionId, body: &SessionBody) -> Result<Session, Error> {
        let before = self.session(id)?.body;
        let after = checked(body)?;
        let changed = [
            ("title", before.title != after.title),
            ("job", before.job != after.job),
            ("setup", before.setup != after.setup),
        ];
        let parts: Vec<&str> = changed
            .iter()
            .filter(|(_, is)| *is)
            .map(|(part, _)| *part)
            .collect();
        let what = match parts.as_slice() {
            [] => "session kept as it was".to_owned(),
            parts => format!("{} changed", parts.join(" and ")),
        };
        self.edit_session_as(id, &after, &what)
    }

    /// As [`Store::edit_session`], named for the journal: `what` was done, in the past ("rule added").
    ///
    /// # Errors
    /// As [`Store::edit_session`].
    pub fn edit_session_as(&self, id: SessionId, body: &SessionBody, what: &str) -> Result<Session, Error> {
        let body = checked(body)?;
        self.act(id, what, |act| {
            act.change_session(|state| state.body = to_json(&body))
        })?;
        self.session(id)
    }

    /// Puts a session in the bin, whole.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn bin_session(&self, id: SessionId) -> Result<(), Error> {
        self.act(id, "session put in the bin", |act| {
            act.change_session(|state| state.binned_ms = Some(now_ms()))
        })
    }

    /// Takes a session out of the bin.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn restore_session(&self, id: SessionId) -> Result<(), Error> {
        self.act(id, "session restored", |act| {
            act.change_session(|state| state.binned_ms = None)
        })
    }
}

/// The body with its title trimmed.
///
/// # Errors
/// The title is empty or longer than 200 characters.
pub(super) fn checked(body: &SessionBody) -> Result<SessionBody, Error> {
    const LONGEST: usize = 200;
    let title = body.title.trim();
    if title.is_empty() || title.chars().count() > LONGEST {
        let message = format!("expected a title for the session, 1 to {LONGEST} characters");
        return Err(Error::Invalid(message));
    }
    Ok(SessionBody {
        title: visible(title),
        ..body.clone()
    })
}

/// A title in which nothing acts unseen: controls, and marks that turn the direction of writing, by their codes.
fn visible(title: &str) -> String {
    let is_unseen = |letter: char| {
        letter.is_control()
            || matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    let shown = |letter: char| match is_unseen(letter) {
        true => letter.escape_unicode().to_string(),
        false => letter.to_string(),
    };
    title.chars().map(shown).collect()
}

fn read_session(row: &Row) -> Result<Session, Error> {
    let id: i64 = row.get(0)?;
    let body: String = row.get(4)?;
    Ok(Session {
        id: SessionId(id),
        created_ms: row.get(1)?,
        changed_ms: row.get(2)?,
        binned_ms: row.get(3)?,
        body: from_json(&body, || format!("session {id}"))?,
    })
}

fn count(row: &Row, column: usize) -> Result<Option<u64>, Error> {
    let found: Option<i64> = row.get(column)?;
    Ok(found.map(|n| n as u64))
}

/// # Panics
/// Never for the store's own structs: none has a map with keys that are not text.
pub(super) fn to_json<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).expect("the store's structs are JSON")
}

/// Reads what the store wrote itself; `what` names it.
///
/// # Errors
/// [`Error::Damaged`].
pub(super) fn from_json<T: for<'a> Deserialize<'a>>(
    text: &str,
    what: impl FnOnce() -> String,
) -> Result<T, Error> {
    serde_json::from_str(text).map_err(|error| Error::Damaged {
        what: what(),
        detail: error.to_string(),
    })
}

impl fmt::Display for SessionId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for SessionId {
    type Err = std::num::ParseIntError;
    fn from_str(text: &str) -> Result<SessionId, Self::Err> {
        text.parse().map(SessionId)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_store;

    fn body(title: &str) -> SessionBody {
        SessionBody {
            title: title.to_owned(),
            ..SessionBody::default()
        }
    }

    #[test]
    fn sessions_survive_a_restart() {
        let (folder, store) = test_store();
        let made = store.create_session(&body("  Tower, second evening ")).unwrap();
        assert_eq!(made.body.title, "Tower, second evening");
        drop(store);
        let store = Store::open(folder.path()).unwrap();
        assert_eq!(store.session(made.id).unwrap(), made);
        let rows = store.sessions(false).unwrap();
        assert_eq!(rows.len(), 1);
        assert_eq!((rows[0].captures, rows[0].faults), (0, None));
    }

    #[test]
    fn the_bin_takes_and_gives_back() {
        let (_folder, store) = test_store();
        let made = store.create_session(&body("A")).unwrap();
        store.bin_session(made.id).unwrap();
        assert_eq!(store.sessions(false).unwrap().len(), 0);
        assert_eq!(store.sessions(true).unwrap().len(), 1);
        store.restore_session(made.id).unwrap();
        assert_eq!(store.session(made.id).unwrap().binned_ms, None);
    }

    #[test]
    fn what_acts_unseen_in_a_title_is_shown_by_its_code() {
        let (_folder, store) = test_store();
        let made = store.create_session(&body("Tower\0 \u{202e}gnineve")).unwrap();
        assert_eq!(made.body.title, "Tower\\u{0} \\u{202e}gnineve");
        let made = store
            .create_session(&body("Glockenspiel, zweiter Ärger"))
            .unwrap();
        assert_eq!(made.body.title, "Glockenspiel, zweiter Ärger");
    }

    #[test]
    fn undoing_says_what_was_changed() {
        let (_folder, store) = test_store();
        let made = store.create_session(&body("A")).unwrap();
        let mut changed = made.body.clone();
        changed.job = "It strikes twice.".to_owned();
        changed.setup = "# nothing yet\n".to_owned();
        store.edit_session(made.id, &changed).unwrap();
        assert_eq!(
            store.undo(made.id).unwrap().unwrap().what,
            "job and setup changed"
        );
        assert_eq!(store.session(made.id).unwrap().body, made.body);
    }

    #[test]
    fn an_empty_title_and_a_missing_session_are_told() {
        let (_folder, store) = test_store();
        assert!(
            store
                .create_session(&body("  "))
                .unwrap_err()
                .to_string()
                .contains("title")
        );
        let error = store.session(SessionId(7)).unwrap_err();
        assert_eq!(error.to_string(), "there is no session 7");
        assert!(matches!(
            store.bin_session(SessionId(7)),
            Err(Error::NotFound { .. })
        ));
    }
}
