//! A rule from a form's fields: written as TOML at the end of the session's setup.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};

use super::log::with_store;
use crate::setup::Setup;
use crate::store::{Session, SessionId};
use crate::web::error::Failure;
use crate::web::state::App;

/// Keys whose fields hold several names, parted by blanks or commas.
const LISTS: [&str; 5] = ["bus", "data", "lines", "output", "watch"];
/// Keys whose fields hold a whole number.
const NUMBERS: [&str; 1] = ["modulus"];
/// The keys a form may send beside `kind`. `load_from` is the list that `load` knows as `from`.
const KEYS: [&str; 24] = [
    "name",
    "line",
    "lines",
    "data",
    "level",
    "bus",
    "output",
    "is",
    "strobe",
    "edge",
    "rule",
    "modulus",
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

/// Adds the rule; empty fields are left out.
pub async fn add(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    Json(fields): Json<BTreeMap<String, String>>,
) -> Result<Json<Session>, Failure> {
    let rule = written(&fields).map_err(Failure::wrong)?;
    let session = with_store(app, move |store| {
        let mut body = store.session(SessionId(id))?.body;
        let before = body.setup.trim_end();
        body.setup = if before.is_empty() {
            rule
        } else {
            format!("{before}\n\n{rule}")
        };
        if let Err(error) = Setup::parse(&body.setup, "the setup with the new rule") {
            return Err(Failure::wrong(error.to_string()));
        }
        Ok(store.edit_session(SessionId(id), &body)?)
    });
    Ok(Json(session.await?))
}

/// The rule as TOML, in the order of [`KEYS`].
fn written(fields: &BTreeMap<String, String>) -> Result<String, String> {
    let field = |key: &str| fields.get(key).map_or("", |v| v.trim());
    let kind = field("kind");
    let (mut text, keys): (String, &[&str]) = match kind {
        "" => return Err("Expected a kind of rule.".to_owned()),
        "rail" if field("line").is_empty() => return Err("Expected the line that is a rail.".to_owned()),
        "rail" => (format!("[rail.{}]\n", quoted(field("line"))), &RAIL_KEYS),
        "logic" | "sequence" => (format!("[[{kind}]]\n"), &KEYS),
        _ => (format!("[[limit]]\nkind = {}\n", quoted(kind)), &KEYS),
    };
    let known = |key: &str| key == "kind" || keys.contains(&key) || (kind == "rail" && key == "line");
    if let Some(unknown) = fields.keys().find(|key| !known(key)) {
        return Err(format!("A rule of kind {kind} has no key {unknown}."));
    }
    for &key in keys {
        let value = field(key);
        if value.is_empty() {
            continue;
        }
        let names = || {
            let names = value.split([' ', ',']).filter(|n| !n.is_empty()).map(quoted);
            names.collect::<Vec<_>>().join(", ")
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

/// A TOML string.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
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
        )
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
    fn a_key_that_rules_do_not_have_is_refused() {
        assert!(of(&[("kind", "hold"), ("x]\n[read", "1")]).is_err());
        assert!(of(&[("line", "A")]).is_err());
    }
}
