//! The sampling period of each line: as declared by the reader, or as the edges themselves show.
//!
//! A capture exported as a change list keeps its instrument's sampling in the edge times: they all lie on a
//! grid coarser than the file's tick. When the period is not a whole number of ticks (24 MHz in whole
//! nanoseconds) the edges lie within a tick of the grid. When it is the tick itself, as where each sample of 10 ns is
//! written with eight decimals, nothing shows a grid, and edges are known to a tick all the same.

use crate::model::{Capture, Timebase, gcd};

/// Edges looked at, at most, for each source capture: enough to refute a wrong grid many times over.
const EDGES_LOOKED_AT: usize = 20_000;
/// With fewer edges than this nothing is concluded.
const EDGES_NEEDED: usize = 16;

/// Steps of so many lengths must fit a grid that is no whole number of ticks.
const LENGTHS_NEEDED: usize = 12;

/// Ticks longer than this are an instrument's samples, or rounded as coarsely: those of a record of exact times are a
/// nanosecond and less. No source.
const EXACT_S: f64 = 1.5e-9;

/// A tick where it is so coarse that edges are known no better, else 0; in ticks.
pub fn coarse_tick(timebase: &Timebase) -> f64 {
    match timebase.length_s(1.0) > EXACT_S {
        true => 1.0,
        false => 0.0,
    }
}

/// One period a line, in ticks; 0 where nothing coarser than a nanosecond shows. Lines of one source capture share it.
pub fn sampling_of_lines(capture: &Capture) -> Vec<f64> {
    let files = capture.lines.iter().map(|l| l.capture + 1).max().unwrap_or(0);
    let mut shown = vec![0.0; files];
    for (file, period) in shown.iter_mut().enumerate() {
        let mut times: Vec<i64> = Vec::new();
        let lines = || {
            capture
                .lines
                .iter()
                .filter(|l| l.capture == file && !l.interpolated)
        };
        let share = EDGES_LOOKED_AT / lines().count().max(1);
        for line in lines() {
            times.extend(line.edges.iter().take(share).map(|t| t.0));
        }
        times.sort_unstable();
        times.dedup();
        *period = grid_of(&times);
    }
    let tick = coarse_tick(&capture.timebase);
    let period = |l: &crate::model::Line| {
        if l.interpolated {
            0.0
        } else {
            l.sample_ticks.max(shown[l.capture]).max(tick)
        }
    };
    capture.lines.iter().map(period).collect()
}

/// The period of the grid that `times` (ascending, distinct) lie on; 0 if it is no coarser than a tick.
fn grid_of(times: &[i64]) -> f64 {
    if times.len() < EDGES_NEEDED {
        return 0.0;
    }
    let origin = times[0];
    let exact = times
        .iter()
        .fold(0u64, |g, &t| gcd(g, (t - origin).unsigned_abs()));
    if exact > 1 {
        // It may be the step to which the times of a coarser grid were rounded.
        let reduced: Vec<i64> = times.iter().map(|t| (t - origin) / exact as i64).collect();
        return exact as f64 * rounded_grid(&reduced).unwrap_or(1.0);
    }
    rounded_grid(times).unwrap_or(0.0)
}

/// A grid whose period is no whole number of ticks: found from the shortest step, then drawn out over ever
/// longer distances; every step must fit within a tick.
fn rounded_grid(times: &[i64]) -> Option<f64> {
    let mut steps: Vec<i64> = times.windows(2).map(|p| p[1] - p[0]).collect();
    steps.sort_unstable();
    let shortest = *steps.first()?;
    if shortest < 4 {
        return None;
    }
    // The period lies within a tick of the shortest step or of a whole fraction of it.
    (1..=4i64).find_map(|part| refine(&steps, shortest as f64 / part as f64, 1.0 / part as f64))
}

fn refine(steps: &[i64], start: f64, slack: f64) -> Option<f64> {
    let (mut low, mut high) = (start - slack, start + slack);
    if low < 2.0 {
        return None;
    }
    // Pulses of one width, again and again, say nothing new.
    let mut told = 0;
    for step in steps.chunk_by(|a, b| a == b).map(|equal| equal[0]) {
        let step = step as f64;
        let (fewest, most) = ((step - 1.0) / high, (step + 1.0) / low);
        let count = fewest.ceil();
        if count > most {
            return None;
        }
        if most.floor() > count {
            break; // The number of periods is no longer certain.
        }
        told += 1;
        low = low.max((step - 1.0) / count);
        high = high.min((step + 1.0) / count);
        if low > high {
            return None;
        }
    }
    // A grid that could not be told from single ticks is none.
    let period = (low + high) / 2.0;
    (high - low < 0.2 * period && told >= LENGTHS_NEEDED).then_some(period)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_whole_grid_is_its_greatest_common_divisor() {
        let times: Vec<i64> = (0..40).map(|i| 7 + 20 * (i * i + i)).collect();
        assert_eq!(grid_of(&times), 40.0);
    }

    #[test]
    fn a_tick_of_ten_nanoseconds_is_a_sample() {
        use crate::model::{Level, Line, Ticks, TimeSpan, Timebase};
        let span = TimeSpan::new(Ticks(0), Ticks(10_000));
        let edges = (1..60i64).map(|i| Ticks(i * 100 + (i * i * 37) % 11)).collect();
        let line = Line::digital("STEP", Level::Low, edges, span);
        let mut capture = Capture::in_nanoseconds("ticks", span, vec![line]);
        assert_eq!(sampling_of_lines(&capture), [0.0]);
        capture.timebase = Timebase::decimal(-8);
        assert_eq!(sampling_of_lines(&capture), [1.0]);
    }

    #[test]
    fn a_24_mhz_grid_in_whole_nanoseconds_is_found() {
        let times: Vec<i64> = (0..60i64)
            .map(|i| ((i * (i + 1) / 2) as f64 * 41.6666667).floor() as i64)
            .collect();
        let period = grid_of(&times);
        assert!((period - 41.6667).abs() < 0.3, "{period}");
    }

    #[test]
    fn pulses_of_one_width_make_no_grid() {
        let times: Vec<i64> = (0..60i64)
            .flat_map(|i| [0, 20, 100].map(|d| i * 334_377 + (i * i * 37) % 10_101 + d))
            .collect();
        assert_eq!(grid_of(&times), 0.0);
    }

    #[test]
    fn times_without_a_grid_show_none() {
        let times: Vec<i64> = (0..60i64).map(|i| i * 1000 + (i * i * 37) % 101).collect();
        assert_eq!(grid_of(&times), 0.0);
    }
}
