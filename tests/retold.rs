//! What the analysis says of a capture must not hang on the length of the ticks, on when the instrument's clock began, or
//! on the order of the lines: the same evidence, told otherwise, brings the same claims.

mod simulator;

use edgewitness::analysis::coupling::{self, CouplingOptions};
use edgewitness::analysis::strays::StrayOptions;
use edgewitness::model::Capture;
use simulator::families::{Family, scene};
use simulator::retold::Telling;

/// What is claimed: strays by line, pairs with edge, standing and counts, and the lines of doubts, in words and in order.
fn claims(capture: &Capture, narrow_below: Option<(usize, f64)>) -> Vec<String> {
    let options = StrayOptions {
        narrow_below: narrow_below.into_iter().collect(),
        ..StrayOptions::default()
    };
    let (strays, attribution) = coupling::judge::judge(capture, &options, &CouplingOptions::default());
    let name = |line: usize| capture.lines[line].name.as_str();
    let mut said: Vec<String> = (0..capture.lines.len())
        .filter(|&line| !strays.of_line(line).is_empty())
        .map(|line| format!("{} has {} strays", name(line), strays.of_line(line).len()))
        .collect();
    said.extend(attribution.couplings.iter().map(|c| {
        let mut others: Vec<&str> = c.inseparable_from.iter().map(|&l| name(l)).collect();
        others.sort_unstable();
        format!(
            "{} by {} {:?}: {} of {}, {:?} {others:?}",
            name(c.victim),
            name(c.aggressor),
            c.edge,
            c.strays,
            c.opportunities,
            c.standing
        )
    }));
    said.extend(
        attribution
            .unsure
            .iter()
            .map(|u| format!("{} unsure", name(u.crowd.line))),
    );
    said.extend(attribution.own.iter().map(|o| format!("{} own", name(o.line))));
    said.extend(
        attribution
            .answers
            .iter()
            .map(|a| format!("{} answers", name(a.line))),
    );
    said.sort_unstable();
    said
}

fn number_from(variable: &str, otherwise: u64) -> u64 {
    std::env::var(variable)
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(otherwise)
}

#[test]
fn the_same_evidence_told_otherwise_brings_the_same_claims() {
    let seeds = number_from("EDGEWITNESS_SEEDS", 3);
    let first = number_from("EDGEWITNESS_FIRST_SEED", 1);
    let mut differ = Vec::new();
    let mut compared = 0;
    for family in Family::ALL {
        for seed in first..first + seeds {
            let scene = scene(family, seed);
            let said = claims(&scene.capture, scene.narrow_below);
            for telling in Telling::ALL
                .into_iter()
                .filter(|telling| telling.tells_all(&scene.capture))
            {
                let lines = scene.capture.lines.len();
                let narrow_below = scene.narrow_below.map(|(line, limit)| {
                    (
                        telling.position(line, lines),
                        limit * telling.ticks_of_one() as f64,
                    )
                });
                let told = claims(&telling.of(&scene.capture), narrow_below);
                compared += 1;
                if told != said {
                    let lost: Vec<&String> = said.iter().filter(|s| !told.contains(s)).collect();
                    let new: Vec<&String> = told.iter().filter(|s| !said.contains(s)).collect();
                    differ.push(format!(
                        "{} told with {telling:?}: {lost:#?} became {new:#?}",
                        scene.name
                    ));
                }
            }
        }
    }
    println!("{} of {compared} tellings differ", differ.len());
    assert!(compared > 0);
    assert!(differ.is_empty(), "{}", differ.join("\n"));
}
