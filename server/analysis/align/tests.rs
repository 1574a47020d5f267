//! Pairs of captures with a planted clock: offset, drift, sampling, losses and strangers from a seed.

use super::*;
use crate::dice::Dice;

/// Dice that roll the same for the same seed, also where seeds are alike.
pub(super) fn dice(seed: u64) -> Dice {
    let spread = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    let mut dice = Dice(spread.wrapping_add(0x1234_5678_9ABC_DEF1) | 1);
    (0..8).for_each(|_| {
        dice.word();
    });
    dice
}

/// What is planted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plan {
    /// Sampling periods, offset: seconds; drift: a ratio.
    pub sample_a: f64,
    pub sample_b: f64,
    pub offset: f64,
    pub drift: f64,
    /// Share of pulses that B misses, and of strangers only A or only B has.
    pub missed: f64,
}

/// Edges in true (A's) time seen by an instrument with its own clock: stamped by the first sample after.
fn seen(times: &[f64], clock: impl Fn(f64) -> f64, sample: f64, phase: f64) -> Edges {
    let mut stamps: Vec<f64> = Vec::new();
    for &t in times {
        let own = clock(t);
        let stamp = ((own - phase) / sample).ceil() * sample + phase;
        // Two edges in one sample cancel out.
        if stamps
            .last()
            .is_some_and(|last| (last - stamp).abs() < 0.5 * sample)
        {
            stamps.pop();
        } else {
            stamps.push(stamp);
        }
    }
    let origin = stamps.first().copied().unwrap_or(0.0);
    Edges {
        rises: (0..stamps.len()).map(|i| i % 2 == 0).collect(),
        times: stamps.iter().map(|s| s - origin - 0.5 * sample).collect(),
        sample_s: sample,
        origin_s: origin,
    }
}

/// Two instruments' views of pulses (start, end): A records `in_a`, B records `in_b` (true seconds), each also has
/// strangers of its own.
pub(super) fn pair(
    dice: &mut Dice,
    pulses: &[(f64, f64)],
    plan: &Plan,
    in_a: (f64, f64),
    in_b: (f64, f64),
) -> (Edges, Edges) {
    let mut view = |window: (f64, f64)| -> Vec<f64> {
        let mut edges = Vec::new();
        for (k, &(start, end)) in pulses.iter().enumerate() {
            if start < window.0 || end > window.1 || dice.unit() < plan.missed {
                continue;
            }
            edges.extend([start, end]);
            let room = pulses.get(k + 1).map_or(end + 1e-3, |p| p.0) - end;
            if dice.unit() < plan.missed {
                edges.extend([end + 0.3 * room, end + 0.4 * room]);
            }
        }
        edges
    };
    let (a, b) = (view(in_a), view(in_b));
    let (pa, pb) = (dice.unit() * plan.sample_a, dice.unit() * plan.sample_b);
    let to_b = |t: f64| (t - plan.offset) / (1.0 + plan.drift);
    (
        seen(&a, |t| t, plan.sample_a, pa),
        seen(&b, to_b, plan.sample_b, pb),
    )
}

/// Pulses with exponential rests and even widths.
pub(super) fn irregular(dice: &mut Dice, n: usize, rest: f64) -> Vec<(f64, f64)> {
    let mut at = 0.0;
    (0..n)
        .map(|_| {
            at += 0.05 * rest - rest * dice.unit().max(1e-12).ln();
            let width = dice.between(0.2, 1.2) * rest;
            let pulse = (at, at + width);
            at += width;
            pulse
        })
        .collect()
}

/// A period with a jitter of 8 %, as a shaft's eye gives.
fn nearly_regular(dice: &mut Dice, n: usize, period: f64) -> Vec<(f64, f64)> {
    (0..n)
        .map(|k| {
            let start = (k as f64 + 0.08 * (dice.unit() - 0.5)) * period;
            (start, start + dice.between(0.46, 0.54) * period)
        })
        .collect()
}

fn plan(dice: &mut Dice) -> Plan {
    let periods = [4e-9, 5e-9, 8e-9, 1e-8, 2e-8, 1e-7 / 2.4, 1e-7];
    let pick = |dice: &mut Dice| periods[(dice.unit() * 7.0) as usize];
    Plan {
        sample_a: pick(dice),
        sample_b: pick(dice),
        offset: dice.between(-1.0, 1.0),
        drift: dice.between(-1e-4, 1e-4),
        missed: [0.0, 0.02, 0.1][(dice.unit() * 3.0) as usize],
    }
}

/// Ends of the two recordings: they overlap by half to all.
fn windows(dice: &mut Dice, length: f64) -> ((f64, f64), (f64, f64)) {
    let (a, b) = (dice.between(0.0, 0.25) * length, dice.between(0.0, 0.25) * length);
    ((a, length), (0.0, length - b))
}

#[test]
fn planted_clocks_are_found_within_the_quantisation_error() {
    let (mut units, mut worst, mut drifts) = (Vec::new(), 0.0f64, Vec::new());
    for seed in 0..240 {
        let mut dice = dice(seed);
        let plan = plan(&mut dice);
        let n = [60, 200, 900][seed as usize % 3];
        let rest = dice.between(2e-5, 2e-3);
        let pulses = if seed % 4 == 3 {
            nearly_regular(&mut dice, n, rest)
        } else {
            irregular(&mut dice, n, rest)
        };
        let length = pulses[n - 1].1;
        let (in_a, in_b) = windows(&mut dice, length);
        let (a, b) = pair(&mut dice, &pulses, &plan, in_a, in_b);
        let got = align(&a, &b).unwrap_or_else(|e| panic!("seed {seed}: {e} {plan:?}"));
        let true_middle = got.middle_s * (1.0 + plan.drift) + plan.offset;
        let error = (got.time_in_a(got.middle_s) - true_middle).abs();
        // Bennett (1948): each edge is off by T/√12; n matched edges average that.
        let expected = (plan.sample_a.hypot(plan.sample_b) / 12f64.sqrt()) / (got.matched as f64).sqrt();
        units.push(error / expected);
        worst = worst.max(error / plan.sample_a.max(plan.sample_b));
        drifts.push((got.drift_ppm - plan.drift * 1e6).abs() / got.drift_se_ppm);
    }
    units.sort_by(f64::total_cmp);
    drifts.sort_by(f64::total_cmp);
    let (median, most) = (units[120], units[216]);
    assert!(median <= 1.0, "median {median}");
    assert!(most <= 2.5, "90th percentile {most}");
    assert!(worst <= 1.0, "worst {worst} samples");
    assert!(
        drifts[120] < 1.0 && drifts[216] < 2.2,
        "drift {} {}",
        drifts[120],
        drifts[216]
    );
}

#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let (mut held, mut held_drift, runs) = (0, 0, 1200);
    for seed in 0..runs {
        let mut dice = dice(50_000 + seed);
        let plan = plan(&mut dice);
        let pulses = irregular(&mut dice, 80, 3e-4);
        let length = pulses[79].1;
        let (in_a, in_b) = windows(&mut dice, length);
        let (a, b) = pair(&mut dice, &pulses, &plan, in_a, in_b);
        let got = align(&a, &b).unwrap();
        let error = got.time_in_a(got.middle_s) - (got.middle_s * (1.0 + plan.drift) + plan.offset);
        held += u64::from(error.abs() <= 1.96 * got.middle_se_s);
        held_drift += u64::from((got.drift_ppm - plan.drift * 1e6).abs() <= 1.96 * got.drift_se_ppm);
    }
    for share in [held as f64 / runs as f64, held_drift as f64 / runs as f64] {
        assert!((0.93..=0.97).contains(&share), "held {share}");
    }
}

/// Where the span allows 0.01 ppm, the drift is within it: five standard errors of the slope by sampling alone, which
/// scatter Ts/√12 (Bennett 1948) about a line of n edges over a span L gives as s·√12/(L·√n), stay below.
#[test]
fn drift_is_within_a_hundredth_of_a_ppm_where_the_span_allows() {
    const LIMIT_PPM: f64 = 0.01;
    let (mut tried, mut largest) = (0, 0.0f64);
    for seed in 0..120 {
        let mut dice = dice(80_000 + seed);
        let plan = plan(&mut dice);
        let n = [300, 1200][seed as usize % 2];
        let rest = dice.between(5e-4, 8e-3);
        let pulses = match seed % 4 {
            3 => nearly_regular(&mut dice, n, rest),
            _ => irregular(&mut dice, n, rest),
        };
        let length = pulses[n - 1].1;
        let (in_a, in_b) = windows(&mut dice, length);
        // What both recorded, at least, and the edges in it.
        let (span, edges) = (0.5 * length, n as f64);
        let scatter = plan.sample_a.hypot(plan.sample_b) / 12f64.sqrt();
        let possible_ppm = 1e6 * scatter * 12f64.sqrt() / (span * edges.sqrt());
        if 5.0 * possible_ppm > LIMIT_PPM {
            continue;
        }
        tried += 1;
        let (a, b) = pair(&mut dice, &pulses, &plan, in_a, in_b);
        let got = align(&a, &b).unwrap_or_else(|e| panic!("seed {seed}: {e} {plan:?}"));
        largest = largest.max((got.drift_ppm - plan.drift * 1e6).abs());
    }
    assert!(tried >= 60, "only {tried} pairs whose span allows it");
    assert!(largest <= LIMIT_PPM, "{largest} ppm off");
}

#[test]
fn regular_and_repeating_lines_are_refused() {
    for seed in 0..30 {
        let mut dice = dice(900 + seed);
        let plan = plan(&mut dice);
        // A plain square wave.
        let square: Vec<(f64, f64)> = (0..400)
            .map(|k| (k as f64 * 1e-3, k as f64 * 1e-3 + 5e-4))
            .collect();
        let (a, b) = pair(&mut dice, &square, &plan, (0.0, 0.4), (0.1, 0.4));
        assert!(
            matches!(align(&a, &b), Err(Error::Ambiguous { .. })),
            "square, seed {seed}: {:?}",
            align(&a, &b)
        );
        // One irregular frame over and over.
        let frame = irregular(&mut dice, 17, 1e-5);
        let period = frame[16].1 + 2e-3;
        let repeated: Vec<(f64, f64)> = (0..12)
            .flat_map(|k| {
                frame
                    .iter()
                    .map(move |p| (p.0 + k as f64 * period, p.1 + k as f64 * period))
            })
            .collect();
        let (a, b) = pair(
            &mut dice,
            &repeated,
            &plan,
            (0.0, 9.0 * period),
            (0.0, 12.0 * period),
        );
        assert!(
            matches!(align(&a, &b), Err(Error::Ambiguous { .. })),
            "frame, seed {seed}: {:?}",
            align(&a, &b)
        );
    }
}

#[test]
fn pairs_that_share_nothing_are_refused() {
    for seed in 0..60 {
        let mut dice = dice(4000 + seed);
        let plan = plan(&mut dice);
        let (p, q) = (irregular(&mut dice, 150, 1e-3), irregular(&mut dice, 150, 1e-3));
        let (a, _) = pair(&mut dice, &p, &plan, (0.0, 10.0), (0.0, 10.0));
        let (_, b) = pair(&mut dice, &q, &plan, (0.0, 10.0), (0.0, 10.0));
        assert!(
            matches!(align(&a, &b), Err(Error::NothingShared { .. })),
            "seed {seed}: {:?}",
            align(&a, &b)
        );
    }
    let empty = Edges {
        times: vec![],
        rises: vec![],
        sample_s: 1e-9,
        origin_s: 0.0,
    };
    assert!(matches!(
        align(&empty, &empty),
        Err(Error::TooFewEdges { edges: 0, .. })
    ));
}

#[test]
fn upside_down_and_half_missing_lines_still_align() {
    let mut dice = dice(77);
    let plan = Plan {
        sample_a: 1e-8,
        sample_b: 2e-8,
        offset: 0.25,
        drift: 8e-5,
        missed: 0.3,
    };
    let pulses = irregular(&mut dice, 300, 1e-4);
    let (a, mut b) = pair(&mut dice, &pulses, &plan, (0.0, 1.0), (0.0, 1.0));
    assert!((align(&a, &b).unwrap().drift_ppm - 80.0).abs() < 1.0);
    b.rises.iter_mut().for_each(|r| *r = !*r);
    let got = align(&a, &b).unwrap();
    assert!(got.inverted && (got.drift_ppm - 80.0).abs() < 1.0);
}
