//! The database: opened with its settings, brought to this program's version, refused when it is newer.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use super::Error;

/// One script a version, in order; a released one is never changed.
const MIGRATIONS: [&str; 1] = [include_str!("migrations/0001_first.sql")];

/// The store version this program writes.
pub const VERSION: i64 = MIGRATIONS.len() as i64;

/// Opens (or makes) the database at `path`; `dir` is the data folder, for messages.
///
/// # Errors
/// What is there is no database, or one of a later version; or the disk's own.
pub fn open(path: &Path, dir: &Path) -> Result<Connection, Error> {
    let mut connection = Connection::open(path)?;
    let found = version(&connection).map_err(|error| match error {
        Error::Database(source) if is_damaged(&source) => Error::NoDatabase {
            path: path.to_owned(),
            source,
        },
        other => other,
    })?;
    if found > VERSION {
        return Err(Error::Newer {
            dir: dir.to_owned(),
            found,
            known: VERSION,
        });
    }
    let set = |name, value: &str| {
        let done = connection.pragma_update(None, name, value);
        done.map_err(Error::from)
    };
    set("journal_mode", "WAL")?;
    // FULL: a change is on the disk when it is answered, also through a power cut; people write slowly.
    set("synchronous", "FULL")?;
    set("foreign_keys", "ON")?;
    migrate(&mut connection)?;
    Ok(connection)
}

fn is_damaged(error: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{DatabaseCorrupt, NotADatabase};
    matches!(error.sqlite_error_code(), Some(DatabaseCorrupt | NotADatabase))
}

/// The version the database was last written with; 0 for a new one.
///
/// # Errors
/// The disk's own.
pub fn version(connection: &Connection) -> Result<i64, Error> {
    let read = connection.pragma_query_value(None, "user_version", |row| row.get(0));
    read.map_err(Error::from)
}

fn migrate(connection: &mut Connection) -> Result<(), Error> {
    let found = usize::try_from(version(connection)?).unwrap_or(0);
    for (index, script) in MIGRATIONS.iter().enumerate().skip(found) {
        // Each script and its version number stand or fall together.
        let change = connection.transaction_with_behavior(TransactionBehavior::Immediate);
        let change = change?;
        change.execute_batch(script)?;
        let set = change.pragma_update(None, "user_version", index as i64 + 1);
        set?;
        change.commit()?;
    }
    Ok(())
}
