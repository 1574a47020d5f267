//! State levels (IEEE Std 181-2011), and the logic family that a line seems to be of.

use crate::model::Family;

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

/// Least high state level of an output of the 5 V families at its full load (TTL's V_OH in makers' tables, from memory).
const TTL_HIGH_V: f64 = 2.4;
/// TTL's totem poles don't drive higher than this from 5 V; a pull-up does.
const TTL_DRIVES_V: f64 = 4.3;

/// What one line says for itself, from its high state level.
fn by_itself(high: Option<f64>) -> Family {
    let name = match high {
        Some(high) if high < 2.1 => "cmos-1v8",
        Some(high) if high < TTL_HIGH_V => "cmos-2v5",
        Some(high) if high > TTL_DRIVES_V => "cmos-5v",
        // TTL drives its high anywhere from 2.4 V to some 4 V, LVTTL up to 3.3 V: the thresholds are the same.
        _ => "ttl-5v",
    };
    Family::named(name).expect("one of the families")
}

/// A family proposed for a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    pub family: Family,
    /// The line's high state level in volts, where the family's outputs drive higher than that.
    pub weak_v: Option<f64>,
}

/// The families whose levels the lines of one table seem to have; `columns`: some samples of each, in volts.
///
/// Lines of one machine are mostly of one family. Where some line drives as TTL does, one at 5 V is taken for TTL with a
/// pull-up, and one that gets less far for a weak TTL level, not for another family's good one.
pub fn propose(columns: &[&[f32]]) -> Vec<Proposal> {
    let highs: Vec<Option<f64>> = columns
        .iter()
        .map(|samples| Some(state_levels(samples)?.1))
        .collect();
    let drives = |from: f64, to: f64| highs.iter().flatten().any(|high| (from..=to).contains(high));
    let (is_ttl, is_five_volts) = (
        drives(TTL_HIGH_V, TTL_DRIVES_V),
        drives(TTL_HIGH_V, f64::INFINITY),
    );
    let proposal = |&high: &Option<f64>| {
        let own = by_itself(high);
        match high {
            Some(high) if high < TTL_HIGH_V && is_five_volts => Proposal {
                family: if is_ttl {
                    by_itself(None)
                } else {
                    by_itself(Some(f64::MAX))
                },
                weak_v: Some(high),
            },
            Some(high) if high > TTL_DRIVES_V && is_ttl => Proposal {
                family: by_itself(None),
                weak_v: None,
            },
            _ => Proposal {
                family: own,
                weak_v: None,
            },
        }
    };
    highs.iter().map(proposal).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(low: f32, high: f32) -> Vec<f32> {
        (0..400)
            .map(|i| if i / 20 % 2 == 0 { low } else { high })
            .collect()
    }

    fn names(columns: &[Vec<f32>]) -> Vec<(String, Option<f64>)> {
        let columns: Vec<&[f32]> = columns.iter().map(Vec::as_slice).collect();
        let rounded = |v: f64| (v * 10.0).round() / 10.0;
        propose(&columns)
            .into_iter()
            .map(|p| (p.family.name, p.weak_v.map(rounded)))
            .collect()
    }

    #[test]
    fn lines_of_one_machine_are_of_one_family() {
        let named = |name: &str| (name.to_owned(), None);
        assert_eq!(names(&[square(0.2, 3.4)]), [named("ttl-5v")]);
        assert_eq!(names(&[square(0.1, 1.7)]), [named("cmos-1v8")]);
        assert_eq!(
            names(&[square(0.1, 4.9), square(0.1, 4.9)]),
            [named("cmos-5v"), named("cmos-5v")]
        );
        // A pull-up to 5 V beside a totem pole.
        assert_eq!(
            names(&[square(0.1, 4.9), square(0.2, 3.4)]),
            [named("ttl-5v"), named("ttl-5v")]
        );
        // A high that gets to 1.5 V only.
        let weak = ("ttl-5v".to_owned(), Some(1.5));
        assert_eq!(
            names(&[square(0.2, 3.4), square(0.2, 1.5)]),
            [named("ttl-5v"), weak]
        );
        assert_eq!(
            names(&[square(0.2, 4.9), square(0.2, 1.5)])[1],
            ("cmos-5v".to_owned(), Some(1.5))
        );
        // A line at rest says nothing.
        assert_eq!(
            names(&[vec![0.1; 50], square(0.1, 4.9)]),
            [named("ttl-5v"), named("cmos-5v")]
        );
    }
}
