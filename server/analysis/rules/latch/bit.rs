//! One bit of a latch, through the stretches of its enable.

use super::Held;
use crate::analysis::rules::edges::{common_span, is_blind, pulses_at};
use crate::analysis::rules::reach::{Reach, Stamp, Verdict};
use crate::analysis::rules::tally::{Tally, Violation};
use crate::model::{Capture, Level, Line, Ticks};

/// One output with its data and the enable. Times in ticks.
pub(super) struct Bit<'a> {
    q: &'a Line,
    d: &'a Line,
    e: &'a Line,
    /// Positions of output, enable and data: the evidence.
    place: [usize; 3],
    open_at: Level,
    settle: f64,
    /// How far an interval between two edges of these lines may be from the true one.
    doubt: f64,
}

/// The worst that one stretch showed.
struct Worst {
    verdict: Verdict,
    /// Between these the time is measured.
    from: Ticks,
    to: Ticks,
    /// When it went wrong.
    at: Ticks,
    what: String,
}

/// Takes up what is worse than all before it.
fn worsen(worst: &mut Option<Worst>, verdict: Verdict, next: impl FnOnce() -> Worst) {
    let before = worst.as_ref().map_or(Verdict::Kept, |worst| worst.verdict);
    if before.worse(verdict) != before {
        *worst = Some(next());
    }
}

/// Whether the worst of a stretch is a broken rule.
fn is_broken(worst: &Option<Worst>) -> bool {
    worst
        .as_ref()
        .is_some_and(|worst| worst.verdict == Verdict::Broken)
}

impl<'a> Bit<'a> {
    /// `lines`: positions of output, data and enable.
    pub(super) fn new(capture: &'a Capture, lines: [usize; 3], open_at: Level, settle: f64) -> Bit<'a> {
        let [q, d, e] = lines.map(|line| &capture.lines[line]);
        let stamps = [q, d, e].map(Stamp::of);
        Bit {
            q,
            d,
            e,
            place: [lines[0], lines[2], lines[1]],
            open_at,
            settle,
            doubt: stamps.iter().map(|s| s.early + s.late).fold(0.0, f64::max),
        }
    }

    /// Adds what all stretches show.
    pub(super) fn check(&self, tally: &mut Tally, held: &mut Held) {
        held.moved |= !self.q.edges.is_empty();
        if [self.q, self.d, self.e]
            .iter()
            .any(|line| line.first == Level::Unknown)
        {
            tally.not_judged += 1;
            return;
        }
        let span = common_span(&[self.q, self.d, self.e]);
        for level in [self.open_at, self.open_at.inverted()] {
            for (start, end) in pulses_at(self.e, level) {
                let (start, end) = (start.max(span.start), end.min(span.end));
                if end <= start || end.0 as f64 - self.doubt <= start.0 as f64 + self.settle {
                    held.too_short += u64::from(end > start);
                    continue;
                }
                if is_blind(&[self.q, self.d, self.e], start, Ticks(end.0 - 1)) {
                    tally.not_judged += 1;
                    continue;
                }
                let worst = match level == self.open_at {
                    true => self.open(start, end, held),
                    false => Some(self.shut(start, end, held)),
                };
                if let Some(worst) = worst {
                    self.tell(tally, worst);
                }
            }
        }
    }

    fn tell(&self, tally: &mut Tally, worst: Option<Worst>) {
        let verdict = worst.as_ref().map_or(Verdict::Kept, |worst| worst.verdict);
        tally.list(verdict, || {
            let worst = worst.expect("what is not kept has its worst");
            let reach = Reach::between(Stamp::of(self.e), Stamp::of(self.q));
            Violation {
                start: worst.from,
                end: worst.to,
                at: worst.at,
                lines: self.place.to_vec(),
                measured: Some(((worst.to - worst.from).0, reach)),
                what: Some(worst.what),
                side: None,
            }
        });
    }

    /// The enable is shut from `start` to `end`: the output moves no more, once it has had its settling time.
    fn shut(&self, start: Ticks, end: Ticks, held: &mut Held) -> Option<Worst> {
        let due = start.0 as f64 + self.settle;
        // Ends open: what moves with the enable's next edge is that edge's.
        let after = Ticks((due - self.doubt).floor() as i64 + 1);
        let edges = self.q.edges_within(after, end);
        held.shut += 1;
        self.follows(after, end, held);
        let kept = self.q.known_level_at(Ticks((due + self.doubt).ceil() as i64));
        let mut worst: Option<Worst> = None;
        let mut slips = Vec::new();
        for i in edges.clone() {
            let at = self.q.edges[i];
            let level = self.q.level_after(i);
            let is_sure = self.is_over(at.0 as f64 - due) && self.is_over((end - at).0 as f64);
            if level != kept && is_sure {
                slips.push((i, at, level));
            }
            let verdict = if is_sure {
                Verdict::Broken
            } else {
                Verdict::CantTell
            };
            worsen(&mut worst, verdict, || Worst {
                verdict,
                from: start,
                to: at,
                at,
                what: self.slip_words(at, level),
            });
        }
        if is_broken(&worst) {
            held.shut_wrong += 1;
            for (i, at, level) in slips {
                held.slips += 1;
                held.came_back += u64::from(i + 1 < edges.end);
                let doubt = self.doubt.ceil() as i64;
                let reach = self.settle.ceil() as i64 + doubt;
                let near = self.d.edges_within(Ticks(at.0 - reach), Ticks(at.0 + doubt + 1));
                let just_then = self.d.edges_within(Ticks(at.0 - doubt), Ticks(at.0 + doubt + 1));
                held.after_data += u64::from(!near.is_empty());
                match self.d.known_level_at(at) == level {
                    _ if !just_then.is_empty() => {}
                    true => held.to_data += 1,
                    false => held.to_other += 1,
                }
            }
        }
        worst
    }

    /// Whether an interval beyond an allowed end is surely there.
    fn is_over(&self, beyond: f64) -> bool {
        match self.doubt > 0.0 {
            true => beyond >= self.doubt,
            false => beyond > 0.0,
        }
    }

    /// Counts the data's changes in a shut stretch that an open latch would follow, and those that the output follows.
    fn follows(&self, from: Ticks, end: Ticks, held: &mut Held) {
        let time = (self.settle + self.doubt).ceil() as i64;
        for i in self.d.edges_within(from, end) {
            let at = self.d.edges[i];
            let next = self.d.edges.get(i + 1).copied().unwrap_or(Ticks::MAX).min(end);
            if next.0.saturating_sub(at.0) <= time {
                continue;
            }
            held.moves += 1;
            let moved = self
                .q
                .edges_within(Ticks(at.0 - self.doubt.ceil() as i64), Ticks(at.0 + time + 1));
            let is_same = self.q.known_level_at(Ticks(at.0 + time)) == self.d.level_after(i);
            held.followed += u64::from(is_same && !moved.is_empty());
        }
    }

    /// The enable is open from `start` to `end`: `None` where the data never rested for long enough.
    fn open(&self, start: Ticks, end: Ticks, held: &mut Held) -> Option<Option<Worst>> {
        let mut worst: Option<Worst> = None;
        let mut judged = false;
        let changes = self.d.edges_within(Ticks(start.0 + 1), end);
        let changes = &self.d.edges[changes];
        let starts = std::iter::once(start).chain(changes.iter().copied());
        let ends = changes.iter().copied().chain([end]);
        for (from, until) in starts.zip(ends) {
            let due = from.0 as f64 + self.settle;
            if until.0 as f64 - self.doubt <= due {
                continue;
            }
            judged = true;
            let wanted = self.d.known_level_at(from);
            // The output's own stretches.
            let edges = self.q.edges_within(Ticks(from.0 + 1), until);
            let edges = &self.q.edges[edges];
            let mut level = self.q.known_level_at(from);
            let parts = std::iter::once(from).chain(edges.iter().copied());
            let part_ends = edges.iter().copied().chain([until]);
            for (part, part_end) in parts.zip(part_ends) {
                let may_be_due = part_end.0 as f64 + self.doubt > due;
                if level != wanted && may_be_due {
                    let is_sure = self.is_over(part_end.0 as f64 - due)
                        && (part == from || self.is_over((until - part).0 as f64));
                    let verdict = if is_sure {
                        Verdict::Broken
                    } else {
                        Verdict::CantTell
                    };
                    worsen(&mut worst, verdict, || Worst {
                        verdict,
                        from,
                        to: part_end,
                        at: part,
                        what: self.open_words(wanted, part == from && part_end == until),
                    });
                }
                level = level.inverted();
            }
        }
        if !judged {
            held.too_short += 1;
            return None;
        }
        held.open += 1;
        held.open_wrong += u64::from(is_broken(&worst));
        Some(worst)
    }

    fn slip_words(&self, at: Ticks, level: Level) -> String {
        format!(
            "{} went {} after {} had shut it; {} was {} then",
            self.q.name,
            level.word(),
            self.e.name,
            self.d.name,
            self.d.known_level_at(at).word()
        )
    }

    fn open_words(&self, wanted: Level, throughout: bool) -> String {
        let (q, e, d) = (&self.q.name, &self.e.name, &self.d.name);
        let (wanted, open) = (wanted.word(), self.open_at.word());
        match throughout {
            true => format!("{q} did not follow {d}, which was {wanted}, while {e} was {open}"),
            false => format!("{q} was not {wanted} as {d} was for a while, while {e} was {open}"),
        }
    }
}
