//! A line that must stay at a level from some time before another's edge to some time after it: each side has its own limit.

use super::super::edges::{Edges, is_blind, pulses_at};
use super::super::reach::{Reach, Verdict};
use super::super::tally::{Limits, Margins, Side, SideTally, Tally, Violation};
use super::Part;
use crate::model::{Level, Line, Ticks};

/// An excursion: a stretch, start to end, in which the line is not at its level.
type Excursion = (Ticks, Ticks);

/// What is asked of one line around another's edges. Times in ticks.
struct Asked<'a> {
    part: &'a Part<'a>,
    level: Level,
    lines: [&'a Line; 2],
    place: [usize; 2],
    before: f64,
    after: f64,
    /// How far an interval between the two may be from the true one.
    reach: Reach,
    doubt: f64,
    /// How much earlier and later than its stamp a strobe may have been.
    early: f64,
    late: f64,
}

/// The line must be at `level` from `before` before to `after` after each strobe. Cost: strobes, and the excursions near each.
pub(super) fn stay(
    part: &Part,
    level: Level,
    strobe: &Part,
    strobes: &Edges,
    (before, after): (f64, f64),
    limits: Limits,
) -> Tally {
    let finest = strobe.line.sample_ticks.max(part.line.sample_ticks);
    let mut tally = Tally::new(limits, finest);
    // One scale for both sides: that of the longer limit.
    let longer = Limits {
        at_least: Some(before.max(after)),
        at_most: None,
    };
    tally.margins = Margins::new(&longer, finest);
    let sides = [(Side::Before, before), (Side::After, after)];
    let declared = sides.into_iter().filter(|(_, limit)| *limit > 0.0);
    tally.sides = declared
        .map(|(side, limit)| SideTally::new(side, limit, finest))
        .collect();
    let (line, at) = (part.stamp, strobe.stamp);
    let asked = Asked {
        part,
        level,
        lines: [part.line, strobe.line],
        place: [part.index, strobe.index],
        before,
        after,
        reach: Reach::between(line, at),
        doubt: line.early + line.late + at.early + at.late,
        early: at.early,
        late: at.late,
    };
    let off: Vec<Excursion> = pulses_at(part.line, level.inverted()).collect();
    let mut first = 0;
    for time in strobes.iter() {
        // An excursion surely over before the window of this strobe matters to no later one either.
        let is_over = |end: Ticks| end.0 as f64 + line.late + at.early <= time.0 as f64 - before;
        while off.get(first).is_some_and(|(_, end)| is_over(*end)) {
            first += 1;
        }
        asked.judge(&off, first, time, &mut tally);
    }
    tally
}

impl Asked<'_> {
    /// Judges the strobe at `time`; excursions before position `first` are over by then.
    fn judge(&self, off: &[Excursion], first: usize, time: Ticks, tally: &mut Tally) {
        let t = time.0 as f64;
        let window = ((t - self.before).floor() as i64, (t + self.after).ceil() as i64);
        let span = self.part.line.span;
        let recorded = span.start.0 <= window.0 && window.1 <= span.end.0;
        if self.part.line.first == Level::Unknown
            || is_blind(&self.lines, Ticks(window.0), Ticks(window.1))
            || !recorded
        {
            tally.not_judged += 1;
            return;
        }
        // What is nearest on each side.
        let mut gaps: [Option<i64>; 2] = [first.checked_sub(1).map(|last| (time - off[last].1).0), None];
        let mut verdicts = [Verdict::Kept; 2];
        let mut shown: Option<Excursion> = None;
        for excursion in &off[first..] {
            let (side, distance) = side_of(excursion, time);
            let here: &[usize] = match side {
                Side::Before => &[0],
                Side::At => &[0, 1],
                Side::After => &[1],
            };
            for &i in here {
                gaps[i] = Some(gaps[i].map_or(distance, |gap| gap.min(distance)));
            }
            if excursion.0.0 as f64 - self.part.stamp.early >= t + self.late + self.after {
                break;
            }
            let one = self.verdict(excursion, t);
            let worst = verdicts[0].worse(verdicts[1]);
            for &i in here {
                verdicts[i] = verdicts[i].worse(one);
            }
            if one != Verdict::Kept && worst.worse(one) != worst {
                shown = Some(*excursion);
            }
        }
        for side in &mut tally.sides {
            let i = usize::from(side.side == Side::After);
            side.count(verdicts[i], gaps[i]);
        }
        // The side that leaves the least margin; where it is broken, that side.
        let margins = gaps
            .iter()
            .zip([self.before, self.after])
            .filter_map(|(gap, limit)| gap.map(|gap| (gap, gap as f64 - limit)));
        let nearest = match &shown {
            Some(excursion) => {
                let (side, distance) = side_of(excursion, time);
                Some((distance, distance as f64 - self.limit(side)))
            }
            None => margins.min_by(|a, b| a.1.total_cmp(&b.1)),
        };
        if let Some((measured, margin)) = nearest {
            tally.spread(measured, margin);
        }
        let verdict = verdicts[0].worse(verdicts[1]);
        tally.list(verdict, || {
            let excursion = shown.unwrap_or((time, time));
            self.violation(&excursion, time)
        });
    }

    /// The limit on one side; as the strobe comes, the longer one.
    fn limit(&self, side: Side) -> f64 {
        match side {
            Side::Before => self.before,
            Side::At => self.before.max(self.after),
            Side::After => self.after,
        }
    }

    /// Whether an excursion lies in the window of a strobe at `t`.
    fn verdict(&self, excursion: &Excursion, t: f64) -> Verdict {
        let (start, end) = (excursion.0.0 as f64, excursion.1.0 as f64);
        let line = self.part.stamp;
        // The latest start against the earliest end of the window, and the other way round.
        let starts_surely = surely_less(start + line.late, t - self.early + self.after, self.doubt);
        let ends_surely = surely_less(t + self.late - self.before, end - line.early, self.doubt);
        if starts_surely && ends_surely {
            Verdict::Broken
        } else if end + line.late > t - self.early - self.before {
            Verdict::CantTell
        } else {
            Verdict::Kept
        }
    }

    /// The evidence: from the strobe's edge to the limit that was broken.
    fn violation(&self, excursion: &Excursion, time: Ticks) -> Violation {
        let (side, distance) = side_of(excursion, time);
        let (name, word) = (&self.part.line.name, self.level.inverted().word());
        let what = match side {
            Side::After => format!("{name} went {word} soon after the edge"),
            Side::Before => format!("{name} was {word} shortly before the edge"),
            Side::At => format!("{name} was {word} at the edge"),
        };
        let (before, after) = (self.before.ceil() as i64, self.after.ceil() as i64);
        let (start, end) = match side {
            Side::Before => (time.0 - before, time.0),
            Side::At => (time.0 - before, time.0 + after),
            Side::After => (time.0, time.0 + after),
        };
        Violation {
            start: Ticks(start),
            end: Ticks(end),
            at: excursion.0,
            lines: self.place.to_vec(),
            measured: Some((distance, self.reach)),
            what: Some(what),
            side: Some((side, self.limit(side))),
        }
    }
}

/// On which side of a strobe an excursion is, and how far from it.
fn side_of(excursion: &Excursion, time: Ticks) -> (Side, i64) {
    let (start, end) = *excursion;
    if start > time {
        (Side::After, (start - time).0)
    } else if end <= time {
        (Side::Before, (time - end).0)
    } else {
        (Side::At, 0)
    }
}

/// Whether a < b for all true values, given the closest they can be; where there is any doubt, the ends are open.
fn surely_less(a: f64, b: f64, doubt: f64) -> bool {
    if doubt > 0.0 { a <= b } else { a < b }
}
