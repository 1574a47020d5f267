//! Declared links, pulse by pulse; declaring them and taking them back in the text of a setup.

use serde::Serialize;

use super::inspect::link_options;
use super::setup_text::{end_of_table, with_table, without_table};
use crate::analysis::links::{self, EndPulse};
use crate::model::Capture;
use crate::setup::{LinkSetup, Setup, parse_seconds};

/// What became of one pulse. Times in seconds on the capture's clock.
#[derive(Clone, Debug, PartialEq, Serialize, utoipa::ToSchema)]
pub struct PulseFate {
    /// `arrived`, `missing` (sent, never arrived), `extra` (nobody sent it) or `another-width`.
    pub fate: &'static str,
    /// Start at the sending end; of an extra pulse, at the far end.
    pub start_s: f64,
    pub width_s: f64,
    pub delay_s: Option<f64>,
    /// Width at the far end, where that differs from the rest.
    pub width_arrived_s: Option<f64>,
}

/// Every pulse of the link between two lines, in time. `None` where no such link is declared. Cost: that of checking
/// this link, linear in edges.
pub fn pulses(capture: &Capture, setup: &Setup, from: &str, to: &str) -> Option<Vec<PulseFate>> {
    let (from, to) = (capture.line_index(from)?, capture.line_index(to)?);
    let option = link_options(capture, setup)
        .into_iter()
        .find(|o| o.from == from && o.to == to)?;
    let link = links::check(capture, &[option]).pop()?;
    let width = |pulse: &EndPulse| capture.timebase.length_s((pulse.end - pulse.start).0 as f64);
    let fate = |fate, pulse: &EndPulse| PulseFate {
        fate,
        start_s: capture.seconds(pulse.start),
        width_s: width(pulse),
        delay_s: None,
        width_arrived_s: None,
    };
    let mut all: Vec<PulseFate> = Vec::new();
    for arrival in &link.arrivals {
        let odd = link.distorted.iter().find(|d| d.sent.start == arrival.sent.start);
        all.push(PulseFate {
            delay_s: Some(capture.timebase.length_s(arrival.delay)),
            width_arrived_s: odd.map(|d| width(&d.arrived)),
            ..fate(
                if odd.is_some() { "another-width" } else { "arrived" },
                &arrival.sent,
            )
        });
    }
    all.extend(link.missing.iter().map(|pulse| fate("missing", pulse)));
    all.extend(link.extra.iter().map(|pulse| fate("extra", pulse)));
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    Some(all)
}

/// The setup's text with one more link. `max_delay`: a time with its unit, or empty.
///
/// # Errors
/// A sentence: a name is empty, both are the same, the link is declared already, or the delay is no time.
pub fn declared(text: &str, from: &str, to: &str, max_delay: &str, inverted: bool) -> Result<String, String> {
    let (from, to, max_delay) = (from.trim(), to.trim(), max_delay.trim());
    if from.is_empty() || to.is_empty() || from == to {
        return Err("Expected two different lines: the sending end and the far end.".to_owned());
    }
    let setup = Setup::parse(text, "the setup").map_err(|error| error.to_string())?;
    if setup.links.iter().any(|link| link.from == from && link.to == to) {
        return Err(format!("The link from {from} to {to} is declared already."));
    }
    let mut link = format!("[[link]]\nfrom = {}\nto = {}\n", quoted(from), quoted(to));
    if !max_delay.is_empty() {
        parse_seconds(max_delay).map_err(|message| format!("The longest delay: {message}."))?;
        link.push_str(&format!("max_delay = {}\n", quoted(max_delay)));
    }
    if inverted {
        link.push_str("inverted = true\n");
    }
    let text = with_table(text, &link);
    Setup::parse(&text, "the setup with the new link").map_err(|error| error.to_string())?;
    Ok(text)
}

/// The setup's text without the link between two lines; everything else stays as it was written.
///
/// # Errors
/// A sentence: no such link is declared.
pub fn taken_back(text: &str, from: &str, to: &str) -> Result<String, String> {
    let missing = || format!("There is no link from {from} to {to} in the setup.");
    let is_it = |link: &LinkSetup| link.from == from && link.to == to;
    let lines: Vec<&str> = text.lines().collect();
    let mut at = 0;
    while at < lines.len() {
        if !lines[at].trim_start().starts_with("[[link]]") {
            at += 1;
            continue;
        }
        let end = end_of_table(&lines, at);
        let block = Setup::parse(&lines[at..end].join("\n"), "the link");
        if block.is_ok_and(|setup| setup.links.iter().any(is_it)) {
            let rest = without_table(text, at);
            Setup::parse(&rest, "the setup without the link").map_err(|error| error.to_string())?;
            return Ok(rest);
        }
        at = end;
    }
    Err(missing())
}

/// A TOML basic string.
pub fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# the carillon\n[[link]]\nfrom = \"A\"   # here\nto = \"B\"\n\n# clear\n[line.CLEAR_N]\nnarrow_below = \"60 ns\"\n";

    #[test]
    fn a_link_is_declared_and_taken_back_and_the_rest_stays() {
        let with = declared(TEXT, "STRIKE \"x\"", "T", "200 ns", true).unwrap();
        let setup = Setup::parse(&with, "s").unwrap();
        assert_eq!(setup.links[1].from, "STRIKE \"x\"");
        assert_eq!(
            (setup.links[1].max_delay_s, setup.links[1].inverted),
            (Some(200e-9), true)
        );
        assert_eq!(taken_back(&with, "STRIKE \"x\"", "T").unwrap(), TEXT);
        let without = taken_back(TEXT, "A", "B").unwrap();
        assert_eq!(
            without,
            "# the carillon\n\n# clear\n[line.CLEAR_N]\nnarrow_below = \"60 ns\"\n"
        );
        assert_eq!(
            declared("", "A", "B", "", false).unwrap(),
            "[[link]]\nfrom = \"A\"\nto = \"B\"\n"
        );
    }

    #[test]
    fn links_that_can_t_be_declared_are_told() {
        assert!(
            declared(TEXT, "A", "B", "", false)
                .unwrap_err()
                .contains("already")
        );
        assert!(
            declared(TEXT, "A", "A", "", false)
                .unwrap_err()
                .contains("different")
        );
        assert!(
            declared(TEXT, "A", "C", "soon", false)
                .unwrap_err()
                .contains("delay")
        );
        assert!(taken_back(TEXT, "B", "A").unwrap_err().contains("no link"));
    }
}
