//! The shape of the file as serde sees it, each value with its place, and the checks on it.
//!
//! Spans survive plain structs and maps, but neither `flatten` nor `untagged`: neither is used here.

use std::collections::BTreeMap;

use serde::Deserialize;
use toml::Spanned;

use super::rails::{self, RawRail, RawReading};
use super::read::{self, RawRead};
use super::rules::{self, RawLatch, RawLimit, RawLogic, RawSequence};
use super::words::in_words;
use super::{Error, LineSetup, LinkSetup, Setup, parse_seconds};
use crate::model::{FAMILIES, Family};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawSetup {
    #[serde(default)]
    line: BTreeMap<String, Spanned<RawLine>>,
    #[serde(default)]
    link: Vec<RawLink>,
    #[serde(default)]
    limit: Vec<Spanned<RawLimit>>,
    #[serde(default)]
    logic: Vec<Spanned<RawLogic>>,
    #[serde(default)]
    latch: Vec<Spanned<RawLatch>>,
    #[serde(default)]
    sequence: Vec<Spanned<RawSequence>>,
    #[serde(default)]
    rail: BTreeMap<String, Spanned<RawRail>>,
    #[serde(default)]
    reading: Vec<RawReading>,
    #[serde(default)]
    read: RawRead,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLine {
    narrow_below: Option<Spanned<String>>,
    family: Option<Spanned<String>>,
    low: Option<Spanned<f64>>,
    high: Option<Spanned<f64>>,
    #[serde(default)]
    stray_at: Vec<Spanned<String>>,
    #[serde(default)]
    legitimate_at: Vec<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLink {
    from: String,
    to: Spanned<String>,
    max_delay: Option<Spanned<String>>,
    #[serde(default)]
    inverted: bool,
}

/// The setup that the text says.
///
/// # Errors
/// As [`Setup::parse`].
pub fn parse(text: &str, file: &str) -> Result<Setup, Error> {
    let raw: RawSetup = toml::from_str(text).map_err(|error| {
        let offset = error.span().map_or(0, |span| span.start);
        let at = text.get(offset..).unwrap_or_default();
        let is_first_line = !text.get(..offset).unwrap_or_default().contains('\n');
        Error::at(file, text, offset, in_words(error.message(), at, is_first_line))
    })?;
    let place = Place { text, file };
    let mut setup = Setup::default();
    for (name, line) in raw.line {
        setup.lines.insert(name, line_setup(line.into_inner(), &place)?);
    }
    for link in raw.link {
        if link.from == *link.to.get_ref() {
            let message = format!("found {} at both ends, expected two different lines", link.from);
            return Err(place.error(link.to.span().start, message));
        }
        setup.links.push(LinkSetup {
            max_delay_s: place.seconds_at_most(
                link.max_delay,
                LONGEST_WAIT,
                "the delay of a wire or a part",
            )?,
            from: link.from,
            to: link.to.into_inner(),
            inverted: link.inverted,
        });
    }
    for limit in raw.limit {
        setup.rules.push(rules::limit(limit, &place)?);
    }
    for logic in raw.logic {
        setup.rules.push(rules::logic(logic, &place)?);
    }
    for latch in raw.latch {
        setup.rules.push(rules::latch(latch, &place)?);
    }
    for sequence in raw.sequence {
        setup.rules.push(rules::sequence(sequence, &place)?);
    }
    setup.rails = rails::rails(raw.rail, raw.reading, &place)?;
    setup.read = read::read(raw.read, &place)?;
    Ok(setup)
}

/// No wire and no part of a bench keeps anybody waiting for longer: whoever says more meant another unit. No source.
pub const LONGEST_WAIT: Longest = Longest(60.0, "a minute at most: is its unit right?");

/// A stray is short: whoever says more meant another unit, or slipped in the exponent. A year; no source.
const MOST_NARROW: Longest = Longest(366.0 * 86_400.0, "a year at most");

fn narrow_below(value: Option<Spanned<String>>, place: &Place) -> Result<Option<f64>, Error> {
    place.seconds_at_most(value, MOST_NARROW, "the width of a pulse")
}

fn line_setup(line: RawLine, place: &Place) -> Result<LineSetup, Error> {
    let thresholds = match (line.family, line.low, line.high) {
        (None, None, None) => None,
        (Some(name), None, None) => Some(family(&name, place)?),
        (None, Some(low), Some(high)) => {
            let (low_v, high_v) = (*low.get_ref(), *high.get_ref());
            if !(low_v.is_finite() && high_v.is_finite() && low_v < high_v) {
                let message =
                    format!("found low = {low_v} and high = {high_v}, expected low below high, in volts");
                return Err(place.error(low.span().start, message));
            }
            Some(Family::by_volts(low_v, high_v))
        }
        (family, low, high) => {
            let starts = [
                family.map(|f| f.span().start),
                low.map(|l| l.span().start),
                high.map(|h| h.span().start),
            ];
            let at = starts.into_iter().flatten().min().unwrap_or(0);
            let words = ["family", "low", "high"].into_iter().zip(starts);
            let found: Vec<&str> = words
                .filter(|(_, start)| start.is_some())
                .map(|(word, _)| word)
                .collect();
            let message = format!(
                "found {}, expected either a family, or both low and high in volts",
                found.join(" and ")
            );
            return Err(place.error(at, message));
        }
    };
    let mut judged: Vec<(f64, bool)> = Vec::new();
    for (list, stray) in [(line.stray_at, true), (line.legitimate_at, false)] {
        for start in list {
            let at = start.span().start;
            let seconds = parse_seconds(start.get_ref()).map_err(|message| place.error(at, message))?;
            if judged.iter().any(|&(other, _)| other == seconds) {
                return Err(place.error(
                    at,
                    "this pulse is judged twice, expected it once, under stray_at or legitimate_at",
                ));
            }
            judged.push((seconds, stray));
        }
    }
    Ok(LineSetup {
        narrow_below_s: narrow_below(line.narrow_below, place)?,
        thresholds,
        judged,
    })
}

/// The family of a word.
pub fn family(name: &Spanned<String>, place: &Place) -> Result<Family, Error> {
    Family::named(name.get_ref()).ok_or_else(|| {
        let names: Vec<&str> = FAMILIES.iter().map(|(name, _)| *name).collect();
        let message = format!(
            "found the family \"{}\", expected one of {}",
            name.get_ref(),
            names.join(", ")
        );
        place.error(name.span().start, message)
    })
}

/// The longest time that is believed, in seconds, and how that is said.
#[derive(Clone, Copy)]
pub struct Longest(f64, &'static str);

/// The text that is read, to turn byte offsets into lines and columns.
pub struct Place<'a> {
    text: &'a str,
    file: &'a str,
}

impl Place<'_> {
    /// A mistake at byte `offset` of the file.
    pub fn error(&self, offset: usize, message: impl Into<String>) -> Error {
        Error::at(self.file, self.text, offset, message)
    }

    /// A mistake at byte `inside` of a text value: exact when the text stands in the file as it is, without escapes.
    pub fn error_inside(&self, value: &Spanned<String>, inside: usize, message: impl Into<String>) -> Error {
        let span = value.span();
        let written = self.text.get(span.clone()).unwrap_or("");
        let at = written
            .find(value.get_ref().as_str())
            .map_or(span.start, |quote| span.start + quote + inside);
        self.error(at, message)
    }

    /// The line of the file, from 1, in which byte `offset` lies.
    pub fn line_of(&self, offset: usize) -> usize {
        self.error(offset, "").line
    }

    /// A time with its unit, in seconds, of `what` ("the delay of a wire"), up to `longest`.
    ///
    /// # Errors
    /// No time, not above 0, or above `longest`.
    pub fn seconds_at_most(
        &self,
        value: Option<Spanned<String>>,
        longest: Longest,
        what: &str,
    ) -> Result<Option<f64>, Error> {
        let at = value.as_ref().map_or(0, |value| value.span().start);
        let found = value
            .as_ref()
            .map_or(String::new(), |value| value.get_ref().clone());
        match self.positive_seconds(value)? {
            Some(seconds) if seconds > longest.0 => {
                let message = format!("found \"{found}\", expected {what}, {}", longest.1);
                Err(self.error(at, message))
            }
            seconds => Ok(seconds),
        }
    }

    /// A time with its unit, in seconds.
    ///
    /// # Errors
    /// No time, or not above 0.
    pub fn positive_seconds(&self, value: Option<Spanned<String>>) -> Result<Option<f64>, Error> {
        let Some(value) = value else { return Ok(None) };
        let at = value.span().start;
        let seconds = parse_seconds(value.get_ref()).map_err(|message| self.error(at, message))?;
        if seconds > 0.0 {
            Ok(Some(seconds))
        } else {
            let found = value.get_ref();
            Err(self.error(
                at,
                format!("found \"{found}\", expected a time greater than zero"),
            ))
        }
    }
}
