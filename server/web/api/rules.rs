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
/// The keys a form may send beside `kind`.
const KEYS: [&str; 22] = [
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
    "from",
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
    let kind = fields.get("kind").map_or("", |k| k.trim());
    let mut text = match kind {
        "" => return Err("Expected a kind of rule.".to_owned()),
        "logic" | "sequence" => format!("[[{kind}]]\n"),
        _ => format!("[[limit]]\nkind = {}\n", quoted(kind)),
    };
    if let Some(unknown) = fields
        .keys()
        .find(|k| *k != "kind" && !KEYS.contains(&k.as_str()))
    {
        return Err(format!("A rule has no key {unknown}."));
    }
    for key in KEYS {
        let value = fields.get(key).map_or("", |v| v.trim());
        if value.is_empty() {
            continue;
        }
        if LISTS.contains(&key) {
            let names = value.split([' ', ',']).filter(|n| !n.is_empty()).map(quoted);
            text.push_str(&format!("{key} = [{}]\n", names.collect::<Vec<_>>().join(", ")));
        } else {
            text.push_str(&format!("{key} = {}\n", quoted(value)));
        }
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
    fn a_key_that_rules_do_not_have_is_refused() {
        assert!(of(&[("kind", "hold"), ("x]\n[read", "1")]).is_err());
        assert!(of(&[("line", "A")]).is_err());
    }
}
