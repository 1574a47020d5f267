//! `[read]`: how to read a file where its content can't tell.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

use super::Error;
use super::raw::{Place, family};
use crate::model::{ColumnKind, Family, TableForm};

/// How to read a file where its content can't tell. Everything left out is told by the file, or assumed with a
/// warning.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadSetup {
    /// Length of a VCD time unit, for a file without `$timescale`.
    pub timescale_s: Option<f64>,
    /// Length of one unit of a table's time column.
    pub time_unit_s: Option<f64>,
    pub sample_period_s: Option<f64>,
    /// `,`, `;`, `|` or a tab.
    pub delimiter: Option<u8>,
    /// `.` or `,`.
    pub decimal: Option<u8>,
    pub form: Option<TableForm>,
    /// Thresholds of analog lines without any of their own.
    pub family: Option<Family>,
    /// What columns hold, by heading or by number from 1.
    pub columns: BTreeMap<String, ColumnKind>,
    /// Headings of a table that has none, in the order of its columns, that of the times too.
    pub names: Vec<String>,
    /// Other names of lines, by heading or by number from 1.
    pub rename: BTreeMap<String, String>,
}

/// `[read]` as it stands in the file.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawRead {
    timescale: Option<Spanned<String>>,
    time_unit: Option<Spanned<String>>,
    sample_period: Option<Spanned<String>>,
    sample_rate: Option<Spanned<String>>,
    delimiter: Option<Spanned<String>>,
    decimal: Option<Spanned<String>>,
    form: Option<Spanned<String>>,
    family: Option<Spanned<String>>,
    #[serde(default)]
    columns: BTreeMap<String, Spanned<String>>,
    #[serde(default)]
    names: Vec<Spanned<String>>,
    #[serde(default)]
    rename: BTreeMap<String, Spanned<String>>,
}

/// The checked `[read]`.
///
/// # Errors
/// The first mistake, with its place.
pub fn read(raw: RawRead, place: &Place) -> Result<ReadSetup, Error> {
    let one_of = |value: Option<Spanned<String>>, choices: &[(&str, u8)]| match value {
        None => Ok(None),
        Some(value) => {
            let found = choices
                .iter()
                .find(|(word, _)| word == value.get_ref())
                .map(|c| c.1);
            found.map(Some).ok_or_else(|| {
                let words: Vec<String> = choices.iter().map(|(word, _)| format!("{word:?}")).collect();
                let message = format!(
                    "found {:?}, expected one of {}",
                    value.get_ref(),
                    words.join(", ")
                );
                place.error(value.span().start, message)
            })
        }
    };
    let time_unit_s = match raw.time_unit {
        None => None,
        // "ms" alone means 1 ms.
        Some(unit) if !unit.get_ref().starts_with(|c: char| c.is_ascii_digit()) => {
            let seconds = super::parse_seconds(&format!("1 {}", unit.get_ref()));
            Some(seconds.map_err(|message| place.error(unit.span().start, message))?)
        }
        unit => place.positive_seconds(unit)?,
    };
    let mut columns = BTreeMap::new();
    for (name, word) in raw.columns {
        let column = column(word.get_ref()).ok_or_else(|| {
            let message = format!(
                "found {:?}, expected \"time\", \"digital\", \"analog\", \"ignore\" or a bus such as \"bus 8 hex\" (hex, \
                 decimal, octal or binary)",
                word.get_ref()
            );
            place.error(word.span().start, message)
        })?;
        columns.insert(name, column);
    }
    let form = match one_of(raw.form, &[("samples", b's'), ("changes", b'c')])? {
        Some(b's') => Some(TableForm::Samples),
        Some(_) => Some(TableForm::Changes),
        None => None,
    };
    Ok(ReadSetup {
        timescale_s: tick(raw.timescale, place)?,
        time_unit_s,
        sample_period_s: sample_period(raw.sample_period, raw.sample_rate, place)?,
        delimiter: one_of(
            raw.delimiter,
            &[
                (",", b','),
                (";", b';'),
                ("|", b'|'),
                ("tab", b'\t'),
                ("\t", b'\t'),
            ],
        )?,
        decimal: one_of(raw.decimal, &[(".", b'.'), (",", b',')])?,
        form,
        family: raw.family.map(|name| family(&name, place)).transpose()?,
        columns,
        names: names(raw.names, place)?,
        rename: rename(raw.rename, place)?,
    })
}

/// `names = ["Time", "STEP", ""]`: each line's another; an empty one leaves its column to be numbered.
fn names(list: Vec<Spanned<String>>, place: &Place) -> Result<Vec<String>, Error> {
    let mut names: Vec<String> = Vec::new();
    for name in list {
        let text = name.get_ref().trim();
        if !text.is_empty() && names.iter().any(|other| other == text) {
            let message = format!("found {text:?} a second time, expected another name for each column");
            return Err(place.error(name.span().start, message));
        }
        names.push(text.to_owned());
    }
    Ok(names)
}

/// `[read.rename]`: names by heading or number.
fn rename(
    table: BTreeMap<String, Spanned<String>>,
    place: &Place,
) -> Result<BTreeMap<String, String>, Error> {
    let mut renamed: BTreeMap<String, String> = BTreeMap::new();
    for (column, name) in table {
        let (text, at) = (name.get_ref().trim(), name.span().start);
        if text.is_empty() {
            return Err(place.error(at, "found an empty name, expected what the line is called"));
        }
        if renamed.values().any(|other| other == text) {
            let message = format!("found {text:?} a second time, expected another name for each column");
            return Err(place.error(at, message));
        }
        renamed.insert(column, text.to_owned());
    }
    Ok(renamed)
}

/// `sample_period = "41.667 ns"` or `sample_rate = "24 MHz"`, not both.
fn sample_period(
    period: Option<Spanned<String>>,
    rate: Option<Spanned<String>>,
    place: &Place,
) -> Result<Option<f64>, Error> {
    let Some(rate) = rate else {
        return tick(period, place);
    };
    let at = rate.span().start;
    if period.is_some() {
        return Err(place.error(
            at,
            "found both sample_period and sample_rate, expected one of them",
        ));
    }
    let hertz = super::parse_hertz(rate.get_ref()).map_err(|message| place.error(at, message))?;
    if TICKS_S.contains(&(1.0 / hertz)) {
        Ok(Some(1.0 / hertz))
    } else {
        Err(place.error(at, "expected a rate from 1 µHz to 1000 THz"))
    }
}

/// No instrument's sample is shorter than a femtosecond, and none waits for longer than a million seconds; a rounding is let
/// through.
const TICKS_S: std::ops::RangeInclusive<f64> = 0.999e-15..=1.001e6;

fn tick(value: Option<Spanned<String>>, place: &Place) -> Result<Option<f64>, Error> {
    let at = value.as_ref().map_or(0, |value| value.span().start);
    match place.positive_seconds(value)? {
        Some(seconds) if !TICKS_S.contains(&seconds) => {
            Err(place.error(at, "expected a time from 1 fs to 1000000 s"))
        }
        within => Ok(within),
    }
}

fn column(text: &str) -> Option<ColumnKind> {
    /// No wider bus is written in one cell.
    const WIDEST: usize = 128;
    let words: Vec<&str> = text.split_whitespace().collect();
    Some(match words.as_slice() {
        ["time"] => ColumnKind::Time,
        ["digital"] => ColumnKind::Digital,
        ["analog"] => ColumnKind::Analog,
        ["ignore"] => ColumnKind::Ignore,
        ["bus", bits, base] => ColumnKind::Bus {
            bits: bits.parse().ok().filter(|b| (1..=WIDEST).contains(b))?,
            base: match *base {
                "hex" => 16,
                "decimal" => 10,
                "octal" => 8,
                "binary" => 2,
                _ => return None,
            },
        },
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::super::Setup;
    use super::*;

    #[test]
    fn every_word_of_read_is_understood() {
        let text = "[read]\ntimescale = \"10 ns\"\ntime_unit = \"ms\"\nsample_period = \"41.667 ns\"\ndelimiter = \"tab\"\n\
                    decimal = \",\"\nform = \"samples\"\nfamily = \"cmos-5v\"\n[read.columns]\nDATA = \"bus 8 hex\"\n3 = \"ignore\"\n";
        let read = Setup::parse(text, "s.toml").unwrap().read;
        assert_eq!(read.timescale_s, Some(10e-9));
        assert_eq!(read.time_unit_s, Some(1e-3));
        assert_eq!(
            (read.delimiter, read.decimal, read.form),
            (Some(b'\t'), Some(b','), Some(TableForm::Samples))
        );
        assert_eq!(read.family.unwrap().thresholds.high_v, 3.5);
        assert_eq!(read.columns["DATA"], ColumnKind::Bus { bits: 8, base: 16 });
        assert_eq!(read.columns["3"], ColumnKind::Ignore);
    }

    #[test]
    fn columns_are_named_by_a_list_or_one_by_one() {
        let text = "[read]\nnames = [\"Time\", \"STEP\", \"\"]\n[read.rename]\n2 = \"CLEAR_N\"\n\"CH 3\" = \"NOTE\"\n";
        let read = Setup::parse(text, "s.toml").unwrap().read;
        assert_eq!(read.names, ["Time", "STEP", ""]);
        assert_eq!(
            (&read.rename["2"][..], &read.rename["CH 3"][..]),
            ("CLEAR_N", "NOTE")
        );
    }

    #[test]
    fn a_rate_is_a_period() {
        let read = Setup::parse("[read]\nsample_rate = \"24 MHz\"\n", "s.toml")
            .unwrap()
            .read;
        assert_eq!(read.sample_period_s, Some(1.0 / 24e6));
    }

    #[test]
    fn samples_from_a_femtosecond_on_are_taken() {
        for text in [
            "sample_period = \"1 fs\"",
            "sample_rate = \"1000000 GHz\"",
            "sample_period = \"1000000 s\"",
        ] {
            let setup = Setup::parse(&format!("[read]\n{text}\n"), "s.toml");
            assert!(setup.unwrap().read.sample_period_s.is_some(), "{text}");
        }
    }

    #[test]
    fn a_mistake_in_read_names_its_place() {
        for (text, line) in [
            ("[read]\ndelimiter = \"#\"\n", 2),
            ("[read]\nform = \"both\"\n", 2),
            ("[read]\ntime_unit = \"weeks\"\n", 2),
            ("[read]\n[read.columns]\nA = \"bus 900 hex\"\n", 3),
            ("[read]\nfamily = \"ttl\"\n", 2),
            ("[read]\nunit = \"ms\"\n", 2),
            ("[read]\nsample_rate = \"24\"\n", 2),
            ("[read]\nsample_rate = \"0 Hz\"\n", 2),
            ("[read]\nsample_rate = \"1e300 Hz\"\n", 2),
            ("[read]\nsample_rate = \"1e-300 Hz\"\n", 2),
            ("[read]\nsample_period = \"1e-300 s\"\n", 2),
            ("[read]\ntimescale = \"1e300 s\"\n", 2),
            ("[read]\nnames = [\"Time\",\n\"A\", \"A\"]\n", 3),
            ("[read.rename]\n1 = \"\"\n", 2),
            ("[read.rename]\n1 = \"A\"\n2 = \"A\"\n", 3),
            ("[read]\nsample_period = \"1 us\"\nsample_rate = \"1 MHz\"\n", 3),
        ] {
            let error = Setup::parse(text, "s.toml").unwrap_err();
            assert_eq!(error.line, line, "{text}: {error}");
        }
    }
}
