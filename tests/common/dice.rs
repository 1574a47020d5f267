//! Seeded numbers for captures that tests make.

/// Even in 0 … 1 (Marsaglia's xorshift64*; the seed is not 0).
pub struct Dice(pub u64);

impl Dice {
    pub fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Even in `0..bound`.
    #[allow(dead_code)] // not all captures draw whole numbers
    pub fn below(&mut self, bound: u64) -> u64 {
        (self.unit() * bound as f64) as u64
    }
}
