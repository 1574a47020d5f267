use super::*;
use crate::analysis::findings::{Finding, Severity};
use crate::model::{Line, Runt, Ticks, TimeSpan};
use std::sync::Arc;

/// Samples are 10 ns apart.
const STEP: i64 = 10;

/// A line in volts whose samples are these; `runts`: start and width in ticks, of a level that it makes for.
fn line(name: &str, volts: Vec<f64>, family: (&str, bool), runts: &[(i64, i64, Level)]) -> Line {
    let times: Vec<i64> = (0..volts.len() as i64).map(|n| n * STEP).collect();
    let span = TimeSpan::new(Ticks(0), Ticks(volts.len() as i64 * STEP));
    let mut line = Line::digital(name, Level::Low, Vec::new(), span);
    line.runts = runts
        .iter()
        .map(|&(start, width, level)| Runt {
            start: Ticks(start),
            width: Ticks(width),
            level,
            peak_v: 1.5,
        })
        .collect();
    line.trace = Some(Trace {
        thresholds: Thresholds {
            low_v: 0.8,
            high_v: 2.0,
        },
        family: family.0.to_owned(),
        declared: family.1,
        samples: TraceSamples::Steps {
            times: Arc::new(times),
            values: Arc::new(volts),
        },
    });
    line
}

/// With an edge wherever the volts pass both thresholds.
fn moving(name: &str, volts: Vec<f64>) -> Line {
    let mut is_high = volts[0] >= 2.0;
    let mut edges = Vec::new();
    for (n, &v) in volts.iter().enumerate() {
        if (is_high && v <= 0.8) || (!is_high && v >= 2.0) {
            is_high = !is_high;
            edges.push(Ticks(n as i64 * STEP));
        }
    }
    let first = if volts[0] >= 2.0 { Level::High } else { Level::Low };
    let mut line = line(name, volts, TTL, &[]);
    (line.first, line.edges) = (first, edges.into());
    line
}

fn capture(lines: Vec<Line>) -> Capture {
    let span = lines[0].span;
    Capture::in_nanoseconds("volts.csv", span, lines)
}

const TTL: (&str, bool) = ("ttl-5v", false);

/// Noise of an eight-bit instrument: steps of 30 mV.
fn noise(n: usize) -> f64 {
    0.03 * ((n * 7 % 5) as f64 - 2.0) / 2.0
}

/// `parts`, again and again: volts, and for how many samples.
fn pattern(parts: &[(f64, usize)], times: usize) -> Vec<f64> {
    let once = || {
        parts
            .iter()
            .flat_map(|&(volts, samples)| std::iter::repeat_n(volts, samples))
    };
    let all = (0..times).flat_map(|_| once());
    all.enumerate().map(|(n, v)| v + noise(n)).collect()
}

fn looked_at(capture: &Capture) -> Vec<Trouble> {
    find(capture, &|name| name == "VCC", &|_, _| false)
}

fn of_one(volts: Vec<f64>) -> Vec<Kind> {
    kinds(&capture(vec![line("SLUICE", volts, TTL, &[])]))
}

fn kinds(capture: &Capture) -> Vec<Kind> {
    looked_at(capture)
        .into_iter()
        .map(|trouble| trouble.kind)
        .collect()
}

/// A spike of 60 ns to 1.8 V that dies away, as capacitance makes one.
fn spike(rest: f64) -> Vec<f64> {
    (0..30)
        .map(|n| rest + 1.7 * f64::exp(-f64::from(n) / 6.0))
        .collect()
}

#[test]
fn a_weak_level_is_told_by_how_far_and_good_ones_are_not() {
    let severity = |parts: &[(f64, usize)]| {
        let capture = capture(vec![line("SLUICE", pattern(parts, 40), TTL, &[])]);
        let found = findings(&capture, &looked_at(&capture));
        found
            .iter()
            .map(|f| (f.severity, f.title.clone()))
            .collect::<Vec<_>>()
    };
    let high = severity(&[(0.15, 200), (1.81, 150)]);
    assert_eq!(high[0].0, Severity::Fault);
    assert_eq!(
        high[0].1,
        "SLUICE's high stands at 1.81 V, below the 2 V that ttl-5v inputs need"
    );
    let low = severity(&[(1.25, 200), (3.5, 150)]);
    assert_eq!(
        low[0].1,
        "SLUICE's low stands at 1.25 V, above the 0.8 V that ttl-5v inputs need"
    );
    // What the scope may be off.
    assert_eq!(severity(&[(0.15, 200), (1.93, 150)])[0].0, Severity::Warning);
    assert_eq!(severity(&[(0.15, 200), (2.6, 150)]), []);
}

#[test]
fn spikes_slow_edges_and_noise_are_no_levels() {
    let mut spikes = pattern(&[(0.15, 500)], 1);
    for _ in 0..30 {
        spikes.extend(spike(0.15));
        spikes.extend(pattern(&[(0.15, 200)], 1));
    }
    assert_eq!(of_one(spikes), []);
    let rise = (0..300).map(|n| 4.8 * (1.0 - f64::exp(-f64::from(n) / 60.0)));
    let slow: Vec<f64> = (0..20)
        .flat_map(|_| pattern(&[(0.1, 200)], 1).into_iter().chain(rise.clone()))
        .collect();
    assert_eq!(of_one(slow), []);
    let noisy: Vec<f64> = (0..9_000).map(|n| 0.4 + 12.0 * noise(n)).collect();
    assert_eq!(of_one(noisy), []);
}

#[test]
fn an_input_that_nothing_drives_is_told_whether_it_is_struck_or_not() {
    let still = pattern(&[(1.5, 4_000)], 1);
    let mut struck = still.clone();
    for _ in 0..20 {
        struck.extend(spike(1.5));
        struck.extend(pattern(&[(1.5, 300)], 1));
    }
    for volts in [still, struck] {
        let found = of_one(volts);
        assert!(
            matches!(found[..], [Kind::Open { rest_v, .. }] if (1.4..1.6).contains(&rest_v)),
            "{found:?}"
        );
    }
    // A bus that is driven now and then rests there at times.
    let bus = of_one(pattern(&[(1.5, 3_000), (3.4, 150), (0.2, 150)], 10));
    assert!(matches!(bus[..], [Kind::Between { with: None, .. }]), "{bus:?}");
    // A supply is none, whatever it is at.
    assert_eq!(
        kinds(&capture(vec![line("VCC", pattern(&[(1.5, 500)], 1), TTL, &[])])),
        []
    );
}

#[test]
fn a_probe_that_is_set_wrong_is_asked_after() {
    let is_tenfold = |volts: Vec<f64>, family| {
        let found = kinds(&capture(vec![line("SLUICE", volts, family, &[])]));
        found.iter().find_map(|kind| match kind {
            Kind::Factor { is_tenfold, .. } => Some(*is_tenfold),
            _ => None,
        })
    };
    let levels = |low, high| pattern(&[(low, 100), (high, 100)], 40);
    assert_eq!(is_tenfold(levels(2.0, 35.0), TTL), Some(true));
    assert_eq!(is_tenfold(levels(0.02, 0.35), TTL), Some(false));
    let small: Vec<f64> = levels(0.2, 3.5).iter().map(|v| v / 10.0).collect();
    assert_eq!(is_tenfold(small.clone(), TTL), Some(false));
    // A coil's driver switches 24 V as well; nobody says that of a line of a family, nor of one whose volts were said.
    assert_eq!(is_tenfold(levels(0.3, 25.0), TTL), None);
    assert_eq!(is_tenfold(levels(0.3, 25.0), ("ttl-5v", true)), Some(true));
    assert_eq!(is_tenfold(levels(2.0, 35.0), ("volts", true)), None);
    assert_eq!(is_tenfold(small, ("volts", true)), None);
}

#[test]
fn a_line_whose_swing_is_of_another_kind_is_asked_after() {
    let of = |low, high, family| {
        let volts = pattern(&[(low, 200), (high, 200)], 20);
        let capture = capture(vec![line("SLUICE", volts, family, &[])]);
        let found = findings(&capture, &looked_at(&capture));
        assert_eq!(found.len(), 1, "{low} {high}: {found:?}");
        (
            found[0].severity,
            found[0].title.starts_with("Is SLUICE logic of ttl-5v?"),
        )
    };
    // A balanced pair, a terminated backplane, a measured value, lamp drivers.
    for (low, high) in [(1.8, 3.2), (0.4, 1.2), (1.0, 5.0), (0.9, 12.0), (0.95, 24.0)] {
        assert_eq!(of(low, high, TTL), (Severity::Warning, true), "{low} {high}");
    }
    // Whoever says that it is TTL is told that it is weak; so is a line that swings as TTL does.
    assert_eq!(of(1.8, 3.2, ("ttl-5v", true)), (Severity::Fault, false));
    for (low, high) in [(0.15, 1.7), (1.3, 3.4), (1.3, 4.9)] {
        assert_eq!(of(low, high, TTL), (Severity::Fault, false), "{low} {high}");
    }
}

#[test]
fn a_line_that_swings_about_zero_is_told() {
    let found = of_one(pattern(&[(-1.7, 100), (1.7, 100)], 40));
    assert!(matches!(found[..], [Kind::AboutZero { .. }]), "{found:?}");
    assert_eq!(of_one(pattern(&[(-0.1, 100), (3.4, 100)], 40)), []);
}

#[test]
fn two_outputs_on_one_wire_are_told_of_each_other() {
    let capture_of = |a: Vec<f64>, b: Vec<f64>| capture(vec![moving("LATCH", a), moving("STEP", b)]);
    let beside = |volts: &[f64]| volts.iter().map(|v| v + 0.04).collect::<Vec<f64>>();
    let one = pattern(&[(0.15, 300), (0.92, 150), (3.4, 200)], 20);
    let together = capture_of(one.clone(), beside(&one));
    let troubles = looked_at(&together);
    let found = findings(&together, &troubles);
    assert_eq!((found.len(), found[0].severity), (1, Severity::Fault));
    let title = &found[0].title;
    assert!(title.starts_with("LATCH and STEP stand at 0.9"), "{title}");
    assert!(to_judge(&together, &troubles).is_some());
    // The two ends of a wire are at one voltage as they should be.
    let ends = find(&together, &|_| false, &|a, b| a != b);
    let is_alone = |t: &Trouble| matches!(t.kind, Kind::Between { with: None, .. });
    assert!(ends.len() == 2 && ends.iter().all(is_alone));
    let one = pattern(&[(0.15, 300), (0.92, 150), (3.4, 200)], 20);
    let apart = kinds(&capture_of(
        one,
        pattern(&[(3.4, 300), (0.92, 150), (0.15, 200)], 20),
    ));
    assert!(matches!(
        apart[..],
        [Kind::Between { with: None, .. }, Kind::Between { with: None, .. }]
    ));
    // A low level that is always so is weak, not fought for.
    let weak = pattern(&[(1.0, 200), (3.4, 150)], 20);
    let both = kinds(&capture_of(weak.clone(), beside(&weak)));
    assert!(
        matches!(both[..], [Kind::Weak { .. }, Kind::Weak { .. }]),
        "{both:?}"
    );
}

#[test]
fn a_level_is_no_runt_to_judge_and_a_spike_stays_one() {
    let judged = |volts: Vec<f64>, runts: &[(i64, i64, Level)]| {
        let capture = capture(vec![line("SLUICE", volts, TTL, runts)]);
        let troubles = looked_at(&capture);
        let judged = to_judge(&capture, &troubles);
        judged.map(|judged| judged.lines[0].runts.len())
    };
    // High for 2 µs, then 1.5 V for 1.5 µs, then high again; a runt of 60 ns while it is high.
    let parts = [(3.4, 200), (1.5, 150), (3.4, 100), (0.2, 100)];
    let runts = [(2_000, 1_500, Level::Low), (4_000, 60, Level::Low)];
    assert_eq!(judged(pattern(&parts, 10), &runts), Some(1));
    // A weak level: nothing is judged.
    let weak = pattern(&[(0.15, 200), (1.7, 150)], 10);
    assert_eq!(
        judged(weak, &[(2_000, 1_500, Level::High), (300, 60, Level::High)]),
        Some(0)
    );
    assert_eq!(judged(pattern(&[(0.15, 200), (3.4, 150)], 10), &runts), None);
}

#[test]
fn nobody_is_accused_of_what_a_bridge_may_do() {
    let one = pattern(&[(0.15, 200), (3.4, 150)], 20);
    let beside: Vec<f64> = one.iter().map(|v| v + 0.05).collect();
    let other = pattern(&[(0.15, 150), (3.4, 200)], 20);
    let capture = capture(vec![
        moving("LATCH", one),
        moving("STEP", beside),
        moving("PAWL", other),
    ]);
    let pairs = at_one_voltage(&capture, &|_| false, &|_, _| false);
    assert_eq!(pairs, [(0, 1)]);
    assert_eq!(at_one_voltage(&capture, &|_| false, &|a, b| (a, b) == (0, 1)), []);
    let accuse = |victim: &str| Finding {
        severity: Severity::Fault,
        topic: "coupling",
        lines: vec![victim.to_owned(), "STROBE".to_owned()],
        title: format!("{victim}: 9 of 9 stray pulses follow STROBE rising"),
        detail: String::new(),
        try_next: Vec::new(),
    };
    let mut findings = [accuse("STEP"), accuse("PAWL")];
    doubt(&capture, &pairs, &mut findings);
    assert_eq!(findings[0].severity, Severity::Warning);
    assert!(
        findings[0]
            .title
            .ends_with("and LATCH is at STEP's voltage all the time")
    );
    assert_eq!(findings[1], accuse("PAWL"));
}

#[test]
fn lines_that_do_not_move_together_are_not_one_wire() {
    let pair = |a: Vec<f64>, b: Vec<f64>| {
        let capture = capture(vec![moving("LATCH", a), moving("STEP", b)]);
        let fought = looked_at(&capture)
            .iter()
            .any(|t| matches!(t.kind, Kind::Between { with: Some(_), .. }));
        (fought, at_one_voltage(&capture, &|_| false, &|_, _| false).len())
    };
    let parts = [(0.15, 300), (0.92, 150), (3.4, 200)];
    let one = pattern(&parts, 20);
    assert_eq!(pair(one.clone(), one.clone()), (true, 1));
    // Both rest at one voltage, and one of them moves alone, once.
    let flat = pattern(&[(0.92, 30_000)], 1);
    assert_eq!(pair(flat.clone(), flat.clone()), (false, 0));
    let rare = pattern(&[(0.15, 400), (0.92, 29_000), (3.4, 600)], 1);
    assert_eq!(pair(flat, rare.clone()), (false, 0));
    // Two changes in common are chance.
    assert_eq!(pair(rare.clone(), rare), (false, 0));
    // Selects that take turns change at the same times, to the other level.
    let turns = |lead: usize| {
        let turn = [(0.15, 4_000), (3.4, 100), (0.15, 100)];
        let shifted = [(0.15, 4_000 + lead), (3.4, 100), (0.15, 100 - lead)];
        pattern(if lead == 0 { &turn } else { &shifted }, 10)
    };
    assert_eq!(pair(turns(0), turns(100)), (false, 0));
}

#[test]
fn two_probes_on_a_wire_whose_low_is_good_are_no_fight() {
    // Below the 0.8 V that an input asks for, though higher than an output's 0.5 V; and with a lower one at times.
    for parts in [
        vec![(0.6, 150), (3.4, 200)],
        vec![(0.15, 300), (0.7, 150), (3.4, 200)],
    ] {
        let one = pattern(&parts, 20);
        let capture = capture(vec![moving("LATCH", one.clone()), moving("STEP", one)]);
        assert_eq!(kinds(&capture), []);
    }
    // Nor does one fight whose low never gets good.
    let weak = pattern(&[(0.95, 150), (3.4, 200)], 20);
    let both = kinds(&capture(vec![
        moving("LATCH", weak.clone()),
        moving("STEP", weak),
    ]));
    assert!(
        matches!(both[..], [Kind::Weak { .. }, Kind::Weak { .. }]),
        "{both:?}"
    );
}

/// A bus of three lines of which SLUICE_2 is never driven high, and the line that enables its drivers. Turns are of 200 samples, and it
/// floats for 300 after each.
fn bus(enable: &str) -> Capture {
    let turn = |bits: [usize; 4]| {
        let mut parts: Vec<(f64, usize)> = bits.iter().map(|bit| ([0.2, 3.4][*bit], 50)).collect();
        parts.push((1.55, 300));
        parts
    };
    let lines = [[0, 1, 1, 0], [1, 0, 1, 1], [0, 0, 0, 0]];
    let mut lines: Vec<Line> = lines
        .iter()
        .enumerate()
        .map(|(n, bits)| moving(&format!("SLUICE_{n}"), pattern(&turn(*bits), 20)))
        .collect();
    lines.insert(0, moving(enable, pattern(&[(0.2, 200), (3.4, 300)], 20)));
    capture(lines)
}

#[test]
fn lines_that_float_together_are_a_bus_and_no_fault() {
    let bus = bus("READ_N");
    let troubles = looked_at(&bus);
    let found = findings(&bus, &troubles);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].severity, Severity::Note);
    assert!(
        found[0]
            .title
            .starts_with("SLUICE_0, SLUICE_1 and SLUICE_2 float together at 1.5"),
        "{}",
        found[0].title
    );
    assert!(
        found[0]
            .title
            .ends_with("while READ_N is high: a bus that nothing drives then"),
        "{}",
        found[0].title
    );
    // Without the line that enables its drivers.
    let mut alone = bus.clone();
    alone.lines.remove(0);
    let found = findings(&alone, &looked_at(&alone));
    assert!(found[0].title.contains(" at times: a bus"), "{}", found[0].title);
    // A weak level that comes at times of its own stays one, and so does one beside no bus.
    let mut weak = bus.clone();
    weak.lines[3] = moving("SLUICE_2", pattern(&[(0.2, 330), (1.75, 170)], 20));
    let is_weak = |t: &Trouble| matches!(t.kind, Kind::Weak { .. });
    assert_eq!(looked_at(&weak).iter().filter(|t| is_weak(t)).count(), 1);
    weak.lines.drain(1..3);
    assert!(looked_at(&weak).iter().all(is_weak));
}

#[test]
fn what_befalls_a_bus_while_it_floats_is_no_stray() {
    let mut bus = bus("READ_N");
    let runt = |start: i64, width: i64| Runt {
        start: Ticks(start),
        width: Ticks(width),
        level: Level::High,
        peak_v: 1.6,
    };
    // In a turn; from a turn to the next one; just as it begins to float.
    bus.lines[1].runts = vec![runt(5_300, 60), runt(11_800, 3_300), runt(16_960, 80)];
    let judged = to_judge(&bus, &looked_at(&bus)).expect("a bus");
    assert_eq!(judged.lines[1].runts, [runt(5_300, 60)]);
}

/// The same samples as an instrument gives them, one a step, with the pyramid that is quick to look at.
fn sampled(line: &Line) -> Line {
    let mut line = line.clone();
    let trace = line.trace.as_mut().expect("a line in volts");
    let TraceSamples::Steps { values, .. } = &trace.samples else {
        panic!("samples with their times");
    };
    let volts: Vec<f32> = values.iter().map(|&v| v as f32).collect();
    let ends = volts
        .iter()
        .fold([f32::MAX, f32::MIN], |[l, h], v| [l.min(*v), h.max(*v)]);
    trace.samples = TraceSamples::Uniform {
        start: 0,
        step: STEP,
        volts: Arc::new(volts),
        pyramid: Arc::new(vec![Arc::new(vec![ends])]),
    };
    line
}

#[test]
fn what_is_quickly_seen_to_be_plain_is_what_the_long_look_finds_nothing_in() {
    let fights = pattern(&[(0.15, 300), (0.92, 150), (3.4, 200)], 20);
    let beside: Vec<f64> = fights.iter().map(|v| v + 0.04).collect();
    let mut spikes = pattern(&[(0.15, 200), (3.4, 200)], 5);
    (0..20).for_each(|_| spikes.extend(spike(0.15)));
    let all = [
        pattern(&[(0.15, 200), (3.4, 150)], 20),
        pattern(&[(0.15, 200), (1.8, 150)], 20),
        pattern(&[(1.2, 200), (3.4, 150)], 20),
        pattern(&[(1.5, 400)], 20),
        pattern(&[(1.5, 400), (3.4, 150), (0.2, 150)], 20),
        pattern(&[(2.0, 100), (35.0, 100)], 20),
        pattern(&[(0.03, 100), (0.35, 100)], 20),
        pattern(&[(-1.7, 100), (1.7, 100)], 20),
        pattern(&[(0.02, 500)], 1),
        spikes,
    ];
    let plain = |volts: Vec<f64>| line("SLUICE", volts, TTL, &[]);
    for (n, volts) in all.into_iter().enumerate() {
        let slow = capture(vec![plain(volts)]);
        let quick = capture(vec![sampled(&slow.lines[0])]);
        let (slow, quick) = (kinds(&slow), kinds(&quick));
        let kind = |found: &[Kind]| found.iter().map(std::mem::discriminant).collect::<Vec<_>>();
        assert_eq!(kind(&slow), kind(&quick), "{n}");
        // All but the first and the last two are wrong.
        assert_eq!(slow.len(), usize::from((1..8).contains(&n)), "{n}");
    }
    let quick = capture(vec![
        sampled(&plain(fights)),
        sampled(&line("STEP", beside, TTL, &[])),
    ]);
    assert_eq!(kinds(&quick).len(), 2);
    assert!(is_plain(
        sampled(&plain(pattern(&[(0.1, 90), (3.4, 90)], 9)))
            .trace
            .as_ref()
            .unwrap(),
        200.0
    ));
}
