//! One victim from its strays to a verdict, on machines of two or three lines.

use super::*;
use crate::analysis::coupling::{Edge, Standing, attribute, fixtures};
use crate::analysis::strays::{StrayOptions, find};
use crate::model::{Level, Line, Ticks, TimeSpan};
use std::collections::BTreeMap;

/// Whom the pulses of PEG (the last of the lines) are put down to; those below `narrow` ticks are stray.
fn accused(lines: Vec<Line>, narrow: f64, end: i64) -> Vec<(usize, Edge, Standing)> {
    let peg = lines.len() - 1;
    let span = TimeSpan::new(Ticks(0), Ticks(end));
    let capture = Capture::in_nanoseconds("examined", span, lines);
    let options = StrayOptions {
        narrow_below: BTreeMap::from([(peg, narrow)]),
        ..StrayOptions::default()
    };
    let attribution = attribute(&capture, &find(&capture, &options), &CouplingOptions::default());
    let of_peg = attribution.couplings.iter().filter(|c| c.victim == peg);
    let mut found: Vec<_> = of_peg.map(|c| (c.aggressor, c.edge, c.standing)).collect();
    found.sort_by_key(|c| c.0);
    found
}

fn line(name: &str, mut edges: Vec<i64>, end: i64) -> Line {
    edges.sort_unstable();
    let span = TimeSpan::new(Ticks(0), Ticks(end));
    Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
}

/// A clock goes with all that two bits of its counter do, and explains all strays by itself, if not well.
#[test]
fn two_bits_that_strike_are_found_behind_their_clock() {
    let end = 4_100_000;
    let (mut step, mut q0, mut q1, mut peg) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for n in 1..400i64 {
        let at = 10_000 * n + 89 * (n % 7);
        let chance = n * 7_919 % 100;
        step.extend([at, at + 4_000]);
        q0.push(at + 15 + n % 2);
        let rises = n % 2 == 1;
        let carries = n % 2 == 0;
        if carries {
            q1.push(at + 22 + n % 3);
        }
        // The first rise of Q1 is that of step 2.
        let strikes = rises && chance < 64 || carries && n % 4 == 2 && chance < 72;
        if strikes {
            let start = at + 15 + n % 2 + 20;
            peg.extend([start, start + 25 + 3 * (n % 6)]);
        }
    }
    let lines = vec![
        line("STEP", step, end),
        line("Q0", q0, end),
        line("Q1", q1, end),
        line("PEG", peg, end),
    ];
    let clear = |line| (line, Edge::Rise, Standing::Clear);
    assert_eq!(accused(lines, 60.0, end), [clear(1), clear(2)]);
}

/// A strobe of nearly one width, in samples of 10: its rise and its fall fit the same strays. These scatter by three samples
/// after the fall that brings them, and by none after the rise, which comes 100 ticks before.
#[test]
fn of_two_edges_of_a_strobe_the_nearer_strikes_whatever_a_sample_blurs() {
    let end = 4_100_000;
    let (mut strobe, mut peg) = (Vec::new(), Vec::new());
    for n in 1..400i64 {
        let at = 10_000 * n + 10 * (n % 7);
        strobe.extend([at, at + 80 + 10 * (n * 37 % 99 / 33)]);
        if n * 7_919 % 100 < 66 {
            peg.extend([at + 110, at + 130 + 10 * (n % 2)]);
        }
    }
    let found = accused(
        vec![line("STROBE", strobe, end), line("PEG", peg, end)],
        60.0,
        end,
    );
    assert_eq!(found, [(0, Edge::Fall, Standing::Clear)]);
}

/// A strobe of one width: a stray that its fall brings comes at one time after its rise as well.
#[test]
fn both_edges_of_a_strobe_of_one_width_strike_each_by_its_own_lag() {
    let end = 4_100_000;
    let (mut strobe, mut peg) = (Vec::new(), Vec::new());
    for n in 1..400i64 {
        let at = 10_000 * n + 10 * (n % 7);
        strobe.extend([at, at + 110]);
        for (edge, chance) in [(at, n * 7_919 % 100), (at + 110, n * 6_007 % 100)] {
            if chance < 55 {
                peg.extend([edge + 18 + n % 3, edge + 38 + n % 11]);
            }
        }
    }
    let lines = vec![line("STROBE", strobe, end), line("PEG", peg, end)];
    assert_eq!(accused(lines, 60.0, end), [(0, Edge::Both, Standing::Clear)]);
}

/// A strobe of one short width, in samples of 20: strays that begin 36 after its rise begin 9 before its fall.
#[test]
fn an_edge_that_comes_after_the_strays_is_not_the_nearer_one() {
    let end = 4_100_000;
    let (mut strobe, mut peg) = (Vec::new(), Vec::new());
    let sampled = |time: i64| (time + 19) / 20 * 20;
    for n in 1..400i64 {
        let at = 10_000 * n + 7 * (n % 13);
        strobe.extend([at, at + 45].map(sampled));
        if n * 7_919 % 100 < 55 {
            peg.extend([at + 35 + n % 3, at + 80 + n % 11].map(sampled));
        }
    }
    let lines = vec![line("STROBE", strobe, end), line("PEG", peg, end)];
    assert_eq!(accused(lines, 90.0, end), [(0, Edge::Rise, Standing::Clear)]);
}

/// HOLD's rises lift PEG, captured as volts, 2 ticks later; another instrument shows them at its next sample, and late.
/// `twin`: the victim's own instrument shows them as well, where they are.
fn misplaced(other: usize, volts: bool, twin: bool) -> Vec<(usize, Edge, Standing)> {
    let end = 4_100_000;
    let (mut hold, mut own, mut peg) = (Vec::new(), Vec::new(), Vec::new());
    for n in 1..400i64 {
        let at = 10_000 * n + 89 * (n * n % 23);
        own.extend([at, at + 3_000]);
        let seen = |time: i64| (time + 12 + 9) / 10 * 10;
        hold.extend([seen(at), seen(at + 3_000)]);
        if n * 7_919 % 100 < 40 {
            peg.extend([at + 2 + n % 2, at + 30 + n % 9]);
        }
    }
    let mut hold = line("HOLD", hold, end);
    hold.capture = other;
    hold.sample_ticks = 10.0;
    let peg = line("PEG", peg, end);
    let peg = match volts {
        true => fixtures::with_volts(peg, 4, vec![0.0; (end / 4) as usize]),
        false => peg,
    };
    let own = twin.then(|| line("OWN", own, end));
    accused([hold].into_iter().chain(own).chain([peg]).collect(), 60.0, end)
}

#[test]
fn an_edge_of_another_instrument_may_seem_later_than_what_it_lifts_in_volts() {
    assert_eq!(misplaced(1, true, false), [(0, Edge::Rise, Standing::Clear)]);
    // Within one instrument, and between levels, nothing comes so early.
    assert_eq!(misplaced(0, true, false), []);
    assert_eq!(misplaced(1, false, false), []);
    // What one's own instrument explains needs nobody else's edges.
    assert_eq!(misplaced(1, true, true), [(1, Edge::Rise, Standing::Clear)]);
}
