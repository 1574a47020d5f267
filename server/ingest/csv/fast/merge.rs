//! What the blocks said, in the order of the file → the builders of the table.

use std::io;

use super::super::clock::{Clock, Step};
use super::super::table::Table;
use super::Parsed;
use crate::ingest::build::Value;

/// The parsed blocks, taken in the order of the file.
pub struct Merge {
    /// Lines that are fed by a column of levels; positions in the table.
    pub lines: Vec<usize>,
    /// Ticks from row to row.
    pub sub: i64,
    /// Of the latest row, bit `i` for `lines[i]`.
    pub levels: u64,
    /// First and last time, in ticks.
    pub start: Option<i64>,
    pub end: i64,
    /// The rows do not keep the pace: the table is read anew.
    pub unfit: bool,
    pub cancelled: bool,
}

impl Merge {
    /// The rows of a block at a fixed pace.
    pub fn take(&mut self, parsed: Parsed, table: &mut Table, clock: &mut Clock) -> io::Result<bool> {
        if parsed.unfit {
            self.unfit = true;
            return Ok(false);
        }
        // Row and tick of the latest anchor.
        let mut anchor = (0u32, 0i64);
        let mut samples_from = 0u32;
        for entry in &parsed.entries {
            let (tick, gap) = if !entry.anchor {
                (anchor.1 + i64::from(entry.row - anchor.0) * self.sub, false)
            } else {
                if entry.row > 0 {
                    clock.pass(i64::from(entry.row - anchor.0) - 1);
                }
                match clock.step(entry.time) {
                    Step::At(tick) => (tick, false),
                    // Volts are not filled up without end: the general path gives them up.
                    Step::Gap(..) if !table.volts.is_empty() && clock.missing > table.gap_samples => {
                        self.unfit = true;
                        return Ok(false);
                    }
                    Step::Gap(from, to) => {
                        self.samples(table, &parsed, samples_from, entry.row, anchor)?;
                        samples_from = entry.row;
                        for &line in &self.lines {
                            table.lines[line].set(from, Value::Unrecorded)?;
                        }
                        for volts in &mut table.volts {
                            volts.gap(from, ((to - from) / self.sub) as u64)?;
                        }
                        (to, true)
                    }
                    _ => {
                        self.unfit = true;
                        return Ok(false);
                    }
                }
            };
            if entry.anchor {
                if entry.row > samples_from {
                    self.samples(table, &parsed, samples_from, entry.row, anchor)?;
                    samples_from = entry.row;
                }
                anchor = (entry.row, tick);
            }
            if self.start.is_none() {
                self.start = Some(tick);
                table.lines.iter_mut().for_each(|l| l.begin(tick));
                table.volts.iter_mut().for_each(|v| v.begin(tick));
                self.set_all(table, tick, entry.levels)?;
            } else if gap {
                self.set_all(table, tick, entry.levels)?;
            } else {
                let mut changed = entry.levels ^ self.levels;
                while changed != 0 {
                    let bit = changed.trailing_zeros() as usize;
                    changed &= changed - 1;
                    table.lines[self.lines[bit]].toggle(tick)?;
                }
            }
            self.levels = entry.levels;
            self.end = tick;
        }
        if parsed.rows > 0 {
            self.samples(table, &parsed, samples_from, parsed.rows, anchor)?;
            self.end = anchor.1 + i64::from(parsed.rows - 1 - anchor.0) * self.sub;
            clock.pass(i64::from(parsed.rows - 1 - anchor.0));
            clock.arrived(parsed.last_time);
        }
        Ok(true)
    }

    /// The rows of a block without a fixed pace.
    pub fn take_changes(&mut self, parsed: Parsed, table: &mut Table, clock: &mut Clock) -> io::Result<bool> {
        let mut ticks = parsed.times;
        if parsed.unfit || !clock.steps(&mut ticks) {
            self.unfit = true;
            return Ok(false);
        }
        let mut rows = ticks.iter().copied().zip(parsed.levels);
        if self.start.is_none()
            && let Some((tick, levels)) = rows.next()
        {
            self.start = Some(tick);
            table.lines.iter_mut().for_each(|l| l.begin(tick));
            self.set_all(table, tick, levels)?;
            self.levels = levels;
        }
        for (tick, levels) in rows {
            let mut changed = levels ^ self.levels;
            self.levels = levels;
            while changed != 0 {
                let bit = changed.trailing_zeros() as usize;
                changed &= changed - 1;
                table.lines[self.lines[bit]].toggle(tick)?;
            }
        }
        self.end = ticks.last().copied().unwrap_or(self.end);
        Ok(true)
    }

    fn set_all(&mut self, table: &mut Table, tick: i64, levels: u64) -> io::Result<()> {
        for (bit, &line) in self.lines.iter().enumerate() {
            let value = if levels >> bit & 1 == 1 {
                Value::High
            } else {
                Value::Low
            };
            table.lines[line].set(tick, value)?;
            table.lines[line].settle_pending()?;
        }
        Ok(())
    }

    fn samples(
        &self,
        table: &mut Table,
        parsed: &Parsed,
        from: u32,
        to: u32,
        anchor: (u32, i64),
    ) -> io::Result<()> {
        for (volts, column) in table.volts.iter_mut().zip(&parsed.volts) {
            let first = anchor.1 + (i64::from(from) - i64::from(anchor.0)) * self.sub;
            volts.push_run(first, self.sub, &column[from as usize..to as usize])?;
        }
        Ok(())
    }
}
