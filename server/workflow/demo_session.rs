//! The ready session that `serve --demo` opens: the carillon's captures, conditions, setup and harness sheet.

use crate::demo::{DemoFile, SESSION, SIDE_SESSIONS, SideSession, files};
use crate::store::{Condition, Error, HarnessSheet, SessionBody, SessionId, Store};

/// What the demo's job is, in a sentence.
const JOB: &str = "The carillon skips and repeats notes now and then, and some strikes never ring.";

/// Whether a session of that title is the demo's.
pub fn is_demo(title: &str) -> bool {
    title == SESSION.title
}

/// The demo session of a data folder: the one that is there, or a new one.
///
/// # Errors
/// The disk's own.
pub fn open_demo(store: &Store) -> Result<SessionId, Error> {
    if let Some(row) = store
        .sessions(false)?
        .into_iter()
        .find(|row| is_demo(&row.session.body.title))
    {
        return Ok(row.session.id);
    }
    let files = files();
    for side in &SIDE_SESSIONS {
        open_side(store, side, &files)?;
    }
    let text = |name: &str| text_of(&files, name);
    let body = SessionBody {
        title: SESSION.title.to_owned(),
        job: JOB.to_owned(),
        setup: text(SESSION.setup).to_owned(),
    };
    let session = store.create_session(&body)?.id;
    store.set_harness(
        session,
        &HarnessSheet {
            csv: text(SESSION.harness).to_owned(),
        },
    )?;
    let (title, captures) = SESSION.as_found;
    let condition = |title: &str| Condition {
        title: title.to_owned(),
        remark: String::new(),
    };
    let as_found = store.add(session, &condition(title))?.id;
    let bring = |name: &str, condition| {
        let stored = store.store_from(name, text(name).as_bytes(), u64::MAX)?;
        store.add_capture(session, &stored, Some(condition))
    };
    for &name in captures {
        bring(name, as_found)?;
    }
    bring(SESSION.other_instrument.0, as_found)?;
    let (title, captures) = SESSION.after;
    let after = store.add(session, &condition(title))?.id;
    for &name in captures {
        bring(name, after)?;
    }
    // The page opens on what is wrong; the way it was put right is in Before and after.
    store.take_in_hand(session, Some(as_found), None)?;
    Ok(session)
}

fn text_of<'a>(files: &'a [DemoFile], name: &str) -> &'a str {
    let file = files.iter().find(|f| f.name == name);
    file.map(|f| f.text.as_str()).unwrap_or_default()
}

fn open_side(store: &Store, side: &SideSession, files: &[DemoFile]) -> Result<(), Error> {
    let session = store.create_session(&SessionBody {
        title: side.title.to_owned(),
        job: side.job.to_owned(),
        setup: text_of(files, side.setup).to_owned(),
    })?;
    let stored = store.store_from(side.capture, text_of(files, side.capture).as_bytes(), u64::MAX)?;
    store.bring_capture(session.id, &stored)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Capture, Entry};

    #[test]
    fn the_demo_session_is_made_once() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let first = open_demo(&store).unwrap();
        assert_eq!(open_demo(&store).unwrap(), first);
        let captures: Vec<Entry<Capture>> = store.entries(first).unwrap();
        assert_eq!(
            captures.len(),
            SESSION.as_found.1.len() + SESSION.after.1.len() + 1
        );
        assert_eq!(store.present_captures(first).unwrap().len(), 2);
        assert_eq!(store.sessions(false).unwrap().len(), 1 + SIDE_SESSIONS.len());
    }
}
