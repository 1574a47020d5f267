//! The TOML setup file → checked settings; each mistake is told with its line and column.
//!
//! Every key is optional. [`Setup::parse`] reads the text in two steps: serde gives the raw shape with the
//! place of each value, then each value is checked and turned into numbers with a unit.

mod error;
mod quantity;
mod rails;
mod raw;
mod read;
mod rules;
mod words;

use std::collections::BTreeMap;

pub use error::Error;
pub use quantity::{parse_hertz, parse_seconds, parse_volts};
pub use read::ReadSetup;
pub use words::without_kind;

use crate::model::Family;
use crate::rule::{Rail, Rule};

/// A setup file with every part and key explained; what `edgewitness setup` prints and the page on setup files shows.
pub const EXAMPLE: &str = include_str!("example.toml");

/// What the person said about the machine and its captures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Setup {
    /// Settings by line name.
    pub lines: BTreeMap<String, LineSetup>,
    pub links: Vec<LinkSetup>,
    /// Limits first, then logic, latches, sequences, each in the order of the file.
    pub rules: Vec<Rule>,
    pub rails: Vec<Rail>,
    pub read: ReadSetup,
}

/// What was said about one line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineSetup {
    /// Pulses shorter than this are strays.
    pub narrow_below_s: Option<f64>,
    pub thresholds: Option<Family>,
    /// Pulses judged by a person: when each starts, in seconds on the file's own clock, and whether it is a stray.
    pub judged: Vec<(f64, bool)>,
}

/// A link to check: one signal seen at two places.
#[derive(Clone, Debug, PartialEq)]
pub struct LinkSetup {
    pub from: String,
    pub to: String,
    pub max_delay_s: Option<f64>,
    pub inverted: bool,
}

impl Setup {
    /// Reads the text of a setup file; `file` is its name, for messages.
    ///
    /// # Errors
    /// The first mistake, with line and column (from 1), what was found and what was expected.
    pub fn parse(text: &str, file: &str) -> Result<Setup, Error> {
        raw::parse(text, file)
    }

    /// The narrow limit declared for a line, in seconds.
    pub fn narrow_below_s(&self, line: &str) -> Option<f64> {
        self.lines.get(line).and_then(|l| l.narrow_below_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_the_contract_s_example() {
        let text = "[line.CLEAR_N]\nnarrow_below = \"60 ns\"\nfamily = \"ttl-5v\"\n\n[[link]]\nfrom = \"STRIKE_OUT\"\n\
                    to = \"STRIKE_IN\"\nmax_delay = \"200 ns\"\ninverted = false\n";
        let setup = Setup::parse(text, "setup.toml").unwrap();
        assert_eq!(setup.narrow_below_s("CLEAR_N"), Some(60e-9));
        let family = setup.lines["CLEAR_N"].thresholds.clone().unwrap();
        assert_eq!((family.thresholds.low_v, family.thresholds.high_v), (0.8, 2.0));
        assert_eq!(setup.links[0].max_delay_s, Some(200e-9));
    }

    #[test]
    fn the_example_is_read_and_shows_every_kind_of_rule() {
        let setup = Setup::parse(EXAMPLE, "example.toml").unwrap();
        assert_eq!(
            (setup.lines.len(), setup.links.len(), setup.rails.len()),
            (3, 1, 2)
        );
        assert_eq!(setup.rules.len(), 16);
        assert!(EXAMPLE.contains("[[latch]]"));
        for kind in rules::LIMIT_KINDS.split(", ") {
            assert!(EXAMPLE.contains(&format!("kind = \"{kind}\"")), "{kind}");
        }
        for word in rules::STEP_RULES.split(", ") {
            assert!(EXAMPLE.contains(word), "{word}");
        }
        for (family, _) in crate::model::FAMILIES {
            assert!(EXAMPLE.contains(family), "{family}");
        }
    }

    #[test]
    fn a_mistake_names_its_line_and_column() {
        let place = |text: &str| {
            let error = Setup::parse(text, "s.toml").unwrap_err();
            (error.line, error.column, error.to_string())
        };
        let (line, column, message) = place("[line.A]\nnarrow_below = \"60 parsecs\"\n");
        assert_eq!((line, column), (2, 16));
        assert!(message.contains("s.toml, line 2, column 16"), "{message}");
        assert_eq!(place("[line.A]\nnarrow = \"60 ns\"\n").0, 2);
        assert_eq!(place("[[link]]\nfrom = \"A\"\n").0, 1);
        assert_eq!(place("\n[line.A]\nfamily = \"ttl-9v\"\n").0, 3);
        assert_eq!(place("[line.A]\nlow = 2.0\nhigh = 1.0\n").0, 2);
        assert_eq!(place("[line.A\n").0, 1);
    }
}
