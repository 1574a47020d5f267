//! What is said of strays without a cause, on lines whose strays are planted.

use super::*;
use crate::analysis::coupling::{CouplingOptions, attribute};
use crate::analysis::strays::{StrayOptions, find};
use crate::model::{Ticks, TimeSpan};
use std::collections::BTreeMap;

/// CLEAR_N dips for 30 ticks, so long after these falls of STEP; STEP falls every 10 000 ticks, BEAT moves between.
fn said(struck: &[(i64, i64)]) -> Vec<Finding> {
    said_with_beat(struck, 5_100)
}

/// The same, where BEAT rises `beat` ticks after each fall of STEP.
fn said_with_beat(struck: &[(i64, i64)], beat: i64) -> Vec<Finding> {
    let span = TimeSpan::new(Ticks(0), Ticks(250_000));
    let step = |k: i64| 10_000 * (k + 1);
    let flat = |pairs: Vec<[i64; 2]>| pairs.into_iter().flatten().map(Ticks).collect::<Vec<_>>();
    let dip = |&(k, lag): &(i64, i64)| [step(k) + lag, step(k) + lag + 30];
    let lines = vec![
        Line::digital(
            "CLEAR_N",
            Level::High,
            flat(struck.iter().map(dip).collect()),
            span,
        ),
        Line::digital(
            "STEP",
            Level::High,
            flat((0..20).map(|k| [step(k), step(k) + 3_000]).collect()),
            span,
        ),
        Line::digital(
            "BEAT",
            Level::High,
            flat((0..20).map(|k| [step(k) + beat, step(k) + 7_000]).collect()),
            span,
        ),
    ];
    let capture = Capture::in_nanoseconds("few", span, lines);
    let options = StrayOptions {
        narrow_below: BTreeMap::from([(0, 60.0)]),
        ..StrayOptions::default()
    };
    let strays = find(&capture, &options);
    let attribution = attribute(&capture, &strays, &CouplingOptions::default());
    of(&capture, &strays, &attribution)
}

#[test]
fn a_gate_s_glitches_hide_no_strays_towards_the_other_level() {
    let span = TimeSpan::new(Ticks(0), Ticks(250_000));
    let peg = [
        (20_000, 20_020),
        (60_000, 100_000),
        (80_000, 80_025),
        (150_000, 150_022),
    ];
    let mut edges: Vec<Ticks> = peg.iter().flat_map(|p| [Ticks(p.0), Ticks(p.1)]).collect();
    edges.sort_unstable();
    let capture = Capture::in_nanoseconds("gate", span, vec![Line::digital("PEG", Level::Low, edges, span)]);
    let options = StrayOptions {
        narrow_below: BTreeMap::from([(0, 60.0)]),
        ..StrayOptions::default()
    };
    let strays = find(&capture, &options);
    let attribution = Attribution {
        causes: vec![None; strays.strays.len()],
        hazards: vec![Hazard {
            victim: 0,
            inputs: Vec::new(),
            levels: vec![Level::High],
            strays: 2,
            of: 3,
        }],
        ..Attribution::default()
    };
    let told = of(&capture, &strays, &attribution);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].title.contains("1 of 3 stray pulses"), "{}", told[0].title);
}

#[test]
fn too_few_strays_say_whom_they_point_to_and_how_many_would_tell() {
    let told = said(&[(4, 14), (11, 15)]).remove(0);
    assert_eq!(told.title, "CLEAR_N: 2 stray pulses, too few to tell the cause");
    assert!(
        told.detail.contains(
            "2 of 2 come 14 ns to 15 ns after a fall of STEP; 20 such edges could have brought one"
        ),
        "{}",
        told.detail
    );
    assert!(
        told.try_next[0].starts_with("Capture about 3 times as long"),
        "{:?}",
        told.try_next
    );
    let one = said(&[(4, 14)]).remove(0);
    assert!(one.detail.starts_with("It is 30 ns wide"), "{}", one.detail);
    assert!(
        one.detail
            .ends_with("With fewer than 5 strays nobody is accused."),
        "{}",
        one.detail
    );
}

#[test]
fn strays_that_all_lie_beside_own_edges_are_not_said_to_follow_nobody() {
    let span = TimeSpan::new(Ticks(0), Ticks(450_000));
    // Low for 3,000 ticks; two times of three, as it rises again it shows a dip of 30 in 40 ticks, or in `away`.
    let told = |away: i64| {
        let dips = |n: i64| {
            let at = 20_000 * n;
            let dip = [at + 3_000 + away, at + 3_030 + away];
            let shown = dip.into_iter().filter(move |_| n % 3 != 0);
            [at, at + 3_000].into_iter().chain(shown)
        };
        let edges = (1..20).flat_map(dips).map(Ticks).collect();
        let capture = Capture::in_nanoseconds(
            "ringing",
            span,
            vec![Line::digital("CLEAR_N", Level::High, edges, span)],
        );
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let strays = find(&capture, &options);
        let attribution = attribute(&capture, &strays, &CouplingOptions::default());
        of(&capture, &strays, &attribution).remove(0).detail
    };
    assert!(
        told(40).contains("All lie beside edges of CLEAR_N's own"),
        "{}",
        told(40)
    );
    assert!(
        told(4_000).contains("No captured line's edges"),
        "{}",
        told(4_000)
    );
}

#[test]
fn strays_that_follow_the_accused_late_are_not_called_causeless() {
    let tight = [0, 1, 2, 4, 5, 6, 8, 9, 10].map(|k| (k, 14 + k % 3));
    let late = [(12, 85), (14, 104), (16, 96)];
    let told = said(&[tight.as_slice(), &late].concat());
    let title = "CLEAR_N: 3 more of its 12 stray pulses probably come from STEP falling too, which this capture can't show";
    assert_eq!(told.iter().map(|f| f.title.as_str()).collect::<Vec<_>>(), [title]);
    assert!(
        told[0].detail.starts_with(
            "They come 85 ns to 104 ns after it; those that are put down to it come 14 ns to 16 ns after it."
        ),
        "{}",
        told[0].detail
    );
    // Another line's edge lies between: the accused is not named with them.
    let told = said_with_beat(&[tight.as_slice(), &late].concat(), 80);
    assert!(told.iter().all(|f| !f.title.contains("STEP")), "{told:?}");
    // Between two falls there is no edge near: without a cause.
    let told = said(&[tight.as_slice(), &[(12, 2_500), (14, 2_700), (16, 2_600)]].concat());
    assert_eq!(
        told[0].title,
        "CLEAR_N: 3 of 12 stray pulses come without a cause among the captured lines"
    );
}
