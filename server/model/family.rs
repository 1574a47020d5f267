//! Logic families: between which voltages a line counts as low or high.

use serde::Serialize;

use super::Thresholds;

/// Thresholds of an analog line and the word that named them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Family {
    /// One of [`FAMILIES`], or [`Family::BY_VOLTS`].
    pub name: String,
    pub thresholds: Thresholds,
}

/// The families by name, with VIL max and VIH min in volts.
///
/// # Source
/// TTL: makers' tables of commercial TTL, 0.8/2.0 V. LVTTL 3.3 V: JESD8C, 0.8/2.0 V. CMOS 5 V and HC at 3.3 V:
/// 0.3/0.7 VCC (JESD7-A's rule). 2.5 V: JESD8-5A, 0.7/1.7 V. 1.8 V: JESD8-7A, 0.35/0.65 VCC.
pub const FAMILIES: [(&str, Thresholds); 6] = [
    ("ttl-5v", volts(0.8, 2.0)),
    ("lvttl-3v3", volts(0.8, 2.0)),
    ("cmos-5v", volts(1.5, 3.5)),
    ("hc-3v3", volts(0.99, 2.31)),
    ("cmos-2v5", volts(0.7, 1.7)),
    ("cmos-1v8", volts(0.63, 1.17)),
];

const fn volts(low_v: f64, high_v: f64) -> Thresholds {
    Thresholds { low_v, high_v }
}

impl Family {
    /// The name of thresholds that were given as numbers.
    const BY_VOLTS: &str = "volts";

    /// The family called `name`; `None` where [`FAMILIES`] has none.
    pub fn named(name: &str) -> Option<Family> {
        let (name, thresholds) = FAMILIES.iter().find(|(word, _)| *word == name)?;
        Some(Family {
            name: (*name).to_owned(),
            thresholds: *thresholds,
        })
    }

    /// Thresholds given as numbers, in volts.
    pub fn by_volts(low_v: f64, high_v: f64) -> Family {
        Family {
            name: Family::BY_VOLTS.to_owned(),
            thresholds: volts(low_v, high_v),
        }
    }
}
