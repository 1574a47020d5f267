//! The text of a session's setup, changed by the pages: a table put at its end, a rule or rail taken out; all else stays as
//! it was written, remarks included.

use crate::setup::Setup;

/// `text` with `table` at its end, a blank line between.
pub fn with_table(text: &str, table: &str) -> String {
    match text.trim_end() {
        "" => table.to_owned(),
        before => format!("{before}\n\n{table}"),
    }
}

/// `text` without the table whose header is the line at position `at` (from 0), up to the next header. Remarks between the
/// two belong to the next.
pub fn without_table(text: &str, at: usize) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let end = end_of_table(&lines, at);
    let kept = lines[at..end]
        .iter()
        .rposition(|line| !line.trim().is_empty() && !line.trim_start().starts_with('#'));
    let stop = at + kept.map_or(end - at, |last| last + 1);
    let rest: Vec<&str> = lines[..at].iter().chain(&lines[stop..]).copied().collect();
    let mut rest = rest.join("\n").trim_end().to_owned();
    rest.push('\n');
    rest
}

/// Position of the header after the one at `at`, or the number of lines.
pub fn end_of_table(lines: &[&str], at: usize) -> usize {
    let is_header = |line: &&str| line.trim_start().starts_with('[');
    lines[at + 1..]
        .iter()
        .position(is_header)
        .map_or(lines.len(), |n| at + 1 + n)
}

/// The setup without the rule called `name` that begins on `setup_line` (from 1).
///
/// # Errors
/// A sentence: no such rule begins there, as when the setup was changed since; or the text can't be cut so.
pub fn without_rule(text: &str, name: &str, setup_line: u64) -> Result<String, String> {
    let setup = Setup::parse(text, "the session's setup").map_err(|error| error.to_string())?;
    let is_there = |rule: &&crate::rule::Rule| rule.setup_line as u64 == setup_line && rule.name == name;
    if setup.rules.iter().find(is_there).is_none() {
        return Err(format!(
            "There is no rule \"{name}\" on line {setup_line} of the setup any more: load the page again"
        ));
    }
    let rest = without_table(text, setup_line as usize - 1);
    let left = Setup::parse(&rest, "the setup without the rule").map_err(|error| error.to_string())?;
    match left.rules.len() + 1 == setup.rules.len() {
        true => Ok(rest),
        false => Err(cut_by_hand(&format!("the rule \"{name}\""))),
    }
}

/// The setup without the `[rail.…]` of this line.
///
/// # Errors
/// A sentence: no such rail is declared, or the text can't be cut so.
pub fn without_rail(text: &str, line: &str) -> Result<String, String> {
    let lines: Vec<&str> = text.lines().collect();
    let is_it = |&at: &usize| {
        let block = lines[at..end_of_table(&lines, at)].join("\n");
        lines[at].trim_start().starts_with("[rail.")
            && Setup::parse(&block, "the rail").is_ok_and(|setup| setup.rails.iter().any(|r| r.line == line))
    };
    let at = (0..lines.len()).find(is_it);
    let at = at.ok_or_else(|| format!("The setup declares no rail {line} any more: load the page again"))?;
    let rest = without_table(text, at);
    let left = Setup::parse(&rest, "the setup without the rail").map_err(|error| error.to_string())?;
    match left.rails.iter().any(|rail| rail.line == line) {
        false => Ok(rest),
        true => Err(cut_by_hand(&format!("the rail {line}"))),
    }
}

/// `text` with the `narrow_below` of `line` as `table` (its header and that key) has it: in the line's own table, where there
/// is one, in place of one that stands there; else at the end.
pub fn with_narrow(text: &str, line: &str, table: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let is_it = |&at: &usize| {
        let block = lines[at..end_of_table(&lines, at)].join("\n");
        lines[at].trim_start().starts_with("[line.")
            && Setup::parse(&block, "the line").is_ok_and(|setup| setup.lines.contains_key(line))
    };
    let Some(at) = (0..lines.len()).find(is_it) else {
        return with_table(text, table);
    };
    let end = end_of_table(&lines, at);
    let is_key = |row: &&str| {
        let key = row.split('=').next().unwrap_or_default();
        row.contains('=') && key.trim() == "narrow_below"
    };
    let said = lines[at + 1..end].iter().position(is_key).map(|n| at + 1 + n);
    let new: Vec<&str> = table.lines().filter(is_key).collect();
    let (head, rest) = match said {
        Some(said) => (&lines[..said], &lines[said + 1..]),
        None => lines.split_at(at + 1),
    };
    let mut all = [head, &new, rest].concat().join("\n");
    all.push('\n');
    all
}

fn cut_by_hand(what: &str) -> String {
    format!(
        "{what} can't be told apart from what stands around it: take it out of the setup by hand, in the bench log"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# the carillon\n[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nat_least = \"20 ns\"  # sheet 3\n\n\
                        # the same again\n[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nat_least = \"20 ns\"\n\n\
                        [rail.\"+5 V\"]\nnominal = \"5 V\"\ntolerance = \"5 %\"\n\n[line.A]\nnarrow_below = \"9 ns\"\n";

    #[test]
    fn one_of_two_rules_of_the_same_name_goes_and_the_rest_stays() {
        let rest = without_rule(TEXT, "pulse-width of A", 8).unwrap();
        assert_eq!(
            rest,
            TEXT.replacen(
                "# the same again\n[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nat_least = \"20 ns\"\n\n",
                "# the same again\n\n",
                1
            )
        );
        let gone = without_rule(&rest, "pulse-width of A", 8).unwrap_err();
        assert!(gone.contains("load the page again"), "{gone}");
        assert!(without_rule(TEXT, "pulse-width of B", 8).is_err());
    }

    #[test]
    fn a_narrow_limit_goes_into_the_table_of_its_line() {
        let table = |line: &str| format!("[line.\"{line}\"]\nnarrow_below = \"60 ns\"\n");
        assert_eq!(
            with_narrow(TEXT, "A", &table("A")),
            TEXT.replace("\"9 ns\"", "\"60 ns\"")
        );
        assert_eq!(
            with_narrow(TEXT, "B", &table("B")),
            format!("{TEXT}\n{}", table("B"))
        );
        let family = "[line.B]\nfamily = \"ttl-5v\"\n\n[line.A]\nlow = 0.8\nhigh = 2.0\n";
        assert_eq!(
            with_narrow(family, "B", &table("B")),
            family.replace("[line.B]\n", "[line.B]\nnarrow_below = \"60 ns\"\n")
        );
    }

    #[test]
    fn a_rail_goes_by_its_line() {
        let rest = without_rail(TEXT, "+5 V").unwrap();
        assert!(!rest.contains("rail") && rest.contains("[line.A]"), "{rest}");
        assert!(without_rail(&rest, "+5 V").is_err());
    }
}
