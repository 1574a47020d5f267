//! Short pulses that fill a level, so that its widths alone give no limit.
//!
//! A line that is struck often and sends little itself consists mostly of strays: there is no crowd of its own beside which
//! they would look narrow. Other signs decide then. Induced pulses scatter in width, some of them too short for any job;
//! they follow one line's edges at a steady lag, but not every time; nothing else ends them; and the level's long pulses do
//! not follow those edges. A pulse that a gate or a monostable makes fails at least one of these. Where the signs don't
//! suffice, as where all have one width, the crowd is told and nobody is accused.

use super::USEFUL_S;
use super::apart;
use super::scatter::scatter_like_strays;
use crate::analysis::coupling::{EARLIEST_LAG_S, Edge, LONGEST_LAG_S};
use crate::analysis::strays::{LimitOrigin, StrayOptions, Strays, slow};
use crate::model::{Capture, Level, Line, Pulse};

/// Short pulses of one level that widths give no ground to call narrow.
#[derive(Clone, Debug, PartialEq)]
pub struct Crowd {
    pub line: usize,
    pub level: Level,
    /// Least, middle and greatest width, in ticks.
    pub widths: [i64; 3],
    /// Pulses of the crowd, of all of that level.
    pub pulses: u64,
    pub of: u64,
    /// Whether the widths scatter as those of induced pulses do, from lengths on that are of no use.
    pub scatters: bool,
    /// Whether all are too short for a job.
    pub is_useless: bool,
    /// A limit that parts it from the longer pulses, in ticks.
    pub limit: f64,
    /// Whether it is the shorter part of another crowd, with a gap between.
    pub is_part: bool,
    /// Whether the line's own pulses speak for it: it lies far below them, or below a strobe of one width ([`apart`]).
    pub is_apart: bool,
    /// Starts of its pulses, ascending ticks.
    pub(super) starts: Vec<i64>,
    /// Starts of the longer pulses of the level, likewise.
    pub(super) others: Vec<i64>,
}

/// A crowd of which nothing shows whether it is the line's job.
#[derive(Clone, Debug, PartialEq)]
pub struct Unsure {
    pub crowd: Crowd,
    /// A line and edge that it follows, with the pulses that do and the edges that could have brought one.
    pub follows: Option<(usize, Edge, u64, u64)>,
    /// Whether it follows that line's whole pulses, with both of its edges ([`super::whole_pulses`]).
    pub whole: bool,
}

impl Crowd {
    /// A crowd of `widths` (ascending, ticks), of so many pulses of the level, parted from the longer ones by `limit` (ticks).
    pub(super) fn of((line, level): (usize, Level), widths: &[i64], of: u64, limit: f64) -> Crowd {
        let at = |part: usize| widths[(widths.len() - 1) * part / 2];
        Crowd {
            line,
            level,
            widths: [at(0), at(1), at(2)],
            pulses: widths.len() as u64,
            of,
            scatters: false,
            is_useless: false,
            limit,
            is_part: false,
            is_apart: false,
            starts: Vec::new(),
            others: Vec::new(),
        }
    }
}

/// No pulse of a crowd is longer, unless the level's own gap lies higher or the line is a slow one ([`slow`]).
const LONGEST_S: f64 = 200e-9;
/// Fewer pulses make no crowd.
pub(super) const FEWEST: usize = 5;
/// Share of a level's pulses that are as good as all.
const NEARLY_ALL: f64 = 0.95;
/// A rest lasts at least so many times as long as the longest pulse of a crowd.
const RESTING: i64 = 2;
/// Share of the crowd that must follow one line.
pub(super) const MOST: f64 = 0.6;

/// Crowds of all lines without a limit from the person, that any other line's edges precede often enough. Cost: linear in
/// the edges of lines without a limit, and crowd × log of the edges of the others.
pub fn find(capture: &Capture, strays: &Strays, options: &StrayOptions) -> Vec<Crowd> {
    let is_open = |&line: &usize| {
        capture.lines[line].same_as.is_none()
            && strays.limits[line].origin != LimitOrigin::Setup
            && !options.taken_over.contains_key(&line)
            && !strays.bursts.iter().any(|b| b.line == line)
    };
    let lines = (0..capture.lines.len()).filter(is_open);
    lines.flat_map(|line| crowds_of(capture, strays, line)).collect()
}

fn crowds_of(capture: &Capture, strays: &Strays, line: usize) -> Vec<Crowd> {
    let limits = &strays.limits[line];
    let levels = [Level::Low, Level::High]
        .into_iter()
        .filter(|&level| limits.of(level).is_none());
    let mut found = Vec::new();
    for level in levels {
        if let Some(crowd) = apart::crowd(capture, strays.sampling[line], line, level) {
            found.push(crowd);
            continue;
        }
        let of_level = || capture.lines[line].pulses().filter(move |p| p.level == level);
        let slow = slow::far_below(
            of_level().map(|p| p.width().0 as f64),
            capture.timebase.ticks_of(1e-9),
        );
        let longest = slow.unwrap_or(0.0).max(capture.timebase.ticks_of(LONGEST_S)) as i64;
        if !rests_long(&capture.lines[line], level.inverted(), longest) {
            continue;
        }
        let short: Vec<Pulse> = of_level().filter(|p| p.width().0 <= longest).collect();
        if short.len() < FEWEST {
            continue;
        }
        let mut widths: Vec<i64> = short.iter().map(|p| p.width().0).collect();
        widths.sort_unstable();
        let of = of_level().count() as u64;
        let crowd = Crowd {
            line,
            level,
            is_part: false,
            is_apart: false,
            widths: [widths[0], widths[widths.len() / 2], widths[widths.len() - 1]],
            pulses: short.len() as u64,
            of,
            scatters: scatter_like_strays(
                capture,
                &widths,
                strays.sampling[line],
                are_all(short.len() as u64, of),
            ),
            is_useless: widths[widths.len() - 1] as f64 <= capture.timebase.ticks_of(USEFUL_S),
            limit: (longest + 1) as f64,
            starts: short.iter().map(|p| p.start.0).collect(),
            others: of_level()
                .filter(|p| p.width().0 > longest)
                .map(|p| p.start.0)
                .collect(),
        };
        let part = crowd.shorter_part(capture, &widths, &short, strays.sampling[line]);
        found.push(crowd);
        found.extend(part);
    }
    found
}

/// Whether so many of a level's pulses are (nearly) all: a reset or two besides make no crowd of the line's own.
pub(super) fn are_all(short: u64, of: u64) -> bool {
    short as f64 >= NEARLY_ALL * of as f64
}

/// Whether the line mostly rests at `level`, for longer than any pulse of a crowd lasts: a line that switches all the time
/// has short pulses of its own.
fn rests_long(line: &Line, level: Level, longest: i64) -> bool {
    let (mut long, mut all) = (0u64, 0u64);
    for pulse in line.pulses().filter(|p| p.level == level) {
        all += 1;
        long += u64::from(pulse.width().0 >= RESTING * longest);
    }
    2 * long > all
}

/// Whether most of the crowd comes after edges of some other line.
pub(super) fn may_follow(capture: &Capture, crowd: &Crowd) -> bool {
    let (early, late) = (
        capture.timebase.ticks_of(EARLIEST_LAG_S) as i64,
        capture.timebase.ticks_of(LONGEST_LAG_S) as i64,
    );
    let follows = |line: &Line| {
        let near = |&&start: &&i64| {
            let after = line.edges.partition_point(|e| e.0 < start - late);
            line.edges.get(after).is_some_and(|e| e.0 <= start + early)
        };
        crowd.starts.iter().filter(near).count() as f64 >= MOST * crowd.starts.len() as f64
    };
    let mut others = capture
        .lines
        .iter()
        .enumerate()
        .filter(|(at, _)| *at != crowd.line);
    others.any(|(_, line)| follows(line))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::judge::judge;
    use crate::analysis::coupling::{Attribution, CouplingOptions};
    use crate::model::{Ticks, TimeSpan};

    /// STEP rises 60 times; CLEAR_N shows a pulse 20 ns after two of three rises, `width(n)` long, and the pulses of `own`
    /// besides; HOLD falls where `ends` says, counted from the start of such a pulse.
    fn capture(width: impl Fn(i64) -> i64, own: &[[i64; 2]], ends: Option<i64>) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(2_000_000));
        let (mut step, mut clear, mut hold) = (Vec::new(), own.to_vec(), Vec::new());
        for n in 0..60i64 {
            let at = 30_000 * n + 97 * (n % 7) + 5_000;
            step.push([at, at + 700 + 31 * (n % 5)]);
            if n % 3 != 0 {
                let start = at + 20;
                clear.push([start, start + width(n)]);
                hold.extend(ends.map(|lag| [start + width(n) - lag, start + 9_000]));
            }
        }
        let line = |name: &str, mut pulses: Vec<[i64; 2]>| {
            pulses.sort_unstable();
            let edges = pulses.into_iter().flatten().map(Ticks).collect();
            Line::digital(name, Level::Low, edges, span)
        };
        Capture::in_nanoseconds(
            "crowded",
            span,
            vec![line("STEP", step), line("CLEAR_N", clear), line("HOLD", hold)],
        )
    }

    fn judged(capture: &Capture) -> (usize, Attribution) {
        let (strays, attribution) = judge(capture, &StrayOptions::default(), &CouplingOptions::default());
        (strays.of_line(1).len(), attribution)
    }

    /// Widths that scatter as induced pulses' do.
    fn scattered(n: i64) -> i64 {
        15 + n * 37 % 61
    }

    /// The line's own, of all widths, so that no gap shows.
    const OWN: [[i64; 2]; 5] = [
        [17_000, 17_095],
        [201_000, 201_170],
        [402_000, 402_400],
        [701_000, 702_300],
        [1_119_000, 1_125_000],
    ];

    #[test]
    fn scattered_pulses_that_follow_one_line_are_its_strays() {
        let (strays, attribution) = judged(&capture(scattered, &OWN, None));
        assert_eq!(strays, 40);
        let rows: Vec<(usize, u64)> = attribution
            .couplings
            .iter()
            .map(|c| (c.aggressor, c.strays))
            .collect();
        assert_eq!(rows, [(0, 40)]);
        assert!(attribution.unsure.is_empty());
    }

    #[test]
    fn of_one_width_they_are_told_and_nobody_is_accused() {
        let (strays, attribution) = judged(&capture(|_| 60, &[], None));
        assert_eq!((strays, attribution.couplings.len()), (0, 0));
        let follows: Vec<_> = attribution.unsure.iter().map(|u| u.follows).collect();
        assert_eq!(follows, [Some((0, Edge::Rise, 40, 60))]);
    }

    #[test]
    fn widths_that_scatter_evenly_are_strays_where_the_level_has_no_others() {
        // None is too short for a job, and a few widths are what a gate makes.
        let evenly = |n: i64| 40 + n * 8 % 19;
        let (strays, attribution) = judged(&capture(evenly, &[], None));
        let accused: Vec<usize> = attribution.couplings.iter().map(|c| c.aggressor).collect();
        assert_eq!((strays, accused), (40, vec![0]));
        for of_few_widths in [|n: i64| 40 + 18 * (n % 2), |n| 40 + 18 * i64::from(n % 5 == 0)] {
            let (strays, attribution) = judged(&capture(of_few_widths, &[], None));
            assert_eq!((strays, attribution.unsure.len()), (0, 1));
        }
        // Nor are they strays beside longer pulses of the line's own.
        let (strays, attribution) = judged(&capture(evenly, &OWN, None));
        assert_eq!((strays, attribution.unsure.len()), (0, 1));
    }

    #[test]
    fn widths_that_go_with_the_rest_before_are_told_and_nobody_is_accused() {
        // STEP rests for 29,300 ticks and a little more or less; each pulse is the longer the longer that was.
        let recovering = |n: i64| {
            let rise = |n: i64| 30_000 * n + 97 * (n % 7);
            let fall = rise(n - 1) + 700 + 31 * ((n - 1) % 5);
            30 + (rise(n) - fall - 29_250).max(0) / 3
        };
        let (strays, attribution) = judged(&capture(recovering, &[], None));
        assert_eq!((strays, attribution.unsure.len()), (0, 1));
    }

    #[test]
    fn pulses_of_one_or_two_samples_are_told_and_nobody_is_accused() {
        let mut coarse = capture(evenly_short, &[], None);
        for line in &mut coarse.lines {
            let round = |edge: Ticks| Ticks((edge.0 + 10) / 20 * 20);
            *line = Line::digital(
                &line.name,
                Level::Low,
                line.edges.iter().map(|&e| round(e)).collect(),
                coarse.span,
            );
        }
        let (strays, attribution) = judged(&coarse);
        let follows: Vec<_> = attribution.unsure.iter().map(|u| u.follows).collect();
        assert_eq!((strays, follows), (0, vec![Some((0, Edge::Rise, 40, 60))]));
    }

    fn evenly_short(n: i64) -> i64 {
        22 + n * 8 % 19
    }

    #[test]
    fn pulses_too_short_for_a_job_are_told_though_they_follow_nobody() {
        let span = TimeSpan::new(Ticks(0), Ticks(2_000_000));
        let told = |width: i64| {
            let pulses = (1..20).map(|n| 100_000 * n + 1_371 * (n * n % 23));
            let edges = pulses.flat_map(|at| [Ticks(at), Ticks(at + width + at % 3)]);
            let line = Line::digital("PLAY", Level::Low, edges.collect(), span);
            let capture = Capture::in_nanoseconds("alone", span, vec![line]);
            let (_, attribution) = judge(&capture, &StrayOptions::default(), &CouplingOptions::default());
            let unsure = attribution.unsure.iter();
            unsure
                .map(|u| (u.crowd.pulses, u.crowd.is_useless, u.follows))
                .collect::<Vec<_>>()
        };
        assert_eq!(told(15), [(19, true, None)]);
        // Long enough to be meant.
        assert_eq!(told(60), []);
    }

    #[test]
    fn pulses_that_another_line_ends_are_a_gate_s() {
        let (strays, attribution) = judged(&capture(scattered, &OWN, Some(6)));
        assert_eq!(
            (strays, attribution.couplings.len(), attribution.unsure.len()),
            (0, 0, 0)
        );
    }

    #[test]
    fn a_line_whose_long_pulses_follow_as_well_is_driven() {
        let long = |n: i64| 30_000 * n + 97 * (n % 7) + 5_020;
        let own: Vec<[i64; 2]> = OWN
            .iter()
            .zip((0..60).step_by(12))
            .map(|([start, end], n)| [long(n), long(n) + end - start])
            .collect();
        let (strays, attribution) = judged(&capture(scattered, &own, None));
        assert_eq!(
            (strays, attribution.couplings.len(), attribution.unsure.len()),
            (0, 0, 0)
        );
    }

    #[test]
    fn long_dips_on_a_slow_line_are_asked_about_whether_they_scatter_or_not() {
        let key = |width: &dyn Fn(i64) -> i64| {
            let span = TimeSpan::new(Ticks(0), Ticks(50_000_000_000));
            let (mut peal, mut damp) = (Vec::new(), Vec::new());
            for press in 0..60i64 {
                let at = 800_000_000 * press + 1_000_003 * (press * press % 97) + 10_000_000;
                peal.extend([at, at + 120_000_000 + 333_331 * (press % 7)].map(Ticks));
                if press % 4 != 0 {
                    damp.extend([at + 20, at + 20 + width(press)].map(Ticks));
                }
                let own = at + 400_000_000;
                damp.extend([own, own + 90_000_000 + 777_773 * (press % 5)].map(Ticks));
            }
            let line = |name, edges| Line::digital(name, Level::High, edges, span);
            Capture::in_nanoseconds("keys", span, vec![line("PEAL_KEY", peal), line("DAMP_KEY", damp)])
        };
        for width in [
            &(|press: i64| 1_200 + 2 * (press % 9)) as &dyn Fn(i64) -> i64,
            &|press: i64| 300 + 37 * (press * 7 % 31),
        ] {
            let (strays, attribution) = judged(&key(width));
            let follows: Vec<_> = attribution.unsure.iter().map(|u| u.follows).collect();
            assert_eq!((strays, follows), (0, vec![Some((0, Edge::Fall, 45, 60))]));
        }
    }
}
