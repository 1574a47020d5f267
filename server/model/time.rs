//! Time inside a capture: whole ticks of the capture's own timebase, turned into seconds only in reports.

use std::ops::{Add, AddAssign, Neg, Sub};

use serde::{Deserialize, Serialize};

/// A moment, or a length of time, in whole ticks of a capture's [`Timebase`].
#[repr(transparent)]
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    bytemuck::Pod,
    bytemuck::Zeroable,
)]
#[serde(transparent)]
pub struct Ticks(pub i64);

/// The greatest common divisor: the widest grid through 0 that both numbers of ticks lie on. One of them 0: the other.
pub fn gcd(mut a: u64, mut b: u64) -> u64 {
    // Where it is fitted to many, most are multiples already.
    if a > 0 && b.is_multiple_of(a) {
        return a;
    }
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

impl Ticks {
    /// Tick zero, whose second is the timebase's origin.
    pub const ZERO: Ticks = Ticks(0);
    /// Before all times.
    pub const MIN: Ticks = Ticks(i64::MIN);
    /// After all times.
    pub const MAX: Ticks = Ticks(i64::MAX);
}

impl Add for Ticks {
    type Output = Ticks;
    fn add(self, other: Ticks) -> Ticks {
        Ticks(self.0 + other.0)
    }
}

impl Sub for Ticks {
    type Output = Ticks;
    fn sub(self, other: Ticks) -> Ticks {
        Ticks(self.0 - other.0)
    }
}

impl Neg for Ticks {
    type Output = Ticks;
    fn neg(self) -> Ticks {
        Ticks(-self.0)
    }
}

impl AddAssign for Ticks {
    fn add_assign(&mut self, other: Ticks) {
        self.0 += other.0;
    }
}

/// A stretch of time: start closed, end open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeSpan {
    pub start: Ticks,
    pub end: Ticks,
}

impl TimeSpan {
    /// From `start` to `end`; the caller sees that they are in this order.
    pub fn new(start: Ticks, end: Ticks) -> TimeSpan {
        TimeSpan { start, end }
    }

    /// End minus start, in ticks.
    pub fn length(&self) -> Ticks {
        self.end - self.start
    }

    /// Whether `time` lies in the stretch (start closed, end open).
    pub fn contains(&self, time: Ticks) -> bool {
        self.start <= time && time < self.end
    }
}

/// What one tick is, exactly: `origin_s + ticks × numerator_s / denominator` seconds.
///
/// A VCD keeps its own tick (1 ns is 1/10⁹, so that seconds come out correctly rounded); a uniformly
/// sampled table has its sample, or a whole fraction of it, as tick, with a fitted length.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Timebase {
    /// Seconds of tick zero on the capture's own clock.
    pub origin_s: f64,
    /// Length of a tick in seconds is `numerator_s / denominator`.
    pub numerator_s: f64,
    /// A power of ten for decimal ticks, which so come out exact; 1 for fitted ones.
    pub denominator: f64,
}

impl Timebase {
    /// A decimal tick, `10^exponent` seconds long, tick zero at 0 s. `Timebase::decimal(-9)` is 1 ns.
    pub fn decimal(exponent: i32) -> Timebase {
        let (numerator_s, denominator) = if exponent < 0 {
            (1.0, 10f64.powi(-exponent))
        } else {
            (10f64.powi(exponent), 1.0)
        };
        Timebase {
            origin_s: 0.0,
            numerator_s,
            denominator,
        }
    }

    /// A fitted tick of `tick_s` seconds with tick zero at `origin_s`.
    pub fn fitted(origin_s: f64, tick_s: f64) -> Timebase {
        Timebase {
            origin_s,
            numerator_s: tick_s,
            denominator: 1.0,
        }
    }

    /// Length of one tick, in seconds.
    pub fn tick_s(&self) -> f64 {
        self.numerator_s / self.denominator
    }

    /// The moment `time`, in seconds on the capture's clock.
    pub fn seconds(&self, time: Ticks) -> f64 {
        self.origin_s + self.length_s(time.0 as f64)
    }

    /// The moment `ticks` (may be a fraction), in seconds on the capture's clock.
    pub fn seconds_of(&self, ticks: f64) -> f64 {
        self.origin_s + self.length_s(ticks)
    }

    /// A length of `ticks` (may be a fraction), in seconds.
    pub fn length_s(&self, ticks: f64) -> f64 {
        ticks * self.numerator_s / self.denominator
    }

    /// A length of `seconds`, in ticks (a fraction).
    pub fn ticks_of(&self, seconds: f64) -> f64 {
        seconds * self.denominator / self.numerator_s
    }

    /// The tick nearest to a moment given in seconds on the capture's clock.
    pub fn nearest(&self, seconds: f64) -> Ticks {
        Ticks(self.ticks_of(seconds - self.origin_s).round() as i64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By the definition: 81 = 3·27 and 57 = 3·19, and 27 and 19 share nothing.
    #[test]
    fn the_widest_grid_of_two_lengths() {
        assert_eq!((gcd(81, 57), gcd(57, 81), gcd(5, 20)), (3, 3, 5));
        assert_eq!((gcd(0, 7), gcd(7, 0), gcd(0, 0)), (7, 7, 0));
    }

    #[test]
    fn decimal_ticks_give_correctly_rounded_seconds() {
        let ns = Timebase::decimal(-9);
        assert_eq!(ns.seconds(Ticks(14_298_897)), 0.014298897);
        assert_eq!(Timebase::decimal(0).seconds(Ticks(3)), 3.0);
        assert_eq!(ns.nearest(0.014298897), Ticks(14_298_897));
    }
}
