//! Rails and pulse measures against waveforms whose values are known exactly.
//!
//! IEEE Std 181-2011 by its definitions; RC and trapezoid values: any circuits text, and plain arithmetic. Noise margins:
//! makers' tables of commercial TTL (VIL 0.8, VIH 2.0, VOL 0.4, VOH 2.4 V).

use std::sync::Arc;

use edgewitness::analysis::rails;
use edgewitness::analysis::volts::Volts;
use edgewitness::analysis::waveform::{States, Waveform, states, transitions};
use edgewitness::model::{
    Capture, Format, Level, Line, NotLogic, Polarity, Thresholds, Ticks, TimeSpan, Timebase, Trace,
    TraceSamples,
};
use edgewitness::setup::Setup;

fn volts(n: usize, step: f64, wave: impl Fn(f64) -> f64) -> Volts {
    let times: Vec<f64> = (0..n).map(|i| i as f64 * step).collect();
    Volts {
        volts: times.iter().map(|&t| wave(t)).collect(),
        times,
    }
}

fn near(value: f64, expected: f64, relative: f64) {
    assert!(
        (value - expected).abs() <= relative * expected.abs(),
        "{value} is not {expected}"
    );
}

#[test]
fn an_rc_step_takes_ln_9_time_constants() {
    let tau = 1000.0;
    let step = volts(40_000, 1.0, |t| {
        if t < 5000.0 {
            0.0
        } else {
            5.0 * (1.0 - (-(t - 5000.0) / tau).exp())
        }
    });
    let found = transitions(
        &step,
        States {
            low_v: 0.0,
            high_v: 5.0,
        },
    )
    .0;
    assert_eq!(found.len(), 1);
    near(found[0].duration(), 2.1972245773362196 * tau, 1e-6);
    near(found[0].at_50 - 5000.0, std::f64::consts::LN_2 * tau, 1e-6);
    // With the states found from the samples themselves.
    let waveform = Waveform::of(&step).unwrap();
    near(waveform.transitions[0].duration(), 2.1972245773362196 * tau, 2e-3);
}

#[test]
fn a_trapezoid_has_the_durations_of_its_sides() {
    for (base, top, start, rise, flat, fall) in [
        (0.0, 5.0, 10.0, 4.0, 20.0, 6.0),
        (0.2, 3.4, 10.0, 2.0, 10.0, 2.0),
        (-1.0, 1.0, 30.0, 10.0, 50.0, 20.0),
        (5.0, 0.0, 10.0, 4.0, 20.0, 6.0),
    ] {
        let wave = volts(20_000, 0.01, |t| {
            let up = ((t - start) / rise).clamp(0.0, 1.0);
            let down = ((t - start - rise - flat) / fall).clamp(0.0, 1.0);
            base + (top - base) * (up - down)
        });
        let waveform = Waveform::of(&wave).unwrap();
        let found = &waveform.transitions;
        assert_eq!(found.len(), 2);
        near(found[0].duration(), 0.8 * rise, 1e-9);
        near(found[1].duration(), 0.8 * fall, 1e-9);
        near(found[0].at_50, start + rise / 2.0, 1e-9);
        let rises_first = found[0].polarity == Polarity::Rise;
        assert_eq!(rises_first, top > base);
        near(
            found[1].at_50 - found[0].at_50,
            rise / 2.0 + flat + fall / 2.0,
            1e-9,
        );
        assert_eq!(waveform.runts, 0);
    }
}

#[test]
fn a_two_pole_step_overshoots_by_its_damping() {
    for (zeta, overshoot) in [
        (0.3, 0.3723261049265864),
        (0.5, 0.16303353482158048),
        (0.7, 0.04598791026030777),
    ] {
        let damped = (1.0f64 - zeta * zeta).sqrt();
        let wave = volts(60_000, 0.001, |t| {
            let t = t - 5.0;
            if t < 0.0 {
                return 0.0;
            }
            1.0 - (-zeta * t).exp() * ((damped * t).cos() + zeta / damped * (damped * t).sin())
        });
        let found = transitions(
            &wave,
            States {
                low_v: 0.0,
                high_v: 1.0,
            },
        )
        .0;
        assert_eq!(found[0].polarity, Polarity::Rise);
        near(found[0].overshoot, overshoot, 1e-5);
        assert_eq!(found[0].pre_shoot, 0.0);
    }
}

#[test]
fn a_runt_passes_half_and_comes_back() {
    let wave = volts(400, 1.0, |t| match t as u32 {
        50..=99 => 5.0,
        150..=159 => 3.5,
        200..=209 => 2.0,
        _ => 0.0,
    });
    let waveform = Waveform::of(&wave).unwrap();
    assert_eq!((waveform.transitions.len(), waveform.runts), (2, 1));
}

#[test]
fn noise_margins_are_what_is_left_to_the_family_s_levels() {
    let wave = volts(100, 1.0, |t| {
        if (t as u32 / 10).is_multiple_of(2) {
            0.4
        } else {
            2.4
        }
    });
    let (low, high) = Waveform::of(&wave).unwrap().noise_margins(Thresholds {
        low_v: 0.8,
        high_v: 2.0,
    });
    assert!(
        (low - 0.4).abs() < 1e-12 && (high - 0.4).abs() < 1e-12,
        "{low} {high}"
    );
    assert_eq!(states(&[1.0; 10]), None);
}

/// Rails by name and samples 1 µs apart; LIFT rises 2 samples before each dip of the first.
fn capture(named: &[(&str, Vec<f64>)], lift: Vec<i64>) -> Capture {
    let span = TimeSpan::new(Ticks(0), Ticks(named[0].1.len() as i64));
    let trace = |values: &[f64]| Trace {
        thresholds: Thresholds {
            low_v: 0.8,
            high_v: 2.0,
        },
        family: "volts".to_owned(),
        declared: true,
        samples: TraceSamples::Steps {
            times: Arc::new((0..values.len() as i64).collect()),
            values: Arc::new(values.to_vec()),
        },
    };
    let not_logic = named.iter().map(|(name, values)| NotLogic {
        name: (*name).to_owned(),
        kind: "real".to_owned(),
        changes: values.len(),
        trace: Some(trace(values)),
    });
    Capture {
        file: "rails.vcd".to_owned(),
        format: Format::Vcd,
        timebase: Timebase::decimal(-6),
        span,
        resolution_ticks: 1.0,
        not_logic: not_logic.collect(),
        lines: vec![Line::digital(
            "LIFT",
            Level::Low,
            lift.into_iter().map(Ticks).collect(),
            span,
        )],
        buses: Vec::new(),
        warnings: Vec::new(),
    }
}

fn setup(text: &str) -> Setup {
    Setup::parse(text, "setup.toml").unwrap_or_else(|e| panic!("{e}"))
}

const TOWER: &str = "[rail.VCC_TOWER]\nnominal = \"5 V\"\ntolerance = \"5 %\"\n";

#[test]
fn a_rail_on_its_bound_is_kept_and_just_beyond_it_is_not() {
    let told = |value: f64| {
        let mut values = vec![5.0; 100];
        values[40] = value;
        let setup = setup(TOWER);
        rails::check(&capture(&[("VCC_TOWER", values)], vec![]), &setup.rails)[0]
            .excursions
            .len()
    };
    assert_eq!([4.75, 4.7499, 5.25, 5.2501].map(told), [0, 1, 0, 1]);
}

#[test]
fn a_meter_reading_is_judged_to_the_same_bounds() {
    // The rail itself was not captured: the reading is judged all the same.
    let told = |rail: &str, volts: &str| {
        let text = format!("{rail}[[reading]]\nrail = \"VCC_TOWER\"\nat = \"J9\"\nvolts = \"{volts} V\"\n");
        let setup = setup(&text);
        let result = rails::check(&capture(&[("OTHER", vec![1.0; 10])], vec![]), &setup.rails).remove(0);
        assert_eq!(result.missing.as_deref(), Some("VCC_TOWER"));
        result.readings_outside.len()
    };
    assert_eq!(
        ["4.75", "4.7499", "5.25", "5.2501"].map(|v| told(TOWER, v)),
        [0, 1, 0, 1]
    );
    let negative = TOWER.replace("5 V", "-12 V");
    assert_eq!(
        ["-11.4", "-11.3999", "-12.6", "-12.6001", "12"].map(|v| told(&negative, v)),
        [0, 1, 0, 1, 1]
    );
}

#[test]
fn a_drop_along_the_wire_is_told_just_beyond_its_limit() {
    let told = |board: f64| {
        let setup = setup(&format!(
            "{TOWER}supply_end = \"VCC_SUPPLY\"\nmax_drop = \"0.25 V\"\n"
        ));
        let both = [("VCC_TOWER", vec![board; 50]), ("VCC_SUPPLY", vec![5.125; 50])];
        let capture = capture(&both, vec![]);
        let results = rails::check(&capture, &setup.rails);
        rails::findings(&capture, &setup.rails, &results).len()
    };
    assert_eq!([4.875, 4.874].map(told), [0, 1]);
}

#[test]
fn a_negative_rail_dips_towards_zero() {
    let mut values = vec![-12.0; 100];
    values[10] = -11.0;
    values[50] = -13.0;
    let setup = setup("[rail.VEE]\nnominal = \"-12 V\"\ntolerance = \"5 %\"\n");
    let result = &rails::check(&capture(&[("VEE", values)], vec![]), &setup.rails)[0];
    let kinds: Vec<(f64, bool)> = result
        .excursions
        .iter()
        .map(|e| (e.extreme_v, e.is_dip))
        .collect();
    assert_eq!(kinds, vec![(-11.0, true), (-13.0, false)]);
}

#[test]
fn dips_are_laid_at_the_line_that_switches_before_them() {
    let dips: Vec<usize> = (0..20).map(|i| 500 + 400 * i + 7 * (i % 5)).collect();
    let mut values = vec![4.95; 10_000];
    for &dip in &dips {
        values[dip..dip + 6].fill(4.6);
    }
    let lift = dips
        .iter()
        .flat_map(|&d| [d as i64 - 2, d as i64 + 100])
        .collect();
    let text = format!(
        "{TOWER}supply_end = \"VCC_SUPPLY\"\nmax_drop = \"0.3 V\"\n[[reading]]\nrail = \"VCC_TOWER\"\nat = \"J9\"\nvolts = \"4.7 V\"\n"
    );
    let setup = setup(&text);
    let capture = capture(&[("VCC_TOWER", values), ("VCC_SUPPLY", vec![5.05; 10_000])], lift);
    let results = rails::check(&capture, &setup.rails);
    let result = &results[0];
    assert_eq!(
        (
            result.excursions.len(),
            result.excursions[0].start,
            result.excursions[0].end
        ),
        (20, Ticks(500), Ticks(506))
    );
    let cause = result.cause.as_ref().unwrap();
    assert_eq!(
        (cause.line, cause.polarity, cause.dips, cause.of),
        (0, Polarity::Rise, 20, 20)
    );
    assert!((result.drop_v.unwrap().1 - 0.45).abs() < 1e-9);
    assert_eq!(result.outside, 0.012);
    let titles: Vec<String> = rails::findings(&capture, &setup.rails, &results)
        .into_iter()
        .map(|f| f.title)
        .collect();
    assert_eq!(
        titles,
        [
            "VCC_TOWER sags to 4.6 V after LIFT rises (20 of 20 dips); it should stay between 4.75 V and 5.25 V",
            "450 mV is lost between VCC_SUPPLY and VCC_TOWER; at most 300 mV is allowed",
            "The meter read 4.7 V for VCC_TOWER at J9; it should be between 4.75 V and 5.25 V",
        ]
    );
}

#[test]
fn mistakes_in_rails_name_their_place() {
    let error = |text: &str| Setup::parse(text, "s.toml").unwrap_err();
    let cases = [
        ("[rail.A]\nnominal = \"5 V\"\n", 1, "needs the key tolerance"),
        (
            "[rail.A]\nnominal = \"5\"\ntolerance = \"5 %\"\n",
            2,
            "potential with its unit",
        ),
        ("[rail.A]\nnominal = \"5 V\"\ntolerance = \"5\"\n", 3, "percent"),
        (
            "[rail.A]\nnominal = \"0 V\"\ntolerance = \"5 %\"\n",
            2,
            "other than 0 V",
        ),
        (
            "[[reading]]\nrail = \"B\"\nat = \"x\"\nvolts = \"5 V\"\n",
            2,
            "declared as",
        ),
    ];
    for (text, line, words) in cases {
        let error = error(text);
        assert_eq!(error.line, line, "{text}: {error}");
        assert!(error.message.contains(words), "{text}: {error}");
    }
}

/// Dips at `dips`, each 40 samples of 1 µs long, over noise-free 4.95 V.
fn dipping(samples: usize, dips: &[usize]) -> Vec<f64> {
    let mut values = vec![4.95; samples];
    for &dip in dips {
        values[dip..dip + 40].fill(4.6);
    }
    values
}

#[test]
fn a_dip_may_come_long_after_its_cause_and_a_slow_rail_is_held_against_busy_lines() {
    let dips: Vec<usize> = (0..12).map(|i| 6000 + 7000 * i + 431 * (i % 5)).collect();
    for lag in [1, 30, 800] {
        let lift: Vec<i64> = dips
            .iter()
            .flat_map(|&d| [d as i64 - lag, d as i64 + 100])
            .collect();
        let mut capture = capture(&[("VCC_TOWER", dipping(95_000, &dips))], lift);
        // A clock of 10 µs beats all the time; a lamp switches seldom and elsewhere.
        let clock = (0..19_000).map(|i| Ticks(5 * i)).collect();
        let lamp = (0..40).map(|i| Ticks(1100 + 2300 * i)).collect();
        capture
            .lines
            .push(Line::digital("BEAT", Level::Low, clock, capture.span));
        capture
            .lines
            .push(Line::digital("LAMP", Level::Low, lamp, capture.span));
        let result = rails::check(&capture, &setup(TOWER).rails).remove(0);
        let cause = result.cause.unwrap_or_else(|| panic!("lag {lag}"));
        assert_eq!(
            (cause.line, cause.polarity, cause.dips, cause.of),
            (0, Polarity::Rise, 12, 12),
            "lag {lag}"
        );
        assert!(
            cause.within >= lag as f64 && cause.within < 2.5 * lag as f64,
            "{lag}: {}",
            cause.within
        );
        assert!(cause.inseparable.is_empty(), "{lag}: {cause:?}");
    }
}

#[test]
fn lines_that_switch_together_are_not_told_apart_and_chance_accuses_nobody() {
    let dips: Vec<usize> = (0..12).map(|i| 6000 + 7000 * i + 431 * (i % 5)).collect();
    let lift: Vec<i64> = dips
        .iter()
        .flat_map(|&d| [d as i64 - 3, d as i64 + 100])
        .collect();
    let mut with_twin = capture(&[("VCC_TOWER", dipping(95_000, &dips))], lift.clone());
    let twin = lift.iter().map(|t| Ticks(t - 1)).collect();
    with_twin
        .lines
        .push(Line::digital("VALVE", Level::Low, twin, with_twin.span));
    let result = rails::check(&with_twin, &setup(TOWER).rails).remove(0);
    let cause = result.cause.unwrap();
    assert_eq!(cause.inseparable.len(), 1, "{cause:?}");
    let findings = rails::findings(
        &with_twin,
        &setup(TOWER).rails,
        &rails::check(&with_twin, &setup(TOWER).rails),
    );
    assert!(
        findings[0].title.contains("LIFT, or VALVE") || findings[0].title.contains("VALVE, or LIFT"),
        "{}",
        findings[0].title
    );
    // Lines that know nothing of the dips: 300 of them, each with 30 edges; at most 1 % may be named (the level of the test,
    // and three standard deviations of 300 trials at it).
    let few: Vec<usize> = dips.iter().map(|d| d / 10).collect();
    let mut values = vec![4.95; 9500];
    few.iter().for_each(|&dip| values[dip..dip + 4].fill(4.6));
    let mut state = 7u64;
    let mut named = 0;
    for _ in 0..300 {
        let mut edges: Vec<i64> = (0..30)
            .map(|_| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                ((state >> 33) % 9500) as i64
            })
            .collect();
        edges.sort_unstable();
        edges.dedup();
        let blind = capture(&[("VCC_TOWER", values.clone())], edges);
        named += usize::from(rails::check(&blind, &setup(TOWER).rails)[0].cause.is_some());
    }
    assert!(named <= 8, "{named} of 300 blind lines were named");
}

#[test]
fn a_line_in_volts_is_a_suspect_by_its_edges_and_the_supply_is_none() {
    let dips: Vec<usize> = (0..12).map(|i| 6000 + 7000 * i + 431 * (i % 5)).collect();
    let lift = dips
        .iter()
        .flat_map(|&d| [d as i64 - 3, d as i64 + 100])
        .collect();
    let mut capture = capture(&[("VCC_TOWER", dipping(95_000, &dips))], lift);
    // The line and the rail itself as columns of volts: the rail's own crossings would fit its dips best.
    capture.lines[0].trace = capture.not_logic[0].trace.clone();
    let own = dips
        .iter()
        .flat_map(|&d| [Ticks(d as i64), Ticks(d as i64 + 40)])
        .collect();
    let mut rail = Line::digital("VCC_TOWER", Level::High, own, capture.span);
    rail.trace = capture.not_logic[0].trace.clone();
    capture.lines.push(rail);
    let cause = rails::check(&capture, &setup(TOWER).rails)
        .remove(0)
        .cause
        .unwrap();
    assert_eq!((cause.line, cause.polarity, cause.dips), (0, Polarity::Rise, 12));
    assert!(cause.inseparable.is_empty());
}

#[test]
fn a_supply_that_nobody_declared_is_proposed_without_accusation() {
    use edgewitness::analysis::findings::Severity;
    use edgewitness::analysis::rails::assumed;
    let dips: Vec<usize> = (0..12).map(|i| 6000 + 7000 * i + 431 * (i % 5)).collect();
    let lift = dips
        .iter()
        .flat_map(|&d| [d as i64 - 3, d as i64 + 100])
        .collect();
    let mut minus = vec![-12.0; 95_000];
    minus[500..700].fill(-10.0);
    let held = [
        ("CH3", dipping(95_000, &dips)),
        ("CH4", minus),
        ("CH5", vec![5.02; 95_000]),
        ("CH6", vec![4.2; 95_000]),
    ];
    let capture = capture(&held, lift);
    let rails = assumed::proposed(&capture, &[]);
    let results = rails::check(&capture, &rails);
    let found = rails::proposed(&capture, &rails, &results);
    let told: Vec<(&str, Severity)> = found.iter().map(|f| (f.title.as_str(), f.severity)).collect();
    assert_eq!(
        told,
        [
            (
                "CH3 looks like a supply of 5 V that sags to 4.6 V; nobody declared it",
                Severity::Warning
            ),
            (
                "CH4 looks like a supply of −12 V that sags to −10 V; nobody declared it",
                Severity::Warning
            ),
        ]
    );
    assert_eq!(found[0].lines, ["CH3"]);
    // Declared, or called like a supply, it is judged as one and not proposed.
    assert_eq!(assumed::proposed(&capture, &rails).len(), 0);
}
