//! The five-volt supply at both ends of its wire: lifting hammers makes the tower's end sag.

use std::fmt::Write;

use super::machine::Run;
use super::random::Random;
use super::wires::Net;
use crate::model::{Level, Ticks};

/// 5 kilosamples a second, 1.2 s, from a while after the tune began.
const PERIOD: Ticks = Ticks(200_000_000);
const START: Ticks = Ticks(300_000_000_000);
const SAMPLES: i64 = 6_000;

/// At rest, and what each lifted hammer takes off, in volts: at the supply, at the tower.
const AT_SUPPLY: (f64, f64) = (5.08, 0.012);
const AT_TOWER: (f64, f64) = (4.94, 0.125);
/// The tempo oscillator's own rail.
const NEGATIVE_V: f64 = -12.05;
/// Share of the way to its new value that a rail goes within one sample (a time constant of about 0.4 ms).
const FOLLOWS: f64 = 0.4;
const NOISE_V: f64 = 0.006;

/// The table, and the lowest voltage met at the tower's end.
pub fn table(run: &Run, seed: u64) -> (String, f64) {
    let mut random = Random::new(seed);
    let mut text = String::from("Time (s),VCC_SUPPLY (V),VCC_TOWER (V),VEE (V),LIFT\n");
    let (mut supply, mut tower) = (AT_SUPPLY.0, AT_TOWER.0);
    let mut lowest = f64::INFINITY;
    for sample in 0..SAMPLES {
        let now = START + Ticks(PERIOD.0 * sample);
        let lifted = (0..8).filter(|&bit| run.waves[&Net::Bell(bit)].level_at(now) == Level::High);
        let lifted = lifted.count() as f64;
        supply += FOLLOWS * (AT_SUPPLY.0 - AT_SUPPLY.1 * lifted - supply);
        tower += FOLLOWS * (AT_TOWER.0 - AT_TOWER.1 * lifted - tower);
        let mut noisy = |volts: f64| volts + random.normal(0.0, NOISE_V);
        let (at_supply, at_tower, negative) = (noisy(supply), noisy(tower), noisy(NEGATIVE_V));
        lowest = lowest.min(at_tower);
        let time_s = (PERIOD.0 * sample) as f64 * 1e-12;
        let lift = u8::from(lifted > 0.0);
        writeln!(
            text,
            "{time_s:.4},{at_supply:.3},{at_tower:.3},{negative:.3},{lift}"
        )
        .expect("text grows");
    }
    (text, lowest)
}
