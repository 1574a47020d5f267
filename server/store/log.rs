//! The kinds of things a session holds.

use serde::{Deserialize, Serialize};

use super::{Digest, EntryId, Error, Kind, SessionId, Store, Stored};
use crate::store::Entry;

/// A state of the machine under which captures are taken: "as found", "pull-up fitted on CLEAR_N".
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct Condition {
    pub title: String,
    pub remark: String,
}

impl Kind for Condition {
    const KIND: &'static str = "condition";

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.title, "a name for the condition, such as \"as found\"")
    }
}

/// A capture: a file that was brought, under a condition.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Capture {
    /// The file's name as the person gave it.
    pub file: String,
    #[schema(value_type = String)]
    pub digest: Digest,
    pub size_bytes: u64,
    #[serde(default)]
    pub condition: Option<EntryId>,
    #[serde(default)]
    pub remark: String,
    /// The instrument that recorded it, in the person's words; channel skews belong to one. Empty: nobody said, and all
    /// such captures are taken for one instrument's.
    #[serde(default)]
    pub instrument: String,
}

impl Capture {
    /// A stored file as a capture under `condition`. It is taken for the instrument of the newest of the `held`
    /// captures whose name ends alike: instruments differ in what they export.
    pub(super) fn new(stored: &Stored, condition: Option<EntryId>, held: &[Entry<Capture>]) -> Capture {
        let ending = |name: &str| {
            name.split_once('.')
                .map(|(_, ending)| ending.to_ascii_lowercase())
        };
        let alike = held
            .iter()
            .rev()
            .find(|entry| ending(&entry.value.file) == ending(&stored.name));
        Capture {
            file: stored.name.clone(),
            digest: stored.digest.clone(),
            size_bytes: stored.size_bytes,
            condition,
            remark: String::new(),
            instrument: alike
                .map(|entry| entry.value.instrument.clone())
                .unwrap_or_default(),
        }
    }
}

impl Kind for Capture {
    const KIND: &'static str = "capture";

    fn digest(&self) -> Option<&Digest> {
        Some(&self.digest)
    }

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.file, "the capture's file name")
    }
}

impl Store {
    /// Adds a stored file to a session as a capture, under `condition`, or under the session's newest condition
    /// when that is `None` and there is one. The same file under the same condition is not added twice: the
    /// capture that is there is given back, and where it came under another name now, a remark says so.
    ///
    /// # Errors
    /// No such session or condition, or the disk's own.
    pub fn add_capture(
        &self,
        session: SessionId,
        stored: &Stored,
        condition: Option<EntryId>,
    ) -> Result<Entry<Capture>, Error> {
        let condition = match condition {
            Some(id) => {
                let held = self.entry::<Condition>(session, id)?;
                if held.binned_ms.is_some() {
                    return Err(Error::Invalid(in_the_bin(&held.value.title)));
                }
                Some(held.id)
            }
            None => self.entries::<Condition>(session)?.last().map(|entry| entry.id),
        };
        let held = self.entries::<Capture>(session)?;
        let same = |held: &Capture| held.digest == stored.digest && held.condition == condition;
        if let Some(entry) = held.iter().find(|entry| same(&entry.value)) {
            if entry.value.file != stored.name {
                self.remark_same_file(session, &stored.name, &entry.value.file)?;
            }
            return Ok(entry.clone());
        }
        self.add(session, &Capture::new(stored, condition, &held))
    }

    fn remark_same_file(&self, session: SessionId, name: &str, held: &str) -> Result<(), Error> {
        let remark = Remark {
            text: format!("{name} was brought: it holds the same bytes as {held}, so nothing was added."),
            at_ms: None,
        };
        if !self
            .entries::<Remark>(session)?
            .iter()
            .any(|entry| entry.value == remark)
        {
            self.add(session, &remark)?;
        }
        Ok(())
    }
}

/// Why nothing is put under the condition called `title`.
pub fn in_the_bin(title: &str) -> String {
    format!(
        "expected a condition that is in use, found \"{title}\", which is in the bin: take it out on the bench log, or choose \
         another"
    )
}

/// Something seen or done, in words.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct Remark {
    pub text: String,
    /// When it was seen, if that was not when it was written down.
    pub at_ms: Option<i64>,
}

impl Kind for Remark {
    const KIND: &'static str = "remark";

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.text, "a remark")
    }
}

/// A reading by meter.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct Reading {
    /// What was measured: "+5 V".
    pub rail: String,
    /// What it should read, signed, in `unit`.
    pub nominal: Option<f64>,
    /// What it read, signed, in `unit`. There is none unless it is said: nought is a reading too.
    #[serde(default = "not_said")]
    pub reading: f64,
    /// `V` unless said otherwise.
    pub unit: String,
    /// Where the probes were: "striker driver, J1-1 to J1-2".
    pub place: String,
    pub condition: Option<EntryId>,
    pub at_ms: Option<i64>,
    pub remark: String,
}

impl Reading {
    /// How far off the nominal, in percent of its size; null without a nominal, or with a nominal of 0.
    pub fn off_percent(&self) -> Option<f64> {
        let nominal = self.nominal.filter(|n| *n != 0.0)?;
        Some((self.reading - nominal) / nominal.abs() * 100.0)
    }

    /// The same for a table; how many times the nominal it is where that is so much that a unit may be wrong. Empty where
    /// it is not known.
    pub fn off_words(&self) -> String {
        /// From here on it is told in times.
        const FAR_PERCENT: f64 = 1000.0;
        let Some((nominal, off)) = self.nominal.zip(self.off_percent()) else {
            return String::new();
        };
        let words = match off.abs() < FAR_PERCENT {
            true => format!("{off:+.1} %"),
            false => {
                let times = as_typed((self.reading / nominal).round());
                format!("{times} times the nominal: is the unit right?")
            }
        };
        words.replace('-', "−")
    }

    /// Refuses what no meter of a bench shows, where it is typed; what an archive holds from before stays readable.
    ///
    /// # Errors
    /// [`Error::Invalid`]: more than [`MOST_POTENTIAL_V`], in whichever unit of volts.
    pub fn check_typed(&self) -> Result<(), Error> {
        let unit = self.unit.trim();
        let volts = match unit {
            "" | "V" => 1.0,
            "mV" => 1e-3,
            "µV" | "μV" | "uV" => 1e-6,
            "kV" => 1e3,
            _ => return Ok(()),
        };
        let unit = if unit.is_empty() { "V" } else { unit };
        for (what, value) in [("nominal", self.nominal), ("reading", Some(self.reading))] {
            if let Some(value) = value.filter(|value| (value * volts).abs() > MOST_POTENTIAL_V) {
                return Err(Error::Invalid(format!(
                    "{what}: found {} {unit}, expected what a meter of a bench can show, {} {unit} at most either way: is the \
                     decimal point right, and the unit?",
                    as_typed(value),
                    as_typed(MOST_POTENTIAL_V / volts)
                )));
            }
        }
        Ok(())
    }

    /// Whether the sign is not the nominal's: a swapped or reversed rail.
    pub fn has_wrong_sign(&self) -> bool {
        self.nominal.is_some_and(|nominal| nominal * self.reading < 0.0)
    }
}

/// A meter of a bench ends at a kilovolt, with a probe for high tension at some tens of them. No source.
const MOST_POTENTIAL_V: f64 = 1e5;

/// No meter of a bench shows more, in whichever unit.
const MOST_READING: f64 = 1e9;

/// A number as somebody would type it: a power of ten where its digits fill a line.
pub fn as_typed(value: f64) -> String {
    match value == 0.0 || (1e-6..1e12).contains(&value.abs()) {
        true => value.to_string(),
        false => format!("{value:e}"),
    }
}

fn not_said() -> f64 {
    f64::NAN
}

impl Kind for Reading {
    const KIND: &'static str = "reading";

    fn check(&self) -> Result<(), Error> {
        not_empty(
            &self.rail,
            "the name of the rail that was measured, such as \"+5 V\"",
        )?;
        let numbers = [Some(self.reading), self.nominal];
        if numbers.into_iter().flatten().any(|n| !n.is_finite()) {
            return Err(Error::Invalid(
                "expected the reading as a number, such as -11.8".to_owned(),
            ));
        }
        if let Some(far) = numbers.into_iter().flatten().find(|n| n.abs() > MOST_READING) {
            return Err(Error::Invalid(format!(
                "expected what a meter can show, at most {MOST_READING:.0} either way, found {}: is the unit right?",
                as_typed(far)
            )));
        }
        Ok(())
    }
}

/// What the person holds of a finding.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    #[default]
    Open,
    Suspected,
    Confirmed,
    Fixed,
    NotAFault,
}

impl Verdict {
    /// The words of the page.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Open => "open",
            Verdict::Suspected => "suspected",
            Verdict::Confirmed => "confirmed",
            Verdict::Fixed => "fixed",
            Verdict::NotAFault => "not a fault",
        }
    }
}

/// The state of a finding, and what the person found to be its cause.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct FindingState {
    /// Names the finding from one answer to the next: see `report::inspect::Finding::key`.
    pub finding: String,
    /// The finding's title when the state was last set, to be readable in a year.
    pub title: String,
    pub state: Verdict,
    /// Who caused it: a line, a part, a joint, in the person's words.
    pub cause: String,
    pub remark: String,
}

impl Kind for FindingState {
    const KIND: &'static str = "finding-state";

    fn check(&self) -> Result<(), Error> {
        not_empty(&self.finding, "the finding's key")
    }
}

/// The harness sheet of a session, as CSV text that was checked before it came here.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct HarnessSheet {
    pub csv: String,
}

impl Kind for HarnessSheet {
    const KIND: &'static str = "harness";
}

/// Where the clips were in one capture, as CSV text that was checked before it came here.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ClipList {
    pub capture: EntryId,
    pub csv: String,
}

impl Kind for ClipList {
    const KIND: &'static str = "clips";
}

impl Store {
    /// Sets the harness sheet: one entry for each session.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn set_harness(&self, session: SessionId, sheet: &HarnessSheet) -> Result<(), Error> {
        self.set_once(session, sheet, |_| true)?;
        Ok(())
    }

    /// Sets where the clips were in one capture: one entry for each capture.
    ///
    /// # Errors
    /// The capture is not in the session, or the disk's own.
    pub fn set_clips(&self, session: SessionId, clips: &ClipList) -> Result<(), Error> {
        self.entry::<Capture>(session, clips.capture)?;
        self.set_once(session, clips, |held| held.capture == clips.capture)?;
        Ok(())
    }

    /// Sets the state of a finding: one entry for each finding of a session.
    ///
    /// # Errors
    /// A state that can't be kept, no such session, or the disk's own.
    pub fn set_finding_state(
        &self,
        session: SessionId,
        state: &FindingState,
    ) -> Result<Entry<FindingState>, Error> {
        self.set_once(session, state, |held| held.finding == state.finding)
    }
}

/// Refuses blank text; `what` says what was expected.
pub(super) fn not_empty(text: &str, what: &str) -> Result<(), Error> {
    if text.trim().is_empty() {
        return Err(Error::Invalid(format!("expected {what}, found nothing")));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_evening;

    #[test]
    fn captures_go_under_the_newest_condition_once() {
        let (_folder, store, id) = test_evening();
        let stored = store.store_from("a.vcd", &b"bytes"[..], 100).unwrap();
        let first = store.add_capture(id, &stored, None).unwrap();
        assert_eq!(first.value.condition, None);
        assert_eq!(store.add_capture(id, &stored, None).unwrap(), first);
        let condition = Condition {
            title: "as found".to_owned(),
            ..Condition::default()
        };
        let condition = store.add(id, &condition).unwrap();
        let second = store.add_capture(id, &stored, None).unwrap();
        assert_eq!(second.value.condition, Some(condition.id));
        assert_eq!(store.present_captures(id).unwrap(), [second]);
        store.bin(id, condition.id).unwrap();
        assert_eq!(store.present_captures(id).unwrap(), [first]);
        let refused = store.add_capture(id, &stored, Some(condition.id)).unwrap_err();
        assert!(
            refused.to_string().contains("\"as found\", which is in the bin"),
            "{refused}"
        );
        store.restore(id, condition.id).unwrap();
        assert_eq!(store.sessions(false).unwrap()[0].captures, 2);
        assert!(store.add_capture(id, &stored, Some(EntryId(99))).is_err());
        let unknown = Stored {
            digest: Digest::of(b"never stored"),
            ..stored
        };
        assert!(matches!(
            store.add_capture(id, &unknown, None),
            Err(Error::NotFound { .. })
        ));
    }

    #[test]
    fn a_finding_has_one_state() {
        let (_folder, store, id) = test_evening();
        let mut state = FindingState {
            finding: "coupling CLEAR_N STEP".to_owned(),
            state: Verdict::Suspected,
            ..FindingState::default()
        };
        store.set_finding_state(id, &state).unwrap();
        state.state = Verdict::Confirmed;
        state.cause = "STEP, through the ribbon".to_owned();
        store.set_finding_state(id, &state).unwrap();
        let held = store.entries::<FindingState>(id).unwrap();
        assert_eq!(held.iter().map(|held| &held.value).collect::<Vec<_>>(), [&state]);
        store.undo(id).unwrap();
        assert_eq!(
            store.entries::<FindingState>(id).unwrap()[0].value.state,
            Verdict::Suspected
        );
        assert_eq!(
            serde_json::to_string(&Verdict::NotAFault).unwrap(),
            "\"not-a-fault\""
        );
    }

    #[test]
    fn readings_know_how_far_off_they_are() {
        let reading = |nominal, reading| Reading {
            rail: "rail".to_owned(),
            nominal,
            reading,
            ..Reading::default()
        };
        assert_eq!(reading(Some(-12.0), -11.4).off_percent().unwrap().round(), 5.0);
        assert!(reading(Some(-12.0), 12.0).has_wrong_sign());
        assert!(!reading(Some(-12.0), -12.0).has_wrong_sign());
        assert_eq!(reading(None, 5.0).off_percent(), None);
        assert!(reading(None, f64::NAN).check().is_err());
        assert!(Reading::default().check().is_err());
        let words = |nominal, read| reading(Some(nominal), read).off_words();
        assert_eq!(words(-12.0, -11.4), "+5.0 %");
        assert_eq!(words(5.0, 4870.0), "974 times the nominal: is the unit right?");
        assert_eq!(
            words(-12.0, -12_000.0),
            "1000 times the nominal: is the unit right?"
        );
        let far = |nominal, reading, unit: &str| {
            let reading = Reading {
                rail: "VEE".to_owned(),
                nominal,
                reading,
                unit: unit.to_owned(),
                ..Reading::default()
            };
            reading.check_typed().err().map(|error| error.to_string())
        };
        let told = "reading: found 99999999 V, expected what a meter of a bench can show, 100000 V at most either way: is the \
                    decimal point right, and the unit?";
        assert_eq!(far(Some(-12.0), 99_999_999.0, ""), Some(told.to_owned()));
        assert!(far(Some(-2e5), -12.0, "V").unwrap().starts_with("nominal: "));
        assert!(far(None, 101.0, "kV").unwrap().contains("100 kV at most"));
        assert_eq!(far(Some(5.0), 4870.0, ""), None);
        assert_eq!(far(None, 2.2e6, "Ω"), None);
        let told = reading(None, 9e99).check().unwrap_err().to_string();
        assert!(
            told.contains("at most 1000000000 either way, found 9e99"),
            "{told}"
        );
    }
}
