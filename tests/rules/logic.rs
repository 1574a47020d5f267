//! Parts against their truth tables: settling to the tick, contradictions by input combination, and what would explain them.

use crate::judged::capture_of;
use edgewitness::analysis::rules::{AsIf, RuleResult, check_rules};
use edgewitness::model::{Capture, Level};
use edgewitness::setup::Setup;

/// All captures here are 100 µs long, in ticks of 1 ns.
const LENGTH: i64 = 100_000;

/// Lines S1, S0, D (inputs, counting through all combinations every 1000 ns) and Y, 10 ns later, by `part`.
fn part(part: impl Fn(u64) -> u64) -> Capture {
    let combinations: Vec<u64> = (0..32).map(|i| i % 8).collect();
    let edges = |value: &dyn Fn(u64) -> u64, late: i64| {
        let first = (value(combinations[0]) & 1) as u8;
        let pairs = combinations.windows(2).enumerate();
        let changes = pairs.filter(|(_, w)| value(w[0]) & 1 != value(w[1]) & 1);
        (
            first,
            changes
                .map(|(i, _)| 1000 * (i as i64 + 1) + late)
                .collect::<Vec<i64>>(),
        )
    };
    let lines = [
        ("S1", edges(&|c| c >> 2, 0)),
        ("S0", edges(&|c| c >> 1, 0)),
        ("D", edges(&|c| c, 0)),
        ("Y", edges(&|c| part(c), 10)),
    ];
    capture_of(
        LENGTH,
        &lines
            .each_ref()
            .map(|(name, (first, edges))| (*name, *first, &edges[..])),
    )
}

fn check(capture: &Capture, output: &str, is: &str, settle: &str) -> RuleResult {
    let text = format!("[[logic]]\noutput = \"{output}\"\nis = \"{is}\"\nsettle = \"{settle}\"\n");
    let setup = Setup::parse(&text, "setup.toml").unwrap_or_else(|e| panic!("{e}"));
    let result = check_rules(capture, &setup.rules).remove(0);
    assert_eq!(result.missing, Vec::<String>::new());
    result
}

fn counts(result: &RuleResult) -> (u64, u64, u64) {
    (result.tally.kept, result.tally.broken, result.tally.cant_tell)
}

const GATE: &str = "S1 & ~S0 & D";

fn gate(c: u64) -> u64 {
    u64::from(c == 0b101)
}

#[test]
fn settling_is_judged_to_the_tick() {
    let told = |settle: &str| counts(&check(&part(gate), "Y", GATE, settle));
    // Y follows after 10 ns: the 8 changes to and from 1 are late for 9 ns; the 32 stretches are all compared.
    assert_eq!(
        (told("9 ns"), told("10 ns"), told("11 ns")),
        ((24, 8, 0), (32, 0, 0), (32, 0, 0))
    );
}

#[test]
fn settling_within_one_sample_of_the_limit_can_t_be_told() {
    let mut capture = part(gate);
    for line in &mut capture.lines {
        line.sample_ticks = 5.0;
    }
    let told = |settle: &str| counts(&check(&capture, "Y", GATE, settle));
    // 10 ns by stamps is 5 to 15 ns in truth.
    assert_eq!(
        (told("5 ns"), told("10 ns"), told("15 ns")),
        ((24, 8, 0), (24, 0, 8), (32, 0, 0))
    );
}

#[test]
fn contradictions_come_first_in_the_table() {
    let result = check(&part(|c| u64::from(c == 0b101 || c == 0b010)), "Y", GATE, "50 ns");
    let table = result.table.as_ref().unwrap();
    let row = &table.rows[0];
    assert_eq!(
        (row.inputs, row.expected.as_str(), row.seen, row.wrong),
        (0b010, "0", 4, 4)
    );
    assert_eq!(row.found, vec![(1, 4)]);
    assert_eq!(
        (table.rows.len(), table.never, table.combinations),
        (8, 0, Some(8))
    );
    assert_eq!(counts(&result), (28, 4, 0));
    assert_eq!(
        result.tally.violations[0].what.as_deref(),
        Some("inputs 010: expected 0, found 1")
    );
    assert_eq!(
        (
            result.tally.violations[0].start.0,
            result.tally.violations[0].end.0
        ),
        (2050, 3000)
    );
}

#[test]
fn combinations_never_seen_are_listed_as_such() {
    let capture = capture_of(LENGTH, &[("A", 0, &[1000]), ("B", 0, &[]), ("Y", 0, &[1010])]);
    let table = check(&capture, "Y", "A | B", "50 ns").table.unwrap();
    let seen: Vec<(u64, u64)> = table.rows.iter().map(|r| (r.inputs, r.seen)).collect();
    assert_eq!(
        (seen, table.never),
        (vec![(0b00, 1), (0b01, 0), (0b10, 1), (0b11, 0)], 2)
    );
}

#[test]
fn one_fault_that_explains_all_rows_is_named() {
    let as_if = |f: &dyn Fn(u64) -> u64| check(&part(f), "Y", "S0 ? D : S1", "50 ns").table.unwrap().as_if;
    let mux = |c: u64| if c & 2 != 0 { c & 1 } else { c >> 2 & 1 };
    assert_eq!(as_if(&mux), None);
    assert_eq!(as_if(&|c| mux(c | 2)), Some(AsIf::Stuck(0, Level::High)));
    assert_eq!(as_if(&|c| mux(c & !1)), Some(AsIf::Stuck(1, Level::Low)));
    assert_eq!(
        as_if(&|c| mux((c & 2) | (c & 1) << 2 | c >> 2)),
        Some(AsIf::Swapped(1, 2))
    );
    assert_eq!(as_if(&|c| 1 - mux(c)), Some(AsIf::Inverted));
    assert_eq!(as_if(&|_| 1), Some(AsIf::Constant(1)));
}

#[test]
fn a_stretch_shorter_than_the_settling_time_is_not_compared() {
    let capture = capture_of(LENGTH, &[("A", 0, &[1000, 1040, 5000]), ("Y", 0, &[5010])]);
    let result = check(&capture, "Y", "A", "50 ns");
    assert_eq!((counts(&result), result.table.unwrap().too_short), ((3, 0, 0), 1));
}

#[test]
fn a_short_leave_from_the_right_value_is_a_contradiction() {
    let capture = capture_of(LENGTH, &[("A", 0, &[1000]), ("Y", 0, &[1010, 3000, 3005])]);
    let result = check(&capture, "Y", "A", "50 ns");
    assert_eq!(counts(&result), (1, 1, 0));
    assert_eq!(
        (
            result.tally.violations[0].start.0,
            result.tally.violations[0].end.0
        ),
        (3000, 3005)
    );
}

#[test]
fn x_in_the_expression_is_not_compared() {
    let result = check(&part(|_| 1), "Y", "S1 ? 1'bx : 1'b1", "50 ns");
    assert_eq!((counts(&result), result.tally.not_judged), ((4, 0, 0), 4));
}

#[test]
fn a_mistake_inside_an_expression_has_its_column_in_the_file() {
    let error = Setup::parse(
        "[[logic]]\noutput = \"Y\"\nis = \"A & \"\nsettle = \"1 ns\"\n",
        "s.toml",
    )
    .unwrap_err();
    assert_eq!((error.line, error.column), (3, 11), "{error}");
    let error = Setup::parse("[[logic]]\noutput = \"Y\"\nis = \"A\"\n", "s.toml").unwrap_err();
    assert_eq!(error.line, 1);
    assert!(error.message.contains("settle"), "{error}");
}
