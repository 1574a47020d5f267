//! What was planted, capture by capture, in the words of the report: for tests, and as `truth.json`.

use serde::Serialize;

use super::instrument::Instrument;
use super::machine::Run;
use super::wires::Net;
use crate::model::{Level, Polarity, Ticks};

/// The truth about one capture. Times are seconds on the capture's own clock, not rounded to its samples.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaptureTruth {
    pub file: String,
    pub resolution_s: f64,
    /// Time on the machine (and on an instrument that keeps it) = time here × (1 + `drift_ppm`·10⁻⁶) + `offset_s`.
    pub offset_s: f64,
    pub drift_ppm: f64,
    pub strays: Vec<StrayTruth>,
    pub couplings: Vec<CouplingTruth>,
    /// Lines that switch along with an aggressor and strike nobody.
    pub innocent: Vec<String>,
    pub links: Vec<LinkTruth>,
    /// Lines that never move.
    pub stuck: Vec<String>,
    pub bounces: Vec<BounceTruth>,
}

impl CaptureTruth {
    /// A capture without strays, links or bounce.
    pub fn plain(file: &str, resolution_s: f64) -> CaptureTruth {
        CaptureTruth {
            file: file.to_owned(),
            resolution_s,
            offset_s: 0.0,
            drift_ppm: 0.0,
            strays: Vec::new(),
            couplings: Vec::new(),
            innocent: Vec::new(),
            links: Vec::new(),
            stuck: Vec::new(),
            bounces: Vec::new(),
        }
    }
}

/// A planted stray; seconds on the instrument's clock.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StrayTruth {
    pub line: String,
    pub start_s: f64,
    pub width_s: f64,
    pub level: Level,
    pub aggressor: Option<String>,
    pub edge: Option<Polarity>,
    pub lag_s: Option<f64>,
    /// Whether at least one sample fell into it.
    pub shown: bool,
}

/// A planted coupling.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CouplingTruth {
    pub victim: String,
    pub aggressor: String,
    pub edge: Polarity,
    /// Strays that a sample shows; opportunities while the victim could show one.
    pub strays: usize,
    pub opportunities: usize,
    /// Planted chance that an edge of the aggressor strikes.
    pub strike_chance: f64,
}

/// A planted link, and what it lost.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LinkTruth {
    pub from: String,
    pub to: String,
    /// Pulses sent while it was clipped, and those that arrived; starts of the rest.
    pub sent: usize,
    pub arrived: usize,
    pub missing_s: Vec<f64>,
}

/// A planted burst of bounce; seconds on the instrument's clock.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BounceTruth {
    pub line: String,
    pub start_s: f64,
    pub end_s: f64,
    /// Edges from the first to the last.
    pub edges: u32,
    pub settled: Level,
}

/// What `instrument`, clipped to `nets`, could have known about `run`.
pub fn truth(file: &str, run: &Run, instrument: &Instrument, nets: &[Net]) -> CaptureTruth {
    let has = |net: Net| nets.contains(&net);
    let name = |net: Net| net.label().expect("captured nets have names");
    let clock_s = |time: Ticks| instrument.clock_s(time);
    let strays: Vec<StrayTruth> = run
        .dips
        .iter()
        .filter(|_| has(Net::ClearN))
        .map(|dip| {
            let end = dip.start + dip.width;
            StrayTruth {
                line: name(Net::ClearN),
                start_s: clock_s(dip.start),
                width_s: dip.width.0 as f64 * 1e-12 / (1.0 + instrument.drift_ppm * 1e-6),
                level: Level::Low,
                aggressor: dip.cause.map(|_| name(Net::Step)),
                edge: dip.cause.map(|_| Polarity::Fall),
                lag_s: dip.cause.map(|cause| (dip.start - cause).0 as f64 * 1e-12),
                shown: instrument.sample_at(dip.start) < instrument.sample_at(end),
            }
        })
        .collect();
    let coupled = has(Net::ClearN) && has(Net::Step);
    let struck = strays.iter().filter(|s| s.shown && s.aggressor.is_some()).count();
    let mut couplings = Vec::new();
    if coupled && run.plan.faults.strike_chance > 0.0 {
        let clear = &run.waves[&Net::ClearN];
        let falls = run.waves[&Net::Step].edges_towards(Polarity::Fall);
        couplings.push(CouplingTruth {
            victim: name(Net::ClearN),
            aggressor: name(Net::Step),
            edge: Polarity::Fall,
            strays: struck,
            opportunities: falls.filter(|&at| clear.level_at(at) == Level::High).count(),
            strike_chance: run.plan.faults.strike_chance,
        });
    }
    let mut links = Vec::new();
    if has(Net::StrikeOut) && has(Net::StrikeIn) {
        let sent = run.waves[&Net::StrikeOut].edges_towards(Polarity::Rise).count();
        links.push(LinkTruth {
            from: name(Net::StrikeOut),
            to: name(Net::StrikeIn),
            sent,
            arrived: sent - run.lost.len(),
            missing_s: run.lost.iter().map(|&at| clock_s(at)).collect(),
        });
    }
    let bounces = run
        .bursts
        .iter()
        .filter(|_| has(Net::Play))
        .map(|burst| BounceTruth {
            line: name(Net::Play),
            start_s: clock_s(burst.start),
            end_s: clock_s(burst.end),
            edges: burst.edges,
            settled: if burst.settled_high {
                Level::High
            } else {
                Level::Low
            },
        });
    let still = nets.iter().filter(|net| run.waves[net].edges.is_empty());
    CaptureTruth {
        file: file.to_owned(),
        resolution_s: instrument.period_s,
        offset_s: instrument.offset_s,
        drift_ppm: instrument.drift_ppm,
        innocent: if coupled && has(Net::Beat) {
            vec![name(Net::Beat)]
        } else {
            Vec::new()
        },
        couplings,
        links,
        stuck: still.map(|&net| name(net)).collect(),
        bounces: bounces.collect(),
        strays,
    }
}
