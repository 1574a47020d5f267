//! How often the analysis is right, on simulated captures whose truth is known (`tests/simulator`): a table by
//! family, and the bounds that must hold.
//!
//! The truth is drawn by the simulator before anything is analysed. `EDGEWITNESS_SEEDS` sets how many captures of
//! each family are drawn (11 else), `EDGEWITNESS_FIRST_SEED` which ones, `EDGEWITNESS_FAMILY` a part of a family's
//! name; with `--nocapture` the table and every capture that came out wrong are printed.

mod simulator;

use simulator::families::{Family, scene, twenty_opportunities, uncoupled};
use simulator::score::{self, Score};

fn number_from(variable: &str, otherwise: u64) -> u64 {
    std::env::var(variable)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(otherwise)
}

/// Families that meet the bounds: a change that loses one of them is a step back. The others stand in the table,
/// marked, until they do.
const MET: [Family; 0] = [];

/// Whether a family is as good as it has to be: every planted stray found and none invented, every planted coupling
/// named with its polarities, hardly anybody accused who did nothing, every burst told, every doubt said.
fn meets_bounds(score: &Score) -> bool {
    score.precision() >= 0.995
        && score.recall() >= 0.995
        && score.named == score.planted
        && score.false_accusations() <= 0.01
        && score.bursts_told == score.bursts
        && score.bounce_invented == 0
        && score.doubts_told == score.doubts
}

fn line(name: &str, score: &Score) -> String {
    format!(
        "{name:<22}{:>4}/{:<5}{:>7.3}{:>7.3}{:>7.3}{:>7}/{:<5}{:>7.3}{:>6}/{:<5}{:>6}/{:<5}{:>7.3}{:>7.2}",
        score.right,
        score.captures,
        score.precision(),
        score.recall(),
        score.cause_share(),
        score.named,
        score.planted,
        score.false_accusations(),
        score.doubts_told,
        score.doubts,
        score.bursts_told,
        score.bursts,
        score.coverage(),
        if score.width_exact > 0.0 {
            score.width / score.width_exact
        } else {
            1.0
        },
    )
}

#[test]
fn the_table_of_families() {
    let seeds = number_from("EDGEWITNESS_SEEDS", 11);
    let first = number_from("EDGEWITNESS_FIRST_SEED", 1);
    let only = std::env::var("EDGEWITNESS_FAMILY").unwrap_or_default();
    let mut all = Score::default();
    let mut lost = Vec::new();
    println!(
        "{:<22}{:<10}{:>7}{:>7}{:>7}{:>9}{:>11}{:>10}{:>13}{:>11}{:>8}",
        "family", "right", "prec.", "recall", "cause", "named", "false", "doubts", "bursts", "95 %", "width"
    );
    for family in Family::ALL.into_iter().filter(|f| f.name().contains(&only)) {
        let mut score = Score::default();
        for seed in first..first + seeds {
            score.add(score::of(&scene(family, seed)));
        }
        let mark = if meets_bounds(&score) {
            ""
        } else {
            "  below target"
        };
        println!("{}{mark}", line(family.name(), &score));
        if MET.contains(&family) && !meets_bounds(&score) {
            lost.push(family.name());
        }
        all.add(score);
    }
    println!("{}", line("all", &all));
    for complaint in &all.complaints {
        println!("{complaint}");
    }
    assert!(all.captures > 0, "no family is called {only}");
    assert!(lost.is_empty(), "no longer within bounds: {lost:?}");
}

/// Complaints of the captures without any coupling in which somebody is accused.
fn accusations(captures: u64, handshake: bool) -> Vec<String> {
    let scores = (0..captures).map(|seed| score::of(&uncoupled(seed, handshake)));
    let accusing = scores.filter(|score| score.accused_falsely > 0);
    accusing.flat_map(|score| score.complaints).collect()
}

/// Where nothing is coupled to anything at most one capture in a hundred may accuse somebody.
#[test]
fn where_nothing_is_coupled_hardly_anybody_is_accused() {
    let captures = number_from("EDGEWITNESS_UNCOUPLED", 1_000);
    let wrong = accusations(captures, false);
    println!(
        "{} of {captures} captures without a coupling accuse somebody",
        wrong.len()
    );
    wrong.iter().for_each(|complaint| println!("{complaint}"));
    // Lines that shake hands pulse briefly at irregular widths: below target.
    let shaking = accusations(captures / 4, true);
    println!("{} of {} where lines shake hands", shaking.len(), captures / 4);
    assert!(
        wrong.len() as u64 * 100 <= captures,
        "{} of {captures}",
        wrong.len()
    );
}

/// At twenty opportunities struck at one half the guilty line is named in at least 95 of a hundred captures.
#[test]
fn ten_strikes_in_twenty_opportunities_are_enough_to_name_the_guilty_line() {
    let captures = number_from("EDGEWITNESS_POWER", 200);
    let mut score = Score::default();
    for seed in 0..captures {
        score.add(score::of(&twenty_opportunities(seed)));
    }
    println!("{} of {} named", score.named, score.planted);
    score
        .complaints
        .iter()
        .for_each(|complaint| println!("{complaint}"));
    assert!(
        score.named * 100 >= score.planted * 95,
        "{} of {} named",
        score.named,
        score.planted
    );
}
