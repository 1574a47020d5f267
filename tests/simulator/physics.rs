//! What goes wrong between lines: edges of one strike another, by lag, chance and width.

use edgewitness::demo::random::Random;

use super::wiring::{Machine, Wire, below};

/// Which way a strike pulls its victim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mechanism {
    /// Through capacitance: a rise lifts, a fall dips.
    Electric,
    /// Through a loop: a rise dips, a fall lifts.
    Magnetic,
    /// Through what conducts one way, or a supply that both edges load: either edge lifts, either dips.
    Lifts,
    Dips,
}

impl Mechanism {
    /// The level that an edge of this polarity strikes towards.
    pub fn pulls_high(self, rise: bool) -> bool {
        match self {
            Mechanism::Electric => rise,
            Mechanism::Magnetic => !rise,
            Mechanism::Lifts => true,
            Mechanism::Dips => false,
        }
    }
}

/// Edges of `aggressor` strike `victim`. Lengths in ns.
#[derive(Clone, Copy, Debug)]
pub struct Coupling {
    pub victim: usize,
    pub aggressor: usize,
    pub mechanism: Mechanism,
    /// Chance that a rise strikes, that a fall does.
    pub rise: f64,
    pub fall: f64,
    pub lag: f64,
    pub jitter: f64,
    /// Least and greatest width; `None`: the strike lasts as long as the aggressor's pulse (a bridge).
    pub width: Option<(f64, f64)>,
}

impl Coupling {
    pub fn chance(&self, rise: bool) -> f64 {
        if rise { self.rise } else { self.fall }
    }
}

/// A pull on a line towards a level for a while.
#[derive(Clone, Debug)]
pub struct Strike {
    pub victim: usize,
    pub start: f64,
    pub end: f64,
    pub high: bool,
    /// Which lines' edges did it (rise: true); none for a stray without a cause among the wires.
    pub causes: Vec<(usize, bool)>,
}

/// Opportunities of one polarity: the moments at which the driver held the victim at the other level from
/// the edge to the end of the longest strike.
pub fn opportunities(machine: &Machine, coupling: &Coupling, rise: bool) -> Vec<f64> {
    let high = coupling.mechanism.pulls_high(rise);
    let victim = &machine.wires[coupling.victim];
    let longest = coupling.lag + 3.0 * coupling.jitter + coupling.width.map_or(1.0, |w| w.1);
    let able = |t: &f64| victim.level_at(*t) != high && victim.rests(*t, *t + longest);
    machine.wires[coupling.aggressor]
        .towards(rise)
        .filter(able)
        .collect()
}

/// Every strike of a coupling, whether the victim shows it or not.
pub fn strikes(random: &mut Random, machine: &Machine, coupling: &Coupling) -> Vec<Strike> {
    let mut strikes = Vec::new();
    let aggressor: &Wire = &machine.wires[coupling.aggressor];
    for (n, &edge) in aggressor.edges.iter().enumerate() {
        let rise = aggressor.first != n.is_multiple_of(2);
        if !random.chance(coupling.chance(rise)) {
            continue;
        }
        let start = edge + random.normal(coupling.lag, coupling.jitter);
        let end = match coupling.width {
            Some((least, most)) => start + random.uniform(least, most),
            None => match aggressor.edges.get(n + 1) {
                Some(next) => next + random.normal(coupling.lag, coupling.jitter),
                None => continue,
            },
        };
        strikes.push(Strike {
            victim: coupling.victim,
            start,
            end,
            high: coupling.mechanism.pulls_high(rise),
            causes: vec![(coupling.aggressor, rise)],
        });
    }
    strikes
}

/// Strays from nowhere: evenly spread over the capture, towards whichever level the line does not hold.
pub fn leak(
    random: &mut Random,
    machine: &Machine,
    victim: usize,
    count: usize,
    width: (f64, f64),
) -> Vec<Strike> {
    let wire = &machine.wires[victim];
    (0..count)
        .map(|_| {
            let start = random.uniform(0.0, machine.end);
            Strike {
                victim,
                start,
                end: start + random.uniform(width.0, width.1),
                high: !wire.level_at(start),
                causes: Vec::new(),
            }
        })
        .collect()
}

/// A ground or supply lead that lines share: the more of them switch at once the likelier it bounces, and when
/// it does most victims show it together.
#[derive(Clone, Debug)]
pub struct SharedLead {
    pub lines: Vec<usize>,
    pub victims: Vec<usize>,
    /// Lines that have to switch at once before anything happens.
    pub least: usize,
    /// Chance added by each line beyond these.
    pub slope: f64,
    /// Chance that a victim shows a bounce that happened.
    pub shown: f64,
    pub lag: f64,
    pub width: (f64, f64),
}

/// One switching instant of a shared lead: lines that switched, whether the lead bounced.
#[derive(Clone, Copy, Debug)]
pub struct Dose {
    pub at: f64,
    pub switched: usize,
}

/// Instants at which lines of the lead switched (either polarity), edges within 60 ns taken together.
pub fn doses(machine: &Machine, lead: &SharedLead) -> Vec<Dose> {
    let mut edges: Vec<f64> = lead
        .lines
        .iter()
        .flat_map(|&l| machine.wires[l].edges.clone())
        .collect();
    edges.sort_unstable_by(f64::total_cmp);
    let mut doses: Vec<Dose> = Vec::new();
    for edge in edges {
        match doses.last_mut() {
            Some(dose) if edge - dose.at < 60.0 => dose.switched += 1,
            _ => doses.push(Dose {
                at: edge,
                switched: 1,
            }),
        }
    }
    doses
}

pub fn lead_strikes(random: &mut Random, machine: &Machine, lead: &SharedLead) -> Vec<Strike> {
    let mut strikes = Vec::new();
    for dose in doses(machine, lead) {
        let beyond = dose.switched.saturating_sub(lead.least) as f64;
        if !random.chance((beyond * lead.slope).min(0.95)) {
            continue;
        }
        for &victim in &lead.victims {
            if !random.chance(lead.shown) {
                continue;
            }
            let start = dose.at + random.normal(lead.lag, 1.5);
            strikes.push(Strike {
                victim,
                start,
                end: start + random.uniform(lead.width.0, lead.width.1),
                high: !machine.wires[victim].level_at(start),
                causes: Vec::new(),
            });
        }
    }
    strikes
}

/// A contact that bounces at each of the wire's changes: returns the wire's edges with the bounces, and the
/// bursts (start, end). Pauses are drawn from exponentials that settle.
pub fn bounce(random: &mut Random, edges: &[f64], end: f64) -> (Vec<f64>, Vec<(f64, f64)>) {
    let (mut all, mut bursts) = (Vec::new(), Vec::new());
    for (n, &edge) in edges.iter().enumerate() {
        let next = edges.get(n + 1).copied().unwrap_or(end);
        let extra = 2 * (1 + below(random, 9));
        let mean = random.uniform(8_000.0, 90_000.0);
        let mut burst = vec![edge];
        for bounce in 0..extra {
            let settle = 1.0 - 0.5 * bounce as f64 / extra as f64;
            burst.push(burst[burst.len() - 1] + 2_000.0 + random.exponential(mean * settle));
        }
        if burst[burst.len() - 1] > edge + 0.25 * (next - edge) {
            burst.truncate(1);
        }
        if burst.len() > 1 {
            bursts.push((edge, burst[burst.len() - 1]));
        }
        all.extend(burst);
    }
    (all, bursts)
}
