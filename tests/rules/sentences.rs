//! What broken rules say: the worst value in the title, counts under it, silence where all is well.

use crate::judged::{capture, capture_of};
use edgewitness::analysis::findings::{Finding, Severity};
use edgewitness::analysis::rules::{check, findings};
use edgewitness::model::Capture;
use edgewitness::setup::Setup;

fn said(capture: &Capture, setup: &str) -> Vec<Finding> {
    let setup = Setup::parse(setup, "setup.toml").unwrap_or_else(|e| panic!("{e}"));
    findings(capture, &setup.rules, &check(capture, &setup.rules, &[]))
}

const WIDTH: &str =
    "[[limit]]\nkind = \"pulse-width\"\nline = \"STRIKE\"\nlevel = \"high\"\nat_least = \"20 ns\"\n";

#[test]
fn a_kept_rule_says_nothing() {
    assert_eq!(said(&capture(&[("STRIKE", 0, &[100, 140])]), WIDTH), vec![]);
}

#[test]
fn a_broken_limit_tells_its_worst_value_and_its_counts() {
    let said = said(&capture(&[("STRIKE", 0, &[100, 115, 200, 212, 300, 340])]), WIDTH);
    assert_eq!(said.len(), 1);
    assert_eq!((said[0].severity, said[0].topic), (Severity::Fault, "limit"));
    assert_eq!(
        said[0].title,
        "STRIKE is high for only 12 ns; the limit is at least 20 ns"
    );
    assert!(
        said[0]
            .detail
            .contains("Broken in 2 of 3 occasions. The first at 100 ns."),
        "{}",
        said[0].detail
    );
    assert_eq!(said[0].lines, ["STRIKE"]);
    assert!(!said[0].try_next.is_empty());
}

#[test]
fn a_line_that_did_not_stay_is_told_against_the_limit_of_its_side() {
    let rule = "[[limit]]\nkind = \"stay\"\nline = \"MUTE\"\nlevel = \"high\"\nstrobe = \"LIFT\"\nedge = \"rise\"\n\
                before = \"10 ns\"\nafter = \"200 ns\"\n";
    let of = |mute: &[i64]| {
        said(
            &capture(&[("MUTE", 1, mute), ("LIFT", 0, &[1000, 1500, 2000])]),
            rule,
        )
        .remove(0)
    };
    let after = of(&[1053, 1960]);
    assert_eq!(
        after.title,
        "MUTE goes low 53 ns after the rise of LIFT; it must stay high for 200 ns after it (broken 1 of 2 times)"
    );
    let sides = "Before the edge (10 ns asked): broken 0, kept 2, at the shortest 40 ns. After the edge (200 ns asked): broken 1, kept 1, \
                 at the shortest 53 ns.";
    assert!(after.detail.contains(sides), "{}", after.detail);
    assert_eq!(
        of(&[1700, 1995]).title,
        "MUTE is low until 5 ns before the rise of LIFT; it must be high for 10 ns before it (broken 1 of 2 times)"
    );
    assert_eq!(
        of(&[1700, 2300]).title,
        "MUTE is low at the rise of LIFT; it must be high then (broken 1 of 2 times)"
    );
}

/// Eight outputs of a decoder, of which the next is low every 1000 ns, 80 times. `overlap`: the next comes so long before the last has
/// gone. `beside`: 300 ns into so many steps a second output, three further on, is low for 100 ns.
fn decoder(overlap: i64, beside: &[i64]) -> Capture {
    let names: Vec<String> = (0..8).map(|y| format!("Y{y}")).collect();
    let mut edges = vec![Vec::new(); 8];
    for step in 0..80 {
        let start = 1000 * step + 500;
        edges[(step % 8) as usize].extend([start, start + 1000 + overlap]);
    }
    for &step in beside {
        edges[((step + 3) % 8) as usize].extend([1000 * step + 800, 1000 * step + 900]);
    }
    edges.iter_mut().for_each(|edges| edges.sort_unstable());
    let lines: Vec<(&str, u8, &[i64])> = names
        .iter()
        .zip(&edges)
        .map(|(name, edges)| (name.as_str(), 1, &edges[..]))
        .collect();
    capture_of(81_000, &lines)
}

const ONE_LOW: &str = "[[limit]]\nkind = \"exclusive\"\nlines = [\"Y0\", \"Y1\", \"Y2\", \"Y3\", \"Y4\", \"Y5\", \"Y6\", \"Y7\"]\n\
                       level = \"low\"\nat_most = \"20 ns\"\n";

#[test]
fn overlaps_of_a_decoder_are_told_by_their_pairs_with_what_brings_them() {
    let beside = said(&decoder(0, &[3, 11, 20, 30, 41]), ONE_LOW).remove(0);
    assert_eq!(
        beside.title,
        "Two of 8 lines are low together 5 times, in 4 different pairs; the longest, Y6 and Y3, for 100 ns"
    );
    assert!(
        beside
            .detail
            .contains("By pair: Y3 and Y6 2, Y4 and Y7 1, Y1 and Y6 1, Y1 and Y4 1."),
        "{}",
        beside.detail
    );
    assert!(
        beside
            .detail
            .contains("In 5 of 5 the second came and went while the first stayed.")
    );
    assert!(
        beside.try_next[0].contains("the decoder's inputs and its enables"),
        "{:?}",
        beside.try_next
    );
    assert!(!beside.try_next.join(" ").contains("drive one wire"));
    // Each step hands on too late: the inputs or the enable.
    let late = said(&decoder(50, &[]), ONE_LOW).remove(0);
    assert!(
        late.try_next[0].starts_with("The next output comes before the last has gone"),
        "{:?}",
        late.try_next
    );
    assert!(!late.detail.contains("came and went"), "{}", late.detail);
    // Two enables that are seldom on are no decoder.
    let two = "[[limit]]\nkind = \"exclusive\"\nlines = [\"A\", \"B\"]\nlevel = \"low\"\n";
    let two = said(&capture(&[("A", 1, &[1000, 1100]), ("B", 1, &[1050, 1200])]), two).remove(0);
    assert_eq!(two.title, "A and B are low together for 50 ns");
    assert!(
        two.try_next[1].contains("switch two outputs onto one wire"),
        "{:?}",
        two.try_next
    );
}

/// EN_A and EN_B take turns of 1 µs, each low when it is on; `gaps`: from one's going to the other's coming, in ns.
fn turns(gaps: &[i64]) -> Vec<Vec<i64>> {
    let mut edges = vec![Vec::new(); 2];
    for (turn, gap) in gaps.iter().chain([&0]).enumerate() {
        let comes = 1000 * (turn as i64 + 1);
        edges[turn % 2].extend([comes, comes + 1000 - gap]);
    }
    edges
}

const NEVER_BOTH: &str = "[[limit]]\nkind = \"exclusive\"\nlines = [\"EN_A\", \"EN_B\"]\nlevel = \"low\"\n";

#[test]
fn hand_overs_that_overlap_are_asked_about_and_a_limit_for_them_is_proposed() {
    let of = |gaps: &[i64], rule: &str| {
        let edges = turns(gaps);
        let lines = [("EN_A", 1, &edges[0][..]), ("EN_B", 1, &edges[1][..])];
        said(&capture_of(20_000, &lines), rule)
    };
    let meant = of(&[-30, -40, -25, -40, -31, -28, -33, -40], NEVER_BOTH).remove(0);
    assert_eq!(
        (meant.title.as_str(), meant.severity),
        (
            "EN_A and EN_B are low together for up to 40 ns, at hand-overs only (8 of 8): is that meant?",
            Severity::Warning
        )
    );
    assert!(
        meant.try_next[0].contains("at_most = \"40 ns\"")
            && meant.try_next[0].ends_with("only longer overlaps break it."),
        "{:?}",
        meant.try_next
    );
    // The limit that is proposed keeps the rule.
    let allowed = format!("{NEVER_BOTH}at_most = \"40 ns\"\n");
    assert_eq!(of(&[-30, -40, -25, -40, -31, -28, -33, -40], &allowed), []);
    // A short break between the two breaks nothing.
    assert_eq!(of(&[30, 40, 25, 40, 31], NEVER_BOTH), []);
    // Now and then, one only, or no passing on: as ever.
    for (gaps, handed) in [
        (
            &[-30, 40, 25, 40, 31, -35, 28, -30][..],
            "3 of 3 are hand-overs of at most 35 ns",
        ),
        (&[-30, -40][..], "2 of 2 are hand-overs of at most 40 ns"),
        (&[-300, -310, -280, -290][..], ""),
    ] {
        let found = of(gaps, NEVER_BOTH).remove(0);
        assert_eq!(found.severity, Severity::Fault, "{found:?}");
        assert!(found.detail.contains(handed), "{found:?}");
        assert_eq!(
            found.detail.contains("hand-over"),
            !handed.is_empty(),
            "{found:?}"
        );
    }
    // One overlap among them that is none is left to stand alone.
    let one = of(&[-30, -40, -25, -400, -31, -28, -33, -40], NEVER_BOTH).remove(0);
    assert_eq!(
        (one.title.as_str(), one.severity),
        ("EN_B and EN_A are low together for 400 ns", Severity::Fault)
    );
    assert!(
        one.detail.contains("7 of 8 are hand-overs of at most 40 ns")
            && one.try_next[0].contains("at_most = \"40 ns\"")
            && one.try_next[0].ends_with("then the other one stands alone."),
        "{one:?}"
    );
}

#[test]
fn the_limit_for_hand_overs_lets_pass_what_sampling_leaves_open() {
    let edges = turns(&[-30, -40, -30, -40, -30, -40]);
    let lines = [("EN_A", 1, &edges[0][..]), ("EN_B", 1, &edges[1][..])];
    let mut capture = capture_of(20_000, &lines);
    capture.lines.iter_mut().for_each(|line| line.sample_ticks = 10.0);
    let meant = said(&capture, NEVER_BOTH).remove(0);
    assert!(meant.try_next[0].contains("at_most = \"50 ns\""), "{meant:?}");
    assert_eq!(said(&capture, &format!("{NEVER_BOTH}at_most = \"50 ns\"\n")), []);
}

#[test]
fn a_frequency_is_told_in_hertz() {
    let rule = "[[limit]]\nkind = \"frequency\"\nline = \"STEP\"\nedge = \"rise\"\nat_least = \"5 MHz\"\nat_most = \"10 MHz\"\n";
    let told = |period: i64| {
        said(&capture(&[("STEP", 0, &[500, 550, 500 + period])]), rule)[0]
            .title
            .clone()
    };
    assert_eq!(
        told(80),
        "The rise of STEP comes again after 80 ns (12.5 MHz); the frequency must be at most 10 MHz"
    );
    assert_eq!(
        told(250),
        "The rise of STEP comes again after 250 ns (4 MHz); the frequency must be at least 5 MHz"
    );
}

#[test]
fn what_can_t_be_told_is_a_note_with_the_period_to_blame() {
    let mut capture = capture(&[("STRIKE", 0, &[100, 120])]);
    capture.lines[0].sample_ticks = 10.0;
    let said = said(&capture, WIDTH);
    assert_eq!(said[0].severity, Severity::Note);
    assert!(
        said[0].title.contains("can't be told at this sampling"),
        "{}",
        said[0].title
    );
    assert!(
        said[0].detail.contains("one sampling period (10 ns)"),
        "{}",
        said[0].detail
    );
}

#[test]
fn a_rule_that_never_had_anything_to_check_says_so() {
    let said = said(&capture(&[("STRIKE", 0, &[])]), WIDTH);
    assert_eq!(said[0].severity, Severity::Note);
    let name = "pulse-width of STRIKE (high)";
    assert_eq!(
        said[0].title,
        format!("The rule \"{name}\" never had anything to check")
    );
    assert!(
        said[0].detail.starts_with("Line 1 of the setup file"),
        "{}",
        said[0].detail
    );
}

#[test]
fn a_rule_on_a_line_that_was_not_captured_says_which() {
    let said = said(&capture(&[("STRIKE_OUT", 0, &[100, 140])]), WIDTH);
    assert_eq!(said[0].severity, Severity::Warning);
    assert!(
        said[0].title.contains("this capture has no STRIKE"),
        "{}",
        said[0].title
    );
}

#[test]
fn an_answer_that_never_came_is_worse_than_a_late_one() {
    let setup = "[[limit]]\nkind = \"answer\"\nfrom = \"CALL\"\nfrom_edge = \"rise\"\nto = \"DONE\"\nto_edge = \"rise\"\n\
                 at_most = \"100 ns\"\n";
    let lines = capture(&[("CALL", 0, &[1000, 1010, 5000]), ("DONE", 0, &[1500])]);
    let said = said(&lines, setup);
    assert_eq!(
        said[0].title,
        "The rise of DONE does not come after the rise of CALL; it must come within at most 100 ns"
    );
}

#[test]
fn an_open_select_pin_is_named_from_the_truth_table() {
    let setup = "[[logic]]\noutput = \"Y\"\nis = \"S ? A : B\"\nsettle = \"50 ns\"\n";
    // S is open at the part: Y follows A whatever S says.
    let lines = capture(&[
        ("S", 0, &[4000]),
        ("A", 0, &[1000, 3000, 5000, 7000]),
        ("B", 0, &[2000, 6000]),
        ("Y", 0, &[1010, 3010, 5010, 7010]),
    ]);
    let said = said(&lines, setup);
    assert_eq!(
        said[0].title,
        "Y contradicts its rule in 2 of 8 input combinations seen: as if S were always high at the part"
    );
    assert!(
        said[0]
            .detail
            .contains("Inputs S A B: 001 should give 1 and gives 0"),
        "{}",
        said[0].detail
    );
    assert!(said[0].try_next[0].contains("open"), "{:?}", said[0].try_next);
}

#[test]
fn a_part_that_is_wrong_now_and_then_is_told_with_what_it_gave_then() {
    let setup = "[[logic]]\noutput = \"Y\"\nis = \"A\"\nsettle = \"50 ns\"\n";
    // A is high three times; Y stays low the second time.
    let lines = capture(&[
        ("A", 0, &[1000, 2000, 3000, 4000, 5000, 6000]),
        ("Y", 0, &[1010, 2010, 5010, 6010]),
    ]);
    let said = said(&lines, setup);
    assert!(
        said[0]
            .detail
            .contains("1 should give 1 and gives 0 in 1 of 3 stretches"),
        "{}",
        said[0].detail
    );
}

#[test]
fn a_count_the_wrong_way_names_the_line_that_moved() {
    let setup = "[[sequence]]\nbus = [\"Q1\", \"Q0\"]\nstrobe = \"UP\"\nedge = \"rise\"\nrule = \"count-up\"\nwatch = [\"DOWN\"]\n";
    // 0 1 2 1 2 3: the third strobe counted down while DOWN dipped.
    let lines = capture(&[
        ("Q1", 0, &[210, 310, 410]),
        ("Q0", 0, &[110, 210, 310, 410, 510]),
        ("UP", 0, &[100, 150, 200, 250, 300, 350, 400, 450, 500, 550, 600]),
        ("DOWN", 1, &[305, 308]),
    ]);
    let said = said(&lines, setup);
    assert_eq!(
        said[0].title,
        "Q1 Q0 breaks count-up in 1 of 5 steps: it went the other way"
    );
    assert!(
        said[0]
            .detail
            .contains("DOWN moved during 1 of the 1 wrong steps and 0 of the 4 right ones"),
        "{}",
        said[0].detail
    );
    assert!(said[0].try_next[0].contains("DOWN"), "{:?}", said[0].try_next);
}

#[test]
fn a_still_bit_and_a_bridge_are_told() {
    let edges: Vec<i64> = (1..40).map(|i| i * 100).collect();
    let slow: Vec<i64> = (1..20).map(|i| i * 200).collect();
    let said = said(
        &capture(&[
            ("D3", 0, &slow),
            ("D2", 0, &[]),
            ("D1", 0, &edges),
            ("D0", 0, &edges),
        ]),
        "",
    );
    let titles: Vec<&str> = said.iter().map(|f| f.title.as_str()).collect();
    assert_eq!(
        titles,
        [
            "D2 never moves while its neighbours do: it stays low",
            "D1 and D0 are the same at every edge"
        ]
    );
}
