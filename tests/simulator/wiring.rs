//! The machine before anything goes wrong: every line has a job, and its edges follow from the job.
//!
//! Times are nanoseconds as f64 on the machine's own clock; an instrument makes ticks of them later.

use edgewitness::demo::random::Random;

/// What a line is there for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Job {
    Clock,
    Counter,
    /// Latched at a clock's rise: a select, a direction, an enable.
    Select,
    Strobe,
    Handshake,
    /// A sensor that follows no clock.
    Eye,
    /// A panel switch: a few edges a capture.
    Switch,
    /// Driver outputs of one board, latched together.
    Drive,
    Unused,
}

/// One line as its driver drives it.
#[derive(Clone, Debug)]
pub struct Wire {
    pub name: String,
    pub job: Job,
    /// Level before the first edge: true is high.
    pub first: bool,
    /// Ascending, in ns; levels alternate.
    pub edges: Vec<f64>,
}

impl Wire {
    /// The driven level at `time`: an edge at `time` has happened.
    pub fn level_at(&self, time: f64) -> bool {
        let before = self.edges.partition_point(|&e| e <= time);
        self.first ^ !before.is_multiple_of(2)
    }

    /// Whether the driver makes no edge from `start` to `end`.
    pub fn rests(&self, start: f64, end: f64) -> bool {
        let at = self.edges.partition_point(|&e| e < start);
        self.edges.get(at).is_none_or(|&e| e > end)
    }

    /// Edges towards `high`, ascending.
    pub fn towards(&self, high: bool) -> impl Iterator<Item = f64> + '_ {
        let skip = usize::from(self.first == high);
        self.edges.iter().copied().skip(skip).step_by(2)
    }
}

/// One of the whole numbers below `n`, all alike (to within 2⁻⁶⁴ × n).
pub fn below(random: &mut Random, n: usize) -> usize {
    (random.draw() % n as u64) as usize
}

/// How a machine is built.
#[derive(Clone, Copy, Debug)]
pub struct Build {
    pub steps: usize,
    /// Mean clock period in ns.
    pub period: f64,
    /// Whether the step clock runs unevenly, as one that waits for somebody does.
    pub uneven: bool,
    pub selects: usize,
    pub strobes: usize,
    pub eyes: usize,
    pub handshake: bool,
    /// Driver outputs that are latched together.
    pub drives: usize,
    /// A second clock that knows nothing of the first, with a counter and a select of its own.
    pub second_clock: bool,
}

/// A machine at work, without faults.
#[derive(Clone, Debug)]
pub struct Machine {
    pub wires: Vec<Wire>,
    /// Rises of the step clock.
    pub steps: Vec<f64>,
    pub period: f64,
    pub end: f64,
}

const SELECTS: [&str; 5] = ["BELL_SEL", "DAMP_SEL", "CHORD_SEL", "PEAL_DIR", "MUTE_EN"];
const STROBES: [&str; 4] = ["STRIKE_STB", "LOAD_STB", "LATCH_STB", "ROLL_STB"];
const EYES: [&str; 4] = ["PEDAL_EYE", "WIND_EYE", "ROPE_EYE", "DRUM_EYE"];

impl Machine {
    pub fn build(random: &mut Random, build: &Build) -> Machine {
        let steps = clock_rises(random, build.steps, build.period, build.uneven);
        let end = steps[steps.len() - 1] + build.period;
        let mut machine = Machine {
            wires: Vec::new(),
            steps,
            period: build.period,
            end,
        };
        let bits = 2 + below(random, 3);
        machine.domain(random, "STEP", "TUNE_Q", bits);
        let names = |pool: &[&'static str], n: usize| pool[..n.min(pool.len())].to_vec();
        for name in names(&SELECTS, build.selects) {
            let steps = machine.steps.clone();
            let share = random.uniform(0.06, 0.4);
            machine.latched(random, name, Job::Select, &steps, share);
        }
        for name in names(&STROBES, build.strobes) {
            machine.strobe(random, name);
        }
        for name in names(&EYES, build.eyes) {
            machine.eye(random, name);
        }
        if build.handshake {
            machine.handshake(random);
        }
        if build.drives > 0 {
            machine.drives(random, build.drives);
        }
        if build.second_clock {
            machine.second_domain(random);
        }
        machine.switch(random);
        if random.chance(0.4) {
            machine.add("SPARE", Job::Unused, random.chance(0.5), Vec::new());
        }
        machine
    }

    pub fn add(&mut self, name: &str, job: Job, first: bool, edges: Vec<f64>) -> usize {
        debug_assert!(edges.windows(2).all(|p| p[0] < p[1]));
        self.wires.push(Wire {
            name: name.to_owned(),
            job,
            first,
            edges,
        });
        self.wires.len() - 1
    }

    /// A clock and the counter that it drives.
    fn domain(&mut self, random: &mut Random, clock: &str, counter: &str, bits: usize) {
        let high = random.uniform(0.3, 0.6);
        let steps = self.steps.clone();
        let mut edges = Vec::with_capacity(2 * steps.len());
        for (n, &rise) in steps.iter().enumerate() {
            let next = steps.get(n + 1).copied().unwrap_or(self.end);
            edges.extend([rise, rise + high * (next - rise).min(self.period * 1.2)]);
        }
        self.add(clock, Job::Clock, false, edges);
        for bit in 0..bits {
            let delay = random.uniform(8.0, 24.0);
            let every = steps.iter().skip((1 << bit) - 1).step_by(1 << bit);
            let edges = every.map(|t| t + random.normal(delay, 0.4)).collect();
            self.add(&format!("{counter}{bit}"), Job::Counter, false, edges);
        }
    }

    /// A line latched at `instants`: it changes at about `share` of them.
    pub fn latched(
        &mut self,
        random: &mut Random,
        name: &str,
        job: Job,
        instants: &[f64],
        share: f64,
    ) -> usize {
        let delay = random.uniform(14.0, 40.0);
        let changes: Vec<f64> = instants
            .iter()
            .copied()
            .filter(|_| random.chance(share))
            .collect();
        let edges = changes.iter().map(|t| t + random.normal(delay, 0.5)).collect();
        let first = random.chance(0.5);
        self.add(name, job, first, edges)
    }

    fn strobe(&mut self, random: &mut Random, name: &str) {
        let (delay, width) = (random.uniform(25.0, 90.0), random.uniform(90.0, 700.0));
        let after_fall = random.chance(0.3);
        let share = random.uniform(0.08, 0.4);
        let mut edges = Vec::new();
        let half = 0.5 * self.period;
        for &rise in &self.steps {
            if random.chance(share) {
                let start = rise + random.normal(delay, 0.6) + if after_fall { half } else { 0.0 };
                edges.extend([start, start + random.normal(width, 0.006 * width)]);
            }
        }
        let idle_high = random.chance(0.4);
        let edges = ascending(edges);
        self.add(name, Job::Strobe, idle_high, edges);
    }

    /// A sensor's line; returns its position.
    pub fn eye(&mut self, random: &mut Random, name: &str) -> usize {
        let mean = self.period * random.uniform(1.5, 12.0);
        let shortest = (0.25 * self.period).max(1_500.0);
        let mut at = random.exponential(mean);
        let mut edges = Vec::new();
        while at < self.end {
            edges.push(at);
            at += shortest + random.exponential(mean);
        }
        let first = random.chance(0.5);
        self.add(name, Job::Eye, first, edges)
    }

    fn handshake(&mut self, random: &mut Random) {
        let mean = self.period * random.uniform(2.0, 8.0);
        let slow = random.uniform(0.5, 1.0);
        let (mut request, mut answer) = (Vec::new(), Vec::new());
        let mut at = random.exponential(mean);
        while at < self.end - 4_000.0 {
            let heard = at + slow * (130.0 + random.exponential(60.0));
            let done = heard + slow * (random.uniform(120.0, 160.0) + random.exponential(90.0));
            let over = done + slow * random.uniform(140.0, 190.0);
            request.extend([at, done]);
            answer.extend([heard, over]);
            at = over + 2_500.0 + random.exponential(mean);
        }
        self.add("HAMMER_REQ", Job::Handshake, false, request);
        self.add("HAMMER_ACK", Job::Handshake, false, answer);
    }

    /// Driver outputs latched together: at each latch every one takes a new level by itself.
    fn drives(&mut self, random: &mut Random, count: usize) {
        let share = random.uniform(0.3, 0.5);
        let latches: Vec<f64> = self
            .steps
            .iter()
            .copied()
            .filter(|_| random.chance(share))
            .collect();
        for bit in 0..count {
            self.latched(random, &format!("DRIVE_{bit}"), Job::Drive, &latches, 0.45);
        }
    }

    fn second_domain(&mut self, random: &mut Random) {
        let period = self.period * random.uniform(0.37, 0.93);
        let count = ((self.end / period) as usize).clamp(8, 4_000);
        let (first_steps, first_period) = (self.steps.clone(), self.period);
        self.steps = clock_rises(random, count, period, false);
        self.steps.retain(|t| *t < self.end);
        self.period = period;
        self.domain(random, "ROLL_CLK", "ROLL_Q", 2);
        let steps = self.steps.clone();
        let share = random.uniform(0.08, 0.3);
        self.latched(random, "ROLL_SEL", Job::Select, &steps, share);
        let share = random.uniform(0.08, 0.3);
        self.latched(random, "ROLL_DIR", Job::Select, &steps, share);
        self.steps = first_steps;
        self.period = first_period;
    }

    fn switch(&mut self, random: &mut Random) {
        let count = 2 + below(random, 6);
        let edges: Vec<f64> = (0..count).map(|_| random.uniform(0.0, self.end)).collect();
        let edges = ascending(edges);
        let first = random.chance(0.5);
        self.add("PLAY_SW", Job::Switch, first, edges);
    }
}

fn clock_rises(random: &mut Random, count: usize, period: f64, uneven: bool) -> Vec<f64> {
    let mut at = random.uniform(0.2, 1.0) * period;
    let jitter = random.uniform(0.0, 0.004) * period;
    (0..count)
        .map(|_| {
            let step = if uneven {
                period * (0.5 + random.exponential(0.5).min(4.0))
            } else {
                random.normal(period, jitter)
            };
            at += step;
            at
        })
        .collect()
}

/// Sorted, and edges nearer than 60 ns to the one before left out together with their partner.
fn ascending(mut edges: Vec<f64>) -> Vec<f64> {
    edges.sort_unstable_by(f64::total_cmp);
    let mut kept: Vec<f64> = Vec::with_capacity(edges.len());
    for edge in edges {
        match kept.last() {
            Some(&last) if edge - last < 60.0 => {
                kept.pop();
            }
            _ => kept.push(edge),
        }
    }
    kept
}
