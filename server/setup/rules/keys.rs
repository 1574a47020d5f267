//! Keys of a rule one by one: names, levels, edges, times; what is missing or wrong is told at its place.

use serde::Deserialize;
use serde::de::{self, SeqAccess, Visitor};
use toml::Spanned;

use super::super::raw::Place;
use super::super::{Error, parse_hertz, parse_seconds};
use crate::model::{Level, Polarity};
use crate::rule::{Bounds, EdgeOf};

/// A key's text with its place; taken out once it is read, so that what is left over is a key that does not belong.
pub(super) type Text = Option<Spanned<String>>;

/// One name, or a list of names.
pub struct Names(pub(super) Vec<String>);

impl<'de> Deserialize<'de> for Names {
    fn deserialize<D: de::Deserializer<'de>>(deserializer: D) -> Result<Names, D::Error> {
        struct NamesVisitor;
        impl<'de> Visitor<'de> for NamesVisitor {
            type Value = Names;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a line's name in quotes, or a list of names in brackets")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Names, E> {
                Ok(Names(vec![text.to_owned()]))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Names, A::Error> {
                let mut names = Vec::new();
                while let Some(name) = list.next_element()? {
                    names.push(name);
                }
                Ok(Names(names))
            }
        }
        deserializer.deserialize_any(NamesVisitor)
    }
}

/// The keys one kind of rule needs, and what is said when one is missing.
pub(super) struct Need<'a> {
    pub(super) place: &'a Place<'a>,
    /// Byte of the rule's heading in the file.
    pub(super) at: usize,
    pub(super) kind: String,
}

impl Need<'_> {
    /// The error for a key that the kind of rule needs.
    pub(super) fn missing(&self, key: &str) -> Error {
        let message = format!("a rule of kind \"{}\" needs the key {key}", self.kind);
        self.place.error(self.at, message)
    }

    /// A line's name.
    ///
    /// # Errors
    /// Missing or empty.
    pub(super) fn text(&self, value: &mut Text, key: &str) -> Result<String, Error> {
        let value = value.take().ok_or_else(|| self.missing(key))?;
        if value.get_ref().trim().is_empty() {
            return Err(self
                .place
                .error(value.span().start, "expected a line's name, found nothing"));
        }
        Ok(value.into_inner())
    }

    /// One or several lines' names.
    ///
    /// # Errors
    /// Missing, none, or one name twice.
    pub(super) fn names(&self, value: &mut Option<Spanned<Names>>, key: &str) -> Result<Vec<String>, Error> {
        let value = value.take().ok_or_else(|| self.missing(key))?;
        let start = value.span().start;
        let names = value.into_inner().0;
        if names.is_empty() {
            return Err(self
                .place
                .error(start, "found an empty list, expected at least one line's name"));
        }
        let twice = |i: &usize| names[..*i].contains(&names[*i]);
        if let Some(i) = (1..names.len()).find(twice) {
            return Err(self
                .place
                .error(start, format!("found the line \"{}\" twice", names[i])));
        }
        Ok(names)
    }

    /// A line and which of its edges; each pair is the value and its key.
    ///
    /// # Errors
    /// Either missing, or another word than rise, fall, both.
    pub(super) fn edge_of(&self, line: (&mut Text, &str), edge: (&mut Text, &str)) -> Result<EdgeOf, Error> {
        let name = self.text(line.0, line.1)?;
        let edge_word = edge.0.take().ok_or_else(|| self.missing(edge.1))?;
        let polarity = match edge_word.get_ref().as_str() {
            "rise" => Some(Polarity::Rise),
            "fall" => Some(Polarity::Fall),
            "both" => None,
            other => {
                let message = format!("found the edge \"{other}\", expected rise, fall or both");
                return Err(self.place.error(edge_word.span().start, message));
            }
        };
        Ok(EdgeOf { line: name, polarity })
    }

    /// The key `level`.
    ///
    /// # Errors
    /// Missing, or another word than low, high.
    pub(super) fn level(&self, value: &mut Text) -> Result<Level, Error> {
        let value = value.take().ok_or_else(|| self.missing("level"))?;
        self.place
            .level(Some(value))
            .map(|l| l.expect("a level was given"))
    }

    /// A time with its unit, in seconds, above 0.
    ///
    /// # Errors
    /// Missing, no time, or not above 0.
    pub(super) fn seconds(&self, value: &mut Text, key: &str) -> Result<f64, Error> {
        let value = value.take().ok_or_else(|| self.missing(key))?;
        self.place
            .positive_seconds(Some(value))
            .map(|s| s.expect("a time was given"))
    }

    /// Shortest and longest time in seconds, at least one of them.
    ///
    /// # Errors
    /// Neither given, no time, or in the wrong order.
    pub(super) fn bounds(&self, at_least: &mut Text, at_most: &mut Text) -> Result<Bounds, Error> {
        let at_most_at = at_most.as_ref().map(|t| t.span().start);
        let bounds = Bounds {
            at_least_s: self.place.positive_seconds(at_least.take())?,
            at_most_s: self.place.positive_seconds(at_most.take())?,
        };
        self.ordered(bounds, at_most_at)
    }

    /// Lowest and highest frequency, as longest and shortest period in seconds.
    ///
    /// # Errors
    /// As [`bounds`](Need::bounds).
    pub(super) fn frequency_bounds(&self, at_least: &mut Text, at_most: &mut Text) -> Result<Bounds, Error> {
        let at_most_at = at_most.as_ref().map(|t| t.span().start);
        let hertz = |value: &mut Text| match value.take() {
            None => Ok(None),
            Some(text) => match parse_hertz(text.get_ref()) {
                Ok(hertz) if hertz > 0.0 => Ok(Some(1.0 / hertz)),
                Ok(_) => Err(self
                    .place
                    .error(text.span().start, "expected a frequency greater than zero")),
                Err(message) => Err(self.place.error(text.span().start, message)),
            },
        };
        // The lowest frequency is the longest period.
        let bounds = Bounds {
            at_most_s: hertz(at_least)?,
            at_least_s: hertz(at_most)?,
        };
        self.ordered(bounds, at_most_at)
    }

    /// The bounds if there is one and they are in order; `at` is the byte of `at_most`.
    pub(super) fn ordered(&self, bounds: Bounds, at: Option<usize>) -> Result<Bounds, Error> {
        match (bounds.at_least_s, bounds.at_most_s) {
            (None, None) => Err(self.missing("at_least or at_most")),
            (Some(least), Some(most)) if least > most => {
                let message = "expected at_most not below at_least";
                Err(self.place.error(at.unwrap_or(self.at), message))
            }
            _ => Ok(bounds),
        }
    }
}

impl Place<'_> {
    /// A level; `None` when not given.
    ///
    /// # Errors
    /// Another word than low, high.
    pub(super) fn level(&self, value: Text) -> Result<Option<Level>, Error> {
        let Some(value) = value else { return Ok(None) };
        match value.get_ref().as_str() {
            "low" => Ok(Some(Level::Low)),
            "high" => Ok(Some(Level::High)),
            other => {
                let message = format!("found the level \"{other}\", expected low or high");
                Err(self.error(value.span().start, message))
            }
        }
    }

    /// A time in seconds; 0 when not given.
    ///
    /// # Errors
    /// No time, or below 0.
    pub(super) fn seconds_or_zero(&self, value: Text) -> Result<f64, Error> {
        let Some(value) = value else { return Ok(0.0) };
        let at = value.span().start;
        match parse_seconds(value.get_ref()) {
            Ok(seconds) if seconds >= 0.0 => Ok(seconds),
            Ok(_) => Err(self.error(at, "expected a time not below zero")),
            Err(message) => Err(self.error(at, message)),
        }
    }
}
