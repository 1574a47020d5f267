//! Meter readings of the bench log → rails that are judged like those of the setup file.

use crate::rule::{Rail, Reading};
use crate::setup::Setup;
use crate::store;

/// Tolerance of a rail that only the bench log knows: ±5 %, what makers' sheets of commercial TTL ask of the supply
/// (4.75 V to 5.25 V; from memory).
const ASSUMED_TOLERANCE: f64 = 0.05;

/// Adds readings in volts to the rails of `setup`: to the one of that name, spaces and capitals aside, else to a rail of
/// its own where the reading says what it should be.
pub fn with_readings<'a>(mut setup: Setup, readings: impl IntoIterator<Item = &'a store::Reading>) -> Setup {
    let plain = |name: &str| name.replace(' ', "").to_lowercase();
    for reading in readings {
        let Some(unit) = in_volts(&reading.unit) else {
            continue;
        };
        let taken = Reading {
            at: match reading.place.trim() {
                "" => "the place that was measured".to_owned(),
                place => place.to_owned(),
            },
            volts: reading.reading * unit,
        };
        let nominal_v = reading.nominal.map(|nominal| nominal * unit);
        let rail = setup
            .rails
            .iter_mut()
            .find(|rail| plain(&rail.line) == plain(&reading.rail));
        match (rail, nominal_v.filter(|nominal| *nominal != 0.0)) {
            (Some(rail), _) => rail.readings.push(taken),
            (None, Some(nominal_v)) => setup.rails.push(Rail {
                line: reading.rail.clone(),
                nominal_v,
                tolerance: ASSUMED_TOLERANCE,
                supply_end: None,
                max_drop_v: None,
                readings: vec![taken],
                setup_line: None,
            }),
            // What it should be nobody said.
            (None, None) => {}
        }
    }
    setup
}

/// Volts of one unit; `None` for what is no voltage.
fn in_volts(unit: &str) -> Option<f64> {
    match unit.trim() {
        "" | "V" => Some(1.0),
        "mV" => Some(1e-3),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(rail: &str, nominal: Option<f64>, reading: f64, unit: &str) -> store::Reading {
        store::Reading {
            rail: rail.to_owned(),
            nominal,
            reading,
            unit: unit.to_owned(),
            ..store::Reading::default()
        }
    }

    #[test]
    fn a_reading_goes_to_its_rail_or_makes_one() {
        let text = "[rail.\"+5V\"]\nnominal = \"5 V\"\ntolerance = \"2 %\"\n";
        let setup = Setup::parse(text, "s.toml").unwrap();
        let readings = [
            reading("+5 v", Some(5.0), 4.85, ""),
            reading("-12 V", Some(-12.0), -11.3, "V"),
            reading("ripple", Some(10.0), 40.0, "mV"),
            reading("fan", None, 12.0, "V"),
            reading("current", Some(2.0), 3.0, "A"),
        ];
        let rails = with_readings(setup, &readings).rails;
        let names: Vec<&str> = rails.iter().map(|rail| rail.line.as_str()).collect();
        assert_eq!(names, ["+5V", "-12 V", "ripple"]);
        assert_eq!((rails[0].readings[0].volts, rails[0].tolerance), (4.85, 0.02));
        let (low, high) = rails[1].allowed_v();
        assert!((low + 12.6).abs() < 1e-12 && (high + 11.4).abs() < 1e-12);
        assert_eq!(rails[2].readings[0].volts, 0.04);
    }
}
