//! Seeded numbers for captures that tests and benchmarks make: the same on every machine.
#![allow(dead_code)] // no capture draws in every way

/// Marsaglia's xorshift64* (from memory); the state is not 0.
pub struct Dice(pub u64);

impl Dice {
    /// The next 64 bits.
    pub fn word(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// Even in `[0, 1)`.
    pub fn unit(&mut self) -> f64 {
        (self.word() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Even in `0..bound`.
    pub fn below(&mut self, bound: u64) -> u64 {
        (self.unit() * bound as f64) as u64
    }

    /// Even in `[low, high)`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }
}
