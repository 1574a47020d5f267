//! Parts against their truth tables: settling to the tick, contradictions by input combination, and what would explain them.

use crate::judged::capture_of;
use edgewitness::analysis::rules::{AsIf, RuleResult, check, check_rules, findings};
use edgewitness::model::{Capture, Level};
use edgewitness::rule::Rule;
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

fn check_part(capture: &Capture, output: &str, is: &str, settle: &str) -> RuleResult {
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
    let told = |settle: &str| counts(&check_part(&part(gate), "Y", GATE, settle));
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
    let told = |settle: &str| counts(&check_part(&capture, "Y", GATE, settle));
    // 10 ns by stamps is 5 to 15 ns in truth.
    assert_eq!(
        (told("5 ns"), told("10 ns"), told("15 ns")),
        ((24, 8, 0), (24, 0, 8), (32, 0, 0))
    );
}

#[test]
fn contradictions_come_first_in_the_table() {
    let result = check_part(&part(|c| u64::from(c == 0b101 || c == 0b010)), "Y", GATE, "50 ns");
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
    let table = check_part(&capture, "Y", "A | B", "50 ns").table.unwrap();
    let seen: Vec<(u64, u64)> = table.rows.iter().map(|r| (r.inputs, r.seen)).collect();
    assert_eq!(
        (seen, table.never),
        (vec![(0b00, 1), (0b01, 0), (0b10, 1), (0b11, 0)], 2)
    );
}

#[test]
fn one_fault_that_explains_all_rows_is_named() {
    let as_if = |f: &dyn Fn(u64) -> u64| {
        check_part(&part(f), "Y", "S0 ? D : S1", "50 ns")
            .table
            .unwrap()
            .as_if
    };
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
    let result = check_part(&capture, "Y", "A", "50 ns");
    assert_eq!((counts(&result), result.table.unwrap().too_short), ((3, 0, 0), 1));
}

#[test]
fn a_short_leave_from_the_right_value_is_a_contradiction() {
    let capture = capture_of(LENGTH, &[("A", 0, &[1000]), ("Y", 0, &[1010, 3000, 3005])]);
    let result = check_part(&capture, "Y", "A", "50 ns");
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
    let result = check_part(&part(|_| 1), "Y", "S1 ? 1'bx : 1'b1", "50 ns");
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

/// A symmetric gate of A and B, stretches 1000 ns, whose output does what `output` says in stretch `i` with inputs `c`: how much
/// later than the inputs it changes, and to what.
fn nand(output: impl Fn(usize, u64) -> (i64, u64)) -> Capture {
    let combinations: Vec<u64> = (0..80).map(|i| [0, 1, 3, 2, 3, 1, 0, 2][i % 8]).collect();
    let edges = |value: &dyn Fn(usize, u64) -> (i64, u64)| {
        let mut now = value(0, combinations[0]).1;
        let first = now as u8;
        let mut edges = Vec::new();
        for (i, &c) in combinations.iter().enumerate().skip(1) {
            let (late, next) = value(i, c);
            if next != now {
                edges.push(1000 * i as i64 + late);
                now = next;
            }
        }
        (first, edges)
    };
    let lines = [
        ("A", edges(&|_, c| (0, c >> 1))),
        ("B", edges(&|_, c| (0, c & 1))),
        ("Y", edges(&output)),
    ];
    capture_of(
        LENGTH,
        &lines
            .each_ref()
            .map(|(name, (first, edges))| (*name, *first, &edges[..])),
    )
}

fn rules(settle: &str) -> Vec<Rule> {
    let text = format!("[[logic]]\noutput = \"Y\"\nis = \"~(A & B)\"\nsettle = \"{settle}\"\n");
    Setup::parse(&text, "setup.toml")
        .unwrap_or_else(|e| panic!("{e}"))
        .rules
}

fn told(capture: &Capture, settle: &str) -> (RuleResult, String) {
    let rules = rules(settle);
    let mut results = check(capture, &rules, &[]);
    let title = findings(capture, &rules, &results).remove(0).title;
    (results.rules.remove(0), title)
}

const fn not_both(c: u64) -> u64 {
    (c != 3) as u64
}

#[test]
fn an_output_that_comes_right_late_is_slow_and_nothing_is_swapped() {
    let (result, title) = told(&nand(|i, c| (90 + (i as i64 * 7) % 50, not_both(c))), "50 ns");
    let table = result.table.unwrap();
    assert_eq!(table.as_if, None);
    let late = table.late.expect("late");
    assert!((130..140).contains(&late.up_to.0), "{late:?}");
    assert!(
        title.starts_with("Y comes right up to 13") && title.contains("50 ns allowed"),
        "{title}"
    );
    // In time, nothing is said.
    let kept = check_rules(&nand(|_, c| (20, not_both(c))), &rules("50 ns")).remove(0);
    assert_eq!(kept.table.unwrap().late, None);
}

#[test]
fn a_gate_that_fails_now_and_then_has_no_lasting_fault() {
    let fails = |i: usize, c: u64| if i % 20 == 2 { 1 } else { not_both(c) };
    let (result, title) = told(&nand(|i, c| (10, fails(i, c))), "50 ns");
    let table = result.table.unwrap();
    assert_eq!((table.as_if, table.late), (None, None));
    assert!(table.is_now_and_then());
    assert!(title.contains("now and then, in 2 of 20 stretches"), "{title}");
}

#[test]
fn a_part_that_is_wrong_is_told_before_one_that_is_slow() {
    let mut capture = nand(|i, c| (90 + (i as i64 * 7) % 50, not_both(c)));
    let mut dead = nand(|_, c| (10, c & 1)).lines.remove(2);
    dead.name = "Z".to_owned();
    capture.lines.push(dead);
    let mut both = rules("50 ns");
    let other = "[[logic]]\noutput = \"Z\"\nis = \"~(A & B)\"\nsettle = \"50 ns\"\n";
    both.extend(Setup::parse(other, "setup.toml").unwrap().rules);
    let results = check(&capture, &both, &[]);
    let first = findings(&capture, &both, &results).remove(0).title;
    assert!(first.starts_with("Z contradicts"), "{first}");
}
