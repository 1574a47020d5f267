//! How far a measured interval may be from the true one, and what can be said against a limit.
//!
//! An edge stamped `t` by an instrument sampling every T happened in (t − T, t]; one interpolated between two
//! samples in (t − T/2, t + T/2); one recorded exactly, at t. So an interval m between two sampled edges is
//! known to lie in (m − T, m + T), ends open: a violation is certain only when that whole stretch is beyond the limit.

use crate::model::{Line, Timebase};

/// How much earlier and later than its stamp an edge may have been, in ticks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stamp {
    pub early: f64,
    pub late: f64,
}

impl Stamp {
    /// By how the line was recorded: sampled, interpolated between samples, or exact (sampling period 0).
    pub fn of(line: &Line) -> Stamp {
        if line.interpolated {
            Stamp {
                early: line.sample_ticks / 2.0,
                late: line.sample_ticks / 2.0,
            }
        } else {
            Stamp {
                early: line.sample_ticks,
                late: 0.0,
            }
        }
    }
}

/// The true interval lies in (m − below, m + above); an end whose width is 0 belongs to it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Reach {
    pub below: f64,
    pub above: f64,
}

impl Reach {
    /// Of an interval from an edge with stamp `from` to one with stamp `to`.
    pub fn between(from: Stamp, to: Stamp) -> Reach {
        Reach {
            below: to.early + from.late,
            above: from.early + to.late,
        }
    }
}

/// What can be said of a measured value against its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Kept,
    Broken,
    /// The limit lies within the measurement's uncertainty.
    CantTell,
}

impl Verdict {
    /// The worse of two: broken, then can't tell, then kept.
    pub fn worse(self, other: Verdict) -> Verdict {
        match (self, other) {
            (Verdict::Broken, _) | (_, Verdict::Broken) => Verdict::Broken,
            (Verdict::CantTell, _) | (_, Verdict::CantTell) => Verdict::CantTell,
            _ => Verdict::Kept,
        }
    }
}

/// Whether an interval measured as `m` ticks is at least `limit` ticks (the limit itself is allowed).
pub fn at_least(m: f64, reach: Reach, limit: f64) -> Verdict {
    if m - reach.below >= limit {
        Verdict::Kept
    } else if (reach.above > 0.0 && m + reach.above <= limit) || m + reach.above < limit {
        Verdict::Broken
    } else {
        Verdict::CantTell
    }
}

/// Whether an interval measured as `m` ticks is at most `limit` ticks (the limit itself is allowed).
pub fn at_most(m: f64, reach: Reach, limit: f64) -> Verdict {
    if m + reach.above <= limit {
        Verdict::Kept
    } else if (reach.below > 0.0 && m - reach.below >= limit) || m - reach.below > limit {
        Verdict::Broken
    } else {
        Verdict::CantTell
    }
}

/// A limit of `seconds` in ticks. A limit within a millionth of a whole tick (and a hundredth of a tick) is that
/// whole tick: "20 ns" on a 10 ns tick is 2, whatever the binary fractions make of it.
pub fn limit_ticks(timebase: &Timebase, seconds: f64) -> f64 {
    let ticks = timebase.ticks_of(seconds);
    let whole = ticks.round();
    let near = (1e-6 * whole.abs()).clamp(1e-9, 0.01);
    if (ticks - whole).abs() <= near {
        whole
    } else {
        ticks
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Verdict::*;

    #[test]
    fn exact_edges_leave_no_doubt() {
        let exact = Reach::default();
        assert_eq!(
            [19.0, 20.0, 21.0].map(|m| at_least(m, exact, 20.0)),
            [Broken, Kept, Kept]
        );
        assert_eq!(
            [19.0, 20.0, 21.0].map(|m| at_most(m, exact, 20.0)),
            [Kept, Kept, Broken]
        );
    }

    #[test]
    fn sampled_edges_leave_one_period_of_doubt() {
        let stamp = Stamp {
            early: 1.0,
            late: 0.0,
        };
        let reach = Reach::between(stamp, stamp);
        let told = [18.0, 19.0, 20.0, 21.0].map(|m| at_least(m, reach, 20.0));
        assert_eq!(told, [Broken, Broken, CantTell, Kept]);
        let told = [19.0, 20.0, 21.0, 22.0].map(|m| at_most(m, reach, 20.0));
        assert_eq!(told, [Kept, CantTell, Broken, Broken]);
    }

    #[test]
    fn limits_snap_to_the_whole_tick_they_mean() {
        assert_eq!(limit_ticks(&Timebase::decimal(-9), 60e-9), 60.0);
        assert_eq!(limit_ticks(&Timebase::fitted(0.0, 9.999_999_7e-9), 20e-9), 2.0);
        let ticks = limit_ticks(&Timebase::fitted(0.0, 41.6667e-9), 60e-9);
        assert!((ticks - 1.44).abs() < 1e-3);
    }
}
