//! A sample of the times of a file, for [`super::grid`]: of bounded size, and the same whether the times come one by one or
//! in blocks from several workers.

use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};

use crate::model::gcd;

/// A sample of times, whatever their number: the first ones whole, since neighbours say most about the period, and of
/// the later ones those whose hash is small. Which are kept does not depend on how they came, one by one or in parts.
#[derive(Clone, Debug, Default)]
pub struct Thinned {
    first_ones: Vec<i64>,
    later: Vec<i64>,
    /// Of a later time's hash so many bits must be zero.
    zeros: u32,
    /// Greatest common divisor of all differences to the first time.
    pub divisor: u64,
    first: Option<i64>,
}

/// Times kept whole, and most of the later ones.
const KEPT: usize = 1 << 14;

/// Times of a block, thinned by the worker that found them.
#[derive(Debug, Default)]
pub struct ThinnedPart {
    /// All of them, or those that may be kept.
    times: Vec<i64>,
    /// Whether `times` holds all.
    all: bool,
    first: Option<i64>,
    /// All differences to the first time are multiples of it.
    divider: Divider,
    zeros: u32,
}

/// What workers know of the sample so far; what they know late does no harm.
#[derive(Debug, Default)]
pub struct ThinnedView {
    full: AtomicBool,
    zeros: AtomicU32,
    divisor: AtomicU64,
}

/// A divisor that numbers are tried by, without dividing: a number is a multiple of an odd d if and only if its product
/// with the inverse of d modulo 2^64 is at most (2^64 − 1) / d, and powers of two fall out by turning the word (Warren,
/// Hacker's Delight, 2nd ed., §10-17). 0 divides nothing.
#[derive(Clone, Copy, Debug, Default)]
struct Divider {
    divisor: u64,
    inverse: u64,
    limit: u64,
}

impl Divider {
    fn new(divisor: u64) -> Divider {
        if divisor == 0 {
            return Divider::default();
        }
        let odd = divisor >> divisor.trailing_zeros();
        // Each round doubles the places that are right; d itself has three.
        let mut inverse = odd;
        for _ in 0..5 {
            inverse = inverse.wrapping_mul(2u64.wrapping_sub(odd.wrapping_mul(inverse)));
        }
        Divider {
            divisor,
            inverse,
            limit: u64::MAX / divisor,
        }
    }

    #[inline(always)]
    fn divides(self, number: u64) -> bool {
        let turned = number
            .wrapping_mul(self.inverse)
            .rotate_right(self.divisor.trailing_zeros());
        (turned <= self.limit) & (self.divisor != 0)
    }
}

#[inline]
fn is_kept(time: i64, zeros: u32) -> bool {
    let hash = (time as u64 ^ time as u64 >> 31).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    (hash >> 20) & ((1 << zeros) - 1) == 0
}

impl Thinned {
    /// Takes the next time. Cost: one remainder a time.
    #[inline]
    pub fn push(&mut self, time: i64) {
        let first = *self.first.get_or_insert(time);
        if self.divisor != 1 {
            self.divisor = gcd(self.divisor, time.abs_diff(first));
        }
        if self.first_ones.len() < KEPT {
            self.first_ones.push(time);
        } else if is_kept(time, self.zeros) {
            self.keep(time);
        }
    }

    fn keep(&mut self, time: i64) {
        self.later.push(time);
        while self.later.len() > KEPT {
            self.zeros += 1;
            let zeros = self.zeros;
            self.later.retain(|&t| is_kept(t, zeros));
        }
    }

    /// The times of a block, which come after all others.
    pub fn append(&mut self, part: &ThinnedPart) {
        if part.all {
            part.times.iter().for_each(|&time| self.push(time));
            return;
        }
        let Some(part_first) = part.first else { return };
        let first = *self.first.get_or_insert(part_first);
        if self.divisor != 1 {
            self.divisor = gcd(
                self.divisor,
                gcd(part.divider.divisor, part_first.abs_diff(first)),
            );
        }
        for &time in &part.times {
            if is_kept(time, self.zeros) {
                self.keep(time);
            }
        }
    }

    /// Tells the workers how far the sample is.
    pub fn show(&self, view: &ThinnedView) {
        view.zeros.store(self.zeros, Ordering::Relaxed);
        view.divisor.store(self.divisor, Ordering::Relaxed);
        view.full.store(self.first_ones.len() == KEPT, Ordering::Relaxed);
    }

    /// The sample, ascending.
    pub fn times(&self) -> Vec<i64> {
        self.first_ones.iter().chain(&self.later).copied().collect()
    }
}

impl ThinnedPart {
    /// A worker's share, as far as the whole is now.
    pub fn new(view: &ThinnedView) -> ThinnedPart {
        let all = !view.full.load(Ordering::Relaxed);
        ThinnedPart {
            all,
            // The whole's divisor so far divides the whole's divisor in the end, or is 0.
            divider: Divider::new(view.divisor.load(Ordering::Relaxed)),
            zeros: if all {
                0
            } else {
                view.zeros.load(Ordering::Relaxed)
            },
            ..ThinnedPart::default()
        }
    }

    /// Whether [`ThinnedPart::push`] would do anything with `time`.
    #[inline(always)]
    pub fn wants(&self, time: i64) -> bool {
        is_kept(time, self.zeros)
            || self.divider.divisor != 1 && !self.divider.divides(time.abs_diff(self.first.unwrap_or(0)))
            || self.first.is_none()
    }

    /// The next time.
    #[inline]
    pub fn push(&mut self, time: i64) {
        if !self.wants(time) {
            return;
        }
        let first = *self.first.get_or_insert(time);
        let off = time.abs_diff(first);
        if !self.divider.divides(off) {
            self.divider = Divider::new(gcd(self.divider.divisor, off));
        }
        if self.all || is_kept(time, self.zeros) {
            self.times.push(time);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_in_parts_is_the_sample_of_the_whole() {
        // Steps of changing length, all multiples of 5.
        let all: Vec<i64> = (1..=200_000i64).map(|k| 5 * (450 * k + k * k % 449)).collect();
        let (mut one, mut parts, view) = (Thinned::default(), Thinned::default(), ThinnedView::default());
        all.iter().for_each(|&t| one.push(t));
        for block in all.chunks(7_001) {
            let mut part = ThinnedPart::new(&view);
            block.iter().for_each(|&t| part.push(t));
            parts.append(&part);
            // Workers hear of it late.
            if block[0] % 3 == 0 {
                parts.show(&view);
            }
        }
        assert!(one.times() == parts.times() && one.divisor == parts.divisor);
        assert!(one.times().len() > KEPT && one.times().is_sorted());
    }

    #[test]
    fn dividing_without_division_is_dividing() {
        for divisor in (1..200).chain([1 << 20, 3 << 30, 999_999_937, u64::MAX]) {
            let divider = Divider::new(divisor);
            let near =
                (0..1000u64).chain((0..1000).map(|k| divisor.wrapping_mul(k * 7919).wrapping_sub(k % 3)));
            for number in near.chain([u64::MAX, u64::MAX - 1, 1 << 63]) {
                assert_eq!(
                    divider.divides(number),
                    number % divisor == 0,
                    "{number} by {divisor}"
                );
            }
        }
        assert!(!Divider::new(0).divides(0) && !Divider::new(0).divides(5));
    }
}
