//! State levels (IEEE Std 181-2011), and the logic family that a line seems to be of.

use crate::ingest::options::FamilyChoice;
use crate::model::Thresholds;

/// Low and high state level: the modes of the lower and the upper half of the samples' range (IEEE Std
/// 181-2011, histogram method). `None` where the samples hardly move.
fn state_levels(samples: &[f32]) -> Option<(f64, f64)> {
    const BINS: usize = 200;
    /// A line that moves less is at rest.
    const LEAST_SWING: f64 = 0.5;
    let finite = || samples.iter().copied().filter(|v| v.is_finite()).map(f64::from);
    let (low, high) = finite().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    if high - low < LEAST_SWING {
        return None;
    }
    let mut counts = [0usize; BINS];
    for volts in finite() {
        counts[(((volts - low) / (high - low) * BINS as f64) as usize).min(BINS - 1)] += 1;
    }
    let mode = |from: usize, to: usize| {
        let best = (from..to).max_by_key(|&b| counts[b]).unwrap_or(from);
        low + (best as f64 + 0.5) * (high - low) / BINS as f64
    };
    Some((mode(0, BINS / 2), mode(BINS / 2, BINS)))
}

/// The family whose levels a line seems to have, from its high state level: values of report.md's families.
pub fn propose(samples: &[f32]) -> FamilyChoice {
    let family = |name: &str, low_v, high_v| FamilyChoice {
        name: name.to_owned(),
        thresholds: Thresholds { low_v, high_v },
    };
    match state_levels(samples).map(|s| s.1) {
        Some(high) if high < 2.1 => family("cmos-1v8", 0.63, 1.17),
        Some(high) if high < 2.4 => family("cmos-2v5", 0.7, 1.7),
        Some(high) if high > 4.3 => family("cmos-5v", 1.5, 3.5),
        // TTL drives its high anywhere from 2.4 V to some 4 V, LVTTL up to 3.3 V: the thresholds are the same.
        _ => family("ttl-5v", 0.8, 2.0),
    }
}
