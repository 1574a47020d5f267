//! What a finding asks to be said of a line, as the end of the address of the form for it, filled in as far as the finding says.

use super::opened::Opened;
use super::pages::links::escape_query;
use crate::report::inspect::Finding;

/// The end of the address of the form for the width below which a line's pulses are strays, with the line and the width where
/// the finding asks for one and no other; empty where it asks for none.
pub(super) fn narrow_form<'a>(finding: &Finding, said: impl Iterator<Item = &'a String>) -> String {
    const KEY: &str = "narrow_below";
    let asking: Vec<&String> = said.filter(|text| text.contains(KEY)).collect();
    if asking.is_empty() {
        return String::new();
    }
    let is_for = |line: &&String| asking.iter().any(|text| text.contains(&format!("for {line}")));
    let line = match finding.lines.as_slice() {
        [only] => Some(only),
        // Of `CH1` and `CH10` the whole name.
        lines => lines.iter().filter(is_for).max_by_key(|line| line.len()),
    };
    let begun = format!("{KEY} = \"");
    let mut widths: Vec<&str> = asking
        .iter()
        .flat_map(|text| text.split(&begun).skip(1))
        .filter_map(|rest| rest.split('"').next())
        .collect();
    widths.dedup();
    let width = match widths[..] {
        [only] => Some(only),
        _ => None,
    };
    let mut form = "kind=narrow".to_owned();
    for (key, value) in [("line", line.map(String::as_str)), (KEY, width)] {
        if let Some(value) = value {
            form.push_str(&format!("&{key}={}", escape_query(value)));
        }
    }
    form
}

/// How advice to declare a supply says it in the setup's own words.
pub(super) const RAIL: &str = "[rail.";

/// The end of the address of the form for a rail, with what `says` proposes of it.
pub(super) fn rail_form(opened: &Opened, finding: &Finding, says: &str) -> String {
    let value = |key: &str| {
        let (_, rest) = says.split_once(&format!("{key} = \""))?;
        rest.split('"').next().map(str::to_owned)
    };
    let row = opened
        .report
        .rails
        .iter()
        .find(|row| finding.lines.first() == Some(&row.rail));
    let nominal = value("nominal").or_else(|| row.map(|row| format!("{} V", row.nominal_v)));
    let fields = [
        ("kind", Some("rail".to_owned())),
        ("line", finding.lines.first().cloned()),
        ("nominal", nominal),
        ("tolerance", value("tolerance")),
    ];
    let fields = fields
        .into_iter()
        .filter_map(|(name, value)| Some(format!("{name}={}", escape_query(&value?))));
    fields.collect::<Vec<_>>().join("&")
}
