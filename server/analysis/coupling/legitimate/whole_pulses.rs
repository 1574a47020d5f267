//! Pulses that another line's whole pulses bring: a gate lets them through, or the two lines touch.
//!
//! Two lines that touch now and then share a pulse from its first edge to its last. Such a stray is as long as the other
//! line's pulse, so the victim's widths alone don't tell it: it may be longer than any induced pulse, and repeat as the
//! other line's job repeats. Both its edges tell. A gate with an enable makes just such pulses, and where the enable is not
//! captured, or is a function of several lines, nothing in the record tells the two apart. So nobody is accused: that they
//! follow is said, with what would settle it. Where the level of a captured line or the order in which they come shows what
//! lets them through, nothing is said.
//!
//! Tried and dropped: to accuse the other line where neither shows. On simulated machines in health that gate a strobe by
//! random data every one was accused.

use super::crowds::{Crowd, Unsure};
use crate::analysis::coupling::{EARLIEST_LAG_S, Edge, LONGEST_LAG_S};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::normal::normal_quantile;
use crate::analysis::stats::order::middle;
use crate::analysis::stats::runs::runs;
use crate::analysis::strays::{LimitOrigin, StrayOptions, Strays};
use crate::model::{Capture, Level, Line, Pulse};

/// Pulses of a crowd are no longer than this.
const LONGEST_S: f64 = 2e-6;
/// Fewer pulses that follow show nothing; nor do fewer of the line's own.
const FEWEST: usize = 6;
const FEWEST_OWN: usize = 5;
/// The line's own pulses are longer by this factor at least.
const APART: f64 = 1.3;
/// Share of the crowd that follows one line with both edges.
const MOST: f64 = 0.9;
/// Both edges come at one distance within this, besides what sampling does.
const STEADY_S: f64 = 5e-9;
/// What follows as often as this may be meant to.
const EVERY: f64 = 0.95;
/// Share of the line's own pulses that may begin with the other line's.
const OWN: f64 = 0.5;
/// Chance at which a line's level, all lines allowed for, or the order of what follows shows an enable.
const CHANCE: f64 = 0.01;

/// Crowds of pulses that follow another line's whole pulses. Lines for which the person gave a limit, and levels whose
/// limit takes the crowd in, are left alone. Cost: linear in the edges of the lines; crowd × log of the edges × lines where
/// there is a crowd.
pub fn find(capture: &Capture, strays: &Strays, options: &StrayOptions) -> Vec<Unsure> {
    let is_open = |&line: &usize| {
        capture.lines[line].same_as.is_none()
            && strays.limits[line].origin != LimitOrigin::Setup
            && !options.taken_over.contains_key(&line)
            && !strays.bursts.iter().any(|b| b.line == line)
    };
    let of_line = |line: usize| [Level::Low, Level::High].map(|level| of_level(capture, strays, line, level));
    let lines = (0..capture.lines.len()).filter(is_open);
    lines.flat_map(of_line).flatten().collect()
}

fn of_level(capture: &Capture, strays: &Strays, line: usize, level: Level) -> Option<Unsure> {
    let longest = capture.timebase.ticks_of(LONGEST_S);
    let of_level = || capture.lines[line].pulses().filter(move |p| p.level == level);
    let (last, next) = crowd_end(of_level().map(|p| p.width().0), longest)?;
    if strays.limits[line].of(level).is_some_and(|limit| last < limit) {
        return None;
    }
    let crowd: Vec<Pulse> = of_level().filter(|p| p.width().0 as f64 <= last).collect();
    let others = (0..capture.lines.len()).filter(|&o| o != line && capture.lines[o].same_as.is_none());
    let sampling = |other: usize| strays.sampling[line].max(strays.sampling[other]);
    let mut followed = others.filter_map(|other| {
        Some((
            other,
            bridged(capture, [line, other], level, &crowd, sampling(other))?,
        ))
    });
    let (to, (brought, of)) = followed.next()?;
    let mut widths: Vec<i64> = crowd.iter().map(|p| p.width().0).collect();
    widths.sort_unstable();
    let edge = match level {
        Level::Low => Edge::Fall,
        _ => Edge::Rise,
    };
    Some(Unsure {
        crowd: Crowd::of(
            (line, level),
            &widths,
            of_level().count() as u64,
            (last * next).sqrt().max(last + 0.5),
        ),
        follows: Some((to, edge, brought, of)),
        whole: true,
    })
}

/// Widths that agree in their exponent and the first bits of their mantissa: how many, the least and the greatest.
#[derive(Clone, Copy)]
struct Bin {
    count: usize,
    least: i64,
    most: i64,
}

/// So many bits of a width's floating-point form tell its bin: 64 bins from one power of two to the next.
const BIN_BITS: u32 = 46;

/// The greatest width of the crowd and the least of the others, in ticks: those on either side of the widest gap, as a
/// ratio, that leaves enough on both. None where no gap does. Cost: linear.
fn crowd_end(widths: impl Iterator<Item = i64>, longest: f64) -> Option<(f64, f64)> {
    let bin_of = |width: i64| ((width.max(1) as f64).to_bits() >> BIN_BITS) as usize;
    let first = bin_of(1);
    let beyond = longest * APART;
    let empty = Bin {
        count: 0,
        least: i64::MAX,
        most: 0,
    };
    let mut bins = vec![empty; bin_of(beyond.ceil() as i64) - first + 1];
    let mut own = 0;
    for width in widths {
        if width as f64 > beyond {
            own += 1;
            continue;
        }
        let bin = &mut bins[bin_of(width) - first];
        bin.count += 1;
        bin.least = bin.least.min(width);
        bin.most = bin.most.max(width);
    }
    let all: usize = bins.iter().map(|bin| bin.count).sum();
    let used: Vec<&Bin> = bins.iter().filter(|bin| bin.count > 0).collect();
    let mut below = 0;
    let mut best: Option<(f64, f64)> = None;
    for (at, bin) in used.iter().enumerate() {
        below += bin.count;
        let (last, next) = (
            bin.most as f64,
            used.get(at + 1).map_or(beyond, |bin| bin.least as f64),
        );
        let parts = last <= longest && below >= FEWEST && all - below + own >= FEWEST_OWN;
        let ratio = next / last.max(1.0);
        if parts && ratio >= APART && best.is_none_or(|(last, next)| ratio > next / last.max(1.0)) {
            best = Some((last, next));
        }
    }
    best
}

/// How many of the crowd on the first line are the second's pulses, and how many of that one's could have been, where most
/// are and nothing shows that they are meant to be.
fn bridged(
    capture: &Capture,
    [line, other]: [usize; 2],
    level: Level,
    crowd: &[Pulse],
    sampling: f64,
) -> Option<(u64, u64)> {
    let steady = (capture.timebase.ticks_of(STEADY_S) + 2.0 * sampling).ceil() as i64;
    let early = capture.timebase.ticks_of(EARLIEST_LAG_S).ceil() as i64 + sampling.ceil() as i64;
    let late = capture.timebase.ticks_of(LONGEST_LAG_S).ceil() as i64;
    let source = &capture.lines[other];
    // The source's edge that begins a crowd's pulse, if its next edge ends it.
    let follows = |p: &Pulse| -> Option<(usize, i64)> {
        let from = source.edges.partition_point(|e| e.0 < p.start.0 - late);
        let near = source.edges[from..]
            .iter()
            .take_while(|e| e.0 <= p.start.0 + early);
        near.enumerate().find_map(|(n, begins)| {
            let lag = p.start.0 - begins.0;
            let ends = source.edges.get(from + n + 1)?;
            let is_whole = source.level_after(from + n) == level && (p.end.0 - ends.0 - lag).abs() <= steady;
            is_whole.then_some((from + n, lag))
        })
    };
    // Most lines follow nothing: a few of the crowd show it.
    let few = &crowd[..crowd.len().min(32)];
    let many = |of: &[Pulse], n: usize| n as f64 >= MOST * of.len() as f64;
    if !many(few, few.iter().filter(|p| follows(p).is_some()).count()) {
        return None;
    }
    let mut brought: Vec<(usize, i64)> = crowd.iter().filter_map(follows).collect();
    let mut lags: Vec<i64> = brought.iter().map(|b| b.1).collect();
    lags.sort_unstable();
    let middle = middle(&lags)?;
    brought.retain(|b| (b.1 - middle).abs() <= steady);
    if brought.len() < FEWEST || !many(crowd, brought.len()) {
        return None;
    }
    let longest = crowd.iter().map(|p| p.width().0).max().unwrap_or(0);
    let begins: Vec<usize> = brought.iter().map(|b| b.0).collect();
    let trials = trials(&capture.lines[line], source, level, &begins, late + steady);
    let share = begins.len() as f64 / trials.len().max(1) as f64;
    let open = share < EVERY
        && !drives_the_rest(&capture.lines[line], source, level, longest, middle, steady)
        && !comes_in_runs(&trials)
        && !is_let_through(capture, [line, other], &trials);
    open.then_some((begins.len() as u64, trials.len() as u64))
}

/// The source's pulses that found the line resting, by start, and whether it followed. `begins`: the edges that it followed.
fn trials(line: &Line, source: &Line, level: Level, begins: &[usize], margin: i64) -> Vec<(i64, bool)> {
    let mut trials = Vec::new();
    let pulses = source.pulses().filter(|p| p.level == level);
    let mut at = 0;
    for pulse in pulses {
        let followed = begins.binary_search(&pulse.edge).is_ok();
        while at < line.edges.len() && line.edges[at].0 < pulse.start.0 - margin {
            at += 1;
        }
        let rests = line.level_at(pulse.start) != level
            && line.edges.get(at).is_none_or(|e| e.0 > pulse.end.0 + margin);
        if followed || rests {
            trials.push((pulse.start.0, followed));
        }
    }
    trials
}

/// Whether the line's longer pulses begin with the source's edges as well.
fn drives_the_rest(line: &Line, source: &Line, level: Level, longest: i64, lag: i64, steady: i64) -> bool {
    let (mut own, mut with) = (0u64, 0u64);
    for pulse in line
        .pulses()
        .filter(|p| p.level == level && p.width().0 > longest)
    {
        let from = source
            .edges
            .partition_point(|e| e.0 < pulse.start.0 - lag - steady);
        own += 1;
        with += u64::from(
            source
                .edges
                .get(from)
                .is_some_and(|e| e.0 <= pulse.start.0 - lag + steady),
        );
    }
    with as f64 > OWN * own as f64
}

/// Whether those that follow come in fewer runs than chance makes, as under an enable that holds for a while.
fn comes_in_runs(trials: &[(i64, bool)]) -> bool {
    let outcomes: Vec<bool> = trials.iter().map(|trial| trial.1).collect();
    runs(&outcomes, 0.5).is_some_and(|z| z < normal_quantile(CHANCE))
}

/// Whether the level of a third line goes with what is followed.
fn is_let_through(capture: &Capture, pair: [usize; 2], trials: &[(i64, bool)]) -> bool {
    let others = || (0..capture.lines.len()).filter(|o| !pair.contains(o));
    let tried = others().count().max(1) as f64;
    others().any(|other| {
        // By level: pulses followed, and all.
        let mut counts = [(0u64, 0u64); 2];
        for &(start, followed) in trials {
            let high = capture.lines[other].level_at(crate::model::Ticks(start)) == Level::High;
            let count = &mut counts[usize::from(high)];
            count.0 += u64::from(followed);
            count.1 += 1;
        }
        let [(a, of_a), (b, of_b)] = counts;
        of_a > 0 && of_b > 0 && fisher(a, of_a, b, of_b).two_sided() * tried <= CHANCE
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::CouplingOptions;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::strays;
    use crate::demo::random::Random;
    use crate::model::{Ticks, TimeSpan};

    /// REQ pulses 200 times, 250 to 900 ns; GRANT has the longer pulses of its own halfway between, and REQ's where
    /// `brings(n, GATE's level)` says. Seed 7.
    fn capture(brings: impl Fn(i64, bool, &mut Random) -> bool, own_late: i64) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(4_100_000));
        let mut random = Random::new(7);
        let (mut request, mut grant, mut gate) = (Vec::new(), Vec::new(), Vec::new());
        let mut is_open = false;
        for n in 0..200i64 {
            let at = 20_000 * n + 5_000 + (random.uniform(0.0, 300.0) as i64);
            let width = 250 + (random.uniform(0.0, 650.0) as i64);
            if random.chance(0.5) {
                is_open = !is_open;
                gate.push(at - 2_000);
            }
            request.extend([at, at + width]);
            if brings(n, is_open, &mut random) {
                grant.extend([at + 6, at + width + 6]);
            } else if n % 3 == 0 {
                let start = at + own_late;
                grant.extend([start, start + 3_000 + (random.uniform(0.0, 4_000.0) as i64)]);
            }
        }
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        Capture::in_nanoseconds(
            "touching",
            span,
            vec![line("REQ", request), line("GRANT", grant), line("GATE", gate)],
        )
    }

    fn told(capture: &Capture) -> usize {
        let options = StrayOptions::default();
        find(capture, &strays::find(capture, &options), &options).len()
    }

    #[test]
    fn pulses_that_now_and_then_are_another_line_s_are_told_and_nobody_accused() {
        let touching = capture(|_, _, random| random.chance(0.4), 9_000);
        let (strays, attribution) = judge(&touching, &StrayOptions::default(), &CouplingOptions::default());
        assert!(strays.strays.is_empty() && attribution.couplings.is_empty());
        let [unsure] = attribution.unsure.as_slice() else {
            panic!("{:?}", attribution.unsure);
        };
        let (to, edge, brought, of) = unsure.follows.expect("whom it follows");
        assert_eq!((unsure.crowd.line, to, edge, of), (1, 0, Edge::Rise, 200));
        assert_eq!(brought, unsure.crowd.pulses);
    }

    #[test]
    fn what_a_gate_lets_through_is_no_stray() {
        assert_eq!(
            told(&capture(|_, is_open, _| is_open, 9_000)),
            0,
            "a captured enable"
        );
        assert_eq!(
            told(&capture(|n, _, _| n / 20 % 2 == 0, 9_000)),
            0,
            "one that holds for a while"
        );
        assert_eq!(
            told(&capture(|_, _, random| random.chance(0.99), 9_000)),
            0,
            "every one"
        );
        assert_eq!(
            told(&capture(|_, _, random| random.chance(0.4), 6)),
            0,
            "it drives the rest as well"
        );
    }
}
