//! Captures by the condition they were taken under: which ones the session's answer rests on, and what the first one
//! goes under.

use rusqlite::params;
use serde::{Deserialize, Serialize};

use super::sessions::to_json;
use super::{Capture, Condition, Entry, EntryId, Error, Kind, SessionId, Store, Stored, now_ms};

/// What the machine's state is called before anybody changed anything.
pub const AS_FOUND: &str = "as found";

/// The captures under one condition.
#[derive(Clone, Debug, PartialEq)]
pub struct Under {
    /// Null: under no condition, or under one that is in the bin.
    pub condition: Option<EntryId>,
    /// The condition's name; "no condition named" without one.
    pub title: String,
    pub captures: Vec<Entry<Capture>>,
}

impl Under {
    /// The captures, without those of a condition in the bin, unless they are all there is.
    fn own(mut self) -> Vec<Entry<Capture>> {
        let is_own = |entry: &Entry<Capture>| entry.value.condition == self.condition;
        if self.captures.iter().any(is_own) {
            let condition = self.condition;
            self.captures.retain(|entry| entry.value.condition == condition);
        }
        self.captures
    }
}

impl Store {
    /// Adds a stored file to a session as a capture under its newest condition. The first capture of a session in
    /// which nobody named a condition is taken "as found": nothing was changed before it that the session knows of. Where the first
    /// one was undone, that condition comes out of the bin again.
    ///
    /// # Errors
    /// As [`Store::add_capture`].
    pub fn bring_capture(&self, session: SessionId, stored: &Stored) -> Result<Entry<Capture>, Error> {
        let binned = self.binned_entries::<Condition>(session)?;
        let again = binned.iter().rfind(|entry| entry.value.title == AS_FOUND);
        let is_first = self.entries::<Condition>(session)?.is_empty()
            && (binned.is_empty() || again.is_some())
            && self.entries::<Capture>(session)?.is_empty();
        if !is_first {
            return self.add_capture(session, stored, None);
        }
        let id = self.act(session, "capture added", |act| {
            let condition = match again {
                Some(entry) => {
                    act.change(entry.id, |state| state.binned_ms = None)?;
                    entry.id
                }
                None => act.insert(&Condition {
                    title: AS_FOUND.to_owned(),
                    remark: String::new(),
                })?,
            };
            act.insert(&Capture::new(stored, Some(condition), &[]))
        })?;
        self.entry(session, id)
    }

    /// The session's captures by condition, those under none first, then in the order of the conditions; conditions
    /// without captures are left out.
    ///
    /// # Errors
    /// A body that this program can't read, or the disk's own.
    pub fn captures_by_condition(&self, session: SessionId) -> Result<Vec<Under>, Error> {
        let conditions = self.entries::<Condition>(session)?;
        let known = |id: &EntryId| conditions.iter().any(|condition| condition.id == *id);
        let mut all = vec![Under {
            condition: None,
            title: "no condition named".to_owned(),
            captures: Vec::new(),
        }];
        all.extend(conditions.iter().map(|entry| Under {
            condition: Some(entry.id),
            title: entry.value.title.clone(),
            captures: Vec::new(),
        }));
        for capture in self.entries::<Capture>(session)? {
            let condition = capture.value.condition.filter(known);
            if let Some(under) = all.iter_mut().find(|under| under.condition == condition) {
                under.captures.push(capture);
            }
        }
        all.retain(|under| !under.captures.is_empty());
        Ok(all)
    }
}

/// The condition whose captures are looked at, where that is not the newest one. It holds until another capture is
/// brought: then the newest is looked at again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct InHand {
    /// Null: the captures under no condition.
    pub condition: Option<EntryId>,
    /// A capture of the run to look at; null: the condition's newest run.
    #[serde(default)]
    pub run: Option<EntryId>,
    /// The newest capture of the session when it was said.
    pub capture: EntryId,
}

impl Kind for InHand {
    const KIND: &'static str = "condition-in-hand";
}

impl Store {
    /// Takes a condition in hand: its captures are what the session's answer rests on, until another is brought. `run`: a
    /// capture of the run to look at, where that is not the newest. Looking changes nothing of the session: it is nothing
    /// to undo.
    ///
    /// # Errors
    /// The condition has no capture, `run` is none of its captures, or the disk's own.
    pub fn take_in_hand(
        &self,
        session: SessionId,
        condition: Option<EntryId>,
        run: Option<EntryId>,
    ) -> Result<(), Error> {
        self.session(session)?;
        let own = self.captures_under(session, condition)?;
        if own.is_empty() {
            return Err(Error::Invalid("expected a condition with captures".to_owned()));
        }
        if run.is_some_and(|id| own.iter().all(|entry| entry.id != id)) {
            return Err(Error::Invalid(
                "expected, as run, a capture under that condition".to_owned(),
            ));
        }
        let newest = self.entries::<Capture>(session)?;
        let value = InHand {
            condition,
            run,
            capture: newest.iter().map(|entry| entry.id).max().unwrap_or(EntryId(0)),
        };
        if self.in_hand_now(session)?.as_ref() == Some(&value) {
            return Ok(());
        }
        let (body, now) = (to_json(&value), now_ms());
        let connection = self.connection();
        let changed = connection.execute(
            "UPDATE entry SET body = ?3, changed_ms = ?4, binned_ms = NULL WHERE kind = ?1 AND session = ?2",
            params![InHand::KIND, session.0, body, now],
        )?;
        if changed == 0 {
            connection.execute(
                "INSERT INTO entry (session, kind, position, body, created_ms, changed_ms)
                     VALUES (?1, ?2, 1, ?3, ?4, ?4)",
                params![session.0, InHand::KIND, body, now],
            )?;
        }
        Ok(())
    }

    fn in_hand_now(&self, session: SessionId) -> Result<Option<InHand>, Error> {
        Ok(self.entries::<InHand>(session)?.pop().map(|held| held.value))
    }

    /// What was taken in hand, as long as no capture came after it: `last` is the session's last.
    fn in_hand_since(&self, session: SessionId, last: Option<EntryId>) -> Result<Option<InHand>, Error> {
        let held = self.in_hand_now(session)?;
        Ok(held.filter(|held| Some(held.capture) == last))
    }

    /// A capture of the run that is looked at, where that is not the newest of the condition in hand.
    ///
    /// # Errors
    /// The disk's own.
    pub fn run_in_hand(&self, session: SessionId) -> Result<Option<EntryId>, Error> {
        let last = self
            .entries::<Capture>(session)?
            .iter()
            .map(|entry| entry.id)
            .max();
        let held = self.in_hand_since(session, last)?;
        let Some((run, condition)) = held.and_then(|held| Some((held.run?, held.condition))) else {
            return Ok(None);
        };
        let own = self.captures_under(session, condition)?;
        Ok(own.iter().any(|entry| entry.id == run).then_some(run))
    }

    /// The captures under one condition, in their order; under none, where there is not one, those under a condition that is
    /// in the bin.
    ///
    /// # Errors
    /// The disk's own.
    pub fn captures_under(
        &self,
        session: SessionId,
        condition: Option<EntryId>,
    ) -> Result<Vec<Entry<Capture>>, Error> {
        let all = self.captures_by_condition(session)?;
        let own = all.into_iter().find(|under| under.condition == condition);
        Ok(own.map(Under::own).unwrap_or_default())
    }

    /// The captures a session's answer rests on: those under the condition in hand, or under its newest condition
    /// that has any. Captures under no condition are the oldest. Earlier ones stay for comparing.
    ///
    /// # Errors
    /// A body that this program can't read, or the disk's own.
    pub fn present_captures(&self, session: SessionId) -> Result<Vec<Entry<Capture>>, Error> {
        let mut all = self.captures_by_condition(session)?;
        let last = all
            .iter()
            .flat_map(|under| &under.captures)
            .map(|entry| entry.id)
            .max();
        let held = self.in_hand_since(session, last)?;
        let at = held.and_then(|held| all.iter().position(|under| under.condition == held.condition));
        let at = at.or(all.len().checked_sub(1));
        Ok(at.map(|at| all.swap_remove(at).own()).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_evening;

    #[test]
    fn the_first_capture_is_taken_as_found() {
        let (_folder, store, id) = test_evening();
        let stored = |name: &str| store.store_from(name, name.as_bytes(), 100).unwrap();
        let first = store.bring_capture(id, &stored("a.vcd")).unwrap();
        let second = store.bring_capture(id, &stored("b.vcd")).unwrap();
        let by = store.captures_by_condition(id).unwrap();
        assert_eq!(by.len(), 1);
        assert_eq!(
            (by[0].title.as_str(), by[0].condition),
            (AS_FOUND, first.value.condition)
        );
        assert_eq!(by[0].captures, [first.clone(), second.clone()]);
        // One action each; with the condition gone the captures are still there.
        store.bin(id, by[0].condition.unwrap()).unwrap();
        let by = store.captures_by_condition(id).unwrap();
        assert_eq!((by.len(), by[0].condition, by[0].captures.len()), (1, None, 2));
        for _ in 0..3 {
            store.undo(id).unwrap().unwrap();
        }
        assert_eq!(store.captures_by_condition(id).unwrap(), []);
        assert_eq!(store.entries::<Condition>(id).unwrap(), []);
    }

    #[test]
    fn a_condition_in_hand_holds_until_another_capture_comes() {
        let (_folder, store, id) = test_evening();
        let bring = |name: &str| {
            let stored = store.store_from(name, name.as_bytes(), 100).unwrap();
            store.add_capture(id, &stored, None).unwrap()
        };
        let condition = |title: &str| {
            let condition = Condition {
                title: title.to_owned(),
                ..Condition::default()
            };
            store.add(id, &condition).unwrap().id
        };
        let first = condition("as found");
        let before = bring("a.vcd");
        condition("pull-up fitted");
        let after = bring("b.vcd");
        assert_eq!(store.present_captures(id).unwrap(), std::slice::from_ref(&after));
        let before_looking = (store.session(id).unwrap(), store.actions(id, 9).unwrap());
        store.take_in_hand(id, Some(first), None).unwrap();
        let looked = (store.session(id).unwrap(), store.actions(id, 9).unwrap());
        assert_eq!(looked, before_looking, "looking is nothing to undo");
        assert_eq!(store.present_captures(id).unwrap(), std::slice::from_ref(&before));
        assert!(store.take_in_hand(id, None, None).is_err());
        store.take_in_hand(id, Some(first), Some(before.id)).unwrap();
        assert_eq!(store.run_in_hand(id).unwrap(), Some(before.id));
        assert!(
            store.take_in_hand(id, Some(first), Some(after.id)).is_err(),
            "it is under another condition"
        );
        let newer = bring("c.vcd");
        assert!(store.present_captures(id).unwrap().contains(&newer));
        assert_eq!(store.run_in_hand(id).unwrap(), None);
    }
}
