//! Pulses that a person judged: legitimate, or a stray, whatever their width says.

use serde::{Deserialize, Serialize};

use super::log::not_empty;
use super::{Capture, Entry, EntryId, Error, Kind, SessionId, Store};

/// A pulse judged by a person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PulseMark {
    /// The capture it is in.
    pub capture: EntryId,
    /// The line's name in that capture's file.
    pub line: String,
    /// When it starts, in seconds on the file's own clock.
    pub start_s: f64,
    /// True: a stray. False: legitimate.
    pub stray: bool,
}

impl Kind for PulseMark {
    const KIND: &'static str = "pulse-mark";

    fn check(&self) -> Result<(), Error> {
        if !self.start_s.is_finite() {
            return Err(Error::Invalid(
                "expected the start of a pulse in seconds".to_owned(),
            ));
        }
        not_empty(&self.line, "the name of a line")
    }
}

impl Store {
    /// Judges a pulse: one entry for each pulse. `within_s`: starts this near are the same pulse's.
    ///
    /// # Errors
    /// The capture is not in the session, a value that can't be kept, or the disk's own.
    pub fn mark_pulse(
        &self,
        session: SessionId,
        mark: &PulseMark,
        within_s: f64,
    ) -> Result<Entry<PulseMark>, Error> {
        self.entry::<Capture>(session, mark.capture)?;
        let is_same = |held: &PulseMark| {
            held.capture == mark.capture
                && held.line == mark.line
                && (held.start_s - mark.start_s).abs() <= within_s
        };
        let held = self.entries::<PulseMark>(session)?;
        match held.iter().find(|held| is_same(&held.value)) {
            Some(held) => self.edit(session, held.id, mark),
            None => self.add(session, mark),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_evening;

    #[test]
    fn a_pulse_is_judged_once_and_that_can_be_undone() {
        let (_folder, store, id) = test_evening();
        let stored = store.store_from("a.vcd", &b"bytes"[..], 100).unwrap();
        let mut mark = PulseMark {
            capture: store.add_capture(id, &stored, None).unwrap().id,
            line: "CLEAR_N".to_owned(),
            start_s: 1.25e-3,
            stray: true,
        };
        store.mark_pulse(id, &mark, 1e-9).unwrap();
        mark.stray = false;
        store.mark_pulse(id, &mark, 1e-9).unwrap();
        let held = |store: &Store| -> Vec<bool> {
            let entries = store.entries::<PulseMark>(id).unwrap();
            entries.iter().map(|entry| entry.value.stray).collect()
        };
        assert_eq!(held(&store), [false]);
        store.undo(id).unwrap();
        assert_eq!(held(&store), [true]);
        store.undo(id).unwrap();
        assert!(held(&store).is_empty());
        mark.start_s = f64::NAN;
        assert!(store.mark_pulse(id, &mark, 1e-9).is_err());
        mark.start_s = 0.0;
        mark.capture = EntryId(999);
        assert!(store.mark_pulse(id, &mark, 1e-9).is_err());
    }
}
