//! A capture's reading sheet: what a person said of its columns, as the `[read]` of a setup file.

use std::collections::BTreeMap;

use super::links::quoted;
use crate::model::FAMILIES;

/// Fields that stand for keys of `[read]`.
pub const KEYS: [&str; 7] = [
    "timescale",
    "time_unit",
    "sample_period",
    "delimiter",
    "decimal",
    "form",
    "family",
];
/// Columns that a sheet may speak of.
const MOST_COLUMNS: usize = 20_000;

/// The sheet as TOML. `fields`: the keys of `[read]` (`sample_period` may be a rate, `24 MHz`); `kind.N` what column N (from 1) holds, such as `analog` or
/// `bus 8 hex`; `name.N` what its line is to be called, `line.N` what it is called and `levels.N` its thresholds, a family's word or `0.8 to 2.0`. Empty
/// fields say nothing.
///
/// # Errors
/// A sentence: a field is unknown, or thresholds are neither a family nor two voltages.
pub fn sheet_text(fields: &BTreeMap<String, String>) -> Result<String, String> {
    let said = fields
        .iter()
        .map(|(key, value)| (key.as_str(), value.trim()))
        .filter(|(_, value)| !value.is_empty());
    let (mut read, mut columns, mut names, mut lines) =
        (String::new(), String::new(), String::new(), String::new());
    for (key, value) in said {
        match key.split_once('.') {
            None if ["sample_period", "time_unit", "timescale"].contains(&key)
                && value.replace(',', ".").parse::<f64>().is_ok() =>
            {
                let (field, example) = match key {
                    "sample_period" => ("Sampling period or rate", "such as 24 MHz or 41.7 ns"),
                    "time_unit" => ("Unit of time", "such as 1 us"),
                    _ => ("Time unit", "such as 1 ns"),
                };
                return Err(format!(
                    "{field}: found {value}, expected it with its unit, {example}."
                ));
            }
            // One field for both: what a person knows is mostly the rate.
            None if key == "sample_period" && value.to_ascii_lowercase().ends_with("hz") => {
                read.push_str(&format!("sample_rate = {}\n", quoted(value)));
            }
            None if KEYS.contains(&key) => read.push_str(&format!("{key} = {}\n", quoted(value))),
            Some(("kind", column)) => columns.push_str(&format!("{} = {}\n", number(column)?, quoted(value))),
            Some(("name", column)) => names.push_str(&format!("{} = {}\n", number(column)?, quoted(value))),
            Some(("levels", column)) => {
                let column_number = number(column)?;
                let field = |what: &str| {
                    fields
                        .get(&format!("{what}.{column_number}"))
                        .map(|name| name.trim())
                };
                let name = field("name")
                    .filter(|name| !name.is_empty())
                    .or_else(|| field("line"))
                    .unwrap_or("");
                if name.is_empty() {
                    return Err(format!("The thresholds of column {column} need its line's name."));
                }
                lines.push_str(&format!(
                    "[line.{}]\n{}",
                    quoted(name),
                    thresholds(value, column)?
                ));
            }
            // Names alone say nothing.
            Some(("line", column)) => {
                number(column)?;
            }
            _ => {
                return Err(format!(
                    "A reading sheet has no field called {}.",
                    key.escape_debug()
                ));
            }
        }
    }
    let mut text = String::new();
    if !read.is_empty() {
        text.push_str(&format!("[read]\n{read}"));
    }
    if !columns.is_empty() {
        text.push_str(&format!("[read.columns]\n{columns}"));
    }
    if !names.is_empty() {
        text.push_str(&format!("[read.rename]\n{names}"));
    }
    text.push_str(&lines);
    Ok(text)
}

fn number(column: &str) -> Result<usize, String> {
    let number = column
        .parse::<usize>()
        .ok()
        .filter(|n| (1..=MOST_COLUMNS).contains(n));
    number.ok_or_else(|| {
        format!(
            "Expected a column's number from 1, found {}.",
            column.escape_debug()
        )
    })
}

fn thresholds(value: &str, column: &str) -> Result<String, String> {
    if FAMILIES.iter().any(|(word, _)| *word == value) {
        return Ok(format!("family = {}\n", quoted(value)));
    }
    let volts: Vec<f64> = value
        .split(|c: char| c.is_whitespace() || matches!(c, ';' | '/'))
        .map(|part| part.trim_end_matches(['V', 'v']))
        .filter(|part| !part.is_empty() && *part != "to" && *part != "and")
        .map(|part| part.replace(',', ".").parse().unwrap_or(f64::NAN))
        .collect();
    match volts[..] {
        [low, high] if low < high && low.is_finite() && high.is_finite() => {
            Ok(format!("low = {low:?}\nhigh = {high:?}\n"))
        }
        _ => {
            let words: Vec<&str> = FAMILIES.iter().map(|(word, _)| *word).collect();
            Err(format!(
                "Thresholds of column {column}: found \"{value}\", expected one of {}, or two voltages such as 0.8 to 2.0.",
                words.join(", ")
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::Setup;

    fn fields(list: &[(&str, &str)]) -> BTreeMap<String, String> {
        list.iter()
            .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
            .collect()
    }

    #[test]
    fn a_rate_may_stand_for_the_period() {
        let text = |value| sheet_text(&fields(&[("sample_period", value)])).unwrap();
        assert_eq!(text("24 MHz"), "[read]\nsample_rate = \"24 MHz\"\n");
        assert_eq!(text("1 us"), "[read]\nsample_period = \"1 us\"\n");
    }

    #[test]
    fn a_sheet_is_read_back_as_it_was_said() {
        let text = sheet_text(&fields(&[
            ("delimiter", ";"),
            ("time_unit", "us"),
            ("form", ""),
            ("kind.2", "analog"),
            ("kind.3", "bus 8 hex"),
            ("line.2", "CLEAR \"N\""),
            ("levels.2", "0.8 V to 2,0"),
        ]))
        .unwrap();
        let setup = Setup::parse(&text, "sheet").unwrap();
        assert_eq!(
            (setup.read.delimiter, setup.read.time_unit_s),
            (Some(b';'), Some(1e-6))
        );
        assert_eq!(setup.read.columns.len(), 2);
        let levels = setup.lines["CLEAR \"N\""].thresholds.clone().unwrap().thresholds;
        assert_eq!((levels.low_v, levels.high_v), (0.8, 2.0));
        assert_eq!(sheet_text(&BTreeMap::new()).unwrap(), "");
    }

    #[test]
    fn a_line_s_new_name_is_kept_and_its_thresholds_go_by_it() {
        let text = sheet_text(&fields(&[
            ("name.2", "CLEAR_N"),
            ("line.2", "column 2"),
            ("levels.2", "ttl-5v"),
        ]));
        let setup = Setup::parse(&text.unwrap(), "sheet").unwrap();
        assert_eq!(setup.read.rename["2"], "CLEAR_N");
        assert!(setup.lines["CLEAR_N"].thresholds.is_some());
    }

    #[test]
    fn mistakes_are_told() {
        let told = |list: &[(&str, &str)]| sheet_text(&fields(list)).unwrap_err();
        assert!(told(&[("kind.0", "time")]).contains("from 1"));
        let bare = told(&[("sample_period", "24")]);
        assert!(
            bare.contains("found 24") && bare.contains("24 MHz") && !bare.contains("line 2"),
            "{bare}"
        );
        assert!(told(&[("weather", "fine")]).contains("no field called weather"));
        assert!(told(&[("line.1", "A"), ("levels.1", "2.0 to 0.8")]).contains("ttl-5v"));
        assert!(told(&[("levels.1", "ttl-5v")]).contains("line's name"));
    }
}
