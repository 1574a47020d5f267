//! Sentences on parts that contradict their truth table.

use super::Teller;
use crate::analysis::findings::count_of;
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::rules::logic::{AsIf, TruthTable};
use crate::model::units::seconds;
use crate::model::{Capture, Level};
use crate::rule::Demand;

/// Stands beside whatever has hands in the machine.
pub(super) const POWER_OFF: &str = "Power off and discharge the supply before you reseat or change a part.";
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
    let mut title = format!(
        "{outputs} contradicts its rule in {} of {seen} input combinations seen",
        wrong.len()
    );
    if let Some(late) = table.late {
        title = format!(
            "{outputs} comes right up to {} after its inputs, {} allowed: late, and right in the end every time",
            teller.ticks(late.up_to.0 as f64),
            allowed(teller)
        );
    } else if let Some(as_if) = table.as_if {
        title.push_str(&format!(": as if {}", as_if_words(teller.capture, table, as_if)));
    } else if table.is_now_and_then() {
        let (n, of) = wrong.iter().fold((0, 0), |(n, of), r| (n + r.wrong, of + r.seen));
        title = format!(
            "{outputs} contradicts its rule now and then, in {n} of {of} stretches with the same inputs: a marginal part or contact"
        );
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
        "Rule \"{}\". {}{} Inputs {}: {}{more}.{never}",
        teller.rule.name,
        teller.counts(),
        how_late(teller, table),
        names(&table.inputs),
        told.join("; ")
    );
    teller.make(Severity::Fault, title, detail, next(teller, table))
}

/// The settling time that the rule allows.
fn allowed(teller: &Teller) -> String {
    match &teller.rule.demand {
        Demand::Logic(logic) => seconds(logic.settle_s),
        _ => "less".to_owned(),
    }
}

/// How the stretches ended in which an output came late.
fn how_late(teller: &Teller, table: &TruthTable) -> String {
    let Some(late) = table.late else {
        return String::new();
    };
    let kept = teller.result.tally.violations.len() as u64;
    let of_first = match teller.result.tally.broken > kept {
        true => format!(" Of the first {kept} of them:"),
        false => String::new(),
    };
    let cut = match late.cut_short {
        0 => String::new(),
        n => format!(" In {n} the inputs moved again before that."),
    };
    format!(
        "{of_first} In {} of them the output was right in the end, while the inputs stood still.{cut}",
        late.right_in_the_end
    )
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
    if let Some(late) = table.late {
        return vec![
            "Look at the output's edge with a scope: a slow slope is a heavily loaded output or a missing pull-up; a steep one that \
             comes late is a slow part. Compare with the part's data sheet."
                .to_owned(),
            format!(
                "May the part be as slow as that? Then the rule's settling time is too short: say settle = \"{}\" or more.",
                teller.ticks(late.up_to.0 as f64)
            ),
            POWER_OFF.to_owned(),
        ];
    }
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
        None if table.is_now_and_then() => {
            "Look whether the failures go with warmth, touch or the supply; then reseat the part in its socket, and try another of its type."
                .to_owned()
        }
        None => "Probe inputs and output at the part's own pins, then try another part of the same type.".to_owned(),
    };
    vec![first, POWER_OFF.to_owned()]
}
