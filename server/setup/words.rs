//! What the TOML reader says, in the words of whoever writes the file: found, expected, what to do.

/// Its `message`, reworded; `at` is the text from the place of the mistake on, `is_first_line` whether that lies in the first
/// line, where most likely another file was named.
pub fn in_words(message: &str, at: &str, is_first_line: bool) -> String {
    let message = message.trim().replace('\n', "; ");
    let (what, expected) = message.split_once(", expected ").unwrap_or((&message, ""));
    let name_in = |text: &str| text.split('`').nth(1).unwrap_or_default().to_owned();
    if let Some(found) = what
        .strip_prefix("invalid type: ")
        .or_else(|| what.strip_prefix("invalid value: "))
    {
        let found = found_in_words(found);
        return match expected {
            "a sequence" if at.starts_with('[') => {
                format!(
                    "found {found}, expected a list of tables: put the heading in double brackets, as [[link]]"
                )
            }
            expected => format!("found {found}, expected {}", kind_in_words(expected)),
        };
    }
    match what {
        what if what.starts_with("unknown field") => {
            let known = expected.trim_start_matches("one of ").replace('`', "");
            format!("found the key {}, expected one of {known}", name_in(what))
        }
        what if what.starts_with("missing field") => format!("this table needs the key {}", name_in(what)),
        "duplicate key" => {
            "found this key or table a second time, expected it once: put the two together".to_owned()
        }
        syntax => {
            let told = match syntax {
                "key with no value" => {
                    "found a key without a value, expected one behind =, such as narrow_below = \"60 ns\""
                        .to_owned()
                }
                "invalid basic string" | "invalid literal string" => {
                    format!(
                        "found text without its closing quote, expected {} in this line",
                        expected.replace('`', "")
                    )
                }
                "unclosed table" => "found a heading without its closing bracket, expected ]".to_owned(),
                _ => message.replace('`', ""),
            };
            match is_first_line {
                true => format!("{told}; is this a setup file? `edgewitness setup` prints one"),
                false => told,
            }
        }
    }
}

fn found_in_words(found: &str) -> String {
    match found {
        "map" => "a table".to_owned(),
        "sequence" => "a list".to_owned(),
        found => without_kind(found),
    }
}

/// A value as it was written, from how readers of serde name it: "integer `5`" is 5, "string \"5 ns\"" is "5 ns".
pub fn without_kind(found: &str) -> String {
    ["integer ", "floating point ", "boolean ", "string "]
        .iter()
        .find_map(|kind| found.strip_prefix(kind))
        .unwrap_or(found)
        // A number beyond 64 bits is named with our type.
        .replace(" as i128", "")
        .replace(" as u128", "")
        .replace('`', "")
}

fn kind_in_words(kind: &str) -> &str {
    match kind {
        "a string" => "text in quotes",
        "a boolean" => "true or false",
        "a sequence" => "a list in brackets [ ]",
        "f64" | "f32" => "a number",
        "a map" => "a table of keys",
        kind if kind.starts_with("struct ") => "a table of keys",
        kind if kind.starts_with('u') || kind.starts_with('i') => "a whole number",
        kind => kind,
    }
}

#[cfg(test)]
mod tests {
    use crate::setup::Setup;

    #[test]
    fn every_mistake_says_what_was_found_and_what_was_expected() {
        for (text, told) in [
            (
                "[line.A]\nlow = \"0.8 V\"\n",
                "found \"0.8 V\", expected a number",
            ),
            (
                "[line.A]\nnarrow_below = 60\n",
                "line 2, column 16: found 60, expected text in quotes",
            ),
            (
                "[line.A]\nstray_at = \"1 ms\"\n",
                "found \"1 ms\", expected a list in brackets [ ]",
            ),
            (
                "[line]\nA = \"60 ns\"\n",
                "line 2, column 5: found \"60 ns\", expected a table of keys",
            ),
            ("line = 5\n", "found 5, expected a table of keys"),
            (
                "[link]\nfrom = \"A\"\nto = \"B\"\n",
                "found a table, expected a list of tables: put the heading in double brackets",
            ),
            (
                "[[link]]\nfrom = \"A\"\n",
                "line 1, column 1: this table needs the key to",
            ),
            (
                "[[link]]\nfrom = \"A\"\nto = \"B\"\ninverted = \"yes\"\n",
                "found \"yes\", expected true or false",
            ),
            (
                "[[link]]\nfrom = \"A\"\nto = \"A\"\n",
                "line 3, column 6: found A at both ends, expected two different lines",
            ),
            (
                "[line.A]\nnarow = \"60 ns\"\n",
                "found the key narow, expected one of narrow_below, family, low",
            ),
            ("[line.A]\n[line.A]\n", "a second time, expected it once"),
            (
                "[line.A]\nnarrow_below = \"60 ns\n",
                "line 2, column 22: found text without its closing quote, expected \"",
            ),
            (
                "[line.A]\nnarrow_below = \"60\"\n",
                "found \"60\", expected a time with its unit",
            ),
            (
                "[line.A]\nnarrow_below = \"-60 ns\"\n",
                "found \"-60 ns\", expected a time greater than zero",
            ),
            (
                "[line.A]\nnarrow_below = \"1e300 s\"\n",
                "line 2, column 16: found \"1e300 s\", expected the width of a pulse, a year at most",
            ),
            (
                "[[link]]\nfrom = \"A\"\nto = \"B\"\nmax_delay = \"3600 s\"\n",
                "line 4, column 13: found \"3600 s\", expected the delay of a wire or a part, a minute at most: is its unit right?",
            ),
            (
                "[[link]]\nfrom = \"A\"\nto = \"B\"\nmax_delay = \"1e300 s\"\n",
                "found \"1e300 s\", expected the delay of a wire or a part, a minute at most",
            ),
            (
                "[[logic]]\noutput = \"A\"\nis = \"B & C\"\nsettle = \"7200 s\"\n",
                "line 4, column 10: found \"7200 s\", expected how long a part takes to settle, a minute at most",
            ),
            (
                "[line.A]\nnarrow_below = 99999999999999999999\n",
                "found 99999999999999999999, expected text in quotes",
            ),
            (
                "$date today $end\n",
                "is this a setup file? `edgewitness setup` prints one",
            ),
            ("Time,STEP\n0,1\n", "is this a setup file?"),
            ("[line.A\nlow = 1\n", "without its closing bracket, expected ]"),
        ] {
            let error = Setup::parse(text, "setup.toml").expect_err(text).to_string();
            assert!(error.contains(told), "{text}: {error}");
            assert!(!error.contains("Raw") && !error.contains("invalid"), "{error}");
        }
    }
}
