//! Transparent latches: following to the tick, keeping to the tick, what sampling leaves open, and what is said of one that slips.
//! Values are planted here; what a transparent latch does is common practice, no source.

use crate::judged::{capture_of, check, counts, sampled};
use edgewitness::analysis::findings::Finding;
use edgewitness::analysis::rules::latch::Instead;
use edgewitness::analysis::rules::{Held, check as check_all, findings};
use edgewitness::model::Capture;
use edgewitness::setup::Setup;

const LENGTH: i64 = 100_000;
const RULE: &str =
    "[[latch]]\noutput = \"Q\"\ndata = \"D\"\nenable = \"LE\"\nopen_at = \"high\"\nsettle = \"20 ns\"\n";

/// LE is high for 200 ns from each whole 2000 ns on, 49 times; D turns 500 ns before each of them; Q follows so long after LE's
/// rise. `more` are edges of Q besides.
fn latch(after: i64, more: &[i64]) -> Capture {
    let rises = (1..50).map(|n| 2000 * n);
    let le: Vec<i64> = rises.clone().flat_map(|t| [t, t + 200]).collect();
    let d: Vec<i64> = rises.clone().map(|t| t - 500).collect();
    let mut q: Vec<i64> = rises.map(|t| t + after).chain(more.iter().copied()).collect();
    q.sort_unstable();
    lines(&le, &d, &q)
}

fn lines(le: &[i64], d: &[i64], q: &[i64]) -> Capture {
    capture_of(LENGTH, &[("LE", 0, le), ("D", 0, d), ("Q", 0, q)])
}

fn held(capture: &Capture) -> Held {
    check(capture, RULE).held.unwrap()
}

fn said(capture: &Capture) -> Finding {
    let rules = Setup::parse(RULE, "setup.toml").unwrap().rules;
    findings(capture, &rules, &check_all(capture, &rules, &[])).remove(0)
}

#[test]
fn it_follows_within_the_settling_time_to_the_tick() {
    let told = |after: i64| counts(&check(&latch(after, &[]), RULE));
    // 49 stretches open, 50 shut.
    assert_eq!([19, 20].map(told), [(99, 0, 0); 2]);
    assert_eq!(told(21), (50, 49, 0));
    // By stamps 20 ns is 10 to 30 ns in truth.
    let told = |after: i64| counts(&check(&sampled(latch(after, &[]), 10), RULE));
    assert_eq!([10, 20, 30].map(told), [(99, 0, 0), (50, 0, 49), (50, 49, 0)]);
}

#[test]
fn it_keeps_what_it_has_while_shut() {
    // The enable shuts at 2200.
    let told = |more: &[i64]| counts(&check(&latch(10, more), RULE));
    assert_eq!(told(&[2210, 2220]), (99, 0, 0));
    assert_eq!(told(&[2215, 2221]), (98, 1, 0));
    // Where Q moves with the enable's next rise it is that edge's.
    assert_eq!(told(&[3999, 4001]), (98, 1, 0));
    assert_eq!(told(&[4000, 4001]), (99, 0, 0));
    let result = check(&latch(10, &[3000, 3100]), RULE);
    let violation = &result.tally.violations[0];
    assert_eq!(
        (violation.start.0, violation.at.0, violation.end.0),
        (2200, 3000, 3000)
    );
    assert_eq!(violation.measured.unwrap().0, 800);
    assert_eq!(
        violation.what.as_deref().unwrap(),
        "Q went low after LE had shut it; D was high then"
    );
    // A sample after the settling time, or before the enable opens, is open.
    let told = |more: &[i64]| counts(&check(&sampled(latch(10, more), 10), RULE));
    assert_eq!(told(&[2200, 2210]), (99, 0, 0));
    assert_eq!(told(&[2210, 2220]), (98, 0, 1));
    assert_eq!(told(&[2210, 2230]), (98, 1, 0));
}

#[test]
fn slips_are_told_by_the_level_they_go_to() {
    // D turns at 3500, 5500 …; Q slips before that, to the level that D has not, and stays so until the enable opens.
    let away: Vec<i64> = (1..9).map(|n| 2000 * n + 1000).collect();
    let q: Vec<i64> = away
        .iter()
        .copied()
        .chain((9..50).map(|n| 2000 * n + 10))
        .collect();
    let q: Vec<i64> = [2010].into_iter().chain(q).collect();
    let le: Vec<i64> = (1..50).flat_map(|n| [2000 * n, 2000 * n + 200]).collect();
    let d: Vec<i64> = (1..50).map(|n| 2000 * n - 500).collect();
    let capture = lines(&le, &d, &q);
    let of = held(&capture);
    assert_eq!((of.shut_wrong, of.slips, of.to_data, of.to_other), (8, 8, 0, 8));
    assert_eq!((of.came_back, of.after_data, of.as_if), (0, 0, None));
    let finding = said(&capture);
    assert_eq!(
        finding.title,
        "Q changes while LE is low and should keep it, in 8 of 50 stretches"
    );
    assert_eq!(
        (finding.topic, finding.lines.as_slice()),
        ("logic", &["Q", "D", "LE"].map(str::to_owned)[..])
    );
    assert!(
        finding.try_next[0].contains("spikes on LE can't be all of it"),
        "{:?}",
        finding.try_next
    );
    // One moment is called the first: the one where the evidence begins.
    assert_eq!(
        finding.detail.matches("The first at ").count(),
        1,
        "{}",
        finding.detail
    );
    assert!(
        !finding.try_next.concat().contains("first"),
        "{:?}",
        finding.try_next
    );
    // Q goes along with D 700 ns after D turned, well before the enable opens: a spike on the enable does that.
    let d: Vec<i64> = (1..50).map(|n| 2000 * n - 1500).collect();
    let early = |n: i64| if n % 5 == 0 { 2000 * n - 800 } else { 2000 * n + 10 };
    let q: Vec<i64> = (1..50).map(early).collect();
    let capture = lines(&le, &d, &q);
    let of = held(&capture);
    assert_eq!((of.slips, of.to_data, of.to_other, of.after_data), (9, 9, 0, 0));
    assert!(said(&capture).try_next[0].contains("a spike that the capture does not show"));
    // Within the settling time of D's change: it was never surely shut.
    let early = |n: i64| {
        if n % 5 == 0 {
            2000 * n - 1485
        } else {
            2000 * n + 10
        }
    };
    let q: Vec<i64> = (1..50).map(early).collect();
    let capture = lines(&le, &d, &q);
    assert_eq!((held(&capture).slips, held(&capture).after_data), (9, 9));
    assert!(said(&capture).try_next[0].contains("not surely low"));
    // Pulses that go back are strays on a wire.
    let pulses: Vec<i64> = (1..9).flat_map(|n| [2000 * n + 1000, 2000 * n + 1030]).collect();
    let capture = latch(10, &pulses);
    assert_eq!((held(&capture).slips, held(&capture).came_back), (8, 8));
    assert!(said(&capture).try_next[0].starts_with("Q goes back each time"));
}

#[test]
fn a_lasting_fault_is_told_as_one() {
    let le: Vec<i64> = (1..50).flat_map(|n| [2000 * n, 2000 * n + 900]).collect();
    let d: Vec<i64> = (1..99).map(|n| 1000 * n + 500).collect();
    let follows: Vec<i64> = d.iter().map(|t| t + 10).collect();
    let capture = lines(&le, &d, &follows);
    assert_eq!(held(&capture).as_if, Some(Instead::AlwaysOpen));
    assert!(
        said(&capture)
            .title
            .ends_with(": as if LE were always high at the part")
    );
    let never = lines(&le, &d, &[]);
    assert_eq!(held(&never).as_if, Some(Instead::AlwaysShut));
    assert!(
        said(&never)
            .title
            .starts_with("Q does not follow D while LE is high"),
        "{}",
        said(&never).title
    );
    // The same part under a rule of the other sense: it follows while LE is low, and keeps while LE is high.
    let low: Vec<i64> = d.iter().filter(|t| *t % 2000 == 1500).map(|t| t + 10).collect();
    let d_once: Vec<i64> = d.iter().copied().filter(|t| t % 2000 == 1500).collect();
    let more: Vec<i64> = (1..50)
        .map(|n| 2000 * n + 450)
        .chain(d_once.iter().copied())
        .collect();
    let mut d_both = more;
    d_both.sort_unstable();
    // While LE is high D turns at 450, and Q takes that only as LE falls at 900.
    let mut q: Vec<i64> = (1..50).map(|n| 2000 * n + 910).chain(low).collect();
    q.sort_unstable();
    let other = lines(&le, &d_both, &q);
    assert_eq!(held(&other).as_if, Some(Instead::OpensAtOther));
}

#[test]
fn a_stray_on_the_enable_opens_it_and_is_not_the_latch_s() {
    // LE shows 10 ns at 3600, after D turned at 3500: Q follows, and the next opening finds it so.
    let le: Vec<i64> = (1..50)
        .flat_map(|n| [2000 * n, 2000 * n + 200])
        .chain([3600, 3610])
        .collect();
    let mut le = le;
    le.sort_unstable();
    let d: Vec<i64> = (1..50).map(|n| 2000 * n - 500).collect();
    let q: Vec<i64> = (1..50)
        .map(|n| if n == 2 { 3615 } else { 2000 * n + 10 })
        .collect();
    let result = check(&lines(&le, &d, &q), RULE);
    // One stretch more, shut, and one too short.
    assert_eq!(counts(&result), (100, 0, 0));
    assert_eq!(result.held.unwrap().too_short, 1);
}

#[test]
fn several_bits_are_checked_one_by_one_and_must_be_as_many_as_their_data() {
    let le: &[i64] = &[2000, 2200];
    let capture = capture_of(
        LENGTH,
        &[
            ("LE", 0, le),
            ("D1", 0, &[1000]),
            ("D0", 0, &[1000]),
            ("Q1", 0, &[2010]),
            ("Q0", 0, &[2010, 9000]),
        ],
    );
    let rule = |data: &str| {
        format!(
            "[[latch]]\noutput = [\"Q1\", \"Q0\"]\ndata = [{data}]\nenable = \"LE\"\nopen_at = \"high\"\nsettle = \"20 ns\"\n"
        )
    };
    let result = check(&capture, &rule("\"D1\", \"D0\""));
    // Each bit: shut, open, shut.
    assert_eq!(counts(&result), (5, 1, 0));
    assert_eq!(result.tally.violations[0].lines, [4, 0, 2]);
    let short = check(&capture, &rule("\"D1\""));
    assert_eq!(short.missing, ["as many data lines as outputs (found 1 and 2)"]);
}

#[test]
fn mistakes_are_told_at_their_place() {
    let told = |text: &str| Setup::parse(text, "s.toml").unwrap_err().to_string();
    let lacks = told(&RULE.replace("open_at = \"high\"\n", ""));
    assert_eq!(
        lacks,
        "s.toml, line 1, column 1: a rule of kind \"latch\" needs the key open_at"
    );
    let same = told(&RULE.replace("\"D\"", "\"Q\""));
    assert!(
        same.starts_with("s.toml, line 3, column 8: found Q as output and as data"),
        "{same}"
    );
    let itself = told("[[logic]]\noutput = \"Q\"\nis = \"LE ? D : Q\"\nsettle = \"20 ns\"\n");
    assert!(
        itself.starts_with("s.toml, line 3, column 16: found the output Q on the right side"),
        "{itself}"
    );
    assert!(
        itself.contains("data = \"D\", enable = \"LE\", open_at = \"high\""),
        "{itself}"
    );
}
