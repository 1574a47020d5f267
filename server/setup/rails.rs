//! The rails of the setup file: `[rail."+5V"]` and `[[reading]]`.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

use super::raw::Place;
use super::{Error, parse_volts};
use crate::rule::{Rail, Reading};

/// `[rail.NAME]` as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawRail {
    nominal: Option<Spanned<String>>,
    tolerance: Option<Spanned<String>>,
    supply_end: Option<Spanned<String>>,
    max_drop: Option<Spanned<String>>,
}

/// One `[[reading]]` as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawReading {
    rail: Spanned<String>,
    at: String,
    volts: Spanned<String>,
}

/// All rails by name, with their readings.
pub fn rails(
    raw: BTreeMap<String, Spanned<RawRail>>,
    readings: Vec<RawReading>,
    place: &Place,
) -> Result<Vec<Rail>, Error> {
    let mut rails = Vec::new();
    for (line, raw) in raw {
        let at = raw.span().start;
        let raw = raw.into_inner();
        let missing = |key: &str| place.error(at, format!("a rail needs the key {key}"));
        let nominal = raw.nominal.ok_or_else(|| missing("nominal"))?;
        let tolerance = raw.tolerance.ok_or_else(|| missing("tolerance"))?;
        let nominal_v = volts(&nominal, place)?;
        if nominal_v == 0.0 {
            return Err(place.error(
                nominal.span().start,
                "expected a nominal potential other than 0 V",
            ));
        }
        if raw.max_drop.is_some() && raw.supply_end.is_none() {
            return Err(missing("supply_end (max_drop is measured from there)"));
        }
        rails.push(Rail {
            line,
            nominal_v,
            tolerance: percent(&tolerance, place)?,
            supply_end: raw.supply_end.map(Spanned::into_inner),
            max_drop_v: raw.max_drop.map(|drop| volts(&drop, place)).transpose()?,
            readings: Vec::new(),
            setup_line: Some(place.line_of(at)),
        });
    }
    for reading in readings {
        let name = reading.rail.get_ref();
        let Some(rail) = rails.iter_mut().find(|r| r.line == *name) else {
            let message =
                format!("found a reading of the rail \"{name}\", expected one declared as [rail.\"…\"]");
            return Err(place.error(reading.rail.span().start, message));
        };
        rail.readings.push(Reading {
            at: reading.at,
            volts: volts(&reading.volts, place)?,
        });
    }
    Ok(rails)
}

fn volts(value: &Spanned<String>, place: &Place) -> Result<f64, Error> {
    parse_volts(value.get_ref()).map_err(|message| place.error(value.span().start, message))
}

fn percent(value: &Spanned<String>, place: &Place) -> Result<f64, Error> {
    let number = value
        .get_ref()
        .trim()
        .strip_suffix('%')
        .and_then(|n| n.trim().parse::<f64>().ok());
    match number {
        Some(n) if n > 0.0 && n < 100.0 => Ok(n / 100.0),
        _ => Err(place.error(
            value.span().start,
            "expected a tolerance in percent, such as \"5 %\"",
        )),
    }
}
