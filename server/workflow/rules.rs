//! Checked rules → the rows of the report.

use crate::analysis::rules::sentences::{as_if_words, suspicion_words};
use crate::analysis::rules::sequence::instead_words;
use crate::analysis::rules::{RuleResult, Tale, TruthTable as Table, Violation};
use crate::model::Capture;
use crate::report::rules::{
    Company, CompanyStrays, DirectionRow, FoundValue, MarginHistogram, RuleRow, Steps, TruthRow, TruthTable,
    ViolationRow,
};
use crate::rule::Rule;

/// One row a rule, in the order given. `rules` and `results`: as many.
pub fn rows(capture: &Capture, rules: &[Rule], results: &[RuleResult]) -> Vec<RuleRow> {
    let pairs = rules.iter().zip(results).enumerate();
    pairs
        .map(|(i, (rule, result))| row(capture, i, rule, result))
        .collect()
}

fn row(capture: &Capture, index: usize, rule: &Rule, result: &RuleResult) -> RuleRow {
    let tally = &result.tally;
    let length = |ticks: f64| capture.timebase.length_s(ticks);
    let verdict = match () {
        () if result.apart.is_some() => "not-judged",
        () if tally.broken > 0 => "broken",
        () if tally.cant_tell > 0 => "cant-tell",
        () if tally.kept > 0 => "kept",
        () => "nothing-checked",
    };
    let has_margins = tally.smallest.is_some();
    RuleRow {
        id: format!("R{}", index + 1),
        name: rule.name.clone(),
        kind: rule.demand.word().to_owned(),
        setup_line: rule.setup_line as u64,
        lines: names(capture, &result.lines),
        missing: result.missing.clone(),
        verdict: verdict.to_owned(),
        checked: tally.checked(),
        kept: tally.kept,
        broken: tally.broken,
        cant_tell: tally.cant_tell,
        not_judged: tally.not_judged,
        at_least_s: tally.limits.at_least.map(length),
        at_most_s: tally.limits.at_most.map(length),
        smallest_s: tally.smallest.map(|t| length(t as f64)),
        largest_s: tally.largest.map(|t| length(t as f64)),
        margins: has_margins.then(|| MarginHistogram {
            start_s: length(tally.margins.start),
            bin_s: length(tally.margins.bin),
            counts: tally.margins.counts.clone(),
            below: tally.margins.below,
            above: tally.margins.above,
        }),
        violations: tally.violations.iter().map(|v| violation(capture, v)).collect(),
        doubtful: tally.doubtful.iter().map(|v| violation(capture, v)).collect(),
        truth_table: result.table.as_ref().map(|t| truth_table(capture, t)),
        steps: result.tale.as_ref().map(|t| steps(capture, t)),
    }
}

fn names(capture: &Capture, lines: &[usize]) -> Vec<String> {
    lines.iter().map(|&i| capture.lines[i].name.clone()).collect()
}

fn violation(capture: &Capture, violation: &Violation) -> ViolationRow {
    let length = |ticks: f64| capture.timebase.length_s(ticks);
    let measured = violation.measured;
    ViolationRow {
        start_s: capture.seconds(violation.start),
        end_s: capture.seconds(violation.end),
        lines: names(capture, &violation.lines),
        measured_s: measured.map(|(m, _)| length(m as f64)),
        low_s: measured.map(|(m, reach)| length(m as f64 - reach.below)),
        high_s: measured.map(|(m, reach)| length(m as f64 + reach.above)),
        what: violation.what.clone(),
    }
}

fn truth_table(capture: &Capture, table: &Table) -> TruthTable {
    let (n, width) = (table.inputs.len(), table.outputs.len());
    let rows = table.rows.iter().map(|row| TruthRow {
        inputs: format!("{:0n$b}", row.inputs),
        expected: row.expected.clone(),
        seen: row.seen,
        wrong: row.wrong,
        found: row
            .found
            .iter()
            .map(|&(value, count)| FoundValue {
                value: format!("{value:0width$b}"),
                count,
            })
            .collect(),
    });
    TruthTable {
        inputs: names(capture, &table.inputs),
        outputs: names(capture, &table.outputs),
        rows: rows.collect(),
        never: table.never,
        too_short: table.too_short,
        as_if: table.as_if.map(|a| as_if_words(capture, table, a)),
        late_s: table
            .late
            .map(|late| capture.timebase.length_s(late.up_to.0 as f64)),
        now_and_then: table.late.is_none() && table.as_if.is_none() && table.is_now_and_then(),
    }
}

fn steps(capture: &Capture, tale: &Tale) -> Steps {
    Steps {
        bus: names(capture, &tale.bus),
        steps: tale.steps,
        wrong: tale.wrong,
        instead: tale
            .instead
            .iter()
            .map(|&(instead, count)| FoundValue {
                value: instead_words(instead, &capture.lines, &tale.bus),
                count,
            })
            .collect(),
        suspicion: tale.suspicion.as_ref().map(|(suspicion, count)| FoundValue {
            value: suspicion_words(capture, tale, suspicion),
            count: *count,
        }),
        direction: tale.direction.map(|told| DirectionRow {
            line: capture.lines[told.line].name.clone(),
            wrong_high: told.high,
            wrong_low: told.low,
            edge_before: told.edge_before,
            within_s: capture.timebase.length_s(told.within.0 as f64),
        }),
        company: tale
            .company
            .iter()
            .map(|company| Company {
                line: capture.lines[company.line].name.clone(),
                wrong_steps: company.wrong,
                right_steps: company.all - company.wrong,
                strays: company
                    .strays
                    .iter()
                    .map(|strays| CompanyStrays {
                        steps: strays.steps,
                        aggressor: strays.aggressor.map(|(line, _)| capture.lines[line].name.clone()),
                        edge: strays.aggressor.map(|(_, edge)| edge.word().to_owned()),
                    })
                    .collect(),
            })
            .collect(),
    }
}
