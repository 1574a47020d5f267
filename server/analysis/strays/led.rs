//! Bursts that another line leads: each edge comes one time after an edge of that line, as behind a flip-flop or a gate.
//!
//! What a contact does nobody leads. A part that is clocked, or that repeats a contact further on, switches as irregularly
//! as what it is given, but after one time.

use crate::analysis::stats::tails::binomial_upper;
use crate::model::{Capture, Ticks};

/// What leads comes no earlier than this.
const EARLIEST_S: f64 = 20e-6;
/// Of times that are one, the last comes so much after the first, besides a sample of either line.
const STEADY_S: f64 = 6e-9;
/// Share of the edges that come after one time (the others may be struck, or a part's second output), and how many there
/// are at least.
const MOST: f64 = 0.9;
const FEWEST: usize = 5;
/// Chance that so many do, for all times that are tried.
const CHANCE: f64 = 1e-3;
/// Edges of the other line looked at before each; a line with more of them is a clock, which shows in the nearest as well.
const LOOKED_AT: usize = 64;

/// Whether `edges` of line `index` (ascending) come one time after edges of some other line. Cost: edges × lines × log of
/// their edges, and a sort of the times.
pub fn by_another(capture: &Capture, index: usize, edges: &[Ticks]) -> bool {
    let line = &capture.lines[index];
    let earliest = capture.timebase.ticks_of(EARLIEST_S) as i64;
    let mut others = capture.lines.iter().enumerate();
    edges.len() >= FEWEST
        && others.any(|(other, record)| {
            let is_same = other == index || line.same_as == Some(other) || record.same_as == Some(index);
            let sampling = line.sample_ticks + record.sample_ticks;
            let steady = (capture.timebase.ticks_of(STEADY_S) + sampling).ceil() as i64;
            let mut times: Vec<i64> = Vec::new();
            if !is_same {
                for at in edges {
                    // At the same time it leads nobody.
                    let to = record.edges.partition_point(|e| e < at);
                    let before = record.edges[..to].iter().rev().take(LOOKED_AT);
                    times.extend(before.map(|e| at.0 - e.0).take_while(|&time| time <= earliest));
                }
            }
            is_one_time(&mut times, edges.len(), steady)
        })
}

/// Whether one of the `times` between edges of two lines (any order) belongs to nearly all of the `count` edges, by more
/// than chance.
fn is_one_time(times: &mut [i64], count: usize, steady: i64) -> bool {
    if (times.len() as f64) < MOST * count as f64 {
        return false;
    }
    times.sort_unstable();
    let within = |from: usize| times[from..].partition_point(|&t| t <= times[from] + steady);
    // An edge counts once: two edges of the other line may lie within one window.
    let most = (0..times.len()).map(within).max().unwrap_or(0).min(count);
    let reach = (times[times.len() - 1] + 1) as f64;
    let windows = (reach / (steady + 1) as f64).max(1.0);
    let chance = (times.len() as f64 / count as f64 / windows).min(1.0);
    most as f64 >= MOST * count as f64
        && binomial_upper(most as u64, count as u64, chance) * windows <= CHANCE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::bounce;
    use crate::demo::random::Random;
    use crate::model::{Level, Line, TimeSpan};

    /// Edges of KEY, which bounces; of what repeats it 3.5 µs later; and of a clock, whose flip-flop repeats it 80 ns after
    /// a rise.
    #[test]
    fn what_repeats_a_contact_or_a_clock_after_one_time_does_not_bounce() {
        let mut random = Random::new(11);
        let mut key = Vec::new();
        for press in 0..6i64 {
            let mut at = 30_000_000 * (press + 1);
            for _ in 0..5 {
                key.push(at);
                at += 20_000 + (random.unit() * 300_000.0) as i64;
            }
        }
        let span = TimeSpan::new(Ticks(0), Ticks(300_000_000));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let bouncing = |lines: Vec<Line>| -> Vec<usize> {
            let found = bounce::find(&Capture::in_nanoseconds("keys", span, lines));
            let mut lines: Vec<usize> = found.iter().map(|b| b.line).collect();
            lines.dedup();
            lines
        };
        let later = |by: &dyn Fn(i64) -> i64| key.iter().map(|&at| at + by(at)).collect::<Vec<i64>>();
        let clock = || line("STEP_CLK", (0..300_000).map(|n| 1_000 * n).collect());
        let motor = line("MOTOR_ON", later(&|at| 3_500 + at % 3));
        assert_eq!(bouncing(vec![line("KEY", key.clone()), motor]), [0]);
        let held = line("KEY_FF", later(&|at| 2_080 - at % 2_000 + at % 2));
        assert_eq!(bouncing(vec![clock(), held]), [0usize; 0]);
        // Beside a clock that has nothing to do with it a contact still bounces.
        assert_eq!(bouncing(vec![clock(), line("KEY", key.clone())]), [1]);
    }
}
