//! A machine on the bench: built, faults planted on it one by one, clips put on ([`super::planted`] records it).

use std::collections::BTreeSet;

use edgewitness::demo::random::Random;

use super::instrument::Instrument;
use super::physics::{self, Coupling, Mechanism, SharedLead, Strike};
use super::wiring::{Build, Job, Machine, below};

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Polarities {
    One,
    Both,
    Any,
}

/// A machine on the bench, with its faults and the clips on it.
pub struct Bench {
    pub machine: Machine,
    pub couplings: Vec<Coupling>,
    pub strikes: Vec<Strike>,
    pub bursts: Vec<(usize, f64, f64)>,
    pub hidden: BTreeSet<usize>,
    pub uncaptured: Option<usize>,
    /// Strays at least of a culprit without a clip: fewer leave it open what it is.
    pub fewest_shown: usize,
    /// Whether the record must, or must not, hold something that speaks for a culprit without a clip.
    pub leaves_trace: Option<bool>,
    pub lead: Option<SharedLead>,
    /// A victim, and captured lines that its strays fit alike.
    pub alike: Option<(usize, Vec<usize>)>,
    /// A line that the victim clocks: its name, and how long after the victim's rises it switches, in ns.
    pub clocked_by_victim: Option<(&'static str, f64)>,
    pub instrument: Instrument,
    pub mechanism: Mechanism,
    /// Longest width of the strays planted by chance, for the person's declaration.
    pub widest: f64,
}

impl Bench {
    /// A machine without faults, and an instrument that samples it every `sampling` ns (1: edges as exact as the
    /// tick).
    pub fn set_up(random: &mut Random, build: &Build, sampling: f64, mechanism: Mechanism) -> Bench {
        let machine = Machine::build(random, build);
        let phase = if sampling > 1.0 {
            random.uniform(0.0, sampling)
        } else {
            0.0
        };
        Bench {
            machine,
            couplings: Vec::new(),
            strikes: Vec::new(),
            bursts: Vec::new(),
            hidden: BTreeSet::new(),
            uncaptured: None,
            leaves_trace: None,
            fewest_shown: 12,
            lead: None,
            alike: None,
            clocked_by_victim: None,
            instrument: Instrument {
                period: sampling,
                phase,
            },
            mechanism,
            widest: 0.0,
        }
    }

    pub fn is_roll(&self, wire: usize) -> bool {
        self.machine.wires[wire].name.starts_with("ROLL")
    }

    /// A line that rests most of the time: what strays are seen on.
    pub fn resting(&self, random: &mut Random) -> Option<usize> {
        let fits = |job: Job| matches!(job, Job::Select | Job::Eye | Job::Switch | Job::Handshake);
        self.pick(random, |b, w| fits(b.machine.wires[w].job))
    }

    pub fn pick(&self, random: &mut Random, fits: impl Fn(&Bench, usize) -> bool) -> Option<usize> {
        let fitting: Vec<usize> = (0..self.machine.wires.len()).filter(|&w| fits(self, w)).collect();
        (!fitting.is_empty()).then(|| fitting[below(random, fitting.len())])
    }

    pub fn couple(
        &mut self,
        random: &mut Random,
        victim: usize,
        which: Polarities,
        chance: (f64, f64),
    ) -> Option<()> {
        self.couple_from(random, victim, which, chance, |_, _| true)
    }

    pub fn couple_from(
        &mut self,
        random: &mut Random,
        victim: usize,
        which: Polarities,
        chance: (f64, f64),
        from: impl Fn(&Bench, usize) -> bool,
    ) -> Option<()> {
        let taken: Vec<usize> = self.couplings.iter().map(|c| c.aggressor).collect();
        let aggressor = self.pick(random, |b, w| {
            let wire = &b.machine.wires[w];
            w != victim && !taken.contains(&w) && wire.edges.len() >= 40 && from(b, w)
        })?;
        let coupling = self.drawn(random, victim, aggressor, which, chance);
        self.couplings.push(coupling);
        Some(())
    }

    pub fn drawn(
        &mut self,
        random: &mut Random,
        victim: usize,
        aggressor: usize,
        which: Polarities,
        chance: (f64, f64),
    ) -> Coupling {
        let (mut rise, mut fall) = (
            random.uniform(chance.0, chance.1),
            random.uniform(chance.0, chance.1),
        );
        let one = which == Polarities::One || which == Polarities::Any && random.chance(0.5);
        if one {
            if random.chance(0.5) {
                rise = 0.0;
            } else {
                fall = 0.0;
            }
        }
        let least = random.uniform(10.0, 40.0).max(0.45 * self.instrument.period);
        let most = least * random.uniform(1.5, 2.2);
        self.widest = self.widest.max(most);
        Coupling {
            victim,
            aggressor,
            mechanism: self.mechanism,
            rise,
            fall,
            lag: random.uniform(2.0, 45.0),
            jitter: random.uniform(0.4, 3.0),
            width: Some((least, most)),
        }
    }

    pub fn leak(&mut self, random: &mut Random, victim: usize, least: f64, most: f64) {
        let count = random.uniform(least, most) as usize;
        let narrow = random.uniform(10.0, 30.0).max(0.8 * self.instrument.period);
        let width = (narrow, narrow * random.uniform(1.5, 2.5));
        self.widest = self.widest.max(width.1);
        let strays = physics::leak(random, &self.machine, victim, count, width);
        self.strikes.extend(strays);
    }

    /// Lines that switch along with `with` at most of its edges, and at steps of their own.
    pub fn companions(&mut self, random: &mut Random, with: usize, along: (f64, f64)) {
        for name in ["FOLLOW_A", "FOLLOW_B"].iter().take(1 + below(random, 2)) {
            let share = random.uniform(along.0, along.1);
            let own = random.uniform(0.3, 1.5);
            let delay = random.uniform(-8.0, 15.0);
            let edges = self.machine.wires[with].edges.clone();
            let mut instants: Vec<f64> = Vec::new();
            for edge in &edges {
                if random.chance(share) {
                    instants.push(edge + random.normal(delay, 0.5));
                }
            }
            let extra = own * edges.len() as f64 / self.machine.steps.len() as f64;
            let steps: Vec<f64> = self.machine.steps.clone();
            instants.extend(steps.iter().filter(|_| random.chance(extra)).map(|t| t + 30.0));
            instants.sort_unstable_by(f64::total_cmp);
            instants.dedup_by(|a, b| *a - *b < 200.0);
            let first = random.chance(0.5);
            self.machine.add(name, Job::Select, first, instants);
        }
    }
}
