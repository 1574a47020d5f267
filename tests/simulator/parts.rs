//! Faults whose record shows a part only: a line without a probe of which captured lines are gated or halved copies, no
//! clock being captured, and a line so often struck at both levels that each level's strays cut the other's pulses.

use edgewitness::demo::random::Random;

use super::bench::{Bench, Polarities};
use super::wiring::{Job, below};

/// A copy whose edges come so much later than the strays can't have struck, in ns.
const EARLIEST_NS: f64 = 2.0;

impl Bench {
    /// The clock strikes at both levels of a line that has few pulses of its own, all of them long.
    pub fn both_levels(&mut self, random: &mut Random) -> Option<()> {
        let own = 10 + below(random, 50);
        let width = random.uniform(2_500.0, 12_000.0);
        let share = self.machine.end / (own as f64 + 1.0);
        let mut edges = Vec::new();
        for n in 0..own {
            let start = (n as f64 + random.uniform(0.1, 0.5)) * share;
            edges.extend([
                start,
                start + (width * random.uniform(0.98, 1.02)).min(0.45 * share),
            ]);
        }
        let first = random.chance(0.5);
        let victim = self.machine.add("HOLD_N", Job::Unused, first, edges);
        self.couple_from(random, victim, Polarities::Both, (0.25, 0.7), |b, w| {
            b.machine.wires[w].job == Job::Clock
        })
    }

    /// Clips on the victim, on `kept` and on lines that follow no clock; on nothing else.
    fn unclip_clocked(&mut self, victim: usize, kept: usize) {
        let follows_none = |job: Job| matches!(job, Job::Eye | Job::Switch | Job::Handshake | Job::Unused);
        let wires = self.machine.wires.iter().enumerate();
        let hidden = wires.filter(|(w, wire)| *w != victim && *w != kept && !follows_none(wire.job));
        self.hidden = hidden.map(|(w, _)| w).collect();
    }

    /// The culprit pulses at most steps and carries no clip; a captured line repeats some of its pulses. No clock is
    /// captured.
    pub fn gated_unclocked(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        let share = random.uniform(0.7, 1.0);
        let width = random.uniform(0.2, 0.45) * self.machine.period;
        let steps = self.machine.steps.clone();
        let mut pulses: Vec<(f64, f64)> = Vec::new();
        for step in steps {
            if random.chance(share) {
                let start = step + random.normal(20.0, 0.5);
                pulses.push((start, start + random.normal(width, 0.5)));
            }
        }
        let (culprit, copy, behind) = self.add_gated(random, &pulses);
        let mut coupling = self.drawn(random, victim, culprit, Polarities::One, (0.2, 0.8));
        coupling.lag = coupling.lag.max(behind + EARLIEST_NS + 3.0 * coupling.jitter);
        self.couplings.push(coupling);
        self.unclip_clocked(victim, copy);
        self.uncaptured = Some(victim);
        self.fewest_shown = 40;
        Some(())
    }

    /// The clock strikes by its rises and carries no clip; captured is the counter's first bit, which toggles at each of
    /// them.
    pub fn halved(&mut self, random: &mut Random) -> Option<()> {
        let victim = self.resting(random)?;
        let named = |name: &str| self.machine.wires.iter().position(|w| w.name == name);
        let (clock, bit) = (named("STEP")?, named("TUNE_Q0")?);
        let mut coupling = self.drawn(random, victim, clock, Polarities::One, (0.2, 0.8));
        coupling.rise = coupling.rise.max(coupling.fall);
        coupling.fall = 0.0;
        // The bit switches up to 24 ns after the clock.
        coupling.lag = coupling.lag.max(24.0 + EARLIEST_NS + 3.0 * coupling.jitter);
        self.couplings.push(coupling);
        self.unclip_clocked(victim, bit);
        self.uncaptured = Some(victim);
        self.fewest_shown = 70;
        Some(())
    }
}
