//! Sequences: every step compared, told by what happened instead; and strays in wrong steps linked to their coupling.

use crate::judged::{KEPT, capture, check, counts};
use edgewitness::analysis::rules::{Company, Instead, Suspicion, check as check_all, findings};
use edgewitness::model::{Capture, Level, Line, Ticks};
use edgewitness::setup::Setup;
use edgewitness::workflow::inspect::{Question, inspect};

/// A bus of `bits` bits that takes `values` one after the other, 10 ns after strobes every 100 ns from 100 ns on.
fn stepping(values: &[u64], bits: usize) -> Capture {
    let mut lines: Vec<(String, u8, Vec<i64>)> = Vec::new();
    for bit in (0..bits).rev() {
        let first = (values[0] >> bit & 1) as u8;
        let changes = values
            .windows(2)
            .enumerate()
            .filter(|(_, w)| (w[0] ^ w[1]) >> bit & 1 == 1);
        lines.push((
            format!("Q{bit}"),
            first,
            changes.map(|(i, _)| 110 + 100 * i as i64).collect(),
        ));
    }
    let strobes = (0..values.len() as i64).flat_map(|i| [100 + 100 * i, 150 + 100 * i]);
    lines.push(("STEP".to_owned(), 0, strobes.collect()));
    let borrowed: Vec<(&str, u8, &[i64])> = lines
        .iter()
        .map(|(n, f, e)| (n.as_str(), *f, e.as_slice()))
        .collect();
    capture(&borrowed)
}

fn sequence(rule: &str, more: &str) -> String {
    format!(
        "[[sequence]]\nbus = [\"Q2\", \"Q1\", \"Q0\"]\nstrobe = \"STEP\"\nedge = \"rise\"\nrule = \"{rule}\"\n{more}"
    )
}

#[test]
fn a_count_that_goes_astray_is_told_by_what_it_did_instead() {
    let told = |values: &[u64]| {
        let result = check(&stepping(values, 3), &sequence("count-up", ""));
        let tale = result.tale.unwrap();
        (tale.steps, tale.wrong, tale.instead)
    };
    assert_eq!(told(&[6, 7, 0, 1, 2]), (4, 0, vec![]));
    assert_eq!(told(&[2, 3, 2, 3, 4]), (4, 1, vec![(Instead::OtherWay, 1)]));
    assert_eq!(told(&[2, 3, 5, 6, 7]), (4, 1, vec![(Instead::Twice, 1)]));
    assert_eq!(told(&[2, 3, 3, 4, 5]), (4, 1, vec![(Instead::NotAtAll, 1)]));
    assert_eq!(told(&[2, 3, 0, 1, 2, 3, 4]), (6, 1, vec![(Instead::Cleared, 1)]));
    assert_eq!(told(&[4, 5, 2, 3, 4]), (4, 1, vec![(Instead::BitWrong(2), 1)]));
}

#[test]
fn each_rule_of_a_sequence_is_checked() {
    let wrong = |values: &[u64], rule: &str, more: &str| {
        let tale = check(&stepping(values, 3), &sequence(rule, more)).tale.unwrap();
        (tale.steps, tale.wrong)
    };
    assert_eq!(wrong(&[2, 1, 0, 7, 6], "count-down", ""), (4, 0));
    assert_eq!(wrong(&[3, 4, 0, 1, 2], "count-up", "modulus = 5\n"), (4, 0));
    assert_eq!(wrong(&[3, 4, 5, 0, 1], "count-up", "modulus = 5\n"), (4, 1));
    assert_eq!(wrong(&[1, 2, 5, 3, 6], "shift-left", ""), (4, 0));
    assert_eq!(wrong(&[1, 2, 6, 4, 0], "shift-left", ""), (4, 1));
    assert_eq!(wrong(&[4, 2, 5, 6, 3], "shift-right", ""), (4, 0));
    assert_eq!(wrong(&[3, 3, 3, 4], "hold", ""), (3, 1));
    assert_eq!(wrong(&[3, 0, 0, 4], "clear", ""), (3, 1));
}

#[test]
fn a_loaded_bus_takes_the_other_s_value() {
    let mut capture = stepping(&[0, 5, 2, 7], 3);
    let source = stepping(&[5, 2, 3, 0], 3);
    for (i, line) in source.lines.into_iter().take(3).enumerate() {
        capture.lines.push(Line {
            name: format!("D{}", 2 - i),
            ..line
        });
    }
    // At the strobes D is 5, 2, 3; the bus took 5, 2, 7.
    let more = "from = [\"D2\", \"D1\", \"D0\"]\n";
    let tale = check(&capture, &sequence("load", more)).tale.unwrap();
    assert_eq!(
        (tale.steps, tale.wrong, tale.instead),
        (3, 1, vec![(Instead::BitWrong(2), 1)])
    );
}

#[test]
fn a_bus_wired_in_reverse_or_with_two_bits_swapped_is_suspected() {
    let suspicion = |map: &dyn Fn(u64) -> u64| {
        let values: Vec<u64> = (0..40).map(|i| map(i % 8)).collect();
        check(&stepping(&values, 3), &sequence("count-up", ""))
            .tale
            .unwrap()
            .suspicion
            .map(|(s, _)| s)
    };
    assert_eq!(suspicion(&|v| v), None);
    assert_eq!(
        suspicion(&|v| (v & 1) << 2 | v & 2 | v >> 2),
        Some(Suspicion::Reversed)
    );
    assert_eq!(
        suspicion(&|v| v & 4 | (v & 1) << 1 | (v & 2) >> 1),
        Some(Suspicion::Swapped(0, 1))
    );
    assert_eq!(suspicion(&|v| 7 - v), Some(Suspicion::OtherWay));
    assert_eq!(suspicion(&|v| v & 6), None);
}

#[test]
fn a_settling_time_is_kept_to_the_tick() {
    // The bus changes 10 ns after the strobe.
    let told = |settle: &str| {
        let more = format!("settle = \"{settle}\"\n");
        let mut capture = stepping(&[0, 1], 3);
        capture.lines[3].edges = vec![Ticks(100), Ticks(150)].into();
        counts(&check(&capture, &sequence("count-up", &more)))
    };
    assert_eq!(
        (told("9 ns"), told("10 ns"), told("11 ns")),
        ((0, 1, 0), KEPT, KEPT)
    );
}

#[test]
fn a_watched_line_that_moved_in_the_wrong_step_is_named() {
    let mut capture = stepping(&[0, 1, 2, 1, 2, 3, 4], 3);
    capture.lines.push(Line::digital(
        "DOWN",
        Level::High,
        vec![Ticks(305), Ticks(308)],
        capture.span,
    ));
    let tale = check(&capture, &sequence("count-up", "watch = [\"DOWN\"]\n"))
        .tale
        .unwrap();
    let company = Company {
        line: 4,
        wrong: 1,
        all: 1,
        strays: Vec::new(),
    };
    assert_eq!((tale.wrong, tale.company), (1, vec![company]));
}

/// A counter with two count inputs. STEP counts it up every 10 µs; a lamp line beside COUNT_DOWN_N falls now and then, 3 µs
/// after a step, and dips COUNT_DOWN_N for 20 ns about every other time: the counter, slow as it is, goes back by one 1.2
/// µs later.
#[test]
fn a_stray_on_the_other_count_input_is_linked_to_its_coupling() {
    const STEPS: i64 = 400;
    let (mut steps, mut dips, mut lamp) = (Vec::new(), Vec::new(), Vec::new());
    let mut bits: [Vec<Ticks>; 3] = Default::default();
    let mut value = 0i64;
    let mut go = |at: i64, by: i64| {
        let next = (value + by).rem_euclid(8);
        for (bit, edges) in bits.iter_mut().enumerate() {
            if (value ^ next) >> bit & 1 == 1 {
                edges.push(Ticks(at));
            }
        }
        value = next;
    };
    let mut struck = 0;
    for n in 0..STEPS {
        let at = 10_000 * (n + 1) + 37 * (n % 11);
        steps.extend([Ticks(at), Ticks(at + 4_000)]);
        go(at + 15, 1);
        if n % 5 == 2 {
            let fall = at + 3_000 + 13 * (n % 7);
            lamp.extend([Ticks(fall), Ticks(fall + 2_500)]);
            // Not every fall strikes, and nothing else tells which.
            if n * n * 7919 % 31 % 2 == 0 {
                // Of one width they would look like what a part puts out.
                dips.extend([Ticks(fall + 12), Ticks(fall + 32 + 5 * (n % 3))]);
                go(fall + 1_200, -1);
                struck += 1;
            }
        }
        // Its own job: a long pulse now and then.
        if n % 50 == 49 {
            dips.extend([Ticks(at + 6_000), Ticks(at + 8_000)]);
            go(at + 6_020, -1);
        }
    }
    let none: &[i64] = &[];
    let mut capture = capture(&[
        ("Q2", 0, none),
        ("Q1", 0, none),
        ("Q0", 0, none),
        ("STEP", 0, none),
        ("COUNT_DOWN_N", 1, none),
        ("LAMP", 1, none),
    ]);
    let end = Ticks(10_000 * (STEPS + 2));
    let [q0, q1, q2] = bits;
    for (line, edges) in capture.lines.iter_mut().zip([q2, q1, q0, steps, dips, lamp]) {
        line.edges = edges.into();
        line.span.end = end;
    }
    capture.span.end = end;
    let text = "[line.COUNT_DOWN_N]\nnarrow_below = \"60 ns\"\n[[sequence]]\nbus = [\"Q2\", \"Q1\", \"Q0\"]\n\
                strobe = \"STEP\"\nedge = \"rise\"\nrule = \"count-up\"\nwatch = [\"COUNT_DOWN_N\"]\n";
    let setup = Setup::parse(text, "setup.toml").unwrap();
    let question = Question {
        setup: &setup,
        align_on: None,
    };
    let report = inspect(vec![capture], &question).unwrap().report;
    let steps = report.rules[0].steps.as_ref().unwrap();
    // The dip of the last step comes after the last strobe that was read.
    assert!(steps.wrong >= struck, "{} of {struck}", steps.wrong);
    let company = steps.company.iter().find(|c| c.line == "COUNT_DOWN_N").unwrap();
    let linked: Vec<(u64, Option<&str>, Option<&str>)> = company
        .strays
        .iter()
        .map(|s| (s.steps, s.aggressor.as_deref(), s.edge.as_deref()))
        .collect();
    assert_eq!(linked, [(struck, Some("LAMP"), Some("fall"))]);
    // Wrong steps by COUNT_DOWN_N's own pulse show no stray.
    assert!(company.wrong_steps > struck);
    let finding = report.findings.iter().find(|f| f.topic == "sequence").unwrap();
    assert!(
        finding
            .detail
            .contains("goes with LAMP falling: see the coupling of COUNT_DOWN_N and LAMP"),
        "{}",
        finding.detail
    );
    assert!(finding.lines.contains(&"LAMP".to_owned()), "{:?}", finding.lines);
    let told = report.rules[0].violations.iter();
    let told = told.filter(|v| v.what.as_ref().is_some_and(|w| w.contains("after LAMP falling")));
    assert_eq!(told.count() as u64, struck);
}

#[test]
fn a_count_goes_where_its_direction_line_says() {
    // Up while UP is high, at the strobes 100 to 500, then down; UP falls 8 ns before the strobe at 500.
    let count = |values: &[u64]| {
        let mut capture = stepping(values, 3);
        let span = capture.lines[0].span;
        let edges = vec![Ticks(492)];
        capture.lines.push(Line::digital("UP", Level::High, edges, span));
        capture
    };
    let rule = sequence("count", "direction = \"UP\"\nup_at = \"high\"\n");
    let kept = check(&count(&[2, 3, 4, 5, 6, 5, 4, 3]), &rule);
    assert_eq!(kept.tally.broken, 0, "{:?}", kept.tale);
    // It goes on up at the strobe after the edge of UP.
    let result = check(&count(&[2, 3, 4, 5, 6, 7, 6, 5]), &rule);
    let tale = result.tale.unwrap();
    assert_eq!(
        (tale.wrong, tale.instead.clone()),
        (1, vec![(Instead::OtherWay, 1)])
    );
    let told = tale.direction.expect("a direction line");
    assert_eq!(
        (told.high, told.low, told.edge_before, told.within),
        (0, 1, 1, Ticks(10))
    );
    let other = rule.replace("\"high\"", "\"low\"");
    let turned = check(&count(&[2, 3, 4, 5, 6, 5, 4, 3]), &other).tale.unwrap();
    assert_eq!(turned.suspicion.map(|(s, _)| s), Some(Suspicion::OtherWay));
    let capture = count(&[2, 3, 4, 5, 6, 7, 6, 5]);
    let setup = Setup::parse(&rule, "s.toml").unwrap();
    let said = findings(&capture, &setup.rules, &check_all(&capture, &setup.rules, &[]));
    assert!(
        said[0].detail.contains("At the wrong steps UP was high in 0 and low in 1; in 1 of them it had an edge in the 10 ns before"),
        "{}",
        said[0].detail
    );
}

#[test]
fn a_line_that_moves_in_few_of_the_wrong_steps_is_told_with_its_count() {
    // Stuck at 3 from the third strobe on; WATCHED moves in one of the wrong steps.
    let values = [1, 2, 3, 3, 3, 3, 3, 3];
    let mut capture = stepping(&values, 3);
    let span = capture.lines[0].span;
    capture
        .lines
        .push(Line::digital("WATCHED", Level::Low, vec![Ticks(610)], span));
    let setup = Setup::parse(&sequence("count-up", "watch = \"WATCHED\"\n"), "s.toml").unwrap();
    let said = findings(&capture, &setup.rules, &check_all(&capture, &setup.rules, &[]));
    let next = &said[0].try_next[0];
    assert!(next.starts_with("WATCHED moves in only 1 of the "), "{next}");
}

/// A counter of three bits that counts at strobes every 100 ns, 10 ns behind them, and at each of `moves` (a time and a new
/// value) besides.
fn counting(strobes: i64, moves: &[(i64, u64)]) -> Capture {
    let mut changes: Vec<(i64, Option<u64>)> = (0..strobes).map(|n| (110 + 100 * n, None)).collect();
    changes.extend(moves.iter().map(|&(at, value)| (at, Some(value))));
    changes.sort_unstable();
    let (mut value, mut bits) = (0u64, [(); 3].map(|()| Vec::new()));
    for (at, new) in changes {
        let new = new.unwrap_or((value + 1) % 8);
        for (bit, edges) in bits.iter_mut().enumerate() {
            if (value ^ new) >> bit & 1 == 1 {
                edges.push(at);
            }
        }
        value = new;
    }
    let strobes: Vec<i64> = (0..strobes)
        .flat_map(|n| [100 + 100 * n, 150 + 100 * n])
        .collect();
    let [q0, q1, q2] = &bits;
    capture(&[
        ("Q2", 0, q2.as_slice()),
        ("Q1", 0, q1.as_slice()),
        ("Q0", 0, q0.as_slice()),
        ("STEP", 0, strobes.as_slice()),
    ])
}

#[test]
fn a_counter_that_moves_on_without_a_strobe_is_told_of_whatever_its_settling_time() {
    // Read 20 ns after the strobe all steps are right; after the 3rd and the 6th one more follows.
    let moved = counting(10, &[(370, 4), (680, 0)]);
    let settled = sequence("count-up", "settle = \"20 ns\"\n");
    let result = check(&moved, &settled);
    let tale = result.tale.clone().unwrap();
    assert_eq!(
        (counts(&result), tale.steps, tale.wrong, tale.instead),
        ((8, 2, 0), 10, 2, vec![(Instead::Unbidden, 2)])
    );
    let first = &result.tally.violations[0];
    assert_eq!((first.start, first.at), (Ticks(300), Ticks(370)));
    let setup = Setup::parse(&settled, "s.toml").unwrap();
    let said = findings(&moved, &setup.rules, &check_all(&moved, &setup.rules, &[]));
    assert!(
        said[0]
            .title
            .ends_with("breaks count-up in 2 of 10 steps: it moved on without a strobe"),
        "{}",
        said[0].title
    );
    // Without a settling time the same steps are told.
    assert_eq!(check(&moved, &sequence("count-up", "")).tale.unwrap().wrong, 2);
    // None moves on its own.
    assert_eq!(counts(&check(&counting(10, &[]), &settled)), (10, 0, 0));
}

#[test]
fn what_loads_a_counter_between_its_strobes_is_no_step_of_its_own() {
    // Set to 6 after the 2nd step, cleared after the 5th, and set to what happens to be the next value after the 8th.
    let loaded = counting(10, &[(270, 6), (560, 0), (880, 4)]);
    let settled = sequence("count-up", "settle = \"20 ns\"\n");
    let result = check(&loaded, &settled);
    assert_eq!(counts(&result), (10, 0, 0));
    assert_eq!(result.tale.unwrap().moved_between, 3);
    // One that another rule's strobe steps as well.
    let mut both = counting(6, &[(370, 4), (570, 7)]);
    let span = both.lines[0].span;
    let edges = vec![Ticks(360), Ticks(365), Ticks(560), Ticks(565)];
    both.lines.push(Line::digital("SKIP", Level::Low, edges, span));
    let skip = settled.replace("\"STEP\"", "\"SKIP\"");
    let setup = Setup::parse(&format!("{settled}{skip}"), "s.toml").unwrap();
    let results = check_all(&both, &setup.rules, &[]);
    assert_eq!(
        counts(&results.rules[0]),
        (6, 0, 0),
        "{:?}",
        results.rules[0].tale
    );
    let alone = Setup::parse(&settled, "s.toml").unwrap();
    assert_eq!(counts(&check_all(&both, &alone.rules, &[]).rules[0]), (4, 2, 0));
}
