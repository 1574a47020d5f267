//! Which faults there are. Each draw builds a machine, plants a fault and records it; a draw whose fault does not
//! show (too few strays), or that a captured line explains as well as the guilty one, is drawn again.

use edgewitness::demo::random::Random;

use super::Scene;
use super::bench::{Bench, Polarities};
use super::physics::{self, Coupling, Mechanism, SharedLead};
use super::wiring::{Build, Job, below};

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
    Twin,
    GatedCopy,
    Answers,
    BothEdges,
    Hazard,
    Reacting,
    UncapturedUnseen,
    BothLevels,
    GatedUnclocked,
    Halved,
    BridgeStated,
}

impl Family {
    /// A culprit without a clip of which nothing in the record speaks: it strikes one way only, and no captured line
    /// goes along with it often enough. The step clock, which goes with everything, fits as well as it. Nobody can be
    /// right about these but by saying that a line without a clip would look the same.
    pub const UNTELLABLE: Family = Family::UncapturedUnseen;
    /// Families whose truth the record can tell.
    pub const ALL: [Family; 29] = [
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
        Family::BridgeStated,
        Family::Magnetic,
        Family::TwoClocks,
        Family::Uncaptured,
        Family::UncapturedInStep,
        Family::SharedLead,
        Family::Twin,
        Family::GatedCopy,
        Family::Answers,
        Family::BothEdges,
        Family::Hazard,
        Family::Reacting,
        Family::BothLevels,
        Family::GatedUnclocked,
        Family::Halved,
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
            Family::BridgeStated => "bridge, limit stated",
            Family::Magnetic => "magnetic",
            Family::TwoClocks => "two clock domains",
            Family::Uncaptured => "uncaptured culprit",
            Family::UncapturedInStep => "uncaptured, in step",
            Family::SharedLead => "shared ground lead",
            Family::Twin => "captured twin",
            Family::GatedCopy => "gated copy of culprit",
            Family::Answers => "short answers",
            Family::BothEdges => "both edges, one way",
            Family::Hazard => "gate's hazard",
            Family::Reacting => "clocked by the victim",
            Family::UncapturedUnseen => "uncaptured, no trace",
            Family::BothLevels => "both levels, often",
            Family::GatedUnclocked => "gated, no clock",
            Family::Halved => "halved, no clock",
        }
    }
}

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
    let (build, sampling) = (build_of(random, family), sampling_of(random, family));
    let mechanism = match family {
        Family::Magnetic => Mechanism::Magnetic,
        Family::BothEdges if random.chance(0.5) => Mechanism::Lifts,
        Family::BothEdges => Mechanism::Dips,
        _ => Mechanism::Electric,
    };
    let mut bench = Bench::set_up(random, &build, sampling, mechanism);
    match family {
        Family::Quiet => {}
        Family::Leak => {
            for _ in 0..1 + below(random, 2) {
                let victim = bench.resting(random)?;
                bench.leak(random, victim, 8.0, 60.0);
            }
        }
        Family::OneAggressor | Family::Clocked | Family::Coarse | Family::Magnetic => {
            let victim = bench.resting(random)?;
            bench.couple(random, victim, Polarities::Both, (0.15, 0.75))?;
        }
        Family::BothEdges => {
            // Both edges of a counter's bit are one edge of the bit before it.
            let victim = bench.resting(random)?;
            bench.couple_from(random, victim, Polarities::Both, (0.15, 0.75), |b, w| {
                b.machine.wires[w].job != Job::Counter
            })?;
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
        Family::Bridge | Family::BridgeStated => bench.bridge(random)?,
        Family::Uncaptured => bench.uncaptured(random, false)?,
        Family::UncapturedInStep | Family::UncapturedUnseen => {
            bench.uncaptured(random, true)?;
            bench.leaves_trace = Some(family == Family::UncapturedInStep);
        }
        Family::SharedLead => bench.shared_lead(random)?,
        Family::Twin => bench.twin(random)?,
        Family::GatedCopy => bench.gated_copy(random)?,
        Family::Answers => bench.answers(random),
        Family::Hazard => bench.hazard(random)?,
        Family::Reacting => bench.reacting(random)?,
        Family::BothLevels => bench.both_levels(random)?,
        Family::GatedUnclocked => bench.gated_unclocked(random)?,
        Family::Halved => bench.halved(random)?,
    }
    let declared = match family {
        Family::Bridge => 0.0,
        // Who did it is asked here, not what is narrow; whether a gate's pulses are is for the person to say.
        Family::Twin | Family::Hazard | Family::GatedUnclocked | Family::Halved => 1.0,
        // That such pulses are strays the person knows; without it a gate looks the same.
        Family::BridgeStated => 1.0,
        // What is narrow is the question.
        Family::BothLevels => 0.0,
        _ => DECLARED,
    };
    bench.record(random, declared)
}

/// Share of the captures with strays for which the person declares a narrow limit.
const DECLARED: f64 = 0.3;

fn sampling_of(random: &mut Random, family: Family) -> f64 {
    match family {
        Family::Coarse => random.uniform(25.0, 60.0),
        Family::NearWidths | Family::MixedWidths => [1.0, 1.0, 2.0, 4.0][below(random, 4)],
        _ => [1.0, 1.0, 2.0, 4.0, 5.0, 8.0, 10.0][below(random, 7)],
    }
}

fn build_of(random: &mut Random, family: Family) -> Build {
    // A hand on a switch is slow, and the machine steps slowly enough to last as long.
    let (fastest, slowest) = if family == Family::Bounce {
        (3e5f64, 7e5f64)
    } else {
        (3e3, 3e4)
    };
    let clocked = family == Family::Clocked;
    Build {
        steps: 500 + below(random, 700),
        period: random.uniform(fastest.ln(), slowest.ln()).exp(),
        uneven: !clocked && family != Family::Halved && random.chance(0.4),
        selects: 2 + below(random, 4),
        strobes: 1 + below(random, 3),
        eyes: if clocked { 0 } else { 1 + below(random, 3) },
        handshake: matches!(family, Family::Bridge | Family::BridgeStated) || !clocked && random.chance(0.4),
        drives: if family == Family::SharedLead {
            5 + below(random, 4)
        } else {
            0
        },
        second_clock: family == Family::TwoClocks,
    }
}

/// A small capture in which nothing is coupled: quiet, or (odd seeds) with strays that come from nowhere; with or
/// without a pair of lines that shake hands.
pub fn uncoupled(seed: u64, handshake: bool) -> Scene {
    let mut random = Random::new(seed.wrapping_mul(0xD134_2543_DE82_EF95));
    let build = Build {
        handshake,
        ..small(&mut random)
    };
    let sampling = sampling_of(&mut random, Family::Quiet);
    let mut bench = Bench::set_up(&mut random, &build, sampling, Mechanism::Electric);
    if seed % 2 == 1
        && let Some(victim) = bench.resting(&mut random)
    {
        bench.leak(&mut random, victim, 4.0, 40.0);
    }
    let mut scene = bench
        .record(&mut random, 0.5)
        .expect("nothing planted that might not show");
    scene.name = format!("uncoupled {seed}");
    scene
}

/// A small capture in which a line rises about twenty times while its victim can show a stray, and strikes at half of
/// these. The person has declared the narrow limit: this asks for the power of attribution alone.
pub fn twenty_opportunities(seed: u64) -> Scene {
    for draw in 0..DRAWS {
        let mut random = Random::new((seed << 16 | draw).wrapping_mul(0xAF25_1AF3_B0F0_25B5));
        let build = small(&mut random);
        let sampling = sampling_of(&mut random, Family::Quiet);
        let mut bench = Bench::set_up(&mut random, &build, sampling, Mechanism::Electric);
        let steps = bench.machine.steps.clone();
        let share = 80.0 / steps.len() as f64;
        let Some(victim) = bench.resting(&mut random) else {
            continue;
        };
        let aggressor = bench
            .machine
            .latched(&mut random, "LIFT_EN", Job::Select, &steps, share);
        let mut coupling = bench.drawn(&mut random, victim, aggressor, Polarities::Both, (0.5, 0.5));
        coupling.fall = 0.0;
        if physics::opportunities(&bench.machine, &coupling, true).len() != 20 {
            continue;
        }
        bench.couplings.push(coupling);
        if let Some(mut scene) = bench.record(&mut random, 1.0) {
            scene.name = format!("twenty opportunities {seed}");
            return scene;
        }
    }
    panic!("seed {seed}: no draw has twenty opportunities")
}

fn small(random: &mut Random) -> Build {
    Build {
        steps: 150 + below(random, 150),
        period: random.uniform(3e3f64.ln(), 3e4f64.ln()).exp(),
        uneven: random.chance(0.4),
        selects: 2 + below(random, 3),
        strobes: 1 + below(random, 2),
        eyes: 1 + below(random, 2),
        handshake: random.chance(0.25),
        drives: 0,
        second_clock: random.chance(0.2),
    }
}

impl Bench {
    fn confounded(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        // A line that goes along with a handshake's short pulses looks like a bridge to it.
        let fits = |job: Job| matches!(job, Job::Select | Job::Eye | Job::Counter);
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
        let count = 3 + below(random, 8);
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
        let source_wire = &self.machine.wires[source];
        let idle_high = source_wire.first;
        let pulses = source_wire.edges.chunks_exact(2).map(|pulse| pulse[1] - pulse[0]);
        self.widest = pulses.fold(0.0, f64::max);
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
        while victims.len() > 2 + below(random, 2) {
            victims.remove(below(random, victims.len()));
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
}
