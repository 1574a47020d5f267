//! A session's captures as the store has them → read, on their runs' clocks, as was said of them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::analysis::align::channel_skews;
use crate::ingest::Progress;
use crate::model::Capture;
use crate::report::compare::Tallies;
use crate::setup::Setup;
use crate::store::{
    Capture as Brought, ChannelSkews, Clock, Condition, Entry, EntryId, Error, PulseMark, Reading,
    ReadingSheet, Session, SessionId, Store, report_key,
};

use super::compare::{Counted, tallies};
use super::earlier::Told;
use super::marks::{self, JudgedPulse};
use super::read::read_options;
use super::reading::sheet_text;
use super::runs::{Habit, Run, Tie, runs};
use super::stored::read_stored;
use super::unreadable::{AllRead, NotRead, Unreadable};

/// Captures of a session and all that their reading rests on.
pub struct Held {
    pub captures: Vec<Entry<Brought>>,
    pub conditions: Vec<Entry<Condition>>,
    pub setup: String,
    /// A capture of the run that is looked at; `None`: the newest run.
    pub run: Option<EntryId>,
    /// The session's when all this was read: what was said later is not in it.
    pub changed_ms: i64,
    clocks: Vec<Entry<Clock>>,
    /// All captures of the session: what was said of others than those looked at may hold for these.
    every: Vec<Entry<Brought>>,
    skews: Vec<Entry<ChannelSkews>>,
    sheets: Vec<Entry<ReadingSheet>>,
    marks: Vec<Entry<PulseMark>>,
    readings: Vec<Entry<Reading>>,
    /// What is kept of the conditions before the captures' own.
    earlier: Vec<Told>,
}

impl Held {
    /// The captures that the session's answer rests on.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn present(store: &Store, session: SessionId) -> Result<Held, Error> {
        let changed_ms = store.session(session)?.changed_ms;
        let captures = store.present_captures(session)?;
        let mut held = Held::these(store, session, captures)?;
        held.run = store.run_in_hand(session)?;
        held.changed_ms = changed_ms;
        Ok(held)
    }

    /// The captures under one condition, and which of its runs is looked at; `None`: the newest.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn under(
        store: &Store,
        session: SessionId,
        condition: Option<EntryId>,
        run: Option<EntryId>,
    ) -> Result<Held, Error> {
        let changed_ms = store.session(session)?.changed_ms;
        let captures = store.captures_under(session, condition)?;
        let mut held = Held::these(store, session, captures)?;
        held.run = run;
        held.changed_ms = changed_ms;
        Ok(held)
    }

    /// The captures given, all under one condition of the session.
    ///
    /// # Errors
    /// As [`Held::present`].
    pub fn these(store: &Store, session: SessionId, captures: Vec<Entry<Brought>>) -> Result<Held, Error> {
        let mut held = Held::of(store, session, captures)?;
        for condition in held.conditions_before() {
            let kept = store.latest_report(session, &told_scope(condition))?;
            // What an older program kept in another shape is told again when the condition is looked at.
            let told = kept.and_then(|text| serde_json::from_str::<Told>(&text).ok());
            held.earlier.extend(told.filter(|told| !told.limits.is_empty()));
        }
        Ok(held)
    }

    /// What is kept of the earlier conditions, in their order, as far as it tells what is narrow.
    pub fn earlier(&self) -> &[Told] {
        &self.earlier
    }

    /// The conditions before the captures' own that have captures, in their order.
    pub fn conditions_before(&self) -> Vec<Option<EntryId>> {
        let known = |id: &EntryId| self.conditions.iter().any(|entry| entry.id == *id);
        let own = self.condition();
        let ids = self.conditions.iter().map(|entry| Some(entry.id));
        let all = std::iter::once(None).chain(ids);
        let has_captures = |condition: &Option<EntryId>| {
            let mut every = self.every.iter();
            every.any(|entry| entry.value.condition.filter(known) == *condition)
        };
        all.take_while(|condition| *condition != own)
            .filter(has_captures)
            .collect()
    }

    /// The condition of the captures, as far as it is not in the bin.
    pub fn condition(&self) -> Option<EntryId> {
        let condition = self.captures.first()?.value.condition;
        condition.filter(|id| self.conditions.iter().any(|entry| entry.id == *id))
    }

    /// All captures of the session.
    ///
    /// # Errors
    /// As [`Held::present`].
    pub fn all(store: &Store, session: SessionId) -> Result<Held, Error> {
        let captures = store.entries(session)?;
        Held::of(store, session, captures)
    }

    fn of(store: &Store, session: SessionId, captures: Vec<Entry<Brought>>) -> Result<Held, Error> {
        let Session { body, changed_ms, .. } = store.session(session)?;
        Ok(Held {
            captures,
            conditions: store.entries(session)?,
            setup: body.setup,
            run: None,
            changed_ms,
            clocks: store.entries(session)?,
            every: store.entries(session)?,
            skews: store.entries(session)?,
            sheets: store.entries(session)?,
            marks: store.entries(session)?,
            readings: store.entries(session)?,
            earlier: Vec::new(),
        })
    }

    /// Names everything an answer over these captures rests on, and which of their runs it is of.
    pub fn key(&self) -> String {
        let all = self.key_of(&self.captures);
        self.run.map_or(all.clone(), |run| format!("{all} run {run}"))
    }

    /// Names everything that what is found in some of the captures rests on.
    pub(super) fn key_of(&self, captures: &[Entry<Brought>]) -> String {
        let here = |id: EntryId| captures.iter().any(|entry| entry.id == id);
        let clocks: Vec<&Clock> = self
            .clocks
            .iter()
            .map(|c| &c.value)
            .filter(|c| here(c.capture))
            .collect();
        let sheets: Vec<&ReadingSheet> = self
            .sheets
            .iter()
            .map(|s| &s.value)
            .filter(|s| here(s.capture))
            .collect();
        let skews: Vec<&ChannelSkews> = self.skews.iter().map(|s| &s.value).collect();
        let own = |entry: &Entry<Brought>| (entry.id.0, entry.value.instrument.clone());
        let own: Vec<(i64, String)> = captures.iter().map(own).collect();
        let marks: Vec<&PulseMark> = self
            .marks
            .iter()
            .map(|m| &m.value)
            .filter(|m| here(m.capture))
            .collect();
        let readings: Vec<&Reading> = self.readings().collect();
        let habits: Vec<_> = captures
            .iter()
            .flat_map(|entry| self.habits(entry))
            .map(|habit| (habit.on, habit.files))
            .collect();
        let said = serde_json::json!([clocks, sheets, skews, own, marks, readings, habits, self.earlier])
            .to_string();
        report_key(captures, &[&self.setup, &said])
    }

    /// The setup that one capture is read with: the session's, and over it what was said on its reading sheet.
    ///
    /// # Errors
    /// A sentence: the sheet's text is not right.
    fn setup_of(&self, capture: EntryId, setup: &Setup) -> Result<Setup, String> {
        match self.sheets.iter().find(|sheet| sheet.value.capture == capture) {
            None => Ok(setup.clone()),
            Some(sheet) => with_sheet(setup, &sheet_text(&sheet.value.fields)?),
        }
    }

    /// Meter readings under the captures' conditions, or under none.
    pub fn readings(&self) -> impl Iterator<Item = &Reading> {
        let is_here = |reading: &&Reading| {
            let of = |entry: &Entry<Brought>| entry.value.condition == reading.condition;
            reading.condition.is_none() || self.captures.iter().any(of)
        };
        self.readings.iter().map(|entry| &entry.value).filter(is_here)
    }

    /// What was said of the clock of each capture, in their order.
    pub fn ties(&self) -> Vec<Tie> {
        let position = |id: EntryId| self.captures.iter().position(|entry| entry.id == id);
        let tie = |entry: &Entry<Brought>| {
            let Some(clock) = self.clocks.iter().find(|clock| clock.value.capture == entry.id) else {
                let habits = self.habits(entry);
                return match habits.is_empty() {
                    true => Tie::Nothing,
                    false => Tie::As(habits),
                };
            };
            match (clock.value.with, clock.value.with.and_then(position)) {
                (None, _) => Tie::Own,
                (_, Some(with)) => Tie::With {
                    with,
                    on: clock.value.on.clone(),
                    shift_s: clock.value.shift_s,
                },
                // That capture is in the bin, or of another condition.
                _ => Tie::Nothing,
            }
        };
        self.captures.iter().map(tie).collect()
    }

    /// What a person said of the clocks of other captures, which may hold for this one of which nobody said anything: the newest
    /// word first, each line once.
    fn habits(&self, entry: &Entry<Brought>) -> Vec<Habit> {
        if self.clocks.iter().any(|clock| clock.value.capture == entry.id) {
            return Vec::new();
        }
        let known = |id: EntryId| self.every.iter().find(|other| other.id == id);
        let position = |id: EntryId| self.captures.iter().position(|other| other.id == id);
        let mut habits: Vec<Habit> = Vec::new();
        for Clock {
            capture, with, on, ..
        } in self.clocks.iter().rev().map(|clock| &clock.value)
        {
            let (Some(with), Some(brought)) = (with.and_then(known), known(*capture)) else {
                continue;
            };
            let pair = [with, brought];
            // Where both were named, it is another instrument that has neither name.
            let names = pair.map(|other| other.value.instrument.as_str());
            let own = entry.value.instrument.as_str();
            let is_of_them =
                own.is_empty() || names.iter().any(|name| name.is_empty()) || names.contains(&own);
            let is_new = habits.iter().all(|habit| habit.on != *on);
            if on.is_empty() || !is_of_them || !is_new || with.id == entry.id {
                continue;
            }
            let [with_at, brought_at] = pair.map(|other| position(other.id));
            habits.push(Habit {
                on: on.clone(),
                files: pair.map(|other| other.value.file.clone()),
                pair: with_at.zip(brought_at).map(|(with, brought)| [with, brought]),
            });
        }
        habits
    }

    /// Channel skews of the instrument that recorded the capture at `index`, by line name, in seconds.
    pub(super) fn late_s(&self, index: usize) -> BTreeMap<String, f64> {
        let instrument = &self.captures[index].value.instrument;
        let own = self
            .skews
            .iter()
            .rfind(|skews| skews.value.instrument == *instrument);
        own.map(|skews| skews.value.late_s.clone()).unwrap_or_default()
    }

    /// Reads capture number `index` from its original.
    ///
    /// # Errors
    /// A sentence for the person, and whether it is the capture's own fault.
    pub fn read(
        &self,
        store: &Store,
        index: usize,
        setup: &Setup,
        progress: &dyn Progress,
    ) -> Result<Capture, NotRead> {
        let entry = &self.captures[index];
        let setup = self.setup_of(entry.id, setup).map_err(NotRead::AsItIs)?;
        let (digest, file) = (&entry.value.digest, &entry.value.file);
        let mut capture = read_stored(store, digest, file, &read_options(&setup), progress)?;
        marks::put_on_as_set_up(&mut capture, &setup);
        let marks = self.marks.iter().map(|mark| &mark.value);
        let marks = marks
            .filter(|mark| mark.capture == entry.id)
            .map(|mark| JudgedPulse {
                line: &mark.line,
                start_s: mark.start_s,
                stray: mark.stray,
            });
        marks::put_on(&mut capture, marks);
        Ok(capture)
    }
}

/// What a reading sheet says, over a setup.
///
/// # Errors
/// A sentence: the sheet's text is not right.
pub fn with_sheet(setup: &Setup, sheet: &str) -> Result<Setup, String> {
    let said = Setup::parse(sheet, "the reading sheet").map_err(|error| error.to_string())?;
    let mut setup = setup.clone();
    for (name, line) in said.lines {
        let held = setup.lines.entry(name).or_default();
        held.thresholds = line.thresholds.or(held.thresholds.take());
    }
    let (read, own) = (&mut setup.read, said.read);
    read.timescale_s = own.timescale_s.or(read.timescale_s);
    read.time_unit_s = own.time_unit_s.or(read.time_unit_s);
    read.sample_period_s = own.sample_period_s.or(read.sample_period_s);
    read.delimiter = own.delimiter.or(read.delimiter);
    read.decimal = own.decimal.or(read.decimal);
    read.form = own.form.or(read.form);
    read.family = own.family.or(read.family.take());
    read.columns.extend(own.columns);
    read.rename.extend(own.rename);
    if !own.names.is_empty() {
        read.names = own.names;
    }
    Ok(setup)
}

/// Scope under which is kept what the runs under one condition tell of their lines to later ones.
pub fn told_scope(condition: Option<EntryId>) -> String {
    condition.map_or_else(|| "told under none".to_owned(), |id| format!("told under {id}"))
}

/// What [`tally_all`] found, as it is kept.
#[derive(Clone, Debug, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RunTallies {
    /// One for each of the tallies' runs.
    pub runs: Vec<RunOf>,
    pub tallies: Tallies,
    /// Captures that can't be read, and so are not counted.
    #[serde(default)]
    pub unreadable: Vec<Unreadable>,
}

/// Which captures a run of a session holds, and under which condition it was taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RunOf {
    pub condition: Option<EntryId>,
    pub captures: Vec<EntryId>,
    /// Why its only capture stands alone.
    pub trouble: Option<String>,
}

/// All runs of a session, condition by condition in their order, and what every trouble came to in each. `read`:
/// the captures of `held`.
pub fn tally_all(held: &Held, read: AllRead, setup: &Setup) -> RunTallies {
    let mut by_condition: Vec<Option<EntryId>> = vec![None];
    by_condition.extend(held.conditions.iter().map(|entry| Some(entry.id)));
    let known = |condition: Option<EntryId>| condition.filter(|id| by_condition.contains(&Some(*id)));
    let ties = held.ties();
    let mut captures = read.captures;
    let (mut places, mut counted) = (Vec::new(), Vec::new());
    for &condition in &by_condition {
        let here: Vec<usize> = (0..held.captures.len())
            .filter(|&i| captures[i].is_some() && known(held.captures[i].value.condition) == condition)
            .collect();
        let own: Vec<Capture> = here.iter().filter_map(|&i| captures[i].take()).collect();
        let own_ties: Vec<Tie> = here.iter().map(|&i| within(&ties[i], &here)).collect();
        let late: Vec<BTreeMap<String, f64>> = here.iter().map(|&i| held.late_s(i)).collect();
        for run in runs(own, &own_ties, &late) {
            let Run {
                members,
                capture,
                sources,
                findings,
                ..
            } = run;
            places.push(RunOf {
                condition,
                captures: members
                    .iter()
                    .map(|m| held.captures[here[m.position]].id)
                    .collect(),
                trouble: members.first().and_then(|m| m.trouble.clone()),
            });
            counted.push(Counted {
                capture,
                sources,
                findings,
            });
        }
    }
    RunTallies {
        runs: places,
        tallies: tallies(counted, setup),
        unreadable: read.unreadable,
    }
}

/// A tie by positions among all captures, as one among those at `here`.
pub(super) fn within(tie: &Tie, here: &[usize]) -> Tie {
    match tie {
        Tie::With { with, on, shift_s } => match here.iter().position(|i| i == with) {
            Some(with) => Tie::With {
                with,
                on: on.clone(),
                shift_s: *shift_s,
            },
            None => Tie::Nothing,
        },
        Tie::As(habits) => {
            let at = |position: usize| here.iter().position(|i| *i == position);
            let within = |habit: &Habit| Habit {
                pair: habit
                    .pair
                    .and_then(|[with, brought]| Some([at(with)?, at(brought)?])),
                ..habit.clone()
            };
            Tie::As(habits.iter().map(within).collect())
        }
        other => other.clone(),
    }
}

/// How late one channel is, with its standard error, in seconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Late {
    pub line: String,
    pub late_s: f64,
    pub se_s: f64,
    /// Edges that were compared.
    pub edges: usize,
}

/// The skew of each channel from a capture of one edge fed to all probes, as the file has it.
///
/// # Errors
/// A sentence for the person: it can't be read, or its channels show different edges.
pub fn measure_skews(store: &Store, held: &Held, capture: EntryId) -> Result<Vec<Late>, String> {
    let index = held
        .captures
        .iter()
        .position(|entry| entry.id == capture)
        .ok_or_else(|| format!("there is no capture {capture} in this session"))?;
    let setup = Setup::parse(&held.setup, "the session's setup").map_err(|error| error.to_string())?;
    let read = held
        .read(store, index, &setup, &())
        .map_err(|error| error.to_string())?;
    let skews = channel_skews(&read)?;
    let late = |skew: crate::analysis::align::ChannelSkew| Late {
        line: read.lines[skew.line].name.clone(),
        late_s: skew.late_s,
        se_s: skew.se_s,
        edges: skew.edges,
    };
    Ok(skews.into_iter().map(late).collect())
}
