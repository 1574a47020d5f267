//! For each kind of limit: a value one tick inside the limit, on it, and one tick outside; and what sampling leaves open.

use crate::judged::{BROKEN, CANT_TELL, KEPT, capture, check, counts, sampled};
use edgewitness::analysis::rules::{Side, check_rules};
use edgewitness::model::Bus;
use edgewitness::setup::Setup;

#[test]
fn a_pulse_of_the_limit_s_very_width_keeps_it_and_the_other_level_is_free() {
    let least =
        "[[limit]]\nkind = \"pulse-width\"\nline = \"STRIKE\"\nlevel = \"high\"\nat_least = \"20 ns\"\n";
    let most = least.replace("at_least", "at_most");
    let told =
        |width: i64, setup: &str| counts(&check(&capture(&[("STRIKE", 0, &[100, 100 + width])]), setup));
    assert_eq!([19, 20, 21].map(|w| told(w, least)), [BROKEN, KEPT, KEPT]);
    assert_eq!([19, 20, 21].map(|w| told(w, &most)), [KEPT, KEPT, BROKEN]);
    // The other level is not concerned.
    assert_eq!(
        counts(&check(&capture(&[("STRIKE", 1, &[100, 105])]), least)),
        (0, 0, 0)
    );
}

#[test]
fn a_sampled_width_is_known_to_one_period() {
    let least = "[[limit]]\nkind = \"pulse-width\"\nline = \"STRIKE\"\nat_least = \"20 ns\"\n";
    let told = |width: i64| {
        let capture = sampled(capture(&[("STRIKE", 0, &[100, 100 + width])]), 10);
        counts(&check(&capture, least))
    };
    assert_eq!([10, 20, 30].map(told), [BROKEN, CANT_TELL, KEPT]);
    let result = check(&sampled(capture(&[("STRIKE", 0, &[100, 110])]), 10), least);
    let (measured, reach) = result.tally.violations[0].measured.unwrap();
    assert_eq!((measured, reach.below, reach.above), (10, 10.0, 10.0));
}

#[test]
fn setup_time_ends_are_allowed_and_a_change_with_the_strobe_is_the_hold_time_s() {
    // IEEE Std 1364-2005 clause 15: $setup breaks for 0 < strobe − data < limit, $hold for 0 ≤ data − strobe < limit
    // (from memory of the standard, its text was not at hand).
    let rule = |kind: &str| {
        format!(
            "[[limit]]\nkind = \"{kind}\"\ndata = \"TUNE0\"\nstrobe = \"STEP\"\nedge = \"rise\"\nat_least = \"20 ns\"\n"
        )
    };
    let told = |data: i64, kind: &str| {
        counts(&check(
            &capture(&[("TUNE0", 0, &[data]), ("STEP", 0, &[1000, 1500])]),
            &rule(kind),
        ))
    };
    assert_eq!(
        [979, 980, 981, 999, 1000, 1001].map(|d| told(d, "setup")),
        [KEPT, KEPT, BROKEN, BROKEN, KEPT, KEPT]
    );
    assert_eq!(
        [999, 1000, 1019, 1020, 1021].map(|d| told(d, "hold")),
        [KEPT, BROKEN, BROKEN, KEPT, KEPT]
    );
}

#[test]
fn setup_and_hold_within_a_sample_of_the_strobe_can_t_be_told_apart() {
    let rule = |kind: &str| {
        format!(
            "[[limit]]\nkind = \"{kind}\"\ndata = \"TUNE0\"\nstrobe = \"STEP\"\nedge = \"rise\"\nat_least = \"20 ns\"\n"
        )
    };
    let told = |data: i64, kind: &str| {
        let capture = sampled(capture(&[("TUNE0", 0, &[data]), ("STEP", 0, &[1000, 1500])]), 10);
        counts(&check(&capture, &rule(kind)))
    };
    assert_eq!(
        [970, 980, 990, 1000, 1010].map(|d| told(d, "setup")),
        [KEPT, CANT_TELL, BROKEN, CANT_TELL, KEPT]
    );
    assert_eq!(
        [990, 1000, 1010, 1020, 1030].map(|d| told(d, "hold")),
        [KEPT, CANT_TELL, BROKEN, CANT_TELL, KEPT]
    );
}

#[test]
fn a_bus_is_checked_bit_by_bit() {
    let mut capture = capture(&[("T[1]", 0, &[985]), ("T[0]", 0, &[900]), ("STEP", 0, &[1000])]);
    capture.buses.push(Bus {
        name: "T".to_owned(),
        bits: vec![0, 1],
        base: None,
    });
    let rule = "[[limit]]\nkind = \"setup\"\ndata = \"T\"\nstrobe = \"STEP\"\nedge = \"rise\"\nat_least = \"20 ns\"\n";
    let result = check(&capture, rule);
    assert_eq!(counts(&result), (1, 1, 0));
    assert_eq!(result.tally.violations[0].lines, vec![0, 2]);
}

#[test]
fn a_strobe_comes_no_sooner_after_the_release_than_the_recovery_time() {
    let rule = "[[limit]]\nkind = \"recovery\"\nfrom = \"CLEAR_N\"\nfrom_edge = \"rise\"\nstrobe = \"STEP\"\nedge = \"rise\"\n\
                at_least = \"20 ns\"\n";
    let told = |strobe: i64| {
        counts(&check(
            &capture(&[("CLEAR_N", 0, &[1000]), ("STEP", 0, &[strobe])]),
            rule,
        ))
    };
    assert_eq!([1000, 1019, 1020, 1021].map(told), [BROKEN, BROKEN, KEPT, KEPT]);
    assert_eq!(told(999), (0, 0, 0));
}

#[test]
fn a_line_that_must_stay() {
    let rule = "[[limit]]\nkind = \"stay\"\nline = \"DOWN\"\nlevel = \"high\"\nstrobe = \"UP\"\nedge = \"rise\"\n\
                before = \"20 ns\"\nafter = \"30 ns\"\n";
    let told = |a: i64, b: i64| {
        counts(&check(
            &capture(&[("DOWN", 1, &[a, b]), ("UP", 0, &[1000])]),
            rule,
        ))
    };
    assert_eq!([979, 980, 981].map(|end| told(900, end)), [KEPT, KEPT, BROKEN]);
    assert_eq!(
        [1029, 1030, 1031].map(|start| told(start, 1100)),
        [BROKEN, KEPT, KEPT]
    );
    assert_eq!(told(900, 1100), BROKEN);
    let what = check(&capture(&[("DOWN", 1, &[990, 1100]), ("UP", 0, &[1000])]), rule)
        .tally
        .violations[0]
        .what
        .clone();
    assert_eq!(what.unwrap(), "DOWN was low at the edge");
    // Sampled: the end of the excursion within one period of the limit is open.
    let told = |end: i64| {
        counts(&check(
            &sampled(capture(&[("DOWN", 1, &[900, end]), ("UP", 0, &[1000])]), 10),
            rule,
        ))
    };
    assert_eq!([970, 980, 990].map(told), [KEPT, CANT_TELL, BROKEN]);
}

#[test]
fn each_side_of_an_edge_has_its_own_limit_counts_and_margins() {
    let rule = "[[limit]]\nkind = \"stay\"\nline = \"DOWN\"\nlevel = \"high\"\nstrobe = \"UP\"\nedge = \"rise\"\n\
                before = \"10 ns\"\nafter = \"200 ns\"\n";
    // DOWN goes low 53 ns after the first rise of UP, until 40 ns before the second; before the third it is low up to 5 ns.
    let down = [1053, 1960, 2900, 2995];
    let result = check(
        &capture(&[("DOWN", 1, &down), ("UP", 0, &[1000, 1500, 2000, 2500, 3000])]),
        rule,
    );
    assert_eq!(counts(&result), (1, 2, 0));
    // Neither limit is the rule's.
    assert_eq!(
        (result.tally.limits.at_least, result.tally.limits.at_most),
        (None, None)
    );
    let [before, after] = &result.tally.sides[..] else {
        panic!("{:?}", result.tally.sides)
    };
    assert_eq!(
        (before.side, before.limit, before.kept, before.broken),
        (Side::Before, 10.0, 2, 1)
    );
    assert_eq!((before.smallest, before.largest), (Some(5), Some(40)));
    assert_eq!(
        (after.side, after.limit, after.kept, after.broken),
        (Side::After, 200.0, 2, 1)
    );
    assert_eq!((after.smallest, after.largest), (Some(53), Some(900)));
    // A tenth of the limit a bin: 147 short of 200 lies in the third, 700 more than it beyond the last.
    assert_eq!(
        (after.margins.bin, after.margins.counts[2], after.margins.above),
        (20.0, 1, 1)
    );
    // The evidence reaches from the edge to the limit.
    let [first, second] = &result.tally.violations[..] else {
        panic!("{:?}", result.tally.violations)
    };
    assert_eq!((first.start.0, first.at.0, first.end.0), (1000, 1053, 1200));
    assert_eq!(first.side, Some((Side::After, 200.0)));
    assert_eq!((second.start.0, second.at.0, second.end.0), (2990, 2900, 3000));
    assert_eq!(second.side, Some((Side::Before, 10.0)));
}

#[test]
fn lines_that_exclude_each_other_break_it_by_overlapping_longer_than_allowed() {
    let rule = "[[limit]]\nkind = \"exclusive\"\nlines = [\"EN_A\", \"EN_B\"]\nlevel = \"low\"\n";
    let told = |start: i64, rule: &str| {
        counts(&check(
            &capture(&[("EN_A", 1, &[1000, 1100]), ("EN_B", 1, &[start, 1300])]),
            rule,
        ))
    };
    // The first start has no other before it: kept. The second is judged by its overlap.
    assert_eq!(
        [1099, 1100, 1101].map(|s| told(s, rule)),
        [(1, 1, 0), (2, 0, 0), (2, 0, 0)]
    );
    let allowed = format!("{rule}at_most = \"5 ns\"\n");
    assert_eq!(
        [1094, 1095, 1096].map(|s| told(s, &allowed)),
        [(1, 1, 0), (2, 0, 0), (2, 0, 0)]
    );
    let handover = sampled(
        capture(&[("EN_A", 1, &[1000, 1100]), ("EN_B", 1, &[1100, 1300])]),
        10,
    );
    assert_eq!(counts(&check(&handover, rule)), (1, 0, 1));
}

#[test]
fn an_answer_must_come_and_in_time() {
    let rule = "[[limit]]\nkind = \"answer\"\nfrom = \"CALL\"\nfrom_edge = \"rise\"\nto = \"DONE\"\nto_edge = \"rise\"\n\
                at_most = \"100 ns\"\n";
    let told = |answer: &[i64]| {
        counts(&check(
            &capture(&[("CALL", 0, &[1000]), ("DONE", 0, answer)]),
            rule,
        ))
    };
    assert_eq!([1099, 1100, 1101].map(|a| told(&[a])), [KEPT, KEPT, BROKEN]);
    assert_eq!(told(&[]), BROKEN);
    let late_call = check(&capture(&[("CALL", 0, &[9950]), ("DONE", 0, &[])]), rule);
    assert_eq!((counts(&late_call), late_call.tally.not_judged), ((0, 0, 0), 1));
}

#[test]
fn delay_from_cause_to_effect() {
    let rule = "[[limit]]\nkind = \"delay\"\nfrom = \"STEP\"\nfrom_edge = \"rise\"\nto = \"Q0\"\nto_edge = \"both\"\n\
                at_least = \"10 ns\"\nat_most = \"30 ns\"\n";
    let told = |effect: i64| {
        counts(&check(
            &capture(&[("STEP", 0, &[1000]), ("Q0", 0, &[effect])]),
            rule,
        ))
    };
    assert_eq!([1009, 1010, 1030, 1031].map(told), [BROKEN, KEPT, KEPT, BROKEN]);
}

#[test]
fn a_period_and_its_frequency_have_the_same_bounds() {
    let period = "[[limit]]\nkind = \"period\"\nline = \"STEP\"\nedge = \"rise\"\nat_least = \"100 ns\"\nat_most = \"200 ns\"\n";
    let told = |p: i64, rule: &str| counts(&check(&capture(&[("STEP", 0, &[500, 550, 500 + p])]), rule));
    assert_eq!(
        [99, 100, 200, 201].map(|p| told(p, period)),
        [BROKEN, KEPT, KEPT, BROKEN]
    );
    let frequency = period
        .replace("period", "frequency")
        .replace("100 ns", "5 MHz")
        .replace("200 ns", "10 MHz");
    assert_eq!(
        [99, 100, 200, 201].map(|p| told(p, &frequency)),
        [BROKEN, KEPT, KEPT, BROKEN]
    );
}

#[test]
fn margins_show_how_close_the_good_ones_are() {
    let rule = "[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nlevel = \"high\"\nat_least = \"100 ns\"\n";
    let result = check(
        &capture(&[("A", 0, &[100, 205, 400, 515, 600, 695, 1000, 2000])]),
        rule,
    );
    let margins = &result.tally.margins;
    // Widths 105, 115, 95, 1000 against 100: margins 5, 15, −5, 900; bins of 10 from −100.
    let filled: Vec<(usize, u64)> = margins
        .counts
        .iter()
        .copied()
        .enumerate()
        .filter(|(_, n)| *n > 0)
        .collect();
    assert_eq!(
        (margins.start, margins.bin, filled),
        (-100.0, 10.0, vec![(9, 1), (10, 1), (11, 1)])
    );
    assert_eq!((margins.below, margins.above), (0, 1));
    assert_eq!(
        (result.tally.smallest, result.tally.largest),
        (Some(95), Some(1000))
    );
}

#[test]
fn a_name_that_is_not_there_is_told() {
    let rule = "[[limit]]\nkind = \"pulse-width\"\nline = \"STRIKES\"\nat_least = \"20 ns\"\n";
    let setup = Setup::parse(rule, "setup.toml").unwrap();
    let result = check_rules(&capture(&[("STRIKE", 0, &[])]), &setup.rules).remove(0);
    assert_eq!(
        (result.missing, result.tally.checked()),
        (vec!["STRIKES".to_owned()], 0)
    );
}

#[test]
fn a_mistake_in_a_rule_names_its_place_and_what_was_expected() {
    let error = |text: &str| Setup::parse(text, "s.toml").unwrap_err();
    let cases = [
        ("[[limit]]\nline = \"A\"\n", 1, 1, "expected kind"),
        ("[[limit]]\nkind = \"pulse-with\"\n", 2, 8, "pulse-width"),
        (
            "[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\n",
            1,
            1,
            "at_least or at_most",
        ),
        (
            "[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nlevel = \"up\"\nat_least = \"1 ns\"\n",
            4,
            9,
            "low or high",
        ),
        (
            "[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nat_least = \"1\"\n",
            4,
            12,
            "time with its unit",
        ),
        (
            "[[limit]]\nkind = \"pulse-width\"\nline = \"A\"\nedge = \"rise\"\nat_least = \"1 ns\"\n",
            4,
            8,
            "the key edge",
        ),
        (
            "[[limit]]\nkind = \"period\"\nline = \"A\"\nedge = \"up\"\nat_least = \"1 ns\"\n",
            4,
            8,
            "rise, fall or both",
        ),
        (
            "[[limit]]\nkind = \"period\"\nline = \"A\"\nedge = \"rise\"\nat_least = \"9 ns\"\nat_most = \"1 ns\"\n",
            6,
            11,
            "not below",
        ),
        (
            "[[limit]]\nkind = \"exclusive\"\nlines = [\"A\", \"A\"]\nlevel = \"low\"\n",
            3,
            9,
            "twice",
        ),
        (
            "[[sequence]]\nbus = \"A\"\nstrobe = \"S\"\nedge = \"rise\"\nrule = \"up\"\n",
            5,
            8,
            "count-up",
        ),
        (
            "[[sequence]]\nbus = \"A\"\nstrobe = \"S\"\nedge = \"rise\"\nrule = \"hold\"\nmodulus = 5\n",
            6,
            11,
            "modulus",
        ),
        (
            "[[sequence]]\nbus = \"A\"\nstrobe = \"S\"\nedge = \"rise\"\nrule = \"load\"\n",
            1,
            1,
            "needs the key from",
        ),
        (
            "[[limit]]\nkind = \"frequency\"\nline = \"A\"\nedge = \"rise\"\nat_least = \"1 ns\"\n",
            5,
            12,
            "frequency",
        ),
    ];
    for (text, line, column, words) in cases {
        let error = error(text);
        assert_eq!((error.line, error.column), (line, column), "{text}: {error}");
        assert!(error.message.contains(words), "{text}: {error}");
    }
}
