//! Captures whose clock can be moved by hand, and what is sent to move one.

use serde::Serialize;

use crate::store::{Capture, Clock, Entry, EntryId, SessionId, Store};

use super::error::Failure;
use super::opened::Opened;

/// A capture of the shown run that was brought to the clock of the run's first.
#[derive(Clone, Debug, PartialEq, Serialize, utoipa::ToSchema)]
pub struct ClockView {
    pub capture: EntryId,
    pub file: String,
    /// The capture whose clock it was brought to.
    pub with: Option<EntryId>,
    /// Lines it was aligned on; empty: taken as recorded on one clock.
    pub on: Vec<String>,
    /// Added by hand so far.
    pub shift_s: f64,
    /// Length of its sample (or tick): the step by hand.
    pub sample_s: f64,
    /// Positions of its lines.
    pub lines: Vec<usize>,
}

/// The captures that can be moved, in their order.
///
/// # Errors
/// The disk's own.
pub fn movable(store: &Store, opened: &Opened) -> Result<Vec<ClockView>, Failure> {
    let present = &opened.captures;
    let clocks: Vec<Entry<Clock>> = store.entries(opened.id)?;
    let all = (0..present.len()).filter_map(|position| one(opened, present, &clocks, position));
    Ok(all.filter(|clock| !clock.lines.is_empty()).collect())
}

/// The capture at `position` among the present ones, without lines where its run is not shown; `None` where it is the
/// first of its run, or stands alone.
pub fn one(
    opened: &Opened,
    present: &[Entry<Capture>],
    clocks: &[Entry<Clock>],
    position: usize,
) -> Option<ClockView> {
    let placed = opened
        .clocks
        .iter()
        .find(|placed| placed.member.position == position)?;
    let of_run = opened.clocks.iter().filter(|other| other.run == placed.run);
    let first = of_run.map(|other| other.member.position).min()?;
    if first == position || placed.member.trouble.is_some() || placed.sample_s <= 0.0 {
        return None;
    }
    let entry = present.get(position)?;
    let told = clocks
        .iter()
        .map(|entry| &entry.value)
        .find(|clock| clock.capture == entry.id);
    let place = opened.place_in_run(position);
    let lines = opened.capture.lines.iter().enumerate();
    Some(ClockView {
        capture: entry.id,
        file: entry.value.file.clone(),
        with: told.map_or_else(|| present.get(first).map(|first| first.id), |clock| clock.with),
        on: told.map_or_else(|| placed.member.on.clone(), |clock| clock.on.clone()),
        shift_s: told.map_or(0.0, |clock| clock.shift_s),
        sample_s: placed.sample_s,
        lines: lines
            .filter(|(_, line)| placed.is_shown && line.capture == place)
            .map(|(index, _)| index)
            .collect(),
    })
}

/// What was done last in the session, where that was moving a clock: undoing takes it back.
///
/// # Errors
/// The disk's own.
pub fn last_move(store: &Store, id: SessionId) -> Result<Option<String>, Failure> {
    let last = store.actions(id, 20)?.into_iter().find(|action| !action.undone);
    Ok(last
        .map(|action| action.what)
        .filter(|what| what.starts_with("clock ")))
}
