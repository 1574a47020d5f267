//! From the bench to the scene: the recording, what of the planted faults shows in it, and whether it is a fair
//! question.

use edgewitness::demo::random::Random;

use super::bench::Bench;
use super::instrument::{Shown, chance_shown, record};
use super::likeness::{GLITCH_NS, MISCOUNT_NS};
use super::physics::{self, Coupling, Mechanism};
use super::wiring::below;
use super::{Planted, Planting, Scene, TrueBurst, TrueStray, Truth};

/// Strays of one polarity that must show before it is demanded, and before it counts as planted at all.
const DEMANDED: usize = 6;
/// A captured suspect that explains the strays nearly as well as the guilty one (ln likelihood): drawn again.
const SEPARABLE: f64 = 14.0;
/// Strays each way that show a culprit to pull both ways.
const BOTH_WAYS: usize = 4;
/// Gain in ln likelihood at which a companion's steps speak for a culprit: as much as any key has to bring.
const SPEAKS: f64 = 10.0;
/// Pulses of its own that a victim has at least.
const OWN_PULSES: usize = 3;
/// Cost, in ln likelihood, of a stray that a suspect leaves unexplained.
const UNEXPLAINED: f64 = 8.0;
/// Strays at least where captured lines fit them alike.
const FEWEST_ALIKE: usize = 12;

impl Bench {
    /// Records the machine; `declared`: chance that the person declares a narrow limit. None when the fault does not
    /// show, or a captured line explains it as well as the guilty one.
    pub fn record(mut self, random: &mut Random, declared: f64) -> Option<Scene> {
        for coupling in &self.couplings {
            let strikes = physics::strikes(random, &self.machine, coupling);
            self.strikes.extend(strikes);
        }
        self.clock_by_victim();
        // Clips go on in no order that tells anything.
        let mut clipped: Vec<usize> = (0..self.machine.wires.len())
            .filter(|w| !self.hidden.contains(w))
            .collect();
        for i in (1..clipped.len()).rev() {
            clipped.swap(i, below(random, i + 1));
        }
        let recording = record(&self.machine, self.strikes.clone(), &clipped, &self.instrument);
        let position = |wire: usize| clipped.iter().position(|&c| c == wire);
        let mut truth = Truth::default();
        for coupling in self
            .couplings
            .iter()
            .filter(|c| !self.hidden.contains(&c.aggressor) && self.alike.is_none())
        {
            let planted = self.planted(coupling, &recording.shown, &position)?;
            if !self.is_separable(coupling, &planted, &clipped)
                || !self.stands_apart(coupling, &recording.shown, &position)
                || !self.has_own_pulses(coupling)
            {
                return None;
            }
            truth.couplings.push(planted);
        }
        truth.strays = recording.shown.iter().map(true_stray).collect();
        if let Some((victim, lines)) = &self.alike {
            let lines: Option<Vec<usize>> = lines.iter().map(|&l| position(l)).collect();
            truth.alike = Some((position(*victim)?, lines?));
            truth.strays.iter_mut().for_each(|stray| stray.causes.clear());
            truth
                .strays
                .extend(self.short_of_its_own(*victim, position(*victim)?, GLITCH_NS));
            if truth.strays.len() < FEWEST_ALIKE {
                return None;
            }
        }
        let clocked = self
            .machine
            .wires
            .iter()
            .position(|w| Some(w.name.as_str()) == self.clocked_by_victim.map(|c| c.0));
        if let Some(wire) = clocked {
            truth
                .strays
                .extend(self.short_of_its_own(wire, position(wire)?, MISCOUNT_NS));
        }
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
            if recording.shown.len() < self.fewest_shown || unexplained < 6 {
                return None;
            }
            if let Some(asked) = self.leaves_trace {
                if self.traces(&recording.shown, &clipped) != asked {
                    return None;
                }
                truth.untellable = !asked;
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
        let told = !truth.strays.is_empty() && random.chance(declared);
        let narrow_below = if told {
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
            let all: Vec<f64> = self.machine.wires[coupling.aggressor].towards(rise).collect();
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
                    let within = |times: &[f64], from: f64, to: f64| {
                        times
                            .get(times.partition_point(|&e| e < from))
                            .is_some_and(|&e| e < to)
                    };
                    let near = own
                        .iter()
                        .filter(|&&t| within(&edges, t - 100.0, t + 60.0))
                        .count();
                    // Where the culprit switches while the victim is not able, nothing speaks against the rival.
                    let mute =
                        |&&e: &&f64| within(&all, e - 60.0, e + 100.0) && !within(&own, e - 60.0, e + 100.0);
                    let count = edges.len() - edges.iter().filter(mute).count();
                    let share = near as f64 / own.len().max(1) as f64;
                    let hits = (planting.shown as f64 * share).round() as usize;
                    let left = (planting.shown - hits) as f64;
                    guilty - ln_bernoulli(hits, count) + UNEXPLAINED * left >= SEPARABLE
                })
        })
    }

    /// Whether enough of the strays come where no other planted coupling could have made them: of two aggressors that
    /// switch together nobody can tell the lesser.
    fn stands_apart(
        &self,
        coupling: &Coupling,
        shown: &[Shown],
        position: &impl Fn(usize) -> Option<usize>,
    ) -> bool {
        let others: Vec<&Coupling> = self
            .couplings
            .iter()
            .filter(|c| c.victim == coupling.victim && c.aggressor != coupling.aggressor)
            .collect();
        let own = position(coupling.aggressor);
        [true, false]
            .into_iter()
            .filter(|&rise| coupling.chance(rise) > 0.0)
            .all(|rise| {
                let mine = shown
                    .iter()
                    .filter(|s| s.causes.iter().any(|c| (Some(c.0), c.1) == (own, rise)));
                let alone = mine.filter(|s| {
                    let time = s.start as f64 * self.instrument.period + self.instrument.phase;
                    others.iter().all(|c| {
                        [true, false].into_iter().filter(|&r| c.chance(r) > 0.0).all(|r| {
                            let near = |t: f64| t > time - 150.0 && t < time + 20.0;
                            !self.machine.wires[c.aggressor].towards(r).any(near)
                        })
                    })
                });
                others.is_empty() || alone.count() >= DEMANDED
            })
    }

    /// Whether the victim has pulses of its own at the levels it is struck to: where every pulse of a level is short, that
    /// is its job for all that the record says; a bridge's long strays must not be most of a level's pulses.
    fn has_own_pulses(&self, coupling: &Coupling) -> bool {
        let own = self.machine.wires[coupling.victim].edges.len() / 2;
        let strikes = self
            .strikes
            .iter()
            .filter(|s| s.victim == coupling.victim)
            .count();
        own >= OWN_PULSES && (coupling.width.is_some() || strikes <= own)
    }

    /// Whether the record speaks against the step clock, which a culprit that it latches never switches without: strays
    /// both ways, or a captured companion at whose steps they are likelier.
    fn traces(&self, shown: &[Shown], clipped: &[usize]) -> bool {
        let high = shown.iter().filter(|s| s.high).count();
        if high.min(shown.len() - high) >= BOTH_WAYS {
            return true;
        }
        let Some(coupling) = self.couplings.first() else {
            return false;
        };
        let time = |s: &Shown| s.start as f64 * self.instrument.period + self.instrument.phase;
        let victim = &self.machine.wires[coupling.victim];
        let pulls_high = shown.first().is_some_and(|s| s.high);
        let able = |t: &&f64| victim.level_at(**t) != pulls_high && victim.rests(**t, **t + 150.0);
        let near = |edges: &[f64], from: f64, to: f64| {
            let at = edges.partition_point(|&e| e < from);
            edges.get(at).is_some_and(|&e| e < to)
        };
        let steps: Vec<f64> = self.machine.steps.iter().filter(able).copied().collect();
        clipped
            .iter()
            .filter(|&&w| self.machine.wires[w].name.starts_with("FOLLOW"))
            .any(|&wire| {
                let edges = &self.machine.wires[wire].edges;
                let with = steps
                    .iter()
                    .filter(|&&t| near(edges, t - 10.0, t + 100.0))
                    .count();
                let hits = shown
                    .iter()
                    .filter(|s| near(edges, time(s) - 120.0, time(s) + 20.0))
                    .count();
                let parted = ln_bernoulli(hits, with) + ln_bernoulli(shown.len() - hits, steps.len() - with);
                parted - ln_bernoulli(shown.len(), steps.len()) >= SPEAKS
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
        one_way => one_way,
    }
}

/// ln of the greatest likelihood of `hits` in `of` trials.
fn ln_bernoulli(hits: usize, of: usize) -> f64 {
    let (k, n) = (hits as f64, of.max(hits).max(1) as f64);
    let part = |x: f64| if x > 0.0 { x * (x / n).ln() } else { 0.0 };
    part(k) + part(n - k)
}
