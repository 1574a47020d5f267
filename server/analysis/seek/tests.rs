use super::*;
use crate::model::{Bus, Stretch, StretchKind, TimeSpan};
use proptest::prelude::*;

fn capture(lines: Vec<Line>) -> Capture {
    Capture::in_nanoseconds("test.vcd", TimeSpan::new(Ticks(0), Ticks(1000)), lines)
}

fn line(name: &str, times: &[i64]) -> Line {
    let span = TimeSpan::new(Ticks(0), Ticks(1000));
    Line::digital(name, Level::Low, times.iter().map(|&t| Ticks(t)).collect(), span)
}

const ALL: Where = Where {
    from: Ticks(-1),
    back: false,
    most: 100,
    count: true,
};

fn found(capture: &Capture, text: &str) -> Vec<(i64, i64)> {
    let pattern = Pattern::read(text, capture).unwrap();
    let found = seek(capture, &Question::Pattern(pattern), ALL);
    assert_eq!(found.count, Some(found.moments.len() as u64));
    found.moments.iter().map(|m| (m.start.0, m.end.0)).collect()
}

fn carillon() -> Capture {
    capture(vec![
        line("STEP", &[100, 200, 300, 400]),
        line("CLEAR_N", &[50, 150, 170, 320, 330]),
        line("Q[1]", &[10, 500]),
        line("Q[0]", &[20, 500]),
    ])
}

#[test]
fn a_sentence_and_an_expression_say_the_same() {
    let capture = carillon();
    for text in [
        "CLEAR_N low while STEP high",
        "STEP is high and CLEAR_N is low",
        "STEP && !CLEAR_N",
    ] {
        assert_eq!(found(&capture, text), [(150, 170), (320, 330)], "{text}");
    }
    assert_eq!(found(&capture, "CLEAR_N LOW"), [(0, 50), (150, 170), (320, 330)]);
}

#[test]
fn any_name_stands_in_a_sentence() {
    let mut capture = carillon();
    capture.lines[1].name = "Channel 1 (clear)".to_owned();
    let expected = [(150, 170), (320, 330)];
    assert_eq!(found(&capture, "Channel 1 (clear) low while STEP high"), expected);
    assert_eq!(found(&capture, "!\\#1 && STEP"), expected);
    assert!(Pattern::read("\\#9 && STEP", &capture).is_err());
}

#[test]
fn edges_are_looked_at_just_before() {
    let capture = carillon();
    assert_eq!(
        found(&capture, "CLEAR_N falls while STEP high"),
        [(150, 150), (320, 320)]
    );
    assert_eq!(found(&capture, "STEP rises"), [(100, 100), (300, 300)]);
    assert_eq!(found(&capture, "STEP falls, CLEAR_N low"), []);
    // Both switch at 500: just before it, both were high.
    assert_eq!(found(&capture, "Q[1] falls and Q[0] high"), [(500, 500)]);
}

#[test]
fn a_bus_is_found_by_its_value() {
    let mut capture = carillon();
    capture.buses.push(Bus {
        name: "Q".to_owned(),
        bits: vec![2, 3],
        base: None,
    });
    assert_eq!(found(&capture, "Q == 2'b10"), [(10, 20)]);
    assert_eq!(found(&capture, "{\\Q[0] , \\Q[1] } == 'o2"), []);
    assert_eq!(found(&capture, "Q == 'o3"), [(20, 500)]);
    assert_eq!(found(&capture, "Q == 0"), [(0, 10), (500, 1001)]);
}

#[test]
fn what_is_not_known_matches_nothing() {
    let mut capture = carillon();
    capture.lines[0].stretches.push(Stretch {
        span: TimeSpan::new(Ticks(120), Ticks(160)),
        kind: StretchKind::Unknown,
    });
    assert_eq!(
        found(&capture, "CLEAR_N low while STEP high"),
        [(160, 170), (320, 330)]
    );
    assert_eq!(found(&capture, "STEP === 1'bx"), [(120, 160)]);
}

#[test]
fn a_pattern_that_can_t_be_read_is_told() {
    let capture = carillon();
    for (text, told) in [
        ("", "Expected a pattern"),
        ("NOBODY low", "no line NOBODY"),
        ("STEP &&", "can't be read"),
        ("STEP rises while CLEAR_N falls", "one line"),
    ] {
        let error = Pattern::read(text, &capture).unwrap_err();
        assert!(error.contains(told), "{text}: {error}");
    }
}

#[test]
fn pulses_by_width_and_the_way_back() {
    let capture = carillon();
    let question = Question::Pulse {
        line: 1,
        level: Some(Level::Low),
        at_least: 0.0,
        below: 21.0,
    };
    let starts = |place: Where| -> Vec<i64> {
        seek(&capture, &question, place)
            .moments
            .iter()
            .map(|m| m.start.0)
            .collect()
    };
    assert_eq!(starts(ALL), [150, 320]);
    let back = Where {
        from: Ticks(400),
        back: true,
        most: 1,
        count: false,
    };
    assert_eq!(starts(back), [320]);
    assert_eq!(
        starts(Where {
            from: Ticks(320),
            ..back
        }),
        [150]
    );
    assert_eq!(
        starts(Where {
            from: Ticks(150),
            ..back
        }),
        [0; 0]
    );
}

proptest! {
    /// The walk against a plain look at every tick.
    #[test]
    fn a_pattern_holds_where_every_tick_says_so(
        a in proptest::collection::btree_set(0i64..60, 0..20),
        b in proptest::collection::btree_set(0i64..60, 0..20),
        blind in proptest::option::of((0i64..50, 1i64..10)),
    ) {
        let times = |set: &std::collections::BTreeSet<i64>| set.iter().copied().collect::<Vec<_>>();
        let mut capture = capture(vec![line("A", &times(&a)), line("B", &times(&b))]);
        capture.span.end = Ticks(70);
        if let Some((start, length)) = blind {
            capture.lines[1].stretches.push(Stretch {
                span: TimeSpan::new(Ticks(start), Ticks(start + length)),
                kind: StretchKind::Floating,
            });
        }
        let is_true = |t: i64| {
            capture.lines[0].level_at(Ticks(t)) == Level::High && capture.lines[1].level_at(Ticks(t)) == Level::Low
        };
        let mut plain = Vec::new();
        for t in 0..=70 {
            if !is_true(t) { continue; }
            match plain.last_mut() {
                Some((_, end)) if *end == t => *end = t + 1,
                _ => plain.push((t, t + 1)),
            }
        }
        prop_assert_eq!(found(&capture, "A && !B"), plain);
    }
}
