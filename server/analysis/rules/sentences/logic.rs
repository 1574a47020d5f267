//! Sentences on parts that contradict their truth table.

use super::Teller;
use crate::analysis::findings::count_of;
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::rules::logic::{AsIf, TruthTable};
use crate::model::{Capture, Level};

/// Rows of the table told in the detail.
const ROWS_TOLD: usize = 3;

/// The finding of a combinational part that contradicts its expression; the result has a table.
pub fn broken(teller: &Teller) -> Finding {
    let table = teller.result.table.as_ref().expect("a checked part has a table");
    let names = |lines: &[usize]| {
        lines
            .iter()
            .map(|&l| teller.name(l))
            .collect::<Vec<_>>()
            .join(" ")
    };
    let outputs = names(&table.outputs);
    let wrong: Vec<_> = table.rows.iter().filter(|r| r.wrong > 0).collect();
    let seen = table.rows.iter().filter(|r| r.seen > 0).count();
    let as_if = table.as_if.map(|a| as_if_words(teller.capture, table, a));
    let mut title = format!(
        "{outputs} contradicts its rule in {} of {seen} input combinations seen",
        wrong.len()
    );
    if let Some(as_if) = &as_if {
        title.push_str(&format!(": as if {as_if}"));
    }
    let (n, width) = (table.inputs.len(), table.outputs.len());
    let told = wrong.iter().take(ROWS_TOLD).map(|row| {
        let gives = match row.wrong_value() {
            Some(found) => format!("{found:0width$b}"),
            None => "another value".to_owned(),
        };
        format!(
            "{:0n$b} should give {} and gives {gives} in {} of {} stretches",
            row.inputs, row.expected, row.wrong, row.seen
        )
    });
    let told: Vec<String> = told.collect();
    let more = wrong.len().saturating_sub(ROWS_TOLD);
    let more = if more > 0 {
        format!("; and {}", count_of(more as u64, "more row"))
    } else {
        String::new()
    };
    let never = match table.never {
        0 => String::new(),
        n => format!(" {n} combinations were never seen."),
    };
    let detail = format!(
        "Rule \"{}\". {} Inputs {}: {}{more}.{never}",
        teller.rule.name,
        teller.counts(),
        names(&table.inputs),
        told.join("; ")
    );
    teller.make(Severity::Fault, title, detail, next(teller, table))
}

/// What one fault would be, as the end of "as if …".
pub fn as_if_words(capture: &Capture, table: &TruthTable, as_if: AsIf) -> String {
    let name = |input: usize| &capture.lines[table.inputs[input]].name;
    match as_if {
        AsIf::Stuck(input, level) => format!("{} were always {} at the part", name(input), level.word()),
        AsIf::Swapped(a, b) => format!("{} and {} were swapped", name(a), name(b)),
        AsIf::Inverted => "the output were inverted".to_owned(),
        AsIf::Constant(value) => {
            let width = table.outputs.len();
            format!("the output were always {value:0width$b}")
        }
    }
}

fn next(teller: &Teller, table: &TruthTable) -> Vec<String> {
    let name = |input: usize| teller.name(table.inputs[input]);
    let first = match table.as_if {
        Some(AsIf::Stuck(input, Level::High)) => format!(
            "Probe {} at the part's own pin: the line moves where it was captured, so look for an open pin, socket or joint \
             between (an open TTL input reads high).",
            name(input)
        ),
        Some(AsIf::Stuck(input, _)) => {
            format!("Probe {} at the part's own pin: look for a short to ground or a wrong pin.", name(input))
        }
        Some(AsIf::Swapped(a, b)) => format!("Compare the wires of {} and {} with the drawing.", name(a), name(b)),
        Some(AsIf::Inverted) => "Compare the part's type with the drawing: an inverting one gives just this.".to_owned(),
        Some(AsIf::Constant(_)) => {
            "Probe the output with its load taken off: a short, another driver, or an enable input that holds it.".to_owned()
        }
        None => "Probe inputs and output at the part's own pins, then try another part of the same type.".to_owned(),
    };
    vec![
        first,
        "Power off and discharge the supply before you reseat or change a part.".to_owned(),
    ]
}
