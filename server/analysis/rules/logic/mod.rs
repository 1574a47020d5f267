//! What a part must do against what it does: every stretch of still inputs longer than the settling time is compared.
//!
//! From the settling time after an input's edge up to the next input's edge the outputs must have the value of the
//! expression. Bits for which the expression says x are not compared.

mod fault;
mod late;
mod walk;

use std::collections::HashMap;

pub use self::fault::AsIf;
use self::fault::as_if;
pub use self::late::Late;
use self::walk::{Walked, walk};
use super::Names;
use super::quick::Quick;
use super::reach;
use super::tally::Tally;
use crate::model::{Bus, Capture};
use crate::rule::Logic;
use crate::rule::expression::value::mask;
use crate::rule::expression::{Typed, Value};

/// Tables with at most this many inputs are listed whole, never-seen combinations too.
const WHOLE_TABLE_INPUTS: usize = 6;
/// Rows listed of larger tables, contradicted ones first.
pub const MOST_ROWS: usize = 256;
/// Expressions of at most this many input lines are looked up by position.
const INDEXED_INPUTS: usize = 12;

/// Counts by input combination.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TruthTable {
    /// Lines, positions in the capture; the first input is the most significant bit of [`Row::inputs`].
    pub inputs: Vec<usize>,
    /// Most significant first.
    pub outputs: Vec<usize>,
    /// Contradicted rows first, then by combination.
    pub rows: Vec<Row>,
    /// Combinations of inputs that no stretch showed, and how many there are in all (for up to 63 inputs).
    pub never: u64,
    pub combinations: Option<u64>,
    /// Stretches too short for the settling time.
    pub too_short: u64,
    /// One fault that would explain what contradicts; `None` where the outputs come late instead.
    pub as_if: Option<AsIf>,
    /// The outputs come right, only later than allowed.
    pub late: Option<Late>,
}

/// Of the stretches with one combination of inputs, the part that must be right before its failures come now and then.
const RIGHT_NOW_AND_THEN: f64 = 0.05;

impl TruthTable {
    /// Whether each combination that contradicts was right at other times, so that no lasting fault explains it.
    pub fn is_now_and_then(&self) -> bool {
        let mut wrong = self.rows.iter().filter(|row| row.wrong > 0).peekable();
        let is_right_too = |row: &Row| {
            (row.seen - row.wrong) as f64 >= RIGHT_NOW_AND_THEN * row.seen as f64 && row.wrong < row.seen
        };
        wrong.peek().is_some() && wrong.all(is_right_too)
    }
}

/// One combination of input levels.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// One bit an input, the first input the most significant.
    pub inputs: u64,
    /// Digits 0, 1, x, most significant output first.
    pub expected: String,
    /// Stable stretches with these inputs, and those that contradict.
    pub seen: u64,
    pub wrong: u64,
    /// Values the outputs had at the end of the stretches (their first wrong value, in wrong ones), most frequent first.
    pub found: Vec<(u64, u64)>,
}

impl Row {
    /// What the outputs most often had where they contradict; `None` when nothing does, or when the value was not kept.
    pub fn wrong_value(&self) -> Option<u64> {
        let mut found = self.found.iter().map(|(value, _)| *value);
        found.find(|&value| self.contradicts(value))
    }

    /// Whether `value` is not what is expected.
    fn contradicts(&self, value: u64) -> bool {
        let width = self.expected.len();
        let digits = format!("{value:0width$b}");
        let mut pairs = self.expected.chars().zip(digits.chars());
        pairs.any(|(expected, found)| expected != 'x' && expected != found)
    }
}

/// What is expected for one combination.
#[derive(Clone, Copy)]
struct Expected {
    ones: u64,
    known: u64,
    value: Value,
}

struct Function<'a> {
    typed: &'a Typed,
    /// For each operand, the positions of its bits among the inputs, most significant first.
    bits: Vec<Vec<usize>>,
    inputs: usize,
    width: u32,
    indexed: Vec<Option<Expected>>,
    hashed: HashMap<u64, Expected, Quick>,
}

impl Function<'_> {
    fn evaluate(&self, combination: u64) -> Expected {
        let level = |position: usize| combination >> (self.inputs - 1 - position) & 1;
        let values: Vec<Value> = self
            .bits
            .iter()
            .map(|bits| Value::known(bits.len() as u32, bits.iter().fold(0, |v, &b| v << 1 | level(b))))
            .collect();
        let value = self.typed.evaluate(&values, self.width);
        Expected {
            ones: value.ones(),
            known: value.known_mask(),
            value,
        }
    }

    fn expected(&mut self, combination: u64) -> Expected {
        if self.inputs <= INDEXED_INPUTS {
            if let Some(known) = self.indexed[combination as usize] {
                return known;
            }
            let expected = self.evaluate(combination);
            self.indexed[combination as usize] = Some(expected);
            return expected;
        }
        if let Some(known) = self.hashed.get(&combination) {
            return *known;
        }
        let expected = self.evaluate(combination);
        self.hashed.insert(combination, expected);
        expected
    }
}

/// Checks one part. Cost: edges × lines.
pub(super) fn check(names: &mut Names, logic: &Logic) -> Option<(Tally, TruthTable)> {
    let capture = names.capture;
    let outputs = names.all(&logic.outputs);
    let mut operands: Vec<(String, Vec<usize>)> = Vec::new();
    for name in logic.is.names() {
        let found = operand_lines(capture, &name);
        names.remember(&name, &found);
        operands.push((name, found));
    }
    let outputs = outputs?;
    if !names.missing.is_empty() {
        return None;
    }
    let width_of = |name: &str| {
        operands
            .iter()
            .find(|(n, _)| n == name)
            .map(|(_, lines)| lines.len() as u32)
    };
    let typed = match logic.is.typed(width_of) {
        Ok(typed) => typed,
        Err(mistake) => {
            names
                .missing
                .push(format!("an expression of at most 64 bits ({mistake})"));
            return None;
        }
    };
    let mut inputs: Vec<usize> = Vec::new();
    for line in operands.iter().flat_map(|(_, lines)| lines) {
        if !inputs.contains(line) {
            inputs.push(*line);
        }
    }
    if inputs.len() > 63 || outputs.len() > 64 {
        names.missing.push(format!(
            "at most 63 inputs (it has {}) and 64 outputs",
            inputs.len()
        ));
        return None;
    }
    let position = |line: &usize| {
        inputs
            .iter()
            .position(|i| i == line)
            .expect("every operand's line is an input")
    };
    let mut function = Function {
        bits: operands
            .iter()
            .map(|(_, lines)| lines.iter().map(position).collect())
            .collect(),
        inputs: inputs.len(),
        width: outputs.len() as u32,
        indexed: if inputs.len() <= INDEXED_INPUTS {
            vec![None; 1 << inputs.len()]
        } else {
            Vec::new()
        },
        hashed: HashMap::default(),
        typed: &typed,
    };
    let settle = reach::limit_ticks(&capture.timebase, logic.settle_s);
    let walked = walk(capture, &inputs, &outputs, &mut function, settle);
    Some(table(&inputs, outputs, &function, walked, settle))
}

/// The lines of an operand, most significant first: a line or bus by its name, or the lines `NAME[7]`…`NAME[4]` of a part.
pub fn operand_lines(capture: &Capture, name: &str) -> Vec<usize> {
    if let Some(line) = capture.line_index(name) {
        return vec![line];
    }
    if let Some(Bus { bits, .. }) = capture.buses.iter().find(|b| b.name == name) {
        return bits.clone();
    }
    let part = name.strip_suffix(']').and_then(|n| n.rsplit_once('['));
    let range = part.and_then(|(stem, range)| Some((stem, range.split_once(':')?)));
    let Some((stem, (high, low))) = range else {
        return Vec::new();
    };
    let (Ok(high), Ok(low)) = (high.parse::<i64>(), low.parse::<i64>()) else {
        return Vec::new();
    };
    if high.abs_diff(low) >= 64 {
        return Vec::new();
    }
    let step = if high >= low { -1 } else { 1 };
    let bits = (0..=high.abs_diff(low) as i64).map(|i| high + step * i);
    let lines: Option<Vec<usize>> = bits
        .map(|bit| capture.line_index(&format!("{stem}[{bit}]")))
        .collect();
    lines.unwrap_or_default()
}

/// The table of what a walk showed; `settle` in ticks.
fn table(
    inputs: &[usize],
    outputs: Vec<usize>,
    function: &Function,
    walked: Walked,
    settle: f64,
) -> (Tally, TruthTable) {
    let seen = walked.counts.len() as u64;
    let combinations = (inputs.len() < 64).then(|| mask(inputs.len() as u32).saturating_add(1));
    let mut rows: Vec<Row> = walked
        .counts
        .into_iter()
        .map(|(combination, mut count)| {
            count
                .found
                .sort_by_key(|&(value, n)| (std::cmp::Reverse(n), value));
            Row {
                inputs: combination,
                expected: function.evaluate(combination).value.to_string(),
                seen: count.seen,
                wrong: count.wrong,
                found: count.found,
            }
        })
        .collect();
    let late = late::late(&walked.contradicting, settle);
    let as_if = match late {
        Some(_) => None,
        None => as_if(&rows, function, inputs.len()),
    };
    if inputs.len() <= WHOLE_TABLE_INPUTS {
        let listed: Vec<u64> = rows.iter().map(|r| r.inputs).collect();
        let unseen = (0..1u64 << inputs.len()).filter(|c| !listed.contains(c));
        rows.extend(unseen.map(|combination| Row {
            inputs: combination,
            expected: function.evaluate(combination).value.to_string(),
            seen: 0,
            wrong: 0,
            found: Vec::new(),
        }));
    }
    rows.sort_by_key(|r| (r.wrong == 0, r.inputs));
    rows.truncate(MOST_ROWS);
    let table = TruthTable {
        inputs: inputs.to_vec(),
        outputs,
        rows,
        never: combinations.map_or(0, |all| all - seen),
        combinations,
        too_short: walked.too_short,
        as_if,
        late,
    };
    (walked.tally, table)
}
