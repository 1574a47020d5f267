//! Faults that look like another one: a captured copy of the culprit, a line that copies a hidden culprit only at times,
//! short answers that are a line's job, a gate's own glitch, a line that the victim clocks.

use edgewitness::demo::random::Random;

use super::TrueStray;
use super::bench::{Bench, Polarities};
use super::instrument::{merged, pulled};
use super::wiring::Job;

/// A copy whose edges come so much later than the strays can't have struck: the lag of a copy stays above this, in ns.
const EARLIEST_NS: f64 = 2.0;
/// A line that strays clock has short pulses too, up to this, in ns.
pub const MISCOUNT_NS: f64 = 2_000.0;
/// Longest pulse of a gate that is a glitch, in ns.
pub const GLITCH_NS: f64 = 60.0;

impl Bench {
    /// The culprit has a captured copy: a buffer's output or input, an inverter's, or the wire's other end.
    pub fn twin(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        self.couple_from(random, victim, Polarities::Any, (0.15, 0.8), |b, w| {
            let job = b.machine.wires[w].job;
            matches!(job, Job::Select | Job::Eye | Job::Strobe | Job::Counter)
        })?;
        let coupling = self.couplings.last_mut()?;
        let delay = random.uniform(4.0, 40.0);
        let before = random.chance(0.4);
        // Jitter that all strays share would make the copy's lags impossible now and then.
        if !before {
            coupling.lag = coupling.lag.max(delay + EARLIEST_NS + 3.0 * coupling.jitter);
        }
        let aggressor = coupling.aggressor;
        let shift = if before { -delay } else { delay };
        let source = &self.machine.wires[aggressor];
        let jitter = random.uniform(0.0, 0.4);
        let edges: Vec<f64> = source.edges.iter().map(|t| t + shift).collect();
        let edges = edges
            .into_iter()
            .map(|t| t + random.normal(0.0, jitter))
            .collect();
        let (job, first) = (source.job, source.first ^ random.chance(0.4));
        let twin = self.machine.add("FAR_END", job, first, edges);
        self.alike = Some((victim, vec![aggressor, twin]));
        Some(())
    }

    /// A strobe that will carry no clip, and a line that repeats some of its `pulses` a little later: the two wires, and how much
    /// later, in ns.
    pub fn add_gated(&mut self, random: &mut Random, pulses: &[(f64, f64)]) -> (usize, usize, f64) {
        let flat = |pulses: &[(f64, f64)]| pulses.iter().flat_map(|p| [p.0, p.1]).collect::<Vec<f64>>();
        let culprit = self.machine.add("LIFT_STB", Job::Strobe, false, flat(pulses));
        let kept = random.uniform(0.4, 0.8);
        let behind = random.uniform(6.0, 16.0);
        let copied: Vec<(f64, f64)> = pulses
            .iter()
            .filter(|_| random.chance(kept))
            .map(|p| (p.0 + behind, p.1 + behind))
            .collect();
        let copy = self.machine.add("FOLLOW_GATE", Job::Strobe, false, flat(&copied));
        (culprit, copy, behind)
    }

    /// The culprit carries no clip; a captured line repeats some of its pulses and rests at the others.
    pub fn gated_copy(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        let share = random.uniform(0.2, 0.5);
        let width = random.uniform(0.2, 0.6) * self.machine.period;
        let delay = random.uniform(10.0, 35.0);
        let mut pulses: Vec<(f64, f64)> = Vec::new();
        for step in self.machine.steps.clone() {
            if random.chance(share) {
                let start = step + random.normal(delay, 0.5);
                pulses.push((start, start + random.normal(width, 0.5)));
            }
        }
        pulses.dedup_by(|b, a| b.0 < a.1 + 200.0);
        let (culprit, _, behind) = self.add_gated(random, &pulses);
        let mut coupling = self.drawn(random, victim, culprit, Polarities::Any, (0.2, 0.8));
        coupling.lag = coupling.lag.max(behind + EARLIEST_NS + 3.0 * coupling.jitter);
        self.couplings.push(coupling);
        self.hidden.insert(culprit);
        self.uncaptured = Some(victim);
        self.leaves_trace = Some(true);
        Some(())
    }

    /// A line answers every request with a short pulse, and has long pulses for another job. Nothing is wrong.
    pub fn answers(&mut self, random: &mut Random) {
        let (mut request, mut answer) = (Vec::new(), Vec::new());
        let mean = self.machine.period * random.uniform(1.0, 4.0);
        let (lag, jitter) = (random.uniform(12.0, 70.0), random.uniform(0.5, 4.0));
        let (least, most) = (random.uniform(48.0, 60.0), random.uniform(62.0, 80.0));
        let long = random.uniform(0.1, 0.5);
        let held = random.uniform(400.0, 900.0);
        let mut at = random.exponential(mean);
        while at < self.machine.end - 40_000.0 {
            request.extend([at, at + random.normal(held, 5.0)]);
            let heard = at + random.normal(lag, jitter);
            answer.extend([heard, heard + random.uniform(least, most)]);
            at += 2_500.0 + random.exponential(mean);
            if random.chance(long) {
                let width = random.uniform(900.0, 20_000.0);
                answer.extend([at, at + width]);
                at += width + 2_500.0 + random.exponential(mean);
            }
        }
        let first = random.chance(0.5);
        self.machine.add("CRANK_REQ", Job::Handshake, first, request);
        let first = random.chance(0.3);
        self.machine.add("CRANK_ACK", Job::Handshake, first, answer);
    }

    /// A gate of two captured lines that now and then switch opposite ways at one step: it glitches meanwhile.
    pub fn hazard(&mut self, random: &mut Random) -> Option<()> {
        let steps = self.machine.steps.clone();
        let (first_share, second_share) = (random.uniform(0.25, 0.5), random.uniform(0.25, 0.5));
        let a = self
            .machine
            .latched(random, "GATE_A", Job::Unused, &steps, first_share);
        let b = self
            .machine
            .latched(random, "GATE_B", Job::Unused, &steps, second_share);
        // The latches' delays differ by the length of the glitch.
        let skew = random.uniform(12.0, 40.0);
        let mean = |w: usize| {
            let edges = &self.machine.wires[w].edges;
            let offsets = edges.iter().map(|&e| {
                let step = steps.partition_point(|&s| s <= e).checked_sub(1);
                step.map_or(0.0, |s| e - steps[s])
            });
            offsets.sum::<f64>() / edges.len().max(1) as f64
        };
        let shift = mean(a) + skew - mean(b);
        self.machine.wires[b].edges.iter_mut().for_each(|e| *e += shift);
        let (invert_a, invert_b) = (random.chance(0.5), random.chance(0.5));
        let is_or = random.chance(0.5);
        let gate = |t: f64, wires: &[super::wiring::Wire]| {
            let (x, y) = (wires[a].level_at(t) ^ invert_a, wires[b].level_at(t) ^ invert_b);
            if is_or { x || y } else { x && y }
        };
        let mut moments: Vec<f64> = [a, b]
            .iter()
            .flat_map(|&w| self.machine.wires[w].edges.clone())
            .collect();
        moments.sort_unstable_by(f64::total_cmp);
        let first = gate(-1.0, &self.machine.wires);
        let (mut level, mut edges) = (first, Vec::new());
        let delay = random.uniform(5.0, 15.0);
        for t in moments {
            let now = gate(t, &self.machine.wires);
            if now != level {
                edges.push(t + delay);
                level = now;
            }
        }
        edges.dedup_by(|b, a| *b <= *a);
        let victim = self.machine.add("GATE_OUT", Job::Unused, first, edges);
        self.widest = GLITCH_NS;
        self.alike = Some((victim, vec![a, b]));
        Some(())
    }

    /// The culprit is captured, and so is a counter's first bit that every rise of the victim clocks.
    pub fn reacting(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        self.couple(random, victim, Polarities::Any, (0.15, 0.75))?;
        self.clocked_by_victim = Some(("TALLY_Q0", random.uniform(8.0, 30.0)));
        Some(())
    }

    /// Adds the line that the victim clocks, strikes included.
    pub fn clock_by_victim(&mut self) {
        let (Some((name, delay)), Some(coupling)) = (self.clocked_by_victim, self.couplings.first()) else {
            return;
        };
        let strikes: Vec<_> = self
            .strikes
            .iter()
            .filter(|s| s.victim == coupling.victim)
            .cloned()
            .collect();
        let wire = &self.machine.wires[coupling.victim];
        let edges = pulled(wire, &merged(strikes));
        let rises = edges.iter().filter(|e| e.1).map(|e| e.0 + delay).collect();
        self.machine.add(name, Job::Counter, false, rises);
    }

    /// Pulses below `below` ns that the wire's own driver makes, as strays: where they are glitches nobody strikes.
    pub fn short_of_its_own(&self, wire: usize, line: usize, below: f64) -> Vec<TrueStray> {
        let of = &self.machine.wires[wire];
        let sample = |t: f64| ((t - self.instrument.phase) / self.instrument.period).ceil() as i64;
        let pulses = of.edges.windows(2).filter(|p| p[1] - p[0] < below);
        pulses
            .map(|p| TrueStray {
                line,
                start: sample(p[0]),
                end: sample(p[1]),
                high: of.level_at(0.5 * (p[0] + p[1])),
                causes: Vec::new(),
                // Whether they are called stray is for the widths to say.
                marginal: true,
            })
            .collect()
    }
}
