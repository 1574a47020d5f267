//! Where the next capture goes, said at the field that takes it.

use crate::store::{Condition, Entry, EntryId, SessionId, Store};
use crate::web::error::Failure;

/// The field's choices.
#[derive(Default)]
pub struct NextCapture {
    /// The session is in the bin: it takes none.
    pub is_binned: bool,
    /// The conditions, in their order, that of the page chosen; empty where none is named yet.
    pub under: Vec<Target>,
}

/// A condition that a capture can go under.
pub struct Target {
    pub value: String,
    pub words: String,
    pub is_set: bool,
}

impl NextCapture {
    /// `shown`: the condition that the page shows; `None`, or one that is in the bin: the newest is chosen.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn of(store: &Store, id: SessionId, shown: Option<EntryId>) -> Result<NextCapture, Failure> {
        let conditions: Vec<Entry<Condition>> = store.entries(id)?;
        let newest = conditions.last().map(|entry| entry.id);
        let known = |id: &EntryId| conditions.iter().any(|entry| entry.id == *id);
        let chosen = shown.filter(known).or(newest);
        let several = conditions.len() > 1;
        let target = |entry: &Entry<Condition>| Target {
            value: entry.id.to_string(),
            words: match several && Some(entry.id) == newest {
                true => format!("{} (the newest)", entry.value.title),
                false => entry.value.title.clone(),
            },
            is_set: Some(entry.id) == chosen,
        };
        Ok(NextCapture {
            is_binned: store.session(id)?.binned_ms.is_some(),
            under: conditions.iter().map(target).collect(),
        })
    }
}
