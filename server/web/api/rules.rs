//! A rule from a form's fields: written as TOML at the end of the session's setup, each mistake told by the field's own
//! words; and a rule taken out of it.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::{Deserialize, Serialize};

use super::line_names::parted;
use super::log::change_setup;
use crate::analysis::rules::check_one;
use crate::model::{Capture, Level, Line};
use crate::setup::{Error, Setup};
use crate::store::{Session, SessionId};
use crate::web::error::{Failure, sentence};
use crate::web::state::App;
use crate::workflow::known_lines::no_such;
use crate::workflow::links::quoted;
use crate::workflow::setup_text::{with_narrow, with_table, without_rail, without_rule};

/// Keys whose fields hold several names, parted by blanks or commas.
const LISTS: [&str; 5] = ["bus", "data", "lines", "output", "watch"];
/// Keys whose fields hold a whole number.
const NUMBERS: [&str; 1] = ["modulus"];
/// The keys a form may send beside `kind`. `load_from` is the list that `load` knows as `from`.
const KEYS: [&str; 28] = [
    "name",
    "line",
    "lines",
    "data",
    "level",
    "bus",
    "output",
    "is",
    "enable",
    "open_at",
    "strobe",
    "edge",
    "rule",
    "modulus",
    "direction",
    "up_at",
    "from",
    "load_from",
    "from_edge",
    "to",
    "to_edge",
    "serial",
    "before",
    "after",
    "at_least",
    "at_most",
    "settle",
    "watch",
];
/// The keys of a rail beside `line`, which names it.
const RAIL_KEYS: [&str; 4] = ["nominal", "tolerance", "supply_end", "max_drop"];
/// The key of the width below which a line's pulses are strays, beside `line`.
const NARROW_KEYS: [&str; 1] = ["narrow_below"];

/// What the form on the page calls a key; other keys are called as in the setup file.
const FIELDS: [(&str, &str); 33] = [
    ("kind", "Kind"),
    ("name", "Name, if you like"),
    ("line", "Line"),
    ("lines", "Lines, parted by blanks"),
    ("data", "Data lines, parted by blanks"),
    ("level", "Level"),
    ("bus", "Bus, most significant first"),
    ("output", "Output, most significant first"),
    ("is", "Is"),
    ("enable", "Enable"),
    ("open_at", "Open while it is"),
    ("strobe", "Strobe"),
    ("edge", "Edge"),
    ("rule", "Steps by"),
    ("modulus", "Modulus, if it begins again early"),
    ("direction", "Direction line, for a count"),
    ("up_at", "Counts up while it is"),
    ("serial", "Serial input, for a shift"),
    ("from", "From"),
    ("load_from", "From lines, for a load"),
    ("from_edge", "its edge"),
    ("to", "To"),
    ("to_edge", "its edge"),
    ("before", "Before"),
    ("after", "After"),
    ("at_least", "At least"),
    ("at_most", "At most"),
    ("settle", "Settles within"),
    ("watch", "Look also at"),
    ("nominal", "Nominal"),
    ("tolerance", "Tolerance"),
    ("max_drop", "Largest drop from there"),
    ("narrow_below", "Too narrow below"),
];

/// A rule of the session's setup, to be taken out.
#[derive(Serialize, Deserialize, utoipa::ToSchema)]
pub struct NamedRule {
    /// As the report has it; of a rail its line.
    pub name: String,
    /// The line of the setup on which it begins, from 1; null for a rail.
    pub setup_line: Option<u64>,
}

/// Adds the rule; empty fields are left out.
pub async fn add(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(fields): Json<BTreeMap<String, String>>,
) -> Result<Json<Session>, Failure> {
    let id = SessionId(id);
    let opened = app.in_memory(id);
    let known = opened
        .as_deref()
        .map_or(Vec::new(), |opened| names(&opened.capture));
    let rule = written(&fields, &known).map_err(Failure::wrong)?;
    let parsed = Setup::parse(&rule, "the rule").map_err(|error| Failure::wrong(by_field(&rule, &error)))?;
    if let Some(opened) = opened
        && let Some(name) = missing(&opened.capture, &parsed)
    {
        let told = no_such(&opened.capture, &name);
        let told = format!(
            "{}: {told} A rule for lines of captures to come goes into the setup, in the bench log.",
            field_of(&fields, &name, &known)
        );
        return Err(Failure::wrong(told));
    }
    let name = parsed.rules.first().map(|rule| format!("rule \"{}\"", rule.name));
    let narrow = parsed.lines.keys().next().cloned();
    let of_line = |line: &String| format!("rule \"narrow_below of {line}\"");
    let name = name.or(narrow.as_ref().map(of_line));
    let name = name.unwrap_or_else(|| format!("rail {}", parsed.rails.first().map_or("", |rail| &rail.line)));
    change_setup(app, id, format!("{name} added"), move |text| {
        let setup = Setup::parse(text, "the session's setup").map_err(|error| {
            format!("{error}. It was there before this rule: mend it in the bench log first")
        })?;
        if let Some(rail) = parsed.rails.first()
            && setup.rails.iter().any(|other| other.line == rail.line)
        {
            return Err(format!(
                "Line: the rail {} is declared already; take it out above first",
                rail.line
            ));
        }
        for new in &parsed.rules {
            if let Some(other) = setup.rules.iter().find(|other| other.demand == new.demand) {
                return Err(format!(
                    "The same rule is there already, as \"{}\" on line {} of the setup: take it out above first, or change this one",
                    other.name, other.setup_line
                ));
            }
        }
        let text = match &narrow {
            Some(line) => with_narrow(text, line, &rule),
            None => with_table(text, &rule),
        };
        Setup::parse(&text, "the setup with the new rule").map_err(|error| error.to_string())?;
        Ok(text)
    })
    .await
}

/// Takes a rule or a rail out of the session's setup.
pub async fn take_out(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(rule): Json<NamedRule>,
) -> Result<Json<Session>, Failure> {
    let what = if rule.setup_line.is_some() { "rule" } else { "rail" };
    let done = format!("{what} \"{}\" taken out", rule.name);
    change_setup(app, SessionId(id), done, move |text| match rule.setup_line {
        Some(line) => without_rule(text, &rule.name, line),
        None => without_rail(text, &rule.name),
    })
    .await
}

/// A mistake in the rule's text as the form has it: the field, then what was found and expected.
fn by_field(rule: &str, error: &Error) -> String {
    let label = |key: &str| {
        FIELDS
            .iter()
            .find(|(known, _)| *known == key)
            .map_or(key.to_owned(), |(_, l)| (*l).to_owned())
    };
    if let Some((_, keys)) = error.message.rsplit_once(" needs the key ") {
        let labels: Vec<String> = keys
            .split(" or ")
            .map(|key| format!("\"{}\"", label(key.trim())))
            .collect();
        return format!("This kind of rule needs {}: fill it in.", labels.join(" or "));
    }
    let line = rule.lines().nth(error.line.saturating_sub(1)).unwrap_or_default();
    match line.split_once(" = ") {
        Some((key, _)) => format!("{}: {}", label(key), sentence(&error.message)),
        None => sentence(&error.message),
    }
}

/// The field that a name was typed into, by its label.
fn field_of(fields: &BTreeMap<String, String>, name: &str, known: &[String]) -> &'static str {
    let holds = |key: &str| {
        let typed = fields.get(key).map_or("", |text| text.trim());
        typed == name || parted(typed, known).iter().any(|part| part == name)
    };
    let named = FIELDS.iter().filter(|(key, _)| *key != "name" && *key != "is");
    let label = named.clone().find(|(key, _)| holds(key)).map(|(_, label)| *label);
    label.unwrap_or(if holds("supply_end") {
        "The same rail at the supply"
    } else {
        "Is"
    })
}

/// The first name of the rule or rail that the capture does not have.
fn missing(capture: &Capture, setup: &Setup) -> Option<String> {
    // The check itself says what it does not find; names alone are enough for that, edges would only cost time.
    let bones = Capture {
        lines: capture
            .lines
            .iter()
            .map(|line| Line::digital(line.name.clone(), Level::Low, Vec::new(), capture.span))
            .collect(),
        ..capture.clone()
    };
    let of_rules = setup
        .rules
        .iter()
        .flat_map(|rule| check_one(&bones, rule).missing);
    let has = |name: &String| {
        capture.line_index(name).is_some() || capture.not_logic.iter().any(|other| other.name == *name)
    };
    let of_rails = setup
        .rails
        .iter()
        .flat_map(|rail| std::iter::once(&rail.line).chain(&rail.supply_end));
    let of_lines = of_rails.chain(setup.lines.keys());
    of_rules.chain(of_lines.filter(|name| !has(name)).cloned()).next()
}

/// What lines and buses are called.
fn names(capture: &Capture) -> Vec<String> {
    let lines = capture.lines.iter().map(|line| &line.name);
    let buses = capture.buses.iter().map(|bus| &bus.name);
    lines.chain(buses).cloned().collect()
}

/// The rule as TOML, in the order of [`KEYS`]; `known`: names of lines and buses.
fn written(fields: &BTreeMap<String, String>, known: &[String]) -> Result<String, String> {
    let field = |key: &str| fields.get(key).map_or("", |v| v.trim());
    let kind = field("kind");
    let (mut text, keys): (String, &[&str]) = match kind {
        "" => return Err("Expected a kind of rule.".to_owned()),
        "rail" if field("line").is_empty() => return Err("Expected the line that is a rail.".to_owned()),
        "rail" => (format!("[rail.{}]\n", quoted(field("line"))), &RAIL_KEYS),
        "narrow" if field("line").is_empty() => return Err("Line: expected a line's name.".to_owned()),
        "narrow" if field("narrow_below").is_empty() => {
            return Err("Too narrow below: expected a time such as 60 ns.".to_owned());
        }
        "narrow" => (format!("[line.{}]\n", quoted(field("line"))), &NARROW_KEYS),
        "logic" | "latch" | "sequence" => (format!("[[{kind}]]\n"), &KEYS),
        _ => (format!("[[limit]]\nkind = {}\n", quoted(kind)), &KEYS),
    };
    let belongs = |key: &str| {
        key == "kind" || keys.contains(&key) || (["rail", "narrow"].contains(&kind) && key == "line")
    };
    if let Some(unknown) = fields.keys().find(|key| !belongs(key)) {
        return Err(format!("A rule of kind {kind} has no key {unknown}."));
    }
    for &key in keys {
        let value = field(key);
        if value.is_empty() {
            continue;
        }
        let names = || {
            let names: Vec<String> = parted(value, known).iter().map(|name| quoted(name)).collect();
            names.join(", ")
        };
        let line = match key {
            "load_from" => format!("from = [{}]\n", names()),
            _ if LISTS.contains(&key) => format!("{key} = [{}]\n", names()),
            _ if NUMBERS.contains(&key) => {
                let number: i64 = value.parse().map_err(|_| {
                    format!("Found {key} \u{201c}{value}\u{201d}, expected a whole number such as 10.")
                })?;
                format!("{key} = {number}\n")
            }
            _ => format!("{key} = {}\n", quoted(value)),
        };
        text.push_str(&line);
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(fields: &[(&str, &str)]) -> Result<String, String> {
        written(
            &fields
                .iter()
                .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()))
                .collect(),
            &[],
        )
    }

    #[test]
    fn a_latch_has_its_enable() {
        let fields = [
            ("kind", "latch"),
            ("output", "Q1 Q0"),
            ("data", "D1 D0"),
            ("enable", "HOLD_N"),
            ("open_at", "high"),
            ("settle", "60 ns"),
        ];
        let setup = Setup::parse(&of(&fields).unwrap(), "s.toml").unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(setup.rules[0].name, "latch Q1 Q0 of D1 D0 at HOLD_N");
        let rule = of(&[&fields[..4], &fields[5..]].concat()).unwrap();
        let told = by_field(&rule, &Setup::parse(&rule, "the rule").unwrap_err());
        assert_eq!(told, "This kind of rule needs \"Open while it is\": fill it in.");
    }

    #[test]
    fn fields_become_a_rule_that_reads_back() {
        let text = of(&[
            ("kind", "pulse-width"),
            ("line", "STRIKE \"A\""),
            ("at_least", "20 ns"),
            ("edge", ""),
        ])
        .unwrap();
        let setup = Setup::parse(&text, "s.toml").unwrap_or_else(|e| panic!("{text}{e}"));
        assert_eq!(setup.rules.len(), 1);
        assert_eq!(setup.rules[0].name, "pulse-width of STRIKE \"A\"");
        let text = of(&[
            ("kind", "sequence"),
            ("bus", "Q1, Q0"),
            ("strobe", "STEP"),
            ("edge", "rise"),
            ("rule", "count-up"),
        ]);
        let text = text.unwrap();
        let setup = Setup::parse(&text, "s.toml").unwrap_or_else(|e| panic!("{text}{e}"));
        assert_eq!(setup.rules[0].name, "count-up of Q1 Q0 at STEP");
    }

    #[test]
    fn a_count_has_its_direction_line() {
        let fields = [
            ("kind", "sequence"),
            ("bus", "Q1 Q0"),
            ("strobe", "STEP"),
            ("edge", "rise"),
            ("rule", "count"),
            ("direction", "UP_DOWN"),
            ("up_at", "low"),
        ];
        let setup = Setup::parse(&of(&fields).unwrap(), "s.toml").unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(setup.rules[0].name, "count of Q1 Q0 at STEP");
        let rule = of(&fields[..6]).unwrap();
        let told = by_field(&rule, &Setup::parse(&rule, "the rule").unwrap_err());
        assert_eq!(
            told,
            "This kind of rule needs \"Counts up while it is\": fill it in."
        );
    }

    #[test]
    fn numbers_lists_and_rails_become_toml() {
        let load = [
            ("kind", "sequence"),
            ("bus", "Q1 Q0"),
            ("strobe", "STEP"),
            ("edge", "rise"),
            ("rule", "load"),
            ("load_from", "D1 D0"),
        ];
        let text = of(&load).unwrap();
        Setup::parse(&text, "s.toml").unwrap_or_else(|e| panic!("{text}{e}"));
        let mut counts = load;
        counts[4].1 = "count-down";
        counts[5] = ("modulus", "10");
        let text = of(&counts).unwrap();
        Setup::parse(&text, "s.toml").unwrap_or_else(|e| panic!("{text}{e}"));
        counts[5] = ("modulus", "ten");
        assert!(of(&counts).unwrap_err().contains("ten"));
        let rail = [
            ("kind", "rail"),
            ("line", "+5V tower"),
            ("nominal", "5 V"),
            ("tolerance", "5 %"),
        ];
        let setup = Setup::parse(&of(&rail).unwrap(), "s.toml").unwrap();
        assert_eq!(
            (setup.rails[0].line.as_str(), setup.rails[0].nominal_v),
            ("+5V tower", 5.0)
        );
        assert!(of(&[("kind", "rail"), ("nominal", "5 V")]).is_err());
    }

    #[test]
    fn a_mistake_is_told_by_its_field() {
        let told = |fields: &[(&str, &str)]| {
            let rule = of(fields).unwrap();
            by_field(&rule, &Setup::parse(&rule, "the rule").unwrap_err())
        };
        let time = told(&[("kind", "pulse-width"), ("line", "STEP"), ("at_least", "20")]);
        assert!(time.starts_with("At least: "), "{time}");
        assert!(!time.contains("line 4") && !time.contains("the rule,"), "{time}");
        let empty = told(&[
            ("kind", "hold"),
            ("data", "D0"),
            ("strobe", "STEP"),
            ("edge", "rise"),
        ]);
        assert_eq!(empty, "This kind of rule needs \"At least\": fill it in.");
        let either = told(&[("kind", "pulse-width"), ("line", "STEP")]);
        assert_eq!(
            either,
            "This kind of rule needs \"At least\" or \"At most\": fill it in."
        );
        let edge = told(&[
            ("kind", "period"),
            ("line", "STEP"),
            ("edge", "up"),
            ("at_least", "1 us"),
        ]);
        assert!(edge.starts_with("Edge: ") && edge.contains("rise"), "{edge}");
    }

    /// The words told must stand on the page.
    #[test]
    fn every_field_is_called_as_on_the_page() {
        let page = include_str!("../../../templates/pages/rules.html");
        for (key, label) in FIELDS {
            let stands = page.lines().any(|line| {
                line.contains(&format!("name=\"{key}\"")) && line.contains(&format!(">{label} <"))
            });
            assert!(stands, "{key}: {label}");
        }
    }

    #[test]
    fn a_key_that_rules_do_not_have_is_refused() {
        assert!(of(&[("kind", "hold"), ("x]\n[read", "1")]).is_err());
        assert!(of(&[("line", "A")]).is_err());
    }
}
