//! Checked rules → the rows of the report.

use crate::analysis::rules::sentences::{as_if_words, latch_as_if_words, suspicion_words};
use crate::analysis::rules::sequence::instead_words;
use crate::analysis::rules::{Held, Margins, RuleResult, SideTally, Tale, TruthTable as Table, Violation};
use crate::model::Capture;
use crate::report::rules::{
    Company, CompanyStrays, DirectionRow, FoundValue, LatchRow, MarginHistogram, RuleRow, SideRow, Steps,
    TruthRow, TruthTable, ViolationRow,
};
use crate::rule::{Demand, Latch, Limit, Rule};

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
    let of_several = is_of_several(rule, result);
    let told = |v: &Violation| {
        let mut row = violation(capture, v);
        if of_several {
            row.what = row.what.take().or_else(|| Some(which(rule, &row)));
        }
        row
    };
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
        margins: has_margins.then(|| margins(capture, &tally.margins)),
        violations: tally.violations.iter().map(told).collect(),
        doubtful: tally.doubtful.iter().map(told).collect(),
        truth_table: result.table.as_ref().map(|t| truth_table(capture, t)),
        steps: result.tale.as_ref().map(|t| steps(capture, t)),
        sides: tally.sides.iter().map(|side| side_row(capture, side)).collect(),
        latch: match (&rule.demand, &result.held) {
            (Demand::Latch(latch), Some(held)) => Some(latch_row(capture, latch, held)),
            _ => None,
        },
    }
}

fn margins(capture: &Capture, margins: &Margins) -> MarginHistogram {
    let length = |ticks: f64| capture.timebase.length_s(ticks);
    MarginHistogram {
        start_s: length(margins.start),
        bin_s: length(margins.bin),
        counts: margins.counts.clone(),
        below: margins.below,
        above: margins.above,
    }
}

fn side_row(capture: &Capture, side: &SideTally) -> SideRow {
    let length = |ticks: f64| capture.timebase.length_s(ticks);
    SideRow {
        side: side.side.word().to_owned(),
        at_least_s: length(side.limit),
        kept: side.kept,
        broken: side.broken,
        cant_tell: side.cant_tell,
        smallest_s: side.smallest.map(|t| length(t as f64)),
        largest_s: side.largest.map(|t| length(t as f64)),
        margins: margins(capture, &side.margins),
    }
}

fn latch_row(capture: &Capture, latch: &Latch, held: &Held) -> LatchRow {
    let enable = &capture.lines[held.enable].name;
    LatchRow {
        outputs: names(capture, &held.outputs),
        data: names(capture, &held.data),
        enable: enable.clone(),
        open: held.open,
        open_wrong: held.open_wrong,
        shut: held.shut,
        shut_wrong: held.shut_wrong,
        too_short: held.too_short,
        slips: held.slips,
        to_data: held.to_data,
        to_other: held.to_other,
        after_data: held.after_data,
        came_back: held.came_back,
        as_if: held
            .as_if
            .map(|instead| latch_as_if_words(instead, enable, latch)),
    }
}

/// Whether the lines of a violation are among several that the rule is about, so that it must be said which they are.
fn is_of_several(rule: &Rule, result: &RuleResult) -> bool {
    match &rule.demand {
        Demand::Limit(Limit::Exclusive { .. }) => true,
        Demand::Limit(Limit::Setup { .. } | Limit::Hold { .. }) => result.lines.len() > 2,
        _ => false,
    }
}

/// The lines of a violation by name: both that were together, or the one that moved.
fn which(rule: &Rule, row: &ViolationRow) -> String {
    match (&rule.demand, row.lines.as_slice()) {
        (Demand::Limit(Limit::Exclusive { .. }), [one, other]) => format!("{one} and {other}"),
        (_, lines) => lines.first().cloned().unwrap_or_default(),
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
        side: violation.side.map(|(side, _)| side.word().to_owned()),
        limit_s: violation.side.map(|(_, limit)| length(limit)),
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
        moved_between: tale.moved_between,
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
