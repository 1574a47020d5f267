//! Two keys whose lines strike each other about a sample later: planted truth, no outside values.

use edgewitness::analysis::coupling::judge::judge;
use edgewitness::analysis::coupling::{CouplingOptions, Standing};
use edgewitness::analysis::strays::StrayOptions;
use edgewitness::demo::random::Random;
use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};

/// Sampling period, in ns.
const SAMPLE: f64 = 20.0;

/// How two keys are pressed and strike each other; times in ns.
struct Keys {
    seed: u64,
    presses: usize,
    strike_rate: f64,
    lag: (f64, f64),
    /// Widths of the dips of either line.
    widths: [(f64, f64); 2],
}

impl Keys {
    /// LIFT_KEY and MUTE_KEY rest high; a press of the one (its fall) dips the other, where that is high.
    fn capture(&self) -> Capture {
        let mut random = Random::new(self.seed);
        let mut own: [Vec<f64>; 2] = Default::default();
        for presses in &mut own {
            let mut at = 0.0;
            for _ in 0..self.presses {
                let pressed = at + random.uniform(20e6, 60e6);
                at = pressed + random.uniform(2e6, 8e6);
                presses.extend([pressed, at]);
            }
        }
        let mut edges = own.clone();
        for (victim, aggressor) in [(0, 1), (1, 0)] {
            for fall in own[aggressor].iter().step_by(2) {
                let gone_by = own[victim].partition_point(|edge| edge < fall);
                let is_high = gone_by % 2 == 0;
                if is_high && random.chance(self.strike_rate) {
                    let at = fall + random.uniform(self.lag.0, self.lag.1);
                    let (least, most) = self.widths[victim];
                    edges[victim].extend([at, at + random.uniform(least, most)]);
                }
            }
        }
        let last = edges
            .iter()
            .flatten()
            .fold(0.0, |last: f64, edge| last.max(*edge));
        let span = TimeSpan::new(Ticks(0), Ticks(last as i64 + 1_000_000));
        let line = |name: &str, mut edges: Vec<f64>| {
            edges.sort_by(f64::total_cmp);
            let sampled = edges
                .iter()
                .map(|at| Ticks((at / SAMPLE).ceil() as i64 * SAMPLE as i64));
            Line::digital(name, Level::High, sampled.collect(), span)
        };
        let [lift, mute] = edges;
        Capture {
            file: "keys.vcd".to_owned(),
            format: Format::Vcd,
            timebase: Timebase::decimal(-9),
            span,
            resolution_ticks: 1.0,
            lines: vec![line("LIFT_KEY", lift), line("MUTE_KEY", mute)],
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        }
    }
}

/// The dips of either are the other's doing: that a dip of the one comes within a sample of a press of the other, which brought it,
/// does not make the press begin with the dip.
#[test]
fn keys_that_strike_each_other_are_not_said_to_dip_by_themselves() {
    let alike = [(60.0, 300.0); 2];
    for (seed, presses, strike_rate, lag, widths) in [
        (1, 150, 0.3, (20.0, 30.0), alike),
        (2, 400, 0.6, (20.0, 30.0), alike),
        (3, 150, 0.6, (5.0, 15.0), alike),
        (4, 400, 0.6, (5.0, 15.0), alike),
        (5, 400, 0.6, (5.0, 15.0), [(60.0, 140.0), (160.0, 320.0)]),
        (6, 250, 0.9, (5.0, 15.0), alike),
    ] {
        let keys = Keys {
            seed,
            presses,
            strike_rate,
            lag,
            widths,
        };
        let (strays, attribution) = judge(
            &keys.capture(),
            &StrayOptions::default(),
            &CouplingOptions::default(),
        );
        assert_eq!(attribution.own, [], "seed {seed}");
        let mut accused: Vec<(usize, Standing)> = attribution
            .couplings
            .iter()
            .map(|row| (row.aggressor, row.standing))
            .collect();
        accused.sort_by_key(|(line, _)| *line);
        assert_eq!(
            accused,
            [(0, Standing::Clear), (1, Standing::Clear)],
            "seed {seed}"
        );
        for line in 0..2 {
            let dips = strays.of_line(line).len() as f64;
            let expected = strike_rate * presses as f64;
            assert!(
                (0.7 * expected..1.2 * expected).contains(&dips),
                "seed {seed}: {dips} of {expected}"
            );
        }
    }
}
