//! What was said of a capture's clock, channels and reading; the file itself is never changed.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Capture, EntryId, Error, Kind, SessionId, Store, as_typed};

/// How the clock of one capture is brought to that of another.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Clock {
    pub capture: EntryId,
    /// The capture whose clock it is brought to; null: a run of its own, compared with others but never laid over
    /// them.
    pub with: Option<EntryId>,
    /// Lines both recorded: `LINE`, or `LINE=LINE_HERE` where they are called otherwise. Empty: recorded on one clock.
    #[serde(default)]
    pub on: Vec<String>,
    /// Added by hand to every time of this capture.
    #[serde(default)]
    pub shift_s: f64,
}

/// Largest shift by hand, in seconds: a day.
const MOST_SHIFT_S: f64 = 86_400.0;
/// Lines to align on, at most.
const MOST_LINES: usize = 32;

impl Kind for Clock {
    const KIND: &'static str = "clock";

    fn check(&self) -> Result<(), Error> {
        if self.shift_s.is_nan() || self.shift_s.abs() > MOST_SHIFT_S {
            let message = format!(
                "expected a shift of at most {MOST_SHIFT_S} s either way, found {}",
                as_typed(self.shift_s)
            );
            return Err(Error::Invalid(message));
        }
        if self.on.len() > MOST_LINES || self.on.iter().any(|line| line.trim().is_empty()) {
            let message = format!("expected up to {MOST_LINES} names of lines that both captures have");
            return Err(Error::Invalid(message));
        }
        if self.with == Some(self.capture) {
            let message = "expected another capture to bring the clock to, found the same one";
            return Err(Error::Invalid(message.to_owned()));
        }
        Ok(())
    }
}

/// How late each channel of one instrument is, by the name that its captures give the channel, in seconds: taken off
/// every capture of that instrument, and of no other, though a shared line is called the same in both.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ChannelSkews {
    /// The capture it was measured from: one edge fed to all probes.
    pub capture: Option<EntryId>,
    /// The instrument, as its captures name it; empty: that of all captures of which nobody said one.
    #[serde(default)]
    pub instrument: String,
    pub late_s: BTreeMap<String, f64>,
}

impl Kind for ChannelSkews {
    const KIND: &'static str = "skew";

    fn check(&self) -> Result<(), Error> {
        match self
            .late_s
            .iter()
            .find(|(_, late)| late.is_nan() || late.abs() > 1.0)
        {
            Some((line, late)) => Err(Error::Invalid(format!(
                "expected the skew of {line} in seconds, at most 1 either way, found {}",
                as_typed(*late)
            ))),
            None => Ok(()),
        }
    }
}

/// How one capture is read, where the file leaves it open or tells it wrongly: what a person said of its columns, by
/// field (see `workflow::reading::sheet_text`), checked before it comes here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ReadingSheet {
    pub capture: EntryId,
    pub fields: BTreeMap<String, String>,
}

impl Kind for ReadingSheet {
    const KIND: &'static str = "reading-sheet";
}

impl Store {
    /// Sets how a capture's clock is brought to another's: one entry for each capture.
    ///
    /// # Errors
    /// Either capture is not in the session, the value can't be kept, or the disk's own.
    pub fn set_clock(&self, session: SessionId, clock: &Clock) -> Result<(), Error> {
        self.entry::<Capture>(session, clock.capture)?;
        if let Some(with) = clock.with {
            self.entry::<Capture>(session, with)?;
        }
        self.set_once(session, clock, |held| held.capture == clock.capture)?;
        Ok(())
    }

    /// Sets the channel skews of an instrument: one entry for each.
    ///
    /// # Errors
    /// A value that can't be kept, or the disk's own.
    pub fn set_skews(&self, session: SessionId, skews: &ChannelSkews) -> Result<(), Error> {
        self.set_once(session, skews, |held| held.instrument == skews.instrument)?;
        Ok(())
    }

    /// Sets how a capture is read: one entry for each capture.
    ///
    /// # Errors
    /// The capture is not in the session, or the disk's own.
    pub fn set_reading(&self, session: SessionId, sheet: &ReadingSheet) -> Result<(), Error> {
        self.entry::<Capture>(session, sheet.capture)?;
        self.set_once(session, sheet, |held| held.capture == sheet.capture)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_evening;

    #[test]
    fn a_clock_is_said_once_for_a_capture_and_can_be_undone() {
        let (_folder, store, id) = test_evening();
        let mut captures = ["a.vcd", "b.csv"].map(|name| {
            let stored = store.store_from(name, name.as_bytes(), 100).unwrap();
            store.add_capture(id, &stored, None).unwrap().id
        });
        let mut clock = Clock {
            capture: captures[1],
            with: Some(captures[0]),
            on: vec!["NOTE".to_owned()],
            shift_s: 0.0,
        };
        store.set_clock(id, &clock).unwrap();
        clock.shift_s = 2e-8;
        store.set_clock(id, &clock).unwrap();
        let held = |store: &Store| store.entries::<Clock>(id).unwrap().remove(0).value;
        assert_eq!(held(&store), clock);
        store.undo(id).unwrap();
        assert_eq!(held(&store).shift_s, 0.0);
        clock.shift_s = f64::NAN;
        assert!(store.set_clock(id, &clock).is_err());
        captures.swap(0, 1);
        clock.capture = captures[1];
        clock.shift_s = 0.0;
        assert!(
            store
                .set_clock(id, &clock)
                .unwrap_err()
                .to_string()
                .contains("another capture")
        );
    }
}
