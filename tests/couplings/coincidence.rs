//! Coincidences against the outside: published spike recordings counted by NumPy and judged by SciPy, and the worked
//! example of event coincidence analysis.
//!
//! `tests/data/coincidence.py` made `coincidence.json` (versions stand there). The two recordings are of one receptor
//! under two different stimuli: nothing couples them, and their spikes are regular, which is what makes shortcuts for
//! the chance of a coincidence cry wolf.

use edgewitness::analysis::coupling::all_pairs::lag_table;
use edgewitness::analysis::coupling::fit::lags;
use edgewitness::analysis::coupling::suspects::able::{self, Able, Rest};
use edgewitness::analysis::coupling::{self, CouplingOptions};
use edgewitness::analysis::stats::tails::binomial_upper;
use edgewitness::analysis::strays::{self, StrayOptions};
use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};
use serde_json::Value;

/// Ticks in a microsecond of the recordings, so that a window's closed ends weigh little.
const FINE: i64 = 1_000;

fn data() -> Value {
    serde_json::from_str(include_str!("../data/coincidence.json")).expect("the outside values are JSON")
}

fn whole(value: &Value) -> i64 {
    value.as_i64().expect("a whole number")
}

fn numbers(value: &Value) -> Vec<i64> {
    value.as_array().expect("a list").iter().map(whole).collect()
}

#[test]
fn lag_histograms_are_numpy_s() {
    let data = data();
    let lines = [numbers(&data["a"]), numbers(&data["b"])];
    let slices: Vec<&[i64]> = lines.iter().map(Vec::as_slice).collect();
    let table = lag_table(&slices, whole(&data["reach"]), whole(&data["bin"]));
    for (name, a, b) in [("aa", 0, 0), ("ab", 0, 1), ("ba", 1, 0), ("bb", 1, 1)] {
        let ours: Vec<i64> = table.of(a, b).iter().map(|&n| n as i64).collect();
        assert_eq!(ours, numbers(&data["lags"][name]), "{name}");
    }
}

#[test]
fn coincidences_coverage_and_chance_are_the_outside_ones() {
    let data = data();
    let fine = |times: &Value| -> Vec<i64> { numbers(times).iter().map(|t| t * FINE).collect() };
    let (a, b) = (fine(&data["a"]), fine(&data["b"]));
    let span = whole(&data["span"]) * FINE;
    let rests = [Rest {
        start: -1,
        end: span + 1,
    }];
    let able = Able {
        rests: &rests,
        slack: 0,
    };
    for case in data["coincidences"].as_array().expect("a list") {
        let window = whole(&case["window"]) * FINE;
        let mut hit: Vec<usize> = lags::pairs(&a, &b, &able, 0, window)
            .iter()
            .map(|p| p.stray)
            .collect();
        hit.dedup();
        assert_eq!(hit.len() as i64, whole(&case["hits"]), "{case}");
        let covered = able::covered(&b, std::slice::from_ref(&(0..b.len())), 0, window) / span as f64;
        let expected = case["covered"].as_f64().expect("a share");
        // Our windows hold both their end ticks: one tick more in 500 000.
        assert!((covered / expected - 1.0).abs() < 3e-6, "{covered} {expected}");
        let p = binomial_upper(hit.len() as u64, a.len() as u64, covered);
        let expected = case["p_covered"].as_f64().expect("a chance");
        assert!((p / expected - 1.0).abs() < 1e-3, "{p} {expected}");
        // The shortcut 1 − (1 − window/span)^n is the published null of event coincidence analysis.
        let share = 1.0 - (1.0 - window as f64 / span as f64).powf(b.len() as f64);
        let p = binomial_upper(hit.len() as u64, a.len() as u64, share);
        let expected = case["p_poisson"].as_f64().expect("a chance");
        assert!((p / expected - 1.0).abs() < 1e-9, "{p} {expected}");
    }
}

/// Donges, Schleussner, Siegmund and Donner 2016 (EPJ Special Topics 225, 471): precursor and trigger coincidences,
/// windows closed at both ends. Values from SciPy's binomial tail with their formula.
#[test]
fn the_worked_example_of_event_coincidence_analysis_comes_out() {
    let (a, b): (Vec<i64>, Vec<i64>) = (vec![120, 510, 905], vec![100, 500, 900, 1300]);
    let rests = [Rest { start: -1, end: 2001 }];
    let able = Able {
        rests: &rests,
        slack: 0,
    };
    let pairs = lags::pairs(&a, &b, &able, 0, 25);
    let count = |mut which: Vec<usize>| {
        which.sort_unstable();
        which.dedup();
        which.len() as u64
    };
    let precursors = count(pairs.iter().map(|p| p.stray).collect());
    let triggers = count(pairs.iter().map(|p| p.edge).collect());
    assert_eq!((precursors, triggers), (3, 3));
    let null = |others: f64| 1.0 - (1.0 - 0.25f64 / 20.0).powf(others);
    let close = |p: f64, expected: f64| (p / expected - 1.0).abs() < 1e-10;
    assert!(close(
        binomial_upper(precursors, 3, null(4.0)),
        0.000_118_156_011_671_267_14
    ));
    assert!(close(
        binomial_upper(triggers, 4, null(3.0)),
        0.000_197_515_258_333_156_6
    ));
}

/// The spikes of one recording as strays, those of the other as a line's pulses, lags up to 5 ms: at that reach the
/// shortcut gives p = 4·10⁻¹¹, and there is nothing.
#[test]
fn nobody_is_accused_between_recordings_that_have_nothing_to_do_with_each_other() {
    let data = data();
    let span = TimeSpan::new(Ticks(0), Ticks(whole(&data["span"])));
    let pulses = |times: Vec<i64>, width: i64| {
        let edges = times.into_iter().flat_map(|t| [Ticks(t), Ticks(t + width)]);
        edges.filter(|t| *t < span.end).collect::<Vec<Ticks>>()
    };
    for (victim, other) in [("a", "b"), ("b", "a")] {
        let line = |name: &str, width: i64| {
            Line::digital(
                name.to_uppercase(),
                Level::Low,
                pulses(numbers(&data[name]), width),
                span,
            )
        };
        let capture = Capture {
            file: "spikes".to_owned(),
            format: Format::Csv,
            timebase: Timebase::decimal(-6),
            span,
            resolution_ticks: 1.0,
            lines: vec![line(victim, 20), line(other, 300)],
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        };
        let options = StrayOptions {
            narrow_below: [(0, 50.0)].into(),
            ..StrayOptions::default()
        };
        let strays = strays::find(&capture, &options);
        assert!(strays.of_line(0).len() > 850, "{}", strays.of_line(0).len());
        let reach = CouplingOptions {
            longest_lag: Some(5_000.0),
        };
        let found = coupling::attribute(&capture, &strays, &reach);
        assert!(
            found.couplings.is_empty(),
            "{:?}",
            found.couplings.first().map(|c| c.p_value)
        );
    }
}
