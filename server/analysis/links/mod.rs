//! Links: does what leaves here arrive there?
//!
//! Pulses sent and arrived are matched one to one in order, with the delay of each polarity and its spread taken
//! from the data. What is left over is missing (sent, never arrived) or extra (arrived, never sent); a single
//! odd edge is a pulse stretched or shortened. A far end whose matches are no more than chance, or which another
//! line explains far better, is dead, and the signal is looked for elsewhere.
//!
//! | file | what it holds |
//! | --- | --- |
//! | `train` | the edges of one line with polarities |
//! | `delay` | where the differences far − sent pile up |
//! | `matching` | one-to-one pairs in order, and what the others are |
//! | `elsewhere` | the signal on another line; what the far end follows; proposals; swapped and reversed bits |
//! | `sentences` | findings |

mod delay;
mod elsewhere;
mod matching;
mod sentences;
mod train;

#[cfg(test)]
mod tests;

use crate::model::{Capture, Level, Line, Polarity, StretchKind, Ticks};

use super::stats::intervals::median_of_sorted;
use delay::Cluster;
use matching::{Matching, Windows, match_trains};
use train::Train;

pub use elsewhere::{Crossing, Proposal, crossings, expand, propose};
pub use sentences::{findings, proposed};

/// A link to check. Lines are positions in [`Capture::lines`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkOptions {
    pub from: usize,
    pub to: usize,
    /// The longest delay that still counts as arrived; [`DEFAULT_MAX_DELAY_S`] when not given.
    pub max_delay: Option<Ticks>,
    /// The far end is meant to be upside down.
    pub inverted: bool,
}

/// Longest delay of a link for which none was declared: far beyond a cable and a few gates, far below the
/// pulses of a sequencer. Common practice, no source.
pub const DEFAULT_MAX_DELAY_S: f64 = 1e-6;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Intact,
    Lossy,
    Dead,
    Inverted,
    Noisy,
    LossyNoisy,
}

impl Verdict {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Intact => "intact",
            Verdict::Lossy => "lossy",
            Verdict::Dead => "dead",
            Verdict::Inverted => "inverted",
            Verdict::Noisy => "noisy",
            Verdict::LossyNoisy => "lossy-noisy",
        }
    }
}

/// A length of time in ticks: median with its 95 % interval, or smallest and largest below six values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delay {
    pub median: f64,
    pub low: f64,
    pub high: f64,
}

/// A pulse at one end, in ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EndPulse {
    pub start: Ticks,
    pub end: Ticks,
    pub level: Level,
}

/// A pulse that arrived wider or narrower than it left, beyond what the others do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Distorted {
    pub sent: EndPulse,
    pub arrived: EndPulse,
}

/// A sent pulse whose start arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    pub sent: EndPulse,
    /// Where its start showed at the far end, as recorded there.
    pub start: Ticks,
    /// In ticks, the bias of half a sample at each end taken out.
    pub delay: f64,
}

/// Another line that carries the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BetterMatch {
    pub line: usize,
    pub arrived: usize,
    /// Median delay in ticks.
    pub delay: f64,
    pub inverted: bool,
}

/// What the far end does when it does not carry the signal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FarEnd {
    /// It carries the signal, perhaps with losses.
    Carries,
    /// It never moved.
    Stuck(Level),
    /// It floated most of the time.
    Floating,
    /// Another line's edges explain it.
    Follows { line: usize, inverted: bool },
    /// The signal comes, but later than allowed: the median delay in ticks.
    Late(f64),
    /// It moves, and nothing captured explains it.
    Unexplained,
}

/// The outcome for one link. Times are ticks of the capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Link {
    pub from: usize,
    pub to: usize,
    pub verdict: Verdict,
    /// Pulses sent, of the level that is not the sender's rest, whose arrival could be judged.
    pub sent: usize,
    pub arrived: usize,
    /// Pulses at the sending end that never arrived.
    pub missing: Vec<EndPulse>,
    /// Pulses at the far end that nobody sent.
    pub extra: Vec<EndPulse>,
    pub distorted: Vec<Distorted>,
    /// The pulses that arrived, in order.
    pub arrivals: Vec<Arrival>,
    /// Delay of the edges that start a pulse.
    pub delay: Option<Delay>,
    /// Delay of the edges that end one: the difference is a steady change of width.
    pub end_delay: Option<Delay>,
    /// What was declared as upside down.
    pub inverted: bool,
    pub far_end: FarEnd,
    pub better_match: Option<BetterMatch>,
}

/// Checks links, in order. Options whose lines do not exist, or are one and the same, are left out.
/// Cost: linear in the edges of the two lines; a dead link also costs one pass over every other line.
pub fn check(capture: &Capture, options: &[LinkOptions]) -> Vec<Link> {
    let known =
        |o: &&LinkOptions| o.from < capture.lines.len() && o.to < capture.lines.len() && o.from != o.to;
    let options: Vec<LinkOptions> = options.iter().filter(known).copied().collect();
    options.iter().map(|o| check_one(capture, o, &options)).collect()
}

/// Below this chance a pile-up of delays is taken for a link. There are few links, and a real one is far below.
const LN_CHANCE: f64 = -13.8;

fn check_one(capture: &Capture, option: &LinkOptions, all: &[LinkOptions]) -> Link {
    let (from, to) = (&capture.lines[option.from], &capture.lines[option.to]);
    let sent = Train::of(from, false);
    let far = Train::of(to, option.inverted);
    let range = range_of(capture, option, quantum(from, to));
    let active = active_level(from);
    let mut fit = Fit::of(&sent, &far, range, quantum(from, to));
    let upside_down = far.inverted();
    let other = Fit::of(&sent, &upside_down, range, quantum(from, to));
    let turned = other.is_link()
        && other.matched() * 2 >= sent.times.len()
        && (!fit.is_link() || other.matched() * 100 > fit.matched() * 115);
    let far = if turned {
        fit = other;
        upside_down
    } else {
        far
    };
    let mut link = Link {
        from: option.from,
        to: option.to,
        verdict: Verdict::Dead,
        sent: 0,
        arrived: 0,
        missing: Vec::new(),
        extra: Vec::new(),
        distorted: Vec::new(),
        arrivals: Vec::new(),
        delay: None,
        end_delay: None,
        inverted: option.inverted,
        far_end: FarEnd::Carries,
        better_match: None,
    };
    let partial = fit.recall(&sent) < 0.9 && fit.precision(&far) < 0.7;
    let alive = fit.is_link() && fit.matched() > 0 && !(partial && fit.is_echo(&sent, &far));
    let follows = (!alive || partial)
        .then(|| elsewhere::source_of(capture, option, range))
        .flatten()
        .filter(|f| !alive || f.quality > fit.quality(&sent, &far) + 0.15);
    if alive && follows.is_none() {
        let far_active = if option.inverted != turned {
            active.inverted()
        } else {
            active
        };
        fill(&mut link, (from, &sent, active), (to, &far, far_active), &fit);
        link.verdict = match (turned, link.missing.is_empty(), link.extra.is_empty()) {
            (true, _, _) => Verdict::Inverted,
            (_, true, true) => Verdict::Intact,
            (_, false, true) => Verdict::Lossy,
            (_, true, false) => Verdict::Noisy,
            (_, false, false) => Verdict::LossyNoisy,
        };
        return link;
    }
    // Dead: every pulse is missing; what the far end shows instead is extra, unless another line explains it.
    link.missing = pulses_of(from, active);
    link.sent = link.missing.len();
    if link.sent == 0 {
        // Nothing was sent, so nothing can have been lost: what the far end shows is extra.
        link.extra = pulses_of(to, active_level(to));
        link.verdict = if link.extra.is_empty() {
            Verdict::Intact
        } else {
            Verdict::Noisy
        };
        return link;
    }
    link.far_end = match follows {
        Some(f) => FarEnd::Follows {
            line: f.line,
            inverted: f.inverted,
        },
        None => rest_of(to),
    };
    if link.far_end == FarEnd::Unexplained {
        let wide = (range.0, range.1.saturating_mul(20));
        let late = Fit::of(&sent, &far, wide, quantum(from, to));
        // A window as wide as the allowed delay would match anything.
        let wide = late.windows.rise.tolerance.max(late.windows.fall.tolerance) * 4.0;
        let tight = wide < (range.1 - range.0) as f64;
        if late.is_link() && tight && late.quality(&sent, &far) > 0.9 {
            link.far_end = FarEnd::Late(late.windows.rise.center);
        } else {
            link.extra = pulses_of(to, active_level(to));
        }
    }
    if !matches!(link.far_end, FarEnd::Late(_)) {
        link.better_match = elsewhere::carrier_of(capture, option, range, all);
    }
    link
}

/// Ticks of one sample of the coarser end, at least one.
fn quantum(from: &Line, to: &Line) -> f64 {
    from.sample_ticks.max(to.sample_ticks).max(1.0)
}

/// Allowed differences far − sent: slightly negative for thresholds and sampling, up to the longest delay.
fn range_of(capture: &Capture, option: &LinkOptions, quantum: f64) -> (i64, i64) {
    /// Thresholds of two probes may tell the same edge apart by as much.
    const SKEW_S: f64 = 5e-9;
    let slack = capture.timebase.ticks_of(SKEW_S).max(2.0 * quantum);
    let longest = match option.max_delay {
        Some(ticks) => ticks.0 as f64,
        None => capture.timebase.ticks_of(DEFAULT_MAX_DELAY_S).max(4.0 * quantum),
    };
    (-slack.ceil() as i64, (longest + quantum).ceil() as i64)
}

/// The level of the line's pulses: the one it has for the smaller part of the time.
fn active_level(line: &Line) -> Level {
    let (mut low, mut high) = (0i128, 0i128);
    for segment in line.segments() {
        let (mut at, mut level) = (segment.span.start, segment.first);
        for edge in line.edges[segment.edges]
            .iter()
            .copied()
            .chain([segment.span.end])
        {
            match level {
                Level::Low => low += (edge - at).0 as i128,
                _ => high += (edge - at).0 as i128,
            }
            (at, level) = (edge, level.inverted());
        }
    }
    if high <= low { Level::High } else { Level::Low }
}

fn pulses_of(line: &Line, level: Level) -> Vec<EndPulse> {
    let pulses = line.pulses().filter(|p| p.level == level);
    pulses
        .map(|p| EndPulse {
            start: p.start,
            end: p.end,
            level,
        })
        .collect()
}

/// What a line that carries nothing known does.
fn rest_of(line: &Line) -> FarEnd {
    let length: i64 = line.span.length().0;
    let floating = line.stretches.iter().filter(|s| s.kind == StretchKind::Floating);
    let floating: i64 = floating.map(|s| s.span.length().0).sum();
    if floating * 2 > length {
        FarEnd::Floating
    } else if line.edges.is_empty() {
        FarEnd::Stuck(line.first)
    } else {
        FarEnd::Unexplained
    }
}

/// A try to explain a far end by a sender.
struct Fit {
    windows: Windows,
    matching: Matching,
    ln_chance: f64,
    ln_local: f64,
    /// Share of the edges of the quieter line that matched.
    share: f64,
}

impl Fit {
    fn of(sent: &Train, far: &Train, range: (i64, i64), quantum: f64) -> Fit {
        let length = (sent.span.length().0.min(far.span.length().0)).max(1) as f64;
        let of = |rise: bool, range: (i64, i64)| {
            delay::estimate(
                &sent.of_polarity(rise),
                &far.of_polarity(rise),
                range,
                quantum,
                length,
            )
        };
        let (mut rise, mut fall) = (of(true, range), of(false, range));
        // Both polarities come over the same wire: where the weaker one's pile lies far from the stronger's,
        // one near it is preferred if it is nearly as good (a regular train fits one period off as well).
        if let (Some(r), Some(f)) = (rise, fall) {
            let near = |c: &Cluster| {
                let reach = (range.1 - range.0) / 8 + 2 * quantum as i64;
                let center = c.center as i64;
                ((center - reach).max(range.0), (center + reach).min(range.1))
            };
            if (r.center - f.center).abs() > r.tolerance.max(f.tolerance) {
                let (weak, again) = if r.ln_chance <= f.ln_chance {
                    (&mut fall, of(false, near(&r)))
                } else {
                    (&mut rise, of(true, near(&f)))
                };
                if let (Some(old), Some(new)) = (*weak, again)
                    && new.ln_chance <= 0.6 * old.ln_chance
                {
                    *weak = Some(new);
                }
            }
        }
        let none = Cluster {
            center: 0.0,
            tolerance: -1.0,
            ln_chance: 0.0,
            ln_local: 0.0,
        };
        let sum = |of: fn(&Cluster) -> f64| rise.as_ref().map_or(0.0, of) + fall.as_ref().map_or(0.0, of);
        let (ln_chance, ln_local) = (sum(|c| c.ln_chance), sum(|c| c.ln_local));
        let windows = Windows {
            rise: rise.or(fall).unwrap_or(none),
            fall: fall.or(rise).unwrap_or(none),
            range,
        };
        let matching = match_trains(sent, far, &windows);
        let edges = sent.times.len().min(far.times.len()).max(1);
        let share = matching.pairs.len() as f64 / edges as f64;
        Fit {
            windows,
            matching,
            ln_chance,
            ln_local,
            share,
        }
    }

    /// Edges that arrived.
    fn matched(&self) -> usize {
        self.matching.pairs.len()
    }

    fn is_link(&self) -> bool {
        self.ln_chance < LN_CHANCE && (self.share > 0.5 || self.ln_local < LN_CHANCE)
    }

    /// Whether the edges coincide about as often at some other lag: then a common clock explains them.
    fn is_echo(&self, sent: &Train, far: &Train) -> bool {
        if self.recall(sent) > 0.6 || self.precision(far) > 0.6 {
            return false;
        }
        let echo = |rise: bool, cluster: &Cluster| {
            delay::echo(
                &sent.of_polarity(rise),
                &far.of_polarity(rise),
                cluster,
                self.windows.range,
            )
        };
        echo(true, &self.windows.rise).min(echo(false, &self.windows.fall)) > 0.6
    }

    /// Share of the sent edges that arrived.
    fn recall(&self, sent: &Train) -> f64 {
        self.matched() as f64 / sent.times.len().max(1) as f64
    }

    /// Share of the far edges that were sent.
    fn precision(&self, far: &Train) -> f64 {
        self.matched() as f64 / far.times.len().max(1) as f64
    }

    /// Harmonic mean of the two shares.
    fn quality(&self, sent: &Train, far: &Train) -> f64 {
        2.0 * self.matched() as f64 / (sent.times.len() + far.times.len()).max(1) as f64
    }

    /// Delay in ticks, the bias of half a sample at each end taken out.
    fn center(&self) -> f64 {
        if self.windows.rise.ln_chance <= self.windows.fall.ln_chance {
            self.windows.rise.center
        } else {
            self.windows.fall.center
        }
    }
}

/// Puts counts, lists and delays of a live link in.
fn fill(link: &mut Link, near_end: (&Line, &Train, Level), far_end: (&Line, &Train, Level), fit: &Fit) {
    let (from, sent, active) = near_end;
    let (to, far, far_active) = far_end;
    let towards = Polarity::towards(active) == Some(Polarity::Rise);
    let pulse = |line: &Line, edge: usize, level: Level| EndPulse {
        start: line.edges[edge],
        end: line.edges[edge + 1],
        level,
    };
    let level_at = |rise: bool, level: Level| if rise == towards { level } else { level.inverted() };
    let m = &fit.matching;
    link.missing = m
        .missing
        .iter()
        .map(|&i| pulse(from, i, level_at(sent.rises[i], active)))
        .collect();
    link.extra = m
        .extra
        .iter()
        .map(|&j| pulse(to, j, level_at(far.rises[j], far_active)))
        .collect();
    // Matched and displaced edges together, in order; a pulse arrived if both its edges did, side by side.
    let mut all = m.pairs.clone();
    all.extend(&m.displaced);
    all.sort_unstable();
    let starts: Vec<(usize, usize)> = all
        .iter()
        .copied()
        .filter(|p| sent.rises[p.0] == towards)
        .collect();
    let lost = m.missing.iter().filter(|&&i| sent.rises[i] == towards).count();
    link.arrived = arrived(&all, sent, towards);
    link.sent = link.arrived + lost;
    for pair in all.windows(2) {
        let [(i, j), (i2, j2)] = [pair[0], pair[1]];
        let moved =
            m.displaced.binary_search(&pair[0]).is_ok() || m.displaced.binary_search(&pair[1]).is_ok();
        if moved && i2 == i + 1 && j2 == j + 1 && sent.rises[i] == towards {
            link.distorted.push(Distorted {
                sent: pulse(from, i, active),
                arrived: pulse(to, j, far_active),
            });
        }
    }
    let bias = bias_of(to) - bias_of(from);
    let last = sent.times.len().saturating_sub(1);
    let whole = starts.iter().filter(|&&(i, _)| i < last);
    link.arrivals = whole
        .map(|&(i, j)| Arrival {
            sent: pulse(from, i, active),
            start: to.edges[j],
            delay: (far.times[j] - sent.times[i]) as f64 - bias,
        })
        .collect();
    let delay = |pairs: &[(usize, usize)]| {
        let mut lags: Vec<f64> = pairs
            .iter()
            .map(|&(i, j)| (far.times[j] - sent.times[i]) as f64 - bias)
            .collect();
        lags.sort_by(f64::total_cmp);
        median_of_sorted(&lags).map(|(median, low, high)| Delay { median, low, high })
    };
    link.delay = delay(&starts);
    let ends: Vec<(usize, usize)> = all
        .iter()
        .copied()
        .filter(|p| sent.rises[p.0] != towards)
        .collect();
    link.end_delay = delay(&ends);
}

/// Pulses of the active level whose start arrived, or whose end did where the start lies before the recording.
fn arrived(all: &[(usize, usize)], sent: &Train, towards: bool) -> usize {
    let last = sent.times.len().saturating_sub(1);
    all.iter()
        .filter(|p| sent.rises[p.0] == towards && p.0 < last)
        .count()
}

/// An edge stamped by the first sample that shows it happened half a sample earlier on average.
fn bias_of(line: &Line) -> f64 {
    if line.interpolated {
        0.0
    } else {
        0.5 * line.sample_ticks
    }
}
