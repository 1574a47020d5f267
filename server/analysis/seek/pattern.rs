//! A pattern over lines: a sentence ("CLEAR_N low while STEP high", "STEP falls while CLEAR_N low"), or an expression
//! with the operators of IEEE Std 1364 (`!CLEAR_N && STEP`, `BELL == 8'o12`).
//!
//! A sentence takes any name. In an expression a name with odd letters is escaped, as the standard has it; one with
//! blanks ("Channel 0") is written `\#3` and a blank, by its position in the capture.

use crate::analysis::rules::logic::operand_lines;
use crate::model::{Capture, Polarity};
use crate::rule::expression::{Expression, Typed};

/// Most lines in one pattern.
pub const MOST_LINES: usize = 64;

/// A condition on levels, and the edges at which it is looked at when the pattern names some.
#[derive(Clone, Debug)]
pub struct Pattern {
    /// Nothing when only edges are asked for.
    pub(super) typed: Option<Typed>,
    /// For each operand of the expression, its lines, most significant first.
    pub(super) operands: Vec<Vec<usize>>,
    /// Edges of a line at which the condition is to hold just before.
    pub(super) edge: Option<(usize, Polarity)>,
}

impl Pattern {
    /// Reads `text` for a capture.
    ///
    /// # Errors
    /// A sentence: what was found and what is expected.
    pub fn read(text: &str, capture: &Capture) -> Result<Pattern, String> {
        if text.trim().is_empty() {
            return Err(
                "Expected a pattern, such as \"CLEAR_N low while STEP high\" or \"!CLEAR_N && STEP\"."
                    .to_owned(),
            );
        }
        let (expression, edge) = match sentence(text, capture)? {
            Some(read) => read,
            None => (Some(text.to_owned()), None),
        };
        let Some(expression) = expression else {
            return Ok(Pattern {
                typed: None,
                operands: Vec::new(),
                edge,
            });
        };
        let told =
            |mistake: crate::rule::expression::Mistake| format!("The pattern can't be read: {mistake}.");
        let expression = Expression::parse(&expression).map_err(told)?;
        let lines_of = |name: &str| lines_of(capture, name);
        let typed = expression.typed(|name| match lines_of(name).len() {
            0 => None,
            n => Some(n as u32),
        });
        let typed = typed.map_err(told)?;
        let operands: Vec<Vec<usize>> = typed.operands().iter().map(|o| lines_of(&o.name)).collect();
        if operands.iter().map(Vec::len).sum::<usize>() > MOST_LINES {
            return Err(format!("Expected a pattern over at most {MOST_LINES} lines."));
        }
        Ok(Pattern {
            typed: Some(typed),
            operands,
            edge,
        })
    }
}

/// The lines of a name; `#3` is the line at position 3 of the capture, whatever its name has in it.
fn lines_of(capture: &Capture, name: &str) -> Vec<usize> {
    let named = operand_lines(capture, name);
    let position = name.strip_prefix('#').and_then(|text| text.parse().ok());
    match position.filter(|&position: &usize| named.is_empty() && position < capture.lines.len()) {
        Some(position) => vec![position],
        None => named,
    }
}

type Read = (Option<String>, Option<(usize, Polarity)>);

/// Clauses "NAME low", "NAME is high", "NAME rises", joined by "while", "and" or commas. `None` when it is no such
/// sentence.
fn sentence(text: &str, capture: &Capture) -> Result<Option<Read>, String> {
    let mut conditions = Vec::new();
    let mut edge = None;
    for clause in clauses(text) {
        let Some((name, does)) = clause.rsplit_once(char::is_whitespace) else {
            return Ok(None);
        };
        let name = name.trim();
        let name = name.strip_suffix(" is").unwrap_or(name).trim();
        let does = does.to_lowercase();
        if !matches!(does.as_str(), "low" | "high" | "rises" | "falls") {
            return Ok(None);
        }
        let Some(line) = capture.line_index(name) else {
            return Err(format!("There is no line {name} to be {does}."));
        };
        let polarity = match does.as_str() {
            "low" => {
                conditions.push(format!("!\\#{line} "));
                continue;
            }
            "high" => {
                conditions.push(format!("\\#{line} "));
                continue;
            }
            "rises" => Polarity::Rise,
            _ => Polarity::Fall,
        };
        if edge.replace((line, polarity)).is_some() {
            return Err(
                "Expected one line that rises or falls; others can be low or high meanwhile.".to_owned(),
            );
        }
    }
    let expression = (!conditions.is_empty()).then(|| conditions.join("&& "));
    Ok((expression.is_some() || edge.is_some()).then_some((expression, edge)))
}

fn clauses(text: &str) -> Vec<String> {
    let mut clauses = vec![String::new()];
    for word in text.replace(',', " , ").split_whitespace() {
        if matches!(word.to_lowercase().as_str(), "while" | "and" | ",") {
            clauses.push(String::new());
            continue;
        }
        let last = clauses.last_mut().expect("never empty");
        if !last.is_empty() {
            last.push(' ');
        }
        last.push_str(word);
    }
    clauses.retain(|clause| !clause.is_empty());
    clauses
}
