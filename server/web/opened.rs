//! A session that is open: its captures on one clock, its report, and what the diagram needs to be quick.

use std::sync::OnceLock;

use crate::model::{Capture, Ticks};
use crate::report::inspect::InspectReport;
use crate::store::{Capture as Brought, Entry, EntryId, SessionId};

use super::occurrences::Occurrence;
use super::window::LineIndex;
use crate::workflow::condition_runs::{Placed, RunFound};
use crate::workflow::unreadable::Unreadable;

/// Everything the pages and the diagram show of one session; never changed, only replaced.
pub struct Opened {
    pub id: SessionId,
    pub title: String,
    /// All captures of the session on the first one's clock.
    pub capture: Capture,
    pub report: InspectReport,
    /// One for each of `capture.lines`, in their order.
    pub lines: Vec<OpenLine>,
    /// Names what the report rests on: a session that was changed since has another.
    pub key: String,
    /// What it was read from, in their order: all under one condition.
    pub captures: Vec<Entry<Brought>>,
    /// That condition; `None`: none, or one that is in the bin.
    pub condition: Option<EntryId>,
    /// A capture of the run it shows; `None`: the newest run.
    pub run: Option<EntryId>,
    /// For each finding of the report, the moments it rests on; worked out when first asked for, see
    /// [`super::occurrences`].
    pub(super) evidence: OnceLock<Vec<Vec<Occurrence>>>,
    /// How each present capture came to its run's clock.
    pub clocks: Vec<Placed>,
    /// Present captures that can't be read; a finding tells of each, in this order.
    pub unreadable: Vec<Unreadable>,
    /// The runs under the condition, the newest last; empty where there is one.
    pub runs: Vec<RunFound>,
}

/// What is kept in memory for one line.
#[derive(Default)]
pub struct OpenLine {
    pub index: LineIndex,
    /// Ascending by start.
    pub strays: Vec<StrayMark>,
}

/// A stray of the report, placed on the capture's ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StrayMark {
    pub start: Ticks,
    pub end: Ticks,
    /// Position in [`InspectReport::strays`].
    pub row: u32,
}

impl Opened {
    /// Cost: all strays are sorted; of lines without kept landmarks one edge in 128 is touched.
    pub fn new(id: SessionId, title: String, capture: Capture, report: InspectReport, key: String) -> Opened {
        let mut lines: Vec<OpenLine> = capture
            .lines
            .iter()
            .map(|line| OpenLine {
                index: LineIndex::of(line),
                strays: Vec::new(),
            })
            .collect();
        let positions: std::collections::HashMap<&str, usize> = capture
            .lines
            .iter()
            .enumerate()
            .map(|(i, line)| (line.name.as_str(), i))
            .collect();
        for (row, stray) in report.strays.iter().enumerate() {
            let Some(&line) = positions.get(stray.line.as_str()) else {
                continue;
            };
            let start = capture.timebase.nearest(stray.start_s);
            let end = capture.timebase.nearest(stray.start_s + stray.width_s);
            lines[line].strays.push(StrayMark {
                start,
                end,
                row: row as u32,
            });
        }
        for line in &mut lines {
            line.strays.sort_by_key(|mark| mark.start);
        }
        Opened {
            id,
            title,
            capture,
            report,
            lines,
            key,
            captures: Vec::new(),
            condition: None,
            run: None,
            evidence: OnceLock::new(),
            clocks: Vec::new(),
            unreadable: Vec::new(),
            runs: Vec::new(),
        }
    }

    /// Which of the shown run's captures that at `position` among the present ones is; that of the run's first where
    /// it is not of the run.
    pub fn place_in_run(&self, position: usize) -> usize {
        let of_run = self.clocks.iter().filter(|placed| placed.is_shown);
        of_run
            .map(|placed| placed.member.position)
            .position(|other| other == position)
            .unwrap_or(0)
    }

    /// First recorded moment: the diagram counts its ticks from here.
    pub fn origin(&self) -> Ticks {
        self.capture.span.start
    }

    /// A moment in seconds on the session's clock, as ticks from [`Opened::origin`].
    pub fn ticks_at(&self, seconds: f64) -> i64 {
        self.capture
            .timebase
            .nearest(seconds)
            .0
            .saturating_sub(self.origin().0)
    }

    /// Ticks from the first to the last recorded moment.
    pub fn length(&self) -> i64 {
        self.capture.span.end.0.saturating_sub(self.origin().0)
    }
}
