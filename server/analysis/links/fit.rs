//! A try to explain a far end by a sender: the delays of both polarities, the pairs, and how unlikely they are by
//! chance.

use super::delay::{self, Cluster};
use super::matching::{Matching, Windows, match_trains};
use super::train::Train;

/// Below this chance a pile-up of delays is taken for a link. There are few links, and a real one is far below.
const LN_CHANCE: f64 = -13.8;
/// A pile of delays near the other polarity's is taken where its ln chance has this share of that of the strongest pile (no
/// source).
const NEARLY_AS_GOOD: f64 = 0.6;
/// Where more than this share of the edges of either side match, no common clock is needed to explain them (no source).
const MOST_MATCH: f64 = 0.6;
/// At some other lag more than this share of as many edges coincide: a common clock makes them (no source).
const AT_ANOTHER_LAG: f64 = 0.6;

/// A try to explain a far end by a sender.
pub(super) struct Fit {
    pub windows: Windows,
    pub matching: Matching,
    ln_chance: f64,
    ln_local: f64,
    /// Share of the edges of the quieter line that matched.
    share: f64,
}

impl Fit {
    /// Estimates the delay of rises, falls and both within `range` (ticks, both ends allowed); `quantum` is the wider
    /// sampling period of the two lines in ticks.
    pub fn of(sent: &Train, far: &Train, range: (i64, i64), quantum: f64) -> Fit {
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
                let reach = range.1.saturating_sub(range.0) / 8 + 2 * quantum as i64;
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
                    && new.ln_chance <= NEARLY_AS_GOOD * old.ln_chance
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
    pub fn matched(&self) -> usize {
        self.matching.pairs.len()
    }

    /// Whether chance is out of the question: over the whole record, and for fewer than half of the edges also against
    /// the lags beside.
    pub fn is_link(&self) -> bool {
        self.ln_chance < LN_CHANCE && (self.share > 0.5 || self.ln_local < LN_CHANCE)
    }

    /// Whether the edges coincide about as often at some other lag: then a common clock explains them.
    pub fn is_echo(&self, sent: &Train, far: &Train) -> bool {
        if self.recall(sent) > MOST_MATCH || self.precision(far) > MOST_MATCH {
            return false;
        }
        self.has_echo(sent, far)
    }

    /// [`Fit::is_echo`], however many edges coincide.
    pub fn has_echo(&self, sent: &Train, far: &Train) -> bool {
        let echo = |rise: bool, cluster: &Cluster| {
            delay::echo(
                &sent.of_polarity(rise),
                &far.of_polarity(rise),
                cluster,
                self.windows.range,
            )
        };
        echo(true, &self.windows.rise).min(echo(false, &self.windows.fall)) > AT_ANOTHER_LAG
    }

    /// Share of the sent edges that arrived.
    pub fn recall(&self, sent: &Train) -> f64 {
        self.matched() as f64 / sent.times.len().max(1) as f64
    }

    /// Share of the far edges that were sent.
    pub fn precision(&self, far: &Train) -> f64 {
        self.matched() as f64 / far.times.len().max(1) as f64
    }

    /// Harmonic mean of the two shares.
    pub fn quality(&self, sent: &Train, far: &Train) -> f64 {
        2.0 * self.matched() as f64 / (sent.times.len() + far.times.len()).max(1) as f64
    }

    /// Delay in ticks, the bias of half a sample at each end taken out.
    pub fn center(&self) -> f64 {
        if self.windows.rise.ln_chance <= self.windows.fall.ln_chance {
            self.windows.rise.center
        } else {
            self.windows.fall.center
        }
    }
}
