//! Which pulses the notes on short and whole pulses are about, so that they can be looked at one by one.

use super::{doubts, only_short, sent, unsure};
use crate::analysis::coupling::legitimate::own::Own;
use crate::analysis::coupling::{Attribution, EARLIEST_LAG_S, Edge, LONGEST_LAG_S};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Pulse};

/// What is held of the pulses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// Strays or the line's job.
    Open,
    /// Another line's whole pulses: by a gate, or because the two touch.
    Whole,
    /// Taken for the line's job.
    Job,
}

impl Held {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Held::Open => "open",
            Held::Whole => "whole-pulses",
            Held::Job => "job",
        }
    }
}

/// Pulses of one line and level that a finding is about.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The finding's title: findings of these kinds have different ones.
    pub title: String,
    pub held: Held,
    pub line: usize,
    pub level: Level,
    /// A line and edge that they follow.
    pub follows: Option<(usize, Edge)>,
    /// By start.
    pub pulses: Vec<DoubtedPulse>,
}

/// One of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DoubtedPulse {
    pub pulse: Pulse,
    /// Start minus the edge that it follows, in ticks; none where it follows none.
    pub lag: Option<i64>,
}

/// The pulses of all doubts, those of open ones first. Cost: linear in the pulses of their lines, times the log of the edges
/// that they follow.
pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<Doubt> {
    let titles = unsure::titles(capture, strays, attribution);
    let open = attribution.unsure.iter().zip(titles).map(|(u, title)| {
        let [least, _, most] = u.crowd.widths;
        let asked = Asked {
            title,
            held: if u.whole { Held::Whole } else { Held::Open },
            of: (u.crowd.line, u.crowd.level),
            follows: u.follows.map(|(to, edge, ..)| (to, edge)),
            lags: None,
        };
        asked.pulses(capture, strays, &|width| (least..=most).contains(&width))
    });
    let answers = attribution.answers.iter().map(|a| {
        let asked = Asked {
            title: doubts::answers(capture, a).title,
            held: Held::Job,
            of: (a.line, a.level),
            follows: Some((a.to, a.edge)),
            lags: None,
        };
        asked.pulses(capture, strays, &|width| (width as f64) < a.limit)
    });
    let own = attribution.own.iter().map(|o| Doubt {
        title: doubts::own(capture, strays, o).title,
        ..own(capture, strays, o)
    });
    let short = only_short::all(capture, strays, attribution);
    let title = only_short::title(capture, &short);
    let is_unsure = |line: usize, level: Level| {
        attribution
            .unsure
            .iter()
            .any(|u| (u.crowd.line, u.crowd.level) == (line, level))
    };
    let short = short
        .iter()
        .filter(|one| !is_unsure(one.line, one.level))
        .map(|one| {
            let asked = Asked {
                title: title.clone(),
                held: Held::Open,
                of: (one.line, one.level),
                follows: one.follows.first().map(|&(to, edge, ..)| (to, edge)),
                lags: None,
            };
            let (least, most) = one.widths;
            asked.pulses(capture, strays, &|width| (least..=most).contains(&width))
        });
    let sent = attribution.sent.iter().map(|s| {
        let asked = Asked {
            title: sent::finding(capture, s).title,
            held: Held::Job,
            of: (s.line, s.level),
            follows: None,
            lags: None,
        };
        asked.pulses(capture, strays, &|width| (width as f64) < s.limit)
    });
    open.chain(short).chain(answers).chain(own).chain(sent).collect()
}

/// Short pulses that begin as their line's long ones do, without those that are strays all the same; the title is left out.
pub(super) fn own(capture: &Capture, strays: &Strays, o: &Own) -> Doubt {
    let asked = Asked {
        title: String::new(),
        held: Held::Job,
        of: (o.line, o.level),
        follows: Some((o.to, o.edge)),
        lags: Some(o.lags),
    };
    let mut doubt = asked.pulses(capture, strays, &|width| (width as f64) < o.limit);
    let of_line = strays.of_line(o.line);
    doubt
        .pulses
        .retain(|p| of_line.binary_search_by_key(&p.pulse.start, |s| s.start).is_err());
    doubt
}

struct Asked {
    title: String,
    held: Held,
    of: (usize, Level),
    follows: Option<(usize, Edge)>,
    /// Only pulses with these lags (both ends closed, ticks).
    lags: Option<(i64, i64)>,
}

impl Asked {
    fn pulses(self, capture: &Capture, strays: &Strays, has_width: &dyn Fn(i64) -> bool) -> Doubt {
        let (line, level) = self.of;
        let wanted = capture.lines[line].pulses().filter(|p| p.level == level);
        let doubted = wanted
            .filter(|p| has_width(p.width().0))
            .map(|pulse| DoubtedPulse {
                pulse,
                lag: self
                    .follows
                    .and_then(|to| lag(capture, strays, line, to, self.lags, &pulse)),
            });
        let is_within = |p: &DoubtedPulse| match (self.lags, p.lag) {
            (Some((least, most)), Some(lag)) => (least..=most).contains(&lag),
            (lags, _) => lags.is_none(),
        };
        Doubt {
            title: self.title,
            held: self.held,
            line,
            level,
            follows: self.follows,
            pulses: doubted.filter(is_within).collect(),
        }
    }
}

/// How long after the last edge that may bring it a pulse begins: no earlier and no later than a coupling may act, or than
/// the last of `lags`.
fn lag(
    capture: &Capture,
    strays: &Strays,
    line: usize,
    (to, edge): (usize, Edge),
    lags: Option<(i64, i64)>,
    pulse: &Pulse,
) -> Option<i64> {
    let samples = strays.sampling[line] + strays.sampling[to];
    let early = (capture.timebase.ticks_of(EARLIEST_LAG_S) + samples).ceil() as i64;
    let late = (capture.timebase.ticks_of(LONGEST_LAG_S) + samples).ceil() as i64;
    let late = late.max(lags.map_or(0, |(_, most)| most));
    let of = &capture.lines[to];
    let until = of.edges.partition_point(|e| e.0 <= pulse.start.0 + early);
    let near = (0..until)
        .rev()
        .take_while(|&at| of.edges[at].0 >= pulse.start.0 - late);
    let mut lags = near
        .filter(|&at| edge == Edge::Both || edge == of.polarity(at).into())
        .map(|at| pulse.start.0 - of.edges[at].0);
    // An edge before the pulse is likelier its cause than one just after its start.
    let nearest = lags.next()?;
    Some(if nearest < 0 {
        lags.next().unwrap_or(nearest)
    } else {
        nearest
    })
}
