//! Which faults there are. Each draw builds a machine, plants a fault and records it; a draw whose fault does not
//! show (too few strays), or that a captured line explains as well as the guilty one, is drawn again.

use std::collections::BTreeSet;

use edgewitness::demo::random::Random;

use super::instrument::{Instrument, Shown, chance_shown, record};
use super::physics::{self, Coupling, Mechanism, SharedLead, Strike};
use super::wiring::{Build, Job, Machine};
use super::{Planted, Planting, Scene, TrueBurst, TrueStray, Truth};

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Family {
    Quiet,
    OneAggressor,
    OnePolarity,
    TwoAggressors,
    Confounded,
    Clocked,
    Coarse,
    Leak,
    LeakPlus,
    Rare,
    MixedWidths,
    NearWidths,
    Bounce,
    Bridge,
    Magnetic,
    TwoClocks,
    Uncaptured,
    UncapturedInStep,
    SharedLead,
}

impl Family {
    pub const ALL: [Family; 19] = [
        Family::Quiet,
        Family::OneAggressor,
        Family::OnePolarity,
        Family::TwoAggressors,
        Family::Confounded,
        Family::Clocked,
        Family::Coarse,
        Family::Leak,
        Family::LeakPlus,
        Family::Rare,
        Family::MixedWidths,
        Family::NearWidths,
        Family::Bounce,
        Family::Bridge,
        Family::Magnetic,
        Family::TwoClocks,
        Family::Uncaptured,
        Family::UncapturedInStep,
        Family::SharedLead,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Family::Quiet => "quiet",
            Family::OneAggressor => "one aggressor",
            Family::OnePolarity => "one polarity",
            Family::TwoAggressors => "two aggressors",
            Family::Confounded => "confounded companion",
            Family::Clocked => "clocked",
            Family::Coarse => "coarse sampling",
            Family::Leak => "leak",
            Family::LeakPlus => "leak and coupling",
            Family::Rare => "rare",
            Family::MixedWidths => "mixed widths",
            Family::NearWidths => "near widths",
            Family::Bounce => "bounce",
            Family::Bridge => "bridge",
            Family::Magnetic => "magnetic",
            Family::TwoClocks => "two clock domains",
            Family::Uncaptured => "uncaptured culprit",
            Family::UncapturedInStep => "uncaptured, in step",
            Family::SharedLead => "shared ground lead",
        }
    }
}

/// Strays of one polarity that must show before it is demanded, and before it counts as planted at all.
const DEMANDED: usize = 6;
/// A captured suspect that explains the strays nearly as well as the guilty one (ln likelihood): drawn again.
const SEPARABLE: f64 = 14.0;
/// Cost, in ln likelihood, of a stray that a suspect leaves unexplained.
const UNEXPLAINED: f64 = 8.0;
/// Draws before a family is said to be impossible.
const DRAWS: u64 = 400;

/// The capture of a family and seed.
///
/// # Panics
/// If no draw shows the fault.
pub fn scene(family: Family, seed: u64) -> Scene {
    for draw in 0..DRAWS {
        let salt = (family as u64) << 48 | seed << 12 | draw;
        let mut random = Random::new(salt.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        if let Some(mut scene) = attempt(&mut random, family) {
            scene.name = format!("{} {seed}", family.name());
            return scene;
        }
    }
    panic!("{} {seed}: no draw shows the fault", family.name());
}

fn attempt(random: &mut Random, family: Family) -> Option<Scene> {
    let mut bench = Bench::set_up(random, family);
    match family {
        Family::Quiet => {}
        Family::Leak => {
            for _ in 0..1 + random.draw() % 2 {
                let victim = bench.resting(random)?;
                bench.leak(random, victim, 8.0, 60.0);
            }
        }
        Family::OneAggressor | Family::Clocked | Family::Coarse | Family::Magnetic => {
            let victim = bench.resting(random)?;
            bench.couple(random, victim, Polarities::Both, (0.15, 0.75))?;
        }
        Family::OnePolarity => {
            let victim = bench.resting(random)?;
            bench.couple(random, victim, Polarities::One, (0.15, 0.75))?;
        }
        Family::TwoAggressors => {
            let victim = bench.resting(random)?;
            bench.couple(random, victim, Polarities::Any, (0.2, 0.75))?;
            bench.couple(random, victim, Polarities::Any, (0.2, 0.75))?;
        }
        Family::LeakPlus => {
            let victim = bench.resting(random)?;
            bench.couple(random, victim, Polarities::Any, (0.15, 0.6))?;
            bench.leak(random, victim, 8.0, 40.0);
        }
        Family::Rare => {
            let victim = bench.resting(random)?;
            bench.couple(random, victim, Polarities::One, (0.02, 0.12))?;
        }
        Family::TwoClocks => {
            // The fault crosses from one clock's lines to the other's.
            let victim = bench.resting(random)?;
            let from_roll = !bench.is_roll(victim);
            bench.couple_from(random, victim, Polarities::Any, (0.15, 0.75), |b, w| {
                b.is_roll(w) == from_roll
            })?;
        }
        Family::Confounded => bench.confounded(random)?,
        Family::MixedWidths => bench.strobed_victim(random, (60.0, 160.0), (10.0, 30.0))?,
        Family::NearWidths => bench.near_widths(random)?,
        Family::Bounce => bench.bounce(random),
        Family::Bridge => bench.bridge(random)?,
        Family::Uncaptured => bench.uncaptured(random, false)?,
        Family::UncapturedInStep => bench.uncaptured(random, true)?,
        Family::SharedLead => bench.shared_lead(random)?,
    }
    bench.record(random, family)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Polarities {
    One,
    Both,
    Any,
}

/// A machine on the bench, with its faults and the clips on it.
struct Bench {
    machine: Machine,
    couplings: Vec<Coupling>,
    strikes: Vec<Strike>,
    bursts: Vec<(usize, f64, f64)>,
    hidden: BTreeSet<usize>,
    uncaptured: Option<usize>,
    lead: Option<SharedLead>,
    instrument: Instrument,
    mechanism: Mechanism,
    /// Longest width of the strays planted by chance, for the person's declaration.
    widest: f64,
}

impl Bench {
    fn set_up(random: &mut Random, family: Family) -> Bench {
        let period = match family {
            Family::Coarse => random.uniform(25.0, 60.0),
            Family::NearWidths | Family::MixedWidths => [1.0, 1.0, 2.0, 4.0][(random.draw() % 4) as usize],
            _ => [1.0, 1.0, 2.0, 4.0, 5.0, 8.0, 10.0][(random.draw() % 7) as usize],
        };
        let clocked = family == Family::Clocked;
        let shared = family == Family::SharedLead;
        let steps = 500 + (random.draw() % 700) as usize;
        // A hand on a switch is slow, and the machine steps slowly enough to last as long.
        let slowest = if family == Family::Bounce {
            (300.0f64, 700.0f64)
        } else {
            (3.0, 30.0)
        };
        let step_us = random.uniform(slowest.0.ln(), slowest.1.ln()).exp();
        let build = Build {
            steps,
            period: step_us * 1_000.0,
            uneven: !clocked && random.chance(0.4),
            selects: 2 + (random.draw() % 4) as usize,
            strobes: 1 + (random.draw() % 3) as usize,
            eyes: if clocked {
                0
            } else {
                1 + (random.draw() % 3) as usize
            },
            handshake: family == Family::Bridge || !clocked && random.chance(0.4),
            drives: if shared {
                5 + (random.draw() % 4) as usize
            } else {
                0
            },
            second_clock: family == Family::TwoClocks,
        };
        let machine = Machine::build(random, &build);
        let phase = if period > 1.0 {
            random.uniform(0.0, period)
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
            lead: None,
            instrument: Instrument { period, phase },
            mechanism: if family == Family::Magnetic {
                Mechanism::Magnetic
            } else {
                Mechanism::Electric
            },
            widest: 0.0,
        }
    }

    fn is_roll(&self, wire: usize) -> bool {
        self.machine.wires[wire].name.starts_with("ROLL")
    }

    /// A line that rests most of the time: what strays are seen on.
    fn resting(&self, random: &mut Random) -> Option<usize> {
        let fits = |job: Job| matches!(job, Job::Select | Job::Eye | Job::Switch | Job::Handshake);
        self.pick(random, |b, w| fits(b.machine.wires[w].job))
    }

    fn pick(&self, random: &mut Random, fits: impl Fn(&Bench, usize) -> bool) -> Option<usize> {
        let fitting: Vec<usize> = (0..self.machine.wires.len()).filter(|&w| fits(self, w)).collect();
        (!fitting.is_empty()).then(|| fitting[(random.draw() % fitting.len() as u64) as usize])
    }

    fn couple(
        &mut self,
        random: &mut Random,
        victim: usize,
        which: Polarities,
        chance: (f64, f64),
    ) -> Option<()> {
        self.couple_from(random, victim, which, chance, |_, _| true)
    }

    fn couple_from(
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

    fn drawn(
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

    fn leak(&mut self, random: &mut Random, victim: usize, least: f64, most: f64) {
        let count = random.uniform(least, most) as usize;
        let narrow = random.uniform(10.0, 30.0).max(0.8 * self.instrument.period);
        let width = (narrow, narrow * random.uniform(1.5, 2.5));
        self.widest = self.widest.max(width.1);
        let strays = physics::leak(random, &self.machine, victim, count, width);
        self.strikes.extend(strays);
    }

    /// Lines that switch along with `with` at most of its edges, and at steps of their own.
    fn companions(&mut self, random: &mut Random, with: usize, along: (f64, f64)) {
        for name in ["FOLLOW_A", "FOLLOW_B"]
            .iter()
            .take(1 + (random.draw() % 2) as usize)
        {
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

    fn confounded(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        let fits = |job: Job| matches!(job, Job::Select | Job::Eye | Job::Counter | Job::Handshake);
        self.couple_from(random, victim, Polarities::Any, (0.15, 0.8), |b, w| {
            fits(b.machine.wires[w].job)
        })?;
        let aggressor = self.couplings[0].aggressor;
        self.companions(random, aggressor, (0.8, 1.0));
        Some(())
    }

    /// A victim with narrow pulses of its own, `own` wide, and strays of `width`.
    fn strobed_victim(&mut self, random: &mut Random, own: (f64, f64), width: (f64, f64)) -> Option<()> {
        let mean = random.uniform(own.0, own.1);
        let share = random.uniform(0.08, 0.3);
        let spread = random.uniform(0.01, 0.06);
        let delay = random.uniform(30.0, 80.0);
        let steps = self.machine.steps.clone();
        let mut edges = Vec::new();
        for &step in &steps {
            if random.chance(share) {
                let start = step + random.normal(delay, 0.6);
                edges.extend([start, start + random.normal(mean, spread * mean)]);
            }
        }
        let idle_high = random.chance(0.5);
        let victim = self.machine.add("COUNT_STB", Job::Strobe, idle_high, edges);
        self.couple(random, victim, Polarities::One, (0.15, 0.7))?;
        let coupling = self.couplings.last_mut()?;
        coupling.width = Some(width);
        // Strikes must go the way of the pulses, or there is no telling needed.
        let pulls = coupling.mechanism.pulls_high(coupling.rise > 0.0);
        if pulls == idle_high {
            std::mem::swap(&mut coupling.rise, &mut coupling.fall);
        }
        self.widest = width.1;
        Some(())
    }

    /// The victim's own pulses are 1.5 to 3 times as wide as its strays.
    fn near_widths(&mut self, random: &mut Random) -> Option<()> {
        let least = random.uniform(12.0, 30.0);
        let most = least * random.uniform(1.3, 1.7);
        let own = most * random.uniform(1.5, 3.0) * 1.1;
        self.strobed_victim(random, (own, own), (least, most))
    }

    fn bounce(&mut self, random: &mut Random) {
        let switch = self
            .machine
            .wires
            .iter()
            .position(|w| w.job == Job::Switch)
            .unwrap_or(0);
        let count = 3 + (random.draw() % 8) as usize;
        let share = self.machine.end / (count as f64 + 1.0);
        let edges: Vec<f64> = (1..=count)
            .map(|n| (n as f64 + random.uniform(-0.3, 0.3)) * share)
            .collect();
        let (bounced, bursts) = physics::bounce(random, &edges, self.machine.end);
        self.machine.wires[switch].edges = bounced;
        self.bursts = bursts
            .into_iter()
            .map(|(start, end)| (switch, start, end))
            .collect();
    }

    /// A solder bridge or a short: the victim follows whole pulses of another line, now and then.
    fn bridge(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        // Pulses of one width that a line repeats are its job as far as anybody can see: the handshake's vary.
        let source = self.pick(random, |b, w| {
            w != victim && b.machine.wires[w].job == Job::Handshake
        })?;
        let chance = random.uniform(0.2, 0.9);
        let idle_high = self.machine.wires[source].first;
        self.couplings.push(Coupling {
            victim,
            aggressor: source,
            mechanism: Mechanism::Electric,
            rise: if idle_high { 0.0 } else { chance },
            fall: if idle_high { chance } else { 0.0 },
            lag: random.uniform(1.0, 8.0),
            jitter: 0.4,
            width: None,
        });
        Some(())
    }

    /// The guilty line carries no clip; captured lines switch along with it at most of its edges.
    /// `in_step`: the culprit is latched by the step clock, which is captured, so no stray comes without that;
    /// else it follows no clock.
    fn uncaptured(&mut self, random: &mut Random, in_step: bool) -> Option<()> {
        let victim = self.resting(random)?;
        let culprit = if in_step {
            let steps = self.machine.steps.clone();
            let share = random.uniform(0.15, 0.5);
            self.machine
                .latched(random, "LIFT_EN", Job::Select, &steps, share)
        } else {
            self.machine.eye(random, "LIFT_EYE")
        };
        let coupling = self.drawn(random, victim, culprit, Polarities::Any, (0.2, 0.8));
        self.couplings.push(coupling);
        if random.chance(0.8) {
            self.companions(random, culprit, (0.45, 0.85));
        }
        self.hidden.insert(culprit);
        self.uncaptured = Some(victim);
        Some(())
    }

    fn shared_lead(&mut self, random: &mut Random) -> Option<()> {
        let of = |job: Job| -> Vec<usize> {
            let wires = self.machine.wires.iter().enumerate();
            wires.filter(|(_, w)| w.job == job).map(|(i, _)| i).collect()
        };
        let lines = of(Job::Drive);
        let mut victims = of(Job::Select);
        victims.extend(of(Job::Eye));
        while victims.len() > 2 + (random.draw() % 2) as usize {
            victims.remove((random.draw() % victims.len() as u64) as usize);
        }
        let least = random.uniform(12.0, 35.0).max(self.instrument.period);
        let lead = SharedLead {
            least: (lines.len() / 3).max(1),
            slope: random.uniform(0.15, 0.3),
            shown: random.uniform(0.6, 0.95),
            // After the last of the outputs has switched.
            lag: random.uniform(30.0, 60.0),
            width: (least, least * 1.8),
            lines,
            victims,
        };
        self.widest = lead.width.1;
        self.strikes
            .extend(physics::lead_strikes(random, &self.machine, &lead));
        self.lead = Some(lead);
        Some(())
    }

    fn record(mut self, random: &mut Random, family: Family) -> Option<Scene> {
        for coupling in &self.couplings {
            let strikes = physics::strikes(random, &self.machine, coupling);
            self.strikes.extend(strikes);
        }
        // Clips go on in no order that tells anything.
        let mut clipped: Vec<usize> = (0..self.machine.wires.len())
            .filter(|w| !self.hidden.contains(w))
            .collect();
        for i in (1..clipped.len()).rev() {
            clipped.swap(i, (random.draw() % (i as u64 + 1)) as usize);
        }
        let recording = record(
            &self.machine,
            std::mem::take(&mut self.strikes),
            &clipped,
            &self.instrument,
        );
        let position = |wire: usize| clipped.iter().position(|&c| c == wire);
        let mut truth = Truth::default();
        for coupling in self
            .couplings
            .iter()
            .filter(|c| !self.hidden.contains(&c.aggressor))
        {
            let planted = self.planted(coupling, &recording.shown, &position)?;
            if !self.is_separable(coupling, &planted, &clipped) {
                return None;
            }
            truth.couplings.push(planted);
        }
        truth.strays = recording.shown.iter().map(true_stray).collect();
        let sample = |t: f64| ((t - self.instrument.phase) / self.instrument.period).ceil() as i64;
        let bursts = self.bursts.iter().filter_map(|&(wire, start, end)| {
            Some(TrueBurst {
                line: position(wire)?,
                start: sample(start),
                end: sample(end),
            })
        });
        truth.bursts = bursts.collect();
        if let Some(victim) = self.uncaptured {
            truth.uncaptured = position(victim);
            let unexplained = self.left_by_every_companion(&recording.shown, &clipped);
            if recording.shown.len() < 12 || unexplained < 6 {
                return None;
            }
        }
        if let Some(lead) = &self.lead {
            let captured =
                |wires: &[usize]| wires.iter().filter_map(|&w| position(w)).collect::<Vec<usize>>();
            truth.shared = Some((captured(&lead.victims), captured(&lead.lines)));
            if recording.shown.len() < 15 {
                return None;
            }
        }
        let told = !truth.strays.is_empty() && random.chance(0.3);
        let narrow_below = if told && family != Family::Bridge {
            let limit = (1.25 * self.widest / self.instrument.period).ceil() + 1.0;
            Some((truth.strays[0].line, limit))
        } else {
            None
        };
        Some(Scene {
            name: String::new(),
            capture: recording.capture,
            narrow_below,
            truth,
        })
    }

    fn planted(
        &self,
        coupling: &Coupling,
        shown: &[Shown],
        position: &impl Fn(usize) -> Option<usize>,
    ) -> Option<Planted> {
        let (victim, aggressor) = (position(coupling.victim)?, position(coupling.aggressor)?);
        let planting = |rise: bool| {
            let seen = coupling
                .width
                .map_or(1.0, |(a, b)| chance_shown(a, b, self.instrument.period));
            let shown = shown
                .iter()
                .filter(|s| s.line == victim && s.causes.contains(&(aggressor, rise)))
                .count();
            Planting {
                chance_shown: coupling.chance(rise) * seen,
                opportunities: physics::opportunities(&self.machine, coupling, rise).len(),
                shown,
                demanded: shown >= DEMANDED,
            }
        };
        let planted = Planted {
            victim,
            aggressor,
            rise: planting(true),
            fall: planting(false),
        };
        // A polarity that strikes must show enough: what few strays leave open is no test of anybody.
        let settled = |p: &Planting| p.chance_shown == 0.0 || p.demanded;
        let some = planted.rise.demanded || planted.fall.demanded;
        (some && settled(&planted.rise) && settled(&planted.fall)).then_some(planted)
    }

    /// Whether no captured suspect explains the planted strays about as well as the guilty line.
    fn is_separable(&self, coupling: &Coupling, planted: &Planted, clipped: &[usize]) -> bool {
        [true, false].into_iter().all(|rise| {
            let planting = if rise { planted.rise } else { planted.fall };
            if planting.shown == 0 {
                return true;
            }
            let own = physics::opportunities(&self.machine, coupling, rise);
            let guilty = ln_bernoulli(planting.shown, own.len());
            let rivals = clipped
                .iter()
                .filter(|&&w| w != coupling.victim && w != coupling.aggressor);
            rivals
                .flat_map(|&w| [(w, true), (w, false)])
                .all(|(line, polarity)| {
                    let rival = Coupling {
                        aggressor: line,
                        mechanism: if polarity == rise {
                            coupling.mechanism
                        } else {
                            opposite(coupling.mechanism)
                        },
                        ..*coupling
                    };
                    let edges = physics::opportunities(&self.machine, &rival, polarity);
                    let near = own
                        .iter()
                        .filter(|&&t| {
                            let at = edges.partition_point(|&e| e < t - 100.0);
                            edges.get(at).is_some_and(|&e| e < t + 60.0)
                        })
                        .count();
                    let share = near as f64 / own.len().max(1) as f64;
                    let hits = (planting.shown as f64 * share).round() as usize;
                    let left = (planting.shown - hits) as f64;
                    guilty - ln_bernoulli(hits, edges.len()) + UNEXPLAINED * left >= SEPARABLE
                })
        })
    }

    /// Strays at which no one of the culprit's captured companions switched, for the companion that leaves fewest.
    fn left_by_every_companion(&self, shown: &[Shown], clipped: &[usize]) -> usize {
        let left_by = |wire: usize| {
            let edges = &self.machine.wires[wire].edges;
            let near = |s: &&Shown| {
                let time = s.start as f64 * self.instrument.period + self.instrument.phase;
                let at = edges.partition_point(|&e| e < time - 200.0);
                !edges.get(at).is_some_and(|&e| e < time + 20.0)
            };
            shown.iter().filter(near).count()
        };
        // The step clock and what follows it at every step goes with everything: it is cleared by its clean edges.
        let follows = |w: &&usize| self.machine.wires[**w].name.starts_with("FOLLOW");
        clipped
            .iter()
            .filter(follows)
            .map(|&w| left_by(w))
            .min()
            .unwrap_or(usize::MAX)
    }
}

fn true_stray(shown: &Shown) -> TrueStray {
    let mut causes: Vec<usize> = shown
        .causes
        .iter()
        .map(|c| c.0)
        .filter(|&c| c != usize::MAX)
        .collect();
    causes.dedup();
    TrueStray {
        line: shown.line,
        start: shown.start,
        end: shown.end,
        high: shown.high,
        causes,
        marginal: shown.marginal,
    }
}

fn opposite(mechanism: Mechanism) -> Mechanism {
    match mechanism {
        Mechanism::Electric => Mechanism::Magnetic,
        Mechanism::Magnetic => Mechanism::Electric,
    }
}

/// ln of the greatest likelihood of `hits` in `of` trials.
fn ln_bernoulli(hits: usize, of: usize) -> f64 {
    let (k, n) = (hits as f64, of.max(hits).max(1) as f64);
    let part = |x: f64| if x > 0.0 { x * (x / n).ln() } else { 0.0 };
    part(k) + part(n - k)
}
